"""Junction: where a trunk's last plane and its legs' first can stand, so that each cuts its own passage alone.

A mesh and the lines of trunk and legs come in; planes, and the divider's nose, go out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.core.section import Section, area_of
from portgeo.core.slicing import slice_mesh
from portgeo.scan.course import plane_frame
from portgeo.scan.spine import sections_of

# Lengths are in radii of the passage's own section.
AHEAD = 4.0  # so far beyond where a passage is known for whole its end is looked for
STEP, FINER = 0.05, 24  # between planes, and how many between two of them where it ends; twice over
SPREAD = 1.5  # beyond a trunk's section, that the middles of its parts may lie where it has parted
PART = 0.1  # of a trunk's section: a smaller loop is a scrap
JUMP = 0.15  # change of a leg's area from plane to plane that is the other leg's, whose section it has joined
GROWTH, OVER = 0.1, 0.3  # growth of a passage's section a radius, and over what length: with more it is no tube
CLEAR, NOISES, EDGES = 0.03, 3.0, 0.75  # how far planes stand off the nose: in radii, noises and edges of the mesh
LEAST_LEG = 0.8  # length that must be left of a passage beyond its plane

Mesh = tuple[FloatArray, IntArray]


@dataclass(frozen=True)
class Approach:
    """How a passage comes to the junction: a point (3,) where it is still whole, its heading there, its radius.

    room : length of it that lies behind the point.
    """

    point: FloatArray
    heading: FloatArray
    radius: float
    room: float


@dataclass(frozen=True)
class Planes:
    """Points (3,) in the trunk's last plane and in each leg's first, and the nose's place; legs: how far beyond each
    one's approach its plane stands. All are square to the approaches."""

    trunk: FloatArray
    legs: tuple[FloatArray, ...]
    nose: FloatArray


def planes_at(mesh: Mesh, trunk: Approach, legs: Sequence[Approach], roughness: float) -> Planes:
    """Return where the trunk's last plane and each leg's first stand, square to their approaches.

    roughness : how far the mesh's points may be off, with its edges. The trunk ends just before the nose, or where it
    begins to widen so fast towards the legs that it is no tube any more; a leg begins at the first plane that is clear
    of the trunk's and of the nose, and where it no longer narrows so fast. Raises GeometryError where that leaves too
    little of one.
    """
    t_nose, nose = _nose(mesh, trunk)
    ends = [_own_until(mesh, leg) for leg in legs]
    t_trunk = _before_it_widens(mesh, trunk, t_nose - clear_of(trunk, roughness))
    if t_trunk + trunk.room < LEAST_LEG * trunk.radius:
        raise _cut_short("the trunk", trunk, "the divider stands too near to the entry")
    plane = trunk.point + t_trunk * trunk.heading
    beyond = plane + clear_of(trunk, roughness) * trunk.heading
    begins = []
    for k, (leg, end) in enumerate(zip(legs, ends, strict=True)):
        t = _clear_from(mesh, leg, _before_it_widens(mesh, leg, end - clear_of(leg, roughness)), beyond, trunk.heading)
        if t is None or t + leg.room < LEAST_LEG * leg.radius:
            raise _cut_short(f"leg {k + 1}", leg, "it is cut short inside the junction")
        begins.append(leg.point + t * leg.heading)
    return Planes(plane, tuple(begins), nose)


def _before_it_widens(mesh: Mesh, at: Approach, last: float) -> float:
    """Return the height, `last` or less, up to which a passage's section grows by no more than a tube's."""
    step = STEP * at.radius
    heights = np.arange(last, -at.room, -step)
    area = np.array([np.nan if s is None else area_of(s) for s in _sections(mesh, at, heights)])
    lag = round(OVER / STEP)
    for k in range(len(heights) - lag):
        if area[k] / area[k + lag] - 1.0 <= GROWTH * OVER:
            return float(heights[k])
    return -at.room


def clear_of(approach: Approach, roughness: float) -> float:
    """Return how far a plane stands off what it must not touch."""
    return max(CLEAR * approach.radius, roughness)


def _cut_short(name: str, at: Approach, why: str) -> GeometryError:
    return GeometryError(
        f"the mold splits, but too little of {name} is left to be measured: {why}",
        where="about ({:.1f}, {:.1f}, {:.1f}) mm".format(*at.point),
        hint="Trim the mold farther out before you scan it; a split needs a trunk and legs at least as long as half "
        "their width",
    )


