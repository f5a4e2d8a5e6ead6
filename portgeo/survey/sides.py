"""Short side and long side: the lines along floor and roof in the plane of the turn, and their circles.

Sections along a port come in; the line of each side, where it turns and how tightly go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.plane import FloatArray, fit_circle
from portgeo.section import WALLS, Section

LEAST_TURN = np.radians(5.0)  # a port that turns less has no short side to speak of
TURN_FROM, TURN_TO = 0.05, 0.95  # the part of the whole change of heading that is the turn
LEAST_WINDOW = np.radians(30.0)  # turning over which the least radius is fitted
BAND = 0.1  # of a section's width, to each side of its innermost point: floor that places it
BAND_AT = np.linspace(-1.0, 1.0, 17)  # places across the band, of half its width
BAND_FIT = np.linalg.pinv(np.vander(BAND_AT, 3, increasing=True))  # of a parabola to the depths there
HEADING_ERROR = 0.01  # of the whole turn: windows grow until a heading is known this well
LONGEST_WINDOW = 1.0 / 8.0  # of the line
END_WINDOW = 2.5  # windows: 2.5^1.5 is the 4 by which a parabola's slope is worse at its end
LONGEST_END = 2.0 * LONGEST_WINDOW  # of the line: farther in, the turn itself would bend the end's heading
QUIET = 1e-4  # of the turn: a heading with less error than this needs no longer window
ALONG = 400  # points at equal steps on a side line
TRIALS = 200  # of a noisy side's headings: ten lie beyond the 95 % that count
SEED = 20260  # any number, so that the same scan gives the same answer


@dataclass(frozen=True)
class Roughness:
    """How far points of a scanned side are off: one standard deviation, and the length it holds over."""

    sigma: float
    reach: float


@dataclass(frozen=True)
class TurnPlane:
    """The plane of the turn: axis (3,) turned about, ahead (3,) along the entry, aside (3,) inward."""

    axis: FloatArray
    ahead: FloatArray
    aside: FloatArray
    turn: float


@dataclass(frozen=True)
class Side:
    """One side's turn: radii, angle (radians), stations between which it turns, apex (3,).

    `radius` is the least-squares circle over the turn, `least_radius` the smallest over any 30
    degrees of it, `centre` (3,) and `fit_rms` the circle's, `line` (n, 3) and `line_stations` (n,)
    the whole side line, `radius_u` a standard uncertainty.
    """

    radius: float
    radius_u: float
    least_radius: float
    turn: float
    station_from: float
    station_to: float
    apex: FloatArray
    apex_station: float
    centre: FloatArray
    fit_rms: float
    line: FloatArray
    line_stations: FloatArray


def turn_plane(tangents: FloatArray) -> TurnPlane | None:
    """Return the plane in which directions (n, 3) turn most, None where they turn under 5 degrees."""
    swept = np.cross(tangents[:-1], tangents[1:]).sum(axis=0)
    size = float(np.linalg.norm(swept))
    if size == 0.0:
        return None
    axis = swept / size
    ahead = tangents[0] - (tangents[0] @ axis) * axis
    ahead /= np.linalg.norm(ahead)
    aside = np.cross(axis, ahead)
    angle = np.unwrap(np.arctan2(tangents @ aside, tangents @ ahead))
    turn = float(angle[-1] - angle[0])
    return TurnPlane(axis, ahead, aside, turn) if turn >= LEAST_TURN else None


def inner_wall(frames: FloatArray) -> str:
    """Return which of WALLS the inside of a port's turn is on, of frames (n, 3, 3): the floor of one that does not."""
    plane = turn_plane(frames[:, 0])
    if plane is None:
        return "floor"
    left, up = np.einsum("kij,kj->i", frames[:, 1:], np.cross(plane.axis, frames[:, 0]))
    return WALLS[round(float(np.arctan2(-left, up)) / (np.pi / 2.0)) % 4]


