"""Pressure lost, as text: the answer first, then the ports side by side and what it rests on.

A PressureLost comes in; text for the bench goes out.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from portgeo.core.section import wall_name
from portgeo.core.units import PA_PER, Display, clock_text
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.results.lost import LOSS_IS, Leaves, PortState, PressureLost

WATER = PA_PER["in_h2o"]


def loss_text(lost: PressureLost) -> str:
    """Return the answer of each port, all side by side, and how it was solved; or what is to be run."""
    if not lost.states:
        return "\n".join(_to_run(lost.cases))
    d, lines = lost.display, []
    for state in lost.states:
        lines += [*_port(state, lost.flow.cfm, d), ""]
    if len(lost.states) > 1:
        lines += [*_beside(lost.states), ""]
    lines += [*_solved(lost), ""]
    lines += notices_lines(lost.notices, d)
    lines += textwrap.wrap(LOSS_IS, WIDTH)
    return "\n".join(lines)


def _to_run(cases: Sequence[str]) -> list[str]:
    lines = ["OpenFOAM is not on this machine. The cases are written; where it is installed, run of each:", ""]
    for case in cases:
        lines += [f"  checkMesh -case '{case}'", f"  simpleFoam -case '{case}'"]
    return [*lines, "", "Then run this command again, with the same --out."]


def _port(state: PortState, cfm: float, d: Display) -> list[str]:
    loss = state.loss
    lines = [
        f"{state.name} at {cfm:.1f} cfm",
        f"  lost        {_pressure(loss.total_pa, loss.total_u_pa)}",
        f"              {loss.coefficient:.3f} ± {2.0 * loss.coefficient_u:.3f} of the throat's velocity head",
        f"              {_water(loss.in_port_pa)} of it in the port, the rest where its stream evens out past it;",
        f"              a straight port of these sections would lose {_water(loss.friction_pa)} by friction",
        f"  at 28 inH2O {loss.flow_at_28_cfm:.0f} ± {2.0 * loss.flow_at_28_u_cfm:.0f} cfm, through the port alone",
        f"  wall        {_leaves(state.leaves_wall, d)}",
        f"  throat      {state.throat_unfilled_percent:.1f}% of its area carries less than half the mean speed",
        f"  at the exit swirl {state.swirl:+.3f}, tumble {state.tumble:.3f}",
    ]
    return lines


def _pressure(pa: float, u: float) -> str:
    return f"{pa / WATER:.2f} ± {2.0 * u / WATER:.2f} inH2O ({pa:.0f} ± {2.0 * u:.0f} Pa)"


def _water(pa: float) -> str:
    return f"{pa / WATER:.2f} inH2O"


def _leaves(leaves: Leaves | None, d: Display) -> str:
    if leaves is None:
        return "the air stays on it"
    place = f"{d.length(leaves.from_station_mm)}, {clock_text(leaves.clock)}"
    start = f"air leaves the {wall_name(leaves.wall)} at {place}, and"
    return (
        f"{start} comes back past the exit"
        if leaves.past_exit
        else f"{start} is back at {d.length(leaves.to_station_mm)}"
    )


def _beside(states: Sequence[PortState]) -> list[str]:
    width = max(12, *(len(state.name) for state in states))
    lines = [
        "side by side",
        f"  {'port':<{width}} {'inH2O':>7} {'±':>6} {'of throat':>10} {'change':>8} {'±':>6} {'at 28 inH2O':>12}",
    ]
    for state in states:
        loss = state.loss
        change = ["", ""]
        if state.change_percent is not None:
            change = [f"{state.change_percent:+.1f}%", _percent(state.change_u_percent)]
        lines.append(
            f"  {state.name:<{width}} {loss.total_pa / WATER:>7.2f} {2.0 * loss.total_u_pa / WATER:>6.2f} "
            f"{loss.coefficient:>10.3f} {change[0]:>8} {change[1]:>6} {loss.flow_at_28_cfm:>8.0f} cfm"
        )
    return [line.rstrip() for line in lines]


def _percent(u: float | None) -> str:
    return "" if u is None or math.isnan(u) else f"{2.0 * u:.1f}%"


def _parts(grid: float, model: float | None, rest: float, scale: float, form: str, unit: str = "") -> str:
    """Return what each part of a ± is, from its standard uncertainties."""
    parts = [(grid, "the grid's"), (rest, "what the solution still moves")]
    parts += [] if model is None else [(model, "how far the turbulence models are apart")]
    known = [f"{2.0 * scale * u:{form}}{unit} is {what}" for u, what in parts if not math.isnan(u)]
    return ", ".join(known[:-1]) + f" and {known[-1]}" if len(known) > 1 else known[0]


def _solved(lost: PressureLost) -> list[str]:
    assert lost.solver is not None
    lines = [
        "how it was solved (inH2O)",
        f"  {'port':<16} {'model':<13} {'cells':>8} {'lost':>7} {'in port':>8} {'steps':>6}",
    ]
    for state in lost.states:
        for grid in state.grids:
            mark = "" if grid.converged else "  still moving"
            lines.append(
                f"  {state.name:<16.16} {grid.model:<13} {grid.cells:>8,} {grid.total_pa / WATER:>7.2f} "
                f"{grid.in_port_pa / WATER:>8.2f} {grid.iterations:>6}{mark}"
            )
        u = state.loss
        lines.append("  of its ±, " + _parts(u.grid_u_pa, u.model_u_pa, u.rest_u_pa, 1.0 / WATER, ".2f"))
        if state.change_grid_u_percent is not None and state.change_rest_u_percent is not None:
            parts = _parts(
                state.change_grid_u_percent, state.change_model_u_percent, state.change_rest_u_percent, 1.0, ".1f", "%"
            )
            lines.append(f"  of its change's ±, {parts}")
    return [*lines, f"  {lost.solver.name} {lost.solver.version}, {lost.solver.cores} core(s)"]
