"""How a figure of a result is declared: once, with its key, where it comes from, and how tables show it.

A result is a frozen dataclass whose fields are the keys of its JSON, units in their names. What was
computed comes in through each figure's `of`; plain values for JSON, columns for CSV and for the bench go out.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import Field, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Literal, Self

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.units import FOOT, MM_PER, Display

CC = 1e-3  # of a mm3
JSON_DIGITS = 9  # significant digits in JSON: past any reading, short of the noise of the last bits
ENDINGS = {"_mm2_per_mm": 1, "_mm_per_mm": 0, "_mm2": 2, "_mm": 1}  # of keys in lengths, and the length's power
SPEED = "_m_s"  # what a key of a speed ends in


@dataclass(frozen=True)
class Shown:
    """How the bench's table shows a figure: its heading and the width of its column."""

    heading: str
    width: int


def figure(of: Callable[..., Any], *, csv: Literal["one", "none"] | tuple[str, ...] = "none",
           bench: Shown | None = None) -> Any:  # fmt: skip
    """Return the field of a result that holds one figure.

    of : what computes it from what the result is made of. csv : "one" where it is a column of the CSV
    file under its own key, or the keys of its several columns. bench : how the bench's table shows it.
    """
    return field(metadata={"of": of, "csv": csv, "bench": bench})


@dataclass(frozen=True)
class Result:
    """Figures under the keys of their JSON, in the units that the keys name; `area_u_mm2` is the ± of `area_mm2`.

    An uncertainty is one standard uncertainty: twice it holds 19 times in 20.
    """

    @classmethod
    def of(cls, *given: Any) -> Self:
        """Return the result made of what is given, each figure by its own rule."""
        return cls(**{f.name: f.metadata["of"](*given) for f in fields(cls)})

    def to_dict(self) -> dict[str, Any]:
        """Return the result as its JSON has it: plain numbers to 9 significant digits, nan and inf as None."""
        return {_key(f): plain(getattr(self, f.name)) for f in fields(self)}

    def _repr_html_(self) -> str:
        """Return the result as a notebook shows it: a row a figure, a table in its own."""
        cells = [(_key(f), _html(getattr(self, f.name))) for f in fields(self)]
        return "<table>" + "".join(f"<tr><th>{key}</th><td>{cell}</td></tr>" for key, cell in cells) + "</table>"


@dataclass(frozen=True)
class Table(Result):
    """Rows of figures: each figure an array (n,), or (n, k) where it is of k numbers a row."""

    def __len__(self) -> int:
        return len(getattr(self, fields(self)[0].name))

    def to_rows(self) -> list[dict[str, Any]]:
        """Return the rows as the JSON has them."""
        columns = {f.name: plain(getattr(self, f.name)) for f in fields(self)}
        return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]

    def _repr_html_(self) -> str:
        """Return the rows as a notebook shows them: a column a figure."""
        rows = self.to_rows()
        head = "".join(f"<th>{key}</th>" for key in rows[0])
        body = "".join("<tr>" + "".join(f"<td>{_html(v)}</td>" for v in row.values()) + "</tr>" for row in rows)
        return f"<table><tr>{head}</tr>{body}</table>"

    def to_csv(self, display: Display) -> tuple[list[str], list[list[float]]]:
        """Return the head and the rows of the CSV file, lengths in the user's unit."""
        columns = [pair for f in fields(self) for pair in self._columns(f)]
        head = [key_in(key, display) for key, _ in columns]
        return head, np.column_stack([values / per(key, display) for key, values in columns]).tolist()

    def at_the_bench(self) -> list[tuple[str, Shown]]:
        """Return the keys that the bench's table shows, and how."""
        return [(f.name, f.metadata["bench"]) for f in fields(self) if f.metadata["bench"] is not None]

    def _columns(self, f: Field[Any]) -> Iterator[tuple[str, FloatArray]]:
        csv, values = f.metadata["csv"], getattr(self, f.name)
        if csv == "one":
            yield f.name, values
        elif csv != "none":
            yield from zip(csv, np.transpose(values), strict=True)


def _key(f: Field[Any]) -> str:
    """Return the JSON's key of a field: a word that Python keeps for itself has an underscore after it."""
    return f.name.rstrip("_")


def key_in(key: str, display: Display) -> str:
    """Return a key with its unit of length, or of speed, changed to the user's."""
    if key.endswith(SPEED) and display.unit == "in":
        return key.removesuffix(SPEED) + "_ft_s"
    ending = _ending(key)
    return key.removesuffix(ending) + ending.replace("mm", display.unit)


def per(key: str, display: Display) -> float:
    """Return what a figure under a key is divided by to be in the user's unit."""
    if key.endswith(SPEED):
        return FOOT if display.unit == "in" else 1.0
    return float(MM_PER[display.unit] ** ENDINGS.get(_ending(key), 0))


def unit_of(key: str, display: Display) -> str:
    """Return the unit of a figure under a key as the user reads it."""
    names = {"_mm": display.unit, "_mm2": display.area_unit, "_mm2_per_mm": f"{display.area_unit}/{display.unit}"}
    return names.get(_ending(key), "deg" if key.endswith("_deg") else "")


def cell(key: str, value: float, display: Display) -> str:
    """Return a figure as the user reads it; of an uncertainty, twice: the ± that holds 19 times in 20."""
    ending, size = _ending(key), (2.0 if "_u_" in key else 1.0) * float(value)
    if ending in ("_mm", "_mm2"):
        return (display.length if ending == "_mm" else display.area)(size, label=False)
    return f"{size / per(key, display):.1f}" if key.endswith("_deg") else f"{size / per(key, display):.3f}"


def _ending(key: str) -> str:
    return next((ending for ending in ENDINGS if key.endswith(ending)), "")


def without_u(value: Any) -> Any:
    """Return a result whose uncertainties, and those of the results in it, are not told: nan."""
    if isinstance(value, tuple):
        return tuple(without_u(item) for item in value)
    if not isinstance(value, Result):
        return value
    told = {f.name: getattr(value, f.name) for f in fields(value)}
    return replace(value, **{
        name: np.full_like(item, np.nan)[()] if "u" in name.split("_") else without_u(item)
        for name, item in told.items()
    })  # fmt: skip


def _html(value: Any) -> str:
    """Return a figure for a notebook: results and tables as tables, numbers to six digits, text made safe."""
    if isinstance(value, Result):
        return value._repr_html_()
    if isinstance(value, tuple) and value and isinstance(value[0], Result):
        return "".join(item._repr_html_() for item in value)
    bare = plain(value)
    return html.escape(f"{bare:.6g}" if isinstance(bare, float) else str(bare))


def plain(value: Any) -> Any:
    """Return a value as what JSON knows: keys in their order, floats to 9 significant digits, nan and inf as None."""
    if isinstance(value, Table):
        return value.to_rows()
    if isinstance(value, Result):
        return value.to_dict()
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, float):
        return float(f"{value:.{JSON_DIGITS}g}") + 0.0 if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return str(value) if isinstance(value, Path) else value
