"""Fork: whether a mold splits, and the rough course of its trunk and of each leg, from its end in to where they meet.

What is inside a coarse mesh comes in; its leaves, and the arms that end in them, go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.sparse.csgraph import dijkstra

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.scan.branches import LARGE
from portgeo.scan.caps import Cap
from portgeo.scan.course import ENDS_LEFT, Course, follow
from portgeo.scan.passage import place_of
from portgeo.scan.way import Inside, clear_graph, clear_tree, nearest, path_to

# Lengths are in the greatest inside radius of the mold, where nothing else is said.
REACH = 0.35  # a leaf that reaches so far beyond where it meets the others is an end of its own
DIPS = 0.2  # of the line between two leaves, that what is between corners of one end is less far off by
BETWEEN = 20  # places on that line
MOST_LEAVES = 10  # that are looked at: corners of a slab, stems, legs
OWN_PART, USUAL_DEPTH = 0.85, 75  # share of a leaf's own way, and percent of its depths, that tell how thick it is
ON_CAP = 1.3  # from a leaf to the flat face or rim that it ends in
LEAST_ARM = 0.5  # from an end to where the ends meet: what is shorter is no arm
ARM_PART = (0.2, 0.7)  # of an arm's length, over which its section is told
TIP_NEAR = 3.0  # of an arm's own radii, from its course's outer end: a tip in a corner of that end is nearer
SURE_ENDS_LEFT = 0.3  # radii at the end of a rough line that begins all over a flat end
CLEAR_ENTRY = 0.8  # how far off the best end is from the sum of the others, of the next best: more is not clear
TRUNK_TOO_SMALL = 0.6  # of the sum of the legs' areas: an entry with less is none


@dataclass(frozen=True)
class Arm:
    """The trunk or a leg of a fork: the course of its tube from its outer end in towards the junction, its radius.

    tip (3,) : where the mold ends there.
    """

    course: Course
    radius: float
    tip: FloatArray

    @property
    def area(self) -> float:
        """Its usual section's area."""
        return float(np.median(self.course.areas))

    @property
    def reaches_tip(self) -> bool:
        """Whether its course goes on to where the mold ends, and not only to where it parts once more."""
        return bool(np.linalg.norm(self.course.points[0] - self.tip) < TIP_NEAR * self.radius)


@dataclass(frozen=True)
class Leaves:
    """Ends of what is inside a mold: places (k,) in it, how thick each leaf is (k,), which are a port's own."""

    places: IntArray
    thick: FloatArray
    is_tube: np.ndarray


def leaves_of(inside: Inside, caps: list[Cap]) -> Leaves:
    """Return the ends that a mold has: tips of its tube, of legs, and of branches.

    A leaf's own way runs from its tip to where the ways of the others begin; a branch with less than LARGE of the
    section of the second thickest leaf is none of a port's own.
    """
    radius = float(inside.depth.max())
    # How far the farthest place is: in a tree that is one of the two ends which are farthest apart.
    one = _reach(inside, int(np.argmax(_reach(inside, 0))))
    height = np.maximum(one, _reach(inside, int(np.argmax(one))))
    tips = _ends_of(inside, _peaks(inside, height, REACH * radius), height, caps)
    while len(tips) > 2:
        thick = _thickness(inside, tips)
        corner = _thin_corner(inside, tips, thick)
        if corner is None:
            break
        tips.pop(corner)
    else:
        return Leaves(np.array(tips), np.zeros(len(tips)), np.ones(len(tips), dtype=bool))
    is_tube = thick**2 >= LARGE * np.sort(thick**2)[-2]
    return Leaves(np.array(tips), thick, is_tube)


def _reach(inside: Inside, place: int) -> FloatArray:
    """Return how far each place (n,) is, through the mold, from one."""
    return np.asarray(dijkstra(inside.graph, directed=False, indices=place))


