"""Line charts for the page, as SVG: drawn once for a wide page and once for a phone.

Named series with bands come in; a figure with its legend outside the lines goes out. Series differ in
colour, in dashes and in the shape of their points.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.ticker import MaxNLocator

from portgeo.core.plane import FloatArray
from portgeo.present.page.markup import Element, el

STYLES = 6  # that the style sheet tells apart: .s0 to .s5
STEPS = [1, 2, 2.5, 5, 10]
ROOM = 0.06  # of the range, above and below the lines


@dataclass(frozen=True)
class Series:
    """A line: x, y (n,) in the user's unit, nan where it breaks; half the band (n,) or None.

    style : which of the styles. points : mark every point. line : join them.
    """

    name: str
    x: FloatArray
    y: FloatArray
    band: FloatArray | None = None
    style: int = 0
    points: bool = False
    line: bool = True


@dataclass(frozen=True)
class Span:
    """A shaded stretch of x with a name."""

    name: str
    low: float
    high: float


@dataclass(frozen=True)
class Reading:
    """How a place on a chart is read: what x is called, and x's and y's units and decimals."""

    of: str
    units: tuple[str, str]
    decimals: tuple[int, int]


@dataclass(frozen=True)
class Size:
    """A chart's size and the room for its figures, in CSS pixels."""

    name: str
    width: float
    height: float
    left: float
    ticks: int


WIDE, NARROW = Size("wide", 760, 380, 58, 8), Size("narrow", 358, 290, 46, 5)
TOP, RIGHT, BOTTOM = 26.0, 14.0, 44.0


def line_chart(
    title: str,
    says: str,
    x_label: str,
    y_label: str,
    series: Sequence[Series],
    reading: Reading,
    spans: Sequence[Span] = (),
    *,
    from_zero: bool = False,
) -> Element:
    """Return a figure: title, legend, the chart for a wide page and the one for a narrow. says : it in words.

    reading : how the page's script is to tell what stands under the pointer.
    """
    seen = [s for s in series if np.isfinite(s.y).any()]
    charts = [_chart(size, says, x_label, y_label, seen, spans, from_zero) for size in (WIDE, NARROW)]
    values = _told(seen, reading)
    return el("figure", el("figcaption", title), _legend(seen, spans), charts, class_="chart", data_told=values)


def _told(series: Sequence[Series], reading: Reading) -> str:
    """Return what the page's script reads a chart from, as JSON: a value that is not known is null."""

    def numbers(values: FloatArray) -> list[float | None]:
        return [float(f"{v:.6g}") if np.isfinite(v) else None for v in values]

    lines = [{"name": s.name, "line": s.line, "x": numbers(s.x), "y": numbers(s.y)} for s in series]
    value = {"of": reading.of, "units": reading.units, "decimals": reading.decimals, "series": lines}
    return json.dumps(value, allow_nan=False, separators=(",", ":"))


def _legend(series: Sequence[Series], spans: Sequence[Span]) -> Element:
    items = [el("li", _sample(s), s.name) for s in series]
    items += [
        el("li", el("svg", el("rect", x=2, y=3, width=32, height=12, class_="span"), **_SAMPLE), span.name)
        for span in spans
    ]
    return el("ul", items, class_="legend")


_SAMPLE = {"viewBox": "0 0 36 18", "width": 36, "height": 18, "aria_hidden": "true", "class_": "sample"}


def _sample(s: Series) -> Element:
    parts = []
    if s.band is not None:
        parts.append(el("rect", x=2, y=3, width=32, height=12, class_=f"band s{s.style}"))
    if s.line:
        parts.append(el("path", d="M2 9H34", class_=f"line s{s.style}"))
    if s.points:
        parts.append(_point(18.0, 9.0, s.style))
    return el("svg", parts, **_SAMPLE)


