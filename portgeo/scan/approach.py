"""Approach: how a passage of a mold that splits comes to the junction.

The arm of the mold or its centreline comes in; a point short of the junction, and the heading there, goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.section import centroid_of
from portgeo.scan.course import plane_frame
from portgeo.scan.fork import Arm
from portgeo.scan.openings import Opening
from portgeo.scan.spine import Curve, first_curve, sections_of
from portgeo.scan.tube import LINE, Mesh

BACK = 0.6  # radii inside its end that an approach is taken from a centreline
LEANS = 0.2  # radii, or of its length, that a curve's end leans by itself
TOLD_OVER, MOST_OVER = 0.8, 0.7  # radii that its heading is told from, and at most of its length
SURE_BEND = 6.0  # times the waves in its heading, that it turns by there where it bends
SECTIONS_BACK = 3  # of a rough course, short of its last steady one
STEADY = 0.1  # of its usual area, that a section of a passage still whole may be off by
CLEAR_OF_END = 0.15  # radii from a passage's end within which its rough course is no guide


@dataclass(frozen=True)
class Approach:
    """How a passage comes to the junction: a point (3,) where it is still whole, its heading there, its radius.

    room : length of it that lies behind the point.
    """

    point: FloatArray
    heading: FloatArray
    radius: float
    room: float


def rough_approach(arm: Arm) -> Approach:
    """Return how an arm comes to the junction, from where its course is still as wide as it usually is."""
    course = arm.course
    whole = np.flatnonzero(np.abs(course.areas / np.median(course.areas) - 1.0) < STEADY)
    k = max(int(whole[-1]) - SECTIONS_BACK, 0)
    room = float(np.linalg.norm(np.diff(course.points[: k + 1], axis=0), axis=1).sum())
    return Approach(course.points[k], course.headings[k], float(np.sqrt(arm.area / np.pi)), room)


def curve_to(
    coarse: Mesh,
    line: FloatArray,
    radius: float,
    opening: Opening,
    heading: FloatArray,
    plane: FloatArray,
) -> Curve:
    """Return a passage's centreline on a coarse mesh, from its opening up to a plane across it.

    line (n, 3) : about where it runs. heading, plane (3,) : square to the plane, and a point in it.
    """
    inner = before_plane(line, Opening(plane, heading, "split"))
    sections = sections_of(coarse, plane[None], plane_frame(heading)[None])
    if sections[0] is not None:
        plane = sections[0].in_space(centroid_of(sections[0])[None])[0]
    outward = opening.normal if opening.square else None
    far = inner[0] + ((opening.origin - inner[0]) @ opening.normal) * opening.normal
    clear = np.linalg.norm(inner - far, axis=1) > CLEAR_OF_END * radius
    return first_curve(coarse, ((far, outward), (plane, None)), inner[clear], radius)


def approach_to(coarse: Mesh, curve: Curve, before: Approach, plane: FloatArray) -> Approach:
    """Return how a passage comes to a plane at the junction: its centreline's heading, led on as it bends.

    curve : its centreline as far as it is a tube, or up to the plane. Where a trunk widens into legs that are not
    alike, its middle swings to and fro with the least lean of a plane, and says nothing of where it leads; and a
    curve's free end leans by itself.
    """
    radius = before.radius
    station = curve.length + (plane - curve.at(np.array([curve.length]))[0]) @ before.heading
    last = min(curve.length - min(LEANS * radius, LEANS * curve.length), station)
    over = min(max(TOLD_OVER * radius, station - last), MOST_OVER * curve.length)
    along = np.linspace(-over, 0.0, LINE)
    tangents = curve.at(last + along, 1)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    middle, bend = np.polynomial.polynomial.polyfit(along + over / 2.0, tangents, 1)
    waves = np.linalg.norm(tangents - middle - np.outer(along + over / 2.0, bend), axis=1)
    # A bend that its own waves could make is none: led on, it would lean the plane.
    led = station - last + over / 2.0 if np.linalg.norm(bend) * over > SURE_BEND * np.sqrt(np.mean(waves**2)) else 0.0
    heading = (middle + led * bend) / np.linalg.norm(middle + led * bend)
    section = sections_of(coarse, plane[None], plane_frame(heading)[None])[0]
    middle = plane if section is None else section.in_space(centroid_of(section)[None])[0]
    back = min(BACK * radius, 0.5 * station)
    return Approach(middle - back * heading, heading, radius, station - back)


def before_plane(line: FloatArray, plane: Opening) -> FloatArray:
    """Return the points of a line (n, 3) before the plane at the junction."""
    before = (line - plane.origin) @ plane.normal < 0.0
    before[:2] = True
    before[int(np.argmin(np.linalg.norm(line - plane.origin, axis=1))) + 1 :] = False
    return line[before]
