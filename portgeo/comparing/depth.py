"""Depth of cut at every point of the after surface: how deep, on which wall, and where deepest.

BEFORE's wall and AFTER's, laid together, come in; signed depths and what sums them up go out. A depth
is the exact distance to BEFORE's wall, positive where metal was removed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from portgeo.comparing.deepest import deepest_cut, deepest_of_clean
from portgeo.comparing.depth_map import DepthMap, wall_shares
from portgeo.comparing.distance import Wall, signed_distance
from portgeo.comparing.tube import Tube, places
from portgeo.comparing.volume_error import CellErrors
from portgeo.comparing.wedges import Wedges
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import WALLS
from portgeo.core.triangles import used_by

CALM_ROUNDS = 3  # averagings with the neighbours before a noisy depth is painted or counted by share
RIM_MM = 1.0  # a rim is not wall: a scanner rounds it, and a mold is trimmed there
CLEAR_OF_RIM_MM = 6.0  # where depths tell their noise: past all that an end does to the wall beside it
FAINT_WEIGHT = 0.01  # of a cut: less is none
MOST_UNCUT = 1000  # places at which that noise is read: more tell no more
CLEAN_MM = 0.005  # noise below this is the rounding of a clean mesh


@dataclass(frozen=True)
class Depth:
    """Depth of cut, millimetres, positive where metal was removed.

    at_vertices : (n,) of the after wall, exact distances. calm : (n,) the same with the scan's noise
    averaged out (equal on clean meshes). areas : (n,) of wall that each vertex stands for. noise : of
    one distance. mean, p95 : by area. deepest with its uncertainty from the noise,
    deepest_at (3,), deepest_station, deepest_clock.
    """

    at_vertices: FloatArray
    calm: FloatArray
    areas: FloatArray
    noise: float
    mean: float
    p95: float
    deepest: float
    deepest_u: float
    deepest_at: FloatArray
    deepest_station: float
    deepest_clock: float


@dataclass(frozen=True)
class WallDepth:
    """One wall's depth of cut (mm) and metal removed (mm3), with standard uncertainties; area is the wall's (mm2)."""

    mean: float
    mean_u: float
    deepest: float
    deepest_u: float
    removed: float
    removed_u: float
    area: float


def depths(before: Wall, after: Wedges) -> FloatArray:
    """Return how far the vertices (n,) of AFTER's wall, in BEFORE's port frame, lie under BEFORE's."""
    used = used_by(after.faces, len(after.vertices))
    found = np.zeros(len(after.vertices))
    found[used] = signed_distance(before, after.vertices[used])
    if after.areas[used].sum() == 0.0:
        raise GeometryError(
            "no wall of the one lies along the other: there is nothing to compare",
            hint="Check the units of both (inches under columns in _mm make a port 25 times too small), and that "
            "both are one port",
        )
    return found


def depth_of(
    before: Wall,
    tube: Tube,
    after: Wedges,
    at_vertices: FloatArray,
    noises: tuple[float, float],
    own: IntArray,
    map_: DepthMap,
) -> Depth:
    """Return what the depths (n,) of AFTER's wall come to.

    noises : of one point of either. own : (k,), which vertices were scanned and not put in between.
    """
    noise = float(np.hypot(*noises))
    used = used_by(after.faces, len(after.vertices))
    areas = after.areas
    calm = _calm(after.corners, at_vertices) if noise > 0.0 else at_vertices
    order = used[np.argsort(calm[used], kind="stable")]
    share = np.cumsum(areas[order]) / areas.sum()
    p95 = float(calm[order[min(int(np.searchsorted(share, 0.95)), len(order) - 1)]])
    if noise > CLEAN_MM:
        own = own[(areas[own] > 0.0) & off_the_rims(map_, after.where.station[own], RIM_MM)]
        deepest, deepest_u, best = deepest_cut(
            before, after.vertices[own], at_vertices[own], calm[own], noises, map_.scatter, _uncut(map_, after, own)
        )
        where = after.vertices[own[best]]
    else:
        deepest, deepest_u, best = deepest_of_clean(before, after.vertices[used], at_vertices[used], noise)
        where = after.vertices[used[best]]
    place = places(tube, where[None])
    return Depth(
        at_vertices=at_vertices,
        calm=calm,
        areas=areas,
        noise=noise,
        mean=float(np.average(at_vertices[used], weights=areas[used])),
        p95=p95,
        deepest=deepest,
        deepest_u=deepest_u,
        deepest_at=where,
        deepest_station=float(place.station[0]),
        deepest_clock=float(place.clock[0]),
    )