def _peaks(inside: Inside, height: FloatArray, least: float) -> list[int]:
    """Return the places where a height (n,) is greatest in what is about them, highest first.

    Each rises by `least` over the level at which what is about it meets what is about a higher one (its persistence:
    Edelsbrunner, Letscher and Zomorodian, Discrete Comput. Geom. 28, 2002). What is about a place is all from where
    the steepest way leads up to it.
    """
    about = (inside.graph + inside.graph.T).tocsr()
    count = np.diff(about.indptr)
    beside = height[about.indices]
    highest = np.repeat(np.maximum.reduceat(beside, about.indptr[:-1]), count) if count.all() else beside
    row = np.repeat(np.arange(len(height)), count)
    steepest = np.flatnonzero((beside == highest) & (beside > height[row]))
    up = np.arange(len(height))
    up[row[steepest]] = about.indices[steepest]
    while (up[up] != up).any():
        up = up[up]
    edges = inside.graph.tocoo()
    across = up[edges.row] != up[edges.col]
    one, other = edges.row[across], edges.col[across]
    low, high = np.minimum(up[one], up[other]), np.maximum(up[one], up[other])
    level = np.minimum(height[one], height[other])
    passes = np.argsort(-level, kind="stable")
    top = {int(peak): int(peak) for peak in np.unique(up)}

    def top_of(peak: int) -> int:
        while top[peak] != peak:
            peak = top[peak]
        return peak

    peaks = []
    for k in passes:
        upper, lower = sorted((top_of(int(low[k])), top_of(int(high[k]))), key=lambda peak: (-height[peak], peak))
        if upper != lower:
            top[lower] = upper
            if height[lower] - level[k] > least:
                peaks.append(lower)
    peaks += [peak for peak, above in top.items() if peak == above]
    return sorted(peaks, key=lambda peak: (-height[peak], peak))[:MOST_LEAVES]


def _ends_of(inside: Inside, tips: list[int], height: FloatArray, caps: list[Cap]) -> list[int]:
    """Return tips with one for each end: the first of those that are corners of one.

    Corners see each other; between two legs stands their divider. A trunk's end may see a leg's: then they do not lie
    on one face or rim, and where neither lies on any, what is halfway is less far off than both. height (n,) : how far.
    Of three or more that all see each other, as corners of a slab of silicone over a flange do, one is kept.
    """
    on = [_cap_at(caps, inside.points[tip], ON_CAP * float(inside.depth.max())) for tip in tips]

    def sees(one: int, other: int) -> bool:
        return inside.sees(inside.points[tips[one]], inside.points[tips[other]])

    def are_corners(one: int, other: int) -> bool:
        a, b = inside.points[tips[one]], inside.points[tips[other]]
        if on[one] is not None or on[other] is not None:
            return on[one] is on[other]
        line = a + np.linspace(0.0, 1.0, BETWEEN)[:, None] * (b - a)
        least = float(height[nearest(inside, line)].min())
        return min(height[tips[one]], height[tips[other]]) - least < DIPS * float(np.linalg.norm(b - a))

    left, kept = list(range(len(tips))), []
    while left:
        first = left.pop(0)
        kept.append(first)
        left = [k for k in left if not (sees(first, k) and are_corners(first, k))]
    left, kept = kept, []
    while left:
        first = left.pop(0)
        kept.append(first)
        seen = [k for k in left if sees(first, k)]
        corners = {k for pair in combinations(seen, 2) if sees(*pair) for k in pair}
        left = [k for k in left if k not in corners]
    return [tips[k] for k in kept]


def _thin_corner(inside: Inside, tips: list[int], thick: FloatArray) -> int | None:
    """Return which of the leaves is thin and sees another thin one: both are corners of a slab. None where none is."""
    thin = np.flatnonzero(thick**2 < LARGE * thick.max() ** 2)
    for one, other in combinations(thin.tolist(), 2):
        if inside.sees(inside.points[tips[one]], inside.points[tips[other]]):
            return int(other)
    return None


def _thickness(inside: Inside, tips: list[int]) -> FloatArray:
    """Return how thick leaves are (k,): the usual depth of their own ways."""
    before = clear_tree(inside, _median(inside, [np.array([tip]) for tip in tips]))
    ways = [path_to(before, tip)[::-1] for tip in tips]
    thick = []
    for k, way in enumerate(ways):
        others = {place for j, other in enumerate(ways) if j != k for place in other}
        own = next((n for n, place in enumerate(way) if place in others), len(way))
        depth = inside.depth[way[: max(int(OWN_PART * own), 1)]]
        thick.append(float(np.percentile(depth, USUAL_DEPTH)))
    return np.array(thick)


def _median(inside: Inside, ends: list[IntArray]) -> int:
    """Return the place from which the ways to all ends (places of each) are shortest together: where they meet.

    They keep clear of the walls: straight ones from a short trunk's end to its legs would part at that end.
    """
    graph = clear_graph(inside)
    reach = sum(dijkstra(graph, directed=False, indices=end, min_only=True) for end in ends)
    return int(np.argmin(reach))


