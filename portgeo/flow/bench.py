"""Bench runs: lift and flow at a depression, corrected, compared, and seen against the valve's passages.

Runs come in; flows at one depression, changes at each lift and coefficients go out. SI units but for
lifts in mm.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.flow.demand import TYPICAL_COEFFICIENT, Engine, mean_coefficient
from portgeo.flow.gas import STANDARD, Air, depression_speed
from portgeo.flow.valve import Valve, curtain_area, passage, throat_area

REPEATS = 0.01  # of flow: *common practice, no source*, a bench does not repeat much better
MANIFOLD = re.compile(r"\b(?:manifold|runner)s?\b", re.I)
NO_MANIFOLD = re.compile(r"\b(?:no|without|less)(?: the)? (?:manifold|runner)|\b(?:manifold|runner)s? off\b", re.I)
SAME_LIFT = 0.02  # mm: two runs' lifts closer than this are one


@dataclass(frozen=True)
class Run:
    """One pull on the bench.

    state : of the port. setup : free text (clay entry, manifold bolted on). lift (n,) mm, rising;
    flow (n,) m3/s as read; depression (n,) Pa; swirl (n,) as read, nan where not, or None; swirl_unit : what the
    person calls its unit. rows (n,) of the user's file.
    """

    state: str
    setup: str
    lift: FloatArray
    flow: FloatArray
    depression: FloatArray
    swirl: FloatArray | None
    rows: tuple[int, ...]
    swirl_unit: str = ""

    @property
    def swirl_name(self) -> str:
        """Swirl and its unit, for a heading."""
        return f"swirl, {self.swirl_unit}" if self.swirl_unit else "swirl"

    @property
    def name(self) -> str:
        """State and set-up, for a person."""
        return ", ".join(part for part in (self.state, self.setup) if part) or "the run"

    @property
    def manifold_on(self) -> bool | None:
        """Whether the manifold was on, None where the set-up does not say."""
        if NO_MANIFOLD.search(self.setup):
            return False
        return True if MANIFOLD.search(self.setup) else None


def run_named(runs: Sequence[Run], name: str | None) -> Run:
    """Return the run of a name (in its state or set-up), or the only one. Raises InputError."""
    if name is None and len(runs) == 1:
        return runs[0]
    wanted = (name or "").casefold()
    found = [run for run in runs if name is not None and wanted in run.name.casefold()]
    if len(found) > 1:
        found = [run for run in found if wanted in (run.state.casefold(), run.name.casefold())] or found
    if len(found) == 1:
        return found[0]
    names = "; ".join(run.name for run in runs)
    raise InputError(
        "the file has several runs" if name is None else f"{len(found)} runs are named '{name}'",
        hint=f"Name one with --run: {names}",
    )


def at_depression(run: Run, depression: float) -> FloatArray:
    """Return a run's flow (n,) at one depression (Pa): it goes as the square root, incompressible."""
    return np.asarray(run.flow * np.sqrt(depression / run.depression))


def flow_at(run: Run, lift: float, depression: float) -> float:
    """Return a run's flow at a lift within it, monotone between readings."""
    flow = at_depression(run, depression)
    if len(flow) == 1:
        return float(flow[0])
    return float(PchipInterpolator(run.lift, flow)(np.clip(lift, run.lift[0], run.lift[-1])))


def flow_through(run: Run, lift: float | None, depression: float, display: Display) -> float:
    """Return a run's flow at a lift (mm), or its best without one, at one depression (Pa).

    display : the unit that a refusal is in. Raises InputError for a lift outside the run's.
    """
    if lift is None:
        return float(at_depression(run, depression).max())
    if not run.lift[0] - 1e-6 <= lift <= run.lift[-1] + 1e-6:
        span = f"{display.length(float(run.lift[0]))} to {display.length(float(run.lift[-1]))}"
        raise InputError(f"a lift of {display.length(lift)} is outside the run's lifts", hint=f"Give one from {span}")
    return flow_at(run, lift, depression)


def inlet_coefficient(engine: Engine, run: Run | None, highest: float | None = None) -> float:
    """Return an engine's mean flow coefficient on its valves' head area over an opening.

    run : the bench run it is read from, the trade's usual figure without one. highest : greatest lift of
    the opening, mm; the run's own without one.
    """
    if run is None:
        return TYPICAL_COEFFICIENT
    head = np.pi / 4.0 * engine.valve**2 * engine.valves
    speed = np.array([depression_speed(float(p)) for p in run.depression])
    return mean_coefficient(run.flow / speed / head, run.lift, highest or float(run.lift[-1]))


