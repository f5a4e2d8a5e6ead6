"""Course: sections followed along a tube on its coarse copy, from its middle out to both ends.

A coarse mesh and the rough way come in; the middles, headings and outlines of whole sections go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.section import Section
from portgeo.core.slicing import slice_mesh, tube_sections

STEP = 0.2  # of the tube's radius, between sections
ENDS_LEFT = 1.3  # radii at each end of the rough line that lean into a corner of the tube
EASE = 0.5  # radii over which a rough line is smoothed
ROUNDS = 2  # of sections that put the rough line right
USUAL = (0.5, 1.7)  # area of a section of the tube, of the median one
GOES_ON = 0.8  # cosine between the line over a gap and the tube's heading beside it
BACK = 7  # sections that the heading of the next is told from
TIGHTEST = 0.8  # radii of the tightest bend of a course
SHRINKS, GROWS = 0.8, 1.25  # change of area between two sections that no tube has: an end, a spill
CUT = (0.94, 1.06)  # change of area, more than which at the very last sections is the end's own doing
BEYOND = 4  # sections that can lie in what is beyond an end
JUMP = 0.5  # of the radius: a middle that moves aside by more has left the tube
LEAST_STEP = 0.4  # of a step, that a middle must lie ahead of the one before
LEAST_ALIGNED = 0.9  # cosine between two headings a step apart: a tube bends no faster
MOST_STEPS = 1500  # bounds the work: three hundred radii


@dataclass(frozen=True)
class Course:
    """Middles (n, 3), headings (n, 3), areas (n,) and sections of a tube, in order."""

    points: FloatArray
    headings: FloatArray
    areas: FloatArray
    sections: tuple[Section, ...]

    def end(self, k: int) -> tuple[FloatArray, FloatArray, float]:
        """Return the middle of its first (0) or last (-1) section, the heading outward there, and its area."""
        outward = -self.headings[0] if k == 0 else self.headings[-1]
        return self.points[k], outward, float(self.areas[k])

    def turned(self) -> Course:
        """Return the course run the other way."""
        return Course(self.points[::-1], -self.headings[::-1], self.areas[::-1], self.sections[::-1])


def plane_frame(normal: FloatArray) -> FloatArray:
    """Return a frame (3, 3) whose first row is `normal`, turned about it in no special way."""
    lean = np.eye(3)[int(np.argmin(np.abs(normal)))]
    left = np.cross(lean, normal)
    left /= np.linalg.norm(left)
    return np.stack([normal, left, np.cross(normal, left)])


Found = tuple[Section, FloatArray, float]


def section_at(vertices: FloatArray, faces: IntArray, origin: FloatArray, normal: FloatArray) -> Found | None:
    """Return the tube's section in a plane, its middle (3,) and area, None where there is none."""
    return sections_along(vertices, faces, origin[None], normal[None])[0]


def sections_along(
    vertices: FloatArray, faces: IntArray, origins: FloatArray, normals: FloatArray
) -> list[Found | None]:
    """Return for each plane the tube's section, its middle (3,) and area, None where there is none.

    Middle and area are those of its convex hull, which no boss that stands in from a wall moves.
    """
    frames = np.array([plane_frame(n) for n in normals])
    found: list[Found | None] = []
    for section in tube_sections(slice_mesh(vertices, faces, origins, normals), origins, frames):
        hull = None if section is None else shapely.convex_hull(shapely.MultiPoint(section.outline))
        if section is None or hull is None or hull.area == 0.0:
            found.append(None)
            continue
        middle = np.array([[hull.centroid.x, hull.centroid.y]])
        found.append((section, section.in_space(middle)[0], float(hull.area)))
    return found


