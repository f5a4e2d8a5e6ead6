"""A whole mold from the side and from above: its sections, their sizes, and how the line through them runs.

Two photographs' outlines and cameras come in; sections go out. What is seen of a wall is where a ray grazes it: on the
corner that is nearer to the camera, or on the lower one where the camera looks at the wall. How high that is over the
paper hangs on the other view, and so the two go round in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from portgeo.core.errors import GeometryError, naming
from portgeo.core.plane import FloatArray, moments
from portgeo.photos.camera import Paper, View
from portgeo.photos.field import pixels_at
from portgeo.photos.lying import Pose, lying_on_floor, lying_on_side
from portgeo.photos.medial import Medial, along, carried_to, medial, smooth_values
from portgeo.photos.shape import Outline, resampled

ROUNDS = 6  # of the two views in turn: each leaves less than a tenth of what the one before it was off by
WIDTH_PASSES = 6
STEP_MM = 0.4  # between places on an outline
TURN_MM = (
    9.0  # either way along an outline, over which its ends' corners turn: what is seen of an upright edge and more
)
APART_MM = 18.0  # between two corners
LEAST_TURN = float(np.radians(35.0))  # at a corner of an end, over both
OFF_CORNER_MM = 5.0  # of a wall, from a corner of its end, as long as nothing else is known
EDGE_TURN_MM, EDGE_TURN = 2.0, float(np.radians(12.0))  # either way, and by how much it turns where an edge begins
EDGE_LONG_MM = 30.0  # from an end, in which an upright edge may be seen
OFF_WALL_MM = 1.2  # of a wall, from where its end should be seen
OFF_EDGE_MM = 0.5  # the same of an end's edge, which is short
BESIDE_MM = 10.0  # between an outline and where it should be by the first round, and less in each after it
FACING = float(np.cos(np.radians(25.0)))  # between the ways of an outline and of the line it should be
LEAST_PLACES = 12  # of a wall or an end
END_SHARE = 0.3  # of an end's line, at either corner, where the mold's own corners round it
END_LEAST = 0.2  # of an end's height, either way of its middle: so near to it a round end's edge is as good as straight
USUAL_WIDTH = 0.8  # of the height, to begin with
USUAL_CORNER = 0.2  # of a section's smaller size, where no corner was read: common practice, no source
FULLEST_CORNER = 0.49  # of a section's smaller size: it is still a corner
ARC = np.linspace(0.0, np.pi / 2.0, 12)  # of a corner, on which the place is looked for that a ray grazes
ACROSS = 0.8  # of an outline's direction across the mold: less, and it is an end
WIDTH_KNOT_MM = 16.0  # of a side wall, which bends little
OUTLIER, LEAST_OFF_MM = 4.0, 0.1  # of a place off a side wall: times the usual, and at the least
CHORD = 6  # sections either way, between which the way of a side wall is taken
STRAIGHT_MM = 1.0  # off a straight line, of the middles in plan: less is not told as swing
LENGTHS_AGREE = 0.03  # between the mold's length from above and that by its side view


@dataclass(frozen=True)
class Seen:
    """A mold's outline in one photograph: points (n, 2) on the paper's own level, counterclockwise, mm, and that level.

    name : of the photograph. eye (3,) : where the camera stood, over that level.
    """

    name: str
    points: FloatArray
    out: FloatArray
    level: float
    eye: FloatArray

    @classmethod
    def of(cls, name: str, outline: Outline, own: View, paper: Paper) -> Seen:
        """Return an outline on a paper that may bulge, as it lies on the plane through the paper round it."""
        pixels = pixels_at(own, paper, outline.points)
        level = float(np.mean(paper.height(outline.points / paper.scale)))
        points = resampled(own.on_level(pixels, level), STEP_MM)
        points = points if moments(points).area > 0 else points[::-1]
        step = np.roll(points, -2, axis=0) - np.roll(points, 2, axis=0)
        out = np.column_stack([step[:, 1], -step[:, 0]]) / np.linalg.norm(step, axis=1, keepdims=True)
        return cls(name, points, out, level, own.position - [0.0, 0.0, level])


@dataclass(frozen=True)
class Mold:
    """A mold's sections: how they lie in the side view, the y of their left and right walls, their corners (n,).

    sides : from the side view's paper to where the mold lay in either view. stretched : its length from above over that
    by its side view.
    """

    sections: Medial
    left: FloatArray
    right: FloatArray
    corner: FloatArray
    side: Pose
    top: Pose
    stretched: float

    @property
    def width(self) -> FloatArray:
        """Distance (n,) between left and right walls."""
        return self.left - self.right


def mold_of(side: Seen, top: Seen, corners: Sequence[float] | None) -> Mold:
    """Return a mold lying on its left wall in one view and on its floor in the other, its entry to the left in both.

    corners : radii at places evenly along it, mm: entry and exit, and any between; None where they were not read.
    Raises GeometryError where an outline is not a mold's.
    """
    with naming(side.name):
        walls = _walls(side)
        floor, roof = (side.points[k] for k in walls.lines)
        sections = medial(*(carried_to(along(line), line, *_ends(side.points, walls)) for line in (floor, roof)))
    half = np.full(len(sections.floor), USUAL_WIDTH / 2.0 * float(sections.height.mean()))
    mold = Mold(sections, half, -half, _corner(sections, 2.0 * half, corners), Pose.flat(), Pose.flat(), 1.0)
    mold = replace(mold, side=lying_on_side(sections, half, -half, mold.corner))
    for k in range(ROUNDS):
        with naming(side.name):
            walls = walls if k == 0 else _walls_by(side, mold, BESIDE_MM / k)
            sections = _side_view(side, walls, mold)
        mold = replace(mold, sections=sections, corner=_corner(sections, mold.width, corners))
        with naming(top.name):
            mold = _top_view(top, mold, first=k == 0)
        mold = replace(mold, side=lying_on_side(sections, mold.left, mold.right, mold.corner))
    if abs(mold.stretched - 1.0) > LENGTHS_AGREE:
        raise GeometryError(
            f"{top.name}: the mold is {abs(mold.stretched - 1.0):.0%} {'longer' if mold.stretched > 1 else 'shorter'} "
            f"from above than {side.name} makes it",
            hint="Lay it on its left wall for the side view, then on its floor, on its two ends, with the entry to the "
            "left both times",
        )
    return mold


def _corner(sections: Medial, width: FloatArray, corners: Sequence[float] | None) -> FloatArray:
    least = np.minimum(sections.height, width)
    if corners is None:
        return USUAL_CORNER * least
    share = sections.station / sections.station[-1]
    return np.minimum(np.interp(share, np.linspace(0.0, 1.0, len(corners)), corners), FULLEST_CORNER * least)


@dataclass(frozen=True)
class _Walls:
    """Which places of a side view's outline are of floor and roof, from the entry on, and of the entry and the exit."""

    lines: tuple[np.ndarray, np.ndarray]
    ends: tuple[np.ndarray, np.ndarray]


