"""What a port measures, what two states of it differ by, how a set spreads, how two parts meet.

Ports come in; results go out. Lengths are millimeters, results name their units in their attributes, and an
attribute `..._u_...` is one standard uncertainty of the one beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal, get_args, overload

import numpy as np

from portgeo.comparing.balance import Layout
from portgeo.comparing.balance import balance as balance_ports
from portgeo.comparing.comparison import compare_ports
from portgeo.comparing.joint import match as match_ports
from portgeo.comparing.odd import flows_of
from portgeo.comparing.register import Method
from portgeo.comparing.split import compare_splits
from portgeo.core.errors import InputError, naming
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port, in_one_frame
from portgeo.core.split import SplitPort
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.drawings.outlines import read_outline
from portgeo.front.given import count_given, density_of, of_one_passage, port_given, ports_given, size_given, word_given
from portgeo.measuring import survey as survey_port
from portgeo.measuring.split import survey_split
from portgeo.results.balanced import Balanced, FlowsOfSet
from portgeo.results.changed import Changed
from portgeo.results.changed_split import ChangedSplit, changed_split
from portgeo.results.figures import without_u
from portgeo.results.joined import Joined
from portgeo.results.measured import Measured
from portgeo.results.split import MeasuredSplit, measured_split

Alloy = Literal["aluminum", "aluminium", "iron"]


@overload
def survey(
    port: Port, stations: int | None = None, *, valve_mm: float | None = None, sure: bool = True
) -> Measured: ...
@overload
def survey(port: SplitPort, *, sure: bool = True) -> MeasuredSplit: ...
def survey(
    port: Port | SplitPort, stations: int | None = None, *, valve_mm: float | None = None, sure: bool = True
) -> Measured | MeasuredSplit:
    """Return everything measured of a port: volume, minimum area, bends, throat, and every station.

    Quick enough to type to: after each reading ask with `sure=False` first, and for the ± when the hand rests. The
    figures are the same either way. A port from readings is its rings until its mesh is asked for (`write`,
    `to_trimesh`), its sections lie on them, and of rows that did not change what was made is used again.

    Parameters
    ----------
    port : from `read` or `port_from_rows`; or from `read_split`, of which all passages are measured, each as a port
        by itself (the other settings are of one passage).
    stations : how many rows, evenly from opening to opening; by default the measured ones and some between.
    valve_mm : diameter of its valve's head, where it is known: the throat is then told in percent of it.
    sure : False leaves out what the readings' errors do, most of a sheet's time: each ± is then nan (None in
        JSON), and nothing is told of what makes it. A scan's costs nothing and is always told.

    Raises
    ------
    InputError : where it is no port, for fewer than two stations, for settings of one passage with a port that splits.
    GeometryError : where a plane cuts no tube.

    Examples
    --------
    >>> import portgeo as pg
    >>> measured = pg.survey(pg.read("meshes/demo-as-cast.csv"))
    >>> measured.least_area.station_mm
    86.36
    >>> len(measured.stations.area_mm2) == len(measured.to_dict()["stations"])
    True
    >>> pg.survey(pg.read("meshes/demo-as-cast.csv"), sure=False).volume_cc == measured.volume_cc
    True
    """
    count_given(stations, 2, "stations")
    size_given(valve_mm, "valve_mm")
    if isinstance(port, SplitPort):
        of_one_passage({"stations": stations, "valve_mm": valve_mm}, "pg.survey")
        with naming(str(port.source.get("file", ""))):
            whole = measured_split(survey_split(port, readings_tried=sure))
        quick: MeasuredSplit = whole if sure or not port.trunk.readings else without_u(whole)
        return quick
    with naming(str(port_given(port).source.get("file", ""))):
        found = Measured.of(survey_port(port, stations, readings_tried=sure), valve_mm)
    told: Measured = found if sure or not port.readings else without_u(found)
    return told


@overload
def compare(
    before: Port,
    after: Port,
    *,
    align: Literal["none", "fixed", "auto"] | None = None,
    fixed: Sequence[Literal["entry", "exit"]] = (),
    boxes: Sequence[Sequence[float]] = (),
    stations: int | None = None,
    alloy: Alloy = "aluminum",
    density_g_cc: float | None = None,
) -> Changed: ...
@overload
def compare(
    before: SplitPort,
    after: SplitPort,
    *,
    align: Literal["none", "fixed", "auto"] | None = None,
    fixed: Sequence[Literal["entry", "exit"]] = (),
    boxes: Sequence[Sequence[float]] = (),
    stations: int | None = None,
    alloy: Alloy = "aluminum",
    density_g_cc: float | None = None,
) -> ChangedSplit: ...
def compare(
    before: Port | SplitPort,
    after: Port | SplitPort,
    *,
    align: Literal["none", "fixed", "auto"] | None = None,
    fixed: Sequence[Literal["entry", "exit"]] = (),
    boxes: Sequence[Sequence[float]] = (),
    stations: int | None = None,
    alloy: Alloy = "aluminum",
    density_g_cc: float | None = None,
) -> Changed | ChangedSplit:
    """Return what two states of one port differ by: metal removed and added, the deepest cut, by wall, by station.

    Parameters
    ----------
    before, after : from `read` or `port_from_rows`; or both from `read_split`, of which all of the one is laid on all
        of the other, and each passage and the divider between the legs compared.
    align : how they are laid together: "none", as their files have them; "fixed", by what was not machined; "auto",
        by the wall that was not cut. By default two ports from readings are laid as they were measured, a plan's
        port where it was planned, and else "auto".
    fixed, boxes : with "fixed": openings that nobody faced, and boxes (k, 6), each two corners in BEFORE's own
        coordinates and unit, round wall that was not machined.
    stations : how many rows.
    alloy, density_g_cc : the metal, or its density; handbook values of a common casting alloy.

    Raises
    ------
    InputError : for a word that is not known, or a density that is none. GeometryError : where they are not two
    states of one port, or a mesh is open.

    Examples
    --------
    >>> import portgeo as pg
    >>> cut = pg.compare(pg.read("meshes/demo-as-cast.csv"), pg.read("meshes/demo-first-cut.csv"))
    >>> cut.removed_cc > 20 * cut.removed_u_cc
    True
    """
    trunks = [port_given(_trunk_of(port), name) for port, name in ((before, "before"), (after, "after"))]
    if isinstance(before, SplitPort) != isinstance(after, SplitPort):
        which = "before" if isinstance(before, SplitPort) else "after"
        raise InputError(
            "one of the two splits, and the other is one passage", where=which,
            hint="Compare passage with passage: split.passage(name)",
        )  # fmt: skip
    count_given(stations, 2, "stations")
    density = density_of(alloy, density_g_cc)
    method = align or ("none" if in_one_frame(*trunks) else "auto")
    word_given(method, get_args(Method), "align")
    for end in fixed:
        word_given(end, ("entry", "exit"), "fixed")
    if method != "fixed" and (len(fixed) or len(boxes)):
        where = "fixed" if len(fixed) else "boxes"
        raise InputError("this goes with another way to line them up", where=where, hint='Give align="fixed" too')
    corners = None
    if len(boxes):
        per = MM_PER[before.source["units"]] * before.source["scale"]
        corners = np.array(boxes, float).reshape(-1, 2, 3) * per
    faces = tuple(fixed)
    if isinstance(before, SplitPort) and isinstance(after, SplitPort):
        split = compare_splits(before, after, method, boxes=corners, faces=faces, stations=stations)
        return changed_split(split, density)
    found = compare_ports(trunks[0], trunks[1], method, boxes=corners, faces=faces, stations=stations)
    return Changed.of(found, density)


def _trunk_of(port: Port | SplitPort) -> Port:
    return port.trunk if isinstance(port, SplitPort) else port


def balance(
    ports: Sequence[Port],
    *,
    flows: Sequence[float] | None = None,
    gasket: str | Path | None = None,
    gasket_at: Literal["entry", "exit"] = "entry",
    spacing_mm: float | Sequence[float] | None = None,
    one_frame: bool = False,
    entry_radii_mm: Sequence[float | Sequence[float]] | None = None,
    sure: bool = True,
) -> Balanced:
    """Return how the runners of a set differ, who is odd, and what to cut on which to bring them together.

    Area by station, volume, length, openings against their mean and the gasket's holes, the edge of each entry by the
    clock, the dividers between neighbors where it is said how they lie; what is cut to, the least metal first.

    Parameters
    ----------
    ports : two or more from `read` or `port_from_rows`, of either hand.
    flows : a bench flow for each, all at one depression.
    gasket, gasket_at : file with the outline of the gasket's hole (dxf, svg, csv), drawn from the line that the
        sheets are measured from, and the opening it lies on. With `one_frame` it is the first runner's, drawn in the
        manifold's own y and z.
    spacing_mm : how far each runner lies to the right of the one before, looking in from the plenum: one number for
        all, or one from each to the next.
    one_frame : the files' own coordinates are the manifold's, as of scans of one whole casting: x into the entries,
        y to the left, z to the roof. Without it a sheet stands on the line that it is measured from, a scan on the
        middle of its entry.
    entry_radii_mm : of each entry's edge as read with a radius gauge: a number for each runner, or four, at 12, 3, 6
        and 9 o'clock. Without them the edges are told from the walls.
    sure : as in `survey`.

    Raises
    ------
    InputError, GeometryError : for too few ports, or one that is no port of the set.

    Examples
    --------
    >>> import portgeo as pg
    >>> runners = [pg.read(f"meshes/demo-runner-{k}.csv") for k in (1, 2, 3, 4)]
    >>> pg.balance(runners).odd_one_out
    4
    """
    ports = ports_given(ports)
    word_given(gasket_at, ("entry", "exit"), "gasket_at")
    line = None if gasket is None or not ports else read_outline(gasket, ports[0].display.unit)
    found = balance_ports(
        ports, flows, gasket=line, gasket_end=gasket_at, layout=Layout(spaced(spacing_mm, len(ports)), one_frame),
        edge_radii=_edge_radii(entry_radii_mm, len(ports)), readings_tried=sure,
    )  # fmt: skip
    return Balanced.of(found, ports)


def spaced(spacing: float | Sequence[float] | None, count: int) -> FloatArray | None:
    """Return the spacings (k - 1,) of a set's runners. Raises InputError where they are not as many as it has."""
    if spacing is None:
        return None
    steps = np.atleast_1d(np.asarray(spacing, float))
    if len(steps) == 1:
        steps = np.repeat(steps, max(count - 1, 1))
    if len(steps) != count - 1 or not np.isfinite(steps).all() or (steps <= 0.0).any():
        raise InputError(
            f"{len(steps)} spacings for {count} runners", where="spacing",
            hint="Give one for all, or one from each runner to the next, each more than nothing",
        )  # fmt: skip
    return steps


