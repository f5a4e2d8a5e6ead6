"""Cut: the mesh beyond a plane is taken off the tube and the opening closed flat.

A mesh and an opening come in; the mesh that ends in the opening's plane goes out.
"""

from __future__ import annotations

import manifold3d
import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.scan.course import plane_frame

SCRAP = 0.05  # of the tube's area: a loop beside it that is smaller is no other reach of the port


def cut_end(
    vertices: FloatArray,
    faces: IntArray,
    origin: FloatArray,
    normal: FloatArray,
    inset: float,
    growth: float = 1.0,
    drift: FloatArray | None = None,
) -> tuple[FloatArray, IntArray, int]:
    """Return the mesh cut across its tube at a plane, and a vertex (its index) of the cut.

    origin (3,) : in the plane, within the tube. normal (3,) : out of the port. Only the loop of the
    tube (and the islands in it) is cut, so another reach of the port that the plane passes stays. The
    walls are cut `inset` short of the plane, clear of the end's own edge, and carried on to it: the cut
    is enlarged by `growth` about its middle, which moves by `drift` (3,) in the plane. The opening is
    closed flat. What is beyond stays in the arrays as a body of its own.
    Raises GeometryError where the plane cuts no closed loop.
    """
    height = (vertices - origin) @ normal + inset
    above = height > 0.0
    a, b, c = (above[faces[:, k]] for k in range(3))
    crossing = np.flatnonzero((a ^ b) | (b ^ c))
    tri = faces[crossing]
    up = above[tri]
    # Turn each so that its odd corner, the one alone on its side, is first.
    single_up = up.sum(axis=1) == 1
    odd = np.argmax(up == single_up[:, None], axis=1)
    row = np.arange(len(tri))
    apex, b, c = tri[row, odd], tri[row, (odd + 1) % 3], tri[row, (odd + 2) % 3]
    count = len(vertices)
    key = np.concatenate(
        [np.minimum(apex, b) * count + np.maximum(apex, b), np.minimum(apex, c) * count + np.maximum(apex, c)]
    )
    edge, index = np.unique(key, return_inverse=True)
    at_b, at_c = index[: len(tri)], index[len(tri) :]
    low, high = edge // count, edge % count
    share = height[low] / (height[low] - height[high])
    points = vertices[low] + share[:, None] * (vertices[high] - vertices[low])

    graph = coo_matrix((np.ones(len(tri)), (at_b, at_c)), shape=(len(edge), len(edge)))
    label = connected_components(graph, directed=False)[1]
    # The cut's own direction: round the solid, counterclockwise about the normal.
    start, end = np.where(single_up, at_c, at_b), np.where(single_up, at_b, at_c)
    start, end = end, start
    frame = plane_frame(normal)
    flat = (points - origin) @ frame[1:].T
    chosen = _tube_loops(flat, start, end, label)
    if chosen is None:
        raise GeometryError(
            "the plane of an opening cuts no closed section of the tube",
            where="at ({:.2f}, {:.2f}, {:.2f}) mm".format(*origin),
            hint="Pass --entry X,Y,Z or --exit X,Y,Z with a point where the tube is whole",
        )
    mine = np.isin(label[at_b], chosen)
    of_tube = int(np.flatnonzero(label == chosen[0])[0])
    new = count + np.arange(len(edge))
    parts = [np.delete(faces, crossing[mine], axis=0)]
    one = mine & ~single_up  # the apex is below, two corners above
    parts.append(np.column_stack([apex[one], new[at_b[one]], new[at_c[one]]]))
    two = mine & single_up  # the apex is above
    # What is left of such a face has four corners: parted along the shorter way across, whatever their order.
    across = np.linalg.norm(points[at_b] - vertices[c], axis=1) < np.linalg.norm(points[at_c] - vertices[b], axis=1)
    for of_b, ends in ((two & across, c), (two & ~across, new[at_c])):
        parts.append(np.column_stack([new[at_b[of_b]], b[of_b], ends[of_b]]))
    parts.append(np.column_stack([new[at_b[two & across]], c[two & across], new[at_c[two & across]]]))
    parts.append(np.column_stack([b[two & ~across], c[two & ~across], new[at_c[two & ~across]]]))
    made = [vertices, points]
    ring = new
    rim_start, rim_end = start[mine], end[mine]
    if inset > 0.0:
        # Walls carried on to the plane: a strip between each cut edge and its place in the plane.
        middle = _middle(flat, _walks(rim_start, rim_end))
        grown = (growth - 1.0) * (flat - middle) @ frame[1:]
        made.append(points + inset * normal + grown + (0.0 if drift is None else drift))
        ring = new + len(edge)
        parts.append(np.column_stack([new[rim_start], new[rim_end], ring[rim_end]]))
        parts.append(np.column_stack([new[rim_start], ring[rim_end], ring[rim_start]]))
    order = _walks(rim_start, rim_end)
    parts.append(ring[_cap(flat, order)])
    return np.vstack(made), np.concatenate(parts), int(new[of_tube])


