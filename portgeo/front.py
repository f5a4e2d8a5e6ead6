"""The front door of the library: a port from a file or from readings, what it measures, what a cut took.

Paths and rows come in; ports and results go out. Lengths are millimetres, results name their units in
their attributes, and an attribute `..._u_...` is one standard uncertainty of the one beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from portgeo.core.units import LengthUnit

if TYPE_CHECKING:
    from portgeo.core.port import Port
    from portgeo.results.air import AirThrough
    from portgeo.results.changed import Changed
    from portgeo.results.joined import Joined
    from portgeo.results.measured import Measured
    from portgeo.results.reached import Reached

Point = tuple[float, float, float]


def read(
    path: str | Path,
    *,
    units: LengthUnit | None = None,
    units_in: LengthUnit | None = None,
    scale: float | None = None,
    shrink_percent: float | None = None,
    scale_error_percent: float | None = None,
    entry: Point | None = None,
    exit: Point | None = None,
    up: Point | None = None,
    with_stem_mm: float | None = None,
    exhaust: bool = False,
    bend: int | None = None,
) -> Port:
    """Return the port in a section sheet or a scan.

    Parameters
    ----------
    path : a sheet (csv, xlsx, xls, ods) or a mesh (stl, ply, obj, 3mf, glb, off).
    units : "in" or "mm", in which notices tell their lengths; the file's own by default.
    units_in, scale, shrink_percent, scale_error_percent : of a scan: the unit of its numbers, what its lengths
        are multiplied by, the mold's shrinkage and how sure the scale is, percent.
    entry, exit, up : of a scan: points on its openings and the direction of its roof, in the file's coordinates.
    with_stem_mm : of a scan: diameter of a valve stem that the mold lacks.
    exhaust : the valve is at the entry.
    bend : number of the bend that is worked on, from 1 at the entry; that next to the valve by default.

    Raises
    ------
    InputError, GeometryError : what is wrong, in which file, where in it, and what to do.

    Examples
    --------
    >>> import portgeo as pg
    >>> port = pg.read("meshes/demo-as-cast.csv")
    >>> round(pg.survey(port).volume_cc)
    119
    """
    from portgeo.files.ports import ScanSettings, load_port

    of_scan = ScanSettings(units_in, scale, shrink_percent, scale_error_percent, entry, exit, up, with_stem_mm)
    return load_port(str(path), of_scan, units=units, exhaust=exhaust, bend=bend)


def port_from_rows(
    rows: Sequence[Mapping[str, Any]], *, units: LengthUnit = "mm", exhaust: bool = False, bend: int | None = None
) -> Port:
    """Return the port that readings in hand make.

    Parameters
    ----------
    rows : one a station, from the entry on, under the names of a section sheet's columns. A length's name may
        leave out its unit (`height` for `height_in`), which is then `units`. Outlines are read from the
        working directory.
    units : "in" or "mm".
    exhaust, bend : as in `read`.

    Raises
    ------
    InputError, GeometryError : what is wrong, in which row (the first is row 2, as in a sheet) and column.

    Examples
    --------
    >>> import portgeo as pg
    >>> port = pg.port_from_rows([{"station": 0, "diameter": 40, "shape": "round"},
    ...                           {"station": 100, "diameter": 40, "shape": "round"}])
    >>> round(pg.survey(port).volume_cc)
    126
    """
    from portgeo.core.errors import InputError
    from portgeo.files.ports import meant, port_from_sheet
    from portgeo.files.sheets.sheet import sheet_from

    if not any(rows):
        raise InputError("there are no readings", mend="Give a row a station")
    sheet = sheet_from(rows, "readings", Path.cwd(), unit=units)
    return meant(port_from_sheet(sheet, "readings", units), exhaust, bend)


def survey(port: Port, stations: int | None = None, *, sure: bool = True) -> Measured:
    """Return everything measured of a port: volume, least area, bends, throat, and every station.

    Quick enough to type to: after each reading ask with `sure=False` first, and for the ± when the hand rests. The
    figures are the same either way. A port from readings is its rings until its mesh is asked for (`write`,
    `to_trimesh`), its sections lie on them, and of rows that did not change what was made is used again.

    Parameters
    ----------
    port : from `read` or `port_from_rows`.
    stations : how many rows, evenly from opening to opening; by default the measured ones and some between.
    sure : False leaves out what the readings' errors do, most of a sheet's time: each ± is then nan (None in
        JSON), and nothing is told of what makes it. A scan's costs nothing and is always told.

    Raises
    ------
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
    from portgeo.measuring import survey as survey_port
    from portgeo.results.figures import without_u
    from portgeo.results.measured import measured

    found = measured(survey_port(port, stations, readings_tried=sure))
    return found if sure or not port.readings else without_u(found)


