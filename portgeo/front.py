"""The front door of the library: a port from a file or from readings, what it measures, what a cut took.

Paths and rows come in; ports and results go out. Lengths are millimetres, results name their units in
their attributes, and an attribute `..._u_...` is one standard uncertainty of the one beside it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from portgeo.errors import InputError
from portgeo.units import LengthUnit

if TYPE_CHECKING:
    from portgeo.port import Port
    from portgeo.results.changed import Changed
    from portgeo.results.measured import Measured

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
    path : a sheet (csv, xlsx) or a mesh (stl, ply, obj, 3mf, glb, off).
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
    from portgeo.io.ports import ScanSettings, load_port

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
    from portgeo.io.columns import LENGTHS
    from portgeo.io.ports import meant, port_from_sheet
    from portgeo.io.sheets import sheet_from

    names = list(dict.fromkeys(name for row in rows for name in row))
    if not names:
        raise InputError("there are no readings", mend="Give a row a station")
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow([f"{name}_{units}" if name in LENGTHS else name for name in names])
    table.writerows([["" if row.get(name) is None else row[name] for name in names] for row in rows])
    sheet = sheet_from(text.getvalue().encode(), "readings", Path.cwd())
    return meant(port_from_sheet(sheet, "readings", units), exhaust, bend)


def survey(port: Port, stations: int | None = None) -> Measured:
    """Return everything measured of a port: volume, least area, bends, throat, and every station.

    Parameters
    ----------
    port : from `read` or `port_from_rows`.
    stations : how many rows, evenly from opening to opening; by default the measured ones and some between.

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
    """
    from portgeo.measuring import survey as survey_port
    from portgeo.results.measured import measured

    return measured(survey_port(port, stations))


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


def write(port: Port, path: str | Path, *, force: bool = False) -> None:
    """Write a port's mesh, in the coordinates and the format (by its ending) of a file, millimetres.

    Raises
    ------
    OutputError : where the file is there already (without `force`) or cannot be written.
    """
    from portgeo.io.meshes import write_mesh

    write_mesh(path, port.to_source(port.vertices), port.faces, force=force)
