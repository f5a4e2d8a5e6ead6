"""Pose: which end of a scan is the entry, where its roof is, and the port frame.

The course of the tube and its two end sections come in; the order of the ends, a roof direction and
the notices that give the reasons go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, moments, resample
from portgeo.core.section import Section

ROUNDER = 0.02  # difference in departure from a circle (share of the radius) that tells two ends apart
LARGER = 0.03  # difference in area that does
STRAIGHT_LEG = np.radians(4.0)  # a leg is straight until its heading has turned by this
LONGER = 0.1  # difference in straight legs, of the length, that tells two ends apart
ALONG_HEADING = 0.05  # of a direction that is square to the heading: with less it tells no roof
LEAST_TURN = np.radians(5.0)  # a tube that turns less is straight: it has no roof of its own


def out_of_round(section: Section) -> float:
    """Return how far an outline departs from a circle: rms of its radii about their mean, of the mean.

    0 for a circle, 0.06 for an ellipse of 1 : 1.2, about 0.1 and more for a rounded rectangle.
    """
    points = resample(section.outline, 360)
    radii = np.linalg.norm(points - moments(section.outline).centroid, axis=1)
    return float(radii.std() / radii.mean())


def entry_first(sections: tuple[Section, Section], headings: FloatArray, along: FloatArray) -> tuple[bool, Notice]:
    """Return whether the first end is the entry, and the reason.

    sections : of the two ends. headings (n, 3) at distances along (n,) from the first end. The rule,
    in order: the exit is the rounder end (a valve throat is bored or cut round, a flange face is cast
    to its gasket); else the entry is the larger (a runner tapers towards the head); else the entry
    has the longer straight leg (a port turns close to its valve). Where none tells, the first end is
    taken and the notice asks. *Common practice, no source.*
    """
    round_by = [out_of_round(s) for s in sections]
    if abs(round_by[0] - round_by[1]) > ROUNDER:
        return round_by[0] > round_by[1], Notice("entry_rule", case="rounder")
    area = [moments(s.outline).area for s in sections]
    if abs(area[0] - area[1]) > LARGER * max(area):
        return area[0] > area[1], Notice("entry_rule", case="larger")
    legs = []
    for order in (slice(None), slice(None, None, -1)):
        h, s = headings[order], np.abs(along[order] - along[order][0])
        turned = np.arccos(np.clip(h @ h[0], -1.0, 1.0)) > STRAIGHT_LEG
        legs.append(float(s[np.argmax(turned)]) if turned.any() else float(s[-1]))
    if abs(legs[0] - legs[1]) > LONGER * abs(along[-1] - along[0]):
        return legs[0] > legs[1], Notice("entry_rule", case="straighter")
    return True, Notice("entry_unsure")


def roof_direction(tangents: FloatArray, entry: Section, up: FloatArray | None) -> tuple[FloatArray, Notice]:
    """Return the direction (3,) of the roof at the entry, square to its heading, and the reason.

    tangents (n, 3) : headings from the entry on. up : (3,) the user's, in the scan's coordinates. The
    roof is the outside of the turn; on a straight tube without `up` it is an end of the entry's
    longer axis, the one to which the section's bulk leans less.
    """
    first = tangents[0]
    given = None if up is None else square_to(np.asarray(up, dtype=float), first)
    if given is not None:
        return given, Notice("roof_rule", case="given")
    swept = swept_by(tangents)
    if np.linalg.norm(swept) >= LEAST_TURN:
        return outside_of(swept, first), Notice("roof_rule", case="turn")
    m = moments(entry.outline)
    axis = np.linalg.eigh(m.second)[1][:, 1]
    along = (resample(entry.outline, 720) - m.centroid) @ axis
    if (along**3).sum() < 0:
        axis = -axis
    roof = axis @ entry.frame[1:]
    roof -= (roof @ first) * first
    return roof / np.linalg.norm(roof), Notice("roof_unsure")


def swept_by(tangents: FloatArray) -> FloatArray:
    """Return the axis (3,) that headings (n, 3) turn about, as long as they turn, radians."""
    return np.cross(tangents[:-1], tangents[1:]).sum(axis=0)


def outside_of(swept: FloatArray, heading: FloatArray) -> FloatArray:
    """Return the direction (3,), square to a heading, of the outside of a turn about an axis (3,)."""
    inward = np.cross(swept, heading)
    roof = -(inward - (inward @ heading) * heading)
    return np.asarray(roof / np.linalg.norm(roof))


def square_to(up: FloatArray, heading: FloatArray) -> FloatArray | None:
    """Return a direction (3,) made square to a heading; None where it hardly differs from it."""
    roof = up - (up @ heading) * heading
    size = float(np.linalg.norm(roof))
    return roof / size if size > ALONG_HEADING * float(np.linalg.norm(up)) else None


def port_frame(origin: FloatArray, heading: FloatArray, roof: FloatArray) -> FloatArray:
    """Return the (4, 4) that takes the scan's coordinates into the port frame."""
    left = np.cross(roof, heading)
    left /= np.linalg.norm(left)
    frame = np.eye(4)
    frame[:3, :3] = np.stack([heading, left, np.cross(heading, left)])
    frame[:3, 3] = -frame[:3, :3] @ origin
    return frame
