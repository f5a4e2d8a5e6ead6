"""Pictures of a model drawn by matplotlib alone: for print, for PDF, and where there is no OpenGL.

A Model and a paint's Scale come in; a drawing on axes, or PNG bytes, go out, the same on every machine.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.collections import Collection
from matplotlib.figure import Figure
from matplotlib.path import Path

from portgeo.core.plane import FloatArray
from portgeo.core.triangles import vector_areas
from portgeo.core.units import Display
from portgeo.present.page.models import CLASS_SHADES, KIND_OF, Scale, round_stations
from portgeo.present.pictures.charts import INK, png
from portgeo.present.pictures.model import Model
from portgeo.results.kinds import kind_of

# From the right wall's side, a little ahead and below: the flow runs to the right, the floor is seen. Where only part
# of a wall is known the picture is taken from where most of that is seen: from there, or from below or above.
CAMERAS = np.array([[-0.3, -1.0, -0.55], [-0.2, -0.7, -1.0], [-0.2, -0.7, 1.0]])
LIGHT = np.array([-0.35, 0.45, 0.82])  # right, up, towards the viewer
AMBIENT = 0.35  # of the light, on a wall that is turned right away from it
SEAM = 0.4  # points: width of the edge that closes the hairline between two triangles
FIGURE_INCHES = 0.075  # along a scale, of one letter of its marks' figures
PICTURE_INCHES, PICTURE_DPI = (6.4, 4.2), 150


def _camera(model: Model, values: FloatArray) -> FloatArray:
    """Return the direction (3,) from which most of what is known of a paint is seen, the usual one where all is."""
    known = model.faces[np.isfinite(values[model.faces]).all(axis=1)]
    if len(known) == len(model.faces):
        return CAMERAS[0]
    turned_to = vector_areas(model.vertices, known) @ (CAMERAS / np.linalg.norm(CAMERAS, axis=1)[:, None]).T
    return CAMERAS[np.argmax(np.maximum(turned_to, 0.0).sum(axis=0))]


def _screen(camera: FloatArray) -> FloatArray:
    """Return the rows right, up and towards the viewer (3, 3)."""
    towards = camera / np.linalg.norm(camera)
    right = np.cross(-towards, (0.0, 0.0, 1.0))
    right = right / np.linalg.norm(right)
    return np.array([right, np.cross(towards, right), towards])


class _Triangles(Collection):
    """Triangles (n, 3, 2) as places of one: thousands of paths would take longer to make than to draw."""

    ONE = Path([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.0, 0.0)], closed=True)

    def __init__(self, corners: FloatArray, **drawn: Any) -> None:
        nowhere: Any = np.zeros((len(corners), 2))  # as many are drawn as there are offsets
        super().__init__(offsets=nowhere, **drawn)
        self._paths = [self.ONE]
        self._transforms = np.zeros((len(corners), 3, 3))  # of (x, y, 1), as matplotlib's own affine ones
        self._transforms[:, :2, 2] = corners[:, 0]
        self._transforms[:, :2, :2] = (corners[:, 1:] - corners[:, :1]).transpose(0, 2, 1)
        self._transforms[:, 2, 2] = 1.0


def draw_model(axes: Any, model: Model, scale: Scale, display: Display, *, raster: bool = False) -> None:
    """Draw a model painted by a scale's paint, with labels at round stations. raster : triangles as pixels."""
    paint = next(paint for paint in model.paints if paint.name == scale.paint.name)
    screen = _screen(_camera(model, paint.values))
    seen = model.vertices @ screen.T
    corners = seen[model.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    normal = normal * np.where(normal[:, 2:] < 0.0, -1.0, 1.0)  # both sides are lit: an open end is looked into
    # Half of a turn from the light is dark, not a quarter: the floor's paint is to be read.
    light = AMBIENT + (1.0 - AMBIENT) * (0.5 + 0.5 * normal @ (LIGHT / np.linalg.norm(LIGHT)))
    at_corners = paint.values[model.faces]
    value = np.median(at_corners, axis=1) if paint.quantity == "class" else at_corners.mean(axis=1)
    colour = scale.colour(value) * light[:, None]
    order = np.argsort(corners[:, :, 2].mean(axis=1), kind="stable")
    triangles = _Triangles(
        corners[order, :, :2], facecolors=colour[order], edgecolors=colour[order], linewidths=SEAM, rasterized=raster
    )
    axes.add_collection(triangles, autolim=False)  # the limits are told below
    low, high = seen[:, :2].min(axis=0), seen[:, :2].max(axis=0)
    spare = 0.09 * (high - low).max()
    axes.set_xlim(low[0] - spare, high[0] + spare)
    axes.set_ylim(low[1] - spare, high[1] + spare)
    axes.set_aspect("equal")
    axes.set_axis_off()
    _label_stations(axes, model, seen, spare, display)


def _label_stations(axes: Any, model: Model, seen: FloatArray, spare: float, display: Display) -> None:
    per = kind_of("length", display).per
    reach = float(np.ptp(model.stations)) / 40.0
    for station in round_stations(model, display):
        ring = seen[np.abs(model.stations - station) < reach]
        if len(ring) == 0:  # a scan's junction, which no section crosses
            continue
        centre = ring.mean(axis=0)
        top = ring[np.argmax(ring @ np.array([0.25, 1.0, 0.0]))]
        away = top[:2] - centre[:2]
        x, y = top[:2] + 0.4 * spare * away / max(float(np.linalg.norm(away)), 1e-9)
        axes.text(x, y, f"{station / per:g}", ha="center", va="center", fontsize=8, color=INK)


def draw_scale(axes: Any, scale: Scale, display: Display) -> None:
    """Draw a paint's scale: a bar with its marks, or its classes."""
    kind = kind_of(KIND_OF[scale.paint.quantity], display)
    label = scale.paint.label + (f", {kind.unit}" if kind.unit else "")
    if scale.paint.classes:
        for k, name in enumerate(scale.paint.classes):
            axes.barh([0], [1], left=[k], color=CLASS_SHADES[k % len(CLASS_SHADES)])
            axes.text(k + 0.5, -0.6, name, ha="center", va="top", fontsize=8, parse_math=False)
        axes.set_xlim(0, len(scale.paint.classes))
        axes.set_ylim(-0.4, 0.4)
        axes.set_axis_off()
    else:
        low, high = scale.low / kind.per, scale.high / kind.per
        axes.imshow(scale.shades[None].astype(np.uint8), extent=(low, high, 0.0, 1.0), aspect="auto")
        axes.set_yticks([])
        marks = scale.marks / kind.per
        bar = axes.get_position().width * axes.figure.get_figwidth()
        longest = max(len(f"{mark:.4g}") for mark in marks) + 1
        every = int(np.ceil(len(marks) * longest * FIGURE_INCHES / bar))  # no figure runs into the next
        axes.set_xticks(marks[np.argmin(np.abs(marks)) % every :: every])  # zero among them
        axes.tick_params(labelsize=8, color=INK, labelcolor=INK)
        axes.spines[:].set_visible(False)
    axes.set_title(label, fontsize=9, color=INK, loc="left", parse_math=False)


def model_png(model: Model, scale: Scale, display: Display) -> bytes:
    """Return a picture of a model with its scale, as PNG."""
    figure = Figure(figsize=PICTURE_INCHES, dpi=PICTURE_DPI)
    draw_model(figure.add_axes((0.0, 0.14, 1.0, 0.86)), model, scale, display)
    draw_scale(figure.add_axes((0.25, 0.08, 0.5, 0.035)), scale, display)
    return png(figure)
