"""Section: a plane closed outline in 3D, and its measures; and the outline that readings stand for.

Bench readings or an outline come in; a Section and its numbers go out. In a section's own plane the
first coordinate is towards the left wall and the second towards the roof, millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import shapely

from portgeo.core.errors import GeometryError
from portgeo.core.plane import (
    CHORD_MM,
    FloatArray,
    Moments,
    arc_points,
    area_and_centroid,
    areas,
    chord,
    fit_circles,
    moments,
    resample,
    segments_for_arc,
)

WALLS = ("roof", "right", "floor", "left")  # clockwise from 12, looking into the entry
Shape = Literal["rect", "round", "oval", "outline"]
Tool = Literal["micrometer", "caliper", "rule", "template"]
Mark = Literal["throat", "seat", "guide", "joint"]
MARKS: tuple[Mark, ...] = ("throat", "seat", "guide", "joint")
DEFAULT_READING_ERROR_MM = 0.025  # a thousandth of an inch: a careful hand with an inside micrometer
TEMPLATE_STEP_MM = 25.4 / 32.0  # radius templates come in steps of 1/32 in: common practice, no source
HALF_STEP_MM = TEMPLATE_STEP_MM / 2.0 / float(np.sqrt(3.0))  # standard uncertainty of the nearest one (JCGM 100, 4.3.7)
POINT_ERROR_MM = 0.5  # of a point read off squared paper, each way: to half a millimetre, common practice, no source
PLACE_ERROR_MM = 0.4  # of a place read off squared paper, each way: common practice, no source
# Standard uncertainties of one reading, and of the zero that all readings of a tool share: common practice, no source.
TOOLS: dict[Tool, tuple[float, float]] = {
    "micrometer": (DEFAULT_READING_ERROR_MM, 0.02),
    "caliper": (0.05, 0.05),
    "rule": (0.25, 0.1),
    "template": (HALF_STEP_MM, 0.0),
}
HEADING_ERROR = float(np.radians(1.0))  # of a heading read by hand: common practice, no source
WELD_MM = 1e-4  # points closer than this are one: a single-precision file keeps no more
SIGNS = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])  # of the corners, from the roof's left one on
OUTLINES_KEPT = 512  # of a sheet being typed: its rows, each with every measure nudged
CLEAR_OF_WALL = float(np.tan(np.radians(10.0)))  # where an arc ends and a wall begins hangs on a chord: not fitted
CORNER_SAMPLES = 720  # points round an outline when its corner radii are fitted
ENOUGH_ON_ARC = 16  # of them on a corner, or it is sampled finer: few points make a chord's sagitta the radius's error


def wall_name(wall: str) -> str:
    """Return a wall of WALLS as a person says it: left alone would be taken for what is left."""
    return f"{wall} wall" if wall in ("left", "right") else wall


def wall_at(clock: float) -> str:
    """Return the wall of WALLS that is nearest to a clock position, hours."""
    return WALLS[round(clock / 3.0) % len(WALLS)]


@dataclass(frozen=True)
class Points:
    """Where a section's ends lie in a side view of the mold, mm: floor and roof, each (x, z).

    x into the port from the entry's face, z up from any one level. sides : y of the left and of the right wall in
    plan, leftwards from any one line; None where they were not read.
    """

    floor: tuple[float, float]
    roof: tuple[float, float]
    sides: tuple[float, float] | None = None


@dataclass(frozen=True)
class Reading:
    """One row of a section sheet, in millimetres and radians.

    `row` is the row in the user's file, for messages. `outline` (n, 2) is a traced outline, left
    and up positive. `place` (3,) is a given place of the section's centre, else None. `error` is
    the standard uncertainty of the row's readings, each on its own; `tool` says whose zero they
    share, `zero_error` how well that zero is known where it is not as a tool's is;
    `turn_error` is the standard uncertainty of the heading. `points` says where the section lay in a
    side view, from which its station and headings come; `drawn` is then its height as they give it,
    with its standard uncertainty, and `width_error` that of the width where the plan gave it. `nose_radius`, of
    a trunk's last row, is that of the divider's edge: None where it is flat, as it comes.
    """

    row: int
    station: float
    shape: Shape = "rect"
    height: float = 0.0
    width: float = 0.0
    corner_roof: float = 0.0
    corner_floor: float = 0.0
    outline: FloatArray | None = None
    turn: float = 0.0
    swing: float = 0.0
    rise: float = 0.0
    shift: float = 0.0
    place: FloatArray | None = None
    error: float = DEFAULT_READING_ERROR_MM
    tool: Tool = "micrometer"
    zero_error: float | None = None
    turn_error: float = HEADING_ERROR
    note: str = ""
    mark: tuple[Mark, ...] = ()
    points: Points | None = None
    drawn: tuple[float, float] | None = None
    width_error: float | None = None
    nose_radius: float | None = None

    @property
    def zero(self) -> float:
        """Standard uncertainty of the zero that the row's sizes share with all others of its tool."""
        return TOOLS[self.tool][1] if self.zero_error is None else self.zero_error


