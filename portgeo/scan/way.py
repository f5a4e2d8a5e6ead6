"""Way: the rough course of the tube through a scan, from one end to the other.

A Body comes in; a coarse copy of it, the course of its middle and how many ends it has go out. Every
number is later taken from the full mesh: this only says where to look.
"""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from scipy.ndimage import distance_transform_edt, label
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.csgraph import dijkstra
from scipy.sparse.linalg import cg
from scipy.spatial import cKDTree

from portgeo.core.errors import GeometryError
from portgeo.core.plane import BoolArray, FloatArray, IntArray
from portgeo.scan.repair import is_balanced

CELLS = 90_000  # voxels in the box round the scan: some 12 across an ordinary port
THIN = 0.3  # of the greatest inside radius: thinner parts (a spill sheet, a flash line) are no tube
FILLED = 0.45  # of the greatest inside radius: outside that is narrower than twice this counts as tube
BRANCH = 2.1  # a leg that reaches this many tube radii from the way is an end of its own
MOST_TIPS = 8  # that are looked at: four corners of a slab and four legs
SHORT = 1.5  # a way of fewer diameters than this has no direction of its own
POTENTIAL, MOST_ROUNDS = 1e-5, 500  # how well the potential between two ends is solved for: a way is only rough
OFF_GRID = 1e-6  # of a step
MOST_PASSES = 20  # faces that pass a column, for each voxel
NEIGHBOURS = [(i, j, k) for i in (0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1) if (i, j, k) > (0, 0, 0)]


@dataclass(frozen=True)
class Inside:
    """Places well inside the tube: points (n, 3), depth (n,) below the surface, graph of neighbours.

    step : between neighbours. skin : depth down to which there are none. solid : the grid's places
    inside the mesh, and the (4, 4) that takes points into the grid's own numbers.
    """

    points: FloatArray
    depth: FloatArray
    graph: csr_matrix
    step: float
    skin: float
    solid: BoolArray
    into_grid: FloatArray

    def sees(self, a: FloatArray, b: FloatArray) -> bool:
        """Return whether the straight line between two points (3,) stays inside."""
        count = max(int(2.0 * np.linalg.norm(b - a) / self.step), 2)
        line = a + np.linspace(0.0, 1.0, count)[:, None] * (b - a)
        at = np.rint(line @ self.into_grid[:3, :3].T + self.into_grid[:3, 3]).astype(int)
        at = np.clip(at, 0, np.array(self.solid.shape) - 1)
        return bool(self.solid[at[:, 0], at[:, 1], at[:, 2]].all())


@dataclass(frozen=True)
class Way:
    """The rough middle line (n, 3) between two ends, the tube's mean radius and length, and any further ends.

    others : (k, 3), tips of legs beside the way, each with its root on it (k, 3).
    """

    line: FloatArray
    radius: float
    length: float
    tips: FloatArray
    roots: FloatArray


@dataclass(frozen=True)
class Voxels:
    """Whether places of a grid are inside a mesh: solid (i, j, k), places (n, 3) in space, step between neighbours.

    into_grid : the (4, 4) that takes points into the grid's own numbers.
    """

    solid: BoolArray
    places: FloatArray
    step: float
    into_grid: FloatArray


def voxels_of(vertices: FloatArray, faces: IntArray) -> Voxels:
    """Return the grid's places inside a mesh, open or closed.

    Inside is where the generalised winding number passes one half (Jacobson, Kavan and
    Sorkine-Hornung, ACM Trans. Graphics 32, 2013), so holes and open ends do no harm; that of a closed
    mesh is counted along columns, which is as exact and quicker. The grid
    stands along the mesh's own axes.
    """
    middle = vertices.mean(axis=0)
    axes = np.linalg.eigh(np.cov((vertices - middle).T))[1]
    axes[:, 0] *= np.linalg.det(axes)  # a mirrored mesh would be inside out
    turned = (vertices - middle) @ axes
    low, high = turned.min(axis=0), turned.max(axis=0)
    step = float((np.prod(np.maximum(high - low, 1e-3 * np.ptp(turned))) / CELLS) ** (1.0 / 3.0))
    shape = np.maximum(np.ceil((high - low) / step).astype(int), 1) + 2
    if np.prod(shape.astype(float)) > 8 * CELLS:
        raise GeometryError(
            "the mesh is a sheet or a wire: it has no inside",
            hint="Scan the whole mold, all the way round, and join the scans into one mesh",
        )
    start = (low + high) / 2.0 - step * (shape - 1) / 2.0
    grid = start + step * np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), axis=-1).reshape(-1, 3)
    winding = _columns((turned - start) / step, faces, shape) if is_balanced(faces, len(turned)) else None
    if winding is None:
        winding = igl.fast_winding_number(turned, faces, grid).reshape(shape)
    into_grid = np.eye(4)
    into_grid[:3, :3] = axes.T / step
    into_grid[:3, 3] = -(middle @ axes + start) / step
    return Voxels(winding > 0.5, grid @ axes.T + middle, step, into_grid)


