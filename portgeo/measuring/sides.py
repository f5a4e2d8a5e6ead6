"""Short side and long side of a bend: the lines along its inner and its outer wall, and how tightly they turn.

Sections along a port and a bend's plane come in; the line of each side and its circles go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.grain import Roughness
from portgeo.core.plane import FloatArray
from portgeo.core.section import Section, areas_of
from portgeo.measuring.bends import TURN_FROM, TURN_TO, BendPlane
from portgeo.measuring.curvature import (
    LEAST_WINDOW,
    BentLines,
    bent_lines,
    headings_and_curvatures,
    quick_radii_of,
    smoothed,
)
from portgeo.measuring.mouth import off_mouths

BAND = 0.1  # of a section's width, to each side of its innermost point: floor that places it
BAND_AT = np.linspace(-1.0, 1.0, 17)  # places across the band, of half its width
BAND_FIT = np.linalg.pinv(np.vander(BAND_AT, 3, increasing=True))  # of a parabola to the depths there
ALONG = 400  # points at equal steps on a side line
SMOOTHED = 0.1  # of the height: over which curvature is taken
# A parabola's window as wide as a plain mean over a width of one: their weights have the same variance, (1 / 12)
# and (1 / 28) of the window squared.
PARABOLA = float(np.sqrt(28.0 / 12.0))
CUBIC = 12.0  # over the distance of rows squared: the curvature of a cubic that comes to rest at two rows 2 apart
CURVATURE_ERROR = 0.1  # of the greatest: windows grow until noise moves curvatures by no more
GROWTH = 1.2
BESIDE = 0.1  # of the stretch that does the turning, to each side of it: there a bend may still be bent
LEAST_POINTS = 5
HEIGHTS = 21  # places in a bend whose heights make its usual one
NOT_A_CIRCLE = 1.0 / 20.0  # of the radius: a line farther off its circle has the tightest radius for its headline
TRIALS = 100  # of a noisy side: five lie beyond the 95 % that count
SEED = 20260  # any number, so that the same scan gives the same answer


@dataclass(frozen=True)
class RowNoise:
    """How far points of a side that was read at rows are off, one standard deviation, and how far rows are apart."""

    sigma: float
    reach: float


@dataclass(frozen=True)
class WallLines:
    """Lines of a wall off the middle of its sections: middle (..., d), depth (...,) off it, inward (..., d) unit."""

    middle: FloatArray
    depth: FloatArray
    inward: FloatArray

    @property
    def points(self) -> FloatArray:
        """Of the wall (..., d)."""
        return np.asarray(self.middle + self.depth[..., None] * self.inward)


@dataclass(frozen=True)
class Side:
    """One side of a bend: radii, angle (radians), stations between which it is really bent, apex (3,).

    `radius` is the least-squares circle over the part whose curvature is at least half of the
    greatest, `least_radius` the smallest over any 30 degrees of turning, `centre` (3,) and `fit_rms`
    the circle's; `line` (n, 3) and `line_stations` (n,) the whole side line, on the wall. `radius_u`,
    `least_radius_u` : standard uncertainties. station_from, station_to : 5 % and 95 % of what the
    bent part turns. window : length of the side over which its curvature is taken. evened : over which
    its depths off the middle are evened out first, where they were read at rows.
    """

    radius: float
    radius_u: float
    least_radius: float
    least_radius_u: float
    turn: float
    station_from: float
    station_to: float
    apex: FloatArray
    apex_station: float
    centre: FloatArray
    fit_rms: float
    line: FloatArray
    line_stations: FloatArray
    window: float
    evened: float

    @property
    def is_round(self) -> bool:
        """Whether one circle fits the bent part; else the tightest radius is what to go by."""
        return self.fit_rms <= NOT_A_CIRCLE * self.radius

    @property
    def headline_name(self) -> str:
        """What the radius to go by is called."""
        return "radius" if self.is_round else "tightest radius"

    @property
    def headline(self) -> float:
        """The radius to go by."""
        return self.radius if self.is_round else self.least_radius

    @property
    def headline_u(self) -> float:
        """The standard uncertainty of the radius to go by."""
        return self.radius_u if self.is_round else self.least_radius_u


def like_radii(*sides: Side) -> tuple[str, tuple[float, ...], tuple[float, ...]]:
    """Return what radius sides are compared by, as it is called, each side's, and its standard uncertainty.

    That is of like with like: where any of them is not round, the tightest of all.
    """
    if all(side.is_round for side in sides):
        return "radius", tuple(side.radius for side in sides), tuple(side.radius_u for side in sides)
    radii = tuple(side.least_radius for side in sides)
    return "tightest radius", radii, tuple(side.least_radius_u for side in sides)


def side_points(sections: Sequence[Section], plane: BendPlane, inner: bool) -> FloatArray:
    """Return the innermost (or outermost) point (n, 3) of each section, seen in the plane of a bend.

    A parabola through the wall beside the extreme point places it, so that roughness of the mesh
    moves it little.
    """
    frames = np.array([section.frame for section in sections])
    inward = inward_of(frames, plane) * (1.0 if inner else -1.0)
    # What a step left and a step up in a section are inward and along the axis.
    to_depth, to_aside = np.einsum("kij,kj->ki", frames[:, 1:], inward), frames[:, 1:] @ plane.axis
    outlines = _stacked([section.outline for section in sections])
    reach = _extremes((outlines @ to_depth[:, :, None])[..., 0], (outlines @ to_aside[:, :, None])[..., 0])
    sideways = np.cross(frames[:, 0], inward)
    sideways *= np.sign(sideways @ plane.axis)[:, None]
    # A step along the section's own sideways goes farther than it does along the axis, where the port is askew.
    askew = np.maximum(sideways @ plane.axis, 0.1)
    origins = np.array([section.origin for section in sections])
    return origins + reach[:, :1] * inward + (reach[:, 1] / askew)[:, None] * sideways


def inward_of(frames: FloatArray, plane: BendPlane) -> FloatArray:
    """Return the ways (n, 3) that lie in sections of frames (n, 3, 3) towards the inside of a bend."""
    inward = np.cross(plane.axis, frames[:, 0])
    # Where another bend leads along the axis a section has no inside of this one.
    return np.asarray(inward / np.maximum(np.linalg.norm(inward, axis=1, keepdims=True), 1e-9))


def _stacked(outlines: Sequence[FloatArray]) -> FloatArray:
    """Return outlines (k, 2) as one array (n, m, 2), the shorter with their last point again and again."""
    most = max(len(outline) for outline in outlines)
    if any(len(outline) != most for outline in outlines):
        outlines = [np.concatenate([o, np.repeat(o[-1:], most - len(o), axis=0)]) for o in outlines]
    return np.array(outlines)


def _extremes(depth: FloatArray, aside: FloatArray) -> FloatArray:
    """Return the greatest depths of outlines, by a parabola over a band of their innermost wall, and where (n, 2).

    depth, aside (n, m) : of the outlines' points.
    """
    deepest, half = depth.max(axis=1), BAND * np.ptp(aside, axis=1)
    on_wall = depth > ((deepest + depth.min(axis=1)) / 2.0)[:, None]
    # A flat wall has one extreme as good as another: the band is about the middle of the nearly deepest.
    level = on_wall & (depth > (deepest - half / 4.0)[:, None])
    low, high = np.where(level, aside, np.inf).min(axis=1), np.where(level, aside, -np.inf).max(axis=1)
    middle = (low + high) / 2.0
    depths = np.empty((len(depth), len(BAND_AT)))
    for k, wall in enumerate(on_wall):
        x, y = aside[k, wall], depth[k, wall]
        order = np.argsort(x, kind="stable")
        depths[k] = np.interp(middle[k] + half[k] * BAND_AT, x[order], y[order])
    c, b, a = BAND_FIT @ depths.T
    crowned = (a < 0) & (np.abs(b) < -2.0 * a)
    with np.errstate(divide="ignore", invalid="ignore"):
        top = c - b * b / (4.0 * a), middle - half * b / (2.0 * a)
    return np.column_stack([np.where(crowned, top[0], c), np.where(crowned, top[1], middle)])


@dataclass(frozen=True)
class _SideLine:
    """A side in the plane of its bend: at ALONG equal `step`s its points (n, 2), and which point of the side it is.

    turning : the points among which it may be bent.
    """

    points: FloatArray
    step: float
    place: FloatArray
    turning: slice


def _flat(stations: FloatArray, points: FloatArray, plane: BendPlane) -> _SideLine | None:
    """Return a side line of points (n, 3) at stations (n,) in its bend's plane, None where it has no length."""
    own = np.flatnonzero((stations >= plane.begin) & (stations <= plane.end))
    flat = np.column_stack([points[own] @ plane.ahead, points[own] @ plane.aside])
    step = np.linalg.norm(np.diff(flat, axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(step)])
    if length[-1] == 0.0:
        return None
    keep = np.concatenate([[True], step > 1e-9 * length[-1]])
    along = np.linspace(0.0, length[-1], ALONG)
    line = np.column_stack([np.interp(along, length[keep], flat[keep, k]) for k in range(2)])
    at_station = np.interp(along, length[keep], stations[own[keep]])
    beside = BESIDE * (plane.turns_to - plane.turns_from)
    ends = np.searchsorted(at_station, [plane.turns_from - beside, plane.turns_to + beside])
    first = min(int(ends[0]), ALONG - LEAST_POINTS)
    turning = slice(first, max(int(ends[1]), first + LEAST_POINTS))
    return _SideLine(line, float(along[1]), np.interp(along, length[keep], own[keep].astype(float)), turning)


