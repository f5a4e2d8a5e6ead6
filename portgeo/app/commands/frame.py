"""frame: the printed frame to lay under a mold or a slice and photograph."""

from __future__ import annotations

import argparse

HELP = "print the frame to lay a mold or a slice on, for photographs that portgeo trace reads"
EXAMPLE = """examples:
  portgeo frame -o frame.pdf
  portgeo frame -o frame.pdf --paper letter

Print it at 100 %. Measure both bars with a caliper and give what they read to portgeo trace as --bar-mm. The
second page has marks for blocks: they let a thick slice come out in true size."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of frame."""
    parser.add_argument("-o", "--output", metavar="FRAME", required=True, help="pdf to write")
    parser.add_argument("--paper", choices=("a4", "letter"), default="letter", help="of the pdf (letter)")
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors")
    parser.add_argument("--force", action="store_true", help="overwrite a file that is there already")


def run(args: argparse.Namespace) -> None:
    """Write the frame."""
    from portgeo.core.errors import OutputError
    from portgeo.files.disk import atomic_write, check_free
    from portgeo.present.paper.frame_pages import frame_pdf

    check_free([args.output], args.force)
    if not args.output.lower().endswith(".pdf"):
        raise OutputError("a frame is written as a pdf", file=args.output, hint="Name a file that ends in .pdf")
    atomic_write(args.output, frame_pdf(args.paper), force=args.force)
    if not args.quiet:
        paper = {"a4": "A4", "letter": "Letter"}[args.paper]
        print(f"{args.output}: 2 {paper} pages; print at 100 % and measure both bars before use")