def _chart(
    size: Size,
    says: str,
    x_label: str,
    y_label: str,
    series: Sequence[Series],
    spans: Sequence[Span],
    from_zero: bool,
) -> Element:
    x_low, x_high, x_marks = _axis([s.x for s in series], size.ticks, 0.0, from_zero)
    ends = [s.y + side * (0.0 if s.band is None else s.band) for s in series for side in (-1.0, 1.0)]
    y_low, y_high, y_marks = _axis(ends, 6, ROOM, from_zero)
    right, bottom = size.width - RIGHT, size.height - BOTTOM

    def across(x: FloatArray) -> FloatArray:
        return np.asarray(size.left + (x - x_low) / (x_high - x_low) * (right - size.left))

    def down(y: FloatArray) -> FloatArray:
        return np.asarray(bottom - (y - y_low) / (y_high - y_low) * (bottom - TOP))

    parts = []
    for span in spans:
        low, high = across(np.clip(np.array([span.low, span.high]), x_low, x_high))
        parts.append(el("rect", x=_n(low), y=_n(TOP), width=_n(high - low), height=_n(bottom - TOP), class_="span"))
    for mark in y_marks:
        y = _n(down(mark))
        parts.append(el("path", d=f"M{_n(size.left)} {y}H{_n(right)}", class_="grid"))
        parts.append(el("text", _figure(mark, y_marks), x=_n(size.left - 7), y=y, dy="0.35em", text_anchor="end"))
    for mark in x_marks:
        x = _n(across(mark))
        parts.append(el("path", d=f"M{x} {_n(bottom)}v5", class_="axis"))
        parts.append(el("text", _figure(mark, x_marks), x=x, y=_n(bottom + 19), text_anchor="middle"))
    parts.append(el("path", d=f"M{_n(size.left)} {_n(bottom)}H{_n(right)}", class_="axis"))
    parts.append(el("text", y_label, x=2, y=13, class_="label"))
    parts.append(el("text", x_label, x=_n(right), y=_n(size.height - 6), text_anchor="end", class_="label"))
    for s in series:
        parts += _drawn(s, across(s.x), down(s.y), None if s.band is None else (down(s.y - s.band), down(s.y + s.band)))
    box = f"{_n(size.left)} {_n(right)} {_n(TOP)} {_n(bottom)} {x_low:.9g} {x_high:.9g}"
    return el(
        "svg", parts, viewBox=f"0 0 {_n(size.width)} {_n(size.height)}", role="img", aria_label=says, class_=size.name,
        data_box=box,
    )  # fmt: skip


def _drawn(s: Series, x: FloatArray, y: FloatArray, band: tuple[FloatArray, FloatArray] | None) -> list[Element]:
    known = np.isfinite(y)
    parts = []
    if band is not None and known.any():
        round_ = np.concatenate([np.column_stack([x, band[0]])[known], np.column_stack([x, band[1]])[known][::-1]])
        parts.append(el("path", d=_path(round_) + "Z", class_=f"band s{s.style}"))
    if s.line:
        for run in np.split(np.arange(len(x)), np.flatnonzero(np.diff(known.astype(int))) + 1):
            if known[run[0]] and len(run) > 1:
                parts.append(el("path", d=_path(np.column_stack([x, y])[run]), class_=f"line s{s.style}"))
    if s.points:
        parts += [_point(float(a), float(b), s.style) for a, b in zip(x[known], y[known], strict=True)]
    return parts


def _point(x: float, y: float, style: int) -> Element:
    """Return a point: circle, square, triangle, diamond, upright cross or slanting cross."""
    shapes = (
        "m-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0z",
        "m-3.6-3.6h7.2v7.2h-7.2z",
        "m0-4.6l4.4 7.8h-8.8z",
        "m0-5l4.4 5l-4.4 5l-4.4-5z",
        "m-5 0h10m-5-5v10",
        "m-4-4l8 8m-8 0l8-8",
    )
    return el("path", d=f"M{_n(x)} {_n(y)}{shapes[style % len(shapes)]}", class_=f"point s{style}")


def _axis(values: Sequence[FloatArray], ticks: int, room: float, from_zero: bool) -> tuple[float, float, FloatArray]:
    """Return the ends of an axis and its marks."""
    every = np.concatenate([np.asarray(v, dtype=float) for v in values])
    every = every[np.isfinite(every)]
    low, high = float(every.min()), float(every.max())
    if from_zero:
        low = min(low, 0.0)
    spare = room * max(high - low, 1e-9)
    low, high = low - (0.0 if from_zero and low == 0.0 else spare), high + spare
    if high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    marks = np.asarray(MaxNLocator(ticks, steps=STEPS).tick_values(low, high))
    inside = (marks >= low - 1e-9 * (high - low)) & (marks <= high + 1e-9 * (high - low))
    return low, high, marks[inside]


def _figure(mark: float, marks: FloatArray) -> str:
    """Return a mark's figures, with as many decimals as the step between marks needs."""
    step = float(marks[1] - marks[0]) if len(marks) > 1 else 1.0
    decimals = next((k for k in range(6) if abs(round(step, k) - step) < 1e-6 * step), 6)
    return f"{mark + 0.0:.{decimals}f}".replace("-", "−")


def _path(points: FloatArray) -> str:
    return "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points)


def _n(value: float | FloatArray) -> str:
    return f"{float(value):.1f}".removesuffix(".0")
