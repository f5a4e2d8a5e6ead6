"""Noise of a scan, estimated from its own mesh: how far points stand off the surface through their
neighbours. Vertices come in; one standard deviation in millimetres goes out.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from portgeo.plane import FloatArray

PATCHES = 40  # places on the surface that are looked at
SPACINGS = 9.0  # radius of a place, in mean spacings of the points
NEIGHBOURS = 24  # points of each local surface: four times its six terms
PER_PATCH = 80  # residuals taken from one place
MEDIAN_TO_SIGMA = 0.67449  # median of a standard normal's size


def scan_noise(vertices: FloatArray, area: float) -> float:
    """Return the standard deviation of a mesh's vertices (n, 3) off the surface of `area` mm2.

    A quadric in the local tangent plane is fitted to each vertex's neighbours and itself; the
    residual of an independent error has the variance sigma^2 (1 - h), h the vertex's own entry in
    the fit's hat matrix. The median over all places leaves edges and corners out.
    """
    spacing = np.sqrt(area / len(vertices))
    seeds = vertices[np.linspace(0, len(vertices) - 1, PATCHES).astype(int)]
    radius = SPACINGS * spacing
    found = []
    for seed in seeds:
        near = np.abs(vertices[:, 0] - seed[0]) < radius
        patch = vertices[near]
        patch = patch[np.linalg.norm(patch - seed, axis=1) < radius]
        if len(patch) > 2 * NEIGHBOURS:
            found.append(_residuals(patch, seed, radius))
    if not found:
        return 0.0
    return float(np.median(np.abs(np.concatenate(found))) / MEDIAN_TO_SIGMA)


def _residuals(patch: FloatArray, seed: FloatArray, radius: float) -> FloatArray:
    """Return the scaled residuals of the inner points of a patch (n, 3) off their local quadrics."""
    distance = np.linalg.norm(patch - seed, axis=1)
    inner = np.argsort(distance, kind="stable")[:PER_PATCH]
    inner = inner[distance[inner] < 0.6 * radius]
    near = cKDTree(patch).query(patch[inner], k=NEIGHBOURS)[1]
    p = patch[near] - patch[inner][:, None]
    centred = p - p.mean(axis=1, keepdims=True)
    axes = np.linalg.eigh(np.einsum("nki,nkj->nij", centred, centred))[1]
    local = np.einsum("nki,nij->nkj", p, axes)
    size = np.abs(local[:, :, 1:]).max(axis=(1, 2))[:, None]
    x, y, z = local[:, :, 2] / size, local[:, :, 1] / size, local[:, :, 0]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    inverse = np.linalg.pinv(np.einsum("nki,nkj->nij", terms, terms), hermitian=True)
    fitted = np.einsum("nij,nkj,nk->ni", inverse, terms, z)[:, 0]
    own = inverse[:, 0, 0]  # the point itself is at the origin, where every term but the first is 0
    return -fitted / np.sqrt(np.clip(1.0 - own, 0.05, 1.0))
