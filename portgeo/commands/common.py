"""What the commands share: common options, a port from any file, and a progress bar."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.errors import InputError, PortgeoError
from portgeo.units import MM_PER, Display, Notice

if TYPE_CHECKING:
    import numpy as np

    from portgeo.port import Port

SHEET_TYPES = (".csv", ".xlsx")
OTHER_TABLES = (".xls", ".xlsm", ".ods", ".tsv", ".txt", ".numbers")
SCAN_OPTIONS = ("units_in", "scale", "shrink_percent", "entry", "exit", "up", "with_stem")
FAR = 0.25  # of a mesh's size: a point farther outside it names no opening


@dataclass(frozen=True)
class Loaded:
    """A port with where it came from: `source` is the record for JSON, `display` the user's unit."""

    port: Port
    source: dict[str, Any]
    display: Display
    warnings: tuple[Notice, ...]


def add_common(parser: argparse.ArgumentParser, *, csv: bool = True) -> None:
    """Add the options that every command has."""
    parser.add_argument("--json", metavar="FILE", help="write the full result here")
    if csv:
        parser.add_argument("--csv", metavar="FILE", help="write the table here")
    parser.add_argument("--units", choices=("in", "mm"), help="unit of what is printed (the file's own)")
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but refusals")
    parser.add_argument("--force", action="store_true", help="overwrite files that are there already")


def add_stations(parser: argparse.ArgumentParser) -> None:
    """Add --stations."""
    parser.add_argument("--stations", type=_count, metavar="N", help="how many rows, from opening to opening")


def add_scan(parser: argparse.ArgumentParser) -> None:
    """Add what can be said of a mesh: its unit, scale, openings and roof."""
    scan = parser.add_argument_group("of a mesh or mold scan")
    scan.add_argument("--units-in", choices=("mm", "in"), help="unit of the file's numbers")
    scan.add_argument("--scale", type=_number, metavar="S", help="multiply lengths by this")
    scan.add_argument("--shrink-percent", type=_number, metavar="P", help="the mold shrank by P percent")
    scan.add_argument("--entry", type=_point, metavar="X,Y,Z", help="a point on the entry, in the file's coordinates")
    scan.add_argument("--exit", type=_point, metavar="X,Y,Z", help="a point on the exit")
    scan.add_argument(
        "--up", type=_direction, metavar="X,Y,Z", help="direction of the roof, where the port is straight"
    )
    scan.add_argument("--with-stem", type=_number, metavar="MM", help="take off a valve stem the mold lacks (diameter)")


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number")
    return value


def _point(text: str) -> tuple[float, ...]:
    parts = tuple(_number(part) for part in text.split(","))
    if len(parts) != 3:
        raise argparse.ArgumentTypeError(f"'{text}' is not three numbers: X,Y,Z")
    return parts


def _direction(text: str) -> tuple[float, ...]:
    parts = _point(text)
    if not any(parts):
        raise argparse.ArgumentTypeError(f"'{text}' has no direction")
    return parts


def _count(text: str) -> int:
    try:
        value = int(text)
    except ValueError:
        value = 0
    if not 2 <= value <= 2000:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from 2 to 2000")
    return value


def load_port(path: str, args: argparse.Namespace) -> Loaded:
    """Return the port in a section sheet or a mesh file. Raises InputError or GeometryError naming it."""
    with naming(path):
        if Path(path).suffix.lower() in SHEET_TYPES:
            return _from_sheet(path, args)
        if Path(path).suffix.lower() in OTHER_TABLES:
            raise InputError("this kind of table is not read", mend="Save it as CSV or XLSX")
        return _from_mesh(path, args)


def refuse_scan_options(path: str, args: argparse.Namespace) -> None:
    """Refuse what is said of a mesh where the one port is a sheet."""
    given = [f"--{name.replace('_', '-')}" for name in SCAN_OPTIONS if getattr(args, name) is not None]
    if given and Path(path).suffix.lower() in SHEET_TYPES:
        raise InputError(
            f"{given[0]} says something of a mesh, and this is a section sheet", file=path, mend=f"Leave out {given[0]}"
        )


@contextmanager
def naming(path: str) -> Iterator[None]:
    """Name the file in a refusal that does not."""
    try:
        yield
    except PortgeoError as refusal:
        raise refusal.in_file(path) from None


def _from_sheet(path: str, args: argparse.Namespace) -> Loaded:
    from portgeo.io.sheets import read_sheet
    from portgeo.port import port_from_readings

    sheet = read_sheet(path)
    port = port_from_readings(sheet.readings)
    source = {
        "file": path,
        "sha256": sheet.sha256,
        "triangles": len(port.faces),
        "units": sheet.unit,
        "scale": 1.0,
    }
    display = Display(getattr(args, "units", None) or sheet.unit)
    return Loaded(port, source, display, tuple(sheet.warnings))


def _from_mesh(path: str, args: argparse.Namespace) -> Loaded:
    import numpy as np

    from portgeo.io.meshes import read_mesh
    from portgeo.scan import ScanOptions, judge_unit, port_from_scan, scale_factor

    mesh = read_mesh(path, unit=getattr(args, "units_in", None))
    notices: list[Notice] = []
    vertices, unit = mesh.vertices, mesh.unit
    scale = scale_factor(getattr(args, "scale", None), getattr(args, "shrink_percent", None))
    if unit is None:
        unit, notice = judge_unit(vertices * scale)
        notices.append(notice)
        vertices = vertices * MM_PER[unit]
    size = MM_PER.get(unit, 1.0) * scale

    def point(name: str) -> np.ndarray | None:
        given = getattr(args, name, None)
        return None if given is None else np.array(given) * size

    low, high = vertices.min(axis=0) * scale, vertices.max(axis=0) * scale
    for name in ("entry", "exit"):
        place = point(name)
        if place is not None and (np.maximum(low - place, place - high) > FAR * (high - low).max()).any():
            raise InputError(
                f"the point given with --{name} is far from the mesh, which reaches from "
                f"{_coordinates(low / size)} to {_coordinates(high / size)}",
                mend="Give it in the file's own coordinates and unit",
            )
    options = ScanOptions(
        entry=point("entry"), exit=point("exit"), up=point("up"), with_stem_mm=getattr(args, "with_stem", None)
    )
    with progress_bar(path, quiet=getattr(args, "quiet", False)) as progress:
        port = port_from_scan(vertices * scale, mesh.faces, options, progress)
    source = {
        "file": path,
        "sha256": mesh.sha256,
        "triangles": mesh.triangles,
        "units": unit,
        "scale": scale,
    }
    display = Display(getattr(args, "units", None) or ("in" if unit == "in" else "mm"))
    return Loaded(port, source, display, tuple(notices))


def _coordinates(point: np.ndarray) -> str:
    return "(" + ", ".join(f"{value:.4g}" for value in point) + ")"


@contextmanager
def progress_bar(title: str, *, quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """Give a function (what, share done) that shows a bar on a terminal, and nothing in a pipe."""
    if quiet or not sys.stderr.isatty():
        yield lambda what, share: None
        return
    from tqdm import tqdm

    with tqdm(total=1.0, leave=False, bar_format="{desc} {percentage:3.0f}% {bar}", delay=0.5) as bar:

        def show(what: str, share: float) -> None:
            bar.set_description_str(f"{title}: {what}", refresh=False)
            bar.update(share - bar.n)

        yield show
