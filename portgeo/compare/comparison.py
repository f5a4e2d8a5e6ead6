"""Before and after, whole: everything that is told of two states of one port.

Two Ports come in; a Comparison goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.compare.depth import Depth, WallDepth, by_wall, depth_of, volume_where
from portgeo.compare.depth_map import DepthMap, Spot, depth_map, spots
from portgeo.compare.reading_error import readings_u
from portgeo.compare.register import Alignment, Method, align, wall_of
from portgeo.compare.state import State, state_of
from portgeo.compare.stations import StationRows, station_rows
from portgeo.compare.tube import Walled, places, walled
from portgeo.compare.wedges import Wedges, finely, wedges
from portgeo.errors import GeometryError
from portgeo.plane import FloatArray, IntArray
from portgeo.port import Port
from portgeo.survey.schedule import table_stations
from portgeo.units import Notice

DENSITY_G_CC = {"aluminium": 2.68, "iron": 7.15}  # handbook values from memory: A356-type casting, grey iron
LEAST_COMMON = 0.5  # of BEFORE's length: less in common is not one port
ENDS_DIFFER_MM = 0.25  # an opening that lies this much elsewhere is told
MOSTLY_ADDED = 10.0  # times as much added as removed: the user is asked about the order of the files
ADDED_CC = 0.05


@dataclass(frozen=True)
class Comparison:
    """Two states of one port. Volumes mm3, lengths mm, in BEFORE's port frame.

    stretch : stations between which both are there; `before_volume`, `after_volume` and all the rest
    are of it, `before_beyond` and `after_beyond` are what each has outside it. removed - added +
    below_noise is after_volume - before_volume. `removed_u` : standard uncertainty, from the noise and from
    the fit. vertices, faces : AFTER's mesh, moved. after_wedges : its wall, refined, that `depth` is on.
    """

    before: Port
    after: Port
    alignment: Alignment
    stretch: tuple[float, float]
    removed: float
    removed_u: float
    added: float
    below_noise: float
    before_volume: float
    after_volume: float
    before_beyond: float
    after_beyond: float
    depth: Depth
    depth_u: float
    map: DepthMap
    walls: dict[str, WallDepth]
    spots: tuple[Spot, ...]
    rows: StationRows
    before_state: State
    after_state: State
    vertices: FloatArray
    faces: IntArray
    after_wedges: Wedges
    warnings: tuple[Notice, ...]

    @property
    def net(self) -> float:
        """Volume gained on the common stretch, mm3."""
        return self.after_volume - self.before_volume

    def grams(self, density: float) -> float:
        """Return the mass of the metal removed, grams; density in g/cc."""
        return self.removed / 1000.0 * density


def compare_ports(
    before: Port,
    after: Port,
    method: Method = "auto",
    *,
    boxes: FloatArray | None = None,
    faces: tuple[str, ...] = (),
    stations: int | None = None,
) -> Comparison:
    """Return the comparison of two states of one port.

    method, boxes, faces : how they are laid together, see register.align. stations : rows of the table.
    Raises GeometryError where they are not two states of one port, or a mesh is open.
    """
    one = walled(finely(before, "BEFORE"))
    other = walled(finely(after, "AFTER"))
    wall = wall_of(one)
    alignment = align(one, other, method, boxes=boxes, faces=faces, wall=wall)
    moved = alignment.moved(other.port.vertices)
    noise = float(np.hypot(before.noise, after.noise))

    stretch = common_stretch(one, other, moved)
    before_wall, after_wall = one.port.faces[one.is_wall], other.port.faces[other.is_wall]
    before_wedges = wedges(one.tube, one.port.vertices, before_wall, stretch)
    after_wedges = wedges(one.tube, moved, after_wall, stretch)

    depth = depth_of(wall, one.tube, after_wedges, noise)
    read_volume_u, read_depth_u = readings_u(before, after)
    map_ = depth_map(one.tube, after_wedges.where, depth.at_vertices, depth.areas, noise, stretch, untold=read_depth_u)
    sides = ((1.0, after_wedges), (-1.0, before_wedges))
    cut = [(sign, part, map_.at(map_.cut, part.where)) for sign, part in sides]
    built_up = [(sign, part, map_.at(map_.built_up, part.where)) for sign, part in sides]
    removed = sum(sign * volume_where(part, weight) for sign, part, weight in cut)
    added = -sum(sign * volume_where(part, weight) for sign, part, weight in built_up)
    below_noise = after_wedges.total - before_wedges.total - removed + added

    before_state, after_state = state_of(before), state_of(after)
    short = before_state.short_side
    after_faces = other.port.faces
    rows = station_rows(before, moved, after_faces, table_stations(before, stations), stretch, noise)
    return Comparison(
        before=before,
        after=after,
        alignment=alignment,
        stretch=stretch,
        removed=removed,
        removed_u=float(
            np.hypot(_removed_u(alignment, after_wedges, cut[0][2], depth, noise, below_noise), read_volume_u)
        ),
        added=added,
        below_noise=below_noise,
        before_volume=before_wedges.total,
        after_volume=after_wedges.total,
        before_beyond=before_state.volume - before_wedges.total,
        after_beyond=after_state.volume - after_wedges.total,
        depth=depth,
        depth_u=float(np.hypot(_depth_u(alignment, after_wedges, depth), read_depth_u)),
        map=map_,
        walls=by_wall(
            map_,
            depth,
            before_wedges,
            after_wedges,
            (short.station_from, short.station_to) if short else None,
        ),
        spots=spots(map_, one.tube),
        rows=rows,
        before_state=before_state,
        after_state=after_state,
        vertices=moved,
        faces=after_faces,
        after_wedges=after_wedges,
        warnings=(*alignment.warnings, *_notices(before, after, alignment, stretch, removed, added)),
    )


def common_stretch(before: Walled, after: Walled, moved: FloatArray) -> tuple[float, float]:
    """Return the stations of BEFORE between which both walls are there all round.

    moved : AFTER's points in BEFORE's port frame. Raises GeometryError where they share too little.
    """
    first, last = before.port.centreline.stations[[0, -1]]
    length = last - first
    rim_points = moved[_rim(after)]
    station = places(before.tube, rim_points).station - first
    entry, exit_ = station[station < length / 2.0], station[station >= length / 2.0]
    low = max(float(entry.max()), 0.0) if len(entry) else 0.0
    high = min(float(exit_.min()), length) if len(exit_) else length
    if not high - low > LEAST_COMMON * length:
        raise GeometryError(
            f"laid together, the two share only {max(high - low, 0.0):.1f} mm of {length:.1f} mm",
            mend="Check that both files are of one port, with the entry at the same end (--entry, --exit)",
        )
    return float(first + low), float(first + high)


def _rim(port: Walled) -> IntArray:
    """Return the vertices round a port's two openings: those of wall and of opening."""
    of_wall = np.zeros(len(port.port.vertices), dtype=bool)
    of_wall[port.port.faces[port.is_wall]] = True
    return np.unique(port.port.faces[~port.is_wall][of_wall[port.port.faces[~port.is_wall]]])