def _nose(mesh: Mesh, trunk: Approach) -> tuple[float, FloatArray]:
    """Return how far beyond its approach a trunk's section parts, and the place (3,) where it does."""
    base = sections_of(mesh, trunk.point[None], plane_frame(trunk.heading)[None])[0]
    if base is None:
        raise _not_found(trunk)
    about = shapely.convex_hull(shapely.Polygon(base.outline)).buffer(SPREAD * trunk.radius)
    least = PART * area_of(base)

    def parts_in(loops: list[FloatArray]) -> list[FloatArray]:
        return [o for o in loops if moments(o).area > least and about.contains(shapely.Point(o.mean(axis=0)))]

    def parted(heights: FloatArray, first: bool) -> int | None:
        many = np.array([len(parts_in(loops)) > 1 for loops in _loops_in(mesh, trunk, heights)])
        # A plane along a step in the wall is cut up by chance: the next one is not.
        sure = many & np.append(many[1:], True) if first else many
        return int(np.argmax(sure)) if sure.any() else None

    low, high = _bracket(parted, trunk)
    parts = [shapely.Polygon(o) for o in parts_in(_loops_in(mesh, trunk, np.array([high]))[0])]
    one, other = shapely.shortest_line(parts[0], shapely.union_all(parts[1:])).coords
    place = (np.array(one) + np.array(other)) / 2.0
    frame = plane_frame(trunk.heading)
    return low, trunk.point + low * trunk.heading + place @ frame[1:]


def _own_until(mesh: Mesh, leg: Approach) -> float:
    """Return how far beyond its approach a leg's section is still its own."""

    whole: list[float] = []

    def joined(heights: FloatArray, first: bool) -> int | None:
        area = np.array([np.nan if s is None else area_of(s) for s in _sections(mesh, leg, heights)])
        # From plane to plane it may flare; then it is told from the last one before the change.
        before = np.concatenate([area[:1], area[:-1]]) if first else whole[0]
        at = np.flatnonzero(~(np.abs(area / before - 1.0) < JUMP))
        if first and len(at):
            whole.append(float(area[max(at[0] - 1, 0)]))
        return int(at[0]) if len(at) else None

    return _bracket(joined, leg)[0]


def _bracket(ended: Callable[[FloatArray, bool], int | None], at: Approach) -> tuple[float, float]:
    """Return the heights between which a passage ends: the last at which it has not and the first at which it has.

    ended : the first of some heights at which it has, and whether this is the first time that it is asked.
    """
    heights = np.arange(0.0, AHEAD, STEP) * at.radius
    for turn in range(3):
        k = ended(heights, turn == 0)
        if k is None and turn > 0:
            k = len(heights) - 1  # at a plane through a point of the mesh rounding tells which side it is on
        if k is None or k == 0:
            raise _not_found(at)
        low, high = float(heights[k - 1]), float(heights[k])
        heights = np.linspace(low, high, FINER)
    return low, high


def _not_found(at: Approach) -> GeometryError:
    return GeometryError(
        "the mold splits, but where its divider begins cannot be made out",
        where="about ({:.1f}, {:.1f}, {:.1f}) mm".format(*at.point),
        hint="Look at the scan there: a hole, a fin or loose metal at the divider's nose has to be mended first",
    )


def _clear_from(mesh: Mesh, leg: Approach, last: float, plane: FloatArray, normal: FloatArray) -> float | None:
    """Return the height, `last` or less, up to which a leg's sections lie wholly beyond a plane; None where none do."""
    heights = np.arange(last, -leg.room, -STEP * leg.radius)
    for height, section in zip(heights, _sections(mesh, leg, heights), strict=True):
        if section is not None and ((section.in_space(section.outline) - plane) @ normal).min() > 0.0:
            return float(height)
    return None


def _sections(mesh: Mesh, at: Approach, heights: FloatArray) -> list[Section | None]:
    points = at.point + heights[:, None] * at.heading
    return sections_of(mesh, points, np.repeat(plane_frame(at.heading)[None], len(heights), axis=0))


def _loops_in(mesh: Mesh, at: Approach, heights: FloatArray) -> list[list[FloatArray]]:
    """Return the loops (k, 2) in planes at heights, in the frame of the approach."""
    frame = plane_frame(at.heading)
    origins = at.point + heights[:, None] * at.heading
    loops = slice_mesh(mesh[0], mesh[1], origins, np.repeat(at.heading[None], len(heights), axis=0))
    found: list[list[FloatArray]] = [[] for _ in heights]
    for j, plane in enumerate(loops.plane):
        outline = (loops.loop(j) - at.point) @ frame[1:].T
        if len(outline) > 2:
            found[int(plane)].append(outline)
    return found
