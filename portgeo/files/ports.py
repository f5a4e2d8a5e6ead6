"""A port from any file: a section sheet, or a mesh or mold scan with what can be said of it.

A path and settings come in; a Port goes out that knows its source, the unit to show it in and the notices
of its reading, or a refusal that names the file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from portgeo.core.errors import InputError, naming
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port, port_from_readings
from portgeo.core.split import TRUNK, SplitPort, split_port
from portgeo.core.units import MM_PER, Display, LengthUnit
from portgeo.files.meshes.mesh import read_mesh
from portgeo.files.sheets.sheet import Sheet, read_sheet
from portgeo.files.sheets.tables import SHEET_TYPES
from portgeo.files.toml.tables import TOML, no_port
from portgeo.measuring.bends import meant_bend, port_bends

OTHER_TABLES = (".xlsb", ".tsv", ".txt", ".numbers")
FAR = 0.25  # of a mesh's size: a point farther outside it names no opening

Point = tuple[float, float, float]


@dataclass(frozen=True)
class ScanSettings:
    """What can be said of a mesh: its unit, what its lengths are multiplied by and how sure, openings, roof, stem.

    entry, exit : points on the openings and up : the direction of the roof, in the file's own
    coordinates. with_stem_mm : diameter of a stem to take off. Each is None where nothing is said.
    """

    units: LengthUnit | None = None
    scale: float | None = None
    shrink_percent: float | None = None
    scale_error_percent: float | None = None
    entry: Point | None = None
    exit: Point | None = None
    up: Point | None = None
    with_stem_mm: float | None = None


def is_sheet(path: str | Path) -> bool:
    """Return whether a file is a section sheet by its suffix."""
    return Path(path).suffix.lower() in SHEET_TYPES


def load_port(
    path: str,
    settings: ScanSettings | None = None,
    *,
    name: str | None = None,
    units: LengthUnit | None = None,
    progress: Callable[[str, float], None] | None = None,
    exhaust: bool = False,
    bend: int | None = None,
    leg: str | None = None,
) -> Port:
    """Return the port in a section sheet or a mesh file.

    leg : of a port that splits, the one passage that is meant: a leg's name, or trunk. settings : of a mesh; a
    sheet takes none. name : of the file in records and refusals, where it is not its path. units : to show it in, the
    file's own by default. exhaust : its valve is at the entry. bend : number of the bend that is worked on, from 1 at
    the entry. Raises InputError or GeometryError naming the file.
    """
    settings = settings or ScanSettings()
    with naming(name or path):
        if is_sheet(path):
            return meant(port_from_sheet(read_sheet(path), name or path, units, leg=leg), exhaust, bend)
        if Path(path).suffix.lower() in OTHER_TABLES:
            raise InputError("this kind of table is not read", hint="Save it as CSV, XLSX or ODS")
        if Path(path).suffix.lower() == TOML:
            raise no_port(path)
        whole = _from_mesh(path, name or path, settings, units, progress)
        return one_passage(whole, leg, exhaust, bend)


def load_whole(
    path: str,
    settings: ScanSettings | None = None,
    *,
    name: str | None = None,
    units: LengthUnit | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Port | SplitPort:
    """Return the port in a section sheet or a mesh file, with all its passages where it splits. As load_port."""
    if not is_sheet(path) and Path(path).suffix.lower() not in (*OTHER_TABLES, TOML):
        with naming(name or path):
            return _from_mesh(path, name or path, settings or ScanSettings(), units, progress)
    with naming(name or path):
        sheet = read_sheet(path) if is_sheet(path) else None
        if sheet is not None and sheet.legs:
            return split_from_sheet(sheet, name or path, units)
    return load_port(path, settings, name=name, units=units, progress=progress)


def meant(port: Port, exhaust: bool, bend: int | None) -> Port:
    """Return a port with what is said of its valve's end and of the bend that is worked on."""
    port = replace(port, bend=bend, valve_end="entry" if exhaust else port.valve_end)
    meant_bend(port, port_bends(port))
    return port


def port_from_sheet(
    sheet: Sheet, name: str, units: LengthUnit | None, stations: FloatArray | None = None, leg: str | None = None
) -> Port:
    """Return the port that a sheet's readings make. name : of its file, for records. units : to show it in.

    stations : of the mesh's rings; as many as the wall asks for by default. leg : as in load_port. Raises InputError
    where the port splits and no passage is named.
    """
    if sheet.legs or leg is not None:
        return _passage_of(sheet, name, units, leg)
    port = port_from_readings(sheet.readings, stations=stations)
    return replace(
        port, source=_source(sheet, name, port.mesh.face_count), display=Display(units or sheet.unit),
        warnings=(*sheet.warnings, *port.warnings),
    )  # fmt: skip


