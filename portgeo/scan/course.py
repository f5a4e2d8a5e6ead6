"""Course: sections followed along a tube on its coarse copy, from its middle out to both ends.

A coarse mesh and the rough way come in; the middles, headings and outlines of whole sections go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.errors import GeometryError
from portgeo.plane import FloatArray, IntArray, moments
from portgeo.section import Section
from portgeo.slicing import slice_mesh, tube_sections

STEP = 0.2  # of the tube's radius, between sections
SETTLE = 2  # times each plane is turned square to the course
SHRINKS, GROWS = 0.8, 1.25  # change of area between two sections that no tube has: an end, a spill
JUMP = 0.5  # of the radius: a middle that moves aside by more has left the tube
MOST_STEPS = 1500  # bounds the work: three hundred radii


@dataclass(frozen=True)
class Course:
    """Middles (n, 3), headings (n, 3), areas (n,) and sections of a tube, in order."""

    points: FloatArray
    headings: FloatArray
    areas: FloatArray
    sections: tuple[Section, ...]


def plane_frame(normal: FloatArray) -> FloatArray:
    """Return a frame (3, 3) whose first row is `normal`, turned about it in no special way."""
    lean = np.eye(3)[int(np.argmin(np.abs(normal)))]
    left = np.cross(lean, normal)
    left /= np.linalg.norm(left)
    return np.stack([normal, left, np.cross(normal, left)])


def section_at(
    vertices: FloatArray, faces: IntArray, origin: FloatArray, normal: FloatArray
) -> tuple[Section, FloatArray, float] | None:
    """Return the tube's section in a plane, its middle (3,) and outline's area, None where there is none."""
    frame = plane_frame(normal)[None]
    loops = slice_mesh(vertices, faces, origin[None], normal[None])
    section = tube_sections(loops, origin[None], frame)[0]
    if section is None:
        return None
    m = moments(section.outline)
    return section, section.in_space(m.centroid[None])[0], m.area


def follow(vertices: FloatArray, faces: IntArray, line: FloatArray, radius: float) -> Course:
    """Return the course of the tube about a rough line (n, 3), out to where its sections end.

    Raises GeometryError where there is no section in the middle.
    """
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    best = None
    for share in (0.5, 0.4, 0.6, 0.3, 0.7):
        at = share * length[-1]
        p = np.array([np.interp(at, length, line[:, k]) for k in range(3)])
        span = np.array([np.interp([at - radius, at + radius], length, line[:, k]) for k in range(3)])
        t = (span[:, 1] - span[:, 0]) / np.linalg.norm(span[:, 1] - span[:, 0])
        best = section_at(vertices, faces, p, t)
        if best is not None and best[2] < 4.0 * np.pi * radius**2:
            break
        best = None
    if best is None:
        raise GeometryError(
            "no closed section was found in the middle of the mesh",
            mend="Pass --entry X,Y,Z and --exit X,Y,Z with a point on each opening",
        )
    section, middle, area = best
    ahead = _march(vertices, faces, middle, t, area, radius)
    behind = _march(vertices, faces, middle, -t, area, radius)
    rows = [(p, -h, a, s) for p, h, a, s in behind[::-1]] + [(middle, t, area, section)] + ahead
    points = np.array([r[0] for r in rows])
    return Course(points, _smoothed(points), np.array([r[2] for r in rows]), tuple(r[3] for r in rows))


Row = tuple[FloatArray, FloatArray, float, Section]


def _march(
    vertices: FloatArray, faces: IntArray, start: FloatArray, heading: FloatArray, area: float, radius: float
) -> list[Row]:
    """Return the rows from a section on in one direction, while they are the tube's."""
    rows: list[Row] = []
    points, headings = [start], [heading]
    step = STEP * radius
    last_area = area
    for _ in range(MOST_STEPS):
        bend = headings[-1] - headings[-2] if len(headings) > 1 else np.zeros(3)
        t = headings[-1] + bend
        t /= np.linalg.norm(t)
        found = None
        guess = points[-1] + step * t
        for _ in range(SETTLE):
            found = section_at(vertices, faces, guess, t)
            if found is None:
                break
            middle = found[1]
            back = points[max(len(points) - 4, 0)]
            if np.linalg.norm(middle - guess) > JUMP * radius:
                found = None
                break
            chord = middle - back
            chord /= np.linalg.norm(chord)
            # The chord from four sections back has the heading of its own middle: go on as far again.
            t_middle = np.mean(headings[max(len(headings) - 4, 0) :], axis=0)
            t = chord + 0.5 * (chord - t_middle)
            t /= np.linalg.norm(t)
            guess = middle
        if found is None or not SHRINKS < found[2] / last_area < GROWS:
            break
        points.append(found[1])
        headings.append(t)
        last_area = found[2]
        rows.append((found[1], t, found[2], found[0]))
        if len(points) > 40 and np.linalg.norm(found[1] - points[-40]) < 2.0 * step:
            break  # round in a ring
    return rows


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
