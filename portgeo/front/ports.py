"""Ports in and out: from a file or from readings in hand, and written as a mesh.

Paths and rows come in; a Port goes out, or a refusal that says which file, where in it, and what to do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import numpy as np

from portgeo.core.errors import InputError, PortgeoError, naming
from portgeo.core.notices import Notice
from portgeo.core.port import Port
from portgeo.core.split import SplitPort
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.meshes.mesh import READ, read_mesh, write_mesh
from portgeo.files.ports import (
    ScanSettings,
    is_sheet,
    load_port,
    load_whole,
    meant,
    one_passage,
    port_from_sheet,
    split_from_sheet,
)
from portgeo.files.sheets.sheet import read_sheet, sheet_from
from portgeo.front.given import count_given, port_given, shown, word_given

ROW = "Give a list with a mapping for each station: [{'station': 0, 'shape': 'round', 'diameter': 40}, ...]"
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
    leg: str | None = None,
    name: str | None = None,
    progress: Callable[[str, float], None] | None = None,
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
    leg : of a port that splits, the one passage to read: a leg's name, or "trunk"; a scan's legs are "left" and
        "right", of more than two "leg-1" and so on. `read_split` reads all.
    name : of the file in records and refusals, where it is not its path.
    progress : told what is being done, and the share of it that is.

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
    _check_shown_in(units)
    if is_sheet(path):
        _check_of_sheet(
            path, units_in=units_in, scale=scale, shrink_percent=shrink_percent,
            scale_error_percent=scale_error_percent, entry=entry, exit=exit, up=up, with_stem_mm=with_stem_mm,
        )  # fmt: skip
    of_scan = ScanSettings(units_in, scale, shrink_percent, scale_error_percent, entry, exit, up, with_stem_mm)
    return load_port(str(path), of_scan, name=name, units=units, progress=progress, exhaust=exhaust, bend=bend, leg=leg)


def ends_in_file(port: Port) -> tuple[Point, Point]:
    """Return the middles of a scan's entry and exit as `read` takes them, in the file's own coordinates."""
    per = MM_PER[port.source["units"]] * port.source["scale"]
    (a, b, c), (x, y, z) = port.to_source(port.centreline.points[[0, -1]]) / per
    return (float(a), float(b), float(c)), (float(x), float(y), float(z))


def _check_shown_in(units: LengthUnit | None) -> None:
    """Raise InputError where lengths cannot be shown in a unit."""
    if units is not None:
        word_given(units, get_args(LengthUnit), "units")


def _check_of_sheet(path: str | Path, **of_scan: object) -> None:
    """Raise InputError where something is said of a scan, and the file is a section sheet."""
    given = [name for name, value in of_scan.items() if value is not None]
    if given:
        names = ", ".join(given)
        is_of = "these are" if len(given) > 1 else "this is"
        raise InputError(
            f"{is_of} of a scan, and the file is a section sheet",
            file=str(path), where=names, hint=f"Leave out {names}: a sheet's columns name their units",
        )  # fmt: skip


def read_split(
    path: str | Path,
    *,
    units: LengthUnit | None = None,
    units_in: LengthUnit | None = None,
    scale: float | None = None,
    shrink_percent: float | None = None,
    scale_error_percent: float | None = None,
    entry: Point | None = None,
    up: Point | None = None,
    with_stem_mm: float | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> SplitPort:
    """Return the port that splits in a section sheet or a scan: its trunk, its legs, and one mesh of them all.

    Parameters
    ----------
    path : a sheet (csv, xlsx, xls, ods) with a column `leg`, or a mesh of a mold that splits.
    units : "in" or "mm", in which notices tell their lengths; the file's own by default.
    units_in, scale, shrink_percent, scale_error_percent, entry, up, with_stem_mm : of a scan, as in `read`; each leg
        lacks a stem.
    progress : told what is being done, and the share of it that is.

    Raises
    ------
    InputError, GeometryError : what is wrong, in which file, where in it, and what to do; of a port that does not
        split, too.

    Examples
    --------
    >>> import portgeo as pg
    >>> port = pg.read_split("meshes/demo-two-valves.csv")
    >>> [passage.name for passage in port.passages]
    ['trunk', 'left', 'right']
    >>> bool(port.passages[1].port.rows[0] == port.trunk.rows[-1])
    True
    """
    _check_shown_in(units)
    if is_sheet(path):
        _check_of_sheet(
            path, units_in=units_in, scale=scale, shrink_percent=shrink_percent,
            scale_error_percent=scale_error_percent, entry=entry, up=up, with_stem_mm=with_stem_mm,
        )  # fmt: skip
    of_scan = ScanSettings(units_in, scale, shrink_percent, scale_error_percent, entry, None, up, with_stem_mm)
    port = load_whole(str(path), of_scan, units=units, progress=progress)
    if isinstance(port, SplitPort):
        return port
    if is_sheet(path):
        raise InputError("this port does not split: no row names a leg", file=str(path), hint="Read it as one passage")
    raise InputError("this mold does not split: it has two ends", file=str(path), hint="Read it as one passage")


def read_whole(
    path: str | Path,
    *,
    units: LengthUnit | None = None,
    units_in: LengthUnit | None = None,
    exhaust: bool = False,
    bend: int | None = None,
    name: str | None = None,
    progress: Callable[[str, float], None] | None = None,
    **of_scan: Any,
) -> Port | SplitPort:
    """Return the port in a file, all its passages where it splits. As `read`; exhaust and bend are of one passage."""
    port = load_whole(str(path), ScanSettings(units_in, **of_scan), name=name, units=units, progress=progress)
    if isinstance(port, SplitPort):
        return port
    with naming(name or str(path)):
        return meant(port, exhaust, bend)


def passage_of(
    whole: Port | SplitPort, leg: str | None, *, path: str | Path, exhaust: bool = False, bend: int | None = None
) -> Port:
    """Return the one passage that is meant of what `read_whole` read from a path, as `read` would with a leg."""
    with naming(str(path)):
        return one_passage(whole, leg, exhaust, bend)


def leg_worked_on(whole: SplitPort, leg: str | None, *, exhaust: bool = False) -> Port:
    """Return the passage of a port that splits that a job works on: the one named, or the first leg, which is told.

    Raises InputError where it has no such leg.
    """
    first, *others = (each.name for each in whole.legs)
    port = one_passage(whole, leg or first, exhaust, None)
    told = () if leg else (Notice("one_leg", leg=first, others=others, other=others[0]),)
    return replace(port, warnings=(*told, *port.warnings))


def splits(path: str | Path) -> bool:
    """Return whether a file is a sheet whose port splits. Raises InputError where it is a sheet that cannot be read."""
    return is_sheet(path) and bool(read_sheet(path).legs)


def port_from_rows(
    rows: Sequence[Mapping[str, Any]],
    *,
    units: LengthUnit = "mm",
    folder: str | Path | None = None,
    exhaust: bool = False,
    bend: int | None = None,
) -> Port:
    """Return the port that readings in hand make.

    Parameters
    ----------
    rows : one a station, from the entry on, under the names of a section sheet's columns. A length's name may
        leave out its unit (`height` for `height_in`), which is then `units`.
    units : "in" or "mm".
    folder : that outlines are read from; the working directory by default.
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
    word_given(units, get_args(LengthUnit), "units")
    if isinstance(rows, str | Mapping) or not isinstance(rows, Sequence):
        raise InputError(f"{shown(rows)} is not a list of rows", where="rows", hint=ROW)
    for k, row in enumerate(rows):
        if not isinstance(row, Mapping):
            raise InputError(f"{shown(row)} is not a row", where=f"rows[{k}]", hint=ROW)
    if not any(rows):
        raise InputError("there are no readings", hint="Give a row a station")
    sheet = sheet_from(rows, "readings", Path.cwd() if folder is None else Path(folder), unit=units)
    return meant(port_from_sheet(sheet, "readings", units), exhaust, bend)


