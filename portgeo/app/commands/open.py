"""open: the page to type into, in the browser."""

from __future__ import annotations

import argparse

HELP = "open a page to type readings into: the port, its figures and the next cut change as you type"
EXAMPLE = """examples:
  portgeo open                    asks what is to be measured, and lays out the sheets
  portgeo open port.csv           a section sheet (csv, xlsx); what is typed is saved in it at once
  portgeo open my-port/job.toml   a whole job: all its stages, bench, walls, the next cut
  portgeo open port.csv --no-browser --port 8600

The page is served to this machine alone, under the address that is printed. Ctrl-C ends it; nothing is lost:
every reading is in its file as soon as it is typed, and earlier versions are kept beside it, in .portgeo-versions."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of open."""
    parser.add_argument(
        "what", nargs="?", metavar="FILE", help="section sheet, workbook, job file or folder; without it, a first page"
    )
    parser.add_argument("--port", type=_port, metavar="N", help="listen on this port (one that is free)")
    parser.add_argument("--no-browser", action="store_true", help="print the address and open no browser")


def _port(text: str) -> int:
    value = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
    if not 1 <= value <= 65535:
        raise argparse.ArgumentTypeError(f"'{text}' is not a port from 1 to 65535")
    return value


def run(args: argparse.Namespace) -> None:
    """Serve the page until Ctrl-C."""
    from portgeo.app.live.serve import serve

    serve(args.what, args.port, browser=not args.no_browser)
