"""Before and after, whole: everything that is told of two states of one port.

Two Ports come in; a Comparison goes out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from scipy.spatial import cKDTree

from portgeo.comparing.depth import Depth, WallDepth, by_wall, depth_of, depths
from portgeo.comparing.depth_map import DepthMap, Spot, depth_map, spots
from portgeo.comparing.reading_error import reading_depth_u, reading_errors
from portgeo.comparing.register import Alignment, Method, align, wall_of
from portgeo.comparing.scatter import MEDIAN_TO_SIGMA
from portgeo.comparing.state import State, states_of
from portgeo.comparing.stations import StationRows, station_rows
from portgeo.comparing.tube import Tube, Walled, places, walled
from portgeo.comparing.volume_error import CellErrors, cell_errors
from portgeo.comparing.wedges import Wedges, finely, refuse_open, wedges
from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice, unique
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port
from portgeo.core.triangles import used_by
from portgeo.measuring.scan_uncertainty import facet_area
from portgeo.measuring.schedule import table_stations
from portgeo.measuring.sense import exchanged, rise_left
from portgeo.measuring.sheet_change import ChangeUncertainty

T = TypeVar("T")

# Handbook values from memory: A356-type casting, as either spells it, and grey iron.
DENSITY_G_CC = {"aluminum": 2.68, "aluminium": 2.68, "iron": 7.15}
LEAST_COMMON = 0.5  # of BEFORE's length: less in common is not one port
ENDS_DIFFER_MM = 0.25  # an opening that lies this much elsewhere is told
OWN_MM = 1e-6  # a scanned point and the vertex it became
MOSTLY_ADDED = 3.0  # times as much added as removed: the user is asked about the order of the files
ADDED_CC = 0.05
FAR_APART = 0.5  # of half a section's height and width: a port that was cut lies nearer to what it was


class MetalMoved:
    """What follows of two volumes, mm3, and of the metal that was removed between them."""

    removed: float
    before_volume: float
    after_volume: float

    @property
    def net(self) -> float:
        """Volume gained on the stretch that both have, mm3."""
        return self.after_volume - self.before_volume

    def grams(self, density: float) -> float:
        """Return the mass of the metal removed, grams; density in g/cc."""
        return self.removed / 1000.0 * density


@dataclass(frozen=True)
class Comparison(MetalMoved):
    """Two states of one port. Volumes mm3, lengths mm, in BEFORE's port frame.

    before, after : as they were given. stretch : stations between which both are there; `before_volume`,
    `after_volume` and all the rest are of it, `before_beyond` and `after_beyond` are what each has outside it.
    removed - added + below_noise is after_volume - before_volume. `removed_u`, `added_u`, `net_u`, `depth_u` :
    standard uncertainties of the removed, the added and the net volume and of the deepest cut. vertices, faces :
    AFTER's mesh, moved. row_depth_u : (n, 4), standard uncertainties of the rows' depths on roof, floor, left and
    right. after_wedges : its wall, refined, that `depth` is on. errors : of its map's cells.
    change : how sure the change between two sheets' figures is.
    """

    before: Port
    after: Port
    alignment: Alignment
    stretch: tuple[float, float]
    removed: float
    removed_u: float
    added: float
    added_u: float
    below_noise: float
    net_u: float
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
    row_depth_u: FloatArray
    before_state: State
    after_state: State
    change: ChangeUncertainty | None
    vertices: FloatArray
    faces: IntArray
    after_wedges: Wedges
    errors: CellErrors
    warnings: tuple[Notice, ...]


def compare_ports(
    before: Port,
    after: Port,
    method: Method = "auto",
    *,
    boxes: FloatArray | None = None,
    faces: tuple[str, ...] = (),
    stations: int | None = None,
    alignment: Alignment | None = None,
) -> Comparison:
    """Return the comparison of two states of one port.

    method, boxes, faces : how they are laid together, see register.align; alignment : where that is known. stations :
    rows of the table.
    Raises GeometryError where they are not two states of one port, or a mesh is open.
    """
    ports = before, after
    _both(refuse_open, ports, ("BEFORE", "AFTER"))
    one, other = _both(walled, ports)
    fine_one, fine_other = _both(finely, (one, other))
    with ThreadPoolExecutor(1) as pool:
        surveyed = pool.submit(states_of, before, after)  # while the two are laid together
        wall = wall_of(one)
        alignment = alignment or align(one, other, method, boxes=boxes, faces=faces, wall=wall)
    before_state, after_state, change = surveyed.result()
    own_moved, moved = (alignment.moved(part.port.vertices) for part in (other, fine_other))
    noise = float(np.hypot(before.noise, after.noise))

    stretch = common_stretch(one, other, own_moved)
    before_wedges, after_wedges = _both(
        lambda part, vertices: wedges(one.tube, vertices, part.port.faces[part.is_wall], stretch),
        (fine_one, fine_other),
        (fine_one.port.vertices, moved),
    )
    own_before, own_after = (
        fine if part is fine_part else wedges(one.tube, vertices, part.port.faces[part.is_wall], stretch)
        for part, fine_part, fine, vertices in (
            (one, fine_one, before_wedges, before.vertices),
            (other, fine_other, after_wedges, own_moved),
        )
    )

    own = _of_wall(other) if fine_other is other else _scanned(after_wedges.vertices, own_moved[_of_wall(other)])
    at_vertices = depths(wall, after_wedges)
    _refuse_apart(at_vertices, after_wedges.areas, one.tube)
    read_depth_u = reading_depth_u(before, after)
    map_ = depth_map(one.tube, after_wedges.where, at_vertices, after_wedges.areas, noise, stretch, untold=read_depth_u)
    depth = depth_of(wall, one.tube, after_wedges, at_vertices, (before.noise, after.noise), own, map_)
    behind = _both(lambda part: map_.spread(part.shared_out(part.volumes), part.where), (after_wedges, before_wedges))
    gained = behind[0] - behind[1]
    # Parts that come out on the other side hold nothing but chord errors and faint edges: too shallow to tell.
    removed = max(float((map_.cut * gained).sum()), 0.0)
    added = max(-float((map_.built_up * gained).sum()), 0.0)
    # As `measure` tells volumes: with what flat triangles cut off.
    before_volume, after_volume = (
        part.total + facet_area(port) * (stretch[1] - stretch[0])
        for part, port in ((before_wedges, before), (after_wedges, after))
    )
    below_noise = after_volume - before_volume - removed + added

    # Two scans of one scanner are too large or too small alike.
    scale = max((port.scale_error or 0.0) for port in ports)
    readings = reading_errors((before, after), one.tube, map_, (before_wedges, after_wedges))
    errors = cell_errors(map_, alignment, after_wedges, (own_after, own_before), readings, scale)
    whole = np.ones_like(gained)
    removed_u, added_u = (errors.counted_u(whole, gained, sign, below_noise) for sign in (1.0, -1.0))
    net_u = errors.net_u(whole, after_volume - before_volume)

    bend = before_state.bend
    after_faces = fine_other.port.faces
    rows = station_rows(before, moved, after_faces, table_stations(before, stations), stretch, noise)
    depth_u = float(np.linalg.norm([_depth_u(alignment, after_wedges, depth), read_depth_u, errors.deepest_u()]))
    return Comparison(
        before=before,
        after=after,
        alignment=alignment,
        stretch=stretch,
        removed=removed,
        removed_u=removed_u,
        added=added,
        added_u=added_u,
        below_noise=below_noise,
        net_u=net_u,
        before_volume=before_volume,
        after_volume=after_volume,
        before_beyond=before_state.volume - before_volume,
        after_beyond=after_state.volume - after_volume,
        depth=depth,
        depth_u=depth_u,
        map=map_,
        walls=by_wall(
            map_,
            depth,
            after_wedges,
            gained,
            errors,
            (bend.plane.wall, bend.short.station_from, bend.short.station_to) if bend else None,
            depth_u,
        ),
        spots=spots(map_, one.tube),
        rows=rows,
        row_depth_u=_row_depth_u(map_, errors, rows),
        before_state=before_state,
        after_state=after_state,
        change=change,
        vertices=moved,
        faces=after_faces,
        after_wedges=after_wedges,
        errors=errors,
        warnings=(
            *alignment.warnings,
            *_notices(before, after, alignment, stretch, removed, added),
            *exchanged(before, after),
            *rise_left(before, after),
            *unique((*before.warnings, *after.warnings)),
        ),
    )


def _both(work: Callable[..., T], *arguments: Sequence[Any]) -> list[T]:
    """Return what work, which is mostly numpy's, makes of BEFORE's arguments and of AFTER's, side by side."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(work, *arguments))


