"""What the guide's tables take from the code: a page's text comes in, the text with its tables filled goes out.

A page holds a table of keys and their meanings under a comment `<!-- of the code: NAME -->`. The code's own keys,
in their order, with units, limits and what is taken without them, are put beside the meanings, the last column.
A key that the page lacks, or that the code no longer has, is refused: no page goes stale in silence. A page that is
filled stays as it is.
"""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from inspect import cleandoc, isfunction
from typing import Any, Literal, Union, get_args, get_origin

# The mark, the table under it and the block under that.
MARK = re.compile(r"^<!-- of the code: ([\w. ]+) -->\n(\n(?:\|.*\n)+)?(\n```\w+\n(?:(?!```).*\n)*```\n)?", re.MULTILINE)
PORT_METHODS = ("section_at", "to_trimesh", "to_pyvista", "to_source", "marked")
INCH = 25.4
SAME_UNIT = ("_in", "_mm")


class StalePage(Exception):
    """A page lacks a key of the code, or tells of one that the code does not have."""


Row = tuple[str, ...]
Made = tuple[Row, list[tuple[str, Row]]]  # the head, and of each key what is said of it before its meaning


def filled(page: str) -> str:
    """Return a page with its tables filled from the code. Raises StalePage."""
    return MARK.sub(lambda found: f"<!-- of the code: {found[1]} -->\n{_filled(*found.groups(''))}", page)


def names_in(page: str) -> list[str]:
    """Return the names of what a page takes from the code."""
    return [found[1] for found in MARK.finditer(page)]


def meanings(table: str) -> dict[str, str]:
    """Return a Markdown table's keys, and what its last column says of each."""
    rows = [re.split(r"(?<!\\)\|", line.strip().strip("|")) for line in table.strip().splitlines()[2:]]
    return {row[0].strip().strip("`"): row[-1].strip() for row in rows}


def _filled(name: str, table: str, block: str) -> str:
    kind, _, which = name.partition(" ")
    if kind in TEXTS:
        return TEXTS[kind](which)
    head, rows = TABLES[kind](which)
    meant = meanings(table) if table else {}
    declared = {key for key, _ in rows}
    own = {key for key in meant if key.partition(".")[0].partition("[")[0] not in declared}
    if own or declared - meant.keys():
        lacking, unknown = sorted(declared - meant.keys()), sorted(own)
        raise StalePage(f"{name}: the page lacks {lacking or 'nothing'}, and the code has no {unknown or 'less'}")
    lines = []
    for key, cells in rows:
        lines.append((f"`{key}`", *cells, meant[key]))
        # Keys under one that the code declares as a whole.
        lines += [(f"`{k}`", *("" for _ in cells), meant[k]) for k in meant if k != key and re.match(rf"{key}[.\[]", k)]
    return "\n" + _table((*head, "meaning"), lines) + block


def _table(head: Row, rows: list[Row]) -> str:
    return "\n".join(f"| {' | '.join(row)} |" for row in (head, tuple("---" for _ in head), *rows)) + "\n"


def _sheet(_: str) -> Made:
    from portgeo.files.sheets.section_columns import SECTIONS

    return ("column", "ends in"), [
        (name, (" or ".join(f"`_{unit}`" for unit in column.units if unit),))
        for name, column in SECTIONS.columns.items()
    ]


def _tools(_: str) -> Made:
    from portgeo.core.section import TOOLS

    def both(mm: float) -> str:
        return f"{2.0 * mm / INCH:.3f} in ({2.0 * mm:.2g} mm)" if mm else "none"

    return ("tool", "± of one reading", "± of its zero"), [(t, (both(r), both(z))) for t, (r, z) in TOOLS.items()]


def _words(which: str) -> Made:
    from portgeo.core.section import MARKS
    from portgeo.files.sheets.section_columns import SHAPES

    return (which,), [(word, ()) for word in {"shape": SHAPES, "mark": MARKS}[which]]


def _bench(_: str) -> Made:
    from portgeo.files.bench import BENCH

    return ("column",), [(name, ()) for name in BENCH.known]


def _probe(_: str) -> Made:
    from portgeo.files.probe import PROBE

    return ("column",), [(name, ()) for name in PROBE.known]


def _walls(_: str) -> Made:
    from portgeo.files.walls import WALLS

    return ("column",), [(name, ()) for name in WALLS.known]


def _job(which: str) -> Made:
    from portgeo.files.toml.job_tables import Job
    from portgeo.files.toml.job_words import TABLES as NAMED
    from portgeo.files.toml.slips import STAGE, STAGES

    table = NAMED[which] if which else Job
    rows = []
    written = STAGE | STAGES
    for key, field in table.model_fields.items():
        span = table.lengths.get(key)
        kind = "length" if span else _kind(field.annotation)
        if span is None:
            span = tuple(_bound(field.metadata, names) for names in (("ge", "gt"), ("le", "lt")))
            limits = " to ".join(f"{s:g}" for s in span if s is not None) if None not in span else ""
        else:
            limits = f"{span[0]:g} to {span[1]:g} mm"
        named = next((word for word, known in written.items() if known == key), key)
        rows.append((named, (kind, limits, _without(field, key in table.lengths))))
    return ("key", "kind", "limits", "without it"), rows


def _bound(metadata: list[Any], names: tuple[str, ...]) -> float | None:
    return next((getattr(m, n) for m in metadata for n in names if getattr(m, n, None) is not None), None)


def _without(field: Any, is_length: bool) -> str:
    if field.is_required():
        return "must be given"
    default = field.default
    if default is None or default == "" or hasattr(type(default), "model_fields"):
        return "–"
    if is_length:
        return f"{default:g} mm" if default else "0"
    return f"`{str(default).lower() if isinstance(default, bool) else default}`"


