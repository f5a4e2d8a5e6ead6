"""Junction: where a trunk's last plane and its legs' first can stand, so that each cuts its own passage alone.

A mesh and the lines of trunk and legs come in; planes, and the divider's nose, go out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np
import shapely

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, area_and_centroid
from portgeo.core.section import Section, area_of
from portgeo.core.slicing import slice_mesh
from portgeo.core.triangles import mesh_edge
from portgeo.scan.approach import Approach
from portgeo.scan.course import plane_frame
from portgeo.scan.passage import place_of
from portgeo.scan.spine import sections_of

# Lengths are in radii of the passage's own section.
AHEAD = 4.0  # so far beyond where a passage is known for whole its end is looked for
STEP, FINER = 0.05, 12  # between planes, and how many between two of them where it ends; twice over
AT_ONCE = 12  # planes that are cut in one pass
SPREAD = 1.5  # beyond a trunk's section, that the middles of its parts may lie where it has parted
PART = 0.1  # of a trunk's section: a smaller loop is a scrap
JUMP = 0.15  # change of a leg's area over OVER that is the other leg's, whose section it has joined
GROWTH, OVER = 0.1, 0.3  # growth of a passage's section a radius, and over what length: with more it is no tube
LAG = round(OVER / STEP)
CLEAR, NOISES, EDGES = 0.03, 3.0, 0.75  # how far planes stand off the nose: in radii, noises and edges of the mesh
LEAST_LEG = 0.8  # length that must be left of a passage beyond its plane

Mesh = tuple[FloatArray, IntArray]


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
            raise _cut_short(
                f"leg {k + 1}", leg, "no plane across it is clear of the trunk, of the divider and of all other legs"
            )
        begins.append(leg.point + t * leg.heading)
    return Planes(plane, tuple(begins), nose)


def has_handle(mesh: Mesh) -> bool:
    """Return whether a closed mesh has a handle that is left when it is drawn as coarse as its edges are long.

    Where two walls graze, a scan has slits and threads that its points cannot show.
    """
    vertices, faces = mesh
    if len(vertices) - len(faces) / 2.0 >= 2.0:  # Euler: of a closed mesh with g handles, 2 (1 - g) = V - F / 2
        return False
    solid = manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))
    if solid.status() != manifold3d.Error.NoError:
        return True
    return any(part.genus() > 0 for part in solid.simplify(mesh_edge(*mesh)).decompose())


def _before_it_widens(mesh: Mesh, at: Approach, last: float) -> float:
    """Return the height, `last` or less, up to which a passage's section grows by no more than a tube's."""
    area: list[float] = []
    over = np.nan
    for height, section in _backward(mesh, at, last):
        area.append(np.nan if section is None else area_of(section))
        if len(area) > LAG:
            before, over = over, area[-1 - LAG] / area[-1] - 1.0 - GROWTH * OVER
            if over <= 0.0:
                return height + (LAG + _since(before, over)) * STEP * at.radius
    return -at.room


def _since(before: float, now: float) -> float:
    """Return how much of the step between two values has gone by since they passed 0; 0 where there is none before."""
    return now / (now - before) if np.isfinite(before) else 0.0


def clear_of(approach: Approach, roughness: float) -> float:
    """Return how far a plane stands off what it must not touch."""
    return max(CLEAR * approach.radius, roughness)


def _cut_short(name: str, at: Approach, why: str) -> GeometryError:
    return GeometryError(
        f"the mold splits, but too little of {name} is left to be measured: {why}",
        where=f"about {place_of(at.point)} mm",
        hint="Trim the mold farther out before you scan it; a split needs a trunk and legs at least as long as half "
        "their width. If it is long enough, look for a hole or a fin that joins two legs there, and close it",
    )


def _nose(mesh: Mesh, trunk: Approach) -> tuple[float, FloatArray]:
    """Return how far beyond its approach a trunk's section parts, and the place (3,) where it does."""
    base = sections_of(mesh, trunk.point[None], plane_frame(trunk.heading)[None])[0]
    if base is None:
        raise _not_found(trunk)
    about = shapely.convex_hull(shapely.Polygon(base.outline)).buffer(SPREAD * trunk.radius)
    least = PART * area_of(base)

    def parts_in(loops: list[FloatArray]) -> list[FloatArray]:
        return [o for o in loops if area_and_centroid(o)[0] > least and about.contains(shapely.Point(o.mean(axis=0)))]

    def parted(heights: FloatArray) -> list[bool]:
        return [len(parts_in(loops)) > 1 for loops in _loops_in(mesh, trunk, heights)]

    many: list[bool] = []
    for heights in _forward(trunk):
        many += parted(heights)
        # A plane along a step in the wall is cut up by chance: the next one is not.
        sure = [k for k in range(len(many) - 1) if many[k] and many[k + 1]]
        if sure:
            break
    else:
        raise _not_found(trunk)
    low, high = _bracket(trunk, sure[0], parted)
    parts = [shapely.Polygon(o) for o in parts_in(_loops_in(mesh, trunk, np.array([high]))[0])]
    if len(parts) < 2:
        raise _not_found(trunk)
    one, other = shapely.shortest_line(parts[0], shapely.union_all(parts[1:])).coords
    place = (np.array(one) + np.array(other)) / 2.0
    frame = plane_frame(trunk.heading)
    return low, trunk.point + low * trunk.heading + place @ frame[1:]


