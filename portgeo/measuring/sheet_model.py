"""A sheet's port as a function of what its readings may be off by, quick enough to try hundreds of times.

Readings come in; areas, volumes, least areas and side lines under many errors at once go out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from portgeo.core.angle_readings import ANGLES
from portgeo.core.centreline import at
from portgeo.core.correspond import correspond
from portgeo.core.cubic import cubic_through, monotone_slopes
from portgeo.core.headings import AngleFit, fit_headings, fit_heights
from portgeo.core.plane import FloatArray, areas_and_centroids
from portgeo.core.section import Reading, outline_of
from portgeo.core.surface import Surface, outlines_at, spine_of, surface_on
from portgeo.measuring.bends import BendPlane
from portgeo.measuring.sides import WallLines, inward_of

COARSE_CHORD_MM = 0.05  # outlines of the trials: only differences between them are used
ROUNDING = 1e-6  # of the length: stations closer than this are one
PLANES = 121  # of a trial, the rows' own besides
NUDGE_MM = 0.01  # that a reading is moved by to see what its outline does
CORNER_NUDGE_MM = 0.5  # of a corner: its arcs are drawn in chords, and a step far under their error is lost in it
Measure = str  # height, width, corner, corner_roof, corner_floor, rise, shift


@dataclass(frozen=True)
class Model:
    """The port at close stations (p,), and what each measure of its sections does to it.

    fits : how headings run, within their doubt, and heights that were read off points. rows (n,) : stations of the
    rows. names : of the k measures. values : of each measure and heading at the rows (n,), nan where a row has none.
    lofted : the same between them as the loft has it (p,). area (p,), linear (p, k) and square (p, k, k) : the area
    is a quadratic of the measures' changes. moment (p,), per_move (p, k) : what a turn takes from a slab's volume, of
    its area. frames : of the centreline. outlines (p, m, 2), steps (k, p, m, 2) : the sections, and what a unit of
    each measure does to them.
    """

    readings: tuple[Reading, ...]
    fits: dict[str, AngleFit]
    stations: FloatArray
    rows: FloatArray
    names: tuple[Measure, ...]
    values: dict[Measure, FloatArray]
    lofted: dict[Measure, FloatArray]
    area: FloatArray
    linear: FloatArray
    square: FloatArray
    moment: FloatArray
    per_move: FloatArray
    frames: FloatArray
    outlines: FloatArray
    steps: FloatArray

    def areas(self, moves: FloatArray) -> FloatArray:
        """Return areas (count, p) under changes of the measures (count, p, k)."""
        linear = np.einsum("npk,pk->np", moves, self.linear)
        return np.asarray(self.area + linear + np.einsum("npk,pkl,npl->np", moves, self.square, moves))

    def volumes(self, moves: FloatArray, stretch: FloatArray) -> FloatArray:
        """Return volumes (count,) under changes of the measures and of the distances (count, p), by Pappus."""
        weight = np.gradient(self.stations)
        weight[[0, -1]] /= 2.0
        taken = self.moment + np.einsum("npk,pk->np", moves, self.per_move)  # by the turn, of each slab's area
        return np.asarray((self.areas(moves) * (weight * (1.0 + stretch) - taken)).sum(axis=1))

    def side_of(self, plane: BendPlane, inner: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return a side's depth off the centreline (p,), what each measure adds (p, k), and headings (p,)."""
        inward = inward_of(self.frames, plane) * (1.0 if inner else -1.0)
        in_plane = np.einsum("kij,kj->ki", self.frames[:, 1:], inward)
        depth = np.einsum("pmi,pi->pm", self.outlines, in_plane)
        deepest = depth.argmax(axis=1)
        place = np.arange(len(depth))
        adds = np.einsum("kpi,pi->pk", self.steps[:, place, deepest], in_plane)
        heading = np.unwrap(np.arctan2(self.frames[:, 0] @ plane.aside, self.frames[:, 0] @ plane.ahead))
        return depth[place, deepest], adds, heading

    def side_lines(
        self, plane: BendPlane, inner: bool, moves: FloatArray, stretch: FloatArray, turns: FloatArray
    ) -> WallLines:
        """Return side lines (count, p, 2), along the entry and inward, under changes of everything.

        turns (count, p) : changes of the heading in the plane, radians.
        """
        depth, adds, heading = self.side_of(plane, inner)
        moved = depth + np.einsum("npk,pk->np", moves, adds)
        angle = heading + turns
        ahead = np.stack([np.cos(angle), np.sin(angle)], axis=2)
        step = np.diff(self.stations)[:, None] * (1.0 + (stretch[:, 1:] + stretch[:, :-1]) / 2.0)[:, :, None]
        middle = np.concatenate(
            [np.zeros((len(turns), 1, 2)), np.cumsum(step * (ahead[:, 1:] + ahead[:, :-1]) / 2.0, axis=1)], axis=1
        )
        inward = np.stack([-ahead[..., 1], ahead[..., 0]], axis=2) * (1.0 if inner else -1.0)
        return WallLines(middle, moved, inward)


