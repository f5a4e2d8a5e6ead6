"""The target file: what is wanted of a port, in TOML.

A file comes in; a Target in millimetres and the files that its limits name go out, or a refusal with
the key, its line and the hint.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from portgeo.core.errors import InputError, Problems, naming
from portgeo.core.section import WALLS
from portgeo.core.units import LengthUnit
from portgeo.files.disk import read_bounded
from portgeo.files.sheets.tables import decoded
from portgeo.files.toml.slips import content_of, tell
from portgeo.files.toml.tables import LENGTH_UNITS, TomlTable
from portgeo.reshape.target import (
    BLEND_MM,
    GREATEST_DEPTH_MM,
    AreaWanted,
    Keep,
    ShortSideWanted,
    Target,
)
from portgeo.results.figures import plain

FILE_LIMIT = 1_000_000  # bytes
DEEPEST_MM = 25.0  # no cut by hand is deeper
LEAST_BLEND_MM, MOST_BLEND_MM = 1.0, 100.0
LEAST_WALL_MM = 2.5  # 0.1 in: *common practice, no source*, about the least wall left over water


@dataclass(frozen=True)
class TargetFile:
    """A target with the files it names, as paths beside it.

    wall_readings, outer_meshes, gasket, copy : files, where named. outer_unit, gasket_unit : of
    those that do not say. beside : meshes of other passages that are cut too, least_between : metal
    to leave to them, beside_share : of what is over it, that this port may take. gasket_at_exit,
    gasket_move (2,) : where the gasket lies, left and up of the opening's middle. unit : of the file.
    sha256 : of the file.
    """

    target: Target
    unit: LengthUnit
    sha256: str
    least_wall: float = LEAST_WALL_MM
    wall_readings: Path | None = None
    outer_meshes: tuple[Path, ...] = ()
    outer_unit: str | None = None
    beside: tuple[Path, ...] = ()
    least_between: float = LEAST_WALL_MM
    beside_share: float = 0.5
    gasket: Path | None = None
    gasket_unit: LengthUnit = "mm"
    gasket_at_exit: bool = False
    gasket_move: tuple[float, float] = (0.0, 0.0)
    copy: Path | None = None


def read_target(path: str | Path, *, limits: bool = False) -> TargetFile:
    """Return the target in a TOML file. Raises InputError naming file, line, key and hint of all that is wrong.

    limits : only its limits count, so that it need want nothing.
    """
    return target_from(read_bounded(path, FILE_LIMIT), str(path), Path(path).parent, limits=limits)


def target_from(data: bytes, file: str, folder: Path, *, limits: bool = False) -> TargetFile:
    """Return the target in a TOML file's bytes. folder : where its files are. Raises InputError as `read_target`."""
    with naming(file):
        text = decoded(data, file)
        content, slips = content_of(text)
        problems = Problems()
        target = None if content is None else _target(content, text, problems, file, folder, limits)
        tell(slips, problems)
        problems.refuse()
        assert target is not None
        return replace(target, sha256=hashlib.sha256(data).hexdigest())


def target_of(content: Mapping[str, Any], folder: Path, *, limits: bool = False) -> TargetFile:
    """Return the target in a mapping with a file's keys. folder : where its files are. Raises InputError."""
    bare, problems = plain(content), Problems()
    target = _target(bare, "", problems, "target", folder, limits)
    problems.refuse()
    return replace(target, sha256=hashlib.sha256(json.dumps(bare, sort_keys=True).encode()).hexdigest())


def _target(
    content: dict[str, Any], text: str, problems: Problems, file: str, folder: Path, limits_only: bool
) -> TargetFile:
    if "state" in content:
        raise InputError("this is a job, not a target", hint=f"`portgeo report {file} --out report` runs it")
    top = TomlTable(content, "", 0, text, None, problems)
    unit = next((unit for unit in LENGTH_UNITS if unit == top.choice("units", LENGTH_UNITS, required=True)), None)
    top.unit = unit
    throat_diameter = top.length("throat_diameter", least=1.0)
    throat_area = top.area("throat_area")
    epoxy = top.boolean("epoxy", False)
    fill = top.length("epoxy_depth", GREATEST_DEPTH_MM, most=DEEPEST_MM)
    short = top.table("short_side")
    limits = top.table("limits")
    copied = top.table("copy")
    areas = [_area(each) for each in top.tables("area")] + [_taper(each) for each in top.tables("taper")]
    target = Target(
        areas=tuple(areas),
        short_side=None if short is None else _short_side(short),
        greatest_depth=_given(top.length("greatest_depth", GREATEST_DEPTH_MM, least=0.01, most=DEEPEST_MM)),
        blend=_given(top.length("blend", BLEND_MM, least=LEAST_BLEND_MM, most=MOST_BLEND_MM)),
        symmetric=top.boolean("symmetric", False),
        fill=_given(fill) if epoxy else 0.0,
        walls=top.words("walls", WALLS),
        start=top.length("cut_from"),
        end=top.length("cut_to"),
        throat_area=np.pi / 4.0 * throat_diameter**2 if throat_diameter is not None else throat_area,
        keep=tuple(_keep(each) for each in top.tables("keep")),
    )
    copy = None if copied is None else copied.file("port", folder, required=True)
    if copied is not None:
        copied.finish()
    found = _with_limits(TargetFile(target, unit or "mm", "", copy=copy), limits, folder)
    top.finish()
    if not (problems or limits_only) and not target.areas and target.short_side is None and copy is None:
        hint = "Fill in an [[area]], a [[taper]], [short_side] or [copy]"
        problems.add(InputError("the target asks for nothing", hint=hint))
    return found