def side_points(sections: Sequence[Section], plane: TurnPlane, inner: bool) -> FloatArray:
    """Return the innermost (or outermost) point (n, 3) of each section, in the plane of the turn.

    A parabola through the wall beside the extreme point places it, so that roughness of the mesh
    moves it little.
    """
    frames = np.array([section.frame for section in sections])
    inward = np.cross(plane.axis, frames[:, 0])
    inward /= np.linalg.norm(inward, axis=1, keepdims=True) * (1.0 if inner else -1.0)
    # What a step left and a step up in a section are inward and along the axis.
    to_depth, to_aside = np.einsum("kij,kj->ki", frames[:, 1:], inward), frames[:, 1:] @ plane.axis
    reach = [
        _extreme(section.outline @ to_depth[k], section.outline @ to_aside[k]) for k, section in enumerate(sections)
    ]
    found = np.array([section.origin for section in sections]) + np.array(reach)[:, None] * inward
    return found - (found @ plane.axis)[:, None] * plane.axis


def _extreme(depth: FloatArray, aside: FloatArray) -> float:
    """Return the greatest depth of an outline, by a parabola over a band of its innermost wall."""
    deepest = int(np.argmax(depth))
    half = BAND * float(aside.max() - aside.min())
    on_wall = depth > (depth.max() + depth.min()) / 2.0
    # A flat wall has one extreme as good as another: the band is about the middle of the nearly deepest.
    level = on_wall & (depth > depth[deepest] - half / 4.0)
    middle = (aside[level].min() + aside[level].max()) / 2.0
    order = np.argsort(aside[on_wall], kind="stable")
    c, b, a = BAND_FIT @ np.interp(middle + half * BAND_AT, aside[on_wall][order], depth[on_wall][order])
    if a < 0 and abs(b) < -2.0 * a:
        return float(c - b * b / (4.0 * a))
    return float(c)


@dataclass(frozen=True)
class Turn:
    """Where a side line turns: the line at equal steps, and its stretch from 5 % to 95 % of the change.

    along, station, heading (n,); line (n, 2), along the entry and inward; first, last : the turn is
    line[first:last + 1]. window : points over which headings were read. noise : scatter of one
    section's point. spacing : between sections. quiet : noise puts the headings next to nothing off.
    """

    along: FloatArray
    station: FloatArray
    line: FloatArray
    heading: FloatArray
    window: int
    first: int
    last: int
    noise: float
    spacing: float
    quiet: bool

    @property
    def points(self) -> FloatArray:
        """Points (k, 2) of the turn."""
        return self.line[self.first : self.last + 1]


def find_turn(
    stations: FloatArray, points: FloatArray, plane: TurnPlane, rough: Roughness | None = None
) -> Turn | None:
    """Return where a side line of points (n, 3) at stations (n,) turns, None where it does not.

    rough : of a scan's mesh, whose sections close together share their triangles and so their errors.
    The turn runs from the last point before its middle whose heading is at 5 % of the whole change
    to the first after it at 95 %.
    """
    flat = np.column_stack([points @ plane.ahead, points @ plane.aside])
    step = np.linalg.norm(np.diff(flat, axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(step)])
    if length[-1] == 0.0:
        return None
    keep = np.concatenate([[True], step > 1e-9 * length[-1]])
    along = np.linspace(0.0, length[-1], ALONG)
    line = np.column_stack([np.interp(along, length[keep], flat[keep, k]) for k in range(2)])
    noise, spacing = _scatter(flat), float(step.mean())
    if rough is not None:
        noise, spacing = max(noise, rough.sigma), max(spacing, rough.reach)
    window, quiet = _heading_window(along, noise, plane.turn, spacing)
    slope = _slopes(along, line, window, quiet)
    heading = np.unwrap(np.arctan2(slope[:, 1], slope[:, 0]))
    change = heading[-1] - heading[0]
    if abs(change) < LEAST_TURN:
        return None
    first, last = _limits(heading)
    at_station = np.interp(along, length[keep], stations[keep])
    return (
        Turn(along, at_station, line, heading, window, first, last, noise, spacing, quiet)
        if last - first >= 3
        else None
    )


