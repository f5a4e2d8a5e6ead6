"""view: a port, or two stages side by side, in a window or in a picture file."""

from __future__ import annotations

import argparse
from pathlib import Path

from portgeo.app.commands.common import add_bend, add_scan, load_port, png_name, refuse_scan_options

HELP = "look at a port in 3D, or at two stages side by side, in a window or as a picture"
EXAMPLE = """examples:
  portgeo view port.csv
  portgeo view port.csv --picture port.png
  portgeo view as-cast.csv first-cut.csv

Two are turned together, at one scale and in one scale of colors."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of view."""
    parser.add_argument("port", metavar="PORT", help="section sheet or mesh")
    parser.add_argument("other", metavar="OTHER", nargs="?", help="another stage of it, to show beside it")
    parser.add_argument("--picture", metavar="FILE", type=png_name, help="write a picture (png) and open no window")
    parser.add_argument("--units", choices=("in", "mm"), help="unit of what is shown (the file's own)")
    add_bend(parser)
    add_scan(parser)
    parser.add_argument("--force", action="store_true", help="overwrite a picture that is there already")


def run(args: argparse.Namespace) -> None:
    """Show the port, or two."""
    from portgeo.files.disk import check_free
    from portgeo.front.states import survey
    from portgeo.present.pictures.port import pair_picture, port_picture, show

    paths = [path for path in (args.port, args.other) if path is not None]
    check_free([args.picture], args.force, paths)
    if len(paths) == 1:
        refuse_scan_options(args.port, args)
    ports = [load_port(path, args) for path in paths]
    surveys = [survey(port, sure=False).computed for port in ports]
    titles, display = [Path(path).name for path in paths], ports[0].display
    if not args.picture:
        show(surveys, display, titles)
        return
    if len(surveys) == 1:
        port_picture(surveys[0], display, titles[0], args.picture, force=args.force)
    else:
        pair_picture(surveys, display, titles, args.picture, force=args.force)
    print(f"{args.picture}: white line: inside of the turn; black lines: outside and stations; circle: short side")
