"""reshape: plan the next cut from a target, or check the work against the plan."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.commands.common import add_bend, add_common, add_scan, load_port

if TYPE_CHECKING:
    from portgeo.core.port import Port
    from portgeo.files.toml.target import TargetFile
    from portgeo.reshape.plan import Plan

HELP = "plan the next cut: depth by station and clock, what the micrometer should read, what stops it"
EXAMPLE = """examples:
  portgeo new target wanted.toml           a blank target, every key explained
  portgeo reshape port.csv wanted.toml
  portgeo reshape port.csv wanted.toml --out plan
  portgeo reshape port.csv wanted.toml --check half-done.csv

PORT is the port before any cutting, with --check too. --out writes the cut sheet, the port as it will
be (target.stl), its survey and its comparison with today's."""
FILES = ("cut-sheet.txt", "cut-sheet.csv", "plan.json", "target.stl", "target-survey.json", "compare.json")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of reshape."""
    parser.add_argument("port", metavar="PORT", help="section sheet or mesh of the port before cutting")
    parser.add_argument("target", metavar="TARGET", help="what is wanted (toml)")
    parser.add_argument("--check", metavar="NOW", help="sheet or mesh of the port as it is now: what is left")
    parser.add_argument(
        "--align", choices=("none", "auto"), help="with --check: how NOW is laid on PORT (sheets none, scans auto)"
    )
    parser.add_argument("--out", metavar="DIR", help="write cut sheet, target mesh, survey and comparison here")
    metal = parser.add_mutually_exclusive_group()
    metal.add_argument("--alloy", choices=("aluminium", "iron"), default="aluminium", help="of the casting")
    metal.add_argument("--density", type=_density, metavar="G_CC", help="its density, grams per cc")
    add_bend(parser)
    add_scan(parser)
    add_common(parser)


def _density(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value < 25.0:
        raise argparse.ArgumentTypeError(f"'{text}' is no density of a metal in grams per cc")
    return value


def run(args: argparse.Namespace) -> None:
    """Plan, or check, and print."""
    from portgeo.comparing.comparison import DENSITY_G_CC
    from portgeo.core.errors import InputError
    from portgeo.files.disk import check_free, make_folder
    from portgeo.files.toml.target import read_target

    if args.check and args.out:
        raise InputError("--check writes no plan", mend="Use --json and --csv for its result, without --out")
    if args.out:
        make_folder(args.out)
    read = [p for p in (args.port, args.target, args.check) if p]
    written = [Path(args.out) / name for name in FILES] if args.out else []
    check_free([*written, *(p for p in (args.json, args.csv) if p)], args.force, read)
    wanted = read_target(args.target)
    port = load_port(args.port, args)
    plan = plan_from(port, wanted, args)
    density = args.density or DENSITY_G_CC[args.alloy]
    target = {"file": args.target, "sha256": wanted.sha256}
    if args.check:
        _check(args, port, plan, target)
        return
    _plan(args, port, plan, target, density)


def plan_from(port: Port, wanted: TargetFile, args: argparse.Namespace) -> Plan:
    """Return the plan for a port port and a target file, with the limits and the port it names."""
    from portgeo.planning import plan_wanted

    return plan_wanted(port, wanted, args.target, lambda path: load_port(str(path), args))


def _plan(args: argparse.Namespace, port: Port, plan: Plan, target: dict[str, Any], density: float) -> None:
    from portgeo.files.disk import atomic_write, write_json, write_table_csv
    from portgeo.measuring.sense import turned_away
    from portgeo.present.text.cut_sheet import plan_record, plan_table, plan_text

    display = port.display
    warnings = (*port.warnings, *turned_away(port, plan.grid.bend), *plan.warnings)
    metal = "metal" if args.density else args.alloy
    text = plan_text(plan, f"{args.port} to {args.target}", metal, density, warnings, display)
    record = plan_record(plan, port.source, target, density, warnings, display)
    if args.json:
        write_json(args.json, record, force=args.force)
    if args.csv:
        write_table_csv(args.csv, *plan_table(plan, display), force=args.force)
    if args.out:
        folder = Path(args.out)
        atomic_write(folder / "cut-sheet.txt", (text + "\n").encode("utf-8"), force=args.force)
        write_table_csv(folder / "cut-sheet.csv", *plan_table(plan, display), force=args.force)
        write_json(folder / "plan.json", record, force=args.force)
        _write_target(folder, args, port, plan, density)
    if not args.quiet:
        print(text)


def _write_target(folder: Path, args: argparse.Namespace, port: Port, plan: Plan, density: float) -> None:
    from portgeo.comparing.comparison import compare_ports
    from portgeo.files.disk import sha256_of, write_json
    from portgeo.files.meshes.mesh import write_mesh
    from portgeo.measuring import survey
    from portgeo.results.changed import changed
    from portgeo.results.measured import measured

    mesh = folder / "target.stl"
    write_mesh(mesh, plan.after.to_source(plan.after.vertices), plan.after.faces, force=args.force)
    source = {"file": "target.stl", "sha256": sha256_of(mesh), "triangles": len(plan.after.faces)}
    source |= {"units": "mm", "scale": 1.0}
    after = replace(plan.after, source=source, display=port.display)
    write_json(folder / "target-survey.json", measured(survey(after)).to_dict(), force=args.force)
    compared = compare_ports(plan.port, after, "none")
    write_json(folder / "compare.json", changed(compared, density).to_dict(), force=args.force)


def _check(args: argparse.Namespace, port: Port, plan: Plan, target: dict[str, Any]) -> None:
    from portgeo.core.errors import PortgeoError
    from portgeo.files.disk import write_json, write_table_csv
    from portgeo.present.text.check_sheet import recheck_record, recheck_table, recheck_text
    from portgeo.reshape.placing import laid_on
    from portgeo.reshape.recheck import recheck

    now = load_port(args.check, args)
    try:
        placed, notices = laid_on(port, now, args.align)
        found = recheck(plan, placed, as_measured=now)
    except PortgeoError as refusal:
        raise refusal.in_file(args.check) from None
    warnings = (*now.warnings, *notices, *found.warnings)
    display = port.display
    if args.json:
        source = {"before": port.source, "now": now.source}
        write_json(args.json, recheck_record(found, source, target, warnings, display), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *recheck_table(found, display), force=args.force)
    if not args.quiet:
        print(recheck_text(found, f"{args.check} against {args.target}", warnings, display))
