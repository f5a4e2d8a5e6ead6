"""The fit of one wall to another: robust point-to-plane descent with a narrowing kernel.

AFTER's wall as points and BEFORE's wall as a mesh come in; the rigid motion that lays most of the one on
the other, with its covariance, goes out. Metal that was taken away moves the wall outward only, so the
surfaces that must not pull are known by their side: the fit seeks the place where most of the wall
agrees and the rest of it lies outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist
from scipy.spatial.transform import Rotation

from portgeo.comparing.bulge import bulge_at, edge_bulges
from portgeo.comparing.distance import Wall, barycentric, closest
from portgeo.comparing.tube import Walled
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.triangles import face_areas

NEIGHBOURS = 24  # points whose mean tells whether a place was cut: noise falls to a fifth
OPENING_POINTS = 400  # each: an opening is a plane, three points would do
WIDEST_KERNEL_MM = 4.0  # a heavy cut moves the entry's middle, and with it the port frame, this much
NARROWING = 0.75  # kernel after kernel: slow enough that the fit settles in each
LEAST_SPREAD_MM = 0.002  # of clean meshes: outlines are drawn with chords so close to the curve
WIDER = 1.6  # the kernel is opened by this much once, to see how far the fit moves
MUCH_WIDER = 5.0  # the same where less than MAJORITY agrees: another place may then do as well
COARSELY_SETTLED_MM, SETTLED_MM = 1e-3, 1e-4  # a step smaller than this ends the fit: a tenth of what is sure
MOST_STEPS = 30
MAJORITY = 0.5  # of the wall in agreement: no other place needs to be tried
SURE_MM = 0.001  # of a shift, at best: what runs along the whole wall is in no block's sum
BLOCK_MM = 4.0  # what pulls within one is summed first
ALIKE_MM = 10.0  # errors of two places lose touch over some such distances: a scanner's waves are up to 30 mm long
FEWEST_APART = 9.0  # of fewer parts of the wall, a spread in six directions cannot be told
LEAST_HELD = 0.3  # of the stiffness that the weights alone have, left by what they let go of
LEAST_NAMED = 0.01  # of the stiffest direction: normals that lean by less than 6 degrees may be noise
DAMPING = 1e-7  # of the mean stiffness: a motion that nothing holds stays where it was
MIRROR = np.diag([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class AfterPoints:
    """What the fit uses of AFTER, in its port frame.

    wall : (n, 3) points. bulge : (n,) how far the wall stands out over each. openings : points of
    each. count : vertices of the wall. around : (n, k) the points round each, itself among them, or
    None where each stands for itself. pulls : (n,) which points pull, or None where all do.
    """

    wall: FloatArray
    bulge: FloatArray
    openings: tuple[FloatArray, ...]
    count: int
    around: IntArray | None = None
    pulls: np.ndarray | None = None


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


@dataclass(frozen=True)
class System:
    """What pulls on a motion: rows (n, 6) of a small one, residuals, weights, which rows are wall, and what of
    each residual is bulge (n,)."""

    rows: FloatArray
    residual: FloatArray
    weight: FloatArray
    is_wall: np.ndarray
    bulge: FloatArray


def target_of(before: Walled, wall: Wall) -> Target:
    """Return what the fit uses of BEFORE, whose wall is ready to be asked for distances."""
    port = before.port
    points = port.vertices
    centre = (points.min(axis=0) + points.max(axis=0)) / 2.0
    size = float(np.sqrt(np.mean(np.sum((points - centre) ** 2, axis=1))))
    return Target(wall, before.openings, centre, size, port.frame)


def sampled(after: Walled, normals: FloatArray, count: int, mirrored: bool) -> AfterPoints:
    """Return points of AFTER, evenly over its area, the same each time. normals : of its vertices (n, 3)."""
    port = after.port
    hand = MIRROR if mirrored else np.eye(3)
    caps = port.faces[~after.is_wall]
    middle = port.vertices[caps].mean(axis=1)
    nearest = np.argmin([np.linalg.norm(middle - place, axis=1) for place, _ in after.openings], axis=0)
    own = [caps[nearest == k] for k in range(len(after.openings))]
    openings = tuple(_evenly(port.vertices, cap, OPENING_POINTS)[0] @ hand for cap in own)
    wall = port.faces[after.is_wall]
    used = np.zeros(len(port.vertices), dtype=bool)
    used[wall] = True
    points, face, shares = _evenly(port.vertices, wall, count)
    bulge = bulge_at(edge_bulges(port.vertices, wall[face], normals), shares)
    return AfterPoints(points @ hand, bulge, openings, int(used.sum()))


def _evenly(vertices: FloatArray, faces: IntArray, count: int) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return points (count, 3) spread over faces by area, placed in each by a low-discrepancy row.

    Also the face (count,) of each and its barycentric shares (count, 3).

    The row is M. Roberts's additive recurrence on the plastic number (2018; from memory): the same
    points each run.
    """
    if len(faces) == 0:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros((0, 3))
    total = np.cumsum(face_areas(vertices, faces))
    k = np.arange(count)
    face = np.minimum(np.searchsorted(total, (k + 0.5) / count * total[-1]), len(faces) - 1)
    plastic = 1.32471795724474602596
    u, v = (0.5 + k / plastic) % 1.0, (0.5 + k / plastic**2) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    shares = np.column_stack([1.0 - u - v, u, v])
    return np.einsum("kj,kjx->kx", shares, vertices[faces[face]]), face, shares