def common_stretch(before: Walled, after: Walled, moved: FloatArray) -> tuple[float, float]:
    """Return the stations of BEFORE between which both walls are there all round.

    moved : AFTER's points in BEFORE's port frame. Raises GeometryError where they share too little.
    """
    first, last = before.port.centreline.stations[[0, -1]]
    length = last - first
    # BEFORE's wall may end short of its openings' planes as well: a low strip along a rim passes for opening.
    rim_points = np.concatenate([moved[_rim(after)], before.port.vertices[_rim(before)]])
    station = places(before.tube, rim_points).station - first
    entry, exit_ = station[station < length / 2.0], station[station >= length / 2.0]
    low = max(float(entry.max()), 0.0) if len(entry) else 0.0
    high = min(float(exit_.min()), length) if len(exit_) else length
    if not high - low > LEAST_COMMON * length:
        raise GeometryError(
            f"lined up, the two share only {max(high - low, 0.0):.1f} mm of {length:.1f} mm",
            hint="Check that both files are of one port, with the entry at the same end (--entry, --exit)",
        )
    return float(first + low), float(first + high)


def _refuse_apart(depths: FloatArray, areas: FloatArray, tube: Tube) -> None:
    """Refuse two walls that lie nowhere near each other, as those of two frames do with `none`."""
    apart = float(np.average(np.abs(depths), weights=areas))
    if apart > FAR_APART * float(tube.halves.mean()):
        raise GeometryError(
            f"lined up, the two walls are {apart:.1f} mm apart on average: no cut is that deep",
            hint="Check that both files are of one port; where their frames differ, have them lined up (--align auto)",
        )


