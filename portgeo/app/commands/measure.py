"""measure: area schedule, volume, short side and taper of a port, from a sheet or a mesh."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from portgeo.app.commands.common import (
    add_bend,
    add_common,
    add_scan,
    add_stations,
    called,
    load_asked,
    png_name,
    refuse_of_one_passage,
    refuse_scan_options,
)
from portgeo.app.row_by_row import add_many

OF_ONE_PASSAGE = ("stations", "picture", "chart", "bend", "exhaust")
HELP = "measure a port: volume, minimum area, short side, then every station"
EXAMPLE = """examples:
  portgeo measure port.csv
  portgeo measure port.csv --units mm --json port.json --csv schedule.csv
  portgeo measure port.stl --stations 41
  portgeo measure two-valves.csv --leg left  one leg of a port that splits; without it all of them
  portgeo measure *.stl --csv all.csv        one row a port, on all cores; stopped, it goes on"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of measure."""
    parser.add_argument(
        "ports",
        nargs="+",
        metavar="PORT",
        help="section sheet (csv, xlsx, xls, ods) or mesh (stl, ply, obj, 3mf, glb, off); "
        "several, with --csv, give a row each",
    )
    add_stations(parser)
    parser.add_argument("--picture", metavar="FILE", type=png_name, help="write a picture of the port (png)")
    parser.add_argument("--chart", metavar="FILE", type=png_name, help="write a chart of the area schedule (png)")
    add_bend(parser)
    add_many(parser)
    add_scan(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> None:
    """Measure and print."""
    from portgeo.app.commands.many import measure_many, spread

    names = spread(args.ports)
    if len(names) == 1:
        _measure(args, names[0])
    else:
        measure_many(args, names)


def _measure(args: argparse.Namespace, path: str) -> None:
    from portgeo.core.port import Port
    from portgeo.files.disk import check_free, write_json, write_table_csv
    from portgeo.front.states import survey
    from portgeo.present.text.bench import survey_text

    check_free((args.json, args.csv, args.picture, args.chart), args.force, [path])
    refuse_scan_options(path, args)
    port = load_asked(path, args)
    if not isinstance(port, Port):
        _measure_split(args, path, port)
        return
    name = called(Path(path).name, args)
    measured = survey(port, args.stations)
    if args.json:
        write_json(args.json, measured.to_dict(), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *measured.stations.to_csv(port.display), force=args.force)
    if args.chart:
        from portgeo.present.pictures.charts import save, schedule_figure

        save(schedule_figure([(name, measured.computed)], port.display), args.chart, force=args.force)
    if not args.quiet:
        print(survey_text(measured, name))
    if args.picture:
        from portgeo.present.pictures.port import port_picture

        port_picture(measured.computed, port.display, name, args.picture, force=args.force)


def _measure_split(args: argparse.Namespace, path: str, port: Any) -> None:
    from portgeo.files.disk import write_json, write_table_csv
    from portgeo.front.states import survey
    from portgeo.present.text.split import split_text

    refuse_of_one_passage(path, args, OF_ONE_PASSAGE)
    measured = survey(port)
    if args.json:
        write_json(args.json, measured.to_dict(), force=args.force)
    if args.csv:
        head, rows = measured.to_csv()
        write_table_csv(args.csv, head, rows, force=args.force)
    if not args.quiet:
        print(split_text(measured, Path(path).name))
