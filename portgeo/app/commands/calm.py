"""calm: the cut that slows the air on the wall most for its metal."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.commands.common import (
    add_bend,
    add_common,
    add_metal,
    add_scan,
    called,
    check_outputs,
    load_within,
    number_of,
    progress_bar,
)

if TYPE_CHECKING:
    from portgeo.results.calmed import CalmedAir

HELP = "what to cut where the air is too fast: the cut that slows it most, for each amount of metal"
EXAMPLE = """examples:
  portgeo calm port.csv --cfm 210
  portgeo calm port.csv --cfm 210 --limits wanted.toml --out calm
  portgeo calm port.csv --cfm 210 --metal 0.5
  portgeo calm port.csv --cfm 210 --try-loss --out calm

--limits takes a target's file, for how deep and where a cut may go; areas in it are the most there may be.
--out writes the choices, the chosen cut's sheet and the port as it will be. It is an ideal flow through the
measured shape: not a flow bench, and not a full viscous simulation."""
FILES = ("choices.csv", "choices.png", "bench-sheet.pdf", "cut-sheet.txt", "cut-sheet.csv", "plan.json", "planned.stl")
CASES = "loss"  # folder of the cases of --try-loss
CHOSEN_BY = {"metal": "the metal asked for", "peak": "the smallest that gets there"}
KNEE = "past it more metal buys little"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of calm."""
    parser.add_argument("port", metavar="PORT", help="section sheet or mesh of the port before cutting")
    parser.add_argument("--cfm", metavar="F", required=True, help="flow through the port, cubic feet a minute")
    parser.add_argument("--depression", metavar="IN_H2O", default="28", help="bench depression, inches of water (28)")
    parser.add_argument("--limits", metavar="TARGET", help="how deep and where a cut may go (toml)")
    parser.add_argument("--metal", metavar="CC", help="choose the cut of so much metal, cc (the knee)")
    parser.add_argument(
        "--peak", metavar="V", help="choose the smallest cut that brings the peak to V, ft/s (m/s in mm)"
    )
    parser.add_argument(
        "--slowing", metavar="SHARE", help="0 to 1: how much the slowing past the peak counts against the peak (0.05)"
    )
    parser.add_argument(
        "--least-speed", metavar="V", help="keep the mean speed at V, ft/s (m/s in mm), where it is that fast now"
    )
    parser.add_argument(
        "--hold-throat", action="store_true", help="the throat keeps its area; a marked one does anyway"
    )
    parser.add_argument(
        "--try-loss", action="store_true", help="try the chosen cut with a viscous solution too (OpenFOAM; minutes)"
    )
    parser.add_argument(
        "--grid", choices=("quick", "usual", "fine"), default="usual", help="of --try-loss: how fine (usual)"
    )
    parser.add_argument(
        "--out", metavar="DIR", help="write choices, bench sheet, cut sheet and the port as it will be here"
    )
    add_metal(parser)
    add_bend(parser)
    add_scan(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> None:
    """Look for the cut, and print."""
    from portgeo.core.errors import InputError
    from portgeo.front.calming import calm
    from portgeo.results.kinds import kind_of

    if args.metal is not None and args.peak is not None:
        raise InputError("--metal and --peak are both given", hint="Give one of the two")
    numbers = ("cfm", "depression", "metal", "peak", "slowing", "least_speed")
    asked = {name: number_of(args, name) for name in numbers if getattr(args, name) is not None}
    check_outputs(args, FILES, "calm", (args.port, args.limits))
    port, whole = load_within(args.port, args)
    per = kind_of("speed", port.display).per
    speeds = {name: asked[name] * per for name in ("peak", "least_speed") if name in asked}
    more: dict[str, Any] = {"slowing_share": asked["slowing"]} if "slowing" in asked else {}
    with progress_bar("calm", quiet=args.quiet) as progress:
        found = calm(
            port, asked["cfm"], args.limits, metal_cc=asked.get("metal"), peak_m_s=speeds.get("peak"),
            least_mean_speed_m_s=speeds.get("least_speed"), hold_throat=args.hold_throat,
             depression_in_h2o=asked["depression"],
            alloy=args.alloy, density_g_cc=args.density, try_loss=args.try_loss, loss_grid=args.grid,
            loss_out=Path(args.out) / CASES if args.out and args.try_loss else None, progress=progress,
            within=whole, **more,
        )  # fmt: skip
    chosen_by = next((words for name, words in CHOSEN_BY.items() if name in asked), KNEE)
    _give(args, found, chosen_by)


def _give(args: argparse.Namespace, found: CalmedAir, chosen_by: str) -> None:
    from portgeo.files.disk import write_json, write_table_csv
    from portgeo.present.text.calm import calm_text

    title = f"{called(args.port, args)} at {found.flow.cfm:.1f} cfm"
    table = found.rows.to_csv(found.display)
    if args.json:
        write_json(args.json, found.to_dict(), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *table, force=args.force)
    if args.out and found.planned is not None:
        _write(args, found, table)
    if not args.quiet:
        print(calm_text(found, title, chosen_by))


def _write(args: argparse.Namespace, found: CalmedAir, table: tuple[list[str], list[list[float]]]) -> None:
    """Write the choices, the chosen cut's sheet and the port as it will be."""
    from portgeo.files.disk import atomic_write, write_json, write_table_csv
    from portgeo.files.own_folder import note_own
    from portgeo.front.ports import write
    from portgeo.present.paper.bench_sheet import bench_sheet
    from portgeo.present.pictures.charts import save
    from portgeo.present.pictures.choices import choices_figure
    from portgeo.present.text.cut_sheet import plan_text

    assert found.planned is not None
    folder, plan = Path(args.out), found.planned
    title, metal = f"{called(args.port, args)}, calmed", "metal" if args.density else args.alloy
    text = plan_text(plan, title, metal)
    write_table_csv(folder / "choices.csv", *table, force=args.replace)
    save(choices_figure(found), str(folder / "choices.png"), force=args.replace)
    atomic_write(folder / "bench-sheet.pdf", bench_sheet(plan, title, metal), force=args.replace)
    atomic_write(folder / "cut-sheet.txt", (text + "\n").encode("utf-8"), force=args.replace)
    write_table_csv(folder / "cut-sheet.csv", *plan.stations.to_csv(plan.display), force=args.replace)
    write_json(folder / "plan.json", plan.to_dict(), force=args.replace)
    write(plan.port, folder / "planned.stl", force=args.replace)
    note_own(folder, FILES, "calm", args.port)