def _evening(depths: FloatArray, window: int) -> FloatArray:
    """Return what evens out depths (t, n) at equal steps: each goes to the parabola about it, over a window of points.

    Twice, so that no point comes into the window at a jump: curvature would make much of that.
    """
    return np.asarray(smoothed(smoothed(depths.T[None], window), window)[0].T - depths)


def many_radii(
    stations: FloatArray, lines: WallLines, plane: BendPlane, window: float, evened: float
) -> tuple[FloatArray, FloatArray]:
    """Return the radii and the tightest radii (t,) of many side lines of one bend, the first the one that is told.

    stations (n,), lines (t, n, 2) : along the heading before the bend and inward. window, evened : of the side. For
    trials by the hundred: the figures that `side` gives, quickly. Where the bend is looked for is where the first
    line has it.
    """
    own = np.flatnonzero((stations >= plane.begin) & (stations <= plane.end))
    points = lines.points
    flat = points[:, own, 0] + 1j * points[:, own, 1]  # a complex number a point: both coordinates in one interpolation
    length = np.concatenate([np.zeros((len(flat), 1)), np.cumsum(np.abs(np.diff(flat, axis=1)), axis=1)], axis=1)
    shares = np.linspace(0.0, 1.0, ALONG)
    places = (np.interp(shares * at[-1], at, line) for at, line in zip(length, flat, strict=True))
    even = np.array(list(places)).view(float).reshape(len(points), ALONG, 2)
    first = _flat(stations, points[0][:, :1] * plane.ahead + points[0][:, 1:] * plane.aside, plane)
    if first is None:
        return np.full(len(points), np.nan), np.full(len(points), np.nan)
    depth, inward = (
        np.array([np.interp(shares * at[-1], at, line) for at, line in zip(length, each[:, own], strict=True)])
        for each in (lines.depth, lines.inward[..., 0] + 1j * lines.inward[..., 1])
    )
    even += _evening(depth, _points(evened, first.step))[..., None] * inward.view(float).reshape(even.shape)
    return quick_radii_of(even, _points(window, first.step), first.turning)