def model_of(readings: Sequence[Reading]) -> Model:
    """Return the model of a sheet's port."""
    names = tuple(_measures(readings))
    moved = [_MOVED[name](r) for name in names for r in readings]
    outlines = [
        outline_of(r, COARSE_CHORD_MM) + np.array([r.shift, r.rise]) for r in (*readings, *(m[0] for m in moved))
    ]
    rows = [r.row for r in readings]
    stack = correspond(outlines, rows * (1 + len(names)), COARSE_CHORD_MM)
    count, shape = len(readings), stack.shape[1:]
    spine, nodes = spine_of(readings)
    surface = surface_on(stack[:count], spine, nodes, tuple(rows))
    planes = np.linspace(nodes[0], nodes[-1], PLANES)
    # A plane that is a row's own but for rounding would make a step of nothing, and slopes over it without bounds.
    beside = np.abs(planes[:, None] - nodes).min(axis=1) > ROUNDING * (nodes[-1] - nodes[0])
    stations = np.union1d(planes[beside], nodes)
    base = outlines_at(surface, stations)
    by = np.array([m[1] for m in moved]).reshape(len(names), count)
    steps = (stack[count:].reshape(len(names), count, *shape) - surface.outlines) / by[:, :, None, None]
    along = np.roll(surface.outlines, -1, axis=1) - np.roll(surface.outlines, 1, axis=1)
    along /= np.maximum(np.linalg.norm(along, axis=2, keepdims=True), 1e-300)
    for k, name in enumerate(names):
        if name.startswith("corner"):
            # Points that only slide along the wall change nothing, but a nudge makes much of it.
            steps[k] -= np.einsum("nmi,nmi->nm", steps[k], along)[..., None] * along
    between = np.array([_linear(nodes, step, stations) for step in steps]).reshape(len(names), *base.shape)
    area, centroid = areas_and_centroids(base)
    _, frames = at(spine, stations)
    change = np.diff(frames[:, 0], axis=0)
    turning = np.zeros_like(frames[:, 0])
    turning[1:] += change / 2.0
    turning[:-1] += change / 2.0
    left, up = (np.einsum("pi,pi->p", frames[:, j], turning) for j in (1, 2))
    per_move = np.column_stack([left if name == "shift" else up if name == "rise" else 0.0 * up for name in names])
    linear = np.column_stack([2.0 * _cross(base, step) for step in between])
    square = np.array([[_cross(one, other) for other in between] for one in between]).transpose(2, 0, 1)
    values = {name: _values(readings, name) for name in (*names, *ANGLES)}
    fits = fit_headings(readings)
    heights = fit_heights(readings)
    if heights is not None:
        fits["height"] = heights
    lofted = {name: _lofted(surface, stations, values[name]) for name in names}
    lofted |= {
        name: fits[name].told(stations) if name in fits else np.interp(stations, nodes, values[name]) for name in ANGLES
    }
    return Model(
        readings=tuple(readings),
        fits=fits,
        stations=stations,
        rows=nodes,
        names=names,
        values=values,
        lofted=lofted,
        area=area,
        linear=linear,
        square=square,
        moment=centroid[:, 0] * left + centroid[:, 1] * up,
        per_move=per_move,
        frames=frames,
        outlines=base,
        steps=between,
    )


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return half of the mixed area (k,) of stacked polygons (k, m, 2): with itself, an area."""
    after = np.roll(second, -1, axis=1)
    before = np.roll(second, 1, axis=1)
    span = after - before
    return np.asarray((first[..., 0] * span[..., 1] - first[..., 1] * span[..., 0]).sum(axis=1) / 4.0)


def _linear(nodes: FloatArray, values: FloatArray, stations: FloatArray) -> FloatArray:
    k = np.clip(np.searchsorted(nodes, stations, side="right") - 1, 0, len(nodes) - 2)
    share = ((stations - nodes[k]) / (nodes[k + 1] - nodes[k]))[:, None, None]
    return np.asarray(values[k] * (1.0 - share) + values[k + 1] * share)


def _lofted(surface: Surface, stations: FloatArray, values: FloatArray) -> FloatArray:
    """Return a measure (p,) of sections between rows as the loft has it, by its cubic."""
    known = np.isfinite(values)
    if known.sum() < 2:
        return np.full(len(stations), float(np.nanmean(values)))
    rows, read = surface.stations[known], values[known]
    cubic = cubic_through(rows, read, monotone_slopes(rows, read))
    return cubic.at(np.clip(stations, rows[0], rows[-1]))


def _measures(readings: Sequence[Reading]) -> list[Measure]:
    """Return which measures of its sections a sheet holds: a column that nobody filled in was not read."""
    names = ["height", "width"]
    if any(r.shape == "rect" and max(r.corner_roof, r.corner_floor) > 0.0 for r in readings):
        alike = all(r.corner_roof == r.corner_floor for r in readings)
        names += ["corner"] if alike else ["corner_roof", "corner_floor"]
    return [*names, *(name for name in ("rise", "shift") if any(getattr(r, name) for r in readings))]


def _values(readings: Sequence[Reading], name: Measure) -> FloatArray:
    """Return a measure at the rows (n,), nan where a row has none."""
    if not name.startswith("corner"):
        return np.array([getattr(r, name) for r in readings], dtype=float)
    own = "corner_roof" if name == "corner" else name
    return np.array(
        [getattr(r, own) if r.shape == "rect" else r.height / 2.0 if r.shape == "round" else np.nan for r in readings]
    )


def _scaled(reading: Reading, axis: int) -> tuple[Reading, float]:
    """Return a reading that is wider (axis 0) or higher by NUDGE_MM, and by how much."""
    name = ("width", "height")[axis]
    size = getattr(reading, name)
    if reading.outline is not None:
        scale = np.ones(2)
        scale[axis] = 1.0 + NUDGE_MM / size
        return replace(reading, outline=reading.outline * scale), NUDGE_MM
    if reading.shape == "round":
        reading = replace(reading, shape="oval")
    return (replace(reading, height=size + NUDGE_MM) if axis else replace(reading, width=size + NUDGE_MM)), NUDGE_MM


def _cornered(reading: Reading, names: tuple[str, ...]) -> tuple[Reading, float]:
    """Return a reading with corners less round by CORNER_NUDGE_MM, or more where they are sharp."""
    if reading.shape == "round":
        half = reading.height / 2.0
        reading = replace(reading, shape="rect", width=reading.height, corner_roof=half, corner_floor=half)
    if reading.shape != "rect":
        return reading, CORNER_NUDGE_MM
    by = -CORNER_NUDGE_MM if min(getattr(reading, name) for name in names) > CORNER_NUDGE_MM else CORNER_NUDGE_MM
    changed: dict[str, Any] = {name: getattr(reading, name) + by for name in names}
    return replace(reading, **changed), by


def _offset(reading: Reading, name: str) -> tuple[Reading, float]:
    changed: dict[str, Any] = {name: getattr(reading, name) + NUDGE_MM}
    return replace(reading, **changed), NUDGE_MM


_MOVED: dict[Measure, Callable[[Reading], tuple[Reading, float]]] = {
    "height": lambda r: _scaled(r, 1),
    "width": lambda r: _scaled(r, 0),
    "corner": lambda r: _cornered(r, ("corner_roof", "corner_floor")),
    "corner_roof": lambda r: _cornered(r, ("corner_roof",)),
    "corner_floor": lambda r: _cornered(r, ("corner_floor",)),
    "rise": lambda r: _offset(r, "rise"),
    "shift": lambda r: _offset(r, "shift"),
}