def seek(target: Target, points: AfterPoints, start: FloatArray, kernel: float) -> Fit:
    """Return the best fit from a start that may be some millimetres out.

    Three descents with a narrowing kernel: one holds that metal was only taken away, one that it was
    only added, one neither. The one on which most of the wall agrees wins; a draw goes to the first.
    """
    best: Fit | None = None
    for outward in (1, -1, 0):
        motion, width = start, WIDEST_KERNEL_MM
        while width > kernel:
            motion, _ = step_of(target, points, motion, width, outward, openings=True)
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
    free: FloatArray | None = None,
) -> Fit:
    """Return the fit that a motion near it settles into, with its covariance.

    free : covariance (6, 6) of the directions that a named surface does not hold, as of the fit before.

    The covariance is that of what pulls, neighbours together, and of how far the fit
    moves when its kernel opens: that is what the faint edges of a cut do to it.
    """
    closeness = COARSELY_SETTLED_MM if coarsely else SETTLED_MM
    motion = descend(target, points, motion, kernel, openings=openings, settled=closeness)
    system = system_of(target, points, motion, kernel, 0, openings=openings)
    residual, weight, is_wall = system.residual, system.weight, system.is_wall
    if weight.sum() == 0.0:
        return Fit(motion, 0.0, 0.0, np.zeros((6, 6)), openings)
    chosen = (weight > 0) & (is_wall | (target.boxes is not None))
    calm = residual.copy()
    calm[is_wall] = _round_about(points, residual[is_wall])
    agreeing = (np.abs(calm) < kernel) & chosen
    rms = float(np.sqrt(np.mean(residual[agreeing] ** 2))) if agreeing.any() else 0.0
    covariance = _covariance(points, system, calm, kernel, max(noise, rms, LEAST_SPREAD_MM))
    if not coarsely:
        share = agreeing.sum() / max(chosen.sum(), 1)
        opened = (WIDER if share > MAJORITY else MUCH_WIDER) * kernel
        wider = descend(target, points, motion, opened, openings=openings, settled=SETTLED_MM)
        shift = small_motion(target, wider @ np.linalg.inv(motion))
        covariance = covariance + np.outer(shift, shift)
    scale = np.diag([1.0 / target.size] * 3 + [1.0] * 3)
    covariance = scale @ covariance @ scale
    if free is not None:
        ways = held_ways(system)
        held = scale @ ways @ ways.T @ np.linalg.inv(scale)
        left = np.eye(6) - held
        covariance = held @ covariance @ held.T + left @ free @ left.T
    return Fit(
        motion=motion,
        share=float(agreeing.sum() / max(chosen.sum(), 1)),
        rms=rms,
        covariance=covariance,
        rests_on_openings=openings,
    )