KINDS = {str: "text", float: "number", int: "whole number", bool: "true or false"}


def _kind(annotation: Any) -> str:
    origin, given = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return " or ".join(f'`"{word}"`' for word in given)
    if origin is tuple:
        return "three numbers" if given == (float,) * 3 else f"list of {_kind(given[0])}"
    if annotation in KINDS:
        return KINDS[annotation]
    if hasattr(annotation, "model_fields"):
        return "table"
    if origin is Union or "UnionType" in type(annotation).__name__:
        return _kind(next(part for part in given if part is not type(None)))
    return _kind(given[0]) if given else "text"  # Annotated


def _result(which: str) -> Made:
    """Return the figures of a record of `portgeo.results`, and which tables show them."""
    module, _, name = which.rpartition(".")
    record = getattr(importlib.import_module(f"portgeo.results.{module}"), name)
    rows = []
    for f in fields(record):
        shown = f.metadata["shown"]
        if not shown.hidden:
            surfaces = {"CSV": shown.csv, "bench": shown.bench, "page": shown.page, "customer": shown.customer}
            rows.append((f.name.rstrip("_"), (", ".join(name for name, has in surfaces.items() if has),)))
    if not any(cells[0] for _, cells in rows):
        return ("key",), [(key, ()) for key, _ in rows]
    return ("key", "also in"), rows


def records() -> Iterator[str]:
    """Yield every record of `portgeo.results` that is not the base of another, as a page names it."""
    import portgeo.results
    from portgeo.results.figures import Result

    for module in pkgutil.iter_modules(portgeo.results.__path__):
        loaded = importlib.import_module(f"portgeo.results.{module.name}")
        for name, record in vars(loaded).items():
            if not (isinstance(record, type) and issubclass(record, Result) and record.__module__ == loaded.__name__):
                continue
            made_into = [sub for sub in record.__subclasses__() if sub.__module__.startswith("portgeo.")]
            if fields(record) and not made_into:
                yield f"result {module.name}.{name}"


def _commands(_: str) -> str:
    """Return a table of the commands and what each does."""
    from portgeo.app.cli import COMMANDS

    helps = {name: importlib.import_module(f"portgeo.app.commands.{name}").HELP for name in COMMANDS}
    rows = [(f"[`portgeo {name}`](#portgeo-{name})", text[0].upper() + text[1:]) for name, text in helps.items()]
    return "\n" + _table(("command", "what it does"), rows)


def _options(which: str) -> str:
    """Return what a command takes as a table, and its examples as a block of text."""
    import argparse

    from portgeo.app.cli import build_parser

    commands = next(a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    command = commands.choices[which]
    rows = [(f"`{_typed(a)}`", (a.help or "").replace("|", "\\|")) for a in command._actions if a.dest != "help"]
    return f"\n{_table(('write', 'what it does'), rows)}\n```text\n{command.epilog.strip()}\n```\n"


def _typed(action: Any) -> str:
    """Return how an option or a word of a command is typed."""
    names = ", ".join(action.option_strings)
    if action.nargs == 0:
        return names
    value = action.metavar or (" or ".join(map(str, action.choices)) if action.choices else action.dest.upper())
    return f"{names} {value}{' ...' if action.nargs in ('+', '*') else ''}".strip()


def _blank(which: str) -> str:
    """Return a blank file as `portgeo new` writes it."""
    from portgeo.app.job.blanks import blank_job, blank_target

    text = blank_target("in") if which == "target" else blank_job("in", "my-port")
    return f"\n```toml\n{text}```\n"


def _functions(_: str) -> str:
    """Return a table of the functions that `import portgeo` offers and what each does."""
    import portgeo

    made = [(name, getattr(portgeo, name)) for name in portgeo.__all__]
    return "\n" + _table(
        ("function", "what it does"), [(f"`pg.{name}`", _purpose(one)) for name, one in made if isfunction(one)]
    )


def _types(_: str) -> str:
    """Return a table of the types that `import portgeo` offers and what each is."""
    import portgeo

    made = [(name, getattr(portgeo, name)) for name in portgeo.__all__]
    return "\n" + _table(
        ("type", "what it is"), [(f"`pg.{name}`", _purpose(one)) for name, one in made if not isfunction(one)]
    )


def _methods(_: str) -> str:
    """Return a table of what a port is asked for, and what each gives."""
    from portgeo.core.port import Port

    return "\n" + _table(
        ("method", "what it gives"), [(f"`port.{name}`", _purpose(getattr(Port, name))) for name in PORT_METHODS]
    )


def _purpose(documented: object) -> str:
    """Return the first sentence of a docstring."""
    line = cleandoc(documented.__doc__ or "").split("\n\n")[0].replace("\n", " ")
    line = line.removeprefix("Return ").partition(" Raises ")[0]
    return line[0].upper() + line[1:]


def library() -> str:
    """Return what documents every function that `import portgeo` offers, and the Port, from their docstrings."""
    import portgeo

    made = [name for name in portgeo.__all__ if isfunction(getattr(portgeo, name))]
    functions = "\n".join(f".. autofunction:: portgeo.{name}\n" for name in made)
    port = f".. autoclass:: portgeo.core.port.Port()\n   :members: {', '.join(PORT_METHODS)}\n"
    return f"```{{eval-rst}}\n{functions}\n{port}```\n"


TABLES: Mapping[str, Callable[[str], Made]] = {
    "sheet": _sheet, "tools": _tools, "words": _words, "bench": _bench, "walls": _walls, "probe": _probe, "job": _job,
    "result": _result,
}  # fmt: skip
TEXTS: Mapping[str, Callable[[str], str]] = {
    "commands": _commands,
    "options": _options,
    "blank": _blank,
    "functions": _functions,
    "types": _types,
    "methods": _methods,
}
