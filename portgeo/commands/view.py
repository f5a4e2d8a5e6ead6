"""view: the port in a window, or in a picture file."""

from __future__ import annotations

import argparse
from pathlib import Path

from portgeo.commands.common import add_scan, load_port, naming, refuse_scan_options

HELP = "look at a port in 3D, in a window or as a picture"
EXAMPLE = """examples:
  portgeo view port.csv
  portgeo view port.csv --picture port.png"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of view."""
    parser.add_argument("port", metavar="PORT", help="section sheet or mesh")
    parser.add_argument("--picture", metavar="FILE", help="write a picture (png) and open no window")
    parser.add_argument("--units", choices=("in", "mm"), help="unit of what is shown (the file's own)")
    add_scan(parser)
    parser.add_argument("--force", action="store_true", help="overwrite a picture that is there already")


def run(args: argparse.Namespace) -> None:
    """Show the port."""
    from portgeo.io.files import check_free
    from portgeo.report.pictures import port_picture, show
    from portgeo.survey import survey

    if args.picture:
        check_free([args.picture], args.force, [args.port])
    refuse_scan_options(args.port, args)
    loaded = load_port(args.port, args)
    with naming(args.port):
        found = survey(loaded.port, readings_tried=False)
    if args.picture:
        port_picture(found, loaded.display, Path(args.port).name, args.picture, force=args.force)
        print(f"{args.picture}: white line: floor; black lines: roof and stations; circle: short side")
    else:
        show(found, loaded.display, Path(args.port).name)
