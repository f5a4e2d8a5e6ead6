"""Hexahedra swept through the sections of a path: an O-grid in each, the same in all.

Sections come in, their planes not crossing; nodes and hexahedra, every corner of each with a positive
Jacobian, go out. In each section an inner block follows the outline's shape with four corners, and
layers lie between it and the wall.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.core.section import Section

INNER = 0.5  # size of the inner block in the least direction: its cells and the layers' are then alike
ROUNDING = 0.5  # of the block's bulge towards the outline: 0 makes its sides straight, 1 its corners flat
THINNEST = 1.0 / 6.0  # the layer at the wall, of the innermost: speed changes most at a tight turn's wall
PEAKED = 12.0  # decay of the weight that places a corner, per half width: smooth, and still the corner
SHARP = 0.3  # radians: a bend at one point that is a corner of the wall, where a node must stand
INWARD = 0.02  # of the section's size: least distance of the centre from every wall line, seen inside


BlockOf = Callable[[FloatArray, IntArray], FloatArray]


@dataclass(frozen=True)
class Pattern:
    """How nodes of one section are joined, the same for all sections.

    quads : (q, 4), their normal along the flow. wall : (p,) nodes on the wall, from the roof's left
    corner by roof, right wall, floor and left wall. count : nodes. across, down, layers : cells. thinnest : the
    layer at the wall, of the innermost.
    """

    quads: IntArray
    wall: IntArray
    count: int
    across: int
    down: int
    layers: int
    thinnest: float = THINNEST


@dataclass(frozen=True)
class Grid:
    """Hexahedra swept along a path.

    nodes : (n, k, 3), of n rings. pattern : of each ring. Node j of ring i is number i * k + j.
    """

    nodes: FloatArray
    pattern: Pattern

    @property
    def wall(self) -> FloatArray:
        """Points of the wall (n, p, 3)."""
        return self.nodes[:, self.pattern.wall]


def pattern(across: int, down: int, layers: int, thinnest: float = THINNEST) -> Pattern:
    """Return the O-grid of a block of across x down cells and layers round it.

    The block's (0, 0) is its corner at the roof and the left wall; across runs to the right wall.
    """
    block = np.arange((across + 1) * (down + 1)).reshape(down + 1, across + 1)
    edge = _perimeter(block)
    outer = np.arange(layers * len(edge)).reshape(layers, len(edge)) + block.size
    rings = np.vstack([edge, outer])
    inside = np.stack([block[:-1, :-1], block[:-1, 1:], block[1:, 1:], block[1:, :-1]], axis=2).reshape(-1, 4)
    following = np.roll(rings, -1, axis=1)
    around = np.stack([rings[:-1], rings[1:], following[1:], following[:-1]], axis=2).reshape(-1, 4)
    quads = np.vstack([inside, around])
    return Pattern(quads, rings[-1], block.size + outer.size, across, down, layers, thinnest)


def _perimeter(block: np.ndarray) -> np.ndarray:
    """Return what stands on a block's edge, from (0, 0) along the roof, counterclockwise."""
    return np.concatenate([block[0, :-1], block[:-1, -1], block[-1, :0:-1], block[:0:-1, 0]])


