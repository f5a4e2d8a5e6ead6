"""How a figure of a result is declared: once, with its key, where it comes from, and what shows it.

A result is a frozen dataclass whose fields are the keys of its JSON, units in their names. What was
computed comes in through each figure's `of`; plain values for JSON, columns for CSV files, for the bench
and for the report's page go out.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import Field, dataclass, field, fields, replace
from functools import cache
from pathlib import Path
from typing import Any, Self, get_args, get_type_hints

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.units import Display
from portgeo.results.kinds import kind_of, kind_of_key, stem

CC = 1e-3  # of a mm3
JSON_DIGITS = 9  # significant digits in JSON: past any reading, short of the noise of the last bits


@dataclass(frozen=True)
class Shown:
    """How a figure is shown, beside its key in the JSON and its attribute.

    label : what tables call it; group : the heading it stands under. csv : its key in the CSV file (its own, if
    True), with {} for the name of `each` column where there are several. bench : width of its column at the
    bench, 0 for none. page : its key in the page's tables, without the unit, or that it has one; of a result
    within a result, that its figures are told there. kind : of quantity, where the key's unit does not say.
    customer : what the customer's pages call it, nothing where they leave it out. apart : its columns stand one by
    one in the JSON too. hidden : no figure at all, but what presents the result needs it.
    """

    label: str = ""
    csv: bool | str = False
    bench: int = 0
    page: bool | str = False
    group: str = ""
    kind: str = ""
    each: tuple[str, ...] = ()
    customer: str = ""
    apart: bool = False
    hidden: bool = False


def figure(of: Callable[..., Any], label: str = "", **shown: Any) -> Any:
    """Return the field of a result that holds one figure.

    of : what computes it from what the result is made of. label, shown : as Shown has them. The ± of a figure
    `area_mm2` is the figure `area_u_mm2`, one standard uncertainty; what shows it to a person doubles it.
    """
    return field(metadata={"of": of, "shown": Shown(label, **shown)})


def inside(of: Callable[..., Any]) -> Any:
    """Return the field of a result that holds what it was computed from: no figure, and not in its JSON."""
    return field(metadata={"of": of, "shown": Shown(hidden=True)}, repr=False, compare=False)


REPR_FIGURES = 4  # in a result's line: what a terminal's line holds


@dataclass(frozen=True)
class Column:
    """A column of the page's tables: its key without the unit, its heading, its kind, what it stands under."""

    key: str
    heading: str
    kind: str
    group: str = ""


@dataclass(frozen=True)
class Result:
    """Figures under the keys of their JSON, in the units that the keys name; `area_u_mm2` is the ± of `area_mm2`.

    An uncertainty is one standard uncertainty: twice it holds 19 times in 20.
    """

    def __init_subclass__(cls) -> None:
        """Keep what a dataclass would make anew: its text would write out every array, its == cannot take one."""
        super().__init_subclass__()
        cls.__repr__ = cls.__repr__  # type: ignore[method-assign]  # what is in the class itself stays
        cls.__eq__ = cls.__eq__  # type: ignore[method-assign]
        cls.__hash__ = cls.__hash__  # type: ignore[method-assign]

    def __eq__(self, other: object) -> bool:
        """Say whether two results give the same figures; what is not known is the same as what is not known."""
        if type(self) is not type(other):
            return NotImplemented
        return all(_alike(getattr(self, f.name), getattr(other, f.name)) for f in _figures(self))

    def __hash__(self) -> int:
        return hash(repr(self))

    def __repr__(self) -> str:
        """Return the result in a line: its first plain numbers and words."""
        shown = [(f.name, getattr(self, f.name)) for f in _figures(self) if f.name != "schema"]
        plain_ones = [
            f"{name}={value:.6g}" if isinstance(value, float) else f"{name}={value!r}"
            for name, value in shown
            if isinstance(value, int | float | str)
        ]
        rest = ["..."] if len(plain_ones) > REPR_FIGURES or len(plain_ones) < len(shown) else []
        return f"{type(self).__qualname__}({', '.join([*plain_ones[:REPR_FIGURES], *rest])})"

    @classmethod
    def of(cls, *given: Any) -> Self:
        """Return the result made of what is given, each figure by its own rule."""
        return cls(**{f.name: _bare(f.metadata["of"](*given)) for f in fields(cls)})

    def to_dict(self) -> dict[str, Any]:
        """Return the result as its JSON has it: plain numbers to 9 significant digits, nan and inf as None."""
        return {_key(f): plain(getattr(self, f.name)) for f in _figures(self)}

    def _repr_html_(self) -> str:
        """Return the result as a notebook shows it: a row a figure, a table in its own."""
        cells = [(_key(f), _html(getattr(self, f.name))) for f in _figures(self)]
        return "<table>" + "".join(f"<tr><th>{key}</th><td>{cell}</td></tr>" for key, cell in cells) + "</table>"


