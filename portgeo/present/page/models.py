"""The models as the page's script reads them: whole numbers of 16 bits, and a scale of colours a paint.

Models come in; a JSON value goes out. The colours are matplotlib's: cividis and viridis, even to the eye
and to any colour vision, PuOr (ColorBrewer 2.0) where zero parts two ways, and named shades for classes.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib
import numpy as np
from matplotlib.ticker import MaxNLocator

from portgeo.core.plane import FloatArray
from portgeo.core.units import Display
from portgeo.present.pictures.line_chart import STEPS
from portgeo.present.pictures.model import Model, Paint
from portgeo.results.kinds import kind_of

LEVELS = 65534  # of a painted value; one more is kept for "not known"
UNKNOWN = 65535
SHADES = 256
LABELLED = 7  # stations with a label, about
LEAST_DEPTH_MM = 0.05  # a port that was not cut is not painted with its noise
NEXT_TO_NOTHING = 0.1  # of the deepest cut: metal added by less has no side of the scale
MAPS = {"area": "cividis", "ratio": "viridis", "length": "magma"}
DIVERGING = "PuOr"
CLASS_SHADES = ("#d9d4cc", "#5b8db8", "#c98a3d", "#2f4b7c", "#7a9a5b", "#8a5a83")
DEPTHS = ("depth", "depth to take")  # paints of a cut: made, and planned
ORDER = (*DEPTHS, "against the mean", "speed", "wall left", "reach", "area")  # of the paints, as a person asks
KIND_OF = {"length": "length", "area": "area", "ratio": "ratio", "class": "count"}


@dataclass(frozen=True)
class Scale:
    """A paint's colours: the same in every state, so that states can be told apart by them.

    low, high and marks (k,) in the core's units; shades (SHADES, 3), 0 to 255.
    """

    paint: Paint
    low: float
    high: float
    marks: FloatArray
    shades: np.ndarray

    def colour(self, values: FloatArray) -> FloatArray:
        """Return RGB (n, 3), 0 to 1, of values (n,); grey where nothing is known."""
        share = np.nan_to_num((values - self.low) / (self.high - self.low))
        found = self.shades[np.clip(share * SHADES, 0, SHADES - 1).astype(int)] / 255.0
        found[np.isnan(values)] = 0.85
        return np.asarray(found)


Scales = dict[tuple[str, str], Scale]  # by part and paint


def scales_of(models: Sequence[Model], display: Display) -> Scales:
    """Return the scale of every paint that any model of a part has."""
    found: dict[tuple[str, str], list[Paint]] = {}
    for model in models:
        for paint in model.paints:
            if np.isfinite(paint.values).any():
                found.setdefault((model.part, paint.name), []).append(paint)
    return {key: _scale(found[key], display) for key in sorted(found, key=_place)}


def _place(key: tuple[str, str]) -> tuple[int, str, str]:
    part, name = key
    return ORDER.index(name) if name in ORDER else len(ORDER), part, name


def paints_of(model: Model, scales: Scales) -> list[str]:
    """Return the names of what can be painted on a model, as a person asks for them."""
    has = {paint.name for paint in model.paints if np.isfinite(paint.values).any()}
    return [name for part, name in scales if part == model.part and name in has]


def round_stations(model: Model, display: Display) -> list[float]:
    """Return round stations (in mm) along a model, about LABELLED of them."""
    per = kind_of("length", display).per
    low, high = float(model.stations.min()), float(model.stations.max())
    marks = np.asarray(MaxNLocator(LABELLED, steps=STEPS).tick_values(low / per, high / per))
    return [float(mark * per) for mark in marks if low - 1e-6 <= mark * per <= high + 1e-6]


def first_shown(models: Sequence[Model]) -> int:
    """Return the model to begin with: the port as it is now, the last that was measured; all of one that splits."""
    whole = any(model.part == "whole" for model in models)
    wanted = "whole" if whole else "port"
    ports = [k for k, model in enumerate(models) if model.part == wanted and not model.computed]
    return ports[-1] if ports else 0


def _scale(paints: list[Paint], display: Display) -> Scale:
    paint = paints[0]
    if paint.quantity == "class":
        count = len(paint.classes)
        colours = np.array([matplotlib.colors.to_rgb(CLASS_SHADES[k % len(CLASS_SHADES)]) for k in range(count)])
        shades = colours[np.minimum(np.arange(SHADES) * count // SHADES, count - 1)]
        return Scale(paint, -0.5, count - 0.5, np.arange(count, dtype=float), np.round(255 * shades))
    values = np.concatenate([p.values[np.isfinite(p.values)] for p in paints])
    low, high = float(values.min()), float(values.max())
    if paint.centred:
        high = max(high, LEAST_DEPTH_MM)
        # What scatters about nothing is not metal added, and half a scale would be left for it.
        low = min(low, -LEAST_DEPTH_MM) if low < -NEXT_TO_NOTHING * high else 0.0
    per = kind_of(KIND_OF[paint.quantity], display).per
    bins = 10 if low < 0.0 else 7
    marks = np.asarray(MaxNLocator(bins, steps=STEPS).tick_values(low / per, max(high, low + 1e-6) / per)) * per
    step = marks[1] - marks[0]
    low, high = float(np.floor(low / step + 1e-9) * step), float(np.ceil(high / step - 1e-9) * step)
    marks = np.arange(round(low / step), round(high / step) + 1) * step
    share = np.linspace(0.0, 1.0, SHADES)
    if paint.centred:  # no depth is the middle, and a millimetre as strong a colour on either side of it
        share = 0.5 + 0.5 * np.linspace(low, high, SHADES) / max(-low, high)
    table = matplotlib.colormaps[DIVERGING if paint.centred else MAPS[paint.quantity]](share)
    return Scale(paint, low, high, marks, np.round(255 * table[:, :3]))


def view_data(models: Sequence[Model], scales: Scales, first: int, display: Display) -> dict[str, Any]:
    """Return what the page's script draws from. first : of `models`, shown at first."""
    length = kind_of("length", display)
    marks = round_stations(models[first], display)
    return {
        "first": first,
        "ring": marks[1] - marks[0] if len(marks) > 1 else float(np.ptp(models[first].stations)),
        "length": {"per": length.per, "unit": length.unit, "decimals": length.decimals},
        "paints": [_paint_data(part, scale, display) for (part, _), scale in scales.items()],
        "models": [_model_data(model, scales) for model in models],
    }