@dataclass(frozen=True, eq=False)
class Section:
    """A plane closed outline in 3D, with islands of metal in it.

    outline : (n, 2), counterclockwise seen looking out of the port (left, up). origin : (3,), where
    (0, 0) of the plane is. frame : (3, 3), rows are the directions of flow, left and up. islands :
    outlines (k, 2), clockwise, of what stands in the stream (a guide boss).
    """

    outline: FloatArray
    origin: FloatArray
    frame: FloatArray
    islands: tuple[FloatArray, ...] = ()

    def __repr__(self) -> str:
        height, width = self.outline[:, 1], self.outline[:, 0]
        size = f"{height.max() - height.min():.2f} mm high, {width.max() - width.min():.2f} mm wide"
        return f"Section({size}, {len(self.outline)} points{f', {len(self.islands)} islands' if self.islands else ''})"

    def in_space(self, points: FloatArray) -> FloatArray:
        """Return plane points (n, 2) as points in space (n, 3)."""
        return self.origin + points @ self.frame[1:]


@dataclass(frozen=True)
class SectionMeasures:
    """What a section measures: millimetres, square millimetres, mm^4.

    `height` and `width` are read across the centroid, as a micrometer reads them; the greatest are
    those of the outline's bounds. `area`, `perimeter`, `centroid` and `second_moments` (2, 2 about
    the centroid) take islands off (their edge counts as wetted). `corner_radii` (4,): roof left,
    roof right, floor right, floor left.
    """

    area: float
    perimeter: float
    centroid: FloatArray
    height: float
    width: float
    greatest_height: float
    greatest_width: float
    hydraulic_diameter: float
    corner_radii: FloatArray
    second_moments: FloatArray


def measure_section(section: Section) -> SectionMeasures:
    """Return the measures of a section, as measure_sections."""
    return measure_sections([section])[0]


def measure_sections(sections: Sequence[Section]) -> tuple[SectionMeasures, ...]:
    """Return the measures of sections, exact for their polygons.

    Hydraulic diameter is 4 area / wetted perimeter. Corner radii are circles fitted to the outlines
    where their corners are (zero for a sharp one).
    """
    radii = corner_radii([section.outline for section in sections])
    return tuple(_measured(section, each) for section, each in zip(sections, radii, strict=True))


def _measured(section: Section, radii: FloatArray) -> SectionMeasures:
    parts = [moments(section.outline), *(moments(island) for island in section.islands)]
    area = sum(part.area for part in parts)
    perimeter = sum(part.perimeter for part in parts)
    centroid = _centroid(parts)
    second = np.zeros((2, 2))
    for part in parts:
        arm = part.centroid - centroid
        second += part.second + part.area * np.outer(arm, arm)
    whole = parts[0].centroid
    width, height = read_across(section.outline, whole)
    extent = np.ptp(section.outline, axis=0)
    return SectionMeasures(
        area=area,
        perimeter=perimeter,
        centroid=centroid,
        height=height,
        width=width,
        greatest_height=float(extent[1]),
        greatest_width=float(extent[0]),
        hydraulic_diameter=4.0 * area / perimeter,
        corner_radii=radii,
        second_moments=second,
    )


