"""Seam: where two grids meet in a plane, their nodes at other places.

Nodes and quads of both in that plane, or triangles of the one, come in; the weights that carry a potential from the
nodes of one to those of the other go out.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import csr_matrix, vstack
from scipy.spatial import cKDTree

from portgeo.core.plane import FloatArray, IntArray

TRIED = 8  # quads, by their middles, in which a point is looked for that lies off all of them, or on an edge
FOUND = 1e-13  # half widths
STEPS = 6  # of Newton's method: the map of a quad that is not folded is nearly linear
CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
FARTHEST = 1.5  # half widths from a quad's middle: a point off all quads, as on an arc past its chord, goes on from one
COVERED = 0.5  # of a face's area, that must lie over quads: what sticks out past the other's wall is left out
# A triangle's points of integration and their shares: exact for products of four coordinates (D. A. Dunavant, 1985).
NEAR, FAR = 0.091576213509771, 0.445948490915965
DUNAVANT = np.array([np.roll([1.0 - 2.0 * a, a, a], k) for a in (NEAR, FAR) for k in range(3)])
SHARES = np.repeat([0.109951743655322, 0.223381589678011], 3)

Faces = tuple[FloatArray, IntArray]  # nodes (k, 2), and quads (q, 4) or triangles (q, 3) of them


def seam(under: Faces, over: Faces) -> csr_matrix:
    """Return the weights (m, k) that carry a potential at nodes (k, 2) of quads `under` to nodes (m, 2) `over` them.

    The potentials are one in the mean with every dual function of those over (the dual mortar method, B. I. Wohlmuth,
    SIAM J. Numer. Anal. 38, 2000; from memory): what rises evenly is carried over as it is, and an even flow through
    the seam meets every node under it with its due.
    """
    nodes, faces = over
    owner, points, part, carried = _integration(under, over)
    shapes = _weights_in(nodes[faces[owner]], points)
    mass = np.zeros((len(faces), faces.shape[1], faces.shape[1]))
    np.add.at(mass, owner, part[:, None, None] * shapes[:, :, None] * shapes[:, None, :])
    whole = mass.sum(axis=2)  # shape functions sum to one
    duals = np.einsum("pcd,pd->pc", (whole[:, :, None] * np.linalg.inv(mass))[owner], shapes)
    spots = (np.repeat(np.arange(len(owner)), faces.shape[1]), faces[owner].ravel())
    tested = csr_matrix(((duals * part[:, None]).ravel(), spots), shape=(len(owner), len(nodes)))
    due = np.bincount(faces.ravel(), whole.ravel(), len(nodes))
    return csr_matrix((tested.T @ carried).multiply(1.0 / due[:, None]))


def _integration(under: Faces, over: Faces) -> tuple[IntArray, FloatArray, FloatArray, csr_matrix]:
    """Return points of integration (p, 2) in the faces over, which of these each is in, its part of the area, and the
    weights (p, k) of the nodes under it.

    Each piece that a face shares with a quad is integrated by itself: the shape functions under it bend at its edges.
    A face that hardly lies over any is integrated whole.
    """
    nodes, faces = over
    shapes = shapely.polygons(nodes[faces])
    tree = shapely.STRtree(shapely.polygons(under[0][under[1]]))
    upper, lower = tree.query(shapes, predicate="intersects")
    pieces = shapely.intersection(shapes[upper], tree.geometries[lower])
    solid = shapely.get_type_id(pieces) == shapely.GeometryType.POLYGON
    pieces, upper, lower = pieces[solid], upper[solid], lower[solid]
    covered = np.bincount(upper, shapely.area(pieces), len(faces)) > COVERED * shapely.area(shapes)
    inner = covered[upper]
    upper, lower = upper[inner], lower[inner]
    owner, points, part = _in_fans(pieces[inner])
    corners = under[1][lower[owner]]
    spots = (np.repeat(np.arange(len(points)), 4), corners.ravel())
    weight = _weights_in(under[0][corners], points)
    carried = csr_matrix((weight.ravel(), spots), shape=(len(points), len(under[0])))
    rim = np.flatnonzero(~covered)
    rim_owner, rim_points, rim_part = _in_fans(shapes[rim])
    return (
        np.concatenate([upper[owner], rim[rim_owner]]),
        np.concatenate([points, rim_points]),
        np.concatenate([part, rim_part]),
        csr_matrix(vstack([carried, weights_at(under, rim_points)])),
    )


def _in_fans(pieces: np.ndarray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return points of integration (p, 2) in convex polygons, which polygon each is in, and its part of the area.

    Of a fan from the middle of the corners, so that a mirrored piece has mirrored points.
    """
    corner, piece = shapely.get_coordinates(pieces, return_index=True)
    side = np.flatnonzero(piece[:-1] == piece[1:])  # the last coordinate is the first again
    piece = piece[side]
    count = np.bincount(piece, minlength=len(pieces))
    middle = np.column_stack([np.bincount(piece, axis, len(pieces)) / count for axis in corner[side].T])
    fan = np.stack([middle[piece], corner[side], corner[side + 1]], axis=1)
    arm, other = fan[:, 1] - fan[:, 0], fan[:, 2] - fan[:, 0]
    area = np.abs(arm[:, 0] * other[:, 1] - arm[:, 1] * other[:, 0]) / 2.0
    points = np.einsum("sc,fcj->fsj", DUNAVANT, fan).reshape(-1, 2)
    return np.repeat(piece, len(SHARES)), points, (area[:, None] * SHARES).ravel()