def _paint_data(part: str, scale: Scale, display: Display) -> dict[str, Any]:
    kind = kind_of(KIND_OF[scale.paint.quantity], display)
    return {
        "part": part,
        "name": scale.paint.name,
        "label": scale.paint.label,
        "unit": kind.unit,
        "per": kind.per,
        "decimals": kind.decimals,
        "low": scale.low,
        "high": scale.high,
        "marks": scale.marks.tolist(),
        "classes": list(scale.paint.classes),
        "centred": scale.paint.centred,
        "shades": _base64(scale.shades.astype(np.uint8)),
    }


def _model_data(model: Model, scales: Scales) -> dict[str, Any]:
    low = model.vertices.min(axis=0)
    size = float(np.ptp(model.vertices, axis=0).max())
    return {
        "state": model.state,
        "part": model.part,
        "low": low.tolist(),
        "size": size,
        "stations": [float(model.stations.min()), float(model.stations.max())],
        "points": _base64(np.round((model.vertices - low) / size * 65535.0).astype("<u2")),
        "wide": len(model.vertices) > UNKNOWN,
        "faces": _base64(model.faces.astype("<u4" if len(model.vertices) > UNKNOWN else "<u2")),
        "station": _base64(_levels(model.stations, float(model.stations.min()), float(model.stations.max()))),
        "clock": _base64(np.round(model.clocks / 12.0 * LEVELS).astype("<u2")),
        "values": {name: _painted(model, name, scales) for name in paints_of(model, scales)},
    }


def _painted(model: Model, name: str, scales: Scales) -> str:
    scale = scales[model.part, name]
    values = next(paint.values for paint in model.paints if paint.name == name)
    return _base64(_levels(values, scale.low, scale.high))


def _levels(values: FloatArray, low: float, high: float) -> np.ndarray:
    share = np.clip((values - low) / max(high - low, 1e-12), 0.0, 1.0)
    return np.where(np.isnan(values), UNKNOWN, np.round(np.nan_to_num(share) * LEVELS)).astype("<u2")


def _base64(values: np.ndarray) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")
