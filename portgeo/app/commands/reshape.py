"""reshape: plan the next cut from a target, or check the work against the plan."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from portgeo.app.commands.common import (
    add_bend,
    add_common,
    add_metal,
    add_scan,
    called,
    check_outputs,
    load_port,
    load_within,
)
from portgeo.app.row_by_row import add_many

if TYPE_CHECKING:
    from portgeo.results.planned import Planned

HELP = "plan the next cut: depth by station and clock, what the micrometer should read, what limits it"
EXAMPLE = """examples:
  portgeo new target wanted.toml           a blank target, every key explained
  portgeo reshape port.csv wanted.toml
  portgeo reshape port.csv wanted.toml --out plan
  portgeo reshape port.csv wanted.toml --check half-done.csv
  portgeo reshape port.csv wanted-*.toml --csv plans.csv    one row a target, on all cores; stopped, it goes on

PORT is the port before any cutting, with --check too. --out writes the bench sheet to print (bench-sheet.pdf),
the cut sheet, the port as it will be (target.stl), its survey and its comparison with the port now. Planned again,
it replaces what it wrote there for the same port; a file that you changed needs --force."""
FILES = (
    "bench-sheet.pdf", "cut-sheet.txt", "cut-sheet.csv", "plan.json", "target.stl", "target-survey.json",
    "compare.json",
)  # fmt: skip


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of reshape."""
    parser.add_argument("port", metavar="PORT", help="section sheet or mesh of the port before cutting")
    parser.add_argument(
        "targets", nargs="+", metavar="TARGET", help="what is wanted (toml); several, with --csv, give a row each"
    )
    parser.add_argument("--check", metavar="NOW", help="sheet or mesh of the port as it is now: what is left")
    parser.add_argument(
        "--align",
        choices=("none", "auto"),
        help="with --check: how NOW is lined up with PORT (sheets none, scans auto)",
    )
    parser.add_argument(
        "--out", metavar="DIR", help="write bench sheet, cut sheet, target mesh, survey and comparison here"
    )
    add_metal(parser)
    add_bend(parser)
    add_many(parser)
    add_scan(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> None:
    """Plan, or check, and print."""
    from portgeo.app.commands.many import plan_many, spread

    names = spread(args.targets)
    if len(names) > 1:
        plan_many(args, names)
        return
    args.target = names[0]
    _run_one(args)


def _run_one(args: argparse.Namespace) -> None:
    from portgeo.core.errors import InputError
    from portgeo.front.cuts import plan
    from portgeo.front.limits import check_target

    if args.check and args.out:
        raise InputError("--check writes no plan", hint="Use --json and --csv for its result, without --out")
    check_outputs(args, FILES, "reshape", (args.port, args.target, args.check))
    if Path(args.port).suffix.lower() == ".toml" != Path(args.target).suffix.lower():
        hint = f"Write `portgeo reshape {args.target} {args.port}`"
        raise InputError("the port goes first, then the target", hint=hint)
    check_target(args.target)  # before a scan is read
    port, whole = load_within(args.port, args)
    planned = plan(
        port, args.target, alloy=args.alloy, density_g_cc=args.density, load=lambda path: load_port(path, args),
        within=whole,
    )  # fmt: skip
    if args.check:
        _check(args, planned)
    else:
        _plan(args, planned)


def _plan(args: argparse.Namespace, planned: Planned) -> None:
    from portgeo.files.disk import atomic_write, write_json, write_table_csv
    from portgeo.present.text.cut_sheet import plan_text

    title, metal = f"{called(args.port, args)} to {args.target}", "metal" if args.density else args.alloy
    text = plan_text(planned, title, metal)
    table = planned.stations.to_csv(planned.display)
    if args.json:
        write_json(args.json, planned.to_dict(), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *table, force=args.force)
    if args.out:
        from portgeo.files.own_folder import note_own
        from portgeo.present.paper.bench_sheet import bench_sheet

        folder = Path(args.out)
        atomic_write(folder / "bench-sheet.pdf", bench_sheet(planned, title, metal), force=args.replace)
        atomic_write(folder / "cut-sheet.txt", (text + "\n").encode("utf-8"), force=args.replace)
        write_table_csv(folder / "cut-sheet.csv", *table, force=args.replace)
        write_json(folder / "plan.json", planned.to_dict(), force=args.replace)
        _write_target(folder, planned, args.replace)
        note_own(folder, FILES, "reshape", args.port)
    if not args.quiet:
        print(text)


def _write_target(folder: Path, planned: Planned, force: bool) -> None:
    """Write the port as it will be, its survey and its comparison with the port now."""
    from portgeo.files.disk import sha256_of, write_json
    from portgeo.front.ports import write
    from portgeo.front.states import compare, survey

    mesh = folder / "target.stl"
    write(planned.port, mesh, force=force)
    source = planned.port.source | {"file": "target.stl", "sha256": sha256_of(mesh)}
    after = replace(planned.port, source=source)
    write_json(folder / "target-survey.json", survey(after).to_dict(), force=force)
    change = compare(planned.computed.port, after, align="none", density_g_cc=planned.density_g_cc)
    write_json(folder / "compare.json", change.to_dict(), force=force)


def _check(args: argparse.Namespace, planned: Planned) -> None:
    from portgeo.files.disk import write_json, write_table_csv
    from portgeo.front.cuts import check
    from portgeo.present.text.check_sheet import check_text

    checked = check(planned, load_port(args.check, args), align=args.align)
    if args.json:
        write_json(args.json, checked.to_dict(), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *checked.stations.to_csv(checked.display), force=args.force)
    if not args.quiet:
        print(check_text(checked, f"{args.check} against {args.target}"))