def cfm_at_28(flow: float, depression: float) -> float:
    """Return the cfm at 28 inH2O of a flow (m3/s) at a depression (Pa): as its square root, incompressible."""
    return float(flow * np.sqrt(28.0 * PA_PER["in_h2o"] / depression) / M3_S_PER["cfm"])


@dataclass(frozen=True)
class Flat:
    """Where a curve goes flat, and where it falls: lifts in mm, None where it does not."""

    flat_from: float | None
    falls_from: float | None


def flattens(run: Run, depression: float) -> Flat:
    """Return the first lift past which no flow is more by what a bench can tell, and where flow falls."""
    flow = at_depression(run, depression)
    top = int(np.argmax(flow))
    flat = int(np.argmax(flow >= flow[top] / (1.0 + REPEATS)))
    falls = flow[top] - flow[top:].min() > REPEATS * flow[top]
    return Flat(float(run.lift[flat]) if flat + 1 < len(flow) else None, float(run.lift[top]) if falls else None)


@dataclass(frozen=True)
class Change:
    """Two runs side by side at lifts (n,) mm: flows (n,) m3/s at one depression; `read`: both were read there."""

    lift: FloatArray
    before: FloatArray
    after: FloatArray
    read: np.ndarray


def change(before: Run, after: Run, depression: float) -> Change:
    """Return two runs side by side at the first one's lifts that the second spans.

    Raises InputError where they have none in common.
    """
    inside = in_common(before, after)
    if not inside.any():
        raise InputError(
            f"the runs '{before.name}' and '{after.name}' have no lift in common",
            hint="Compare runs over the same lifts",
        )
    lift = before.lift[inside]
    other = np.array([flow_at(after, float(at), depression) for at in lift])
    read = np.abs(lift[:, None] - after.lift).min(axis=1) <= SAME_LIFT
    return Change(lift, at_depression(before, depression)[inside], other, read)


def in_common(before: Run, after: Run) -> NDArray[np.bool_]:
    """Return which of one run's lifts (n,) another spans."""
    return (before.lift >= after.lift[0] - SAME_LIFT) & (before.lift <= after.lift[-1] + SAME_LIFT)


What = Literal["setup", "state", "both"]


def worth_comparing(runs: Sequence[Run]) -> list[tuple[int, int, What]]:
    """Return the pairs of runs to set side by side: (earlier, later, what differs).

    A run goes beside the first one of its own state, which tells what its set-up costs, and beside the
    first one of its own set-up, which tells what a cut gave; where neither came before, beside the
    first of all, and then both differ. Runs with no lift in common are not paired.
    """
    pairs: list[tuple[int, int, What]] = []
    for later, run in enumerate(runs[1:], start=1):
        before = [k for k in range(later) if in_common(runs[k], run).any()]
        same_state = next((k for k in before if runs[k].state == run.state), None)
        same_setup = next((k for k in before if runs[k].setup == run.setup), None)
        if same_setup is not None:
            pairs.append((same_setup, later, "state"))
        if same_state is not None:
            pairs.append((same_state, later, "setup"))
        if same_state is None and same_setup is None and before:
            pairs.append((before[0], later, "both"))
    return pairs


@dataclass(frozen=True)
class AtValve:
    """A run against its valve, at its lifts (n,).

    on_curtain, on_throat : discharge coefficients on the curtain and on the throat less the stem.
    passage (n,) mm2 and limits (n,), which of the three it is. on_passage : on that least area.
    """

    on_curtain: FloatArray
    on_throat: FloatArray
    passage: FloatArray
    on_passage: FloatArray
    limits: IntArray


def at_valve(run: Run, valve: Valve, air: Air = STANDARD) -> AtValve:
    """Return a run's discharge coefficients: flow over area times the speed the depression gives.

    Incompressible, as the correction between depressions is; at 28 inH2O the isentropic coefficient
    reads some 4 % more.
    """
    speed = np.array([depression_speed(float(d), air) for d in run.depression])
    area = run.flow / speed * 1e6
    least, limits = passage(valve, run.lift)
    return AtValve(area / curtain_area(valve, run.lift), area / throat_area(valve), least, area / least, limits)