def _weights_in(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Return the shape functions (p, c) of quads or triangles with corners (p, c, 2) at points (p, 2)."""
    if corners.shape[1] == 4:
        return _shapes(_place_in(corners, points))[0]
    arm, other, way = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], points - corners[:, 0]
    twice = arm[:, 0] * other[:, 1] - arm[:, 1] * other[:, 0]
    one = (way[:, 0] * other[:, 1] - way[:, 1] * other[:, 0]) / twice
    two = (arm[:, 0] * way[:, 1] - arm[:, 1] * way[:, 0]) / twice
    return np.stack([1.0 - one - two, one, two], axis=1)


def weights_at(under: Faces, points: FloatArray) -> csr_matrix:
    """Return the weights (m, k) of nodes (k, 2) at points (m, 2): those of the quad that a point is in, or nearest."""
    nodes, quads = under
    tried = np.arange(min(TRIED, len(quads))) + 1
    _, near = cKDTree(nodes[quads].mean(axis=1)).query(points, k=tried)
    place = _place_in(nodes[quads[near]], points[:, None])
    row = np.arange(len(points))
    best = np.argmin(np.abs(place).max(axis=2), axis=1)
    weight, _ = _shapes(np.clip(place[row, best], -FARTHEST, FARTHEST))
    spots = (np.repeat(row, 4), quads[near[row, best]].ravel())
    return csr_matrix((weight.ravel(), spots), shape=(len(points), len(nodes)))


def _place_in(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Return where points (..., 2) stand in quads (..., 4, 2), in their own coordinates from -1 to 1."""
    place = np.zeros(np.broadcast_shapes(corners.shape[:-2], points.shape[:-1]) + (2,))
    for _ in range(STEPS):
        shape, slope = _shapes(place)
        missed = points - np.einsum("...c,...cj->...j", shape, corners)
        step = np.linalg.solve(np.einsum("...ca,...cj->...ja", slope, corners), missed[..., None])[..., 0]
        place = np.clip(place + step, -2.0, 2.0)
        if not step.size or np.abs(step).max() < FOUND:
            break
    return place


def _shapes(place: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a quad's shape functions (..., 4) and their slopes (..., 4, 2) at places (..., 2), each from -1 to 1."""
    factors = 1.0 + CORNERS * place[..., None, :]
    return factors.prod(axis=-1) / 4.0, CORNERS * factors[..., ::-1] / 4.0
