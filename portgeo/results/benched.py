"""Runs on a flow bench as they are given out: every figure of them, declared once.

Runs with the valve that each is seen against come in; a Benched, which is the JSON of `airspeed --bench`,
goes out. Flows are corrected to one depression: they go as its square root.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from portgeo.core.plane import FloatArray
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.flow.bench import AtValve, Change, Run, at_depression, at_valve, change, flattens, in_common, run_named
from portgeo.flow.bench import worth_comparing as pairs_of
from portgeo.flow.valve import PASSAGES, Valve
from portgeo.results.figures import Result, figure, inside
from portgeo.results.notices import Remark


@dataclass(frozen=True)
class ChangeOfFlow(Result):
    """What a run flows beyond another at the other's lifts; `read` says where both were read there."""

    from_run: int = figure(lambda c, run, *_: run + 1)
    lift_mm: FloatArray = figure(lambda c, *_: c.lift)
    change_cfm: FloatArray = figure(lambda c, *_: (c.after - c.before) / M3_S_PER["cfm"])
    change_percent: FloatArray = figure(lambda c, *_: (c.after / c.before - 1.0) * 100.0)
    read: NDArray[np.bool_] = figure(lambda c, *_: c.read)


@dataclass(frozen=True)
class PairOfRuns(ChangeOfFlow):
    """Two runs worth setting side by side, and what differs between them: "state", "setup" or "both"."""

    differs: str = figure(lambda c, run, what: what)


@dataclass(frozen=True)
class RunOnBench(Result):
    """One pull on the bench at one depression, against its valve where that is known.

    `change_from_first` is from the first run of its set-up; `changes` are from those that it is worth setting beside.
    """

    state: str = figure(lambda m: m.run.state)
    setup: str = figure(lambda m: m.run.setup)
    rows: Sequence[int] = figure(lambda m: m.run.rows)
    depression_in_h2o: float = figure(lambda m: m.depression / PA_PER["in_h2o"])
    lift_mm: FloatArray = figure(lambda m: m.run.lift)
    flow_cfm: FloatArray = figure(lambda m: at_depression(m.run, m.depression) / M3_S_PER["cfm"])
    swirl: FloatArray | None = figure(lambda m: m.run.swirl)
    swirl_unit: str | None = figure(lambda m: m.run.swirl_unit or None)
    read_at_in_h2o: FloatArray = figure(lambda m: m.run.depression / PA_PER["in_h2o"])
    flat_from_lift_mm: float | None = figure(lambda m: flattens(m.run, m.depression).flat_from)
    falls_from_lift_mm: float | None = figure(lambda m: flattens(m.run, m.depression).falls_from)
    throat_mm: float | None = figure(lambda m: None if m.valve is None else m.valve.throat)
    on_curtain: FloatArray | None = figure(lambda m: m.against and m.against.on_curtain)
    on_throat: FloatArray | None = figure(lambda m: m.against and m.against.on_throat)
    passage_mm2: FloatArray | None = figure(lambda m: m.against and m.against.passage)
    on_passage: FloatArray | None = figure(lambda m: m.against and m.against.on_passage)
    limited_by: Sequence[str] | None = figure(lambda m: m.against and [PASSAGES[k] for k in m.against.limits])
    change_from_first: ChangeOfFlow | None = figure(lambda m: m.from_first)
    changes: tuple[PairOfRuns, ...] | None = figure(lambda m: m.pairs or None)


@dataclass(frozen=True)
class Of:
    """What a RunOnBench is made of."""

    run: Run
    depression: float
    valve: Valve | None
    against: AtValve | None
    from_first: ChangeOfFlow | None
    pairs: tuple[PairOfRuns, ...]


@dataclass(frozen=True)
class Benched(Result):
    """The runs of a bench sheet, corrected to one depression.

    Of the runs, the depression, Pa, the valve that each is seen against (None where it is not known), what is recorded
    of their file, and the unit they are shown in.
    """

    runs: tuple[Run, ...] = inside(lambda runs, *_: tuple(runs))
    depression: float = inside(lambda runs, depression, *_: depression)
    valve: Valve | None = inside(lambda runs, depression, valves, *_: valves[0] if valves else None)
    display: Display = inside(lambda *given: given[-1])
    schema: str = figure(lambda *_: "portgeo.airspeed/2")
    source: Mapping[str, Any] = figure(lambda runs, depression, valves, source, display: source)
    warnings: tuple[Remark, ...] = figure(lambda *_: ())
    bench: tuple[RunOnBench, ...] = figure(lambda runs, depression, valves, *_: _records(runs, depression, valves))

    def run(self, name: str | None = None) -> Run:
        """Return the run of a name (in its state or set-up), or the only one. Raises InputError."""
        return run_named(self.runs, name)


def _records(runs: Sequence[Run], depression: float, valves: Sequence[Valve | None]) -> tuple[RunOnBench, ...]:
    def changed(earlier: int, later: int) -> Change:
        return change(runs[earlier], runs[later], depression)

    found = []
    for later, (run, valve) in enumerate(zip(runs, valves, strict=True)):
        # A manifold's loss is no change of the port: what is set beside a run was flowed as it was.
        alike = (k for k in range(later) if runs[k].setup == run.setup and in_common(runs[k], run).any())
        first = next(alike, None)
        from_first = None if first is None else ChangeOfFlow.of(changed(first, later), first)
        pairs = [(before, what) for before, after, what in pairs_of(runs) if after == later]
        beside = tuple(PairOfRuns.of(changed(before, later), before, what) for before, what in pairs)
        against = None if valve is None else at_valve(run, valve)
        found.append(RunOnBench.of(Of(run, depression, valve, against, from_first, beside)))
    return tuple(found)
