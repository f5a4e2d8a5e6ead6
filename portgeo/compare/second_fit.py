"""Where else the two fit as well: a second fit, begun from each wall that disagrees in the first.

A settled fit comes in; motions to other places that are as credible go out. A fit to the wall that nobody cut
rests, up and down, on floor or roof. Where both were opened alike, or one of them evenly, either of the two can be
the one that was left, and anything between: no surface tells which.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from portgeo.compare.fit import (
    NARROWING,
    AfterPoints,
    Fit,
    Target,
    approach,
    calm_over,
    descend,
    small_motion,
    step_of,
)
from portgeo.plane import FloatArray, IntArray
from portgeo.section import WALLS

MOST_AGREEING = 0.5  # of a wall: one that agrees so far tells of no other place
AS_CREDIBLE = 0.5  # of the wall that agrees in the first place only, must agree in the other only
LEAST_PART = 0.03  # of the whole wall: less is a patch that happens to lie so
STEPS_EACH = 3  # of each kernel, while only the wall that disagrees pulls
FLAT_OF_WALL = 0.9  # of what agrees: the rest is corners, which face aside
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
    width = max(2.0 * float(np.median(np.abs(residual[pulls]))), kernel)
    while True:
        for _ in range(STEPS_EACH):
            motion, _ = step_of(target, points, motion, width, 0, openings=False, pulls=pulls)
        if width <= kernel:
            return motion
        width = max(width * NARROWING, kernel)
