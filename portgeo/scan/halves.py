"""Halves: whether two scans are the halves of one mold, parted along its length.

The points of two meshes come in; yes or no goes out.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from portgeo.core.plane import FloatArray

TOUCH = 0.006  # of the size: points of two halves nearer than this lie on their common edge
LEAST_TOUCHING = 40  # such points
SPANS = 0.6  # of the size, that the common edge reaches along
APART = 0.98  # share of each half's points on its own side of the plane through that edge
MOST_POINTS = 20_000  # of each mesh that are looked at


def are_halves(one: FloatArray, other: FloatArray) -> bool:
    """Return whether two sets of points (n, 3) in one frame are two halves that meet along a plane."""
    one, other = (points[:: max(len(points) // MOST_POINTS, 1)] for points in (one, other))
    size = float(np.linalg.norm(np.ptp(np.vstack([one, other]), axis=0)))
    off = cKDTree(other).query(one, distance_upper_bound=TOUCH * size)[0]
    common = one[np.isfinite(off)]
    if len(common) < LEAST_TOUCHING or np.linalg.norm(np.ptp(common, axis=0)) < SPANS * size:
        return False
    middle = common.mean(axis=0)
    normal = np.linalg.svd(common - middle, full_matrices=False)[2][2]
    sides = [(points - middle) @ normal for points in (one, other)]
    if sides[0].mean() > sides[1].mean():
        sides = sides[::-1]
    near = TOUCH * size
    return bool((sides[0] < near).mean() > APART and (sides[1] > -near).mean() > APART)