def _walls(side: Seen) -> _Walls:
    """Return an outline split at the corners of its ends; the entry lies to the left, the roof away.

    Near a corner stands the mold's own upright edge, which may be seen from the side: it is left out with the corner.
    """
    n, turn = len(side.points), _turn(side.points, TURN_MM)
    corners: list[int] = []
    for _ in range(4):
        k = int(np.argmax(turn))
        if turn[k] < LEAST_TURN:
            raise GeometryError(
                "the side view does not show a mold with two flat ends",
                hint="Cut both ends flat and square, lay the mold on its left wall with nothing beside it",
            )
        corners.append(k)
        turn[np.abs((np.arange(n) - k + n // 2) % n - n // 2) * STEP_MM < APART_MM] = -np.inf
    a = np.sort(corners)
    spans = [np.arange(a[k], a[k + 1] if k < 3 else a[0] + n) % n for k in range(4)]
    lengths = [len(span) for span in spans]
    first = 0 if lengths[0] + lengths[2] < lengths[1] + lengths[3] else 1
    if side.points[spans[first], 0].mean() > side.points[spans[first + 2], 0].mean():
        first += 2
    entry, floor, leaving, roof = (spans[(first + k) % 4] for k in range(4))
    trim = round(OFF_CORNER_MM / STEP_MM)
    sharp = _turn(side.points, EDGE_TURN_MM) > EDGE_TURN
    middles = [end[round(END_SHARE * len(end)) : -round(END_SHARE * len(end))] for end in (entry, leaving)]
    return _Walls((_clear(floor[trim:-trim], sharp), _clear(roof[trim:-trim], sharp)[::-1]), (middles[0], middles[1]))


def _turn(line: FloatArray, reach: float) -> FloatArray:
    """Return by how much (n,) a closed line turns left from `reach` behind each place to as much ahead of it."""
    places = round(reach / STEP_MM)
    ahead, behind = np.roll(line, -places, axis=0) - line, line - np.roll(line, places, axis=0)
    across = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    return np.asarray(np.arctan2(across, (behind * ahead).sum(axis=1)))


def _clear(chain: np.ndarray, sharp: np.ndarray) -> np.ndarray:
    """Return a wall's places without those past a sharp turn near its ends: there an upright edge is seen."""
    near = min(round(EDGE_LONG_MM / STEP_MM), len(chain) // 3)
    first, last = np.flatnonzero(sharp[chain[:near]]), np.flatnonzero(sharp[chain[-near:]])
    clear = round(EDGE_TURN_MM / STEP_MM)
    start = int(first[-1]) + clear if len(first) else 0
    end = len(chain) - near + int(last[0]) - clear if len(last) else len(chain)
    return chain[start:end]


def _walls_by(side: Seen, mold: Mold, beside: float) -> _Walls:
    """Return an outline split by where a mold's walls and ends should be seen, to `beside`."""
    sections, here = mold.sections, (mold.left + mold.right) / 2.0
    eye = mold.side.seen_from(side.eye, side.points[:1])[0]
    walls = []
    for line, sign in ((sections.floor, -1.0), (sections.roof, 1.0)):
        step = np.gradient(line, axis=0)
        # Sections of what is no mold may all meet in one place: then no wall is found beside them.
        out = (
            sign * np.column_stack([-step[:, 1], step[:, 0]]) / np.maximum(np.linalg.norm(step, axis=1), 1e-9)[:, None]
        )
        ray = line - eye[[0, 2]]
        lean = np.arctan2((ray * out).sum(axis=1), here - eye[1])
        over = np.sign(lean) * (mold.width / 2.0 - mold.corner) + mold.corner * np.sin(lean)
        place = line - out * (mold.corner * (1.0 - np.cos(lean)))[:, None]
        walls.append(_of_line(side, _seen_at(side, mold, place, here - over), OFF_WALL_MM, beside))
    for k in (0, -1):
        up = (sections.roof[k] - sections.floor[k]) / sections.height[k]
        flat = max(sections.height[k] / 2.0 - mold.corner[k], END_LEAST * sections.height[k]) * np.array([-1.0, 1.0])
        out = np.array([up[1], -up[0]]) * (1.0 if k else -1.0)
        place = sections.middle[k] + flat[:, None] * up
        lean = float((sections.middle[k] - eye[[0, 2]]) @ out)
        edge = _seen_at(side, mold, place, np.full(2, here[k] - np.sign(lean) * mold.width[k] / 2.0))
        shares = np.linspace(0.0, 1.0, 40)[:, None]
        walls.append(_of_line(side, edge[0] + shares * (edge[1] - edge[0]), OFF_EDGE_MM, beside))
    if min(len(which) for which in walls) < LEAST_PLACES:
        raise GeometryError(
            "a wall or an end of the mold is not seen in the side view",
            hint="Lay it on its left wall with the entry to the left, and hold the camera over its middle",
        )
    return _Walls((walls[0], walls[1]), (walls[2], walls[3]))


def _seen_at(side: Seen, mold: Mold, place: FloatArray, y: FloatArray) -> FloatArray:
    return _on_paper(mold.side.put(np.column_stack([place[:, 0], y, place[:, 1]])), side.eye)


def _of_line(side: Seen, line: FloatArray, off: float, beside: float) -> np.ndarray:
    """Return which places of an outline lie beside a line (n, 2) of it, in its order, clear of its ends."""
    step = along(line)
    near = _nearest(line, side.points)
    way = np.gradient(line, axis=0)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    beyond = side.points - line[near]
    ahead = step[near] + (beyond * way[near]).sum(axis=1)
    inside = (ahead > off) & (ahead < step[-1] - off)
    facing = np.abs(way[near, 0] * side.out[:, 1] - way[near, 1] * side.out[:, 0]) > FACING
    which = np.flatnonzero(inside & facing & (np.linalg.norm(beyond, axis=1) < beside))
    if len(which) < 2:
        return which
    gap = np.diff(np.append(which, which[0] + len(side.points)))
    which = np.roll(which, -1 - int(np.argmax(gap)))
    which = _clear(which, _turn(side.points, EDGE_TURN_MM) > EDGE_TURN)
    return which if ahead[which[-1]] > ahead[which[0]] else which[::-1]


def _ends(points: FloatArray, walls: _Walls) -> tuple[FloatArray, FloatArray]:
    """Return two points (2, 2) of the line that fits each end best."""
    ends = []
    for end in walls.ends:
        middle = points[end].mean(axis=0)
        way = np.linalg.svd(points[end] - middle)[2][0]
        ends.append(np.array([middle - way, middle + way]))
    return ends[0], ends[1]


def _side_view(side: Seen, walls: _Walls, mold: Mold) -> Medial:
    """Return a mold's sections by its side view, of the widths that are known so far."""
    eye, rays = mold.side.seen_from(side.eye, side.points)
    out = mold.side.turned_back(np.column_stack([side.out, np.zeros(len(side.out))]))[:, [0, 2]]
    lines = mold.sections.floor, mold.sections.roof, mold.sections.middle
    points = np.full_like(side.points, np.nan)

    def on(y: FloatArray, which: np.ndarray) -> FloatArray:
        share = (y - eye[1]) / rays[which, 1]
        return np.asarray(eye[[0, 2]] + rays[which][:, [0, 2]] * share[:, None])

    here = (mold.left + mold.right) / 2.0
    for which, line in zip(walls.lines, lines, strict=False):
        near = _nearest(line, on(np.full(len(which), float(here.mean())), which))
        width, corner = mold.width[near], mold.corner[near]
        lean = np.arctan2((rays[which][:, [0, 2]] * out[which]).sum(axis=1), rays[which, 1])
        over = np.sign(lean) * (width / 2.0 - corner) + corner * np.sin(lean)
        points[which] = on(here[near] - over, which) + out[which] * (corner * (1.0 - np.cos(lean)))[:, None]
    for which, k in zip(walls.ends, (0, -1), strict=True):
        lean = (rays[which][:, [0, 2]] * out[which]).sum(axis=1)
        points[which] = on(here[k] - np.sign(lean) * mold.width[k] / 2.0, which)
    ends = _ends(points, walls)
    views = []
    for which, line in zip(walls.lines, lines, strict=False):
        # Where the camera is straight over a wall its upper and its lower edge are seen, one past the other.
        at = _along_of(line, points[which])
        order = np.argsort(at, kind="stable")
        views.append(carried_to(at[order], points[which][order], *ends))
    return medial(*views)


def _along_of(line: FloatArray, points: FloatArray) -> FloatArray:
    """Return how far along a line (n, 2), carried on straight past its ends, points (m, 2) lie."""
    ways = np.array([line[0] - line[1], line[-1] - line[-2]])
    ends = line[[0, -1]] + EDGE_LONG_MM * ways / np.linalg.norm(ways, axis=1, keepdims=True)
    longer = shapely.LineString(np.vstack([ends[:1], line, ends[1:]]))
    return np.asarray(shapely.line_locate_point(longer, shapely.points(points)))


def _nearest(line: FloatArray, points: FloatArray) -> np.ndarray:
    """Return which point of a line (n, 2) is nearest to each of points (m, 2)."""
    return np.asarray(np.argmin(((points[:, None] - line[None]) ** 2).sum(axis=2), axis=1))


def _top_view(top: Seen, mold: Mold, first: bool) -> Mold:
    """Return a mold with its widths by the view from above, and where it lay there."""
    sections = mold.sections
    pose = lying_on_floor(sections, mold.width)
    pose = pose.at(0.0, top.points.mean(axis=0)) if first else pose.at(mold.top.turn, mold.top.shift)
    left, right, stretched = mold.left, mold.right, 1.0
    s = sections.station
    for _ in range(WIDTH_PASSES * (3 if first else 1)):
        pose, stretched = _laid_along(top, replace(mold, left=left, right=right), pose)
        views = []
        for y, sign in ((left, 1.0), (right, -1.0)):
            moved, good = _moved(top, mold, pose, y, sign)
            if good.sum() < len(s) // 2:
                raise GeometryError(
                    "the view from above does not show the two side walls of the mold",
                    hint="Lay it on its floor with the entry to the left, and nothing beside it",
                )
            views.append(_smooth_wall(s[good], (y + moved)[good], s))
        middle = (views[0] + views[1]) / 2.0
        x = sections.middle[:, 0]
        slope, height = np.polyfit(x, middle, 1)
        pose = pose.nudged(float(slope), float(height))
        straight = slope * x + height
        left, right = views[0] - straight, views[1] - straight
    if np.abs(left + right).max() / 2.0 < STRAIGHT_MM:
        half = (left - right) / 2.0
        left, right = half, -half
    return replace(mold, left=left, right=right, top=pose, stretched=stretched)


def _smooth_wall(at: FloatArray, values: FloatArray, there: FloatArray) -> FloatArray:
    """Return a side wall smoothed; a place far off it is of the mold's own upright edge, beside an end."""
    off = np.abs(values - smooth_values(at, values, at, WIDTH_KNOT_MM))
    good = off < np.maximum(OUTLIER * np.median(off), LEAST_OFF_MM)
    return smooth_values(at[good], values[good], there, WIDTH_KNOT_MM)


def _grazed(mold: Mold, y: FloatArray, sign: float) -> FloatArray:
    """Return points (n, m, 3) of one side wall's profile at each section: its two corners, and so what lies between."""
    sections, corner = mold.sections, mold.corner[:, None]
    heading = sections.heading[:, None]
    flat = sections.height[:, None] / 2.0 - corner
    over = np.concatenate([flat + corner * np.sin(ARC), -flat - corner * np.sin(ARC)], axis=1)
    in_ = np.concatenate([corner * (1.0 - np.cos(ARC))] * 2, axis=1)
    x = sections.middle[:, :1] + over * np.sin(heading)
    z = sections.middle[:, 1:] + over * np.cos(heading)
    return np.stack([x, y[:, None] - sign * in_, z], axis=2)


def _moved(top: Seen, mold: Mold, pose: Pose, y: FloatArray, sign: float) -> tuple[FloatArray, np.ndarray]:
    """Return by how much (n,) a side wall lies further left than `y`, and at which sections that is seen."""
    profile = pose.put(_grazed(mold, y, sign))
    seen = _on_paper(profile, top.eye)
    way, left = (pose.rotation[:2, k] / np.linalg.norm(pose.rotation[:2, k]) for k in range(2))
    side = np.flatnonzero(top.out @ left * sign > ACROSS / 2.0)
    side = side[np.argsort(top.points[side] @ way, kind="stable")]
    at, outline = top.points[side] @ way, top.points[side] @ left
    every = np.arange(len(y))
    normal = np.broadcast_to(sign * left, (len(y), 2))
    for _ in range(3):
        which = np.argmax((seen * normal[:, None]).sum(axis=2), axis=1)
        here = seen[every, which]
        # Square to the wall's own line: the outline beside an end is that of the mold's upright edge.
        step = here[np.minimum(every + CHORD, len(y) - 1)] - here[np.maximum(every - CHORD, 0)]
        normal = sign * np.column_stack([-step[:, 1], step[:, 0]]) / np.linalg.norm(step, axis=1)[:, None]
    level = profile[every, which, 2]
    moved = (np.interp(here @ way, at, outline) - here @ left) * (top.eye[2] - level) / top.eye[2]
    # Past the wall's end the outline is that of the end.
    inside = (here @ way > at[0] + STEP_MM) & (here @ way < at[-1] - STEP_MM)
    return moved, inside & (normal @ left * sign > ACROSS)


def _on_paper(points: FloatArray, eye: FloatArray) -> FloatArray:
    """Return where points (..., 3) over the paper are seen on it."""
    return np.asarray(eye[:2] + (points[..., :2] - eye[:2]) * (eye[2] / (eye[2] - points[..., 2:])))


def _laid_along(top: Seen, mold: Mold, pose: Pose) -> tuple[Pose, float]:
    """Return a pose moved along the mold until its two ends lie where they are seen, and seen length over known."""
    way = pose.rotation[:2, 0] / np.linalg.norm(pose.rotation[:2, 0])
    shape = np.concatenate([_grazed(mold, mold.left, 1.0), _grazed(mold, mold.right, -1.0)], axis=1)
    known = _on_paper(pose.put(shape), top.eye) @ way
    seen = top.points @ way
    low, high = seen.min() - known.min(), seen.max() - known.max()
    return pose.moved((low + high) / 2.0 * way), float(np.ptp(seen) / np.ptp(known))
