# PYTHON_ARGCOMPLETE_OK
"""The command line: reads the arguments, calls one command, turns a refusal into exit status 2."""

from __future__ import annotations

import os
import signal
import sys
from typing import TYPE_CHECKING

from portgeo import __version__
from portgeo.app.terminal import styled

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence
    from typing import Any, NoReturn

    from portgeo.core.errors import InputError

# The matrices here are small or go through in blocks: a second thread mostly waits, and costs 8 % more
# of the processor. Set before numpy is loaded, whatever the user's shell says: how many threads share a sum
# changes its last bits, and the same input is to give the same bytes.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

COMMANDS = (
    "frame",
    "loft",
    "measure",
    "compare",
    "match",
    "new",
    "open",
    "reshape",
    "reach",
    "airspeed",
    "calm",
    "loss",
    "templates",
    "trace",
    "view",
    "report",
    "demo",
)


NEAR = 0.75  # of an option's letters: its -- alone makes any two alike

BEGIN = """portgeo: the shape of an intake or exhaust port, from mic readings, traced outlines or a mold scan.
Begin with

  portgeo demo --out port-demo   all of it on an invented engine; open port-demo/report/report.html
  portgeo open                   a page to type readings into: the port and its figures change as you type
  portgeo measure PORT           area, volume and short side of one sheet or mold scan

portgeo -h shows all commands; portgeo COMMAND -h explains one, with examples."""


def _check_command(word: str) -> None:
    """Raise InputError for a first word that is no command, with the nearest one."""
    if word.startswith("-") or word in COMMANDS:
        return
    import difflib

    from portgeo.core.errors import InputError

    close = difflib.get_close_matches(word[:60].lower(), COMMANDS, 1)
    hint = f"Did you mean  portgeo {close[0]} ?" if close else f"Commands are {', '.join(COMMANDS)}"
    raise InputError(f"there is no command '{word[:60]}'", hint=hint)


def _no_option(command: str, name: str, options: Sequence[str]) -> InputError:
    """Return the refusal of an option that a command has not, with the nearest one."""
    import difflib

    from portgeo.core.errors import InputError

    close = difflib.get_close_matches(name[:60], options, 1, NEAR)
    hint = f"Did you mean {close[0]}?" if close else f"`{command} -h` shows those there are"
    return InputError(f"{command} has no option {name[:60]}", hint=hint)


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of all commands. Command modules import nothing heavy until they run."""
    import argparse
    import importlib
    import re

    from portgeo.core.errors import InputError

    class Parser(argparse.ArgumentParser):
        """A parser that refuses with one message as the rest of the program does, and names the nearest option."""

        def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
            options = [option for action in self._actions for option in action.option_strings]
            words = list(args or ()) if self._subparsers is None else []
            for word in words[: words.index("--") if "--" in words else None]:
                name = word.partition("=")[0]
                if name.startswith("--") and not any(option.startswith(name) for option in options):
                    raise _no_option(self.prog, name, options)
            found, rest = super().parse_known_args(args, namespace)
            for word in rest:
                if word.startswith("-"):
                    raise _no_option(self.prog, word, options)
                what = f"'{word[:60]}' is one word too many"
                raise InputError(what, hint=f"A name with spaces goes between quotes; `{self.prog} -h` shows the rest")
            return found, rest

        def error(self, message: str) -> NoReturn:
            place = re.fullmatch(r"argument (\S+): (.*)", message, re.DOTALL)
            where, what = (place[1], place[2]) if place else (None, message)
            action = next((a for a in self._actions if where and a.option_strings == where.split("/")), None)
            if action is not None and what.startswith("expected"):
                value = action.metavar or " or ".join(map(str, action.choices or (action.dest.upper(),)))
                hint = f"Write {action.option_strings[-1]} {value}: {action.help}"
                raise InputError("nothing stands after it", where=where, hint=hint)
            missing = re.fullmatch(r"the following arguments are required: (.*)", message)
            if missing:
                example = re.search(rf"({re.escape(self.prog)} .*?)(?: {{2,}}|$)", self.epilog or "", re.MULTILINE)
                hint = f"For example `{example[1]}`" if example else f"`{self.prog} -h` shows examples"
                raise InputError(f"no {missing[1].replace(', ', ' and no ')} is given", hint=hint)
            short = re.fullmatch(r"ambiguous option: (\S+) could match (.*)", message)
            if short:
                raise InputError(
                    f"{short[1]} may mean {short[2].replace(', ', ' or ')}", hint="Write the one you mean in full"
                )
            raise InputError(what, where=where, hint=f"`{self.prog} -h` shows how it is written")

    parser = Parser(
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
    if "_ARGCOMPLETE" in os.environ:
        import argcomplete

        argcomplete.autocomplete(build_parser())
    if not words:
        print(BEGIN, file=sys.stderr)
        return 2
    try:
        _check_command(words[0])
        args = build_parser().parse_args(words)
        with styled(sys.stdout):
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