@dataclass(frozen=True)
class Table(Result):
    """Rows of figures: each figure an array (n,), or (n, k) where it is of k numbers a row."""

    def __repr__(self) -> str:
        """Return the table in a line: how many rows, and what the columns are."""
        return f"{type(self).__qualname__}({len(self)} rows of {', '.join(f.name for f in _figures(self))})"

    def __len__(self) -> int:
        return len(getattr(self, fields(self)[0].name))

    def to_rows(self) -> list[dict[str, Any]]:
        """Return the rows as the JSON has them."""
        columns: dict[str, Any] = {}
        for f in _figures(self):
            values = getattr(self, f.name)
            columns |= {key: plain(v) for key, v in _columns(f, values)} if _shown(f).apart else {f.name: plain(values)}
        return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]

    def _repr_html_(self) -> str:
        """Return the rows as a notebook shows them: a column a figure."""
        rows = self.to_rows()
        head = "".join(f"<th>{key}</th>" for key in (rows[0] if rows else ()))
        body = "".join("<tr>" + "".join(f"<td>{_html(v)}</td>" for v in row.values()) + "</tr>" for row in rows)
        return f"<table><tr>{head}</tr>{body}</table>"

    def to_csv(self, display: Display) -> tuple[list[str], list[list[float]]]:
        """Return the head and the rows of the CSV file, lengths in the user's unit."""
        head, columns = [], []
        for f in _figures(self):
            for key, values in _columns(f, getattr(self, f.name)):
                kind = kind_of(kind_of_key(key), display)
                head.append(stem(key) + kind.ending)
                columns.append(values / kind.per)
        return head, np.column_stack(columns).tolist()

    def at_the_bench(self) -> list[tuple[str, Shown]]:
        """Return the keys that the bench's table shows, and how."""
        return [(f.name, _shown(f)) for f in fields(self) if _shown(f).bench]


@cache
def _hints(result: type[Result]) -> dict[str, Any]:
    """Return the types of a result's figures, worked out once: a page asks for them at every row of its tables."""
    return get_type_hints(result)


def on_the_page(
    result: type[Result], *, only: Sequence[str] = (), without: Sequence[str] = ()
) -> Iterator[tuple[tuple[str | int, ...], Column]]:
    """Yield where each figure that the page's tables show stands in a result's JSON, and its column.

    only, without : figures to leave all others out, or these.
    """
    hints = _hints(result)  # type: ignore[arg-type]  # a class has a hash, whatever its instances have
    for f in fields(result):
        shown, key = _shown(f), _key(f)
        if not shown.page or f.name in without or (only and f.name not in only):
            continue
        within = [t for t in (hints[f.name], *get_args(hints[f.name])) if isinstance(t, type) and issubclass(t, Result)]
        if within:
            yield from (((key, *path), column) for path, column in on_the_page(within[0]))
            continue
        named = shown.csv if isinstance(shown.csv, str) else f.name
        name, kind = stem(named), shown.kind or kind_of_key(named)
        told = shown.page if isinstance(shown.page, str) else name.removesuffix("_u") + "_doubt" * name.endswith("_u")
        if not shown.each:
            yield (key,), Column(told, shown.label, kind, shown.group)
        for k, each in enumerate(shown.each):
            yield (key, k), Column(told.format(each), each, kind, shown.group)


def for_the_customer(result: type[Result]) -> Iterator[tuple[str, str, str]]:
    """Yield the key of each figure that the customer's pages tell, its kind and what they call it."""
    for f in fields(result):
        shown = _shown(f)
        if shown.customer:
            yield _key(f), shown.kind or kind_of_key(f.name), shown.customer


def uncertainty_key(key: str) -> str:
    """Return the key of the ± of a figure: `area_u_mm2` of `area_mm2`."""
    return f"{stem(key)}_u{key.removeprefix(stem(key))}"


def _bare(value: Any) -> Any:
    """Return a number as Python's own, whatever it was computed with, and an array as one that nobody writes to."""
    if isinstance(value, np.ndarray):
        value = value.view()
        value.flags.writeable = False
    return value.item() if isinstance(value, np.generic) else value


def _alike(one: Any, other: Any) -> bool:
    """Say whether two values of a figure are the same, nan as nan."""
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    if isinstance(one, float) and isinstance(other, float) and math.isnan(one):
        return math.isnan(other)
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(_alike(one[key], other[key]) for key in one)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    return bool(one == other)


def _shown(f: Field[Any]) -> Shown:
    shown: Shown = f.metadata["shown"]
    return shown


def _figures(result: Result) -> list[Field[Any]]:
    return [f for f in fields(result) if not _shown(f).hidden]


def _columns(f: Field[Any], values: Any) -> Iterator[tuple[str, FloatArray]]:
    """Yield the columns of the CSV file that a figure has, each under its key."""
    shown = _shown(f)
    if not shown.csv:
        return
    key = shown.csv if isinstance(shown.csv, str) else f.name
    if np.ndim(values) == 1:
        yield key, values
        return
    names = shown.each or tuple(str(k + 1) for k in range(np.shape(values)[1]))
    for name, column in zip(names, np.transpose(values), strict=True):
        yield key.format(name), column


def _key(f: Field[Any]) -> str:
    """Return the JSON's key of a field: a word that Python keeps for itself has an underscore after it."""
    return f.name.rstrip("_")


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