def read_across(outline: FloatArray, middle: FloatArray) -> tuple[float, float]:
    """Return the width and height of an outline (n, 2) across its middle (2,), as a micrometer reads them."""
    width, height = np.diff(walls_across(outline, middle)).ravel().tolist()
    return width, height


def walls_across(outline: FloatArray, middle: FloatArray) -> FloatArray:
    """Return where right and left, floor and roof of an outline (n, 2) are across its middle (2,): (2, 2)."""
    return np.array([chord(outline, middle, axis) for axis in (0, 1)])


def area_of(section: Section) -> float:
    """Return a section's area, islands off."""
    return sum(area_and_centroid(part)[0] for part in (section.outline, *section.islands))


def areas_of(sections: Sequence[Section]) -> FloatArray:
    """Return the areas (n,) of sections, islands off; all at once where they have as many points."""
    if any(section.islands for section in sections) or len({len(section.outline) for section in sections}) != 1:
        return np.array([area_of(section) for section in sections])
    return areas(np.array([section.outline for section in sections]))


def centroid_of(section: Section) -> FloatArray:
    """Return the centroid (2,) of a section, islands off."""
    return _centroid([moments(part) for part in (section.outline, *section.islands)])


def _centroid(parts: list[Moments]) -> FloatArray:
    return np.average([part.centroid for part in parts], axis=0, weights=[part.area for part in parts])


def corner_radii(outlines: Sequence[FloatArray]) -> FloatArray:
    """Return the radii (n, 4) of circles fitted to outlines' corners; 0 where one is sharp.

    A corner between two square walls at distances a and b, whose extreme point along the diagonal
    is at d, has the radius (a + b - sqrt(2) d) / (2 - sqrt(2)); the fit then uses the points that
    lie on that arc, 10 degrees clear of the walls.
    """
    radii, fewest = _fitted_corners(outlines, CORNER_SAMPLES)
    small = np.flatnonzero(fewest < ENOUGH_ON_ARC).tolist()
    if small:
        radii[small] = _fitted_corners([outlines[k] for k in small], 4 * CORNER_SAMPLES)[0]
    return radii


def _fitted_corners(outlines: Sequence[FloatArray], samples: int) -> tuple[FloatArray, np.ndarray]:
    """Return the radii (n, 4), and how many samples the rounded corner with fewest of them had (n,)."""
    points = np.array([resample(outline, samples) for outline in outlines])
    corners = points[:, None] * SIGNS[:, None]
    turned = [outline[None] * SIGNS[:, None] for outline in outlines]
    walls = np.array([each.max(axis=1) for each in turned])
    diagonal = np.array([each.sum(axis=2).max(axis=1) for each in turned]) / np.sqrt(2.0)
    radii = (walls.sum(axis=2) - np.sqrt(2.0) * diagonal) / (2.0 - np.sqrt(2.0))
    along, up = np.moveaxis(corners - (walls - radii[..., None])[:, :, None], 3, 0)
    on_arc = (up > CLEAR_OF_WALL * along) & (along > CLEAR_OF_WALL * up)
    rounded = radii >= 10.0 * CHORD_MM
    count = on_arc.sum(axis=2)
    fitted = np.argwhere(rounded & (count >= 5))
    if len(fitted):
        # Each corner's own points, as many places as the fullest has.
        of = tuple(fitted.T)
        order = np.argsort(~on_arc[of], axis=1, kind="stable")[:, : int(count[of].max())]
        used = np.take_along_axis(on_arc[of], order, axis=1)
        _, radius, rms = fit_circles(np.take_along_axis(corners[of], order[..., None], axis=1), used)
        sound = (rms < 0.1 * radii[of]) & np.isfinite(radius)
        radii[of] = np.where(sound, radius, radii[of])
    return np.where(rounded, radii, 0.0), np.where(rounded, count, samples).min(axis=1)


