"""reach: where a straight burr gets to from each end of a port."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from portgeo.app.commands.common import add_common, add_scan, in_options, length_of, load_asked

if TYPE_CHECKING:
    from portgeo.core.units import Display
    from portgeo.results.reached import Reached

HELP = "show where a burr reaches: from the entry, the exit, both or neither, and how long it must be"
EXAMPLE = """examples:
  portgeo reach runner.csv
  portgeo reach runner.csv --head 1/2in --shank 1/4in --length 6in --grip 1in
  portgeo reach twin.csv                     each passage of a port that splits; --leg left for one by itself
  portgeo reach runner.stl --free 9in --obstacle divider.stl

Lengths that do not end in "in" or "mm" are in the unit the answer is shown in. --length is the whole
burr and --grip what the collet holds; --free is what is left, from the collet's nose to the tip."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of reach."""
    parser.add_argument("port", metavar="PORT", help="section sheet or mesh")
    parser.add_argument("--head", default="0.375in", metavar="D", help="diameter of the head (%(default)s)")
    parser.add_argument("--head-length", metavar="L", help="length of the head (its diameter: a ball)")
    parser.add_argument("--shank", default="0.25in", metavar="D", help="diameter of the shank (%(default)s)")
    parser.add_argument("--collet", default="0.75in", metavar="D", help="diameter of the collet's nose (%(default)s)")
    parser.add_argument("--length", default="6in", metavar="L", help="length of the whole burr (%(default)s)")
    parser.add_argument("--grip", default="1in", metavar="L", help="of it held in the collet (%(default)s)")
    parser.add_argument("--free", metavar="L", help="free length, in place of --length and --grip")
    parser.add_argument(
        "--obstacle", metavar="FILE", help="mesh of what stands in the way outside, placed as the port is"
    )
    add_scan(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> None:
    """Find the reach and print it."""
    from portgeo.core.port import Port
    from portgeo.files.disk import check_free, write_json, write_table_csv
    from portgeo.front.cuts import reach
    from portgeo.present.text.reach import reach_text

    check_free((args.json, args.csv), args.force, [args.port])
    whole = load_asked(args.port, args)
    passages = [(None, whole, None)] if isinstance(whole, Port) else [(p.name, p.port, whole) for p in whole.passages]
    display = whole.display

    def length(name: str) -> float:
        return length_of(getattr(args, name), display.unit, f"--{name.replace('_', '-')}")

    with in_options():
        tool: dict[str, Any] = {
            "free_length_mm": length("free") if args.free else length("length") - length("grip"),
            "head_mm": length("head"),
            "head_length_mm": length("head_length") if args.head_length else None,
            "shank_mm": length("shank"),
            "collet_mm": length("collet"),
        }
        found = [(name, reach(port, **tool, obstacle=args.obstacle, within=within)) for name, port, within in passages]
    if args.json:
        write_json(args.json, _record(found), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *_table(found, display), force=args.force)
    if not args.quiet:
        print("\n\n".join(reach_text(reached, f"{args.port}{_of(name)}") for name, reached in found))


def _of(name: str | None) -> str:
    """Return what a passage of a port that splits is called, and how it is reached."""
    if name is None:
        return ""
    return (
        f", {name}: through the legs from the exits"
        if name == "trunk"
        else f", {name}: through the trunk from the entry"
    )


def _record(found: Sequence[tuple[str | None, Reached]]) -> dict[str, Any]:
    """Return the JSON: of one passage its own, of a port that splits each passage's with its name."""
    if found[0][0] is None:
        return found[0][1].to_dict()
    passages = [{"name": name, **reached.to_dict()} for name, reached in found]
    return {key: passages[0][key] for key in ("schema", "source")} | {"passages": passages}


def _table(found: Sequence[tuple[str | None, Reached]], display: Display) -> tuple[list[str], list[list[Any]]]:
    """Return head and rows of the CSV file, those of a port that splits with their leg first."""
    from portgeo.results.by_leg import csv_by_leg

    if found[0][0] is None:
        return found[0][1].lengths.to_csv(display)
    return csv_by_leg(((name or "", reached.lengths) for name, reached in found), display)
