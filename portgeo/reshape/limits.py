"""What stops a cut: wall left, outer mesh, gasket line, parts that no cut may touch.

The wall grid and the readings, meshes and outlines come in; for each limit the greatest depth at
every place goes out. Depths here are along the way a cut goes, in the section's plane.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import igl
import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import WALLS
from portgeo.measuring.throat import Throat
from portgeo.reshape.grid import WallGrid, exits
from portgeo.reshape.target import Target, wanted_areas

WALL_SLOPE = 0.05  # mm a mm: how fast a cast wall may thin away from a reading; *a choice, no source*
NEAR_MM = 19.05  # 0.75 in: *common practice, no source*; farther than this from every reading nobody knows the wall
UNSURE_MM = 0.25  # 0.010 in more by interpolation than a reading vouches for: the wall is to be measured there
GASKET_CARRY_MM = 6.0  # the gasket line holds this far in: a lip behind it would be an undercut
CLEAR_MM = 1e-4  # a march towards an outer mesh ends this close to its least distance
MARCH_STEPS = 60
NOTHING = np.inf
AT_THROAT_MM = 0.05  # a named station nearer to the throat than this is the throat
THROAT_ASKED = 1e-4  # of its area: what is wanted there in percent of itself is not more


@dataclass(frozen=True)
class WallReading:
    """One reading of a wall tester: station, clock hours, thickness of metal square to the wall."""

    station: float
    clock: float
    thickness: float
    where: str = ""


@dataclass(frozen=True)
class WallLeft:
    """What a cut leaves of a wall where it was read, mm."""

    reading: WallReading
    left: float


@dataclass(frozen=True)
class Limit:
    """The greatest depth (n, m) that one thing allows, inf where it says nothing.

    name : for messages. chosen : whether it is the user's own choice, and not metal's. unmeasured :
    (n, m), where it is no thicker for want of a reading, None for limits that are not measured. known : (n, m), where
    it says how much metal there is, None for limits that are of no metal.
    """

    name: str
    depth: FloatArray
    chosen: bool = False
    unmeasured: np.ndarray | None = None
    known: np.ndarray | None = None


def wall_unknown(limits: Sequence[Limit], shape: tuple[int, int]) -> np.ndarray:
    """Return where no limit says how much metal there is (n, m): nobody has measured the wall near there."""
    unknown = np.ones(shape, dtype=bool)
    for limit in limits:
        unknown &= True if limit.known is None else ~limit.known
    return unknown


def together(limits: Sequence[Limit], shape: tuple[int, int]) -> FloatArray:
    """Return the least depth (n, m) of all limits, never under 0."""
    depth = np.full(shape, NOTHING)
    for limit in limits:
        depth = np.minimum(depth, limit.depth)
    return np.maximum(depth, 0.0)


def chosen_limits(grid: WallGrid, target: Target) -> list[Limit]:
    """Return the limits that the target itself sets: greatest depth, walls, stations, parts kept."""
    shape = grid.lean.shape
    limits = [Limit("greatest depth", target.greatest_depth / grid.lean, chosen=True)]
    walls = np.isin(grid.wall, [WALLS.index(wall) for wall in target.walls])
    first, last = grid.stations[[0, -1]]
    start = first if target.start is None else target.start
    end = last if target.end is None else target.end
    inside = (grid.stations >= start - 1e-9) & (grid.stations <= end + 1e-9)
    if not walls.all() or not inside.all():
        allowed = np.broadcast_to(walls, shape) & inside[:, None]
        limits.append(Limit("the part of the wall that may be cut", np.where(allowed, NOTHING, 0.0), chosen=True))
    for keep in target.keep:
        along = (grid.stations >= keep.start - 1e-9) & (grid.stations <= keep.end + 1e-9)
        span = (keep.clock_end - keep.clock_start) % 12.0 or 12.0
        within = (grid.clock - keep.clock_start) % 12.0 <= span
        limits.append(Limit(keep.name, np.where(along[:, None] & within, 0.0, NOTHING)))
    return limits


def throat_kept(grid: WallGrid, target: Target, throat: Throat, throat_area: float, *, at_entry: bool) -> list[Limit]:
    """Return that a marked throat, and the seat beyond it, stay as they are unless more area is wanted at the throat.

    A cut beside it would else fade out through it, and percentages are of it.
    """
    wanted = wanted_areas(target, np.array([throat.station]), throat_area)[0]
    if throat.told_by != "mark" or wanted > throat.area * (1.0 + THROAT_ASKED):
        return []
    beyond = grid.stations - throat.station
    held = (-beyond if at_entry else beyond) >= -AT_THROAT_MM
    return [Limit("throat", np.where(np.broadcast_to(held[:, None], grid.lean.shape), 0.0, NOTHING))]


def wall_limit(grid: WallGrid, readings: Sequence[WallReading], least_wall: float) -> Limit:
    """Return the limit that tester readings and the least wall to leave set.

    Nobody has measured between readings, so a place is given the lesser of two figures: what the
    readings interpolate to (Shepard's inverse square of the distance along the wall), and the most
    that any of them vouches for, its own thickness less WALL_SLOPE for each mm away. At a reading
    both are the reading; far from all of them nothing is left and nothing may be cut.
    """
    square = _square_distances(grid, readings)
    between, vouched = _thicknesses(square, readings)
    thickness = np.minimum(between, vouched)
    return Limit(
        "wall",
        np.maximum(thickness - least_wall, 0.0) / grid.lean,
        unmeasured=_unmeasured(between, vouched, least_wall),
        known=square.min(axis=0) <= NEAR_MM**2,
    )


def _unmeasured(between: FloatArray, vouched: FloatArray, least_wall: float) -> np.ndarray:
    """Return where no reading is near enough to tell what is there over the least wall, (n, m)."""
    return np.maximum(between - least_wall, 0.0) - np.maximum(vouched - least_wall, 0.0) > UNSURE_MM


def thin_walls(readings: Sequence[WallReading], least_wall: float) -> list[Notice]:
    """Return a notice of a wall that is thinner already than what is to be left of it."""
    thin = sorted((r for r in readings if r.thickness < least_wall), key=lambda r: r.thickness)
    if not thin:
        return []
    return [
        Notice(
            "wall_thin",
            limit=least_wall,
            count=len(thin),
            thickness=thin[0].thickness,
            station=thin[0].station,
            clock=thin[0].clock,
        )
    ]


def walls_left(grid: WallGrid, depth: FloatArray, readings: Sequence[WallReading]) -> tuple[WallLeft, ...]:
    """Return what a cut (n, m), square to the wall, leaves at each reading; the least first."""
    if not readings:
        return ()
    taken = np.maximum(depth[_places_of(grid, readings)], 0.0)
    found = [WallLeft(r, r.thickness - float(cut)) for r, cut in zip(readings, taken, strict=True)]
    return tuple(sorted(found, key=lambda wall: wall.left))


def wall_thickness(grid: WallGrid, readings: Sequence[WallReading]) -> FloatArray:
    """Return the thickness of metal (n, m) that readings are taken to mean, nan where none is near enough."""
    between, vouched = _thicknesses(_square_distances(grid, readings), readings)
    return np.where(_unmeasured(between, vouched, 0.0), np.nan, np.maximum(np.minimum(between, vouched), 0.0))


def _square_distances(grid: WallGrid, readings: Sequence[WallReading]) -> FloatArray:
    """Return how far along the wall each place is from each of k readings, squared (k, n, m)."""
    rows, columns = _places_of(grid, readings)
    share, girth = grid.share[columns], grid.girth[rows]
    along = grid.stations[None, :, None] - np.array([r.station for r in readings])[:, None, None]
    apart = np.abs(grid.share[None, :] - share[:, None])
    apart = np.minimum(apart, 4.0 - apart) / 4.0 * girth[:, None]
    return np.asarray(along**2 + apart[:, None, :] ** 2)


def _thicknesses(square: FloatArray, readings: Sequence[WallReading]) -> tuple[FloatArray, FloatArray]:
    """Return what readings interpolate to (n, m), and the most that any of them vouches for (n, m)."""
    thickness = np.array([r.thickness for r in readings])[:, None, None]
    weight = 1.0 / np.maximum(square, 1e-12)
    between = (weight * thickness).sum(axis=0) / weight.sum(axis=0)
    return between, (thickness - WALL_SLOPE * np.sqrt(square)).max(axis=0)


def _places_of(grid: WallGrid, readings: Sequence[WallReading]) -> tuple[IntArray, IntArray]:
    """Return the grid's rows (k,) and places round (k,) nearest to readings."""
    stations, clocks = np.array([(r.station, r.clock) for r in readings]).T
    rows = np.argmin(np.abs(grid.stations - stations[:, None]), axis=1)
    off = np.abs((grid.clock[rows] - clocks[:, None] + 6.0) % 12.0 - 6.0)
    return rows, np.argmin(off, axis=1)


@dataclass(frozen=True)
class Shared:
    """How metal is shared with another passage that is cut too: `share` of it is this side's, and the other's own cut
    is nowhere deeper than `deepest`."""

    share: float
    deepest: float


ALL_OURS = Shared(1.0, 0.0)  # what lies outside is not cut


def outer_limit(
    grid: WallGrid,
    vertices: FloatArray,
    faces: IntArray,
    least_wall: float,
    deepest: float,
    name: str,
    shared: Shared = ALL_OURS,
) -> Limit:
    """Return the limit that an outer mesh (a water jacket, a pushrod passage) and the least wall set.

    Each place goes outward until the mesh is `least_wall` away in whatever direction, by marching
    forward the free distance there is (Hart, "Sphere tracing", The Visual Computer 12, 1996), up to
    `deepest`. vertices (k, 3) in the port frame.

    Where the mesh is another passage that is cut too, a depth d is allowed while s u - (1 - s) d >= s least, with u
    the distance to the mesh as it is and s the share of this side; or while the other's deepest cut would leave the
    least. Two sides that keep to that, with shares that come to one, leave it: f = s u - (1 - s) t, t the distance to
    this side's wall as it is, is at least s least on this side's cut wall, no more than -(1 - s) least on the other's,
    and from place to place it changes by no more than the way between them.
    """
    faces = np.ascontiguousarray(faces, dtype=np.int64)
    vertices = np.ascontiguousarray(vertices, dtype=np.float64)
    tree = igl.AABB()
    tree.init(vertices, faces)

    def march(origins: FloatArray, directions: FloatArray) -> FloatArray:
        return _march(tree, vertices, faces, origins, directions, least_wall, deepest, shared)

    # The wall between places is a chord, and what it must clear may bulge between them: where the
    # middle of a chord would pass its own limit, both its ends stay back by as much.
    points, directions = grid.points, grid.directions
    depth = march(points, directions)
    back = np.zeros(depth.shape)
    for down, aside in ((1, 0), (0, 1), (1, 1), (1, -1)):
        one = slice(0, len(points) - down), slice(None)
        other = slice(down, None), slice(None)
        ends = [np.roll(a, -aside, axis=1)[other] for a in (points, directions, depth)]
        way = directions[one] + ends[1]
        way /= np.linalg.norm(way, axis=2, keepdims=True)
        over = np.maximum((depth[one] + ends[2]) / 2.0 - march((points[one] + ends[0]) / 2.0, way), 0.0)
        back[one] = np.maximum(back[one], over)
        back[other] = np.maximum(back[other], np.roll(over, aside, axis=1))
    free = (depth >= deepest) & (back == 0.0)
    return Limit(name, np.where(free, NOTHING, np.maximum(depth - back, 0.0)), known=~free)


def _march(
    tree: igl.AABB,
    vertices: FloatArray,
    faces: IntArray,
    origins: FloatArray,
    directions: FloatArray,
    least: float,
    deepest: float,
    shared: Shared,
) -> FloatArray:
    """Return how far (n, m) points can go before a mesh is `least` away, no more than `deepest`; see outer_limit."""
    start, way = origins.reshape(-1, 3), directions.reshape(-1, 3)
    depth = np.full(len(start), deepest)
    reach = least + deepest + shared.deepest
    low, high = vertices.min(axis=0) - reach, vertices.max(axis=0) + reach
    going = np.flatnonzero(((start >= low) & (start <= high)).all(axis=1))
    depth[going] = 0.0
    for _ in range(MARCH_STEPS):
        if len(going) == 0:
            break
        square, _, _ = tree.squared_distance(vertices, faces, start[going] + depth[going, None] * way[going])
        over = np.sqrt(np.atleast_1d(square)) - least
        free = np.maximum(shared.share * over - (1.0 - shared.share) * depth[going], over - shared.deepest)
        depth[going] += np.maximum(free, 0.0)
        going = going[(free > CLEAR_MM) & (depth[going] < deepest)]
    return np.minimum(depth, deepest).reshape(origins.shape[:2])


@dataclass(frozen=True)
class MetalBetween:
    """The least metal between a port and another passage, mm: now, after this one's cut, and where that is.

    least : what is to be kept.
    """

    name: str
    now: float
    after: float
    least: float
    station: float
    clock: float


def metal_between(
    grid: WallGrid, travel: FloatArray, vertices: FloatArray, faces: IntArray, least: float, name: str
) -> MetalBetween:
    """Return how much metal a cut (n, m) leaves to another passage, whose mesh's vertices are in the port frame."""
    tree = igl.AABB()
    tree.init(vertices, faces)
    left = []
    for depth in (0.0, travel[..., None]):
        points = (grid.points + depth * grid.directions).reshape(-1, 3)
        left.append(np.sqrt(tree.squared_distance(vertices, faces, points)[0]).reshape(travel.shape))
    row, column = np.unravel_index(int(np.argmin(left[1])), travel.shape)
    return MetalBetween(
        name, float(left[0].min()), float(left[1].min()), least, float(grid.stations[row]),
        float(grid.clock[row, column]),
    )  # fmt: skip


def gasket_limit(grid: WallGrid, outline: FloatArray, at_exit: bool = False) -> Limit:
    """Return the limit that a gasket's opening (k, 2), counterclockwise, sets at a face of the port.

    The outline is in the plane of the face, left and up of the centreline. It holds at the face and
    GASKET_CARRY_MM into the port, in the plane of each section there.
    """
    from_face = grid.stations[-1] - grid.stations if at_exit else grid.stations - grid.stations[0]
    return _inside(grid, outline, np.flatnonzero(from_face <= GASKET_CARRY_MM), "gasket line")


def split_limit(grid: WallGrid, outline: FloatArray) -> Limit:
    """Return that a leg's first section stays inside the trunk's outline (k, 2), counterclockwise, in its plane.

    A leg cut past it would end in a ledge against the trunk's wall, in the plane of the split.
    """
    return _inside(grid, outline, np.array([0]), "the trunk's wall at the split")


def _inside(grid: WallGrid, outline: FloatArray, rows: IntArray, name: str) -> Limit:
    """Return that some rows of a grid stay inside an outline in their own planes."""
    depth = np.full(grid.lean.shape, NOTHING)
    for k in rows:
        room = exits(grid.outlines[k], grid.outward[k], outline)
        depth[k] = np.maximum(np.nan_to_num(room, nan=0.0), 0.0)
    return Limit(name, depth)