def _limits(heading: FloatArray) -> tuple[int, int]:
    """Return the last place before the middle of a turn that is at its beginning, and the first past it at its end."""
    share = (heading - heading[0]) / (heading[-1] - heading[0])
    middle = int(np.flatnonzero((share[:-1] < 0.5) & (share[1:] >= 0.5))[-1])
    before = np.flatnonzero(share[: middle + 1] <= TURN_FROM)
    after = np.flatnonzero(share[middle:] >= TURN_TO)
    return int(before[-1]) if len(before) else 0, middle + int(after[0]) if len(after) else len(share) - 1


def side(stations: FloatArray, points: FloatArray, plane: TurnPlane, rough: Roughness | None = None) -> Side | None:
    """Return a side's turn from its line's points (n, 3) at stations (n,), None where it has none."""
    turn = find_turn(stations, points, plane, rough)
    if turn is None:
        return None
    a, b = turn.first, turn.last
    fit = fit_circle(turn.points)
    half_way = (turn.heading[0] + turn.heading[-1]) / 2.0
    apex = a + int(np.argmin(np.abs(turn.heading[a : b + 1] - half_way)))
    level = float(points[0] @ plane.axis)

    def lift(p: FloatArray) -> FloatArray:
        return p[..., :1] * plane.ahead + p[..., 1:] * plane.aside + level * plane.axis

    independent = max((turn.along[b] - turn.along[a]) / max(turn.spacing, float(turn.along[1])), 4.0)
    return Side(
        radius=fit.radius,
        radius_u=float(
            np.hypot(_radius_u(turn.points, fit.centre, turn.noise, independent), _limits_u(turn, fit.radius))
        ),
        least_radius=_least_radius(
            _windowed(turn.line, turn.window, 0)[a : b + 1], turn.heading[a : b + 1], fit.radius
        ),
        turn=abs(float(turn.heading[-1] - turn.heading[0])),
        station_from=float(turn.station[a]),
        station_to=float(turn.station[b]),
        apex=lift(turn.line[apex]),
        apex_station=float(turn.station[apex]),
        centre=lift(fit.centre),
        fit_rms=fit.rms,
        line=lift(turn.line),
        line_stations=turn.station,
    )


def _scatter(flat: FloatArray) -> float:
    """Return the noise of a line's points: the median third difference, scaled to one point's.

    Third differences let smooth curves pass; 20 is the sum of squares of 1, 3, 3, 1, and 0.6745 the
    median of a standard normal's size.
    """
    if len(flat) < 8:
        return 0.0
    third = np.diff(flat, n=3, axis=0)
    ahead = flat[2:-1] - flat[1:-2]
    normal = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    return float(np.median(np.abs((third * normal).sum(axis=1))) / 0.6745 / np.sqrt(20.0))


def _heading_window(along: FloatArray, noise: float, turn: float, spacing: float) -> tuple[int, bool]:
    """Return the window, an odd number of points, that headings are read over, and whether noise is next to none.

    It is the shortest whose heading's standard error stays under 1 % of the turn, up to an eighth of
    the line.
    """
    width = min(max(4.0 * spacing, 4.0 * along[1]), along[-1] / 2.0)
    # A straight line's slope through n points over a width w has the error noise sqrt(12 / n) / w.
    while width < LONGEST_WINDOW * along[-1]:
        if noise * np.sqrt(12.0 / (width / spacing + 1.0)) / width < HEADING_ERROR * turn:
            break
        width *= 1.2
    error = float(noise * np.sqrt(12.0 / (width / spacing + 1.0)) / width)
    return 2 * round(width / along[1] / 2.0) + 1, error <= QUIET * turn


def _slopes(along: FloatArray, values: FloatArray, window: int, quiet: bool) -> FloatArray:
    """Return the slopes (n, k) along a line of values (n, k), by parabolas over a window about each point.

    At the two ends, where no window reaches past, a parabola's slope is four times as uncertain: there
    the window is as much longer as makes up for it, where there is noise, up to a quarter of the line.
    """
    slope = _windowed(values, window, 1) / float(along[1])
    if not quiet:
        half, long = window // 2, min(round(END_WINDOW * window), round(LONGEST_END * len(values)))
        x = np.arange(long) * along[1]
        for end, places in ((slice(None, long), slice(None, half)), (slice(-long, None), slice(-half, None))):
            fit = np.polynomial.polynomial.polyfit(x, values[end], 2)
            slope[places] = (fit[1] + 2.0 * fit[2] * x[:, None])[places]
    return slope


