"""Repair: a triangle soup becomes one oriented surface, the tube, with its open edges listed.

Vertices and faces as a scanner writes them come in; a Body and notices of what was done go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice
from portgeo.core.plane import BoolArray, FloatArray, IntArray
from portgeo.core.triangles import face_areas

WELDED = 0.75  # vertices a face below which a mesh is joined already (a closed one has 0.5)
SNAP = 1e-6  # of the size: open edges closer than this are one, single-precision files keep more
MOST_TORN = 0.1  # share of edges that are open, above which it is no surface
SECOND_BODY = 0.2  # of the largest body's area: smaller ones are debris, larger ones a second port
COARSE_FACES = 40_000  # a mesh this fine shows the tube; its slices cost little
AREA_FACES = 60_000  # faces from which the area of a surface is well enough known to judge by
MOST_BODIES = 12  # of like size: with more it is a torn mesh, not several molds
TWO_SIDED = 0.5  # share of places with one face left over, below which the file shows both sides of its walls
FIN = 0.01  # of the surface: a patch that hangs on it by an edge and is larger is no fin
LEAST_THICKNESS = 0.01  # volume / area^1.5 (a sphere has 0.094, a tube 10 diameters long 0.03)


@dataclass(frozen=True)
class Body:
    """One connected surface, outward, with its open edges.

    vertices (n, 3), faces (m, 3). loops : closed rows of vertex indices along each open edge, in
    the direction in which the missing faces would run against it.
    """

    vertices: FloatArray
    faces: IntArray
    loops: tuple[IntArray, ...]


def tube_body(vertices: FloatArray, faces: IntArray, near: FloatArray | None = None) -> tuple[Body, list[Notice]]:
    """Return the largest body of a scan, repaired, and notices of what was done.

    near : (3,) a point on the wanted body, where there are several. Raises GeometryError where
    there is no surface with an inside.
    """
    notices: list[Notice] = []
    vertices, faces = _checked(vertices, faces)
    if len(vertices) > WELDED * len(faces):
        vertices, faces = weld(vertices, faces)
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    if not whole.all():
        notices.append(Notice("degenerate_dropped", count=(~whole).sum()))
        faces = faces[whole]
    vertices, faces, dropped = _keep_tube(vertices, faces, near)
    notices += dropped
    if is_closed(faces, len(vertices)):
        loops: tuple[IntArray, ...] = ()
    else:
        vertices, faces, loops, mended = _mend_edges(vertices, faces)
        notices += mended
    area = surface_area(vertices, faces)
    # A closed mesh's coarse copy tells its inside from its outside as well as it does itself.
    size = _enclosed(*(coarse_copy(vertices, faces) if not loops else (vertices, faces)), loops)
    if abs(size) < LEAST_THICKNESS * area**1.5 * 0.1:
        raise GeometryError(
            "the mesh is a sheet: it has no inside",
            hint="Scan the whole mold, all the way round, and join the scans into one mesh",
        )
    if size < 0:
        faces = faces[:, ::-1]
        loops = tuple(loop[::-1] for loop in loops)
        notices.append(Notice("turned_outward"))
    return Body(vertices, np.ascontiguousarray(faces), loops), notices


def _checked(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the arrays in their working types, or refuse what is no mesh."""
    vertices = np.ascontiguousarray(vertices, dtype=np.float64)
    faces = np.ascontiguousarray(faces, dtype=np.int64)
    if len(faces) < 20 or len(vertices) < 12:
        raise GeometryError(
            f"the mesh has only {len(faces)} triangles"
            if len(faces) < 20
            else f"the mesh has only {len(vertices)} points",
            hint="Export the scan again; a mold scan has thousands",
        )
    if not np.isfinite(vertices).all():
        bad = int(np.flatnonzero(~np.isfinite(vertices).all(axis=1))[0])
        raise GeometryError("a coordinate is not a number", where=f"vertex {bad + 1}", hint="Export the scan again")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise GeometryError("a triangle names a vertex that is not there", hint="Export the scan again")
    if float(np.ptp(vertices, axis=0).max()) == 0.0:
        raise GeometryError("all points of the mesh are one point", hint="Export the scan again")
    return vertices, faces


