"""Branches: what leaves a port through its wall (a guide's bore, a sprue, a vent) is cut off the mold.

A mesh and the tip of a branch come in; the mesh with the branch gone and the wall closed over its
root, or the reason why that cannot be done, goes out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import percentile_filter
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Patch
from portgeo.core.triangles import face_areas
from portgeo.scan.patch import close_hole
from portgeo.scan.repair import Body, compact, open_rims
from portgeo.scan.spine import Curve

AROUND, ALONG = 36, 0.15  # bins round the tube, and along it in its radii
USUAL = 2.0  # radii to each side over which a wall's usual distance from the centreline is taken
USUAL_SHARE = 35  # percent of the places there that stand nearer: a branch leans over some of them
STANDS_OFF = 0.35  # radii beyond its usual distance, from which a point is on a branch
ENDS = 0.6  # radii at each end that are left out
NARROW = 1.0 / 3.0  # of the turn round the tube: what stands off in more is the tube's own form
WIDENS = 1.3  # growth of the girth from a branch to its root, at which it has met the wall
PAST_ROOT = 0.3  # of the branch's radius, that the cut lies beyond it: a fillet goes with the branch
LONG = 1.2  # of its radius: what stands off by less is a pocket of the port
LARGE = 0.35  # of the tube's section: a branch with a larger root is a leg of a port that splits
MOST_LONG = 12.0  # radii of the tube from a branch's tip to its root
STEPS = 60  # of the length that girths are taken in


@dataclass(frozen=True)
class Branch:
    """A branch of a mesh: which vertices are on it (n,), its root (3,), length, radius; what its root was closed by."""

    vertices: IntArray
    root: FloatArray
    length: float
    radius: float
    patches: tuple[Patch, ...] = ()


def branch_tip(vertices: FloatArray, curve: Curve, radius: float) -> FloatArray | None:
    """Return the point (3,) of a tube that stands farthest off its wall, None where nothing branches off.

    vertices (n, 3) of the tube, its centreline, and its radius. The wall's usual distance from the line
    in each direction is taken from the places before and behind.
    """
    count = max(int(curve.length / (ALONG * radius)), 4)
    u = np.linspace(0.0, curve.length, 8 * count)
    line = curve.at(u)
    off, nearest = cKDTree(line).query(vertices)
    # Frames that do not twist from one place of the line to the next.
    tangents = curve.at(u, 1)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    left = np.empty_like(tangents)
    side = np.cross(np.eye(3)[int(np.argmin(np.abs(tangents[0])))], tangents[0])
    for k, tangent in enumerate(tangents):
        side = side - (side @ tangent) * tangent
        side /= np.linalg.norm(side)
        left[k] = side
    arm = vertices - line[nearest]
    up = np.cross(tangents, left)
    angle = np.arctan2(np.einsum("ij,ij->i", arm, up[nearest]), np.einsum("ij,ij->i", arm, left[nearest]))
    around = np.minimum(((angle + np.pi) / (2.0 * np.pi) * AROUND).astype(int), AROUND - 1)
    along = np.minimum(nearest // 8, count - 1)
    table = np.zeros((count, AROUND))
    np.maximum.at(table, (along, around), off)
    # A coarse mesh leaves places of the table empty: they take what stands beside them.
    empty = table == 0.0
    beside = np.maximum.reduce([np.roll(table, 1, axis=1), np.roll(table, -1, axis=1), np.roll(table, 2, axis=1)])
    table[empty] = beside[empty]
    window = 2 * int(USUAL / ALONG) + 1
    usual = percentile_filter(table, USUAL_SHARE, size=(min(window, 2 * count + 1), 1), mode="nearest")
    # A corner of the section may lie in one direction here, and in the next to it there.
    usual = np.maximum.reduce([usual, np.roll(usual, 1, axis=1), np.roll(usual, -1, axis=1)])
    stands = table - usual > STANDS_OFF * radius
    stands &= (stands.sum(axis=1) <= NARROW * AROUND)[:, None]
    # At an end that is cut askew the wall stands off the line's own plane: that is no branch.
    clear = int(np.ceil(ENDS / ALONG))
    stands[:clear] = stands[-clear:] = False
    excess = np.where(stands[along, around], off - usual[along, around], 0.0)
    tip = int(np.argmax(excess))
    return vertices[tip] if excess[tip] > STANDS_OFF * radius else None


def branch_at(body: Body, tip: FloatArray, tube_radius: float) -> Branch | None:
    """Return the branch that ends at a tip (3,), None where it has no root: it is no branch.

    From the tip the surface is walked over: as far as the girth at one distance stays what it is, that
    is the branch; where it widens the wall begins.
    """
    vertices, faces = body.vertices, body.faces
    start = int(np.argmin(np.linalg.norm(vertices - tip, axis=1)))
    reach = MOST_LONG * tube_radius
    near = np.linalg.norm(vertices - vertices[start], axis=1) < reach
    inside = faces[near[faces].all(axis=1)]
    edges = np.concatenate([inside[:, [0, 1]], inside[:, [1, 2]], inside[:, [2, 0]]])
    edges = np.unique(np.sort(edges, axis=1), axis=0)
    length = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
    graph = coo_matrix((length, (edges[:, 0], edges[:, 1])), shape=(len(vertices),) * 2).tocsr()
    walked = dijkstra(graph, directed=False, indices=start, limit=reach)
    of_face = walked[inside].mean(axis=1)
    known = np.isfinite(of_face)
    step = reach / STEPS
    girth = np.bincount((of_face[known] / step).astype(int), face_areas(vertices, inside[known]), STEPS)[:STEPS] / step
    # Off the tip the girth grows until the walk is all round the branch.
    full = next((k for k in range(1, STEPS - 1) if girth[k + 1] <= 1.05 * girth[k]), None)
    if full is None:
        return None
    least = np.minimum.accumulate(girth[full:])
    wide = np.flatnonzero((girth[full:] > WIDENS * least) & (np.append(girth[full + 1 :], np.inf) > WIDENS * least))
    if len(wide) == 0:
        return None
    at = full + int(wide[0])
    radius = float(girth[max(full, at - 3) : at].min()) / (2.0 * np.pi)
    end = at * step + PAST_ROOT * radius
    gone = np.flatnonzero(walked < end)
    ring = vertices[(walked > end - 2.0 * step) & (walked < end)]
    root = ring.mean(axis=0)
    return Branch(gone, root, float(np.linalg.norm(root - vertices[start])), radius)


def without_branch(body: Body, branch: Branch) -> tuple[Body, Branch] | None:
    """Return the body with a branch off and its wall closed over the root, and the branch with what closes it.

    None where no surface follows from the wall about the root.
    """
    before = {frozenset(rim.tolist()) for rim in open_rims(body.faces, len(body.vertices))}
    gone = np.zeros(len(body.vertices), dtype=bool)
    gone[branch.vertices] = True
    faces = body.faces[~gone[body.faces].any(axis=1)]
    vertices, made = body.vertices, []
    new = [rim for rim in open_rims(faces, len(vertices)) if frozenset(rim.tolist()) not in before]
    if not new:
        return None
    for rim in sorted(new, key=len, reverse=True):
        closed = close_hole(vertices, faces, rim)
        if closed is None:
            return None
        vertices, faces, patch = closed
        made.append(patch)
    vertices, faces = compact(vertices, faces)
    return Body(vertices, faces, open_rims(faces, len(vertices))), replace(branch, patches=tuple(made))


def splits(tip: FloatArray, root: FloatArray, share: float) -> GeometryError:
    """Return the refusal of a mold with a leg: `share` of the tube's section leaves at its root."""
    return GeometryError(
        "the mold splits: a leg with {:.0%} of the port's area leaves it about ({:.1f}, {:.1f}, {:.1f}) mm and ends "
        "about ({:.1f}, {:.1f}, {:.1f}) mm".format(share, *root, *tip),
        hint="A port is measured as one passage: in the scanner's software cut that leg off flush with the wall of "
        "the passage that you want, close the hole, and measure again",
    )
