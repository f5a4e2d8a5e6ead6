"""Passage: the one tube that a mold is measured as, between two ends, without its branches.

A Body and what the user says of its ends come in; the Body with its branches off and the course of its
tube go out, or a refusal of what is no one tube.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.scan.branches import LARGE, LONG, Branch, branch_at, splits, without_branch
from portgeo.scan.caps import Cap, caps_of
from portgeo.scan.course import ENDS_LEFT, Course, follow
from portgeo.scan.repair import Body, coarse_copy
from portgeo.scan.way import Voxels, Way, find_way, inside_of, voxels_of

MOST_BRANCHES = 6  # that are cut off a mold: with more it is no port
ON_CAP = 0.15  # radii: a point that is given nearer to a flat end lies on it
SURE_ENDS_LEFT = 0.3  # radii at each end of a rough line that begins all over a flat end
NO_LENGTH = 2.2  # diameters: a longer tube shows by itself which way it runs
LIKE_OTHER = 0.3  # of the other end's area: less is no other end of one port
LIKE_TUBE = (0.4, 2.0)  # of the tube's section: a cap that is larger is a slab's face, a smaller one a stem's


@dataclass(frozen=True)
class Rough:
    """A first look at a body: its coarse copy, what can be its ends, and which places of a grid are inside."""

    coarse: tuple[FloatArray, IntArray]
    caps: list[Cap]
    voxels: Voxels


def rough_of(body: Body) -> Rough:
    """Return a first look at a body."""
    coarse = coarse_copy(body.vertices, body.faces)
    return Rough(coarse, caps_of(*coarse, [body.vertices[loop] for loop in body.loops]), voxels_of(*coarse))


def passage_of(
    body: Body, ends: tuple[FloatArray | None, FloatArray | None], rough: Rough
) -> tuple[Body, Course, list[Branch]]:
    """Return the body with its branches taken off, the course of its tube, and the branches. rough : of the body."""
    cut: list[Branch] = []
    while True:
        coarse, caps = rough.coarse, rough.caps
        inside = inside_of(rough.voxels)
        if ends[0] is None and ends[1] is None:
            known = _two_ends(caps)
            way = find_way(inside, known)
            if len(caps) > 2 and len(way.tips) == 0 and way.length < NO_LENGTH * 2.0 * way.radius:
                raise _which_ends(caps)
        else:
            known = _given_ends(find_way(inside, ends), caps, ends)
            way = find_way(inside, known)
        if len(way.tips) == 0:
            break
        branch = None
        if len(cut) < MOST_BRANCHES:
            heading = way.tips[0] - way.roots[0]
            near = body.vertices[np.linalg.norm(body.vertices - way.tips[0], axis=1) < 2.0 * way.radius]
            body, branch = cut_branch(body, near[np.argmax(near @ heading)], way.radius)
        if branch is None:
            raise _too_many(way)
        cut.append(branch)
        rough = rough_of(body)
    sure = all(e is not None and e.ndim == 2 for e in known)
    course = follow(*coarse, way.line, way.radius, SURE_ENDS_LEFT if sure else ENDS_LEFT)
    return body, course, cut


Ends = tuple[FloatArray | None, FloatArray | None]


def _two_ends(caps: list[Cap]) -> Ends:
    """Return points all over the two ends that a mold shows, None where it does not show just two."""
    if len(caps) != 2 or caps[1].area < LIKE_OTHER * caps[0].area:
        return None, None
    return caps[0].points, caps[1].points


def _which_ends(caps: list[Cap]) -> GeometryError:
    places = ", ".join(place_of(cap.points.mean(axis=0)) for cap in caps[:6])
    return GeometryError(
        f"the mesh is no longer than it is wide and has {len(caps)} faces that can be its ends, about {places} mm",
        hint="Pass --entry X,Y,Z and --exit X,Y,Z with the two that are the port's openings",
    )


def _given_ends(way: Way, caps: list[Cap], ends: Ends) -> Ends:
    """Return the ends that the user names, each with points all over it where it is a cap of the tube's size."""
    section = np.pi * way.radius**2
    like = [cap for cap in caps if LIKE_TUBE[0] < cap.area / section < LIKE_TUBE[1]]
    shown: list[FloatArray | None] = []
    for point in ends:
        at = None
        if point is not None:
            off = [float(np.linalg.norm(cap.points - point, axis=1).min()) for cap in like]
            if off and min(off) < ON_CAP * way.radius:
                at = like[int(np.argmin(off))].points
        shown.append(point if at is None else at)
    return shown[0], shown[1]


def cut_branch(body: Body, tip: FloatArray, radius: float) -> tuple[Body, Branch | None]:
    """Return the body without the branch that ends at a tip; None with it where it is no branch."""
    branch = branch_at(body, tip, radius)
    if branch is None or branch.length < LONG * branch.radius:
        return body, None
    share = (branch.radius / radius) ** 2
    if share > 1.0:
        return body, None  # the walk went round the tube itself
    if share > LARGE:
        raise splits(tip, branch.root, share)
    without = without_branch(body, branch)
    if without is None:
        raise GeometryError(
            "a branch of the mold has so uneven a root that the wall cannot be closed over it",
            where=f"about {place_of(branch.root)} mm",
            hint="Cut the branch off flush with the wall in the scanner's software, and measure again",
        )
    return without


def branches_told(cut: list[Branch]) -> list[Notice]:
    """Return a notice of each branch that was cut off."""
    return [Notice("legs_cut", thick=2.0 * branch.radius, length=branch.length, place=branch.root) for branch in cut]


def place_of(point: FloatArray) -> str:
    """Return a point (3,) as it is told."""
    return "({:.1f}, {:.1f}, {:.1f})".format(*point)


def _too_many(way: Way) -> GeometryError:
    places = [way.line[0], way.line[-1], *way.tips]
    return GeometryError(
        f"the mesh has {len(places)} ends, about {', '.join(place_of(p) for p in places)} mm: "
        "it splits, or it is no tube",
        hint="A port is measured as one passage: where this is one that splits, or that has more on it, cut off flush "
        "with the wall what does not belong to the passage that you want, close the hole, and measure again",
    )