def inside_of(voxels: Voxels, *, filled: bool = True) -> Inside:
    """Return the places inside a mesh that are not in a thin part of it.

    filled : what is too narrow to be outside (a stem's hole, a guide boss) counts as inside, so that the way keeps to
    the middle of the bowl. So would a thin divider between two legs.
    """
    solid, step = voxels.solid.copy(), voxels.step
    shape = solid.shape
    if filled:
        fill = FILLED * float(distance_transform_edt(solid).max())
        room = int(np.ceil(fill)) + 1  # without it a face on the border of the grid would grow outward
        spread = distance_transform_edt(~np.pad(solid, room)) < fill
        shrunk = (distance_transform_edt(spread) >= fill) & spread
        solid |= shrunk[room:-room, room:-room, room:-room]
    depth = np.asarray(distance_transform_edt(solid)) * step
    skin = max(THIN * float(depth.max()), 1.01 * step)
    core = depth > skin
    parts, count = label(core, structure=np.ones((3, 3, 3)))
    if count == 0:
        raise GeometryError(
            "the mesh has no inside that a tube could have",
            hint="Scan the whole mold, all the way round, and join the scans into one mesh",
        )
    core = parts == 1 + np.argmax(np.bincount(parts.ravel())[1:])
    number = np.cumsum(core.ravel()).reshape(shape) - 1
    i, j, length = [], [], []
    for move in NEIGHBOURS:
        here = tuple(slice(max(-m, 0), min(n - m, n)) for m, n in zip(move, shape, strict=True))
        there = tuple(slice(max(m, 0), min(n + m, n)) for m, n in zip(move, shape, strict=True))
        both = core[here] & core[there]
        i.append(number[here][both])
        j.append(number[there][both])
        length.append(np.full(int(both.sum()), step * np.linalg.norm(move)))
    total = int(core.sum())
    graph = coo_matrix((np.concatenate(length), (np.concatenate(i), np.concatenate(j))), shape=(total, total)).tocsr()
    return Inside(voxels.places[core.ravel()], depth[core], graph, step, skin, solid, voxels.into_grid)


def _columns(vertices: FloatArray, faces: IntArray, shape: IntArray) -> IntArray | None:
    """Return the winding number of a closed mesh at the places of a grid of steps of 1, by columns along z.

    Each face that a column passes through adds one above it where it faces down and takes one where it
    faces up. None where faces are so large that this is no gain, or where a column runs so exactly
    through an edge that what it passes does not add up to nothing.
    """
    # Off the grid by less than matters, so that columns do not run through edges of a regular mesh.
    x, y = vertices[:, 0] - OFF_GRID, vertices[:, 1] - OFF_GRID / np.sqrt(2.0)
    fx, fy = x[faces], y[faces]
    low = np.column_stack([np.ceil(fx.min(axis=1)), np.ceil(fy.min(axis=1))]).astype(np.int64)
    high = np.column_stack([np.floor(fx.max(axis=1)), np.floor(fy.max(axis=1))]).astype(np.int64)
    wide = np.maximum(high - low + 1, 0)
    number = wide.prod(axis=1)
    total = int(number.sum())
    if total > MOST_PASSES * CELLS:
        return None
    face = np.repeat(np.arange(len(faces)), number)
    rank = np.arange(total) - np.repeat(np.cumsum(number) - number, number)
    i, j = low[face, 0] + rank // wide[face, 1], low[face, 1] + rank % wide[face, 1]
    dx, dy = fx[face] - i[:, None], fy[face] - j[:, None]
    # Twice the areas that the column makes with the sides: of one sign where it passes within.
    share = np.roll(dx, -1, axis=1) * np.roll(dy, -2, axis=1) - np.roll(dx, -2, axis=1) * np.roll(dy, -1, axis=1)
    within = (share > 0.0).all(axis=1) | (share < 0.0).all(axis=1)
    share, face, i, j = share[within], face[within], i[within], j[within]
    z = np.einsum("ij,ij->i", share, vertices[:, 2][faces[face]]) / share.sum(axis=1)
    above = np.clip(np.ceil(z).astype(np.int64), 0, shape[2] - 1)
    at = (i * shape[1] + j) * shape[2] + above
    winding = np.bincount(at, -np.sign(share[:, 0]), int(np.prod(shape))).reshape(shape).cumsum(axis=2)
    return np.rint(winding).astype(np.int64) if not winding[:, :, -1].any() else None


