"""Bring two states of one port together, by the surface that nobody cut.

Two Ports come in; the rigid motion that takes AFTER into BEFORE's port frame goes out, with what it
rests on and how sure it is. Metal that was taken away moves the wall outward only, so the surfaces
that must not pull are known by their side: the fit seeks the place where most of the wall agrees and
the rest of it lies outside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from portgeo.compare.distance import Wall, closest, wall_from
from portgeo.compare.tube import Walled
from portgeo.errors import GeometryError
from portgeo.plane import FloatArray, IntArray
from portgeo.port import Port
from portgeo.triangles import face_areas
from portgeo.units import Notice

Method = Literal["none", "fixed", "auto"]

COARSE_POINTS, FINE_POINTS = 4000, 30000  # 30000 points of 0.03 mm noise place the wall within 0.001 mm
NEIGHBOURS = (
    24  # points whose mean tells whether a place was cut: noise falls to a fifth, and with it the kernel
)
OPENING_POINTS = 400  # each: an opening is a plane, three points would do
WIDEST_KERNEL_MM = 4.0  # a heavy cut moves the entry's middle, and with it the port frame, this much
NARROWEST_KERNEL_MM = 0.02  # chord errors of two clean meshes stay within half of it
KERNEL_NOISES = 3.0  # kernel over noise: 2 sigma then still pulls with half its weight
NARROWING = 0.75  # kernel after kernel: slow enough that the fit settles in each
WIDER = 1.6  # the kernel is opened by this much once, to see how far the fit moves
COARSELY_SETTLED_MM, SETTLED_MM = 1e-3, 2e-5  # a step smaller than this ends the fit
MOST_STEPS = 30
LOOSE_MM = 0.01  # sliding less certain than this on the wall alone, the openings help to hold it
DAMPING = 1e-7  # of the mean stiffness: a motion that nothing holds stays where it was
LEAST_SHARE = 0.15  # of the wall in agreement: below it the two are not states of one port
ENOUGH_SHARE = 0.30  # of the wall in agreement: below it a warning
UNSURE_MM = 0.05  # standard uncertainty of the fit anywhere on the wall: above it a warning
ENDS = ("entry", "exit")
MIRROR = np.diag([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class Alignment:
    """How AFTER was brought into BEFORE's port frame.

    matrix : (4, 4), takes AFTER's port frame into BEFORE's. to_source : (4, 4), takes AFTER's source
    coordinates into BEFORE's. rms : of the distances on the surface the fit rests on. fixed_share :
    that surface's share of AFTER's wall (of the fixed surface, for `fixed`). centre : (3,) and
    covariance : (6, 6) of a small rotation (radians, about the centre) and a shift (mm), in BEFORE's
    port frame; zero for `none`. mirrored : AFTER was turned into the other hand first.
    """

    method: Method
    matrix: FloatArray
    to_source: FloatArray
    rms: float
    fixed_share: float
    centre: FloatArray
    covariance: FloatArray
    mirrored: bool = False
    warnings: tuple[Notice, ...] = ()

    def moved(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) of AFTER's port frame in BEFORE's."""
        return points @ self.matrix[:3, :3].T + self.matrix[:3, 3]

    def pull(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Return (n, 6): how the height of points (n, 3) along normals (n, 3) changes with the motion."""
        return np.hstack([np.cross(points - self.centre, normals), normals])

    def uncertainty(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Return the standard uncertainty (n,) that the fit adds to distances along normals."""
        rows = self.pull(points, normals)
        return np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", rows, self.covariance, rows), 0.0))


@dataclass(frozen=True)
class _Points:
    """What the fit uses of AFTER, in its port frame.

    wall : (n, 3) points. openings : points of the two. count : vertices of the wall. around : (n, k)
    the points round each, itself among them, or None where each stands for itself.
    """

    wall: FloatArray
    openings: tuple[FloatArray, FloatArray]
    count: int
    around: IntArray | None = None


@dataclass(frozen=True)
class _Target:
    """What the fit uses of BEFORE."""

    wall: Wall
    openings: tuple[tuple[FloatArray, FloatArray], ...]
    centre: FloatArray
    size: float
    frame: FloatArray
    boxes: FloatArray | None = None


@dataclass(frozen=True)
class _Fit:
    motion: FloatArray
    share: float
    rms: float
    covariance: FloatArray
    rests_on_openings: bool


def align(
    before_walled: Walled,
    after_walled: Walled,
    method: Method = "auto",
    *,
    boxes: FloatArray | None = None,
    faces: tuple[str, ...] = (),
    hands: tuple[bool, ...] = (False,),
) -> Alignment:
    """Return how AFTER comes into BEFORE's port frame.

    `none`: both sources share one frame. `auto`: from the port frames, by the wall that agrees.
    `fixed`: as `auto`, then by the surface nobody machined alone: the wall inside boxes (k, 2, 3), low and
    high corner in BEFORE's source coordinates, and the planes of the openings named in faces
    ("entry", "exit"); what these leave free stays as `auto` has it. hands : whether AFTER may be (True) the other hand.
    Raises GeometryError where the two do not fit each other, and says what they seem to be.
    """
    before, after = before_walled.port, after_walled.port
    if method == "none":
        joined = before.frame @ np.linalg.inv(after.frame)
        return Alignment(method, joined, np.eye(4), 0.0, 1.0, np.zeros(3), np.zeros((6, 6)))
    refuse_other_size(before, after)
    target = _target(before_walled)
    noise = float(np.hypot(before.noise, after.noise))
    coarse = max(NARROWEST_KERNEL_MM, KERNEL_NOISES * noise)
    kernel = max(NARROWEST_KERNEL_MM, KERNEL_NOISES * noise / NEIGHBOURS**0.5)
    best: tuple[_Fit, bool] | None = None
    for mirrored in hands:
        fit = _seek(target, _sampled(after_walled, COARSE_POINTS, mirrored), np.eye(4), coarse)
        if best is None or fit.share > 1.1 * best[0].share:
            best = fit, mirrored
    assert best is not None
    fit, mirrored = best
    if fit.share < ENOUGH_SHARE:
        _refuse_unlike(target, after_walled, fit, coarse, hands)
    points = _sampled(after_walled, FINE_POINTS, mirrored)
    if noise > 0.0:
        points = replace(points, around=cKDTree(points.wall).query(points.wall, k=NEIGHBOURS)[1])
    fit = _settle(target, points, fit.motion, kernel, noise, openings=False)
    if _loosest(target, fit) > LOOSE_MM:
        fit = _settle(target, points, fit.motion, kernel, noise, openings=True)
    if method == "fixed":
        if (boxes is None or len(boxes) == 0) and not faces:
            raise GeometryError(
                "no surface is named to line up by",
                mend="Name an opening (--fixed entry) or a box round a surface that nobody machined (--box), "
                "or use --align auto",
            )
        target = replace(target, boxes=np.zeros((0, 2, 3)) if boxes is None else np.sort(boxes, axis=1))
        named = [cap if end in faces else cap[:0] for end, cap in zip(ENDS, points.openings, strict=True)]
        points = replace(points, openings=(named[0], named[1]))
        fit = _settle(target, points, fit.motion, kernel, noise, openings=True)
        if fit.share == 0.0:
            raise GeometryError(
                "no wall lies inside the box that is named to line up by",
                mend="Give the box in the coordinates of BEFORE's own file, two opposite corners",
            )
    hand = np.eye(4)
    if mirrored:
        hand[:3, :3] = MIRROR
    matrix = fit.motion @ hand
    to_source = np.linalg.inv(before.frame) @ matrix @ after.frame
    return Alignment(
        method=method,
        matrix=matrix,
        to_source=to_source,
        rms=fit.rms,
        fixed_share=fit.share,
        centre=target.centre,
        covariance=fit.covariance,
        mirrored=mirrored,
        warnings=_doubts(target, fit, method),
    )


def _doubts(target: _Target, fit: _Fit, method: Method) -> tuple[Notice, ...]:
    found = []
    loose = _loosest(target, fit)
    if method == "auto" and fit.share < ENOUGH_SHARE:
        found.append(
            Notice(
                "little_uncut_surface",
                f"only {100 * fit.share:.0f} % of the wall agrees between the two: too little uncut surface is left "
                "to be sure how they lie together. Name a surface nobody machined (--align fixed), or use "
                "--align none if both files share one frame",
            )
        )
    if loose > UNSURE_MM:
        found.append(
            Notice(
                "loose_fit",
                "the fit may slide by {loose}: the surface it rests on does not hold it in every direction",
                {"loose": loose},
            )
        )
    if fit.rests_on_openings and method == "auto":
        found.append(
            Notice(
                "held_by_openings",
                "the wall alone does not fix how far in the two lie, so the planes of the openings were used: "
                "if an opening was faced, or the mold was cut off elsewhere, stations move by as much",
            )
        )
    return tuple(found)


def refuse_other_size(before: Port, after: Port) -> None:
    """Refuse two ports whose lengths cannot be of one port; name a unit that would explain it."""
    ratio = after.centreline.length / before.centreline.length
    for factor, words in ((25.4, "25.4 times"), (10.0, "10 times"), (1000.0, "1000 times")):
        if abs(np.log(ratio / factor)) < 0.1 or abs(np.log(ratio * factor)) < 0.1:
            larger = "AFTER" if ratio > 1 else "BEFORE"
            raise GeometryError(
                f"{larger} is {words} as large as the other: one of the two was read in another unit",
                mend="Give the unit of the mesh that has none (--units-in in, or mm), or check the sheet's units",
            )
    if not 0.6 < ratio < 1.6:
        raise GeometryError(
            f"the two are {before.centreline.length:.1f} and {after.centreline.length:.1f} mm long: "
            "they are not two states of one port",
            mend="Compare a port with itself, or check --scale and --shrink-percent",
        )


def _target(before: Walled) -> _Target:
    port, tube = before.port, before.tube
    points = port.vertices
    centre = (points.min(axis=0) + points.max(axis=0)) / 2.0
    size = float(np.sqrt(np.mean(np.sum((points - centre) ** 2, axis=1))))
    openings = tuple((tube.middles[k], tube.frames[k, 0]) for k in (0, -1))
    return _Target(wall_from(points, port.faces[before.is_wall]), openings, centre, size, port.frame)


def _sampled(after: Walled, count: int, mirrored: bool) -> _Points:
    """Return points of AFTER, evenly over its area, the same each time."""
    port, tube = after.port, after.tube
    hand = MIRROR if mirrored else np.eye(3)
    caps = port.faces[~after.is_wall]
    middle = port.vertices[caps].mean(axis=1)
    at_entry = np.linalg.norm(middle - tube.middles[0], axis=1) < np.linalg.norm(
        middle - tube.middles[-1], axis=1
    )
    openings = [
        _evenly(port.vertices, cap, OPENING_POINTS) @ hand for cap in (caps[at_entry], caps[~at_entry])
    ]
    wall = port.faces[after.is_wall]
    used = np.zeros(len(port.vertices), dtype=bool)
    used[wall] = True
    return _Points(_evenly(port.vertices, wall, count) @ hand, (openings[0], openings[1]), int(used.sum()))


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


def _seek(target: _Target, points: _Points, start: FloatArray, kernel: float) -> _Fit:
    """Return the best fit from a start that may be some millimetres out.

    Three descents with a narrowing kernel: one holds that metal was only taken away, one that it was
    only added, one neither. The one on which most of the wall agrees wins; a draw goes to the first.
    """
    best: _Fit | None = None
    for outward in (1, -1, 0):
        motion, width = start, WIDEST_KERNEL_MM
        while width > kernel:
            motion, _ = _step(target, points, motion, width, outward, openings=True)
            width *= NARROWING
        fit = _settle(target, points, motion, kernel, 0.0, openings=True, coarsely=True)
        if best is None or fit.share > 1.05 * best.share:
            best = fit
    assert best is not None
    return best


def _settle(
    target: _Target,
    points: _Points,
    motion: FloatArray,
    kernel: float,
    noise: float,
    *,
    openings: bool,
    coarsely: bool = False,
) -> _Fit:
    """Return the fit that a motion near it settles into, with its covariance.

    The covariance is that of the points' noise, and of how far the fit moves when its kernel opens:
    that is what the faint edges of a cut do to it.
    """
    motion = _descend(
        target, points, motion, kernel, openings, COARSELY_SETTLED_MM if coarsely else SETTLED_MM
    )
    rows, residual, weight, is_wall = _system(target, points, motion, kernel, 0, openings=openings)
    chosen = (weight > 0) & (is_wall | (target.boxes is not None))
    calm = residual.copy()
    calm[is_wall] = _round_about(points, residual[is_wall])
    agreeing = (np.abs(calm) < kernel) & chosen
    rms = float(np.sqrt(np.mean(residual[agreeing] ** 2))) if agreeing.any() else 0.0
    spread = max(noise, rms)
    # Points between the same vertices repeat their error: no more of them count than there are vertices.
    repeat = max(len(points.wall) / max(points.count, 1), 1.0)
    stiffness = rows.T @ (rows * weight[:, None])
    stiffness += DAMPING * np.trace(stiffness) / 6.0 * np.eye(6)
    inverse = np.linalg.inv(stiffness)
    scatter = rows.T @ (rows * (weight**2)[:, None]) * spread**2 * repeat
    covariance = inverse @ scatter @ inverse
    if not coarsely:
        wider = _descend(target, points, motion, WIDER * kernel, openings, SETTLED_MM)
        shift = _small_motion(target, wider @ np.linalg.inv(motion))
        covariance = covariance + np.outer(shift, shift)
    scale = np.diag([1.0 / target.size] * 3 + [1.0] * 3)
    return _Fit(
        motion=motion,
        share=float(agreeing.sum() / max(chosen.sum(), 1)),
        rms=rms,
        covariance=scale @ covariance @ scale,
        rests_on_openings=openings,
    )


def _descend(
    target: _Target, points: _Points, motion: FloatArray, kernel: float, openings: bool, settled: float
) -> FloatArray:
    for _ in range(MOST_STEPS):
        motion, moved = _step(target, points, motion, kernel, 0, openings=openings)
        if moved < settled:
            break
    return motion


def _small_motion(target: _Target, step: FloatArray) -> FloatArray:
    """Return a small motion (4, 4) as rotation times size and shift at the centre (6,)."""
    turn = Rotation.from_matrix(step[:3, :3]).as_rotvec() * target.size
    return np.concatenate([turn, step[:3, :3] @ target.centre + step[:3, 3] - target.centre])


def _round_about(points: _Points, residual: FloatArray) -> FloatArray:
    """Return the mean residual (n,) of the points round each."""
    return residual if points.around is None else residual[points.around].mean(axis=1)


def _system(
    target: _Target, points: _Points, motion: FloatArray, kernel: float, outward: int, *, openings: bool
) -> tuple[FloatArray, FloatArray, FloatArray, np.ndarray]:
    """Return rows (n, 6) of a small motion (rotation times size, shift), residuals, weights, and which are wall."""
    moved = points.wall @ motion[:3, :3].T + motion[:3, 3]
    foot, face = closest(target.wall, moved)
    normal = target.wall.normals[face]
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
    target: _Target, points: _Points, motion: FloatArray, kernel: float, outward: int, *, openings: bool
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


def _loosest(target: _Target, fit: _Fit) -> float:
    """Return the largest standard uncertainty of a motion: of a shift, or of a turn at the port's size."""
    scale = np.diag([target.size] * 3 + [1.0] * 3)
    return float(np.sqrt(np.linalg.eigvalsh(scale @ fit.covariance @ scale)[-1]))


def _refuse_unlike(target: _Target, after: Walled, fit: _Fit, kernel: float, hands: tuple[bool, ...]) -> None:
    """Refuse what does not fit, and say whether the other hand would."""
    other = _seek(target, _sampled(after, COARSE_POINTS, not hands[0]), np.eye(4), kernel)
    if len(hands) == 1 and other.share > max(1.5 * fit.share, ENOUGH_SHARE):
        raise GeometryError(
            f"AFTER is the other hand of BEFORE: mirrored, {100 * other.share:.0f} % of its wall agrees, as it is "
            f"{100 * fit.share:.0f} %",
            mend="Mirror one of the two files, or compare the runners of a set with --set",
        )
    if fit.share < LEAST_SHARE:
        raise GeometryError(
            f"the two have nothing in common: only {100 * fit.share:.0f} % of the wall agrees within "
            f"{kernel:.2f} mm, wherever they are laid together",
            mend="Check that both files are of one port; where all of it was cut, line them up by a surface "
            "nobody machined (--align fixed) or by the files' own frame (--align none)",
        )