def _given(value: float | None) -> float:
    assert value is not None
    return value


def _area(table: TomlTable) -> AreaWanted:
    station = _given(table.length("station", required=True))
    area, percent = table.area("area"), table.number("percent", least=1.0, most=1000.0)
    wanted = _one_of(table, "area", area, "percent", percent)
    table.finish()
    return AreaWanted(station, station, wanted, wanted, percent is not None, table.where("station"))


def _taper(table: TomlTable) -> AreaWanted:
    start, end = (_given(table.length(name, required=True)) for name in ("from", "to"))
    if end <= start:
        table.tell("to", "the taper ends before it begins", "Give `to` a station past `from`")
    given = {
        which: (table.area(f"area_{which}"), table.number(f"percent_{which}", least=1.0, most=1000.0))
        for which in ("from", "to")
    }
    ends = [_one_of(table, f"area_{w}", area, f"percent_{w}", percent) for w, (area, percent) in given.items()]
    shares = [percent is not None for _, percent in given.values()]
    if shares[0] != shares[1] and not np.isnan(ends).any():
        what = "one end of the taper is an area and the other a percentage"
        table.tell("from", what, "Give both ends in the same way")
    table.finish()
    return AreaWanted(start, end, ends[0], ends[1], shares[0], table.where("from"))


def _one_of(table: TomlTable, one: str, area: float | None, other: str, percent: float | None) -> float:
    hint = f"Give one of the two: {one}, or {other} of the throat's area"
    if area is None and percent is None:
        table.lack((one, f"{one}_in2", f"{one}_mm2", other), f"neither {one} nor {other} is given", hint)
        return np.nan
    if area is not None and percent is not None:
        table.tell(one, f"{one} and {other} are both given", hint)
    return area if area is not None else _given(percent) / 100.0


def _short_side(table: TomlTable) -> ShortSideWanted:
    wanted = ShortSideWanted(
        _given(table.length("radius", required=True, least=0.5)), table.length("from"), table.length("to")
    )
    if wanted.start is not None and wanted.end is not None and wanted.end <= wanted.start:
        table.tell("to", "the short side ends before it begins", "Give `to` a station past `from`")
    table.finish()
    return wanted


def _keep(table: TomlTable) -> Keep:
    keep = Keep(
        table.text("name", "part to keep"),
        _given(table.length("from", required=True)),
        _given(table.length("to", required=True)),
        _given(table.number("clock_from", 0.0, least=0.0, most=12.0)) % 12.0,
        _given(table.number("clock_to", 12.0, least=0.0, most=12.0)),
    )
    table.finish()
    return keep


def _with_limits(file: TargetFile, table: TomlTable | None, folder: Path) -> TargetFile:
    if table is None:
        return file
    least_wall = _given(table.length("least_wall", LEAST_WALL_MM, most=DEEPEST_MM))
    found = replace(
        file,
        least_wall=least_wall,
        beside=table.files("beside", folder),
        least_between=_given(table.length("least_between", least_wall, most=DEEPEST_MM)),
        beside_share=_given(table.number("beside_percent", 50.0, least=0.0, most=100.0)) / 100.0,
        wall_readings=table.file("wall_readings", folder),
        outer_meshes=table.files("outer_mesh", folder),
        outer_unit=table.choice("outer_mesh_units", ("in", "mm", "cm", "m")),
        gasket=table.file("gasket", folder),
        gasket_unit="in" if (table.choice("gasket_units", ("in", "mm")) or file.unit) == "in" else "mm",
        gasket_at_exit=table.choice("gasket_at", ("entry", "exit")) == "exit",
        gasket_move=(_given(table.signed("gasket_shift")), _given(table.signed("gasket_rise"))),
    )
    table.finish()
    return found
