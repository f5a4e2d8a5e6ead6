"""The next cut: planned from a target, checked half done, what a burr reaches, gauges to print.

Ports and targets come in; results go out. Lengths are millimeters.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from portgeo.core.errors import InputError, naming
from portgeo.core.port import Port
from portgeo.core.split import SplitPort
from portgeo.core.units import Display
from portgeo.files.meshes.mesh import read_mesh
from portgeo.files.toml.target import TargetFile
from portgeo.front.given import density_of, made_by, of_one_passage, port_given, word_given
from portgeo.front.limits import between, gasket_against, in_whole, limits_in, target_in
from portgeo.front.ports import read
from portgeo.front.states import Alloy
from portgeo.measuring.schedule import survey
from portgeo.measuring.sense import turned_away
from portgeo.reshape.as_read import as_read
from portgeo.reshape.dams import dams_made
from portgeo.reshape.divider_gauges import divider_gauges
from portgeo.reshape.gauges import gauge_stations, side_view
from portgeo.reshape.gauges import gauges as gauges_of
from portgeo.reshape.limits import thin_walls, walls_left
from portgeo.reshape.placing import laid_on
from portgeo.reshape.plan import Plan, plan_cut
from portgeo.reshape.reach import Tool, access_of
from portgeo.reshape.reach import reach as reach_of
from portgeo.reshape.recheck import recheck
from portgeo.results.checked import Checked
from portgeo.results.gauged import Gauged
from portgeo.results.planned import Planned, planned
from portgeo.results.reached import Reached


def plan(
    port: Port,
    target: str | Path | Mapping[str, Any] | None = None,
    *,
    areas: Mapping[float, float] | None = None,
    tapers: Sequence[tuple[float, float, float, float]] = (),
    short_side_radius_mm: float | None = None,
    greatest_depth_mm: float | None = None,
    alloy: Alloy = "aluminum",
    density_g_cc: float | None = None,
    name: str | None = None,
    load: Callable[[Path], Port] = read,
    within: SplitPort | None = None,
) -> Planned:
    """Return the next cut: the smallest that gives a port what is wanted, within its limits.

    Parameters
    ----------
    port : from `read` or `port_from_rows`, before any cutting.
    target : what is wanted: a target's file (toml), or a mapping with the keys of one, for all that a target may
        say. Without it, and never beside it, the four plain wants:
    areas : mm2 by station, mm: `{25.4: 1290.0}`.
    tapers : each (from station, to station, area there, area here), mm and mm2: a straight change of area.
    short_side_radius_mm : the least radius of the short side.
    greatest_depth_mm : the deepest cut anywhere, square to the wall; 2.54 by default.
    alloy, density_g_cc : the metal, or its density, for what it weighs.
    name : of the target in records and refusals, where it is not its path.
    load : reads the port that a target's `[copy]` names; `read` by default.
    within : the port that splits of which this is one leg: of the metal to each other leg a share is left for that
        leg's own cut (`least_between` and `beside_percent` of the target's `[limits]`), and the leg's first section
        stays inside the trunk's wall.

    Raises
    ------
    InputError : for a target that wants nothing, contradicts itself or lies outside the port; the key and the hint.
    GeometryError : where the wall cannot be planned or the cut wall would fold.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 10, 20)]
    >>> cut = pg.plan(pg.port_from_rows(bore), areas={10: 1300})
    >>> round(cut.areas[0].after_mm2), cut.deepest.depth_mm < 0.5, cut.removed_cc > 0
    (1300, True, True)
    >>> pg.survey(cut.port).volume_cc > cut.volume_before_cc
    True
    """
    port = port_given(port)
    density = density_of(alloy, density_g_cc)
    if target is not None:
        _check_alone(areas, tapers, short_side_radius_mm, greatest_depth_mm)
    else:
        target = _wants(areas or {}, tapers, short_side_radius_mm, greatest_depth_mm)
    file, wanted = target_in(target, name)
    found = _within_limits(port, wanted, file, load, within)
    notices = (*port.warnings, *turned_away(port, found.grid.bend), *found.warnings)
    record = {"file": file, "sha256": wanted.sha256}
    return planned(found, record, density, notices, port.display)


def _check_alone(
    areas: Mapping[float, float] | None,
    tapers: Sequence[tuple[float, float, float, float]],
    radius: float | None,
    depth: float | None,
) -> None:
    """Raise InputError where a plain want is given beside a target, which says all that is wanted."""
    beside = {
        "areas": bool(areas), "tapers": len(tapers) > 0, "short_side_radius_mm": radius is not None,
        "greatest_depth_mm": depth is not None,
    }  # fmt: skip
    for name, given in beside.items():
        if given:
            raise InputError(
                f"a target and {name} are both given",
                where=name,
                hint="Write it in the target, or leave the target out",
            )


def _wants(
    areas: Mapping[float, float],
    tapers: Sequence[tuple[float, float, float, float]],
    radius: float | None,
    depth: float | None,
) -> dict[str, Any]:
    """Return the plain wants under the keys of a target's file."""
    wants: dict[str, Any] = {"units": "mm", "area": [{"station": s, "area": a} for s, a in areas.items()]}
    wants["taper"] = [dict(zip(("from", "to", "area_from", "area_to"), taper, strict=True)) for taper in tapers]
    wants |= {} if radius is None else {"short_side": {"radius": radius}}
    return wants | ({} if depth is None else {"greatest_depth": depth})