def _middle(flat: FloatArray, loops: list[IntArray]) -> FloatArray:
    """Return the centroid (2,) of the largest of some loops of points (n, 2)."""
    return max((moments(flat[loop]) for loop in loops), key=lambda m: m.area).centroid


def _cap(flat: FloatArray, loops: list[IntArray]) -> IntArray:
    """Return triangles (k, 3), of indices into `flat` (n, 2), that close loops.

    Where the triangulation leaves out a sliver between points in line, it is put in: without area, it
    still joins the edges beside it.
    """
    cap = np.concatenate(loops)[np.asarray(manifold3d.triangulate([flat[k] for k in loops]), dtype=np.int64)]
    count = len(flat)
    edges = [np.column_stack([loop, np.roll(loop, -1)]) for loop in loops]
    wanted = np.concatenate(edges)
    made = np.concatenate([cap[:, [0, 1]], cap[:, [1, 2]], cap[:, [2, 0]]])
    open_edges: dict[int, int] = {}
    for a, b, times in [*((a, b, 1) for a, b in wanted.tolist()), *((a, b, -1) for a, b in made.tolist())]:
        key, sign = (a * count + b, times) if a < b else (b * count + a, -times)
        open_edges[key] = open_edges.get(key, 0) + sign
    left = [(k, n) for k, n in open_edges.items() if n]
    if not left:
        return cap
    start = np.array([k // count if n > 0 else k % count for k, n in left])
    end = np.array([k % count if n > 0 else k // count for k, n in left])
    slivers = [
        np.column_stack([np.full(len(walk) - 2, walk[0]), walk[1:-1], walk[2:]])
        for walk in _walks(start, end)
        if len(walk) > 2
    ]
    return np.concatenate([cap, *slivers])


def _walks(start: IntArray, end: IntArray) -> list[IntArray]:
    """Return the closed walks along directed edges start -> end."""
    after = dict(zip(start.tolist(), end.tolist(), strict=True))
    walks = []
    while after:
        first = next(iter(after))
        walk, k = [], first
        while k in after:
            walk.append(k)
            k = after.pop(k)
        walks.append(np.array(walk))
    return walks


def _tube_loops(flat: FloatArray, start: IntArray, end: IntArray, label: IntArray) -> IntArray | None:
    """Return the labels of the loops to cut, None where no loop closes.

    The tube's, the islands in it, and scraps beside it (of a noisy corner that the plane grazes): what
    is beyond would else hang on by them.
    """
    outlines: dict[int, FloatArray] = {}
    for walk in _walks(start, end):
        part = int(label[walk[0]])
        if len(walk) < 3 or part in outlines:
            continue
        outlines[part] = flat[walk]
    solid = {k: moments(o).area for k, o in outlines.items() if moments(o).area > 0}
    if not solid:
        return None
    about = {k: a for k, a in solid.items() if shapely.contains_xy(shapely.Polygon(outlines[k]), 0.0, 0.0)}
    if about:
        tube = min(about, key=lambda k: about[k])
    else:
        tube = min(solid, key=lambda k: float(np.linalg.norm(outlines[k], axis=1).min()))
    polygon = shapely.Polygon(outlines[tube])
    reach = 1.5 * float(np.linalg.norm(outlines[tube], axis=1).max())
    others = [
        k
        for k, o in outlines.items()
        if k != tube
        and (
            (k not in solid and shapely.contains_xy(polygon, *o[0]))
            or (abs(moments(o).area) < SCRAP * solid[tube] and np.linalg.norm(o[0]) < reach)
        )
    ]
    return np.array([tube, *others])
