"""The tube past its two openings, where the flow enters and leaves the calculation.

A grid and its sections come in; the grid gone on past both ends goes out. The walls leave an opening
in the direction in which they reach it, so that no corner of the wall stands there that the port has
not, and bend into a straight tube, or into one that keeps turning as the port did.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from portgeo.core.plane import FloatArray
from portgeo.core.section import Section
from portgeo.flow.grid import Grid, least_jacobians

RUN_ON = 1.0  # of the opening's size: the flow is even there, and nothing out there is felt in the port
STRETCH = 1.3  # growth of cells from ring to ring out there
EASE = 0.5  # of the opening's least extent: the way on which a wall that leans comes straight
MOST_EASED = 0.25  # of the least extent: no wall moves farther out there
READ_OVER = 0.35  # of the opening's size: the rings there tell how the walls lean
LEAST_RINGS = 4  # for a parabola through them
LEAST_BEND = np.radians(5.0)  # of turning over one size of the opening: an end that turns less is straight


@dataclass(frozen=True)
class End:
    """One end of a grid, seen outward.

    nodes (k, 2) in the opening's plane, slope (k, 2) of each against its frame going out; origin (3,),
    frame (3, 3) rows outward, left, up; ahead (3,) : direction of the origins' line; bend (3,) : the
    frame's rotation vector for each mm. gap : between the last two rings. size, least : of the opening.
    """

    nodes: FloatArray
    slope: FloatArray
    origin: FloatArray
    frame: FloatArray
    ahead: FloatArray
    bend: FloatArray
    gap: float
    size: float
    least: float

    @property
    def turns(self) -> bool:
        """Whether the tube is still turning there."""
        return float(np.linalg.norm(self.bend)) * self.size > LEAST_BEND


def end_of(grid: Grid, sections: Sequence[Section], stations: FloatArray, *, exit: bool) -> End:
    """Return an end of a grid through sections at stations (n,) mm."""
    step = -1 if exit else 1
    sections, nodes, along = sections[::step], grid.nodes[::step], np.abs(stations[::step] - stations[::step][0])
    last = sections[0]
    extents = np.ptp(last.outline, axis=0)
    size = float(np.sqrt(extents.prod()))
    use = max(int(np.searchsorted(along, READ_OVER * size)) + 1, LEAST_RINGS)
    origins = np.stack([s.origin for s in sections[:use]])
    frames = np.stack([s.frame for s in sections[:use]])
    plane = np.einsum("nkj,ncj->nkc", nodes[:use] - origins[:, None], frames[:, 1:])
    # The parabola's slope at the end, by least squares; along grows inward.
    powers = np.vander(along[:use], min(3, use), increasing=True)
    slope = -np.tensordot(np.linalg.pinv(powers)[1], plane, axes=1)
    bend = Rotation.from_matrix(frames[0].T @ frames[1]).as_rotvec() / along[1]
    chord = (origins[0] - origins[1]) / along[1]
    ahead = Rotation.from_rotvec(bend * along[1] / 2.0).apply(chord)
    frame = frames[0] * (np.array([1.0, 1.0, 1.0]) if exit else np.array([-1.0, 1.0, 1.0]))[:, None]
    return End(plane[0], slope, last.origin, frame, ahead, bend, float(along[1]), size, float(extents.min()))


def distances(gap: float, size: float) -> FloatArray:
    """Return how far past an opening (k,) rings stand, whose last two rings inside are `gap` apart."""
    count = int(np.ceil(np.log1p(RUN_ON * size / gap * (STRETCH - 1.0)) / np.log(STRETCH)))
    return np.cumsum(gap * STRETCH ** np.arange(max(count, 2)))


def run_on(
    grid: Grid, ends: tuple[End, End], *, turning: bool = False, ways: tuple[FloatArray, FloatArray] | None = None
) -> tuple[Grid, int]:
    """Return the grid gone on past its entry and its exit, and how many rings stand before the entry.

    turning : the tube keeps turning out there as it does at the opening; else it goes straight on. ways : how far
    past entry and exit rings stand, (m,) each, where not at `distances`; none past an end that something joins on to.
    """
    there = ways or tuple(distances(end.gap, end.size) for end in ends)
    before, after = (
        _beyond(grid, end, place, way, turning) for end, place, way in zip(ends, (0, -1), there, strict=True)
    )
    return Grid(np.concatenate([before[::-1], grid.nodes, after]), grid.pattern), len(before)


def _beyond(grid: Grid, end: End, place: int, way: FloatArray, turning: bool) -> FloatArray:
    """Return the rings (m, k, 3) past an opening, from the first outside on."""
    if not len(way):
        return np.zeros((0, *grid.nodes.shape[1:]))
    bend = end.bend if turning else np.zeros(3)
    ahead, slope = (end.ahead, end.slope) if turning else _straight(end)
    steepest = float(np.linalg.norm(slope, axis=1).max())
    ease = min(EASE * end.least, MOST_EASED * end.least / max(steepest, 1e-9))
    fine = np.linspace(0.0, 1.0, 33)
    for longer in (1.0, 0.5, 0.25, 0.0):
        eased = ease * longer * (1.0 - np.exp(-way / (ease * longer))) if longer else np.zeros_like(way)
        rings = []
        for x, lean in zip(way, eased, strict=True):
            turn = Rotation.from_rotvec(bend * x)
            origin = end.origin + x * Rotation.from_rotvec(np.outer(fine * x, bend)).apply(ahead).mean(axis=0)
            rings.append(origin + turn.apply((end.nodes + lean * slope) @ end.frame[1:]))
        made = np.stack(rings)
        joined = np.concatenate([grid.nodes[[place]], made])
        if least_jacobians(joined if place else joined[::-1], grid.pattern).min() > 0.0:
            break
    return made


def _straight(end: End) -> tuple[FloatArray, FloatArray]:
    """Return the direction (3,) straight on, and the walls' slopes (k, 2) against it."""
    arm = end.nodes @ end.frame[1:]
    run = end.ahead + np.cross(end.bend, arm) + end.slope @ end.frame[1:]
    return end.frame[0], (run @ end.frame[1:].T) / np.maximum(run @ end.frame[0], 0.2)[:, None]