def compare(
    before: Port,
    after: Port,
    *,
    align: Literal["none", "fixed", "auto"] | None = None,
    stations: int | None = None,
    density_g_cc: float = 2.68,
) -> Changed:
    """Return what two states of one port differ by: metal removed and added, the deepest cut, by wall, by station.

    Parameters
    ----------
    before, after : from `read` or `port_from_rows`.
    align : how they are laid together: "none", as their files have them; "auto", by the wall that was not cut. By
        default two ports from readings are laid as they were measured, and else "auto".
    stations : how many rows.
    density_g_cc : of the metal; a common aluminium casting alloy's by default (handbook value).

    Raises
    ------
    GeometryError : where they are not two states of one port, or a mesh is open.

    Examples
    --------
    >>> import portgeo as pg
    >>> cut = pg.compare(pg.read("meshes/demo-as-cast.csv"), pg.read("meshes/demo-first-cut.csv"))
    >>> cut.removed_cc > 20 * cut.removed_u_cc
    True
    """
    from portgeo.comparing.comparison import compare_ports
    from portgeo.results.changed import changed

    method = align or ("none" if before.readings and after.readings else "auto")
    return changed(compare_ports(before, after, method, stations=stations), density_g_cc)


def match(
    upstream: Port,
    downstream: Port,
    *,
    gasket: str | Path | None = None,
    leave_mm: float = 0.0,
    one_frame: bool = False,
) -> Joined:
    """Return how two parts meet at the flange between them: lip, step, offset, what is left to the gasket's line.

    Parameters
    ----------
    upstream, downstream : the part that the air leaves and the one it enters.
    gasket : file with the outline of the gasket's hole (dxf, svg, csv); its middle is put on the joint's centreline.
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
    from portgeo.comparing.joint import match as match_ports
    from portgeo.files.drawings.outlines import read_outline
    from portgeo.results.joined import joined

    line = None if gasket is None else read_outline(gasket, upstream.display.unit)
    found = match_ports(upstream, downstream, gasket=line, leave=leave_mm, lay="none" if one_frame else "line")
    return joined(found, upstream, downstream, leave_mm)


def air_speed(port: Port, cfm: float, *, depression_in_h2o: float = 28.0, unknowns: int | None = None) -> AirThrough:
    """Return where the air must be fast at a flow: an ideal flow, no bench and no full viscous simulation.

    Parameters
    ----------
    port : from `read` or `port_from_rows`.
    cfm : flow, cubic feet of air at rest a minute.
    depression_in_h2o : under which it was flowed, inches of water.
    unknowns : at how many points the flow is solved; more take longer.

    Raises
    ------
    InputError : a flow that no air can make. GeometryError : where no grid can be laid.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> air = pg.air_speed(pg.port_from_rows(bore), cfm=100, unknowns=2000)
    >>> round(air.highest.peak_over_mean, 2)
    1.0
    """
    from portgeo.core.units import M3_S_PER, PA_PER
    from portgeo.flow.airspeed import air_speed as air_through_path
    from portgeo.flow.path import path_of
    from portgeo.flow.wall import UNKNOWNS
    from portgeo.measuring import survey as survey_port
    from portgeo.results.air import air_through

    found = air_through_path(
        path_of(port), cfm * M3_S_PER["cfm"], depression_in_h2o * PA_PER["in_h2o"],
        unknowns=unknowns or UNKNOWNS, display=port.display, surveys=[survey_port(port)],
    )  # fmt: skip
    return air_through(found, port)


def reach(
    port: Port,
    *,
    free_length_mm: float = 127.0,
    head_mm: float = 9.525,
    head_length_mm: float | None = None,
    shank_mm: float = 6.35,
    collet_mm: float = 19.05,
) -> Reached:
    """Return where a straight burr gets to, from each end of a port.

    Parameters
    ----------
    port : from `read` or `port_from_rows`.
    free_length_mm : from the collet's nose to the tip.
    head_mm, head_length_mm, shank_mm, collet_mm : diameters of head, shank and collet's nose, and the head's length
        (its diameter by default: a ball).

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> pg.reach(pg.port_from_rows(bore)).share_of_wall.neither
    0.0
    """
    from portgeo.reshape.reach import Tool
    from portgeo.reshape.reach import reach as reach_of
    from portgeo.results.reached import reached

    return reached(reach_of(port, Tool(head_mm, head_length_mm or head_mm, shank_mm, collet_mm, free_length_mm)), port)


def write(port: Port, path: str | Path, *, force: bool = False) -> None:
    """Write a port's mesh, in the coordinates and the format (by its ending) of a file, millimetres.

    Raises
    ------
    OutputError : where the file is there already (without `force`) or cannot be written.
    """
    from portgeo.files.meshes.mesh import write_mesh

    write_mesh(path, port.to_source(port.vertices), port.faces, force=force)
