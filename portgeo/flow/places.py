"""Speeds at places of the wall: along the inside and the outside of a bend, and by clock position.

A solution on the wall comes in; speeds over the mean, and where on the wall they are, go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.flow.wall import WallSpeed
from portgeo.measuring.bends import BendPlane
from portgeo.measuring.sides import inward_of


def side_line(solution: WallSpeed, plane: BendPlane, *, inner: bool) -> tuple[FloatArray, FloatArray]:
    """Return speed over mean (n,) and points (n, 3) along the short side, or along the long one.

    That is where the ray from each section's centroid towards the inside of the turn, or away from it, meets the wall.
    """
    frames = np.stack([section.frame for section in solution.sections])
    return line_towards(solution, inward_of(frames, plane) * (1.0 if inner else -1.0))


def line_towards(solution: WallSpeed, towards: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return speed over mean (n,) and points (n, 3) where rays from the centroids towards directions (n, 3) meet the
    wall; between the nodes beside them both go linearly."""
    frames = np.stack([section.frame for section in solution.sections])
    ray = np.einsum("nij,nj->ni", frames[:, 1:], towards)
    arm = _arms(solution)
    off, ahead = ray[:, None, 0] * arm[..., 1] - ray[:, None, 1] * arm[..., 0], np.einsum("npi,ni->np", arm, ray)
    next_off, next_ahead = np.roll(off, -1, axis=1), np.roll(ahead, -1, axis=1)
    crosses = (off <= 0.0) & (next_off > 0.0)
    share = np.where(crosses, off / np.where(crosses, off - next_off, 1.0), 0.0)
    reach = np.where(crosses, ahead + share * (next_ahead - ahead), -np.inf)
    k, j = np.arange(len(off)), np.argmax(reach, axis=1)
    i, t = (j + 1) % off.shape[1], share[k, j]
    speeds = (1.0 - t) * solution.over_mean[k, j] + t * solution.over_mean[k, i]
    return speeds, (1.0 - t)[:, None] * solution.wall[k, j] + t[:, None] * solution.wall[k, i]


def clock_speeds(solution: WallSpeed) -> FloatArray:
    """Return speed over mean (n, 12) at each ring's clock positions, 12 o'clock first, seen from its centroid."""
    rings = zip(hours_of(_arms(solution)), solution.over_mean, strict=True)
    return np.stack([_at_hours(hours, speeds, np.arange(12.0)) for hours, speeds in rings])


def _arms(solution: WallSpeed) -> FloatArray:
    """Return the wall's nodes (n, p, 2), left and up of their section's centroid."""
    frames = np.stack([section.frame for section in solution.sections])
    return np.einsum("npj,nij->npi", solution.wall - solution.middle[:, None], frames[:, 1:])


def hours_of(arm: FloatArray) -> FloatArray:
    """Return the clock positions (...) of arms (..., 2), left and up, in hours from 0 to 12."""
    return np.asarray(np.degrees(np.arctan2(-arm[..., 0], arm[..., 1])) / 30.0 % 12.0)


def _at_hours(hours: FloatArray, speeds: FloatArray, wanted: FloatArray) -> FloatArray:
    """Return the speeds (m,) at wanted clock positions (m,) of a ring with nodes at hours (p,)."""
    order = np.argsort(hours, kind="stable")
    return np.interp(wanted, hours[order], speeds[order], period=12.0)