def follow(
    vertices: FloatArray, faces: IntArray, line: FloatArray, radius: float, ends_left: float = ENDS_LEFT
) -> Course:
    """Return the course of the tube about a rough line (n, 3), out to where its sections end.

    ends_left : radii at each end of the line that are no guide.

    The line's own ends, which lean into corners, are left out; sections along the rest put it right,
    and from its two ends the tube is followed section by section. Raises GeometryError where there is
    no section in the middle.
    """
    points = _eased(line, radius, ends_left * radius)
    sections: list[Section] = []
    areas = np.zeros(0)
    for _ in range(ROUNDS):
        headings = _smoothed(points)
        found = sections_along(vertices, faces, points, headings)
        known = [f for f in found if f is not None]
        usual = float(np.median([f[2] for f in known])) if known else 0.0
        kept = _longest_run(
            [
                f
                if f is not None and USUAL[0] < f[2] / usual < USUAL[1] and np.linalg.norm(f[1] - p) < radius
                else None
                for f, p in zip(found, points, strict=True)
            ]
        )
        if len(kept) < 3 or usual > 4.0 * np.pi * radius**2:
            raise GeometryError(
                "no closed section was found in the middle of the mesh",
                hint="Pass --entry X,Y,Z and --exit X,Y,Z with a point on each opening",
            )
        sections, areas = [f[0] for f in kept], np.array([f[2] for f in kept])
        centres = np.array([f[1] for f in kept])
        points = _eased(centres, radius, 0.0)
    # The outermost sections still show where a rough line leant: they are found again from within.
    loose = min(2, (len(centres) - 3) // 2) if ends_left >= ENDS_LEFT else 0
    whole = slice(loose, len(centres) - loose)
    headings, centres, areas = _smoothed(centres)[whole], centres[whole], areas[whole]
    sections = sections[whole]
    rows = list(zip(centres, headings, areas.tolist(), sections, strict=True))
    ahead = _march(vertices, faces, rows, radius)
    turned = [(p, -h, a, s) for p, h, a, s in rows[::-1]]
    behind = [(p, -h, a, s) for p, h, a, s in _march(vertices, faces, turned, radius)[::-1]]
    rows = behind + rows + ahead
    points = np.array([r[0] for r in rows])
    return Course(points, _smoothed(points), np.array([r[2] for r in rows]), tuple(r[3] for r in rows))


def _longest_run(found: list[Found | None]) -> list[Found]:
    """Return the longest run of sections that goes on straight over its gaps.

    A dent or a boss may leave a gap; what lies aside beyond one is a slab, or a leg, and not the tube.
    """
    runs: list[list[Found]] = [[]]
    is_gap = False
    for one in found:
        if one is None:
            is_gap = True
            continue
        if is_gap and runs[-1] and not _goes_on(runs[-1][-1], one):
            runs.append([])
        runs[-1].append(one)
        is_gap = False
    return max(runs, key=len)


def _goes_on(before: Found, after: Found) -> bool:
    """Return whether the line from one section's middle to another's stands square to both."""
    chord = after[1] - before[1]
    size = float(np.linalg.norm(chord))
    return all(chord @ one[0].frame[0] > GOES_ON * size for one in (before, after))


def _eased(line: FloatArray, radius: float, off: float) -> FloatArray:
    """Return points STEP apart on a line (n, 3), smoothed over EASE of the radius, `off` its two ends."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    if length[-1] > MOST_STEPS * STEP * radius:
        raise GeometryError(
            f"the mesh is {length[-1] / (2.0 * radius):.0f} times as long as it is wide, which no port is",
            hint="Check what was scanned and exported, and that all three axes have one scale",
        )
    off = min(off, 0.3 * length[-1])
    s = np.linspace(off, length[-1] - off, max(round((length[-1] - 2.0 * off) / (STEP * radius)), 4) + 1)
    fine = np.linspace(0.0, length[-1], 4 * len(s))
    places = np.column_stack([np.interp(fine, length, line[:, k]) for k in range(3)])
    # A straight line is fitted about each place, so that the ends are not drawn in.
    eased = np.empty((len(s), 3))
    for k, at in enumerate(s):
        weight = np.exp(-0.5 * ((fine - at) / (EASE * radius)) ** 2)
        x = fine - at
        system = np.column_stack([np.ones_like(x), x, x * x]) * np.sqrt(weight)[:, None]
        eased[k] = np.linalg.lstsq(system, places * np.sqrt(weight)[:, None], rcond=None)[0][0]
    return eased


Row = tuple[FloatArray, FloatArray, float, Section]


def _march(vertices: FloatArray, faces: IntArray, history: list[Row], radius: float) -> list[Row]:
    """Return the rows beyond the last of `history`, on to where the sections are no longer the tube's."""
    rows: list[Row] = []
    points = [r[0] for r in history]
    last_area, last_heading = history[-1][2], history[-1][1]
    step = STEP * radius
    for _ in range(MOST_STEPS):
        back = np.array(points[-BACK:])
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(back, axis=0), axis=1))])
        fit = np.polynomial.polynomial.polyfit(along - along[-1], back, 2 if len(back) > 3 else 1)
        here, bend = fit[1], (2.0 * fit[2] if len(fit) > 2 else np.zeros(3))
        size = float(np.linalg.norm(bend)) * TIGHTEST * radius
        t = here + step * bend / max(size, 1.0)
        t /= np.linalg.norm(t)
        guess = points[-1] + step * (here / np.linalg.norm(here) + t) / 2.0
        found = section_at(vertices, faces, guess, t)
        if (
            found is None
            or not SHRINKS < found[2] / last_area < GROWS
            or np.linalg.norm(found[1] - guess) > JUMP * radius
            or (found[1] - points[-1]) @ t < LEAST_STEP * step
            or t @ last_heading < LEAST_ALIGNED
        ):
            break
        points.append(found[1])
        last_area, last_heading = found[2], t
        rows.append((found[1], t, found[2], found[0]))
        if len(rows) > 40 and np.linalg.norm(found[1] - points[-40]) < 2.0 * step:
            break  # round in a ring
    # The last may be cut by the end itself, or lie in a seat or a spill beyond it: their middles are no guide.
    areas = np.array([history[-1][2], *(r[2] for r in rows)])
    change = areas[1:] / areas[:-1]
    sudden = (change <= CUT[0]) | (change >= CUT[1])
    while sudden[-BEYOND:].any():
        first = max(len(sudden) - BEYOND, 0) + int(np.argmax(sudden[-BEYOND:]))
        sudden = sudden[:first]
    return rows[: len(sudden)]


def _smoothed(points: FloatArray) -> FloatArray:
    """Return headings (n, 3) of a row of points, each from a parabola through its neighbours."""
    n = len(points)
    headings = np.empty_like(points)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    for k in range(n):
        a, b = max(k - 3, 0), min(k + 4, n)
        if b - a < 3:
            headings[k] = points[-1] - points[0]
        else:
            a, b = max(min(a, n - 5), 0), min(max(b, 5), n)
            headings[k] = np.polynomial.polynomial.polyfit(along[a:b] - along[k], points[a:b], 2)[1]
        headings[k] /= np.linalg.norm(headings[k])
    return headings
