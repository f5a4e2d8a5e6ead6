"""templates: gauges to print or cut at 1:1."""

from __future__ import annotations

import argparse
from os.path import basename
from typing import TYPE_CHECKING

from portgeo.app.commands.common import (
    add_bend,
    add_common,
    add_scan,
    called,
    in_options,
    length_of,
    load_port,
    load_whole,
    load_within,
    refuse_of_one_passage,
)

if TYPE_CHECKING:
    from portgeo.core.units import Display
    from portgeo.results.gauged import Gauged

OF_ONE_PASSAGE = ("at", "target", "side", "bend", "exhaust")
HELP = "write 1:1 templates: section outlines, height, width, short-side and floor-line gauges"
EXAMPLE = """examples:
  portgeo templates port.csv --at 0.5in,1.0in,2.25in --out gauges.pdf
  portgeo templates port.csv --target wanted.toml --at 0.5in,1.0in --out gauges.dxf
  portgeo templates twin.csv --out split.pdf            of a port that splits: its divider and the split
  portgeo templates port.csv --side --out side.pdf      the port from its side, to lay the mold on

With --target the gauges are those of the port as it will be, with the outline now dashed. Print the
PDF at 100 % and measure its bars; cut a dxf or svg at 1:1, in millimeters. Stations that do not end in
"in" or "mm" are in the unit the answer is shown in."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of templates."""
    parser.add_argument("port", metavar="PORT", help="section sheet or mesh")
    parser.add_argument("--at", metavar="S1,S2,...", help="stations of sections (the measured ones)")
    parser.add_argument("--target", metavar="FILE", help="what is wanted (toml): gauges of the port as it will be")
    parser.add_argument("--side", action="store_true", help="the port from its side alone, to hold against its mold")
    parser.add_argument("--out", metavar="FILE", required=True, help="a pdf to print, a dxf or svg for a cutter")
    parser.add_argument("--paper", choices=("A4", "Letter"), help="of the pdf (Letter for inches, else A4)")
    add_bend(parser)
    add_scan(parser)
    add_common(parser, csv=False)


def run(args: argparse.Namespace) -> None:
    """Make the templates and say what there is."""
    from portgeo.core.errors import InputError
    from portgeo.core.port import Port
    from portgeo.files.disk import check_free
    from portgeo.front.cuts import gauges, plan

    check_free((args.json, args.out), args.force, (args.port, args.target))
    if args.side and (args.at or args.target):
        raise InputError(
            "--side is the port from its side as it is, with no --at and no --target", hint="Write two commands"
        )
    port, within = (load_whole(args.port, args), None) if args.leg is None else load_within(args.port, args)
    if not isinstance(port, Port):
        refuse_of_one_passage(args.port, args, OF_ONE_PASSAGE)
        _write(args, gauges(port), port.display, f"{basename(args.port)}, the split as it is")
        return
    display = port.display
    asked = [length_of(part, display.unit, "--at") for part in args.at.split(",")] if args.at else None
    title = f"{called(basename(args.port), args)}, {'target' if args.target else 'as it is'}"
    with in_options():
        found = gauges(port, asked, side=args.side)  # a station outside the port is refused before the plan is made
    if args.target:
        planned = plan(port, args.target, load=lambda path: load_port(path, args), within=within)
        found = gauges(port, asked, planned=planned)
    _write(args, found, display, title)


def _write(args: argparse.Namespace, found: Gauged, display: Display, title: str) -> None:
    from portgeo.files.disk import write_json
    from portgeo.present.paper.templates import write_templates

    paper = args.paper or ("Letter" if display.unit == "in" else "A4")
    count = write_templates(args.out, found.computed, display, title, paper=paper, force=args.force)
    printed = args.out.lower().endswith(".pdf")
    if args.json:
        drawn = {"file": args.out, "pages": count, "paper": paper if printed else None}
        write_json(args.json, found.to_dict() | drawn, force=args.force)
    if not args.quiet:
        if printed:
            sheets = f"{count} {paper} {'page' if count == 1 else 'pages'}; print at 100 %"
        else:
            sheets = "one sheet; cut at 1:1, units mm, only what is red (layer CUT),"
        count_of = "side view" if args.side else f"{len(found.computed)} gauges"
        print(f"{args.out}: {count_of} on {sheets} and measure the bars before use")
