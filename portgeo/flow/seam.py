"""Seam: where two grids meet in a plane, their nodes at other places.

Nodes and quads of both in that plane come in; the weights that carry a potential from the nodes of one to those of the
other go out.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import csr_matrix, vstack
from scipy.spatial import cKDTree

from portgeo.core.plane import FloatArray, IntArray

TRIED = 8  # quads, by their middles, in which a point is looked for that lies off all of them, or on an edge
STEPS = 6  # of Newton's method: the map of a quad that is not folded is nearly linear
CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
FARTHEST = 1.5  # half widths from a quad's middle: a point off all quads, as on an arc past its chord, goes on from one
COVERED = 1.0 - 1e-6  # of a quad's area, that lies over quads: the rest is rounding
POINTS = 8  # of integration each way in a quad that is not
# A triangle's points of integration and their shares: exact for products of four coordinates (D. A. Dunavant, 1985).
NEAR, FAR = 0.091576213509771, 0.445948490915965
DUNAVANT = np.array([np.roll([1.0 - 2.0 * a, a, a], k) for a in (NEAR, FAR) for k in range(3)])
SHARES = np.repeat([0.109951743655322, 0.223381589678011], 3)

Quads = tuple[FloatArray, IntArray]  # nodes (k, 2), and quads (q, 4) of them


def seam(under: Quads, over: Quads) -> csr_matrix:
    """Return the weights (m, k) that carry a potential at nodes (k, 2) `under` to nodes (m, 2) `over` them.

    The potentials are one in the mean with every dual function of those over (the dual mortar method, B. I. Wohlmuth,
    SIAM J. Numer. Anal. 38, 2000; from memory): what rises evenly is carried over as it is, and an even flow through
    the seam meets every node under it with its due.
    """
    nodes, quads = over
    owner, points, part, carried = _integration(under, over)
    shapes, _ = _shapes(_place_in(nodes[quads[owner]], points))
    mass = np.zeros((len(quads), 4, 4))
    np.add.at(mass, owner, part[:, None, None] * shapes[:, :, None] * shapes[:, None, :])
    whole = mass.sum(axis=2)  # shape functions sum to one
    duals = np.einsum("pcd,pd->pc", (whole[:, :, None] * np.linalg.inv(mass))[owner], shapes)
    spots = (np.repeat(np.arange(len(owner)), 4), quads[owner].ravel())
    tested = csr_matrix(((duals * part[:, None]).ravel(), spots), shape=(len(owner), len(nodes)))
    due = np.bincount(quads.ravel(), whole.ravel(), len(nodes))
    return csr_matrix((tested.T @ carried).multiply(1.0 / due[:, None]))


def _integration(under: Quads, over: Quads) -> tuple[IntArray, FloatArray, FloatArray, csr_matrix]:
    """Return points of integration (p, 2) in the quads over, which of these each is in, its part of the area, and the
    weights (p, k) of the nodes under it.

    Where a quad lies wholly over others, each piece that it shares with one is integrated by itself: the shape
    functions under it bend only at their edges.
    """
    nodes, quads = over
    shapes = shapely.polygons(nodes[quads])
    tree = shapely.STRtree(shapely.polygons(under[0][under[1]]))
    upper, lower = tree.query(shapes, predicate="intersects")
    pieces = shapely.intersection(shapes[upper], tree.geometries[lower])
    solid = shapely.get_type_id(pieces) == shapely.GeometryType.POLYGON
    pieces, upper, lower = pieces[solid], upper[solid], lower[solid]
    covered = np.bincount(upper, shapely.area(pieces), len(quads)) > COVERED * shapely.area(shapes)
    inner = covered[upper]
    pieces, upper, lower = pieces[inner], upper[inner], lower[inner]

    # Pieces are convex: a fan from the middle of the corners, so that a mirrored piece has mirrored points.
    corner, piece = shapely.get_coordinates(pieces, return_index=True)
    side = np.flatnonzero(piece[:-1] == piece[1:])  # the last coordinate is the first again
    piece = piece[side]
    count = np.bincount(piece, minlength=len(pieces))
    middle = np.column_stack([np.bincount(piece, axis, len(pieces)) / count for axis in corner[side].T])
    fan = np.stack([middle[piece], corner[side], corner[side + 1]], axis=1)
    arm, other = fan[:, 1] - fan[:, 0], fan[:, 2] - fan[:, 0]
    area = np.abs(arm[:, 0] * other[:, 1] - arm[:, 1] * other[:, 0]) / 2.0
    points = np.einsum("sc,fcj->fsj", DUNAVANT, fan).reshape(-1, 2)
    of_piece = np.repeat(piece, len(SHARES))
    corners = under[1][lower[of_piece]]
    weight, _ = _shapes(_place_in(under[0][corners], points))
    spots = (np.repeat(np.arange(len(points)), 4), corners.ravel())
    carried = csr_matrix((weight.ravel(), spots), shape=(len(points), len(under[0])))

    rim = np.flatnonzero(~covered)
    place, line = np.polynomial.legendre.leggauss(POINTS)
    at = np.stack(np.meshgrid(place, place, indexing="ij"), axis=-1).reshape(-1, 2)
    shape, slope = _shapes(at)
    there = np.einsum("pc,qcj->qpj", shape, nodes[quads[rim]]).reshape(-1, 2)
    jacobian = np.abs(np.linalg.det(np.einsum("pca,qcj->qpja", slope, nodes[quads[rim]])))
    return (
        np.concatenate([upper[of_piece], np.repeat(rim, len(at))]),
        np.concatenate([points, there]),
        np.concatenate([(area[:, None] * SHARES).ravel(), (jacobian * np.outer(line, line).ravel()).ravel()]),
        csr_matrix(vstack([carried, weights_at(under, there)])),
    )


def weights_at(under: Quads, points: FloatArray) -> csr_matrix:
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
    return place


def _shapes(place: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a quad's shape functions (..., 4) and their slopes (..., 4, 2) at places (..., 2), each from -1 to 1."""
    factors = 1.0 + CORNERS * place[..., None, :]
    return factors.prod(axis=-1) / 4.0, CORNERS * factors[..., ::-1] / 4.0
