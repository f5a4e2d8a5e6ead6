"""Where a straight burr gets to: from each opening, on which parts of the wall its head can lie.

A Port and a Tool come in; the free length each place of the wall needs, from either opening, goes
out, infinite where no straight tool gets there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import igl
import numpy as np
import shapely

from portgeo.comparing.split import whole_of
from portgeo.comparing.tube import walled
from portgeo.core.plane import FloatArray, IntArray, resample
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Section
from portgeo.core.split import SplitPort
from portgeo.reshape.grid import WallGrid, wall_grid, wall_normals

PLACES_ROUND = 36
STATION_MM, MOST_STATIONS = 3.0, 81  # between rows of places
RIM_POINTS = 32  # round an opening, on each of its RINGS
RINGS = (1.0, 0.7, 0.4)  # of the opening's size: where the axis of the tool may pass
ROUND_TOOL = 8  # lines round the shank that must be clear, besides its axis
HEAD_ROOM_MM = 0.1  # a head lies on a place if nothing else of the wall is nearer by more than this
SHORT_OF_PLANE_MM = 0.05  # sight ends this far inside the opening, whose cap is no wall
OPENING_MM = 0.5  # places nearer than this to an opening are its rim
BODY_MM = 150.0  # of the hand tool behind the collet's nose, for obstacles
STRAIGHT_UP = 0.05  # cosine: a tool lying flatter than this in the opening does not go through it


@dataclass(frozen=True)
class Tool:
    """A straight burr in a collet, millimetres.

    head, shank, collet : diameters. head_length : along the axis, at least the diameter (a ball).
    free_length : from the collet's nose to the tip.
    """

    head: float
    head_length: float
    shank: float
    collet: float
    free_length: float


@dataclass(frozen=True)
class Reach:
    """What a tool gets to.

    grid : the wall at n stations, m places. from_entry, from_exit : (n, m), the least free length
    with which the head lies there, inf where no straight tool does. head_fits : (n, m). area :
    (n, m), mm2 of wall that each place stands for. ends : stations of the two openings.
    """

    tool: Tool
    grid: WallGrid
    from_entry: FloatArray
    from_exit: FloatArray
    head_fits: np.ndarray
    area: FloatArray
    ends: tuple[float, float]

    @property
    def reached(self) -> IntArray:
        """0 neither, 1 from the entry, 2 from the exit, 3 from both: (n, m)."""
        entry, exits = (need <= self.tool.free_length for need in (self.from_entry, self.from_exit))
        return entry.astype(np.int64) + 2 * exits

    @property
    def needed(self) -> FloatArray:
        """The least free length (n, m) from whichever opening is nearer."""
        return np.minimum(self.from_entry, self.from_exit)

    def share(self, which: int) -> float:
        """Return the share of the wall with `reached` equal to `which`."""
        return float(self.area[self.reached == which].sum() / self.area.sum())

    def deepest(self, at_exit: bool = False) -> tuple[float, float]:
        """Return how far in (mm from that opening) the wall is reached all round, and at any place.

        Between two rows of places the length needed is taken to change evenly.
        """
        need = self.from_exit[::-1] if at_exit else self.from_entry
        first, last = self.ends
        depth = last - self.grid.stations[::-1] if at_exit else self.grid.stations - first
        return (
            _front(depth, need.max(axis=1), self.tool.free_length, first=True),
            _front(depth, need.min(axis=1), self.tool.free_length, first=False),
        )


def _front(depth: FloatArray, need: FloatArray, length: float, first: bool) -> float:
    """Return the depth at which the need (n,) passes a length.

    Where it first does, going in; or past the last row where it is not yet past.
    """
    good = need <= length
    if not good.any() or (first and not good[0]):
        return 0.0
    k = int(np.argmin(good)) - 1 if first and not good.all() else int(np.flatnonzero(good)[-1])
    if k + 1 == len(depth) or not np.isfinite(need[k + 1]):
        return float(depth[k])
    share = (length - need[k]) / (need[k + 1] - need[k])
    return float(depth[k] + share * (depth[k + 1] - depth[k]))


@dataclass(frozen=True)
class Access:
    """What a tool meets on its way to a port's wall, in the port's frame.

    wall : vertices (k, 3) and faces (l, 3), the openings left open. entries, exits : sections of the openings that it
    goes in by, against the flow and along it. ends : stations from which depths are told.
    """

    wall: tuple[FloatArray, IntArray]
    entries: tuple[Section, ...]
    exits: tuple[Section, ...]
    ends: tuple[float, float]


def access_of(port: Port, within: SplitPort | None = None) -> Access:
    """Return what a tool meets on its way to a port's wall.

    within : the port that splits of which it is a passage: a leg is reached through the trunk and by its own exit, the
    trunk by its entry and through the legs.
    """
    first, last = (float(s) for s in port.centreline.stations[[0, -1]])
    if within is None:
        wall = (port.vertices, port.faces[walled(port).is_wall])
        return Access(wall, (_end_of(port, 0),), (_end_of(port, -1),), (first, last))
    whole = whole_of(within)
    wall = (_between(whole.port, port, whole.port.vertices), whole.port.faces[whole.is_wall])
    exits = [port] if within.leg_of(port) else [leg.port for leg in within.legs]
    return Access(
        wall,
        (_laid(_end_of(within.trunk, 0), within.trunk, port),),
        tuple(_laid(_end_of(each, -1), each, port) for each in exits),
        (float(within.trunk.centreline.stations[0]), last),
    )


def _end_of(port: Port, end: int) -> Section:
    return sections_at(port, port.centreline.stations[[end]])[0]


def _between(port: Port, other: Port, points: FloatArray) -> FloatArray:
    """Return points (n, 3) of a port's frame in another's, whose sources share their coordinates."""
    return other.from_source(port.to_source(points))


def _laid(section: Section, port: Port, other: Port) -> Section:
    """Return a section of a port's frame in another's."""
    turn = port.frame[:3, :3].T
    frame = section.frame @ turn.T @ other.frame[:3, :3].T
    return replace(section, origin=_between(port, other, section.origin[None])[0], frame=frame)


def reach(
    port: Port,
    tool: Tool,
    obstacle: tuple[FloatArray, IntArray] | None = None,
    grid: WallGrid | None = None,
    access: Access | None = None,
) -> Reach:
    """Return where a tool gets to in a port.

    obstacle : vertices (k, 3) in the port frame and faces (l, 3) of what else stands in the way
    outside (a divider, a plenum's wall). grid : the places to try, by default about STATION_MM apart. access : what it
    meets on its way, by default the port's own wall and openings.

    The head lies on a place when a ball of its diameter touches there and nowhere else cuts the wall.
    The axis goes from the ball's centre through points over the opening: the shank must be clear of
    the wall on the way, a long head along its length, and the collet's nose outside the opening's
    plane, which is taken to go on as a flat face all round.
    """
    if grid is None:
        first, last = port.centreline.stations[[0, -1]]
        count = int(np.clip((last - first) / STATION_MM, 9, MOST_STATIONS))
        grid = wall_grid(port, np.linspace(first + OPENING_MM, last - OPENING_MM, count), PLACES_ROUND)
    access = access or access_of(port)
    points = grid.points
    centres = (points - wall_normals(grid) * (tool.head / 2.0)).reshape(-1, 3)
    wall = _Scene(*access.wall)
    head_fits = np.sqrt(wall.square_distance(centres)) >= tool.head / 2.0 - HEAD_ROOM_MM
    block = None if obstacle is None else _Scene(*obstacle)
    needs = []
    for sections, outward in ((access.entries, -1.0), (access.exits, 1.0)):
        need = np.full(len(centres), np.inf)
        for section in sections:
            opening = _opening(section, tool, outward)
            need[head_fits] = np.minimum(need[head_fits], _shortest(centres[head_fits], opening, tool, wall, block))
        needs.append(need.reshape(points.shape[:2]))
    step = np.linalg.norm(np.gradient(points, axis=0), axis=2)
    width = np.linalg.norm(np.roll(points, -1, axis=1) - np.roll(points, 1, axis=1), axis=2) / 2.0
    return Reach(tool, grid, needs[0], needs[1], head_fits.reshape(step.shape), step * width, access.ends)


@dataclass(frozen=True)
class _Opening:
    """An opening: its plane (rows out, left, up), what of it the axis may pass, and points there (k, 3)."""

    origin: FloatArray
    frame: FloatArray
    inside: shapely.Polygon
    points: FloatArray


def _opening(section: Section, tool: Tool, outward: float) -> _Opening:
    """Return an opening as a tool meets it. outward : 1 where out of the port is along the flow, else -1."""
    frame = np.vstack([outward * section.frame[0], section.frame[1:]])
    inside = shapely.Polygon(section.outline).buffer(-tool.shank / 2.0)
    if inside.is_empty:
        return _Opening(section.origin, frame, inside, np.zeros((0, 3)))
    inside = max(shapely.get_parts(inside), key=lambda part: part.area)
    middle = np.array(inside.centroid.coords[0])
    rim = resample(shapely.get_coordinates(inside.exterior)[:-1], RIM_POINTS)
    flat = np.vstack([middle, *(middle + share * (rim - middle) for share in RINGS)])
    return _Opening(section.origin, frame, inside, section.in_space(flat))


class _Scene:
    """A mesh that rays and distances are asked of, with its search tree."""

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self.vertices = np.ascontiguousarray(vertices, dtype=np.float64)
        self.faces = np.ascontiguousarray(faces, dtype=np.int64)
        self.tree = igl.AABB()
        self.tree.init(self.vertices, self.faces)

    def square_distance(self, points: FloatArray) -> FloatArray:
        """Return squared distances (k,) of points (k, 3)."""
        return np.atleast_1d(self.tree.squared_distance(self.vertices, self.faces, points)[0])

    def is_clear(self, starts: FloatArray, ways: FloatArray, length: FloatArray) -> np.ndarray:
        """Return whether rays from starts (k, 3) along unit ways (k, 3) meet nothing within length (k,)."""
        face, far, _ = self.tree.intersect_ray_first(self.vertices, self.faces, starts, ways)
        return (np.atleast_1d(face) < 0) | (np.atleast_1d(far) > length)

    def is_rod_clear(self, starts: FloatArray, ways: FloatArray, radius: float, length: FloatArray) -> np.ndarray:
        """Return whether rods of a radius about those rays meet nothing: their axes and ROUND_TOOL lines.

        The lines stand far enough out that the chords between them are no nearer than `radius`.
        """
        clear = self.is_clear(starts, ways, length)
        side = np.cross(ways, np.eye(3)[np.argmin(np.abs(ways), axis=1)])
        side /= np.linalg.norm(side, axis=1, keepdims=True)
        other = np.cross(ways, side)
        for angle in np.arange(ROUND_TOOL) * (2.0 * np.pi / ROUND_TOOL):
            k = np.flatnonzero(clear)
            if len(k) == 0:
                break
            off = radius / np.cos(np.pi / ROUND_TOOL) * (np.cos(angle) * side[k] + np.sin(angle) * other[k])
            clear[k] = self.is_clear(starts[k] + off, ways[k], length[k])
        return clear


def _shortest(centres: FloatArray, opening: _Opening, tool: Tool, wall: _Scene, block: _Scene | None) -> FloatArray:
    """Return the least free length (k,) with which the head lies with its centre at `centres`, inf for none.

    Every centre tries its ways out of the opening from the one that needs least length on; all
    centres still without one try their next together.
    """
    out = opening.frame[0]
    depth = (opening.origin - centres) @ out
    feet = (centres - opening.origin) @ opening.frame[1:].T
    over_opening = shapely.contains_xy(opening.inside, *feet.T)
    # At a flared rim the head's centre may lie outside the plane already: the tool is held straight out.
    outside = depth <= 0.0
    straight_out = centres + np.where(outside, 1.0, depth)[:, None] * out
    points = np.concatenate(
        [straight_out[:, None], np.broadcast_to(opening.points, (len(centres), *opening.points.shape))],
        axis=1,
    )
    run = points - centres[:, None]
    far = np.maximum(np.linalg.norm(run, axis=2), 1e-12)
    ways = run / far[..., None]
    upright = ways @ out
    lying = np.sqrt(np.maximum(1.0 - upright**2, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        # The nose is a disk square to the axis; its lowest edge must be at the opening's plane.
        needed = (np.maximum(depth, 0.0)[:, None] + tool.collet / 2.0 * lying) / upright + tool.head / 2.0
    needed[upright < STRAIGHT_UP] = np.inf
    needed[outside, 1:] = np.inf
    needed[~over_opening, 0] = np.inf
    order = np.argsort(needed, axis=1, kind="stable")
    found = np.full(len(centres), np.inf)
    for rank in range(order.shape[1]):
        k = np.flatnonzero(~np.isfinite(found))
        way = order[k, rank]
        possible = np.isfinite(needed[k, way])
        k, way = k[possible], way[possible]
        if len(k) == 0:
            break
        sight = np.where(outside[k], 0.0, far[k, way] - SHORT_OF_PLANE_MM / upright[k, way])
        clear = _is_clear(centres[k], ways[k, way], sight, needed[k, way], tool, wall, block)
        found[k[clear]] = needed[k, way][clear]
    return found


def _is_clear(
    starts: FloatArray,
    ways: FloatArray,
    sight: FloatArray,
    needed: FloatArray,
    tool: Tool,
    wall: _Scene,
    block: _Scene | None,
) -> np.ndarray:
    """Return whether tools with their heads at starts (k, 3) along ways (k, 3) touch nothing else."""
    clear = np.ones(len(starts), dtype=bool)
    if block is not None:
        nose = np.maximum(needed, tool.free_length) - tool.head / 2.0
        clear = block.is_rod_clear(starts, ways, tool.shank / 2.0, nose)
        k = np.flatnonzero(clear)
        body = starts[k] + nose[k, None] * ways[k]
        clear[k] = block.is_rod_clear(body, ways[k], tool.collet / 2.0, np.full(len(k), BODY_MM))
    k = np.flatnonzero(clear)
    clear[k] = wall.is_rod_clear(starts[k], ways[k], tool.shank / 2.0, sight[k])
    straight = tool.head_length - tool.head
    if straight > 0.0:
        k = np.flatnonzero(clear)
        length = np.minimum(straight, sight[k])
        clear[k] = wall.is_rod_clear(starts[k], ways[k], tool.head / 2.0 - HEAD_ROOM_MM, length)
    return clear
