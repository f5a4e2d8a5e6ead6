"""The command line: reads the arguments, calls one command, turns a refusal into exit status 2."""

from __future__ import annotations

import os
import signal
import sys
from typing import TYPE_CHECKING

from portgeo import __version__

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

# The matrices here are small or go through in blocks: a second thread mostly waits, and costs 8 % more
# of the processor. Set before numpy is loaded, whatever the user's shell says: how many threads share a sum
# changes its last bits, and the same input is to give the same bytes.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

COMMANDS = (
    "loft",
    "measure",
    "compare",
    "match",
    "new",
    "reshape",
    "reach",
    "airspeed",
    "templates",
    "view",
    "report",
    "demo",
)


BEGIN = """portgeo: the shape of an intake or exhaust port, from mic readings, traced outlines or a mold scan.
Begin with

  portgeo demo --out port-demo   all of it on an invented engine; open port-demo/report/report.html
  portgeo new my-port            a folder for a port of yours, with sheets to fill in
  portgeo measure PORT           area, volume and short side of one sheet or scan
  portgeo -h                     all commands; portgeo COMMAND -h explains each with examples"""


def _check_command(word: str) -> None:
    """Raise InputError for a first word that is no command, with the nearest one."""
    if word.startswith("-") or word in COMMANDS:
        return
    import difflib

    from portgeo.core.errors import InputError

    close = difflib.get_close_matches(word[:60].lower(), COMMANDS, 1)
    mend = f"Did you mean  portgeo {close[0]} ?" if close else f"Commands are {', '.join(COMMANDS)}"
    raise InputError(f"there is no command '{word[:60]}'", mend=mend)


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of all commands. Command modules import nothing heavy until they run."""
    import argparse
    import importlib

    parser = argparse.ArgumentParser(
        prog="portgeo",
        description="The shape of an intake or exhaust port, from mic readings, traced outlines or a mold scan.",
        epilog="Begin with: portgeo demo --out port-demo",
    )
    parser.add_argument("--version", action="version", version=f"portgeo {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in COMMANDS:
        module = importlib.import_module(f"portgeo.app.commands.{name}")
        command = commands.add_parser(
            name,
            help=module.HELP,
            description=module.HELP[0].upper() + module.HELP[1:] + ".",
            epilog=module.EXAMPLE,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.add_arguments(command)
        command.set_defaults(run=module.run)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status: 0, or 2 for input that is refused.

    Without `argv` the process is the command's own: its words are read, and Ctrl-C ends it at once.
    """
    if argv is None:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # before all else that takes time to import
    from portgeo.core.errors import PortgeoError

    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a console without ² or ± still gets its numbers
    words = sys.argv[1:] if argv is None else argv
    if not words:
        print(BEGIN, file=sys.stderr)
        return 2
    try:
        _check_command(words[0])
        args = build_parser().parse_args(words)
        args.run(args)
        sys.stdout.flush()
    except PortgeoError as refusal:
        print(f"portgeo: {refusal}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("portgeo: stopped; nothing half-written is left behind", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # Whoever read the output has enough of it; leave without a second complaint at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


if __name__ == "__main__":
    sys.exit(main())
