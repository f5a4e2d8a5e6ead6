"""The result of pressure lost in ports, by a viscous solution: every figure of it, declared once.

What grids and models tell of each port comes in; a PressureLost, which is the JSON of `loss`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.results.figures import Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks
from portgeo.viscous.answer import Answer
from portgeo.viscous.loss import Back
from portgeo.viscous.solver import NAME

LOSS_IS = (
    "A viscous solution of the measured shape, steady, of air that does not thin out, with a straight run before and "
    "past the port and a turbulence model: it is no flow bench. Guide, boss, valve and stem are left out. Trust a "
    "difference between two ports more than either figure."
)


@dataclass(frozen=True)
class OpenSolver(Result):
    """The solver, and what it was set to: cells and seconds of all grids and models together."""

    name: str = figure(lambda answers, version, cores: NAME)
    version: str = figure(lambda answers, version, cores: version)
    model: str = figure(lambda answers, version, cores: answers[0].main.model)
    cells: int = figure(lambda answers, version, cores: sum(t.cells for a in answers for t in a.trials))
    cores: int = figure(lambda answers, version, cores: cores)
    seconds: float = figure(lambda answers, version, cores: sum(t.seconds for a in answers for t in a.trials))
    converged: bool = figure(lambda answers, version, cores: all(t.converged for a in answers for t in a.trials))


@dataclass(frozen=True)
class Leaves(Result):
    """Where air leaves the wall and comes back to it."""

    from_station_mm: float = figure(lambda back: back.first)
    to_station_mm: float = figure(lambda back: back.last)
    clock: float = figure(lambda back: back.clock)
    wall: str = figure(lambda back: back.wall)
    area_mm2: float = figure(lambda back: back.area)
    past_exit: bool = figure(lambda back: back.past_exit)


def leaves(back: Back | None) -> Leaves | None:
    """Return where air leaves the wall, None where it stays on it."""
    return None if back is None else Leaves.of(back)


@dataclass(frozen=True)
class Loss(Result):
    """Pressure lost by one port. Friction is a straight port's of the same sections."""

    total_pa: float = figure(lambda a: a.total)
    total_u_pa: float = figure(lambda a: a.u)
    grid_u_pa: float = figure(lambda a: a.grid_u)
    model_u_pa: float | None = figure(lambda a: a.model_u)
    rest_u_pa: float = figure(lambda a: a.main.rest_u)
    total_in_h2o: float = figure(lambda a: a.total / PA_PER["in_h2o"])
    in_port_pa: float = figure(lambda a: a.main.lost.in_port)
    friction_pa: float = figure(lambda a: a.main.lost.friction)
    coefficient: float = figure(lambda a: a.total / a.main.lost.throat_head)
    coefficient_u: float = figure(lambda a: a.u / a.main.lost.throat_head)
    of_: str = figure(lambda a: "throat")
    flow_at_28_cfm: float = figure(lambda a: a.flow_at_28 / M3_S_PER["cfm"])
    flow_at_28_u_cfm: float = figure(lambda a: a.flow_at_28_u / M3_S_PER["cfm"])


@dataclass(frozen=True)
class GridTrial(Result):
    """One grid by one model."""

    model: str = figure(lambda t: t.model)
    cells: int = figure(lambda t: t.cells)
    cell_mm: float = figure(lambda t: t.cell)
    iterations: int = figure(lambda t: t.iterations)
    total_pa: float = figure(lambda t: t.lost.total)
    in_port_pa: float = figure(lambda t: t.lost.in_port)
    imbalance: float = figure(lambda t: t.solution.imbalance)
    converged: bool = figure(lambda t: t.converged)
    seconds: float = figure(lambda t: t.seconds)


@dataclass(frozen=True)
class LossStations(Table):
    """Pressure lost from the entry up to each station, on the finest grid."""

    station_mm: FloatArray = figure(lambda t: t.lost.stations, csv=True)
    lost_pa: FloatArray = figure(lambda t: t.lost.lost, csv=True)


@dataclass(frozen=True)
class PortState(Result):
    """One port of those set side by side. Changes are against the first."""

    computed: Answer = inside(lambda a, name, source, change: a)
    name: str = figure(lambda a, name, source, change: name)
    source: Mapping[str, Any] = figure(lambda a, name, source, change: source)
    loss: Loss = figure(lambda a, *_: Loss.of(a))
    change_percent: float | None = figure(lambda a, name, source, change: _percent(change and change.share))
    change_u_percent: float | None = figure(lambda a, name, source, change: _percent(change and change.u))
    change_grid_u_percent: float | None = figure(lambda a, name, source, change: _percent(change and change.grid_u))
    change_model_u_percent: float | None = figure(lambda a, name, source, change: _percent(change and change.model_u))
    change_rest_u_percent: float | None = figure(lambda a, name, source, change: _percent(change and change.rest_u))
    leaves_wall: Leaves | None = figure(lambda a, *_: leaves(a.main.lost.back))
    throat_unfilled_percent: float = figure(lambda a, *_: 100.0 * a.main.lost.unfilled)
    swirl: float = figure(lambda a, *_: a.main.lost.swirl)
    tumble: float = figure(lambda a, *_: a.main.lost.tumble)
    grids: tuple[GridTrial, ...] = figure(lambda a, *_: tuple(GridTrial.of(t) for t in a.trials))
    stations: LossStations = figure(lambda a, *_: LossStations.of(a.main))


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


@dataclass(frozen=True)
class FlowSolved(Result):
    """The flow, of air at rest, that the loss is at."""

    cfm: float = figure(lambda flow: flow / M3_S_PER["cfm"])


@dataclass(frozen=True)
class PressureLost(Result):
    """Pressure lost in a port, and in others beside it. Where there is no solver, what is to be run."""

    display: Display = inside(lambda states, solver, flow, display, *_: display)
    notices: tuple[Notice, ...] = inside(lambda states, solver, flow, display, notices, *_: notices)
    schema: str = figure(lambda *_: "portgeo.loss/1")
    source: Mapping[str, Any] = figure(lambda states, solver, flow, display, notices, source, *_: source)
    warnings: tuple[Remark, ...] = figure(lambda states, solver, flow, display, notices, *_: remarks(notices, display))
    what_it_is: str = figure(lambda *_: LOSS_IS)
    flow: FlowSolved = figure(lambda states, solver, flow, *_: FlowSolved.of(flow))
    roughness_mm: float = figure(lambda states, solver, flow, display, notices, source, roughness, cases: roughness)
    solver: OpenSolver | None = figure(lambda states, solver, *_: solver)
    loss: Loss | None = figure(lambda states, *_: states[0].loss if states else None)
    leaves_wall: Leaves | None = figure(lambda states, *_: states[0].leaves_wall if states else None)
    change_percent: float | None = figure(lambda states, *_: states[-1].change_percent if len(states) > 1 else None)
    states: tuple[PortState, ...] = figure(lambda states, *_: states)
    cases: tuple[str, ...] = figure(lambda states, solver, flow, display, notices, source, roughness, cases: cases)