def _within_limits(
    port: Port, wanted: TargetFile, file: str, load: Callable[[Path], Port], within: SplitPort | None
) -> Plan:
    """Return the plan for a target, within its limits. within : as `plan` has it."""
    given = limits_in(wanted, port, within)
    like = None
    if wanted.copy is not None:
        like, _ = laid_on(port, load(wanted.copy))
    with naming(file):
        found = plan_cut(port, wanted.target, given.limits, like, Display(wanted.unit))
    return replace(
        found,
        warnings=(
            *gasket_against(port, wanted),
            *thin_walls(given.readings, wanted.least_wall),
            *found.warnings,
            *dams_made(found),
        ),
        walls_left=walls_left(found.grid, found.depth, given.readings),
        between=between(given.beside, wanted, port, found),
        radius_u=_radius_u(found),
        whole=in_whole(port, within),
    )


def _radius_u(plan: Plan) -> float:
    """Return how sure the radius of a cut short side is, one standard deviation, nan where none is cut.

    What is not known of the wall's curvature now is not known of it after a cut of a given depth: 1 / radius has the
    same error before and after.
    """
    if plan.radius_cut is None:
        return float("nan")
    now = survey(plan.port).short_side
    return float("nan") if now is None else now.radius_u * (plan.radius_cut / now.radius) ** 2


def check(planned: Planned, now: Port, *, align: Literal["none", "auto"] | None = None) -> Checked:
    """Return what is left of a planned cut on a port half done, what was missed, and what went too deep.

    Parameters
    ----------
    planned : from `plan`, of the port before any cutting.
    now : the port as it is, from `read` or `port_from_rows`.
    align : how it is laid on the port before cutting: "none", as its file has it (the default of a sheet and of a
        plan's own port), or "auto", by the wall that was not cut (a scan's).

    Raises
    ------
    InputError : where it is no plan, no port, or a word that is not known. GeometryError : where the two are not two
    states of one port.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 10, 20)]
    >>> port = pg.port_from_rows(bore)
    >>> begun = pg.check(pg.plan(port, areas={10: 1300}), port)
    >>> round(begun.left_cc / begun.planned_cc, 3), len(begun.too_deep)
    (1.0, 0)
    """
    planned = made_by(planned, Planned, "a plan", "planned")
    now = port_given(now, "now")
    if align is not None:
        word_given(align, ("none", "auto"), "align")
    port = planned.computed.port
    with naming(str(now.source.get("file", ""))):
        placed, notices = laid_on(port, now, align)
        finished = as_read(planned.computed, now) if align != "auto" else None
        finished = None if finished is None else laid_on(port, finished, "none")[0]
        found = recheck(planned.computed, placed, as_measured=now, finished_as_read=finished)
    told = (*now.warnings, *notices, *found.warnings)
    return Checked.of(found, {"before": port.source, "now": now.source}, planned.target, told, planned.display)


