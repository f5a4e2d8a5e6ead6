"""Before and after by station: both areas on the same planes, and the depth on each of the four walls.

BEFORE and AFTER's mesh, laid together, come in; a row a station goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.centreline import at
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray, chord
from portgeo.core.port import Port
from portgeo.core.section import Section, area_of, centroid_of
from portgeo.core.slicing import slice_mesh, tube_sections

END_NUDGE_MM = 0.01  # planes at the ends of the common stretch stand this far inside both openings
BAND_MM = 1.5  # to each side of the middle: the chords that are averaged on a noisy wall
CHORDS = 7  # in that band


@dataclass(frozen=True)
class StationRows:
    """Rows by station: stations (n,), before and after areas (n,), mm2, and depths (n,) on four walls, mm.

    A depth is how much farther out AFTER's wall is along the section's own left or up, through
    BEFORE's centroid: what an inside micrometer would tell.
    """

    stations: FloatArray
    before: FloatArray
    after: FloatArray
    roof: FloatArray
    floor: FloatArray
    left: FloatArray
    right: FloatArray
    before_sections: tuple[Section, ...]
    after_sections: tuple[Section, ...]

    @property
    def change(self) -> FloatArray:
        """Change of area (n,), mm2."""
        return self.after - self.before


def station_rows(
    before: Port,
    vertices: FloatArray,
    faces: IntArray,
    stations: FloatArray,
    stretch: tuple[float, float],
    noise: float,
) -> StationRows:
    """Return the rows at stations (n,) of BEFORE, those outside the common stretch left out.

    vertices, faces : AFTER's mesh in BEFORE's port frame. Raises GeometryError where a plane cuts no tube.
    """
    inside = stations[(stations > stretch[0]) & (stations < stretch[1])]
    stations = np.unique(np.concatenate([[stretch[0]], inside, [stretch[1]]]))
    cut_at = np.clip(stations, stretch[0] + END_NUDGE_MM, stretch[1] - END_NUDGE_MM)
    points, frames = at(before.centreline, cut_at)
    one = _sections(before.vertices, before.faces, points, frames, stations, "BEFORE")
    other = _sections(vertices, faces, points, frames, stations, "AFTER")
    depths = np.array([_depths(a, b, noise) for a, b in zip(one, other, strict=True)])
    return StationRows(
        stations=stations,
        before=np.array([area_of(s) for s in one]),
        after=np.array([area_of(s) for s in other]),
        roof=depths[:, 0],
        floor=depths[:, 1],
        left=depths[:, 2],
        right=depths[:, 3],
        before_sections=tuple(one),
        after_sections=tuple(other),
    )


def _sections(
    vertices: FloatArray,
    faces: IntArray,
    points: FloatArray,
    frames: FloatArray,
    stations: FloatArray,
    name: str,
) -> list[Section]:
    found = tube_sections(slice_mesh(vertices, faces, points, frames[:, 0]), points, frames)
    whole = [section for section in found if section is not None]
    if len(whole) < len(found):
        lost = [s for s, section in zip(stations, found, strict=True) if section is None]
        raise GeometryError(
            f"the plane at station {lost[0]:.2f} mm cuts no closed section of {name}",
            hint="Look at the mesh there: it must be one closed tube between its two openings",
        )
    return whole


def _depths(before: Section, after: Section, noise: float) -> FloatArray:
    """Return the depths (4,) at roof, floor, left and right."""
    middle = centroid_of(before)
    offsets = np.linspace(-BAND_MM, BAND_MM, CHORDS) if noise > 0.0 else np.zeros(1)
    ends = []
    for axis in (1, 0):
        aside = np.array([1.0, 0.0]) if axis == 1 else np.array([0.0, 1.0])
        pairs = [
            [chord(section.outline, middle + offset * aside, axis) for offset in offsets] for section in (before, after)
        ]
        low, high = (np.asarray(pairs[1]) - np.asarray(pairs[0])).mean(axis=0)
        ends += [high, -low]
    return np.array(ends)  # up: roof, floor; left: left, right