def sweep(
    sections: Sequence[Section],
    made: Pattern,
    stations: FloatArray | None = None,
    walls: FloatArray | None = None,
) -> Grid:
    """Return the grid through sections.

    stations (n,) : mm, to say in a refusal where; without them a section's number is said. walls (n, p, 2) : nodes on
    the outlines, where they are not to stand by `wall_nodes`. One point of
    a section must see its whole wall. (A harmonic map of its triangles to the disc, tried for an L and a
    U, does not help: cells drawn back through it fold at the inner corner all the same.) Raises
    GeometryError where a section is too far from star-shaped, or where hexahedra between two sections
    would turn inside out.
    """
    if walls is None:
        walls = np.stack([wall_nodes(s.outline, made.across, made.down) for s in sections])
    centres = np.stack([moments(s.outline).centroid for s in sections])
    for k in np.flatnonzero(_clearance(walls, centres) < INWARD).tolist():
        centres[k] = _kernel_centre(walls[k], _place(k, stations))
    origins = np.stack([s.origin for s in sections])
    frames = np.stack([s.frame for s in sections])
    for block_of in BLOCKS:
        plane = _fill(walls, centres, made, block_of)
        nodes = origins[:, None] + np.einsum("nkc,ncj->nkj", plane, frames[:, 1:])
        folded = least_jacobians(nodes, made) <= 0.0
        if not folded.any():
            return Grid(nodes, made)
    first = int(np.flatnonzero(folded)[0])
    if _folds(plane[first], made):
        raise GeometryError(
            "the section's outline turns in and out too far for a flow grid to be laid in it",
            where=_place(first, stations),
            hint="Measure it without the bulge or the side pocket, or trace it again",
        )
    raise GeometryError(
        "the sections there change too fast for a flow grid to be laid between them",
        where="near " + _place(first, stations),
        hint="Look at the sections there for a reading or a trace that is wrong",
    )


def wall_nodes(outline: FloatArray, across: int, down: int) -> FloatArray:
    """Return nodes (2 (across + down), 2) on an outline, counterclockwise from its upper left corner."""
    first, share = wall_places(outline, across, down)
    start, end = outline[first], outline[(first + 1) % len(outline)]
    return start + share[:, None] * (end - start)