def approach(target: Target, points: AfterPoints, start: FloatArray, kernel: float) -> FloatArray:
    """Return the motion that lays a named surface on its like from some millimeters away."""
    motion, width = start, WIDEST_KERNEL_MM
    while width > kernel:
        motion, _ = step_of(target, points, motion, width, 0, openings=True)
        width *= NARROWING
    return motion


def calm_residual(target: Target, points: AfterPoints, motion: FloatArray, kernel: float) -> FloatArray:
    """Return how far the wall stands out (k,) round points of it that lie over BEFORE's."""
    system = system_of(target, points, motion, kernel, 0, openings=False)
    return _round_about(points, system.residual)[system.weight > 0.0]


def calm_over(target: Target, points: AfterPoints, motion: FloatArray) -> tuple[FloatArray, np.ndarray]:
    """Return how far the wall stands out (n,) round each point of it, and which points (n,) lie over BEFORE's."""
    system = system_of(target, points, motion, WIDEST_KERNEL_MM, 0, openings=False)
    return _round_about(points, system.residual), system.weight > 0.0


def _covariance(points: AfterPoints, system: System, calm: FloatArray, kernel: float, spread: float) -> FloatArray:
    """Return the covariance (6, 6) of a settled fit.

    Neighbours share their errors: points between the same vertices, the chords of one corner, the
    faint edge of one cut, the waves of a scanner. So products of what pulls at two places are summed
    as far as the two are near each other (T. G. Conley, J. Econometrics 92, 1999; from memory), block
    by block. The slope of the pull is that of Geman and McClure's weights, which let go of a point as
    it moves off. To it comes `LEAST_SPREAD_MM` for each vertex (where too little of the wall is apart,
    the whole `spread`), and what half of the bulge moves.
    """
    rows, residual, weight = system.rows, system.residual, system.weight
    stiffness = rows.T @ (rows * weight[:, None])
    stiffness += DAMPING * np.trace(stiffness) / 6.0 * np.eye(6)
    root = np.linalg.cholesky(np.linalg.inv(stiffness))
    let_go = 1.0 - 4.0 * calm**2 / (kernel**2 + calm**2)
    held = root.T @ (rows.T @ (rows * (weight * let_go)[:, None])) @ root
    values, vectors = np.linalg.eigh(held)
    inverse = root @ (vectors / np.maximum(values, LEAST_HELD)) @ vectors.T @ root.T
    places = np.concatenate([points.wall, *points.openings])[: len(rows)]
    _, block = np.unique(np.floor(places[weight > 0] / BLOCK_MM), axis=0, return_inverse=True)
    pull = (rows * (weight * residual)[:, None])[weight > 0]
    size = np.bincount(block.ravel()).astype(float)
    sums, totals = (
        np.column_stack([np.bincount(block.ravel(), part[:, k]) for k in range(part.shape[1])])
        for part in (pull, places[weight > 0])
    )
    middles = totals / size[:, None]
    alike = np.exp(-(cdist(middles, middles, "sqeuclidean") / (2.0 * ALIKE_MM**2)))
    apart = float(size.sum() ** 2 / (size @ alike @ size))  # how many parts of the wall know nothing of each other
    enough = apart >= FEWEST_APART
    # Points between the same vertices repeat their error: no more of them count than there are vertices.
    repeat = len(points.wall) / max(min(points.count, len(points.wall)), 1)
    floor = np.linalg.inv(stiffness) * repeat * (LEAST_SPREAD_MM if enough else spread) ** 2
    by_bulge = inverse @ (rows.T @ (weight * system.bulge)) / 2.0
    own = inverse @ (sums.T @ alike @ sums) @ inverse * (apart / (apart - 6.0) if enough else 1.0)
    return own + floor + np.outer(by_bulge, by_bulge) / 3.0 + SURE_MM**2 * np.eye(6)


