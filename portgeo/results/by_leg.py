"""Tables of a port that splits: every passage's rows in one, each with its leg, which is empty for the trunk.

Passages' names and tables come in; a CSV file's head and rows, or the JSON's rows, go out.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from portgeo.core.split import TRUNK
from portgeo.core.units import Display
from portgeo.results.figures import Table

Passages = Iterable[tuple[str, Table]]


def csv_by_leg(passages: Passages, display: Display) -> tuple[list[str], list[list[Any]]]:
    """Return the head and the rows of the CSV file, each row with its leg first, lengths in the user's unit."""
    head: list[str] = []
    rows: list[list[Any]] = []
    for name, table in passages:
        own, lines = table.to_csv(display)
        head = ["leg", *own]
        rows += [[_leg(name), *line] for line in lines]
    return head, rows


def rows_by_leg(passages: Passages) -> list[dict[str, Any]]:
    """Return the rows as the JSON has them."""
    return [{"leg": _leg(name), **row} for name, table in passages for row in table.to_rows()]


def _leg(passage: str) -> str:
    return "" if passage == TRUNK else passage