def whole_from_rows(
    rows: Sequence[Mapping[str, Any]], *, units: LengthUnit = "mm", folder: str | Path | None = None
) -> SplitPort:
    """Return the port that splits that readings in hand make. As `port_from_rows`, rows with a `leg` among them."""
    sheet = sheet_from(rows, "readings", Path.cwd() if folder is None else Path(folder), unit=units)
    return split_from_sheet(sheet, "readings", units)


def loft(path: str | Path, stations: int | None = None) -> Port:
    """Return the port in a section sheet, its mesh with rings at so many stations.

    Parameters
    ----------
    path : a sheet (csv, xlsx, xls, ods).
    stations : how many rings, evenly from opening to opening; by default as many as keep the mesh within
        0.005 mm of the wall, as `read` has it.

    Raises
    ------
    InputError, GeometryError : what is wrong, in which file, where in it, and what to do.

    Examples
    --------
    >>> import portgeo as pg
    >>> len(pg.loft("meshes/demo-as-cast.csv", 30).faces) < len(pg.read("meshes/demo-as-cast.csv").faces)
    True
    """
    count_given(stations, 2, "stations")
    with naming(str(path)):
        sheet = read_sheet(path)
        first, last = (sheet.readings[k].station for k in (0, -1))
        rings = None if stations is None else np.linspace(first, last, stations)
        return port_from_sheet(sheet, str(path), None, rings)


def halves_of_one_mold(one: str | Path, other: str | Path) -> bool:
    """Return whether two meshes are the halves of one mold, parted along its length; False of what is not read."""
    from portgeo.scan.halves import are_halves

    if not all(Path(path).suffix.lower() in READ for path in (one, other)):
        return False
    try:
        points = [read_mesh(path).vertices for path in (one, other)]
    except PortgeoError:
        return False
    return are_halves(points[0], points[1])


def write(port: Port | SplitPort, path: str | Path, *, force: bool = False) -> None:
    """Write a port's mesh, in the coordinates of its source, millimeters.

    Parameters
    ----------
    port : from `read`, `read_split`, `port_from_rows`, or the `port` of a plan.
    path : its ending names the format (stl, ply, obj, 3mf, glb).
    force : replace a file that is there already.

    Raises
    ------
    OutputError : where the file is there already (without `force`) or cannot be written.

    Examples
    --------
    >>> import portgeo as pg, tempfile, pathlib
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     pg.write(pg.read("meshes/demo-as-cast.csv"), pathlib.Path(folder) / "as-cast.stl")
    """
    if isinstance(port, SplitPort):
        write_mesh(path, port.mesh.vertices, port.mesh.faces, force=force)
    else:
        port = port_given(port)
        write_mesh(path, port.to_source(port.vertices), port.faces, force=force)