def descend(
    target: Target,
    points: AfterPoints,
    motion: FloatArray,
    kernel: float,
    *,
    openings: bool,
    settled: float = COARSELY_SETTLED_MM,
) -> FloatArray:
    """Return the motion that one near it settles into, within one kernel."""
    for _ in range(MOST_STEPS):
        motion, moved = step_of(target, points, motion, kernel, 0, openings=openings)
        if moved < settled:
            break
    return motion


def small_motion(target: Target, step: FloatArray) -> FloatArray:
    """Return a small motion (4, 4) as rotation times size and shift at the centre (6,)."""
    turn = Rotation.from_matrix(step[:3, :3]).as_rotvec() * target.size
    return np.concatenate([turn, step[:3, :3] @ target.centre + step[:3, 3] - target.centre])


def _round_about(points: AfterPoints, residual: FloatArray) -> FloatArray:
    """Return the mean residual (n,) of the points round each."""
    return residual if points.around is None else residual[points.around].mean(axis=1)


def system_of(
    target: Target, points: AfterPoints, motion: FloatArray, kernel: float, outward: int, *, openings: bool
) -> System:
    """Return the system of one step: bulges are taken off what the flat triangles are apart."""
    moved = points.wall @ motion[:3, :3].T + motion[:3, 3]
    foot, face = closest(target.wall, moved)
    normal = target.wall.calm[face]
    bulge = points.bulge - bulge_at(
        target.wall.rise[face], barycentric(target.wall.vertices[target.wall.faces[face]], foot)
    )
    residual = np.einsum("ij,ij->i", moved - foot, normal) + bulge
    weight = _weights(_round_about(points, residual), kernel, outward)
    # A point past the wall's edge has its foot on the rim, and slides freely along the wall.
    astray = np.linalg.norm(moved - foot, axis=1) > 1.5 * np.abs(residual) + kernel
    weight[astray] = 0.0
    if points.pulls is not None:
        weight[~points.pulls] = 0.0
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
    bulges = np.concatenate([bulge, np.zeros(len(residual) - len(bulge))])
    return System(rows, residual, weight, is_wall, bulges)


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


def step_of(
    target: Target,
    points: AfterPoints,
    motion: FloatArray,
    kernel: float,
    outward: int,
    *,
    openings: bool,
) -> tuple[FloatArray, float]:
    """Return the motion one Gauss-Newton step on, and how far it moved the wall. outward : see _weights."""
    system = system_of(target, points, motion, kernel, outward, openings=openings)
    rows, residual, weight = system.rows, system.residual, system.weight
    if weight.sum() == 0.0:
        return motion, 0.0
    stiffness = rows.T @ (rows * weight[:, None])
    stiffness += DAMPING * np.trace(stiffness) / 6.0 * np.eye(6)
    named = target.boxes is not None or points.pulls is not None
    ways = held_ways(system) if named else np.eye(6)
    small = -ways @ np.linalg.solve(ways.T @ stiffness @ ways, ways.T @ rows.T @ (weight * residual))
    turn = Rotation.from_rotvec(small[:3] / target.size).as_matrix()
    step = np.eye(4)
    step[:3, :3] = turn
    step[:3, 3] = target.centre - turn @ target.centre + small[3:]
    return step @ motion, float(np.abs(small).max())


def held_ways(system: System) -> FloatArray:
    """Return the directions of motion (6, k) that a part of the wall holds: along the rest its noise would push."""
    rows = system.rows[system.weight > 0.0]
    values, vectors = np.linalg.eigh(rows.T @ rows)
    return np.asarray(vectors[:, values > LEAST_NAMED * values[-1]])


def loosest(target: Target, fit: Fit) -> float:
    """Return the largest standard uncertainty of a motion: of a shift, or of a turn at the port's size."""
    scale = np.diag([target.size] * 3 + [1.0] * 3)
    return float(np.sqrt(np.linalg.eigvalsh(scale @ fit.covariance @ scale)[-1]))