def split_from_sheet(sheet: Sheet, name: str, units: LengthUnit | None) -> SplitPort:
    """Return the port that splits, of a sheet that has legs. name, units : as in port_from_sheet."""
    display = Display(units or sheet.unit)
    port = split_port(sheet.readings, sheet.legs, display)
    source = _source(sheet, name, port.mesh.face_count)
    own = port.each(lambda passage: replace(passage, source=source, display=display))
    return replace(own, source=source, display=display, warnings=sheet.warnings)


def _passage_of(sheet: Sheet, name: str, units: LengthUnit | None, leg: str | None) -> Port:
    """Return one passage of a sheet whose port splits. Raises InputError where none is named, or another."""
    if not sheet.legs:
        raise _no_leg(leg)
    if leg is None:
        raise _which_passage(list(sheet.legs))
    return one_passage(split_from_sheet(sheet, name, units), leg)


def one_passage(whole: Port | SplitPort, leg: str | None, exhaust: bool = False, bend: int | None = None) -> Port:
    """Return a file's one passage, or the one that is named of a port that splits, exhaust and bend as in load_port.

    Raises InputError where the port splits and none is named, or another.
    """
    if isinstance(whole, Port):
        if leg is not None:
            raise _no_leg(leg)
        return meant(whole, exhaust, bend)
    if leg is None:
        raise _which_passage([each.name for each in whole.legs])
    port = whole.passage(leg)
    return meant(replace(port, warnings=(*whole.warnings, *port.warnings)), exhaust, bend)


def _no_leg(leg: str | None) -> InputError:
    return InputError(f"this port has no leg {str(leg)[:40]!r}", hint="It is one passage: leave --leg out")


def _which_passage(legs: Sequence[str]) -> InputError:
    names = [TRUNK, *legs]
    return InputError(
        f"this port splits into legs {_and(legs)}, and one passage is worked on at a time",
        hint=f"Name it: --leg {', --leg '.join(names[:-1])} or --leg {names[-1]}; measure, loft and airspeed take the "
        "whole",
    )


def _and(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _source(sheet: Sheet, name: str, triangles: int) -> dict[str, Any]:
    return {"file": name, "sha256": sheet.sha256, "triangles": triangles, "units": sheet.unit, "scale": 1.0}


def _from_mesh(
    path: str,
    name: str,
    settings: ScanSettings,
    units: LengthUnit | None,
    progress: Callable[[str, float], None] | None,
) -> Port | SplitPort:
    from portgeo.scan import ScanOptions, judge_unit, read_scan, scale_factor, scale_share

    mesh = read_mesh(path, unit=settings.units)
    notices: list[Notice] = []
    vertices, unit = mesh.vertices, mesh.unit
    scale = scale_factor(settings.scale, settings.shrink_percent)
    scale_error = scale_share(settings.scale_error_percent)
    if scale_error is None:
        notices.append(Notice("scale_exact"))
    if unit is None:
        unit, notice = judge_unit(vertices * scale, Path(name).name)
        notices.append(notice)
        vertices = vertices * MM_PER[unit]
    elif mesh.stated not in (None, unit):
        notices.append(Notice("unit_contradicted", stated=mesh.stated, unit=unit))
    size = MM_PER.get(unit, 1.0) * scale
    low, high = vertices.min(axis=0) * scale, vertices.max(axis=0) * scale

    def place(which: str) -> FloatArray | None:
        given = getattr(settings, which)
        return None if given is None else np.array(given) * size

    for end in ("entry", "exit"):
        point = place(end)
        if point is not None and (np.maximum(low - point, point - high) > FAR * (high - low).max()).any():
            raise InputError(
                f"the point given with --{end} is far from the mesh, which reaches from "
                f"{_coordinates(low / size)} to {_coordinates(high / size)}",
                hint="Give it in the file's own coordinates and unit",
            )
    options = ScanOptions(entry=place("entry"), exit=place("exit"), up=place("up"), with_stem_mm=settings.with_stem_mm)
    port = read_scan(vertices * scale, mesh.faces, options, progress or (lambda what, share: None))
    source = {
        "file": name,
        "sha256": mesh.sha256,
        "triangles": mesh.triangles,
        "units": unit,
        "scale": scale,
    }
    display = Display(units or ("in" if unit == "in" else "mm"))

    def known(passage: Port) -> Port:
        return replace(passage, scale_error=scale_error, source=source, display=display)

    if isinstance(port, Port):
        return replace(known(port), warnings=(*notices, *port.warnings))
    return replace(port.each(known), source=source, display=display, warnings=(*notices, *port.warnings))


def _coordinates(point: FloatArray) -> str:
    return "(" + ", ".join(f"{value:.4g}" for value in point) + ")"
