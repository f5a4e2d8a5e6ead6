"""demo: everything there is, run on one port of an invented engine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from portgeo.errors import PortgeoError
    from portgeo.survey import Survey
    from portgeo.units import Display

HELP = "run everything on the demo: one port of an invented engine, as cast and after its first cut"
EXAMPLE = """example:
  portgeo demo --out port-demo"""

STATES = (("as-cast", "as cast"), ("first-cut", "after the first cut"))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of demo."""
    parser.add_argument("--out", metavar="DIR", required=True, help="folder to write into (made if it is not there)")
    parser.add_argument("--units", choices=("in", "mm"), default="in", help="unit of what is printed (in)")
    parser.add_argument("--force", action="store_true", help="overwrite files that are there already")


def run(args: argparse.Namespace) -> None:
    """Run the demo and say what it wrote and what it means."""
    from portgeo.commands.common import load_port
    from portgeo.errors import OutputError
    from portgeo.io.files import atomic_write, check_free, write_json, write_table_csv
    from portgeo.io.meshes import write_mesh
    from portgeo.report.bench_text import survey_text
    from portgeo.report.charts import schedule_chart
    from portgeo.report.pictures import port_picture
    from portgeo.report.records import survey_record, survey_table
    from portgeo.survey import survey

    out = Path(args.out)
    sheets = demo_files()
    wanted = [out / name for name in sheets] + [
        out / f"{state}{ending}" for state, _ in STATES for ending in (".stl", ".json", ".schedule.csv", ".png")
    ]
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder cannot be made ({error.strerror or error})", file=str(out), mend="Choose another name or place"
        ) from error
    check_free([*wanted, out / "area-schedule.png"], force=args.force)
    print("The engine is invented, and so is every number of it.\n")
    for name, content in sheets.items():
        atomic_write(out / name, content, force=args.force)

    surveys = []
    no_picture = None
    for state, title in STATES:
        sheet = str(out / f"demo-{state}.csv")
        loaded = load_port(sheet, args)
        found = survey(loaded.port)
        warnings = (*loaded.warnings, *found.warnings)
        surveys.append((title, found))
        write_mesh(
            out / f"{state}.stl", loaded.port.to_source(loaded.port.vertices), loaded.port.faces, force=args.force
        )
        record = survey_record(found, loaded.source | {"file": Path(sheet).name}, warnings, loaded.display)
        write_json(out / f"{state}.json", record, force=args.force)
        write_table_csv(out / f"{state}.schedule.csv", *survey_table(found, loaded.display), force=args.force)
        print(survey_text(found, f"{title} ({sheet})", warnings, loaded.display), end="\n\n")
        if no_picture is None:
            try:
                port_picture(
                    found, loaded.display, f"{title} (invented engine)", str(out / f"{state}.png"), force=args.force
                )
            except OutputError as refusal:
                no_picture = refusal
    display = loaded.display
    schedule_chart(surveys, display, str(out / "area-schedule.png"), force=args.force)
    _meaning(surveys[0][1], surveys[1][1], display)
    _written(out, no_picture)


def demo_files() -> dict[str, bytes]:
    """Return the demo's input files by name, from the installed package or the checkout."""
    from importlib.resources import files

    installed = files("portgeo") / "meshes"
    folder = installed if installed.is_dir() else Path(__file__).resolve().parents[2] / "meshes"
    return {
        item.name: item.read_bytes()
        for item in sorted(folder.iterdir(), key=lambda item: item.name)
        if item.name.startswith("demo-")
    }


def _meaning(before: Survey, after: Survey, display: Display) -> None:
    """Print what the two states say side by side."""
    import numpy as np

    gain = np.interp(before.fine_stations, after.fine_stations, after.fine_area) - before.fine_area
    most = int(np.argmax(gain))
    more = (after.volume - before.volume) / 1000.0
    change = after.least_area - before.least_area
    doubt = 2.0 * float(np.hypot(before.least_area_u, after.least_area_u))
    least = f"went from {display.area(before.least_area)} to {display.area(after.least_area)}"
    if abs(change) < doubt:
        least = f"is what it was, {display.area(after.least_area)}: the two differ by less than their readings can tell"
    print("what it means")
    print(
        f"  The first cut made the port {more:.2f} cc larger, most at {display.length(before.fine_stations[most])}: ",
        end="",
    )
    print(f"{display.area(gain[most])} more area there.")
    print(f"  The least area {least}.")
    if before.short_side and after.short_side:
        radii = display.length(before.short_side.radius), display.length(after.short_side.radius)
        print(f"  The short side's radius went from {radii[0]} to {radii[1]}: the turn is still tight.")
    print()


def _written(out: Path, no_picture: PortgeoError | None) -> None:
    """Print what was written, and plainly what was not."""
    print(f"written to {out}")
    print("  demo-*.csv       the measured sheets, and the outline traced in the bowl: copy them for your own port")
    print("  *.stl            the port as a watertight mesh, millimetres")
    print("  *.json           every number, with its unit in its name")
    print("  *.schedule.csv   the table of stations")
    print("  area-schedule.png   both area schedules in one chart")
    if no_picture is None:
        print("  as-cast.png, first-cut.png   the port with its stations, floor line and short-side circle")
    else:
        print(f"  no pictures: {no_picture.what}. {no_picture.mend}.")
    print("\nNext: portgeo measure YOUR-SHEET.csv, or portgeo measure -h")
