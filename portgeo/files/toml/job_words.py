"""What is said where a job file's table is wrong: each of pydantic's errors in a person's words, with the hint.

One of pydantic's errors comes in; what is wrong and how to put it right go out.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from portgeo.files.toml.checked_table import Table
from portgeo.files.toml.job_tables import (
    Bench,
    Calm,
    Engine,
    Gasket,
    Job,
    Loss,
    Metal,
    Planned,
    Probe,
    Quote,
    State,
    Templates,
    Tool,
    Walls,
)
from portgeo.files.toml.scan_table import Scan
from portgeo.files.toml.set_table import RunnerSet
from portgeo.files.toml.slips import NEWER
from portgeo.files.toml.tables import shown

TABLES: dict[str, type[Table]] = {
    "engine": Engine, "metal": Metal, "state": State, "port_scan": Scan, "runner_scan": Scan, "scan": Scan,
    "bench": Bench, "target": Planned, "calm": Calm, "loss": Loss, "gasket": Gasket, "set": RunnerSet, "tool": Tool,
    "walls": Walls, "probe": Probe, "templates": Templates, "quote": Quote,
}  # fmt: skip


def mended(error: Any, key: str) -> tuple[str, str]:
    """Return what is wrong and the hint, for one of pydantic's errors at a key."""
    kind, given, context = error["type"], error.get("input"), error.get("ctx", {})
    if kind == "refused":
        return context["what"], context["hint"].rstrip(".")
    given = shown(given)
    if kind == "missing":
        return (
            f"{key} is missing",
            f"Add  {key} = and its value" if key != "state" else "Add a line [[stage]] and its keys",
        )
    if kind == "extra_forbidden":
        return "there is no such key", _closest(error, key)
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        limit = next(iter(context.values()))
        than = {"g": "less than" if kind.endswith("equal") else "not more than"}.get(
            kind[0], "more than" if kind.endswith("equal") else "not less than"
        )
        return f"{given} is {than} {limit:g}", "Check the number"
    if kind in ("float_type", "int_type", "float_parsing", "finite_number", "int_from_float"):
        whole = "whole number such as 4" if kind.startswith("int") else "number such as 1.25"
        return f"{given} is not a {whole.split(' such')[0]}", f"Write a {whole}, without quotes"
    if kind == "literal_error":
        return f"{given} is not known here", f"Write one of {context['expected'].replace(chr(39), chr(34))}"
    if kind == "bool_type":
        return f"{given} is not true or false", "Write true or false, without quotes"
    if kind == "string_type":
        return f"{given} is not text", "Write it between quotes"
    if kind == "string_too_short":
        return f"{key} is empty", "Write something between the quotes"
    if kind == "string_too_long":
        return f"{key} is too long", f"Write it in {context['max_length']} letters or fewer"
    if kind in ("too_short", "too_long"):
        return f"{key} has {context['actual_length']} entries", f"Write {_limits(context)}"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"{key} is not a table", f"Write it under a line [{key}]"
    if kind in ("tuple_type", "list_type"):
        return f"{given} is not a list", "Write it between [ and ], with commas"
    return error["msg"][0].lower() + error["msg"][1:].rstrip("."), "Look at what `portgeo new DIR` writes"


def _limits(context: Mapping[str, Any]) -> str:
    """Return what a list's length may be, in words."""
    return f"at least {context['min_length']}" if "min_length" in context else f"at most {context['max_length']}"


def _closest(error: Any, key: str) -> str:
    """Return the hint for an unknown key: the nearest of its table's."""
    table: type[Table] = Job
    for part in error["loc"][:-1]:
        if isinstance(part, str):
            table = TABLES.get(part, table)
    # A line whose # was taken away, and not that of the table above it.
    owners = [f"[{name}]" for name, other in TABLES.items() if name in Job.model_fields and key in other.model_fields]
    if owners:
        return f"It belongs under a line {' or '.join(owners)}: is there a # before that line?"
    known = [name for name in table.model_fields if name not in table.lengths]
    known += [name + suffix for name in table.lengths for suffix in ("", "_in", "_mm")]
    close = difflib.get_close_matches(key[:60], known, 1)
    return (
        f"Did you mean {close[0]}?"
        if close
        else "Known here: " + ", ".join(sorted(NEWER.get(name, name) for name in table.model_fields))
    )
