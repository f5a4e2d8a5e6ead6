"""The fit of one wall to another: robust point-to-plane descent with a narrowing kernel.

AFTER's wall as points and BEFORE's wall as a mesh come in; the rigid motion that lays most of the one on
the other, with its covariance, goes out. Metal that was taken away moves the wall outward only, so the
surfaces that must not pull are known by their side: the fit seeks the place where most of the wall
agrees and the rest of it lies outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from portgeo.compare.distance import Wall, closest
from portgeo.compare.tube import Walled
from portgeo.plane import FloatArray, IntArray
from portgeo.triangles import face_areas

NEIGHBOURS = 24  # points whose mean tells whether a place was cut: noise falls to a fifth
OPENING_POINTS = 400  # each: an opening is a plane, three points would do
WIDEST_KERNEL_MM = 4.0  # a heavy cut moves the entry's middle, and with it the port frame, this much
NARROWING = 0.75  # kernel after kernel: slow enough that the fit settles in each
LEAST_SPREAD_MM = 0.002  # of clean meshes: outlines are drawn with chords so close to the curve
WIDER = 1.6  # the kernel is opened by this much once, to see how far the fit moves
COARSELY_SETTLED_MM, SETTLED_MM = 1e-3, 2e-5  # a step smaller than this ends the fit
MOST_STEPS = 30
MAJORITY = 0.5  # of the wall in agreement: no other place needs to be tried
DAMPING = 1e-7  # of the mean stiffness: a motion that nothing holds stays where it was
MIRROR = np.diag([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class AfterPoints:
    """What the fit uses of AFTER, in its port frame.

    wall : (n, 3) points. openings : points of the two. count : vertices of the wall. around : (n, k)
    the points round each, itself among them, or None where each stands for itself.
    """

    wall: FloatArray
    openings: tuple[FloatArray, FloatArray]
    count: int
    around: IntArray | None = None


@dataclass(frozen=True)
class Target:
    """What the fit uses of BEFORE."""

    wall: Wall
    openings: tuple[tuple[FloatArray, FloatArray], ...]
    centre: FloatArray
    size: float
    frame: FloatArray
    boxes: FloatArray | None = None


@dataclass(frozen=True)
class Fit:
    motion: FloatArray
    share: float
    rms: float
    covariance: FloatArray
    rests_on_openings: bool


def target_of(before: Walled, wall: Wall) -> Target:
    """Return what the fit uses of BEFORE, whose wall is ready to be asked for distances."""
    port, tube = before.port, before.tube
    points = port.vertices
    centre = (points.min(axis=0) + points.max(axis=0)) / 2.0
    size = float(np.sqrt(np.mean(np.sum((points - centre) ** 2, axis=1))))
    openings = tuple((tube.middles[k], tube.frames[k, 0]) for k in (0, -1))
    return Target(wall, openings, centre, size, port.frame)


def sampled(after: Walled, count: int, mirrored: bool) -> AfterPoints:
    """Return points of AFTER, evenly over its area, the same each time."""
    port, tube = after.port, after.tube
    hand = MIRROR if mirrored else np.eye(3)
    caps = port.faces[~after.is_wall]
    middle = port.vertices[caps].mean(axis=1)
    at_entry = np.linalg.norm(middle - tube.middles[0], axis=1) < np.linalg.norm(middle - tube.middles[-1], axis=1)
    openings = [_evenly(port.vertices, cap, OPENING_POINTS) @ hand for cap in (caps[at_entry], caps[~at_entry])]
    wall = port.faces[after.is_wall]
    used = np.zeros(len(port.vertices), dtype=bool)
    used[wall] = True
    return AfterPoints(_evenly(port.vertices, wall, count) @ hand, (openings[0], openings[1]), int(used.sum()))


def _evenly(vertices: FloatArray, faces: np.ndarray, count: int) -> FloatArray:
    """Return points (count, 3) spread over faces by area, placed in each by a low-discrepancy row.

    The row is M. Roberts's additive recurrence on the plastic number (2018; from memory): the same
    points each run.
    """
    if len(faces) == 0:
        return np.zeros((0, 3))
    total = np.cumsum(face_areas(vertices, faces))
    k = np.arange(count)
    face = np.minimum(np.searchsorted(total, (k + 0.5) / count * total[-1]), len(faces) - 1)
    plastic = 1.32471795724474602596
    u, v = (0.5 + k / plastic) % 1.0, (0.5 + k / plastic**2) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    a, b, c = (vertices[faces[face, j]] for j in range(3))
    return a + u[:, None] * (b - a) + v[:, None] * (c - a)


def seek(target: Target, points: AfterPoints, start: FloatArray, kernel: float) -> Fit:
    """Return the best fit from a start that may be some millimetres out.

    Three descents with a narrowing kernel: one holds that metal was only taken away, one that it was
    only added, one neither. The one on which most of the wall agrees wins; a draw goes to the first.
    """
    best: Fit | None = None
    for outward in (1, -1, 0):
        motion, width = start, WIDEST_KERNEL_MM
        while width > kernel:
            motion, _ = _step(target, points, motion, width, outward, openings=True)
            width *= NARROWING
        fit = settle(target, points, motion, kernel, 0.0, openings=True, coarsely=True)
        if best is None or fit.share > 1.05 * best.share:
            best = fit
        if best.share > MAJORITY:
            break
    assert best is not None
    return best


def settle(
    target: Target,
    points: AfterPoints,
    motion: FloatArray,
    kernel: float,
    noise: float,
    *,
    openings: bool,
    coarsely: bool = False,
) -> Fit:
    """Return the fit that a motion near it settles into, with its covariance.

    The covariance is that of the points' noise, and of how far the fit moves when its kernel opens:
    that is what the faint edges of a cut do to it.
    """
    motion = _descend(target, points, motion, kernel, openings, COARSELY_SETTLED_MM if coarsely else SETTLED_MM)
    rows, residual, weight, is_wall = _system(target, points, motion, kernel, 0, openings=openings)
    if weight.sum() == 0.0:
        return Fit(motion, 0.0, 0.0, np.zeros((6, 6)), openings)
    chosen = (weight > 0) & (is_wall | (target.boxes is not None))
    calm = residual.copy()
    calm[is_wall] = _round_about(points, residual[is_wall])
    agreeing = (np.abs(calm) < kernel) & chosen
    rms = float(np.sqrt(np.mean(residual[agreeing] ** 2))) if agreeing.any() else 0.0
    spread = max(noise, rms, LEAST_SPREAD_MM)
    # Points between the same vertices repeat their error: no more of them count than there are vertices.
    own = min(points.count, len(target.wall.vertices), len(points.wall))
    repeat = len(points.wall) / max(own, 1)
    stiffness = rows.T @ (rows * weight[:, None])
    stiffness += DAMPING * np.trace(stiffness) / 6.0 * np.eye(6)
    inverse = np.linalg.inv(stiffness)
    covariance = inverse * spread**2 * repeat
    if not coarsely:
        wider = _descend(target, points, motion, WIDER * kernel, openings, SETTLED_MM)
        shift = _small_motion(target, wider @ np.linalg.inv(motion))
        covariance = covariance + np.outer(shift, shift)
    scale = np.diag([1.0 / target.size] * 3 + [1.0] * 3)
    return Fit(
        motion=motion,
        share=float(agreeing.sum() / max(chosen.sum(), 1)),
        rms=rms,
        covariance=scale @ covariance @ scale,
        rests_on_openings=openings,
    )


def _descend(
    target: Target, points: AfterPoints, motion: FloatArray, kernel: float, openings: bool, settled: float
) -> FloatArray:
    for _ in range(MOST_STEPS):
        motion, moved = _step(target, points, motion, kernel, 0, openings=openings)
        if moved < settled:
            break
    return motion


def _small_motion(target: Target, step: FloatArray) -> FloatArray:
    """Return a small motion (4, 4) as rotation times size and shift at the centre (6,)."""
    turn = Rotation.from_matrix(step[:3, :3]).as_rotvec() * target.size
    return np.concatenate([turn, step[:3, :3] @ target.centre + step[:3, 3] - target.centre])


def _round_about(points: AfterPoints, residual: FloatArray) -> FloatArray:
    """Return the mean residual (n,) of the points round each."""
    return residual if points.around is None else residual[points.around].mean(axis=1)


def _system(
    target: Target, points: AfterPoints, motion: FloatArray, kernel: float, outward: int, *, openings: bool
) -> tuple[FloatArray, FloatArray, FloatArray, np.ndarray]:
    """Return rows (n, 6) of a small motion, residuals (n,), weights (n,), and which rows are wall (n,)."""
    moved = points.wall @ motion[:3, :3].T + motion[:3, 3]
    foot, face = closest(target.wall, moved)
    normal = target.wall.calm[face]
    residual = np.einsum("ij,ij->i", moved - foot, normal)
    weight = _weights(_round_about(points, residual), kernel, outward)
    # A point past the wall's edge has its foot on the rim, and slides freely along the wall.
    astray = np.linalg.norm(moved - foot, axis=1) > 1.5 * np.abs(residual) + kernel
    weight[astray] = 0.0
    if target.boxes is not None:
        source = (foot - target.frame[:3, 3]) @ target.frame[:3, :3]
        inside = ((source >= target.boxes[:, :1]) & (source <= target.boxes[:, 1:])).all(axis=2).any(axis=0)
        weight[~inside] = 0.0
    parts = [(moved, normal, residual, weight)]
    if openings:
        for (point, flow), cap in zip(target.openings, points.openings, strict=True):
            if len(cap) == 0:
                continue
            at = cap @ motion[:3, :3].T + motion[:3, 3]
            off = (at - point) @ flow
            parts.append((at, np.broadcast_to(flow, at.shape), off, _weights(off, kernel, 0)))
    at, normal, residual, weight = (np.concatenate(part) for part in zip(*parts, strict=True))
    rows = np.hstack([np.cross(at - target.centre, normal) / target.size, normal])
    is_wall = np.arange(len(residual)) < len(points.wall)
    return rows, residual, weight, is_wall


def _weights(residual: FloatArray, kernel: float, outward: int) -> FloatArray:
    """Return the weights of residuals: Geman and McClure's, which lets go of what is far off.

    (S. Geman, D. E. McClure, Bull. Int. Stat. Inst. 52, 1987.) On the side where nothing should be
    (`outward` 1: inside, metal added), far points keep pulling as with Huber's.
    """
    let_go = (kernel**2 / (kernel**2 + residual**2)) ** 2
    if outward == 0:
        return let_go
    held = kernel / np.maximum(np.abs(residual), kernel)
    return np.where(residual * outward < 0, held, let_go)


def _step(
    target: Target, points: AfterPoints, motion: FloatArray, kernel: float, outward: int, *, openings: bool
) -> tuple[FloatArray, float]:
    """Return the motion one Gauss-Newton step on, and how far it moved the wall."""
    rows, residual, weight, _ = _system(target, points, motion, kernel, outward, openings=openings)
    if weight.sum() == 0.0:
        return motion, 0.0
    stiffness = rows.T @ (rows * weight[:, None])
    stiffness += DAMPING * np.trace(stiffness) / 6.0 * np.eye(6)
    small = -np.linalg.solve(stiffness, rows.T @ (weight * residual))
    turn = Rotation.from_rotvec(small[:3] / target.size).as_matrix()
    step = np.eye(4)
    step[:3, :3] = turn
    step[:3, 3] = target.centre - turn @ target.centre + small[3:]
    return step @ motion, float(np.abs(small).max())


def loosest(target: Target, fit: Fit) -> float:
    """Return the largest standard uncertainty of a motion: of a shift, or of a turn at the port's size."""
    scale = np.diag([target.size] * 3 + [1.0] * 3)
    return float(np.sqrt(np.linalg.eigvalsh(scale @ fit.covariance @ scale)[-1]))