def find_way(inside: Inside, ends: tuple[FloatArray | None, FloatArray | None] = (None, None)) -> Way:
    """Return the rough way between the two ends of a tube.

    ends : a point (3,), or points all over the end (n, 3), where they are known. Without them they are
    the two places farthest apart through the tube. Raises GeometryError where it is a ring, or a lump.
    """
    given = [None if e is None else nearest(inside, np.atleast_2d(e)) for e in ends]
    a, b = given
    if a is None and b is None:
        a = np.array([farthest(inside, farthest(inside, 0))])
    if a is None:
        assert b is not None
        a = np.array([farthest(inside, b)])
    from_a = dijkstra(inside.graph, directed=False, indices=a, min_only=True)
    if b is None:
        b = np.array([int(np.argmax(np.where(np.isfinite(from_a), from_a, -1.0)))])
    path = path_to(clear_tree(inside, _deepest(inside, a)), _deepest(inside, b))
    length = float(from_a[b].mean())
    # The tube's mean radius: of the circle that its places fill along its length, and the skin.
    radius = float(np.sqrt(len(inside.points) * inside.step**3 / max(length, inside.step) / np.pi)) + inside.skin
    if all(e is None for e in ends):
        _refuse_ring(inside, from_a, length)
        if length + 2.0 * inside.skin < SHORT * 2.0 * radius:
            raise GeometryError(
                "the mesh is a lump: it is no longer than it is wide, and it has no two flat or open ends that would "
                "show which way the port runs",
                hint="Check what was scanned; where it is a port, pass --entry X,Y,Z and --exit X,Y,Z with a point on "
                "each opening",
            )
    # Between two whole ends the tube's sections are, near enough, where a potential is the same.
    whole = all(e is not None and e.ndim == 2 for e in ends)
    line = _middles(inside, _potential(inside, a, b) if whole else from_a / length, path, length)
    tips, roots = _legs(inside, path, radius)
    return Way(line, radius, length, tips, roots)


def nearest(inside: Inside, points: FloatArray) -> IntArray:
    """Return which places (k,) are nearest to points (n, 3)."""
    return np.unique(cKDTree(inside.points).query(points)[1])


def _deepest(inside: Inside, places: IntArray) -> int:
    """Return which of some places is in their middle: the deepest one nearest to their mean."""
    off = np.linalg.norm(inside.points[places] - inside.points[places].mean(axis=0), axis=1)
    return int(places[np.argmin(off)])


def clear_tree(inside: Inside, root: int) -> IntArray:
    """Return for each place (n,) the one before it on the path from the root that keeps clear of the walls.

    The root's own is negative.
    """
    return np.asarray(dijkstra(clear_graph(inside), directed=False, indices=root, return_predecessors=True)[1])


def clear_graph(inside: Inside) -> csr_matrix:
    """Return the graph of places in which a step costs more, the less deep it is."""
    edges = inside.graph.tocoo()
    depth = np.minimum(inside.depth[edges.row], inside.depth[edges.col]) / inside.depth.max()
    return coo_matrix((edges.data / depth**3, (edges.row, edges.col)), shape=edges.shape).tocsr()


def path_to(before: IntArray, place: int) -> list[int]:
    """Return the places from a tree's root to one of its places."""
    path = [place]
    while before[path[-1]] >= 0:
        path.append(int(before[path[-1]]))
    return path[::-1]


def farthest(inside: Inside, k: int | IntArray) -> int:
    """Return which place is farthest, through the mold, from one or from the nearest of some."""
    distance = dijkstra(inside.graph, directed=False, indices=np.atleast_1d(k), min_only=True)
    return int(np.argmax(np.where(np.isfinite(distance), distance, -1.0)))