def _own_until(mesh: Mesh, leg: Approach) -> float:
    """Return how far beyond its approach a leg's section is still its own."""

    def areas(heights: FloatArray) -> list[float]:
        return [np.nan if s is None else area_of(s) for s in _sections(mesh, leg, heights)]

    def joined(before: float) -> Callable[[FloatArray], list[bool]]:
        return lambda heights: [not abs(area / before - 1.0) < JUMP for area in areas(heights)]

    area: list[float] = []
    for heights in _forward(leg):
        area += areas(heights)
        for k in range(len(area)):
            if not abs(area[k] / area[max(k - LAG, 0)] - 1.0) < JUMP:
                return _bracket(leg, k, joined(area[max(k - LAG, 0)]))[0]
    raise _not_found(leg)


def _forward(at: Approach) -> Iterator[FloatArray]:
    """Yield heights from an approach on, STEP apart, some at once."""
    heights = np.arange(0.0, AHEAD, STEP) * at.radius
    yield from np.array_split(heights, -(-len(heights) // AT_ONCE))


def _backward(mesh: Mesh, at: Approach, last: float) -> Iterator[tuple[float, Section | None]]:
    """Yield heights from `last` back, STEP apart, as far as the passage has room, and the sections there."""
    heights = np.arange(last, -at.room, -STEP * at.radius)
    for some in np.array_split(heights, max(-(-len(heights) // AT_ONCE), 1)):
        yield from zip(some.tolist(), _sections(mesh, at, some), strict=True)


def _bracket(at: Approach, k: int, ended: Callable[[FloatArray], list[bool]]) -> tuple[float, float]:
    """Return the heights between which a passage ends: the last at which it has not and the first at which it has.

    k : which of the heights that go forward is the first at which it has. ended : at which of some it has.
    """
    if k == 0:
        raise _not_found(at)
    low, high = (k - 1) * STEP * at.radius, k * STEP * at.radius
    for _ in range(2):
        heights = np.linspace(low, high, FINER)
        # At a plane through a point of the mesh rounding tells which side it is on.
        at_end = next((j for j, has in enumerate(ended(heights[1:-1]), start=1) if has), len(heights) - 1)
        low, high = float(heights[at_end - 1]), float(heights[at_end])
    return low, high


def _not_found(at: Approach) -> GeometryError:
    return GeometryError(
        "the mold splits, but where its divider begins cannot be made out",
        where=f"about {place_of(at.point)} mm",
        hint="Look at the scan there: a hole, a fin or loose metal at the divider's nose has to be mended first",
    )


def _clear_from(mesh: Mesh, leg: Approach, last: float, plane: FloatArray, normal: FloatArray) -> float | None:
    """Return the height, `last` or less, up to which a leg's sections lie wholly beyond a plane; None where none do."""
    least = np.nan
    for height, section in _backward(mesh, leg, last):
        before, least = least, np.nan
        if section is not None:
            least = float(((section.in_space(section.outline) - plane) @ normal).min())
            if least >= 0.0:
                return height + _since(before, least) * STEP * leg.radius
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
