"""loft: a section sheet becomes a watertight mesh."""

from __future__ import annotations

import argparse

from portgeo.app.commands.common import add_stations

HELP = "build the port as a watertight mesh from a section sheet"
EXAMPLE = """example:
  portgeo loft port.csv -o port.stl"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of loft."""
    parser.add_argument("sheet", metavar="SHEET", help="section sheet (csv, xlsx, xls, ods)")
    parser.add_argument("-o", "--output", metavar="PORT", required=True, help="mesh to write (stl, ply, obj, 3mf, glb)")
    add_stations(parser)
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but refusals")
    parser.add_argument("--force", action="store_true", help="overwrite a file that is there already")


def run(args: argparse.Namespace) -> None:
    """Loft and write."""
    import numpy as np

    from portgeo.core.errors import PortgeoError
    from portgeo.core.port import port_from_readings
    from portgeo.core.triangles import volume
    from portgeo.core.units import Display
    from portgeo.files.disk import check_free
    from portgeo.files.meshes.mesh import write_mesh
    from portgeo.files.sheets.sheet import read_sheet

    check_free([args.output], args.force, [args.sheet])
    try:
        sheet = read_sheet(args.sheet)
        stations = None
        if args.stations:
            stations = np.linspace(sheet.readings[0].station, sheet.readings[-1].station, args.stations)
        port = port_from_readings(sheet.readings, stations=stations)
    except PortgeoError as refusal:
        raise refusal.in_file(args.sheet) from None
    write_mesh(args.output, port.to_source(port.vertices), port.faces, force=args.force)
    if not args.quiet:
        display = Display(sheet.unit)
        print(
            f"{args.output}: {len(port.faces):,} triangles through {len(sheet.readings)} measured sections, "
            f"{display.length(port.centreline.length)} long, {display.volume(volume(port.vertices, port.faces))}"
        )
        for notice in (*sheet.warnings, *port.warnings):
            print(f"  - {notice.message(display)}")