def side(
    stations: FloatArray,
    points: FloatArray,
    plane: BendPlane,
    height: float,
    noise: Roughness | RowNoise | None = None,
    middle: FloatArray | None = None,
) -> Side | None:
    """Return one side of a bend from its line's points (n, 3) at stations (n,), None where it does not turn.

    height : across the port in the plane of the bend. noise : of a scan's mesh, whose curvature is taken over as
    much of the line as its noise asks for, or of rows that were read: then the depths off the `middle` (n, 3) of
    the sections are evened out over so much. Their readings are what is noisy; the way of the
    middle is what bends, and evened out too it would be the straighter for it. What a scan's noise does to the
    radii is tried out on the line smoothed: the part of it that has a sign is taken off, and half of what 95 % of the
    trials stay within is the uncertainty (JCGM 101, 7.7: an interval's coverage, not a standard deviation).
    """
    line = _flat(stations, points, plane)
    if line is None:
        return None
    window = evened = _points(PARABOLA * SMOOTHED * height, line.step)
    at = np.arange(len(stations), dtype=float)
    if isinstance(noise, Roughness):
        window = _quiet_window(line, window, noise, stations, plane)
    elif noise is not None and middle is not None:
        evened = _quiet_window(line, window, noise, stations, plane)
        off = points - middle
        reach = np.column_stack([np.interp(line.place, at, off @ way) for way in (plane.ahead, plane.aside)])
        depth = np.linalg.norm(reach, axis=1)
        share = _evening(depth[None], evened)[0] / np.maximum(depth, 1e-9)
        line = replace(line, points=line.points + share[:, None] * reach)
    bent = bent_lines(line.points[None], window, line.turning)
    a, b = int(bent.first[0]), int(bent.last[0])
    if bent.curvature[0, a : b + 1].max() <= 0.0 or not np.isfinite(bent.radius[0]):
        return None
    lifted = np.column_stack([np.interp(line.place, at, points[:, k]) for k in range(3)])
    station = np.interp(line.place, at, stations)
    heading = bent.heading[0]
    arm = line.points[a : b + 1] - bent.centre[0]
    angle = np.unwrap(np.arctan2(arm[:, 1], arm[:, 0]))
    share = np.maximum.accumulate((angle - angle[0]) / (angle[-1] - angle[0]))
    places = np.interp((TURN_FROM, 0.5, TURN_TO), share, np.arange(a, b + 1.0))
    start, middle, stop = np.interp(places, np.arange(ALONG), station)
    apex = np.array([np.interp(places[1], np.arange(ALONG), lifted[:, k]) for k in range(3)])
    level = float(apex @ plane.axis)
    centre = bent.centre[0, 0] * plane.ahead + bent.centre[0, 1] * plane.aside + level * plane.axis
    whole = Side(
        radius=float(bent.radius[0]),
        radius_u=0.0,
        least_radius=float(bent.least_radius[0]),
        least_radius_u=0.0,
        turn=float(heading[-1] - heading[0]),
        station_from=float(start),
        station_to=float(stop),
        apex=apex,
        apex_station=float(middle),
        centre=centre,
        fit_rms=float(bent.rms[0]),
        line=lifted,
        line_stations=station,
        window=window * line.step,
        evened=evened * line.step,
    )
    told = _with_noise(whole, line, bent, window, noise) if isinstance(noise, Roughness) else whole
    # All of the bent part is one of those that turn so far, where it does. Of what is told, not of each trial: noise
    # that only ever tightens would pass for no noise.
    if heading[b] - heading[a] >= LEAST_WINDOW:
        told = replace(told, least_radius=min(told.least_radius, told.radius))
    return told