def _potential(inside: Inside, a: IntArray, b: IntArray) -> FloatArray:
    """Return the harmonic potential (n,) of the places, 0 on those of one end and 1 on those of the other."""
    total = len(inside.points)
    weight = inside.graph.copy()
    weight.data = 1.0 / weight.data**2
    weight = weight + weight.T
    laplacian = (diags(np.asarray(weight.sum(axis=1)).ravel()) - weight).tocsr()
    value = np.zeros(total)
    value[b] = 1.0
    free = np.ones(total, dtype=bool)
    free[a] = free[b] = False
    if free.any():
        inner = laplacian[free][:, free]
        scale = diags(1.0 / inner.diagonal())
        value[free] = cg(inner, -(laplacian[free] @ value), rtol=POTENTIAL, M=scale, maxiter=MOST_ROUNDS)[0]
    return value


def _middles(inside: Inside, share: FloatArray, path: list[int], reach: float) -> FloatArray:
    """Return the mean places (n, 3) of slabs of equal share (n,) of the way, which is `reach` long."""
    count = max(int(reach / (2.0 * inside.step)), 4)
    share = np.where(np.isfinite(share), share, 1.0)
    which = np.clip(share * count, 0, count - 1).astype(int)
    path_slab = which[path]
    line = []
    for k in range(count):
        mine = np.flatnonzero(which == k)
        on_path = np.array(path)[path_slab == k]
        if len(on_path) == 0:
            continue
        # Only what is about the way: not the other leg of a fork.
        near = np.linalg.norm(inside.points[mine] - inside.points[on_path].mean(axis=0), axis=1)
        line.append(inside.points[mine[near < 4.0 * inside.depth.max()]].mean(axis=0))
    return np.array(line)


def _refuse_ring(inside: Inside, from_a: FloatArray, length: float) -> None:
    """Refuse a closed ring: half-way round, the places are in two parts that both reach the far end."""
    upper = np.flatnonzero(from_a > 0.5 * length)
    middle = upper[from_a[upper] < 0.5 * length + 3.0 * inside.step]
    if len(middle) < 2:
        return
    band = inside.graph[middle][:, middle]
    parts = _components(band)
    if parts.max() == 0:
        return
    sizes = np.bincount(parts)
    large = np.flatnonzero(sizes > 0.25 * sizes.max())
    if len(large) < 2:
        return
    for side in (from_a > 0.5 * length, from_a < 0.5 * length + 3.0 * inside.step):
        places = np.flatnonzero(side)
        reach = _components(inside.graph[places][:, places])
        where = np.searchsorted(places, middle)
        if len({int(reach[where[parts == p][0]]) for p in large}) > 1:
            return  # a fork: one of the parts ends before the other
    wide = [
        np.linalg.norm(inside.points[middle[parts == p]].mean(axis=0) - inside.points[middle].mean(axis=0))
        for p in large
    ]
    if max(wide) > 2.0 * inside.depth.max():
        raise GeometryError(
            "the mesh is a closed ring: it has no openings",
            hint="A port has an entry and an exit; scan the mold of one port",
        )


def _components(graph: csr_matrix) -> IntArray:
    from scipy.sparse.csgraph import connected_components

    return connected_components(graph, directed=False)[1]


def _legs(inside: Inside, path: list[int], radius: float) -> tuple[FloatArray, FloatArray]:
    """Return tips (k, 3) and roots (k, 3) of legs that leave the way.

    A tip that an end of the way sees straight is a corner of that end (of a wide port, of a slab of
    silicone over its flange), not an end of its own.
    """
    distance, before, _ = dijkstra(inside.graph, directed=False, indices=path, min_only=True, return_predecessors=True)
    distance = np.where(np.isfinite(distance), distance, 0.0)
    tips, roots = [], []
    for _ in range(MOST_TIPS):
        tip = int(np.argmax(distance))
        if distance[tip] < BRANCH * radius:
            break
        leg = [tip]
        while before[leg[-1]] >= 0:
            leg.append(int(before[leg[-1]]))
        if not any(inside.sees(inside.points[tip], inside.points[end]) for end in (path[0], path[-1])):
            tips.append(inside.points[tip])
            roots.append(inside.points[leg[-1]])
        again = dijkstra(inside.graph, directed=False, indices=leg, min_only=True)
        distance = np.minimum(distance, np.where(np.isfinite(again), again, 0.0))
    return np.array(tips).reshape(-1, 3), np.array(roots).reshape(-1, 3)
