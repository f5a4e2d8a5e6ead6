"""new: a blank file to fill in."""

from __future__ import annotations

import argparse

HELP = "write a blank target for reshape, every key explained"
EXAMPLE = """example:
  portgeo new target wanted.toml"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of new."""
    parser.add_argument("kind", choices=("target",), help="what to write")
    parser.add_argument("file", metavar="FILE", help="file to write (toml)")
    parser.add_argument("--force", action="store_true", help="overwrite a file that is there already")


def run(args: argparse.Namespace) -> None:
    """Write the blank file."""
    from portgeo.io.files import atomic_write
    from portgeo.io.target import blank_target

    atomic_write(args.file, blank_target().encode(), force=args.force)
    print(f"{args.file}: fill in what you want, then: portgeo reshape PORT {args.file}")