def _removed_u(
    alignment: Alignment, after: Wedges, cut: FloatArray, depth: Depth, noise: float, below_noise: float
) -> float:
    """Return the standard uncertainty of the removed volume, mm3: from the fit and from the noise.

    The fit shifts the whole cut at once: its lever is the sum of area times how each height changes
    with the motion (JCGM 100, 5.1.2, with the covariance of the motion). The noise of one point
    counts over the area it stands for. What is too shallow to tell may be of the cut or not: a
    rectangular distribution of that half-width (JCGM 100, 4.3.7).
    """
    lever = alignment.pull(after.vertices, _vertex_normals(after)).T @ (depth.areas * cut)
    by_fit = float(lever @ alignment.covariance @ lever)
    by_noise = float(((depth.areas * cut * noise) ** 2).sum())
    return float(np.sqrt(max(by_fit, 0.0) + by_noise + below_noise**2 / 3.0))


def _depth_u(alignment: Alignment, after: Wedges, depth: Depth) -> float:
    k = int(np.argmin(((after.vertices - depth.deepest_at) ** 2).sum(axis=1)))
    by_fit = alignment.uncertainty(after.vertices[k : k + 1], _vertex_normals(after)[k : k + 1])[0]
    return float(np.hypot(by_fit, depth.deepest_u))


def _vertex_normals(part: Wedges) -> FloatArray:
    """Return unit normals (n, 3), by area, of a wall's vertices."""
    a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    total = np.zeros_like(part.vertices)
    for axis in range(3):
        for k in range(3):
            total[:, axis] += np.bincount(part.faces[:, k], cross[:, axis], minlength=len(total))
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)


def _notices(
    before: Port,
    after: Port,
    alignment: Alignment,
    stretch: tuple[float, float],
    removed: float,
    added: float,
) -> list[Notice]:
    found = []
    if added > 1000.0 * ADDED_CC and added > MOSTLY_ADDED * max(removed, 0.0):
        found.append(
            Notice(
                "smaller_after",
                f"AFTER is smaller: {added / 1000.0:.2f} cc of metal was added and "
                f"{max(removed, 0.0) / 1000.0:.2f} cc removed. "
                "Either the port was filled, or the two files are the wrong way round",
            )
        )
    length = before.centreline.stations[[0, -1]]
    ends = np.array([stretch[0] - length[0], length[1] - stretch[1]])
    other = after.centreline.length - (stretch[1] - stretch[0])
    if max(ends.max(), other) > ENDS_DIFFER_MM:
        found.append(
            Notice(
                "ends_differ",
                "the two do not end in the same places: what one has beyond the other (before {before}, "
                "after {after} of its length) is compared with nothing and counted in no volume here",
                {"before": float(ends.sum()), "after": max(float(other), 0.0)},
            )
        )
    noise = float(np.hypot(before.noise, after.noise))
    if alignment.method != "none" and alignment.rms > max(2.0 * noise, 0.1):
        found.append(
            Notice(
                "poor_agreement",
                "where they should be equal the two differ by {rms} (rms), more than noise explains",
                {"rms": alignment.rms},
            )
        )
    return found
