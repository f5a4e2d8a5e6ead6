"""Where else the two fit as well: a second fit, begun from each wall that disagrees in the first.

A settled fit comes in; motions to other places that are as credible go out. A fit to the wall that nobody cut
rests, up and down, on floor or roof. Where both were opened alike, or one of them evenly, either of the two can be
the one that was left, and anything between: no wall tells which. The openings' planes may: of a port that turns
they hold it both along and across.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from portgeo.comparing.fit import (
    NARROWING,
    AfterPoints,
    Fit,
    Target,
    approach,
    calm_over,
    descend,
    held_ways,
    settle,
    small_motion,
    step_of,
    system_of,
)
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import WALLS

MOST_AGREEING = 0.5  # of a wall: one that agrees so far tells of no other place
AS_CREDIBLE = 0.5  # of the wall that agrees in the first place only, must agree in the other only
LEAST_PART = 0.03  # of the whole wall: less is a patch that happens to lie so
STEPS_EACH = 3  # of each kernel, while only the wall that disagrees pulls
FLAT_OF_WALL = 0.9  # of what agrees: the rest is corners, which face aside
PLANES_DIFFER_MM = 0.1  # rms, of an opening from its like: more tells that it does not lie so
UNMOVED = 0.2  # of the way to the other place: wall that a shift moves less, square to itself, lies along it
PLANES_AGREE_MM = 0.05  # the same: less tells that it does
SAME_PLACE = 2.0  # kernels: two fits closer than this are one


@dataclass(frozen=True)
class OtherFit:
    """Another motion (4, 4) that fits as well, and how far from the first: small motion (6,), see fit.small_motion.

    here, there : the wall that agrees in the first place only, and in the other only. apart : mm between the two
    places, square to the wall that agrees there.
    """

    motion: FloatArray
    shift: FloatArray
    here: str
    there: str
    apart: float


def other_fits(
    target: Target, points: AfterPoints, fit: Fit, kernel: float, walls: Callable[[FloatArray], IntArray]
) -> tuple[OtherFit, ...]:
    """Return where else AFTER's points fit as well as in a settled fit, within a kernel.

    walls : which wall (n,) of WALLS points (n, 3) in BEFORE's port frame are on.
    """
    first, lies = calm_over(target, points, fit.motion)
    agrees = lies & (np.abs(first) < kernel)
    moved = points.wall @ fit.motion[:3, :3].T + fit.motion[:3, 3]
    wall = walls(moved)
    found: list[OtherFit] = []
    for k in range(len(WALLS)):
        mine = lies & (wall == k)
        if not mine.any() or agrees[mine].mean() > MOST_AGREEING:
            continue
        motion = _laid_on(target, points, fit.motion, kernel, mine & ~agrees, first)
        motion = descend(target, points, motion, kernel, openings=fit.rests_on_openings)
        second, lies_there = calm_over(target, points, motion)
        agrees_there = lies_there & (np.abs(second) < kernel)
        here, there = agrees & ~agrees_there, agrees_there & ~agrees
        if there.sum() < max(AS_CREDIBLE * here.sum(), LEAST_PART * lies.sum()):
            continue
        shift = small_motion(target, motion @ np.linalg.inv(fit.motion))
        if any(np.abs(shift - one.shift).max() < SAME_PLACE * kernel for one in found):
            continue
        apart = float(np.quantile(np.abs(second - first)[there], FLAT_OF_WALL))
        names = [WALLS[int(np.bincount(wall[part], minlength=len(WALLS)).argmax())] for part in (here, there)]
        found.append(OtherFit(motion, shift, names[0], names[1], apart))
    return tuple(found)


def by_openings(
    target: Target, points: AfterPoints, fit: Fit, others: tuple[OtherFit, ...], kernel: float, ends_u: float
) -> tuple[Fit, bool]:
    """Return the fit that the openings' planes tell of several that are as credible, and whether they tell one.

    Beside the planes only wall pulls that agrees in all of them and lies across the way from one to the other; all
    that agrees, where the first lies as the planes tell. ends_u : standard uncertainty of where a
    plane stands, mm.
    """
    motions = [fit.motion, *(one.motion for one in others)]
    off = [_planes_off(target, points, motion) for motion in motions]
    if PLANES_AGREE_MM < off[0] < PLANES_DIFFER_MM or min(off[1:]) < PLANES_DIFFER_MM:
        return fit, False
    first, common = calm_over(target, points, fit.motion)
    common &= np.abs(first) < kernel
    if off[0] > PLANES_AGREE_MM:
        for one in others:
            second, lies = calm_over(target, points, one.motion)
            common &= lies & (np.abs(second) < kernel) & (np.abs(second - first) < UNMOVED * one.apart)
    part = replace(points, pulls=common)
    near = approach(target, part, fit.motion, kernel)
    found = settle(target, part, near, kernel, 0.0, openings=True, free=fit.covariance)
    left = _planes_off(target, points, found.motion)
    if left > PLANES_AGREE_MM:
        return fit, False
    residual, lies = calm_over(target, points, found.motion)
    share = float((lies & (np.abs(residual) < kernel)).sum() / max(lies.sum(), 1))
    covariance = found.covariance + _by_planes(target, part, found.motion, kernel, float(np.hypot(ends_u, left)))
    return replace(found, share=share, covariance=covariance), True


def _planes_off(target: Target, points: AfterPoints, motion: FloatArray) -> float:
    """Return how far the farther of the two openings lies off its like, rms, mm."""
    off = [
        (cap @ motion[:3, :3].T + motion[:3, 3] - point) @ flow
        for (point, flow), cap in zip(target.openings, points.openings, strict=True)
    ]
    return max(float(np.sqrt(np.mean(each**2))) if len(each) else np.inf for each in off)


def _by_planes(target: Target, part: AfterPoints, motion: FloatArray, kernel: float, u: float) -> FloatArray:
    """Return the covariance (6, 6) that planes which stand off by u (mm), each by itself, make of a fit."""
    system = system_of(target, part, motion, kernel, 0, openings=True)
    ways = held_ways(system)
    stiffness = ways.T @ (system.rows.T @ (system.rows * system.weight[:, None])) @ ways
    first = len(part.wall) + np.cumsum([0, *map(len, part.openings)])
    pulls = [(system.rows[a:b] * system.weight[a:b, None]).sum(axis=0) for a, b in pairwise(first)]
    moves = np.array([ways @ np.linalg.solve(stiffness, ways.T @ pull) * u for pull in pulls])
    moves /= np.array([target.size] * 3 + [1.0] * 3)
    return np.asarray(moves.T @ moves)


def held_by(
    target: Target, points: AfterPoints, fit: Fit, others: tuple[OtherFit, ...], kernel: float
) -> tuple[OtherFit, ...]:
    """Return which other fits a named surface still leaves, moved to where it allows them."""
    left = []
    for one in others:
        near = approach(target, points, one.motion, kernel)
        motion = descend(target, points, near, kernel, openings=True)
        shift = small_motion(target, motion @ np.linalg.inv(fit.motion))
        if np.abs(shift).max() > SAME_PLACE * kernel:
            left.append(replace(one, motion=motion, shift=shift))
    return tuple(left)


def _laid_on(
    target: Target, points: AfterPoints, motion: FloatArray, kernel: float, pulls: np.ndarray, residual: FloatArray
) -> FloatArray:
    """Return the motion that lays some of AFTER's points (n,) on BEFORE's wall, the least that does it."""
    points = replace(points, pulls=pulls)
    width = max(2.0 * float(np.median(np.abs(residual[pulls]))), kernel)
    while True:
        for _ in range(STEPS_EACH):
            motion, _ = step_of(target, points, motion, width, 0, openings=False)
        if width <= kernel:
            return motion
        width = max(width * NARROWING, kernel)