def off_the_rims(map_: DepthMap, station: FloatArray, clear: float) -> np.ndarray:
    """Return which stations (k,) of a map's stretch stand clear of its two ends."""
    half = map_.cell[0] / 2.0
    return (station > map_.stations[0] - half + clear) & (station < map_.stations[-1] + half - clear)


def _uncut(map_: DepthMap, after: Wedges, own: IntArray) -> IntArray:
    """Return which of a wall's own points (k,), by their number among these, nobody cut, a thousand at most."""
    kept = map_.at(map_.cut + map_.built_up, after.where)[own] < FAINT_WEIGHT
    kept &= off_the_rims(map_, after.where.station[own], CLEAR_OF_RIM_MM)
    found = np.flatnonzero(kept)
    return found[:: -(-len(found) // MOST_UNCUT)] if len(found) else found


def _calm(corners: csr_array, values: FloatArray) -> FloatArray:
    """Return values (n,) averaged over their neighbours on the mesh, CALM_ROUNDS times."""
    faces_round = corners.T @ np.ones(corners.shape[0])
    for _ in range(CALM_ROUNDS):
        # Round a point its faces' sums have its own value once for each, and a neighbour's from both sides.
        total = corners.T @ (corners @ values) - faces_round * values
        values = (total + values) / (2.0 * faces_round + 1.0)
    return values


def by_wall(
    map_: DepthMap,
    depth: Depth,
    after: Wedges,
    gained: FloatArray,
    errors: CellErrors,
    short_side: tuple[str, float, float] | None,
    deepest_u: float,
) -> dict[str, WallDepth]:
    """Return the depth of each wall, and of the one that `short_side` names, between its two stations.

    gained : (n, m), mm3, what the port gained behind each cell of the map. errors : of the cells.
    deepest_u : standard uncertainty of the deepest cut, on whichever wall it is.
    """
    found: dict[str, WallDepth] = {}
    choices: list[tuple[str, int, tuple[float, float] | None]] = [(name, k, None) for k, name in enumerate(WALLS)]
    if short_side is not None:
        wall, start, end = short_side
        choices.append(("short_side", WALLS.index(wall), (start, end)))
    sound = off_the_rims(map_, after.where.station, RIM_MM if depth.noise > CLEAN_MM else 0.0)
    depth_u = map_.at(errors.cell_depth_u(), after.where)
    for name, k, stretch in choices:
        here = _on(after, k, stretch) & (depth.areas > 0)
        shares = wall_shares(map_, k, stretch)
        if not here.any():
            continue
        told = np.flatnonzero(here & sound)
        at = told[np.argmax(depth.calm[told])] if len(told) else int(np.flatnonzero(here)[0])
        mean = float(np.average(depth.at_vertices[here], weights=depth.areas[here]))
        found[name] = WallDepth(
            mean=mean,
            mean_u=errors.depth_u(shares, mean),
            deepest=min(float(depth.calm[at]), depth.deepest),
            deepest_u=float(depth_u[at]),
            removed=float((map_.cut * shares * gained).sum()),
            removed_u=errors.counted_u(shares, gained, 1.0),
            area=float(depth.areas[here].sum()),
        )
    top = max(wall.deepest for wall in found.values())
    return {
        name: replace(wall, deepest_u=max(wall.deepest_u, deepest_u)) if wall.deepest == top else wall
        for name, wall in found.items()
    }


def _on(part: Wedges, wall: int, stretch: tuple[float, float] | None) -> np.ndarray:
    """Return which vertices (n,) are on a wall, between two stations."""
    here = part.where.wall == wall
    station = part.where.station
    return here if stretch is None else here & (station >= stretch[0]) & (station <= stretch[1])