def wall_places(outline: FloatArray, across: int, down: int) -> tuple[IntArray, FloatArray]:
    """Return where the wall's nodes stand on an outline (k, 2): each's edge (p,), by its first point, and share (p,).

    Equal steps of arc length from corner to corner.
    """
    closed = np.vstack([outline, outline[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    corners = _corners(outline, length)
    stops = corners[0] + np.append((corners - corners[0]) % length[-1], length[-1])
    steps = np.array([across, down, across, down])
    place = np.concatenate(
        [a + (b - a) * np.arange(n) / n for a, b, n in zip(stops[:-1], stops[1:], steps, strict=True)]
    )
    place %= length[-1]
    edge = np.clip(np.searchsorted(length, place, side="right") - 1, 0, len(outline) - 1)
    return edge, (place - length[edge]) / (length[edge + 1] - length[edge])


def _corners(outline: FloatArray, length: FloatArray) -> FloatArray:
    """Return the arc lengths (4,) of an outline's corners: left roof, right roof, right floor, left floor.

    Seen in the square that the outline's extent is scaled to, a corner is where the sum of the two
    coordinates is greatest: the mean place with a weight that falls off exponentially from there, so
    that it moves smoothly with the outline and not with its points; a sharp corner close by holds it.
    """
    closed = np.vstack([outline, outline[:1]])
    middle, half = (outline.max(axis=0) + outline.min(axis=0)) / 2.0, np.ptp(outline, axis=0) / 2.0
    square = (closed - middle) / half
    step = np.linalg.norm(np.diff(square, axis=0), axis=1)
    place = np.concatenate([[0.0], np.cumsum(step)])
    round_it = place[-1]
    edge = np.diff(closed, axis=0)
    heading = np.arctan2(edge[:, 1], edge[:, 0])
    bend = np.abs((heading - np.roll(heading, 1) + np.pi) % (2.0 * np.pi) - np.pi)
    sharp = place[:-1][bend > SHARP]
    reach = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) @ square.T
    top = place[np.argmax(reach, axis=1)]
    weight, share = _edge_weights(PEAKED * (reach - reach.max(axis=1, keepdims=True)), step)
    begin = (place[:-1] - top[:, None] + round_it / 2.0) % round_it - round_it / 2.0
    mean = top + (weight * (begin + share * step)).sum(axis=1) / weight.sum(axis=1)
    if len(sharp):
        away = np.abs((sharp - mean[:, None] + round_it / 2.0) % round_it - round_it / 2.0)
        close = away.min(axis=1) < 1.0 / PEAKED
        mean[close] = sharp[np.argmin(away, axis=1)][close]
    return np.interp(mean % round_it, place, length)


def _edge_weights(height: FloatArray, step: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the integrals (k, n) of exp(height) over edges of lengths step (n,), and where along each they balance.

    height (k, n + 1) at the edges' ends, linear between; the shares (k, n) are 0 at the start, 1 at the end.
    """
    start, end = height[:, :-1], height[:, 1:]
    high = np.maximum(start, end)
    drop = -np.abs(end - start)
    flat = drop > -1e-4
    d = np.where(flat, -1.0, drop)
    # From the higher end down: the integrals of exp(d t) and t exp(d t) over t from 0 to 1.
    whole = np.where(flat, 1.0 + drop / 2.0 + drop**2 / 6.0, np.expm1(d) / d)
    moment = np.where(flat, 0.5 + drop / 3.0 + drop**2 / 8.0, (np.exp(d) * (d - 1.0) + 1.0) / d**2)
    share = moment / whole
    return step * np.exp(high) * whole, np.where(start >= end, share, 1.0 - share)


def _clearance(walls: FloatArray, centres: FloatArray) -> FloatArray:
    """Return how far inside every wall line of walls (n, p, 2) the centres (n, 2) lie, by the size (n,)."""
    following = np.roll(walls, -1, axis=1)
    edge = following - walls
    arm = walls - centres[:, None]
    cross = arm[..., 0] * edge[..., 1] - arm[..., 1] * edge[..., 0]
    size = np.sqrt(np.ptp(walls, axis=1).prod(axis=1))
    return (cross / np.linalg.norm(edge, axis=2)).min(axis=1) / size


def _kernel_centre(wall: FloatArray, place: str) -> FloatArray:
    """Return the point (2,) from which the whole wall (p, 2) is seen, farthest inside its lines."""
    from scipy.optimize import linprog  # rarely needed, and slow to import

    edge = np.roll(wall, -1, axis=0) - wall
    outward = np.column_stack([edge[:, 1], -edge[:, 0]]) / np.linalg.norm(edge, axis=1)[:, None]
    system = np.column_stack([outward, np.ones(len(wall))])
    answer = linprog([0.0, 0.0, -1.0], A_ub=system, b_ub=(outward * wall).sum(axis=1), bounds=(None, None))
    if not answer.success or answer.x[2] <= INWARD * float(np.sqrt(np.ptp(wall, axis=0).prod())):
        raise GeometryError(
            "the section winds so far that no single point in it sees its whole wall: no flow grid fits in it",
            where=place,
            hint="Measure it without the bulge that hides part of the wall, or trace it again",
        )
    return np.asarray(answer.x[:2])


def _folds(plane: FloatArray, made: Pattern) -> bool:
    """Return whether a quad of one section's nodes (k, 2) has a corner of 180 degrees or more."""
    corner = plane[made.quads]
    ahead, back = np.roll(corner, -1, axis=1) - corner, np.roll(corner, 1, axis=1) - corner
    return bool((ahead[..., 0] * back[..., 1] - ahead[..., 1] * back[..., 0] <= 0.0).any())


def _place(k: int, stations: FloatArray | None) -> str:
    return f"section {k + 1}" if stations is None else f"station {stations[k]:.1f} mm"


def _fill(walls: FloatArray, centres: FloatArray, made: Pattern, block_of: BlockOf) -> FloatArray:
    """Return the nodes (n, k, 2) of sections with walls (n, p, 2)."""
    arm = walls - centres[:, None]
    block = block_of(arm, np.cumsum([0, made.across, made.down, made.across, made.down]))
    nodes = np.empty((len(walls), made.count, 2))
    inside = _transfinite(block, made.across, made.down)
    nodes[:, : inside.shape[1]] = inside
    share = layer_shares(made)[None, :, None, None]
    nodes[:, inside.shape[1] :] = (block[:, None] * (1 - share) + arm[:, None] * share).reshape(len(walls), -1, 2)
    return nodes + centres[:, None]


def layer_shares(made: Pattern) -> FloatArray:
    """Return how far out from the block (0) to the wall (1) each layer's outer side is (layers,)."""
    thickness = made.thinnest ** np.linspace(0.0, 1.0, made.layers)
    return np.asarray(np.cumsum(thickness) / thickness.sum())


def _inset(arm: FloatArray, bounds: IntArray) -> FloatArray:
    """Return the block's edge (n, p, 2) off the wall by one distance all round: the best for a plain outline.

    arm (n, p, 2) : of the wall's nodes from the centre. bounds (5,) : where its corners are.
    """
    straight = np.empty_like(arm)
    for a, b in pairwise(bounds):
        share = (np.arange(b - a) / (b - a))[None, :, None]
        straight[:, a:b] = arm[:, a : a + 1] * (1 - share) + arm[:, b % bounds[-1]][:, None] * share
    half = np.ptp(arm, axis=1) / 2.0
    size = 1.0 - (1.0 - INNER) * half.min(axis=1, keepdims=True) / half
    return size[:, None] * (ROUNDING * arm + (1.0 - ROUNDING) * straight)


def _disc(arm: FloatArray, bounds: IntArray) -> FloatArray:
    """Return the block's edge on a circle, on the rays to the wall's nodes.

    Layers along rays cannot fold where the centre sees the whole wall, whatever the outline.
    """
    reach = np.linalg.norm(arm, axis=2, keepdims=True)
    return arm / reach * (INNER * reach.min(axis=1, keepdims=True))


BLOCKS = (_inset, _disc)  # in the order in which they are tried


def _transfinite(edge: FloatArray, across: int, down: int) -> FloatArray:
    """Return a block's nodes (n, (down + 1)(across + 1), 2) from its edge (n, p, 2) (Coons's patch)."""
    a, b, c = across, across + down, 2 * across + down
    roof, right = edge[:, : a + 1], edge[:, a : b + 1]
    floor = edge[:, b : c + 1][:, ::-1]
    left = np.concatenate([edge[:, c:], edge[:, :1]], axis=1)[:, ::-1]
    u = (np.arange(across + 1) / across)[None, None, :, None]
    v = (np.arange(down + 1) / down)[None, :, None, None]
    by_edges = (1 - v) * roof[:, None] + v * floor[:, None] + (1 - u) * left[:, :, None] + u * right[:, :, None]
    corner = [p[:, None, None] for p in (roof[:, 0], roof[:, -1], floor[:, 0], floor[:, -1])]
    by_corners = (1 - v) * ((1 - u) * corner[0] + u * corner[1]) + v * ((1 - u) * corner[2] + u * corner[3])
    return (by_edges - by_corners).reshape(len(edge), -1, 2)


def hexahedra(rings: int, made: Pattern) -> IntArray:
    """Return the hexahedra (h, 8) of so many rings: a quad of one, counterclockwise, then the same of the next."""
    first = np.arange(rings - 1)[:, None, None] * made.count
    low = made.quads[None] + first
    return np.concatenate([low, low + made.count], axis=2).reshape(-1, 8)


def least_jacobians(nodes: FloatArray, made: Pattern) -> FloatArray:
    """Return the least Jacobian (n - 1,) at the corners of the hexahedra between ring and ring."""
    corners = nodes[:, made.quads]
    least = np.full(len(nodes) - 1, np.inf)
    for k in range(4):
        ahead, back = (corners[:, :, (k + step) % 4] - corners[:, :, k] for step in (1, 3))
        normal = np.cross(ahead, back)
        rise = corners[1:, :, k] - corners[:-1, :, k]
        for ends in (normal[:-1], normal[1:]):
            least = np.minimum(least, np.einsum("nqj,nqj->nq", ends, rise).min(axis=1))
    return least