def _points(window: float, step: float) -> int:
    """Return the points, an odd number, of a window of a length."""
    return min(max(2 * round(window / step / 2.0) + 1, LEAST_POINTS), ALONG // 2 - 1)


def _quiet_window(
    line: _SideLine, window: int, noise: Roughness | RowNoise, stations: FloatArray, plane: BendPlane
) -> int:
    """Return the window over which noise moves the greatest curvature by CURVATURE_ERROR of itself, if there is one.

    The second derivative of a parabola through n points over a width w has the standard error
    sigma sqrt(720 / n) / w^2; between rows a cubic runs that bends by no more than its ends are off. It is not
    taken over more than the bend's own length, where it would be that of the straight lines beside it.
    """
    turning = np.interp([plane.turns_from, plane.turns_to], stations, np.arange(len(stations), dtype=float))
    longest = float(np.ptp(np.interp(turning, line.place, np.arange(ALONG) * line.step)))
    while GROWTH * window * line.step < longest:
        width = window * line.step
        error = noise.sigma * np.sqrt(720.0 / max(width / noise.reach, 1.0)) / width**2
        if isinstance(noise, RowNoise):
            error = min(error, CUBIC * noise.sigma / noise.reach**2)
        _, curvature = headings_and_curvatures(line.points[None], window)
        if error <= CURVATURE_ERROR * float(curvature[0, line.turning].max()):
            break
        window = 2 * round(GROWTH * window / 2.0) + 1
    return min(window, ALONG // 2 - 1)


def _with_noise(whole: Side, line: _SideLine, bent: BentLines, window: int, rough: Roughness) -> Side:
    """Return a scan's side with what noise does to its radii: bias taken off, uncertainties put in."""
    model = smoothed(line.points[None], window)
    true = bent_lines(model, window, line.turning)
    normal = np.column_stack([-np.sin(bent.heading[0]), np.cos(bent.heading[0])])
    along = np.linspace(0.0, (ALONG - 1) * line.step, ALONG)
    off = rough.drawn(along, TRIALS, np.random.default_rng(SEED))
    trials = bent_lines(model + off[..., None] * normal, window, line.turning)
    radius, radius_u = _unbiased(whole.radius, float(true.radius[0]), trials.radius)
    least, least_u = _unbiased(whole.least_radius, float(true.least_radius[0]), trials.least_radius)
    return replace(whole, radius=radius, radius_u=radius_u, least_radius=least, least_radius_u=least_u)


def _unbiased(value: float, true: float, trials: FloatArray) -> tuple[float, float]:
    """Return a radius with the bias taken off that trials about a true one show, and its uncertainty."""
    shift = np.log(trials[np.isfinite(trials)] / true)
    if len(shift) == 0:
        return value, 0.0
    bias = float(np.median(shift))
    value *= float(np.exp(-bias))
    return value, value * float(np.quantile(np.abs(shift - bias), 0.95)) / 2.0


@dataclass(frozen=True, eq=False)
class Bend:
    """One bend of a port: its plane, its usual height there, its short side (inner wall) and its long side."""

    plane: BendPlane
    height: float
    short: Side
    long: Side | None


def bends_of(
    stations: FloatArray,
    sections: Sequence[Section],
    planes: Sequence[BendPlane],
    noise: Roughness | RowNoise | None = None,
) -> tuple[Bend, ...]:
    """Return the bends of a port with their sides; stations (n,), sections, noise : as in `side`."""
    bends = (bend_of(stations, sections, plane, noise) for plane in planes)
    return tuple(bend for bend in bends if bend is not None)


def bend_of(
    stations: FloatArray, sections: Sequence[Section], plane: BendPlane, noise: Roughness | RowNoise | None = None
) -> Bend | None:
    """Return a bend with its sides, None where its inner wall does not turn."""
    plane = off_mouths(plane, stations, areas_of(sections))
    frames = np.array([section.frame for section in sections])
    inner, outer = (side_points(sections, plane, inner) for inner in (True, False))
    across = np.einsum("ni,ni->n", inner - outer, inward_of(frames, plane))
    # Sections may stand farther apart than a short bend is long.
    height = float(np.interp(np.linspace(plane.turns_from, plane.turns_to, HEIGHTS), stations, across).mean())
    middle = np.array([section.origin for section in sections])
    short, long = (side(stations, points, plane, height, noise, middle) for points in (inner, outer))
    return None if short is None else Bend(plane, height, short, long)