def arms_at(coarse: tuple[FloatArray, IntArray], caps: list[Cap], inside: Inside, leaves: Leaves) -> tuple[Arm, ...]:
    """Return the arms, in no order, whose ends are the leaves of a mold, all of them a port's own.

    Raises GeometryError where one is too short, or no single tube.
    """
    radius = float(inside.depth.max())
    ends, sure = [], []
    for tip in leaves.places:
        cap = _cap_at(caps, inside.points[tip], ON_CAP * radius)
        ends.append(np.array([tip]) if cap is None else _places_on(inside, cap, int(tip)))
        sure.append(cap is not None)
    middle = _median(inside, ends)
    before = clear_tree(inside, middle)
    arms = []
    for tip, end, is_sure in zip(leaves.places, ends, sure, strict=True):
        reach = dijkstra(inside.graph, directed=False, indices=end, min_only=True)
        if reach[middle] < LEAST_ARM * radius:
            raise GeometryError(
                "the mold splits, but trunk and legs meet right at one of its ends",
                where=f"about {place_of(inside.points[tip])} mm",
                hint="A split needs a trunk and legs at least as long as half their width: trim the mold farther out",
            )
        path = np.array(path_to(before, int(tip))[::-1])
        line, own = _arm_line(inside, reach, path, float(reach[middle]))
        try:
            course = follow(*coarse, line, own, SURE_ENDS_LEFT if is_sure else ENDS_LEFT)
        except GeometryError:
            raise not_followed(inside.points[tip]) from None
        arms.append(Arm(course, own, inside.points[tip]))
    return tuple(arms)


def not_followed(tip: FloatArray) -> GeometryError:
    """Return the refusal of a mold one of whose passages is no single tube from its end (3,) to the junction."""
    return GeometryError(
        "the mold splits, and the passage to one of its ends is no single tube up to the junction",
        where=f"the end about {place_of(tip)} mm",
        hint="A mold that splits twice is not read: where a leg parts again, cut one of its two ways off in the "
        "scanner's software, close the hole, and read each way by itself; else look there for a hole or a fin",
    )


def _places_on(inside: Inside, cap: Cap, tip: int) -> IntArray:
    """Return the places at a face or rim, seen from a tip at it: beyond a thin divider may be another leg's."""
    places = nearest(inside, cap.points)
    seen = [inside.sees(inside.points[tip], inside.points[place]) for place in places]
    return np.union1d(places[seen], [tip])


def _cap_at(caps: list[Cap], tip: FloatArray, within: float) -> Cap | None:
    off = [float(np.linalg.norm(cap.points - tip, axis=1).min()) for cap in caps]
    return caps[int(np.argmin(off))] if off and min(off) < within else None


def _arm_line(inside: Inside, reach: FloatArray, path: IntArray, length: float) -> tuple[FloatArray, float]:
    """Return the rough middle line (n, 3) of an arm from its end to the junction, and its tube's radius.

    reach (n,) : how far each place is from the end, and path its own way from there; length : to the junction.
    """
    count = max(int(length / (2.0 * inside.step)), 4)
    which = np.minimum(reach / length * count, count).astype(int)
    line = []
    for k in range(count):
        mine, on_path = np.flatnonzero(which == k), path[which[path] == k]
        if len(mine) and len(on_path):
            off = np.linalg.norm(inside.points[mine] - inside.points[on_path].mean(axis=0), axis=1)
            line.append(inside.points[mine[off < 4.0 * inside.depth.max()]].mean(axis=0))
    low, high = ARM_PART[0] * length, ARM_PART[1] * length
    area = ((reach > low) & (reach < high)).sum() * inside.step**3 / (high - low)
    return np.array(line), float(np.sqrt(area / np.pi)) + inside.skin


def entry_of(arms: tuple[Arm, ...], named: FloatArray | None) -> int:
    """Return which arm is the trunk: the one at whose end a point is named, else the one as large as all others.

    Raises GeometryError where that is not clear.
    """
    ends = np.array([arm.course.points[0] for arm in arms])
    if named is not None:
        off = np.linalg.norm(ends - named, axis=1)
        return int(np.argmin(off))
    area = np.array([arm.area for arm in arms])
    off = np.abs(2.0 * area - area.sum())
    best, second = np.argsort(off)[:2]
    if off[best] > CLEAR_ENTRY * off[second] or area[best] < TRUNK_TOO_SMALL * (area.sum() - area[best]):
        seen = ", ".join(f"{place_of(p)} with {a:.0f} mm2" for p, a in zip(ends, area, strict=True))
        raise GeometryError(
            f"the mold splits, and which of its {len(arms)} ends is the entry cannot be told: they are about {seen}",
            hint="Pass --entry X,Y,Z with a point on the entry, in the file's coordinates",
        )
    return int(best)
