"""match: how two parts meet at the flange between them."""

from __future__ import annotations

import argparse

from portgeo.app.commands.common import add_common, add_scan, length_of, load_port, load_whole, png_name

HELP = "match a joint: lip facing the flow, offset, margin to the gasket line, bend of floor and roof"
EXAMPLE = """examples:
  portgeo match runner.csv port.csv
  portgeo match runner.csv twin.csv          a port that splits is entered by its trunk
  portgeo match runner.csv port.csv --gasket gasket.dxf --leave 0.5mm --picture joint.png"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of match."""
    parser.add_argument("upstream", metavar="UPSTREAM", help="sheet or mesh of the part the air leaves")
    parser.add_argument("downstream", metavar="DOWNSTREAM", help="sheet or mesh of the part it enters")
    parser.add_argument("--gasket", metavar="OUTLINE", help="outline of the gasket's hole (dxf, svg, csv)")
    parser.add_argument(
        "--gasket-as-drawn",
        action="store_true",
        help="keep the outline's place: its zero is the joint's centerline (else its middle is)",
    )
    parser.add_argument(
        "--leave",
        default="0",
        metavar="LENGTH",
        help="margin left to the gasket line on purpose: 0.5mm, 0.02in",
    )
    parser.add_argument(
        "--align",
        choices=("line", "none"),
        default="line",
        help="line: one centerline goes on in the other; none: both files share one frame",
    )
    parser.add_argument(
        "--picture", metavar="FILE", type=png_name, help="write the outlines laid over each other (png)"
    )
    add_scan(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> None:
    """Match and print."""
    from portgeo.files.disk import check_free, write_json, write_table_csv
    from portgeo.front.states import match
    from portgeo.present.text.joint import match_text

    check_free((args.json, args.csv, args.picture), args.force, (args.upstream, args.downstream, args.gasket))
    # A point named on an opening is on the joint's: UPSTREAM's exit, DOWNSTREAM's entry.
    ends = {"entry": (None, args.entry), "exit": (args.exit, None)}
    own = [argparse.Namespace(**vars(args) | {name: pair[k] for name, pair in ends.items()}) for k in (0, 1)]
    # A leg is of the part that the air leaves; the air enters the next by its trunk.
    up, down = load_port(args.upstream, own[0]), load_whole(args.downstream, own[1])
    display = up.display
    leave = length_of(args.leave, display.unit, "--leave")
    joined = match(
        up, down, gasket=args.gasket, gasket_as_drawn=args.gasket_as_drawn, leave_mm=leave,
        one_frame=args.align == "none",
    )  # fmt: skip
    if args.json:
        write_json(args.json, joined.to_dict(), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *joined.stations.to_csv(display), force=args.force)
    if not args.quiet:
        print(match_text(joined, f"{args.upstream} -> {args.downstream}"))
    if args.picture:
        from portgeo.present.pictures.charts import save
        from portgeo.present.pictures.depth import outlines_figure

        save(outlines_figure(joined.computed, display), args.picture, force=args.force)
