"""The short side rebuilt: the floor line rounded to a wanted radius, tangent to floor and bowl.

A port and its wall grid come in; how far the floor of each section moves, and the depth that takes
it there, go out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy import sparse
from scipy.ndimage import label

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray
from portgeo.core.section import Section
from portgeo.measuring.sides import inward_of, side_points
from portgeo.reshape.grid import WallGrid, exits, moved
from portgeo.reshape.solve import Blend, Fairness
from portgeo.reshape.target import ShortSideWanted

ARC_CHORDS = 256  # chords in a quarter of the rounding circle: within 0.0002 of the radius's hundredth
ROOM = 4.0  # of the radius: metal is taken to go on this far behind the floor line and past its ends
RADIUS_STEP = 0.002  # of the radius: how closely the largest radius that fits is found
QUIET_MM = 6.0  # of a scanned floor line over which its noise is averaged: under the smallest short side
SURE_NOISES = 1.5  # of the wall's noise, which the line has less of: a move that is there
TOUCH_MM = 0.002  # floor moved by less than this is not cut
INMOST_FACING = 0.85  # a wall within 32 degrees of it can become the innermost floor
BEND_SPAN_MM = 4.0  # to each side: past a scan's roughness and a mesh's chords, under the smallest short side
# Of the wanted curvature: what the line may be over it in the programme, and is rounded off after. Less, and the
# line's last digits, which differ from grid to grid, decide how it may bend.
BEND_SLACK = 0.05
FLOOR_FACING = 0.5  # a wall within 60 degrees of the inside of the turn is floor, whose radius a limit may cost


@dataclass(frozen=True)
class ShortSideCut:
    """How the short side is cut.

    radius : the one it gets. start, end : stations of the first and last floor that moves. depth :
    (n, m), on the wall grid. turn : heading change of the floor line, radians. stopped_at : place
    (row, column) of the grid where more radius would pass a limit, None where none stands in the
    way; stopped_by_stations : the arc would begin or end outside the stations it may use.
    """

    radius: float
    start: float
    end: float
    depth: FloatArray
    turn: float
    stopped_at: tuple[int, int] | None
    stopped_by_stations: bool

    @property
    def is_short(self) -> bool:
        """Whether the radius had to stay under the wanted one."""
        return self.stopped_at is not None or self.stopped_by_stations


def short_side_cut(grid: WallGrid, wanted: ShortSideWanted, limit: FloatArray) -> ShortSideCut:
    """Return the least cut after which the floor line is nowhere tighter than the wanted radius.

    In the plane of the turn the metal is opened by a disk of that radius (the union of all such
    disks that lie in it; Serra, Image Analysis and Mathematical Morphology, 1982): what the disk
    cannot reach is cut. The new line is an arc of the disk, tangent to the old line where it
    leaves it, and no smaller cut has that radius. Across, the floor from wall to wall moves as one.
    Where the arc would leave the stations it may use, or the floor would pass `limit` (n, m), the
    largest radius that does neither is taken. Raises GeometryError on a port with no turn.
    """
    floor = _floor(grid)
    first, last = grid.stations[[0, -1]]
    start = first if wanted.start is None else wanted.start
    end = last if wanted.end is None else wanted.end
    outside = (grid.stations < start - 1e-9) | (grid.stations > end + 1e-9)

    def past(move: FloatArray) -> FloatArray:
        return np.where(floor.faces, _swept(grid, floor.ways, move) - limit, -np.inf)

    def fits(radius: float) -> bool:
        move = _floor_moves(floor, radius)
        return not move[outside].any() and bool(past(move).max() <= TOUCH_MM)

    radius, tight = wanted.radius, None
    if not fits(radius):
        low, high = 0.0, radius
        while high - low > RADIUS_STEP * wanted.radius:
            middle = (low + high) / 2.0
            low, high = (middle, high) if fits(middle) else (low, middle)
        radius, tight = low, past(_floor_moves(floor, high))
    move = _floor_moves(floor, radius) if radius > 0.0 else np.zeros(len(floor.line))
    cut = np.flatnonzero(move)
    over_limit = tight is not None and bool(tight.max() > TOUCH_MM)
    return ShortSideCut(
        radius=radius,
        start=float(grid.stations[cut[0]]) if len(cut) else float("nan"),
        end=float(grid.stations[cut[-1]]) if len(cut) else float("nan"),
        depth=np.minimum(_swept(grid, floor.ways, move), limit),
        turn=floor.turn,
        stopped_at=_argmax(tight) if tight is not None and over_limit else None,
        stopped_by_stations=tight is not None and not over_limit,
    )


def rounded_again(grid: WallGrid, radius: float) -> FloatArray:
    """Return the depth (n, m) that a floor line which other cuts have moved needs to have `radius` again."""
    floor = _floor(grid)
    return _swept(grid, floor.ways, _floor_moves(floor, radius))


def fairness(grid: WallGrid, blend: Blend, base: FloatArray, radius: float) -> Fairness:
    """Return how a cut beyond `base` (n, m) may bend so that the floor keeps `radius`.

    A curve of curvature k moved into the metal by d has, to first order, the curvature k + d'' + k^2 d
    (primes along the curve; any book on plane curves, from memory). That may be no more than 1 / radius,
    or than it is before: on the arc itself only a cut like a shift of the whole arc is left, elsewhere there
    is room. It holds at every row, on each wall line of the inmost floor, and no cut at all meets it.
    """
    floor = _floor(replace(grid, outlines=moved(grid, base)))
    step = np.linalg.norm(np.diff(floor.line, axis=0), axis=1)
    before, after = step[:-1], step[1:]
    whole = before + after
    second = np.zeros((len(step) - 1, len(floor.line)))
    at = np.arange(len(step) - 1)
    second[at, at], second[at, at + 1] = 2.0 / (before * whole), -2.0 / (before * after)
    second[at, at + 2] = 2.0 / (after * whole)
    bend = np.clip(_bending(floor), 0.0, 1.0 / radius)
    second[at, at + 1] += bend[1:-1] ** 2
    rows = second @ blend.along
    facing = np.einsum("nmi,ni->nm", grid.outward, floor.ways)[:, blend.columns]
    columns = np.flatnonzero(facing.mean(axis=0) > INMOST_FACING)
    count = len(blend.rows) * len(blend.columns)
    place = np.arange(count).reshape(len(blend.rows), -1)
    blocks = [
        sparse.csr_matrix(
            (rows.ravel(), (np.repeat(at, len(blend.rows)), np.tile(place[:, column], len(at)))), (len(at), count)
        )
        for column in columns
    ]
    # As shares of the wanted curvature, so that the solver sees numbers near one.
    most = np.tile(1.0 - radius * bend[1:-1], len(columns))
    return Fairness((radius * sparse.vstack(blocks)).tocsr(), most)


def _bending(floor: _Floor) -> FloatArray:
    """Return the curvature (n,) of the floor line, of circles through points BEND_SPAN_MM apart."""
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(floor.line, axis=0), axis=1))])
    low = np.clip(run - BEND_SPAN_MM, 0.0, None)
    high = np.clip(run + BEND_SPAN_MM, None, run[-1])
    a, c = (np.column_stack([np.interp(x, run, floor.line[:, k]) for k in range(2)]) for x in (low, high))
    one, other = floor.line - a, c - floor.line
    cross = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    sides = [np.linalg.norm(each, axis=1) for each in (one, other, c - a)]
    sign = 1.0 if (floor.inward[0] @ [0.0, 1.0]) > 0 else -1.0
    return sign * 2.0 * cross / np.maximum(sides[0] * sides[1] * sides[2], 1e-12)


@dataclass(frozen=True)
class _Floor:
    """The floor line in the plane of the turn.

    line, inward : (n, 2), points and the way each section's floor goes. ways : (n, 2), the same way
    in the section. faces : (n, m), which wall is floor. turn : radians. noise : of the wall.
    """

    line: FloatArray
    inward: FloatArray
    ways: FloatArray
    faces: np.ndarray
    turn: float
    noise: float


def _floor(grid: WallGrid) -> _Floor:
    plane = grid.bend
    if plane is None:
        raise GeometryError(
            "the port has no turn, so it has no short side to round",
            where="short_side",
            hint="Leave short_side out of the target",
        )
    sections = [Section(*parts) for parts in zip(grid.outlines, grid.origins, grid.frames, strict=True)]
    points = side_points(sections, plane, True)
    inward = inward_of(grid.frames, plane)
    flat = np.column_stack([plane.ahead, plane.aside])
    ways = np.einsum("nij,nj->ni", grid.frames[:, 1:], inward)
    faces = np.einsum("nmi,ni->nm", grid.outward, ways) > FLOOR_FACING
    line = points @ flat
    window = 2 * round(QUIET_MM / float(np.diff(grid.stations).mean()) / 2.0) + 1
    if grid.noise > 0.0 and window >= 5:
        from scipy.signal import savgol_filter  # most of a second to import, and only scans need it

        line = savgol_filter(line, window, 2, axis=0, mode="interp")
    return _Floor(line, inward @ flat, ways, faces, plane.turn, grid.noise)


def _argmax(values: FloatArray) -> tuple[int, int]:
    row, column = np.unravel_index(int(np.argmax(values)), values.shape)
    return int(row), int(column)


def _floor_moves(floor: _Floor, radius: float) -> FloatArray:
    """Return how far each point of the floor line moves (n,) to the metal opened by a disk of `radius`."""
    line, inward = floor.line, floor.inward
    room = ROOM * radius
    ahead, behind = line[0] - line[1], line[-1] - line[-2]
    begin = line[0] + room * ahead / np.linalg.norm(ahead)
    finish = line[-1] + room * behind / np.linalg.norm(behind)
    # The line goes on straight past both openings, and the metal lies on its inner side.
    face = np.vstack([begin, line, finish])
    back = np.vstack([finish + room * inward[-1], begin + room * inward[0]])
    metal = shapely.make_valid(shapely.Polygon(np.vstack([face, back])))
    opened = metal.buffer(-radius, quad_segs=ARC_CHORDS).buffer(radius, quad_segs=ARC_CHORDS)
    taken = metal.difference(opened)
    move = np.zeros(len(line))
    for part in shapely.get_parts(taken):
        if part.area < TOUCH_MM**2 or shapely.distance(part, shapely.LineString(line)) > TOUCH_MM:
            continue
        ring = shapely.get_coordinates(shapely.orient_polygons(part, exterior_cw=False).exterior)[:-1]
        # From just behind the wall, so that a point on the part's edge is inside it.
        near = shapely.dwithin(shapely.points(line + 1e-7 * inward), part, 1e-6)
        far = exits(line[near], inward[near], ring)
        move[near] = np.fmax(move[near], np.nan_to_num(far, nan=0.0))
    # A stretch that is nowhere deeper than a scan's noise is its roughness, and no short side.
    stretch, count = label(move > TOUCH_MM)
    deepest = np.array([0.0, *(move[stretch == k + 1].max() for k in range(count))])
    return np.where(deepest[stretch] > max(TOUCH_MM, SURE_NOISES * floor.noise), move, 0.0)


def _swept(grid: WallGrid, ways: FloatArray, move: FloatArray) -> FloatArray:
    """Return the depth (n, m) that moves the inner half of each section by `move` (n,) in `ways` (n, 2)."""
    depth = np.zeros(grid.outlines.shape[:2])
    for k in np.flatnonzero(move > 0.0):
        way = ways[k]
        outline = grid.outlines[k]
        aside = outline @ np.array([way[1], -way[0]])
        a, b = int(np.argmax(aside)), int(np.argmin(aside))
        begin, end = (a, b) if (outline[(a + 1) % len(outline)] @ way) > (outline[a] @ way) else (b, a)
        inner = (begin + np.arange((end - begin) % len(outline) + 1)) % len(outline)
        wanted = np.vstack([outline[inner] + move[k] * way, outline[[end, begin]]])
        depth[k, inner] = np.fmax(exits(outline[inner], grid.outward[k, inner], wanted), 0.0)
    return depth