def _edge_radii(given: Sequence[float | Sequence[float]] | None, count: int) -> FloatArray | None:
    """Return the radii (k, 4) read with a gauge. Raises InputError where they are not one or four for each runner."""
    if given is None:
        return None
    rows = [np.atleast_1d(np.asarray(each, float)) for each in given]
    if len(rows) != count or not all(
        len(row) in (1, 4) and np.isfinite(row).all() and (row >= 0.0).all() for row in rows
    ):
        raise InputError(
            f"these are no entry radii of {count} runners", where="entry_radii",
            hint="Give one for each runner, or four for each: at 12, 3, 6 and 9 o'clock",
        )  # fmt: skip
    return np.array([np.broadcast_to(row, 4) for row in rows])


def by_runner(radii: Sequence[float] | None, count: int) -> list[Sequence[float]] | None:
    """Return radii in one row as `balance` takes them: one a runner, or four a runner, one runner after the other."""
    if radii is None:
        return None
    each = 4 if len(radii) == 4 * count else 1
    return [radii[k : k + each] for k in range(0, len(radii), each)]


def flows_of_set(flows: Sequence[float]) -> FlowsOfSet:
    """Return mean, spread and the odd one out of the flows of all cylinders, all at one depression.

    Raises
    ------
    InputError : for fewer than two, or one that is no flow.

    Examples
    --------
    >>> from portgeo.front.states import flows_of_set
    >>> flows_of_set([238.0, 236.5, 237.2, 229.4]).odd_one_out
    4
    """
    if len(flows) < 2 or not all(0.0 < flow < float("inf") for flow in flows):
        raise InputError("these are no flows of a set", hint="Give one for each cylinder, two or more")
    return FlowsOfSet.of(flows_of(flows))


