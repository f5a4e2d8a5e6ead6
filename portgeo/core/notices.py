"""Notices: what the user should know that stops nothing, as a code and values; the words are in `portgeo.words`.

Codes and values in millimetres and radians come in; sentences in the user's unit, or the values with the unit in each
key, go out.
"""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from portgeo.core.section import wall_name
from portgeo.core.units import MILLIMETRES, PA_PER, Display, clock_text
from portgeo.words import in_job_words, sentences_of

LISTED = 12  # of a long list so many are named and the rest is counted


@dataclass(frozen=True, init=False)
class Notice:
    """A code and its values by name: lengths in mm, areas in mm2, volumes in mm3, speeds in m/s, angles in radians.

    `values["case"]` is which of the code's sentences is meant, where it has several. A value may be a notice itself.
    """

    code: str
    values: Mapping[str, Any]

    def __init__(self, code: str, /, **values: Any) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "values", {name: _bare(value) for name, value in values.items()})

    def message(self, display: Display = MILLIMETRES) -> str:
        """Return the sentence in the user's unit."""
        text = _Sentence(display).vformat(sentences_of(self.code)[self.values.get("case", "")], (), self.values)
        return in_job_words(text) if display.asks == "key" else text

    def __str__(self) -> str:
        return self.message()

    def record(self) -> dict[str, Any]:
        """Return the values with the unit in each key: station_mm, area_mm2, volume_cc, turn_deg, share_percent."""
        shown = _kinds_of(self.code)
        pairs = (shown.get(name, KINDS["word"]).out(name, value) for name, value in self.values.items())
        return dict(pairs)


def unique(notices: Iterable[Notice]) -> list[Notice]:
    """Return notices without those said before."""
    kept: list[Notice] = []
    for notice in notices:
        if notice not in kept:
            kept.append(notice)
    return kept


@dataclass(frozen=True)
class Kind:
    """A kind of value: how a sentence shows it; what its key ends in where it is given out, and the factor there."""

    show: Callable[[Any, Display], str]
    ending: str = ""
    factor: float = 1.0

    def out(self, name: str, value: Any) -> tuple[str, Any]:
        """Return the key and the value as they are given out."""
        if isinstance(value, Notice):
            return name, {"code": value.code, "values": value.record()}
        if self.factor != 1.0:
            value *= self.factor
        return name + self.ending, value


def _angle(radians: float) -> str:
    """Return an angle in degrees, to two digits where it is small."""
    degrees = float(np.degrees(radians))
    return f"{degrees:.0f}°" if degrees >= 10.0 else f"{degrees:.2g}°"


def _listed(items: Sequence[str], last: str = "and") -> str:
    """Return a list as it is said: a, b and c; of a long one the first, and how many more."""
    named = [*items[:LISTED], *([f"{len(items) - LISTED} more"] if len(items) > LISTED else [])]
    return f" {last} ".join([part for part in (", ".join(named[:-1]), named[-1]) if part])


def _several(name: str, items: Sequence[str]) -> str:
    return f"{name}{'s' if len(items) > 1 else ''} {_listed(items)}"


KINDS = {
    "length": Kind(lambda mm, d: d.length(mm), "_mm"),
    "plain_length": Kind(lambda mm, d: d.length(mm, label=False), "_mm"),  # the unit stands beside it
    "area": Kind(lambda mm2, d: d.area(mm2), "_mm2"),
    "plain_area": Kind(lambda mm2, d: d.area(mm2, label=False), "_mm2"),
    "volume": Kind(lambda mm3, d: d.volume(mm3), "_cc", 1e-3),
    "speed": Kind(lambda m_s, d: d.speed(m_s), "_m_s"),
    "pressure": Kind(lambda pa, d: f"{pa / PA_PER['in_h2o']:.1f} inH2O", "_pa"),  # what benches go by, in any unit
    "angle": Kind(lambda radians, d: _angle(radians), "_deg", float(np.degrees(1.0))),
    "clock": Kind(lambda hours, d: "all round" if hours is None else clock_text(hours), "_hours"),
    "place": Kind(lambda xyz, d: "({:.1f}, {:.1f}, {:.1f}) mm".format(*xyz), "_mm"),  # in the file's own coordinates
    "wall": Kind(lambda wall, d: wall_name(wall)),
    "rows": Kind(lambda rows, d: _several("row", [str(row) for row in rows])),
    "stations": Kind(lambda mm, d: _several("station", [d.length(s, label=False) for s in mm]) + f" {d.unit}", "_mm"),
    "unit": Kind(lambda unit, d: "inches" if unit == "in" else unit),
    "listed": Kind(lambda words, d: _listed(words)),
    "either": Kind(lambda words, d: _listed(words, "or")),
    "shares": Kind(lambda costs, d: ", ".join(f"{name} {share:.1%}" for name, share in costs)),
    "word": Kind(lambda word, d: str(word)),
}
SHARE = Kind(lambda share, d: str(share), "_percent", 100.0)


class _Sentence(string.Formatter):
    """Fills a sentence: a field's value by its kind, by a count's two words, or by Python's own format."""

    def __init__(self, display: Display) -> None:
        self.display = display

    def format_field(self, value: Any, spec: str) -> Any:
        if isinstance(value, Notice):
            return value.message(self.display)
        if spec in KINDS:
            return KINDS[spec].show(value, self.display)
        if "|" in spec:
            one, several = spec.split("|")
            return f"{value:,} {one if value == 1 else several}"
        return format(value, spec)


@cache
def _kinds_of(code: str) -> dict[str, Kind]:
    """Return the kind of each value that a code's sentences name."""
    fields = (field for text in sentences_of(code).values() for field in string.Formatter().parse(text))
    specs = {name: spec or "" for _, name, spec, _ in fields if name}
    return {
        name: KINDS[spec] if spec in KINDS else SHARE if spec.endswith("%") else KINDS["word"]
        for name, spec in specs.items()
    }


def _bare(value: Any) -> Any:
    """Return a value of plain Python: arrays as tuples."""
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray | list | tuple):
        return tuple(_bare(each) for each in value)
    return value