def _windowed(values: FloatArray, window: int, order: int) -> FloatArray:
    """Return the value (order 0) or the slope (1) per step, (n, k), of parabolas fitted to windows of values (n, k).

    About each point an odd number of points is fitted (Savitzky and Golay, Anal. Chem. 36, 1964); the
    first and last half windows are read off the first and last whole window's parabola.
    """
    half = window // 2
    x = np.arange(-half, half + 1) / half
    fit = np.linalg.pinv(np.vander(x, 3, increasing=True))
    # Value and slope at each place of a window; at its middle they are the fit's own terms.
    read = np.vander(x, 3, increasing=True) if order == 0 else np.column_stack([0.0 * x, 1.0 + 0.0 * x, 2.0 * x]) / half
    rows = read @ fit
    found = np.empty_like(values)
    for k in range(values.shape[1]):
        found[half:-half, k] = np.convolve(values[:, k], rows[half, ::-1], mode="valid")
    found[:half] = rows[:half] @ values[:window]
    found[-half:] = rows[half + 1 :] @ values[-window:]
    return found


def _least_radius(points: FloatArray, heading: FloatArray, radius: float) -> float:
    """Return the radius of the tightest circle fitted to 30 degrees of a turn's points (n, 2)."""
    turned = np.maximum.accumulate(np.abs(heading - heading[0]))
    if turned[-1] <= LEAST_WINDOW:
        return radius
    least = np.inf
    for start in np.arange(0.0, turned[-1] - LEAST_WINDOW + 1e-9, np.radians(1.0)):
        inside = (turned >= start) & (turned <= start + LEAST_WINDOW)
        if inside.sum() >= 5:
            least = min(least, fit_circle(points[inside]).radius)
    return float(least) if np.isfinite(least) else radius


def _limits_u(turn: Turn, radius: float) -> float:
    """Return the standard uncertainty of a radius from where the turn begins and ends.

    Where a side's own taper keeps its heading near a limit, noise moves the limit by jumps, and radii
    are far from normally distributed. So headings are tried with the errors that noise gives them,
    and half of what 95 % of the radii stay within is the uncertainty (JCGM 101, 7.7: an interval's
    coverage, not a standard deviation).
    """
    if turn.quiet:
        return 0.0
    nodes = np.arange(0.0, turn.along[-1] + turn.spacing, turn.spacing)
    drawn = turn.noise * np.random.default_rng(SEED).standard_normal((TRIALS, len(nodes)))
    off = np.array([np.interp(turn.along, nodes, row) for row in drawn]).T
    # A line moved by so much square to itself turns by that much's slope.
    headings = turn.heading[:, None] + _slopes(turn.along, off, turn.window, turn.quiet)
    radii: dict[tuple[int, int], float] = {}
    errors = []
    for heading in headings.T:
        a, b = limits = _limits(heading)
        if b - a >= 3 and limits not in radii:
            radii[limits] = fit_circle(turn.line[a : b + 1]).radius
        errors.append(abs(radii.get(limits, np.inf) - radius))
    finite = np.array(errors)[np.isfinite(errors)]
    return float(np.quantile(finite, 0.95)) / 2.0 if len(finite) else 0.0


def _radius_u(points: FloatArray, centre: FloatArray, noise: float, independent: float) -> float:
    """Return the standard uncertainty of a fitted radius from the points' noise (JCGM 100)."""
    arm = points - centre
    jacobian = np.column_stack([arm / np.linalg.norm(arm, axis=1, keepdims=True), np.ones(len(points))])
    of_radius = np.linalg.pinv(jacobian)[2]  # its square is never negative, as an inverse's entry can come out
    return float(noise * np.sqrt(of_radius @ of_radius * len(points) / independent))
