"""Noise of a scan, estimated from its own mesh: how far points stand off the surface through their
neighbours, and how much of that holds on from point to point. Vertices come in; a standard deviation and the
noise's Grain go out.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import nnls
from scipy.spatial import cKDTree

from portgeo.core.grain import Band, Grain
from portgeo.core.plane import FloatArray

PATCHES = 40  # places on the surface that are looked at
SPACINGS = 9.0  # radius of a place, in mean spacings of the points
NEIGHBOURS = 24  # points of each local surface: four times its six terms
PER_PATCH = 80  # residuals taken from one place
REACHES = np.array([1.5, 2.2, 3.2, 4.6, 6.5])  # mm, of the places that a scanner's waves are looked for in
LEAST_REACHES, MOST_WIDER = 3, 1.6  # that tell waves apart, and how much wider a coarse mesh has them
# mm of wave, equal power per octave in each: a scanner's own, and what comes of laying views together, which is as
# long as a view is wide. A wave that meets a flat wall aslant is longer still on it.
BANDS = (1.5, 4.0), (4.0, 60.0)
WAVE_PLACES = 80
MOST_POINTS = 150_000  # of the mesh that waves are looked for in: bounds the work
MOST_IN_PLACE = 500
PLACE_TERMS = 13  # of _terms
ENOUGH = 2  # times as many points, that a place is fitted to
DISC = 400  # points of the disc on which it is worked out what a fit leaves of a wave
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


def scan_grain(vertices: FloatArray, noise: float, edge: float) -> Grain:
    """Return how much of a mesh's noise is white and how much is waves.

    vertices (n, 3); noise : as scan_noise finds it; edge : usual length of an edge. Surfaces fitted to
    places of several sizes leave of a wave the more the shorter it is against the place. The residuals'
    variances over the sizes are told apart into a white part and two bands of waves, isotropic, each of equal
    power per octave. No place is large enough to tell waves longer than some 12 mm from the wall's own form:
    they are taken to go on as strong as those that are seen, up to 60 mm.
    """
    if noise == 0.0:
        return Grain(0.0, edge)
    points = vertices[:: max(len(vertices) // MOST_POINTS, 1)]
    seeds = points[np.linspace(0, len(points) - 1, WAVE_PLACES).astype(int)]
    reaches = REACHES * _wider(points, seeds)
    rows = np.array([_place_variances(points, seed, reaches) for seed in seeds])
    enough = np.isfinite(rows).sum(axis=0) > WAVE_PLACES // 2
    if enough.sum() < LEAST_REACHES:
        return Grain(noise, edge)
    left, reaches = np.nanmedian(rows[:, enough], axis=0), reaches[enough]
    columns = np.column_stack(
        [np.ones(len(left)), *(np.mean([_left_of(w, reaches) for w in _octaves(b)], axis=0) for b in BANDS)]
    )
    white, *bands = nnls(columns / left[:, None], np.ones(len(left)))[0]
    return Grain(float(np.sqrt(white)), edge, tuple(Band(float(v), *b) for v, b in zip(bands, BANDS, strict=True)))


def _wider(points: FloatArray, seeds: FloatArray) -> float:
    """Return by how much places must be wider than REACHES, that LEAST_REACHES of them hold points enough of a mesh."""
    enough = cKDTree(points).query(seeds, k=[ENOUGH * PLACE_TERMS])[0] if len(points) > ENOUGH * PLACE_TERMS else np.inf
    return float(np.clip(np.percentile(enough, 75) / REACHES[-LEAST_REACHES], 1.0, MOST_WIDER))


def _octaves(band: tuple[float, float]) -> FloatArray:
    return np.geomspace(*band, 9)


def _terms(flat: FloatArray) -> FloatArray:
    """Return the terms (n, PLACE_TERMS) of a place's surface at (n, 2), y across the tube, where it bends most."""
    x, y = flat.T
    more = [x * y * y, y**3, y**4, x**3, x * x * y, y**5, x * y**3]
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y, *more])


def _place_variances(points: FloatArray, seed: FloatArray, reaches: FloatArray) -> FloatArray:
    """Return the variances (k,) of what surfaces fitted to the points within each reach of a seed leave."""
    near = points[np.abs(points[:, 0] - seed[0]) < reaches[-1]]
    distance = np.linalg.norm(near - seed, axis=1)
    found = np.full(len(reaches), np.nan)
    middle = _thinned(near[distance < reaches[-LEAST_REACHES]])
    if len(middle) < ENOUGH * PLACE_TERMS:
        return found
    arm = middle - middle.mean(axis=0)
    axes = np.linalg.eigh(arm.T @ arm)[1]
    local = arm @ axes
    bend = np.linalg.lstsq(_terms(local[:, 1:])[:, :6], local[:, 0], rcond=None)[0]
    size, turned = np.linalg.eigh(np.array([[2.0 * bend[3], bend[4]], [bend[4], 2.0 * bend[5]]]))
    axes[:, 1:] = axes[:, 1:] @ turned[:, np.argsort(np.abs(size))]
    for k, reach in enumerate(reaches):
        place = _thinned(near[distance < reach])
        if len(place) < ENOUGH * PLACE_TERMS:
            continue
        local = (place - seed) @ axes
        terms, height = _terms(local[:, 1:] / reach), local[:, 0]
        fit = np.linalg.lstsq(terms.T @ terms, terms.T @ height, rcond=None)[0]
        over = height - terms @ fit
        found[k] = over @ over / (len(height) - PLACE_TERMS)
    return found


def _thinned(place: FloatArray) -> FloatArray:
    return place[:: max(len(place) // MOST_IN_PLACE, 1)]


def _left_of(wave: float, reaches: FloatArray) -> FloatArray:
    """Return what share (k,) of a wave's variance is left by a fit within each reach, over all its directions."""
    turn = np.arange(DISC) * np.pi * (3.0 - np.sqrt(5.0))  # a sunflower's seeds cover a disc evenly
    flat = np.sqrt((np.arange(DISC) + 0.5) / DISC)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    base = np.linalg.qr(_terms(flat))[0]
    angle = np.arange(8) * np.pi / 8.0
    along = flat @ np.stack([np.cos(angle), np.sin(angle)])
    shares = []
    for reach in reaches:
        phase = 2.0 * np.pi * reach / wave * along
        waves = np.concatenate([np.sin(phase), np.cos(phase)], axis=1)
        left = waves - base @ (base.T @ waves)
        shares.append(float((left**2).sum() / (waves**2).sum()))
    return np.array(shares) * DISC / (DISC - PLACE_TERMS)
