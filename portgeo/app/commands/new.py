"""new: a job folder of blank sheets, or a blank target."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from portgeo.core.units import LengthUnit

HELP = "begin a job: a folder with job file, sheets and target to fill in; or a blank target alone"
EXAMPLE = """examples:
  portgeo new my-port                a folder: job.toml, section, bench and wall sheets, target
  portgeo new my-port --units mm
  portgeo new my-port --xlsx         the section sheet as a workbook: shapes from a list, the picture in it
  portgeo new my-port --points       for a mold laid on squared paper: both ends of each section, no angles
  portgeo new target wanted.toml     a blank target for reshape, every key explained

Each file shows an invented example in lines that begin with #, and none of those is read:
the report is of what you typed."""
TARGET = "target"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of new."""
    parser.add_argument("what", nargs="+", metavar="DIR", help="folder to make; or the word target and a FILE (toml)")
    parser.add_argument("--units", choices=("in", "mm"), default="in", help="of the lengths in it (%(default)s)")
    parser.add_argument("--xlsx", action="store_true", help="write the section sheet as a workbook, in place of a csv")
    parser.add_argument(
        "--points", action="store_true", help="a section sheet for a mold laid on squared paper: floor and roof points"
    )
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors")
    parser.add_argument(
        "--force",
        action="store_true",
        help="overwrite a target that is there; never a folder's files",
    )


def run(args: argparse.Namespace) -> None:
    """Write what is asked for."""
    from portgeo.core.errors import InputError

    if args.what[0] == TARGET and len(args.what) == 2:
        _target(args, args.what[1])
    elif args.what == [TARGET]:
        raise InputError(
            "the target has no file", hint="Write  portgeo new target FILE.toml, or ./target for a folder of that name"
        )
    elif len(args.what) == 1:
        _folder(args, Path(args.what[0]))
    else:
        told = " ".join(args.what)[:60]
        raise InputError(f"'{told}' is more than one folder", hint="Name one; a name with spaces goes between quotes")


def _target(args: argparse.Namespace, file: str) -> None:
    from portgeo.app.job.blanks import blank_target
    from portgeo.files.disk import atomic_write

    atomic_write(file, blank_target(args.units).encode(), force=args.force)
    if not args.quiet:
        print(f"{file}: fill in what you want, then: portgeo reshape PORT {file}")


def _folder(args: argparse.Namespace, folder: Path) -> None:
    from portgeo.app.job.folder import make_folder

    unit: LengthUnit = args.units
    made = make_folder(folder, unit, workbook=args.xlsx, points=args.points)
    if args.quiet:
        return
    print(f"{folder}: {', '.join(made)}")
    sheet = next(name for name in made if name.startswith("as-cast."))
    print(f"  Type your readings into {sheet}, under the header (where-to-measure.png shows where to put the")
    print("  micrometer). What else you have goes into bench.csv, walls.csv, target.toml: take the # off its lines")
    print("  in job.toml, which names every file that is read. Examples stand in lines with #, and are not read. Then:")
    job, out = (f'"{path}"' if " " in str(path) else str(path) for path in (folder / "job.toml", folder / "report"))
    print(f"  portgeo report {job} --out {out}")
    if not args.xlsx:
        print("To have the section sheet as a workbook with a list of shapes: portgeo new --xlsx DIR")