def reach(
    port: Port,
    *,
    free_length_mm: float = 127.0,
    head_mm: float = 9.525,
    head_length_mm: float | None = None,
    shank_mm: float = 6.35,
    collet_mm: float = 19.05,
    obstacle: str | Path | None = None,
    within: SplitPort | None = None,
) -> Reached:
    """Return where a straight burr gets to, from each end of a port.

    Parameters
    ----------
    port : from `read` or `port_from_rows`.
    free_length_mm : from the collet's nose to the tip.
    head_mm, head_length_mm, shank_mm, collet_mm : diameters of head, shank and collet's nose, and the head's length
        (its diameter by default: a ball).
    obstacle : mesh of what stands in the way outside, placed as the port's file is.
    within : the port that splits of which this is one passage: a leg is then reached through the trunk and by its own
        exit, the trunk by its entry and through the legs.

    Raises
    ------
    InputError : for a tool that cannot be.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> pg.reach(pg.port_from_rows(bore)).share_of_wall.neither
    0.0
    """
    port = port_given(port)
    long = head_mm if head_length_mm is None else head_length_mm
    if shank_mm > head_mm:
        raise InputError("the shank is thicker than the head", where="shank", hint="Check head and shank")
    if long < head_mm or free_length_mm <= long:
        raise InputError(
            "the head is longer than the free length or shorter than it is thick",
            where="head_length",
            hint="Check the head's length and the free length",
        )
    outside = None
    if obstacle is not None:
        mesh = read_mesh(obstacle)
        outside = port.from_source(mesh.vertices), mesh.faces
    with naming(str(port.source.get("file", ""))):
        tool = Tool(head_mm, long, shank_mm, collet_mm, free_length_mm)
        return Reached.of(reach_of(port, tool, outside, access=access_of(port, within)), port)


def gauges(
    port: Port | SplitPort, at_mm: Sequence[float] | None = None, *, planned: Planned | None = None, side: bool = False
) -> Gauged:
    """Return gauges at 1:1: section outlines, height and width, short-side radius, floor line.

    Parameters
    ----------
    port : from `read` or `port_from_rows`; or from `read_split`: the gauges are then of its dividers' edges and of the
        outlines at the split (the other settings are of one passage).
    at_mm : stations of sections; the measured ones by default, with a plan where it takes or adds something.
    planned : from `plan`: the gauges are then of the port as it will be.
    side : the port from its side alone, to be held against its mold, as it is.

    Raises
    ------
    InputError : for a station outside the port.

    Examples
    --------
    >>> import portgeo as pg
    >>> port = pg.read("meshes/demo-as-cast.csv")
    >>> [gauge["station_mm"] for gauge in pg.gauges(port, [25.4]).gauges][:2]
    [25.4, 25.4]
    """
    if isinstance(port, SplitPort):
        of_one_passage({"at_mm": at_mm, "planned": planned, "side": side or None}, "pg.gauges")
        return Gauged.of(tuple(divider_gauges(port)), port, ())
    port = port_given(port)
    if planned is not None:
        planned = made_by(planned, Planned, "a plan", "planned")
    if side:
        return Gauged.of((side_view(port),), port, ())
    cut = None if planned is None else planned.computed
    stations = gauge_stations(port, at_mm, port.display, "at", cut)
    return Gauged.of(tuple(gauges_of(port, stations, cut)), port, () if cut is None else cut.warnings)
