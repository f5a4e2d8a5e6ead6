"""trace: photographs of a mold's slices on the printed frame become outlines in true size."""

from __future__ import annotations

import argparse
from pathlib import Path

from portgeo.app.commands.common import length_of, progress_bar
from portgeo.core.errors import InputError

HELP = "trace photographs of slices on the printed frame to outlines in true size"
EXAMPLE = """examples:
  portgeo trace slice.jpg --thick 8mm --bar-mm 149.8,149.9 --out traced
  portgeo trace once.jpg again.jpg --thick 5/16in --out traced      two photographs of the same slices, joined

Print the frame with portgeo frame, lay the slices on it, upper face up, as you see them looking into the entry with
the roof to the arrow UP. Each outline is a CSV file that a section sheet's outline column takes; a picture of what was
traced is written beside it: look at it."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of trace."""
    parser.add_argument("photos", nargs="+", metavar="PHOTO", help="photographs (jpg, png, tiff) of the same slices")
    parser.add_argument("--out", metavar="DIR", required=True, help="write outlines and pictures here")
    parser.add_argument("--thick", metavar="T", help="how thick the slices are, such as 8mm or 5/16in")
    parser.add_argument(
        "--bar-mm", metavar="A,B", help="what the print's two bars read, mm: the one across, then the upright one"
    )
    parser.add_argument("--json", metavar="FILE", help="write the full result here")
    parser.add_argument("--units", choices=("in", "mm"), default="in", help="unit of what is printed (in)")
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors")
    parser.add_argument("--force", action="store_true", help="overwrite files that are there already")


def run(args: argparse.Namespace) -> None:
    """Trace, write and print."""
    from portgeo.files.disk import atomic_write, check_free, make_folder, write_json, write_table_csv
    from portgeo.front.photos import trace, traced_picture
    from portgeo.present.text.traced import traced_text

    thick = None if args.thick is None else length_of(args.thick, args.units, "--thick")
    bars = None if args.bar_mm is None else _bars(args.bar_mm)
    folder = Path(args.out)
    make_folder(folder)
    pictures = [folder / f"{Path(photo).stem}-traced.jpg" for photo in args.photos]
    if len(set(pictures)) < len(pictures):
        raise InputError("two photographs have one name", mend="Rename one: what is traced is written by their names")
    check_free([args.json, *pictures], args.force, args.photos)
    with progress_bar("trace", quiet=args.quiet) as progress:
        traced = trace(args.photos, thick_mm=thick, bar_mm=bars, units=args.units, progress=progress)
    files = [folder / outline.file for outline in traced.outlines]
    check_free(files, args.force, args.photos)
    # The pictures first: whatever is wrong with an outline is seen on them.
    for k, picture in enumerate(pictures):
        atomic_write(picture, traced_picture(traced, k), force=args.force)
    for file, outline in zip(files, traced.outlines, strict=True):
        write_table_csv(file, ["x_mm", "y_mm"], outline.points_mm.round(4).tolist(), force=args.force)
    if args.json:
        write_json(args.json, traced.to_dict(), force=args.force)
    if not args.quiet:
        print(traced_text(traced, args.out))


def _bars(text: str) -> tuple[float, ...]:
    """Return what the bars read, mm. Raises InputError."""
    try:
        found = tuple(float(part) for part in text.split(","))
    except ValueError:
        found = ()
    if not 1 <= len(found) <= 2:
        mend = "Give both in mm with a comma between, as 149.8,149.9"
        raise InputError(f"'{text[:40]}' is not what two bars read", where="--bar-mm", mend=mend)
    return found
