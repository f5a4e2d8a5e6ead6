"""trace: photographs on the printed frame: a mold's slices become outlines, a whole mold a section sheet."""

from __future__ import annotations

import argparse
from pathlib import Path

from portgeo.app.commands.common import length_of, progress_bar
from portgeo.core.errors import InputError

HELP = "trace photographs on the printed frame: slices to outlines in true size, a whole mold to a section sheet"
EXAMPLE = """examples:
  portgeo trace slice.jpg --thick 8mm --bar-mm 149.8,149.9 --out traced
  portgeo trace once.jpg again.jpg --thick 5/16in --out traced      two photographs of the same slices, joined
  portgeo trace --side side.jpg --top top.jpg --corner 4mm,6mm,10mm --bar-mm 149.8,149.9 --out traced      a whole mold

Print the frame with portgeo frame, lay the slices on it, upper face up, as you see them looking into the entry with
the roof to the arrow UP. Each outline is a CSV file that a section sheet's outline column takes; a picture of what was
traced is written beside it: look at it.

A whole mold: its entry to the left both times, first on its left wall with the roof to the arrow UP, then on its floor.
The sheet's corners are left empty: read each by template."""


SHEET, SIDE_PICTURE, TOP_PICTURE = "mold.csv", "side-traced.jpg", "top-traced.jpg"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of trace."""
    parser.add_argument("photos", nargs="*", metavar="PHOTO", help="photographs (jpg, png, tiff) of the same slices")
    parser.add_argument("--out", metavar="DIR", required=True, help="write outlines and pictures here")
    parser.add_argument("--side", metavar="PHOTO", help="photograph of the whole mold lying on its left wall")
    parser.add_argument("--top", metavar="PHOTO", help="photograph of it on its floor, taken with the same camera")
    parser.add_argument(
        "--corner", metavar="R,R,R", help="the mold's corners by template, such as 4mm,6mm,10mm: entry, half way, exit"
    )
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
    whole = [args.side, args.top]
    if any(whole) and (None in whole or args.photos or args.thick):
        raise InputError(
            "a whole mold is traced from two photographs and nothing else", hint="Give --side and --top, or slices"
        )
    if not any(whole) and (not args.photos or args.corner):
        raise InputError("there is no photograph to trace", hint="Give one of slices, or --side and --top of a mold")
    if any(whole):
        _trace_mold(args)
    else:
        _trace_slices(args)


def _trace_mold(args: argparse.Namespace) -> None:
    from portgeo.files.disk import atomic_write, check_free, make_folder, write_json, write_table_csv
    from portgeo.front.photos import trace_mold, traced_mold_picture
    from portgeo.present.text.traced import traced_mold_text
    from portgeo.results.traced_mold import sheet_table

    bars = None if args.bar_mm is None else _bars(args.bar_mm)
    texts = [] if args.corner is None else args.corner.split(",")
    corners = [length_of(text, args.units, "--corner") for text in texts] or None
    folder = Path(args.out)
    make_folder(folder)
    sheet = folder / SHEET
    pictures = [folder / SIDE_PICTURE, folder / TOP_PICTURE]
    check_free([args.json, sheet, *pictures], args.force, [args.side, args.top])
    with progress_bar("trace", quiet=args.quiet) as progress:
        traced = trace_mold(args.side, args.top, corner_mm=corners, bar_mm=bars, units=args.units, progress=progress)
    # The pictures first: whatever is wrong with a section is seen on them.
    for k, picture in enumerate(pictures):
        atomic_write(picture, traced_mold_picture(traced, k), force=args.force)
    write_table_csv(sheet, *sheet_table(traced), force=args.force)
    if args.json:
        write_json(args.json, traced.to_dict(), force=args.force)
    if not args.quiet:
        print(traced_mold_text(traced, str(sheet)))


def _trace_slices(args: argparse.Namespace) -> None:
    from portgeo.files.disk import atomic_write, check_free, make_folder, write_json, write_table_csv
    from portgeo.front.photos import trace, traced_picture
    from portgeo.present.text.traced import traced_text

    thick = None if args.thick is None else length_of(args.thick, args.units, "--thick")
    bars = None if args.bar_mm is None else _bars(args.bar_mm)
    folder = Path(args.out)
    make_folder(folder)
    pictures = [folder / f"{Path(photo).stem}-traced.jpg" for photo in args.photos]
    if len(set(pictures)) < len(pictures):
        raise InputError("two photographs have one name", hint="Rename one: what is traced is written by their names")
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
        hint = "Give both in mm with a comma between, as 149.8,149.9"
        raise InputError(f"'{text[:40]}' is not what two bars read", where="--bar-mm", hint=hint)
    return found