def _rim(port: Walled) -> IntArray:
    """Return the vertices round a port's two openings: those of wall and of opening."""
    of_wall = np.zeros(len(port.port.vertices), dtype=bool)
    of_wall[port.port.faces[port.is_wall]] = True
    return np.unique(port.port.faces[~port.is_wall][of_wall[port.port.faces[~port.is_wall]]])


def _row_depth_u(map_: DepthMap, errors: CellErrors, rows: StationRows) -> FloatArray:
    """Return the standard uncertainties (n, 4) of rows' depths at roof, floor, left and right.

    A row is read on fewer points than the map, and is off it by the noise of these.
    """
    row = np.clip(np.searchsorted(map_.stations, rows.stations), 0, len(map_.stations) - 1)
    columns = [round(turn * len(map_.turns)) for turn in (0.0, 0.5, 0.75, 0.25)]
    by_cell = errors.cell_depth_u()[row][:, columns]
    if map_.noise == 0.0:
        return by_cell
    apart = np.column_stack([rows.roof, rows.floor, rows.left, rows.right]) - map_.depth[row][:, columns]
    return np.hypot(by_cell, float(np.median(np.abs(apart))) / MEDIAN_TO_SIGMA)


def _of_wall(part: Walled) -> IntArray:
    """Return which points (n,) of a port are of its wall."""
    return used_by(part.port.faces[part.is_wall], len(part.port.vertices))


def _scanned(vertices: FloatArray, own: FloatArray) -> IntArray:
    """Return which vertices (k,) of a wall with points put in between are its own points (n, 3)."""
    apart, nearest = cKDTree(vertices).query(own)
    return np.asarray(nearest[apart < OWN_MM], dtype=np.int64)


def _depth_u(alignment: Alignment, after: Wedges, depth: Depth) -> float:
    k = int(np.argmin(((after.vertices - depth.deepest_at) ** 2).sum(axis=1)))
    by_fit = alignment.uncertainty(after.vertices[k : k + 1], after.normals[k : k + 1])[0]
    return float(np.hypot(by_fit, depth.deepest_u))


def _notices(
    before: Port,
    after: Port,
    alignment: Alignment,
    stretch: tuple[float, float],
    removed: float,
    added: float,
) -> list[Notice]:
    found = []
    if added > 1000.0 * ADDED_CC and added > MOSTLY_ADDED * removed:
        found.append(Notice("smaller_after", added=added, removed=removed))
    length = before.centreline.stations[[0, -1]]
    ends = np.array([stretch[0] - length[0], length[1] - stretch[1]])
    other = after.centreline.length - (stretch[1] - stretch[0])
    if max(ends.max(), other) > ENDS_DIFFER_MM:
        found.append(Notice("ends_differ", before=ends.sum(), after=max(other, 0.0)))
    noise = float(np.hypot(before.noise, after.noise))
    if alignment.method != "none" and alignment.rms > max(2.0 * noise, 0.1):
        found.append(Notice("poor_agreement", rms=alignment.rms))
    return found
