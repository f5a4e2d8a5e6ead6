"""What the commands share: common options, a port from any file, and a progress bar."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from portgeo.core.errors import InputError, PortgeoError, naming
from portgeo.core.units import MM_PER

if TYPE_CHECKING:
    from portgeo.core.port import Port

T = TypeVar("T")
__all__ = [
    "add_bend",
    "add_common",
    "add_metal",
    "add_scan",
    "add_stations",
    "check_outputs",
    "in_options",
    "length_of",
    "load_asked",
    "load_port",
    "load_ports",
    "load_whole",
    "load_within",
    "naming",
    "number_of",
    "png_name",
    "point",
    "progress_bar",
    "refuse_of_one_passage",
    "refuse_scan_options",
]
SCAN_OPTIONS = ("units_in", "scale", "shrink_percent", "scale_error_percent", "entry", "exit", "up", "with_stem")
READ_AS = {"with_stem": "with_stem_mm"}  # what `read` calls an option, where it is another word
NUMBERS = {
    "cfm": ("a flow", "cubic feet a minute, such as 215"),
    "depression": ("a depression", "inches of water, such as 28"),
    "rpm": ("an engine speed", "revolutions a minute, such as 7500"),
    "seat_angle": ("a seat angle", "degrees, such as 45"),
    "metal": ("an amount of metal", "cc, such as 0.5"),
    "peak": ("a speed", "feet a second (meters a second on a job in mm), such as 500"),
    "least_speed": ("a speed", "feet a second (meters a second on a job in mm), such as 300"),
    "cores": ("a number of cores", "whole, such as 4"),
    "slowing": ("a share", "parts of one, such as 0.2"),
}  # what a number's option is, and how it is written
LONGEST_MM = 5000.0  # no length of a port or a tool is more
QUOTES = str.maketrans({"”": '"', "“": '"', "″": '"', "’": "'", "′": "'"})  # as phones and word processors type them


def add_common(parser: argparse.ArgumentParser, *, csv: bool = True) -> None:
    """Add the options that every command has."""
    parser.add_argument("--json", metavar="FILE", help="write the full result here")
    if csv:
        parser.add_argument("--csv", metavar="FILE", help="write the table here")
    parser.add_argument("--units", choices=("in", "mm"), help="unit of what is printed (the file's own)")
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors")
    parser.add_argument("--force", action="store_true", help="overwrite files that are there already")


def add_metal(parser: argparse.ArgumentParser) -> None:
    """Add what the casting is of."""
    metal = parser.add_mutually_exclusive_group()
    metal.add_argument("--alloy", type=_alloy, choices=("aluminum", "iron"), default="aluminum", help="of the casting")
    metal.add_argument("--density", type=_density, metavar="G_CC", help="its density, grams per cc")


def _alloy(text: str) -> str:
    return text.lower().replace("aluminium", "aluminum")


def _density(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value < 25.0:
        raise argparse.ArgumentTypeError(f"'{text}' is not a density in grams per cc")
    return value


def add_stations(parser: argparse.ArgumentParser) -> None:
    """Add --stations."""
    parser.add_argument("--stations", type=_count, metavar="N", help="how many rows, from opening to opening")


def add_bend(parser: argparse.ArgumentParser, *, exhaust: bool = True) -> None:
    """Add which bend is worked on, and which end the valve is at."""
    parser.add_argument(
        "--bend", type=_count_from_one, metavar="N", help="the bend meant, from 1 at the entry (that next to the valve)"
    )
    if exhaust:
        parser.add_argument(
            "--exhaust", action="store_true", help="the port is an exhaust's: its valve is at the entry"
        )


def _count_from_one(text: str) -> int:
    value = int(text) if text.isascii() and text.isdigit() and len(text) < 5 else 0
    if value < 1:
        raise argparse.ArgumentTypeError(f"'{text}' is not the number of a bend: 1, 2, ...")
    return value


def add_scan(parser: argparse.ArgumentParser) -> None:
    """Add which passage of a port that splits is meant, and what can be said of a mesh."""
    parser.add_argument("--leg", metavar="NAME", help="of a port that splits: the one leg meant, or trunk")
    scan = parser.add_argument_group("of a mesh or mold scan")
    scan.add_argument("--units-in", choices=("mm", "in"), help="unit of the file's numbers")
    scan.add_argument("--scale", type=_number, metavar="S", help="multiply lengths by this")
    scan.add_argument("--shrink-percent", type=_number, metavar="P", help="the mold shrank by P percent")
    scan.add_argument(
        "--scale-error-percent",
        type=_number,
        metavar="P",
        help="how sure that scale is, one standard deviation: scanner and shrinkage; it counts in every ±",
    )
    scan.add_argument("--entry", type=point, metavar="X,Y,Z", help="a point on the entry, in the file's coordinates")
    scan.add_argument("--exit", type=point, metavar="X,Y,Z", help="a point on the exit")
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


def point(text: str) -> tuple[float, ...]:
    parts = tuple(_number(part) for part in text.split(","))
    if len(parts) != 3:
        raise argparse.ArgumentTypeError(f"'{text}' is not three numbers: X,Y,Z")
    return parts


def _direction(text: str) -> tuple[float, ...]:
    parts = point(text)
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


def length_of(text: str, unit: str, where: str) -> float:
    """Return a length typed on the command line in mm: 6, 1/4, 1 1/2, 6in, 3/8", 152.4mm, 41,3mm.

    unit : of a bare number, the one answers are shown in. where : the option, for a refusal. Raises
    InputError for what is no length, and for a fraction that is not of an inch or that no rule has.
    """
    from portgeo.files.sheets.numbers import FRACTION, TRAILING_UNIT, UNIT_MARKS, read_number

    shown = f"'{text.strip()[:40]}'"
    hint = "Write for example 6in, 1 1/2in or 152.4mm"
    mark = TRAILING_UNIT.search(text.strip().translate(QUOTES))
    named = UNIT_MARKS.get(mark[1].lower()) if mark else None
    number = text.strip().translate(QUOTES)[: mark.start()] if mark and named else text
    of: str = named or unit
    if of not in MM_PER:
        raise InputError(f"{shown} is not in inches or millimeters", where=where, hint=hint)
    if "/" in number and of != "in":
        raise InputError(
            f"{shown} is a fraction, of millimeters",
            where=where,
            hint=f"Write {number.strip()}in if it is of an inch, else a decimal such as 6.35mm",
        )
    try:
        value = read_number(number, unit="in", decimal_comma=True) * MM_PER[of]
    except InputError as refusal:
        if FRACTION.fullmatch(number.strip()):
            raise refusal.at(where=where) from None
        raise InputError(f"{shown} is not a length", where=where, hint=hint) from None
    if not 0.0 <= value <= LONGEST_MM:
        raise InputError(f"{shown} is not a length that a port or a tool can have", where=where, hint=hint)
    return value


def png_name(name: str) -> str:
    """Return the name of a picture to write. Raises InputError where its ending promises another format."""
    if Path(name).suffix.lower() != ".png":
        hint = f"Name it {Path(name).stem or 'picture'}.png"
        raise InputError("pictures are written as .png", file=name, hint=hint)
    return name


def number_of(args: argparse.Namespace, name: str) -> float:
    """Return the number typed for an option. Raises InputError, with how it is written."""
    from portgeo.files.sheets.numbers import read_number

    option, text = "--" + name.replace("_", "-"), str(getattr(args, name))
    if "," in text:
        raise InputError(f"'{text[:40]}' is not a number", where=option, hint="Write it with a decimal point, as 22.5")
    try:
        return read_number(text, unit="deg" if name == "seat_angle" else "", decimal_comma=False)
    except InputError:
        what, example = NUMBERS[name]
        hint = f"Write the number alone, in {example}"
        raise InputError(f"'{text[:40]}' is not {what}", where=option, hint=hint) from None


def load_port(path: str | Path, args: argparse.Namespace) -> Port:
    """Return the port in a section sheet or a mesh file. Raises InputError or GeometryError naming it."""
    from portgeo.front.ports import read

    with _typed(path, args) as typed:
        return read(path, leg=getattr(args, "leg", None), **typed)


def called(path: str, args: argparse.Namespace) -> str:
    """Return what a port is called in a title: its file, and the passage that is named of a port that splits."""
    return path if args.leg is None else f"{path}, {args.leg}"


def load_whole(path: str | Path, args: argparse.Namespace) -> Any:
    """Return the Port in a section sheet or a mesh file, or the SplitPort where it splits. Raises as load_port."""
    from portgeo.front.ports import read_whole

    with _typed(path, args) as typed:
        return read_whole(path, **typed)


def load_asked(path: str | Path, args: argparse.Namespace) -> Any:
    """Return the one passage that --leg names, or without it all that a file holds: a SplitPort where it splits."""
    return load_whole(path, args) if args.leg is None else load_port(path, args)


def load_within(path: str | Path, args: argparse.Namespace) -> tuple[Port, Any]:
    """Return the one passage that is meant, and the port that splits of which it is one, None of a port that does not.

    Raises as load_port.
    """
    from portgeo.core.port import Port
    from portgeo.front.ports import passage_of

    whole = load_whole(path, args)
    meant = {name: getattr(args, name, None) for name in ("exhaust", "bend")}
    port = passage_of(whole, args.leg, path=path, exhaust=bool(meant["exhaust"]), bend=meant["bend"])
    return port, None if isinstance(whole, Port) else whole


def check_outputs(
    args: argparse.Namespace, files: Sequence[str], command: str, inputs: Sequence[str | Path | None]
) -> None:
    """Refuse files that a command would replace, before anything is made; make its --out folder.

    files : that it writes into that folder: its own of a run on the same port may be replaced, as args.replace then
    says, what else is there only with --force.
    """
    from portgeo.files.disk import check_free, make_folder
    from portgeo.files.own_folder import is_own

    args.replace = args.force
    if args.out:
        make_folder(args.out)
        args.replace = args.force or is_own(args.out, files, command, args.port)
    written = [Path(args.out) / name for name in files] if args.out else []
    check_free([*written, args.json, args.csv], True, inputs)
    check_free(written, args.replace)
    check_free([args.json, args.csv], args.force)


def refuse_of_one_passage(path: str, args: argparse.Namespace, names: Sequence[str]) -> None:
    """Refuse, of a port that splits, the first of some options that is given: they are of one passage."""
    for name in names:
        if getattr(args, name):
            raise InputError(
                "this port splits, and this is for one passage", file=path, where=f"--{name.replace('_', '-')}",
                hint="Name the passage with --leg, or leave it out",
            )  # fmt: skip


@contextmanager
def _typed(path: str | Path, args: argparse.Namespace) -> Iterator[dict[str, Any]]:
    """Give what was typed of a port, by the library's own names, and a progress bar's function."""
    from portgeo.files.ports import is_sheet

    # Of several files that a command reads, one may be a sheet: what is said of a scan is of the others.
    given = {READ_AS.get(name, name): None if is_sheet(path) else getattr(args, name, None) for name in SCAN_OPTIONS}
    with progress_bar(str(path), quiet=getattr(args, "quiet", False) or is_sheet(path)) as progress:
        yield {
            "units": getattr(args, "units", None),
            "exhaust": bool(getattr(args, "exhaust", False)),
            "bend": getattr(args, "bend", None),
            "progress": progress,
            **given,
        }


@contextmanager
def in_options() -> Iterator[None]:
    """Name the option in a refusal that names what the library calls it."""
    try:
        yield
    except PortgeoError as refusal:
        where = refusal.where and f"--{refusal.where.replace('_', '-')}"
        raise type(refusal)(refusal.what, hint=refusal.hint, file=refusal.file, where=where) from None


def load_ports(
    asked: Sequence[tuple[str, argparse.Namespace]], load: Callable[[str, argparse.Namespace], T]
) -> list[T]:
    """Return ports as `load` does, several at once: a scan's time is mostly in libraries, which run side by side."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(min(len(asked), os.cpu_count() or 1)) as pool:
        return [one.result() for one in [pool.submit(load, path, args) for path, args in asked]]


def refuse_scan_options(path: str, args: argparse.Namespace) -> None:
    """Refuse what is said of a mesh where the one port is a sheet."""
    from portgeo.files.ports import is_sheet

    given = [f"--{name.replace('_', '-')}" for name in SCAN_OPTIONS if getattr(args, name) is not None]
    if given and is_sheet(path):
        raise InputError(
            f"{given[0]} is for a mesh, and this is a section sheet", file=path, hint=f"Leave out {given[0]}"
        )


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