def match(
    upstream: Port,
    downstream: Port | SplitPort,
    *,
    gasket: str | Path | None = None,
    gasket_units: LengthUnit | None = None,
    gasket_as_drawn: bool = False,
    leave_mm: float = 0.0,
    one_frame: bool = False,
) -> Joined:
    """Return how two parts meet at the flange between them: lip, step, offset, what is left to the gasket's line.

    Parameters
    ----------
    upstream, downstream : the part that the air leaves and the one it enters; of a port that splits its trunk is
        entered.
    gasket, gasket_units : file with the outline of the gasket's hole (dxf, svg, csv), and the unit of one that does
        not say; its middle is put on the joint's centreline, or with `gasket_as_drawn` its zero.
    leave_mm : margin left to its line on purpose.
    one_frame : both files share one frame; else the one's centreline goes on in the other's.

    Raises
    ------
    InputError, GeometryError : where the outline is none, or the two do not meet.

    Examples
    --------
    >>> import portgeo as pg
    >>> joint = pg.match(pg.read("meshes/demo-runner-1.csv"), pg.read("meshes/demo-as-cast.csv"))
    >>> joint.lip.height_mm >= 0.0
    True
    """
    upstream, downstream = port_given(upstream, "upstream"), port_given(_trunk_of(downstream), "downstream")
    line = None if gasket is None else read_outline(gasket, gasket_units or upstream.display.unit)
    found = match_ports(
        upstream, downstream, gasket=line, leave=leave_mm, lay="none" if one_frame else "line",
        gasket_as_drawn=gasket_as_drawn,
    )  # fmt: skip
    return Joined.of(found, upstream, downstream, leave_mm)