def row_key(reading: Reading) -> tuple[object, ...]:
    """Return what two rows of sheets have alike that are one reading: station, shape, sizes and place."""
    outline = None if reading.outline is None else reading.outline.tobytes()
    sizes = (reading.height, reading.width, reading.corner_roof, reading.corner_floor)
    return (reading.station, reading.shape, *sizes, reading.rise, reading.shift, outline)


def outline_of(reading: Reading, chord_error: float = CHORD_MM) -> FloatArray:
    """Return the outline (n, 2) that a reading stands for, centred on the middle of its height and width.

    Curves are drawn with chords within `chord_error`. Raises GeometryError, with the row, where corners
    do not fit into the section.
    """
    if reading.shape == "rect":
        _check_corners(reading)
        sizes = (reading.width, reading.height, reading.corner_roof, reading.corner_floor)
        return _rounded_rectangle(*sizes, chord_error)
    if reading.shape == "outline":
        assert reading.outline is not None
        return centred(reading.outline)
    half_width, half_height = reading.width / 2.0, reading.height / 2.0
    quarter = segments_for_arc(max(half_width, half_height), np.pi / 2.0, chord_error)
    angle = np.arange(4 * quarter) * (np.pi / 2.0 / quarter)
    return np.column_stack([half_width * np.cos(angle), half_height * np.sin(angle)])


def centred(outline: FloatArray) -> FloatArray:
    """Return an outline counterclockwise and about the middle of its height and width."""
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2.0
    out = outline - middle
    return out if moments(out).area > 0 else out[::-1]


def _slack(width: float, height: float) -> float:
    return 0.5e-9 * max(width, height)  # corners that meet exactly make a round end


def _check_corners(reading: Reading) -> None:
    roof, floor, slack = reading.corner_roof, reading.corner_floor, _slack(reading.width, reading.height)
    if max(roof, floor) > reading.width / 2.0 + slack or roof + floor > reading.height + slack:
        raise GeometryError(
            f"the corner radii do not fit into a section {reading.height:.2f} mm high and "
            f"{reading.width:.2f} mm wide (roof {roof:.2f} mm, floor {floor:.2f} mm)",
            where=f"row {reading.row}, corner radius",
            hint="A corner radius is at most half the width, and roof and floor together at most the height",
        )


@lru_cache(maxsize=OUTLINES_KEPT)
def _rounded_rectangle(width: float, height: float, roof: float, floor: float, chord_error: float) -> FloatArray:
    """Return the outline (n, 2) of a rounded rectangle, kept to use again while others are typed."""
    half_width, half_height = width / 2.0, height / 2.0
    corners = []
    for k, (left, up, radius) in enumerate([(1, 1, roof), (-1, 1, roof), (-1, -1, floor), (1, -1, floor)]):
        centre = np.array([left * (half_width - radius), up * (half_height - radius)])
        corners.append(arc_points(centre, radius, k * np.pi / 2.0, np.pi / 2.0, chord_error))
    outline = np.vstack(corners)
    step = np.linalg.norm(outline - np.roll(outline, 1, axis=0), axis=1)
    outline = outline[step > _slack(width, height) + 1e-12]
    outline.flags.writeable = False
    return outline


def is_simple(outlines: FloatArray) -> np.ndarray:
    """Return for outlines (k, n, 2) whether each is a closed curve that does not cross itself (k,).

    Points closer than WELD_MM are one, as they will be in a mesh.
    """
    drawn = shapely.remove_repeated_points(shapely.polygons(outlines), WELD_MM)
    return np.asarray(shapely.is_valid(drawn))