def weld(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the mesh with vertices at one place joined, in the order of their first use.

    Rows are sorted by a 64-bit hash of their bits; neighbours are compared in full.
    """
    bits = np.ascontiguousarray(vertices + 0.0).view(np.uint64)
    with np.errstate(over="ignore"):
        key = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
        key = (key ^ (key >> np.uint64(29))) + bits[:, 1]
        key = (key * np.uint64(0xBF58476D1CE4E5B9)) ^ (key >> np.uint64(32))
        key = (key + bits[:, 2]) * np.uint64(0x94D049BB133111EB)
        key ^= key >> np.uint64(31)
    order = np.argsort(key, kind="stable")
    sorted_rows = vertices[order]
    new = np.concatenate([[True], (sorted_rows[1:] != sorted_rows[:-1]).any(axis=1)])
    group = np.cumsum(new) - 1
    first = np.minimum.reduceat(order, np.flatnonzero(new))
    by_first = np.argsort(first, kind="stable")
    rank = np.empty(len(first), dtype=np.int64)
    rank[by_first] = np.arange(len(first))
    index = np.empty(len(vertices), dtype=np.int64)
    index[order] = rank[group]
    return vertices[first[by_first]], index[faces]


def bodies(faces: IntArray, count: int) -> IntArray:
    """Return the label (count,) of the connected body that each vertex is in."""
    i = np.concatenate([faces[:, 0], faces[:, 1]]).astype(np.int32)
    j = np.concatenate([faces[:, 1], faces[:, 2]]).astype(np.int32)
    graph = coo_matrix((np.ones(len(i), dtype=np.int8), (i, j)), shape=(count, count)).tocsr()
    return connected_components(graph, directed=False)[1]


def surface_area(vertices: FloatArray, faces: IntArray) -> float:
    """Return a mesh's area, of a large one from every so many faces."""
    every = max(len(faces) // AREA_FACES, 1)
    some = faces[::every]
    return float(face_areas(vertices, some).sum()) * len(faces) / len(some)


def coarse_copy(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Return a mesh of about COARSE_FACES triangles: vertices in one cell of a grid become their mean."""
    if len(faces) <= 1.5 * COARSE_FACES:
        return vertices, faces
    cell = np.sqrt(2.0 * surface_area(vertices, faces) / COARSE_FACES)
    low = vertices.min(axis=0)
    count = ((vertices.max(axis=0) - low) / cell).astype(np.int64) + 1
    at = ((vertices - low) / cell).astype(np.int64)
    key = (at[:, 0] * count[1] + at[:, 1]) * count[2] + at[:, 2]
    used, index = np.unique(key, return_inverse=True)
    number = np.bincount(index, minlength=len(used))
    means = np.column_stack([np.bincount(index, weights=vertices[:, k]) / number for k in range(3)])
    small = index[faces]
    whole = (small[:, 0] != small[:, 1]) & (small[:, 1] != small[:, 2]) & (small[:, 2] != small[:, 0])
    return means, small[whole]


def compact(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the mesh without the vertices that no face uses."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces.ravel()] = True
    if used.all():
        return vertices, faces
    index = np.cumsum(used) - 1
    return vertices[used], index[faces]


def _keep_tube(
    vertices: FloatArray, faces: IntArray, near: FloatArray | None
) -> tuple[FloatArray, IntArray, list[Notice]]:
    label = bodies(faces, len(vertices))
    if label.max() == 0:
        return vertices, faces, []
    of_face = label[faces[:, 0]]
    area = np.bincount(of_face, weights=face_areas(vertices, faces))
    kept = int(np.argmax(area))
    large = np.flatnonzero(area > SECOND_BODY * area[kept])
    if len(large) > MOST_BODIES:
        raise GeometryError(
            f"the triangles do not join into a surface: they lie in {len(area)} separate pieces",
            hint="Join the scan into one mesh in the scanner's own software and export it again",
        )
    if len(large) > 1 and near is None:
        places = "; ".join(
            "({:.1f}, {:.1f}, {:.1f})".format(*vertices[faces[of_face == k].ravel()].mean(axis=0)) for k in large[:4]
        )
        raise GeometryError(
            f"the file holds {len(large)} separate bodies of like size, about {places} mm",
            hint="Save the wanted one alone, or pass --entry X,Y,Z with a point on its entry",
        )
    if near is not None:
        used = np.flatnonzero(np.isin(label, large))
        kept = int(label[used[np.argmin(np.linalg.norm(vertices[used] - near, axis=1))]])
    mine = of_face == kept
    lost = int((~mine).sum())
    if lost == 0:
        return *compact(vertices, faces), []
    count = int((np.bincount(of_face) > 0).sum()) - 1
    notice = Notice("debris_dropped", count=count, triangles=lost, area=area.sum() - area[kept])
    return *compact(vertices, faces[mine]), [notice]


def _edge_keys(faces: IntArray, count: int) -> IntArray:
    """Return for every half-edge (3 m,) the key of its edge, doubled, plus its direction."""
    a = faces[:, [0, 1, 2]].T.ravel()
    b = faces[:, [1, 2, 0]].T.ravel()
    return (np.minimum(a, b) * count + np.maximum(a, b)) * 2 + (a > b)


def is_closed(faces: IntArray, count: int) -> bool:
    """Return whether every edge has just two faces, which run along it in opposite directions."""
    key = np.sort(_edge_keys(faces, count))
    return len(key) % 2 == 0 and bool((key[1::2] == key[::2] + 1).all() and (key[::2] % 2 == 0).all())


def is_balanced(faces: IntArray, count: int) -> bool:
    """Return whether as many faces run along every edge one way as the other: nothing is open.

    A closed mesh is; so is one in which four faces meet at an edge, whose volume and sections are as
    good.
    """
    return len(unbalanced_edges(faces, count)) == 0


def _mend_edges(
    vertices: FloatArray, faces: IntArray
) -> tuple[FloatArray, IntArray, tuple[IntArray, ...], list[Notice]]:
    """Return the mesh consistently wound, without doubled and hanging faces, and its open edges as loops."""
    notices = []
    kept = _single_faces(faces)
    if len(kept) < len(faces):
        notices.append(Notice("duplicates_dropped", count=len(faces) - len(kept)))
        faces = kept
    hanging = _hanging_faces(vertices, faces)
    if hanging.any():
        notices.append(Notice("fins_dropped", count=hanging.sum()))
        vertices, faces = compact(vertices, faces[~hanging])
    edges = _open_edges(faces, len(vertices))
    if len(edges):
        vertices, faces, joined = _snap(vertices, faces, np.unique(edges))
        if joined:
            notices.append(Notice("edges_joined", count=joined))
    key = _edge_keys(faces, len(vertices))
    _, sides = np.unique(key, return_counts=True)
    if (sides > 1).any():  # two faces run along an edge in one direction
        turned = np.asarray(igl.bfs_orient(faces)[0], dtype=np.int64)
        changed = int((turned != faces).any(axis=1).sum())
        faces = turned
        changed = min(changed, len(faces) - changed)
        if changed:
            notices.append(Notice("winding_mended", count=changed))
    edges = _open_edges(faces, len(vertices))
    if len(edges) > MOST_TORN * 3 * len(faces):
        raise GeometryError(
            f"the triangles do not join into a surface: {len(edges)} of their edges are open",
            hint="Join the scan into one mesh in the scanner's own software and export it again",
        )
    return vertices, faces, _loops(edges), notices


def _single_faces(faces: IntArray) -> IntArray:
    """Return the faces (k, 3) without those that lie on another.

    Of faces on the same three points as many are taken off as face one way and the other: two back to
    back bound nothing, and their edges close without them. Those left over, that face one way, are
    one. A file in which most faces are back to back shows each side of one wall: it keeps one of each.
    """
    order = np.argsort(faces, axis=1)
    turned = (order[:, 1] - order[:, 0]) % 3 == 1  # the sorted corners run as the face does
    _, group = np.unique(np.take_along_axis(faces, order, axis=1), axis=0, return_inverse=True)
    group = group.ravel()
    net = np.bincount(group, weights=np.where(turned, 1.0, -1.0))
    one_way = np.zeros(len(faces), dtype=bool)
    for facing in (True, False):
        at = np.flatnonzero((turned == facing) & ((net[group] > 0) == facing) & (net[group] != 0))
        one_way[at[np.unique(group[at], return_index=True)[1]]] = True
    if one_way.sum() < TWO_SIDED * len(net):
        return faces[np.sort(np.unique(group, return_index=True)[1])]
    return faces[one_way]


def _hanging_faces(vertices: FloatArray, faces: IntArray) -> BoolArray:
    """Return which faces hang on the surface by an edge that has two faces without them, (m,).

    Patches of faces are joined through edges of two; a small one that has open edges, and an edge on
    which more than two faces meet, is a fin.
    """
    key = _edge_keys(faces, len(vertices)) >> 1
    _, edge, times = np.unique(key, return_inverse=True, return_counts=True)
    hanging = np.zeros(len(faces), dtype=bool)
    if not (times > 2).any():
        return hanging
    face = np.tile(np.arange(len(faces)), 3)
    order = np.argsort(edge, kind="stable")
    joined = order[times[edge[order]] == 2]
    graph = coo_matrix((np.ones(len(joined) // 2), (face[joined[::2]], face[joined[1::2]])), shape=(len(faces),) * 2)
    patch = connected_components(graph, directed=False)[1]
    area = np.bincount(patch, weights=face_areas(vertices, faces))
    is_open, is_full = (
        (np.bincount(patch[face[times[edge] == 1]], minlength=len(area)) > 0),
        (np.bincount(patch[face[times[edge] > 2]], minlength=len(area)) > 0),
    )
    return (is_open & is_full & (area < FIN * area.sum()))[patch]


def _open_edges(faces: IntArray, count: int) -> IntArray:
    """Return the directed edges (k, 2) that have a face on one side only."""
    key = _edge_keys(faces, count)
    _, first, times = np.unique(key >> 1, return_index=True, return_counts=True)
    at = first[times == 1]
    face, corner = at % len(faces), at // len(faces)
    return np.column_stack([faces[face, corner], faces[face, (corner + 1) % 3]])


def open_rims(faces: IntArray, count: int) -> tuple[IntArray, ...]:
    """Return the open edges of a mesh as closed rows of vertices."""
    return _loops(_open_edges(faces, count))


def unbalanced_edges(faces: IntArray, count: int) -> IntArray:
    """Return the edges (k, 2) along which not as many faces run one way as the other."""
    key = _edge_keys(faces, count)
    edge, index = np.unique(key >> 1, return_inverse=True)
    net = np.bincount(index, weights=1.0 - 2.0 * (key & 1), minlength=len(edge))
    return np.column_stack([edge[net != 0] // count, edge[net != 0] % count])


def _snap(vertices: FloatArray, faces: IntArray, edge_points: IntArray) -> tuple[FloatArray, IntArray, int]:
    """Return the mesh with points of open edges joined where they all but touch, and how many."""
    tolerance = SNAP * float(np.ptp(vertices, axis=0).max())
    pairs = cKDTree(vertices[edge_points]).query_pairs(tolerance, output_type="ndarray")
    if len(pairs) == 0:
        return vertices, faces, 0
    index = np.arange(len(vertices))
    low, high = edge_points[pairs.min(axis=1)], edge_points[pairs.max(axis=1)]
    np.minimum.at(index, high, low)
    index = index[index]
    faces = index[faces]
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    joined = int((index != np.arange(len(index))).sum())
    return *compact(vertices, faces[whole]), joined


def _loops(edges: IntArray) -> tuple[IntArray, ...]:
    """Return open edges (k, 2) chained into closed rows of vertices; stray ends are left out."""
    after: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        after.setdefault(a, []).append(b)
    loops = []
    for start in sorted(after):
        while after.get(start):
            row, place, k = [start], {start: 0}, start
            while after.get(k):
                k = after[k].pop()
                if k in place:  # a loop closes, where others may branch off
                    cut = place[k]
                    loops.append(np.array(row[cut:]))
                    for gone in row[cut + 1 :]:
                        del place[gone]
                    row = row[: cut + 1]
                else:
                    place[k] = len(row)
                    row.append(k)
                if len(row) == 1 and not after.get(k):
                    break
    return tuple(loop for loop in loops if len(loop) >= 3)


def _enclosed(vertices: FloatArray, faces: IntArray, loops: tuple[IntArray, ...]) -> float:
    """Return the signed volume with every open edge closed by a fan."""
    p = vertices - vertices.mean(axis=0)
    total = float(np.einsum("ij,ij->", p[faces[:, 0]], np.cross(p[faces[:, 1]], p[faces[:, 2]]))) / 6.0
    for loop in loops:
        rim = p[loop]
        centre = rim.mean(axis=0)
        total += float((np.cross(np.roll(rim, -1, axis=0), rim) @ centre).sum()) / 6.0
    return total
