"""The cut that calms the air: for each amount of metal the one that does most, and what each further cc buys.

A port, a flow and limits come in; the cuts to choose from, and the chosen one as a plan, go out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from portgeo.calming.calm import SLOWING
from portgeo.calming.calm import calm as calm_air
from portgeo.core.errors import InputError, naming
from portgeo.core.notices import Notice
from portgeo.core.port import Port
from portgeo.core.split import SplitPort
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.flow.sense import check_flow
from portgeo.front.given import density_of, number_given, port_given
from portgeo.front.limits import between, in_whole, limits_in, target_in
from portgeo.front.losing import loss
from portgeo.front.states import Alloy
from portgeo.measuring import survey
from portgeo.measuring.sense import turned_away
from portgeo.reshape.dams import dams_made
from portgeo.reshape.limits import thin_walls, walls_left
from portgeo.results.calmed import CalmedAir
from portgeo.results.planned import planned
from portgeo.viscous.solver import APPLICATION, find_solver

TRIED = ("now", "with the cut")  # what the two ports are called whose loss is set side by side
NONE = (
    "Install it (Debian, Ubuntu: apt install openfoam); or write the port as it will be (--out), and give both to "
    "`portgeo loss`, which writes the cases to be run elsewhere"
)


def calm(
    port: Port,
    cfm: float,
    limits: str | Path | Mapping[str, Any] | None = None,
    *,
    metal_cc: float | None = None,
    peak_m_s: float | None = None,
    slowing_share: float = SLOWING,
    least_mean_speed_m_s: float | None = None,
    hold_throat: bool = False,
    depression_in_h2o: float = 28.0,
    alloy: Alloy = "aluminum",
    density_g_cc: float | None = None,
    name: str | None = None,
    try_loss: bool = False,
    loss_grid: Literal["quick", "usual", "fine"] = "usual",
    loss_out: str | Path | None = None,
    progress: Callable[[str, float], None] | None = None,
    within: SplitPort | None = None,
) -> CalmedAir:
    """Return the cuts that calm the air most, each for its metal: an ideal flow, no bench, not a full viscous one.

    What is lowered is one soft maximum of the speed on the wall, over the throat's mean, and of how quickly the air
    must slow past its peak (the rule that `air_speed` goes by).

    Parameters
    ----------
    port : from `read` or `port_from_rows`, before any cutting.
    cfm : flow, cubic feet of air at rest a minute.
    limits : a target's file (toml), or a mapping with the keys of one, for how deep and where a cut may go. Areas in
        it are the most there may be; a short side is not asked for.
    metal_cc, peak_m_s : which cut is chosen: for so much metal, or the least that brings the peak down to this. Without
        them that at the knee, past which metal buys least.
    slowing_share : 0 to 1, how much the slowing counts against the peak.
    least_mean_speed_m_s : the least mean speed at any station that is faster today: no area goes over what makes it.
    hold_throat : the throat keeps its area, or what the limits say of it. One that is marked is held anyway.
    depression_in_h2o : under which it was flowed, inches of water.
    alloy, density_g_cc : the metal, or its density, for what it weighs.
    name : of the limits in records and refusals, where it is not their path.
    try_loss : whether the chosen cut is tried with a viscous solution too, the port now against the port after, as
        `loss` does: minutes, and OpenFOAM has to be installed.
    loss_grid, loss_out : its grids, and the folder where its cases are kept.
    progress : told what is being done, and the share of it that is.
    within : the port that splits of which this is one leg, as `plan` has it.

    Raises
    ------
    InputError : without a flow, for one that no air can make, for limits that contradict themselves.
    GeometryError : where no grid can be laid or the wall cannot be planned.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> straight = pg.calm(pg.port_from_rows(bore), cfm=100)
    >>> straight.chosen is None, straight.warnings[-1].code
    (True, 'calm_already')
    """
    port = port_given(port)
    number_given(cfm, "cfm")
    density = density_of(alloy, density_g_cc)
    depression = depression_in_h2o * PA_PER["in_h2o"]
    flow = cfm * M3_S_PER["cfm"]
    check_flow(flow, depression)
    if metal_cc is not None and peak_m_s is not None:
        raise InputError("metal and peak are both given", hint="Give one of the two")
    if not 0.0 <= slowing_share <= 1.0:
        raise InputError(f"{slowing_share:g} is not a share from 0 to 1", where="slowing_share", hint="Give 0.2, say")
    if try_loss and find_solver() is None:
        raise InputError(f"the solver ({APPLICATION}, of OpenFOAM) is not on this machine", where="try_loss", hint=NONE)
    wants = {"units": "mm"} if limits is None else limits
    file, wanted = target_in(wants, name, limits=True)
    given = limits_in(wanted, port, within)
    with naming(file):
        found = calm_air(
            port, flow, depression, wanted.target, given.limits, slowing=slowing_share,
            least_speed=least_mean_speed_m_s, hold_throat=hold_throat,
            metal=None if metal_cc is None else metal_cc * 1000.0, peak=peak_m_s, surveys=[survey(port)],
            display=Display(wanted.unit), progress=progress or (lambda what, share: None),
        )  # fmt: skip
    notices = [*port.warnings, *turned_away(port, found.room.grid.bend), *thin_walls(given.readings, wanted.least_wall)]
    if wanted.target.short_side is not None:
        notices.append(Notice("calm_no_radius", file=file))
    if wanted.target.areas:
        notices.append(Notice("calm_areas", file=file))
    record = {"file": file, "sha256": wanted.sha256}
    plans, whole = [], in_whole(port, within)
    for choice in found.choices:
        cut = choice.plan
        left = walls_left(cut.grid, cut.depth, given.readings)
        cut = replace(cut, walls_left=left, between=between(given.beside, wanted, port, cut), whole=whole)
        plans.append(planned(cut, record, density, (*notices, *cut.warnings, *dams_made(cut)), port.display))
    lost = None
    if try_loss and found.chosen is not None:
        lost = loss(
            [port, plans[found.chosen].port], cfm, names=TRIED, grid=loss_grid, out=loss_out,
            progress=None if progress is None else lambda what, share: progress(f"pressure lost, {what}", share),
        )  # fmt: skip
    return CalmedAir.of(found, tuple(plans), port.display, (*notices, *found.warnings), lost)
