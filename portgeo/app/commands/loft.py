"""loft: a section sheet becomes a watertight mesh."""

from __future__ import annotations

import argparse

from portgeo.app.commands.common import add_stations
from portgeo.core.errors import InputError

HELP = "build the port as a watertight mesh from a section sheet"
EXAMPLE = """example:
  portgeo loft port.csv -o port.stl"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of loft."""
    parser.add_argument("sheet", metavar="SHEET", help="section sheet (csv, xlsx, xls, ods)")
    parser.add_argument("-o", "--output", metavar="PORT", required=True, help="mesh to write (stl, ply, obj, 3mf, glb)")
    add_stations(parser)
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors")
    parser.add_argument("--force", action="store_true", help="overwrite a file that is there already")


def run(args: argparse.Namespace) -> None:
    """Loft and write."""
    from portgeo.files.disk import check_free
    from portgeo.front.ports import loft, read_split, splits, write
    from portgeo.present.text.loft import loft_text

    check_free([args.output], args.force, [args.sheet])
    parted = splits(args.sheet)
    if parted and args.stations is not None:
        hint = "Leave it out: rings stand as close as the wall asks for"
        raise InputError("this port splits, and this is for one passage", where="--stations", hint=hint)
    port = read_split(args.sheet) if parted else loft(args.sheet, args.stations)
    write(port, args.output, force=args.force)
    if not args.quiet:
        print(loft_text(port, args.output))
