"""Tube: one passage of a mold between two openings: its openings, its closed mesh, its centre curve, and its Port.

A Body and the course of its tube come in; Openings, a mesh with a curve at rest, and a Port in the port frame go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.centreline import Centreline
from portgeo.core.errors import GeometryError
from portgeo.core.grain import Grain
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.core.port import Patch, Port
from portgeo.core.section import Section
from portgeo.core.triangles import Triangles
from portgeo.scan.course import Course, plane_frame
from portgeo.scan.cut import cut_end
from portgeo.scan.end_notices import opening_notices
from portgeo.scan.holes import rim_area
from portgeo.scan.openings import Opening, find_opening
from portgeo.scan.passage import place_of
from portgeo.scan.pose import port_frame
from portgeo.scan.repair import (
    Body,
    bodies,
    coarse_copy,
    compact,
    is_balanced,
    is_closed,
    open_rims,
    unbalanced_edges,
)
from portgeo.scan.spine import Settled, centreline_of, sections_of, settle

ASKED_ELSEWHERE = 0.75  # radii: a named point farther inside than this is cut at, not the end found
TURNED = np.radians(0.2)  # a plane square to the tube is cut again where the centreline says so
AT_PLANE = 0.01  # of the inset: so near to an opening its section is read
LINE = 100  # points of a curve that another is begun from
TANGENTS = 400  # headings that a turn is summed up from
MOST_LOST = 0.6  # radii that a ragged cut takes off an end: what loses more was never cut there

Mesh = tuple[FloatArray, IntArray]


@dataclass(frozen=True)
class Tube:
    """One passage at rest: its closed mesh, its centre curve, its openings and the sections there, in one order."""

    mesh: Mesh
    settled: Settled
    openings: tuple[Opening, Opening]
    sections: tuple[Section, Section]

    @property
    def tangents(self) -> FloatArray:
        """Headings (n, 3) at even steps along the curve."""
        curve = self.settled.curve
        tangents = curve.at(np.linspace(0.0, curve.length, TANGENTS), 1)
        return tangents / np.linalg.norm(tangents, axis=1, keepdims=True)

    def turned(self) -> Tube:
        """Return the tube run the other way."""
        return Tube(self.mesh, self.settled.reversed(), self.openings[::-1], self.sections[::-1])


def opening_at(
    body: Body,
    rims: list[FloatArray],
    point: FloatArray,
    heading: FloatArray,
    section: Section,
    noise: float,
    *,
    named: bool = False,
) -> Opening | None:
    """Return the opening beyond the last whole section of a tube, None where it is closed there.

    rims : points of each open edge of the body. named : the user says that there is one.
    """
    opening = find_opening(body.vertices, body.faces, rims, point, heading, section, noise)
    radius = np.sqrt(moments(section.outline).area / np.pi)
    if not named and opening is not None and opening.how == "trimmed" and opening.lost > MOST_LOST * radius:
        return None  # nobody's cut: it is closed there, and no tube
    return opening


def openings_of(
    body: Body, course: Course, noise: float, ends: tuple[FloatArray | None, FloatArray | None]
) -> tuple[Opening, Opening]:
    """Return the openings at the course's first and last point."""
    rims = [body.vertices[loop] for loop in body.loops]
    found: list[Opening | None] = []
    for k, sign in ((0, -1.0), (-1, 1.0)):
        point, heading, asked = course.points[k], sign * course.headings[k], ends[k]
        opening = opening_at(body, rims, point, heading, course.sections[k], noise, named=asked is not None)
        radius = np.sqrt(course.areas[k] / np.pi)
        if asked is not None:
            far = opening is None or abs((asked - opening.origin) @ heading) > ASKED_ELSEWHERE * radius
            if far:
                at = int(np.argmin(np.linalg.norm(course.points - asked, axis=1)))
                along = course.headings[at]
                there = course.points[at] + ((asked - course.points[at]) @ along) * along
                opening = Opening(there, sign * along, "trimmed")
        found.append(opening)
    closed = [o is None for o in found]
    if any(closed):
        tips = [course.points[0], course.points[-1]]
        seen = [f"{'closed' if c else 'open'} about {place_of(p)}" for c, p in zip(closed, tips, strict=True)]
        count = "no opening" if all(closed) else "only one opening"
        raise GeometryError(
            f"the mold has {count}: its ends are {' and '.join(seen)} mm",
            hint="Pass --entry X,Y,Z and --exit X,Y,Z with points where the port ends",
        )
    first, last = (o for o in found if o is not None)
    return first, last


def tube_and_curve(body: Body, line: FloatArray, radius: float, openings: tuple[Opening, Opening]) -> Tube:
    """Return the tube cut at both openings and its centre curve, in the order of the line.

    line (n, 3), radius : about where its middle runs, and of its usual section. A plane that is only square to the
    tube (at a seat, a ragged end) is turned square to the curve once that is known.
    """
    ends_at = list(openings)
    tube = between(body, ends_at)
    free = [not o.square for o in ends_at]
    for turn in range(3):
        coarse = coarse_copy(*tube)
        sections = [end_section(tube, o) for o in ends_at]
        centroids = tuple(s.in_space(moments(s.outline).centroid[None])[0] for s in sections)
        inner = _inner_points(line, ends_at, radius)
        headings = tuple(None if free[k] else o.normal for k, o in enumerate(ends_at))
        ends = ((centroids[0], headings[0]), (centroids[1], headings[1]))
        settled = settle(coarse, tube, ends, inner, radius)
        if not any(free):
            break
        for k, o in enumerate(ends_at):
            if not free[k]:
                continue
            curve = settled.curve
            tangent = curve.at(np.array([0.0 if k == 0 else curve.length]), 1)[0] * (-1.0 if k == 0 else 1.0)
            tangent /= np.linalg.norm(tangent)
            # Near enough, or tried twice: from now on the curve keeps to the plane.
            free[k] = bool(np.linalg.norm(np.cross(tangent, o.normal)) > TURNED) and turn == 0
            ends_at[k] = replace(o, origin=centroids[k], normal=tangent)
        tube = between(body, ends_at)
        line = settled.curve.at(np.linspace(0.0, settled.curve.length, LINE))
    first, last = ends_at
    return Tube(tube, settled, (first, last), (end_section(tube, first), end_section(tube, last)))


def _inner_points(line: FloatArray, openings: Sequence[Opening], radius: float) -> FloatArray:
    """Return the points of a line (n, 3) between the openings, clear of them."""
    clear = 0.15 * radius
    keep = np.ones(len(line), dtype=bool)
    for o in openings:
        arm = line - o.origin
        near = np.linalg.norm(arm, axis=1) < 2.0 * radius
        keep &= ~(near & (arm @ o.normal > -clear))
    at = np.flatnonzero(keep)
    first, last = (int(np.argmin(np.linalg.norm(line - o.origin, axis=1))) for o in openings)
    return line[at[(at >= first) & (at <= last)]]


def between(body: Body, openings: Sequence[Opening]) -> Mesh:
    """Return the closed mesh between two openings."""
    vertices, faces = body.vertices, body.faces
    seeds = []
    for o in openings:
        vertices, faces, seed = cut_end(vertices, faces, o.origin, o.normal, o.run.inset, o.run.growth, o.run.drift)
        seeds.append(seed)
    label = bodies(faces, len(vertices))
    if label[seeds[0]] != label[seeds[1]]:
        raise GeometryError(
            f"the openings about {place_of(openings[0].origin)} and {place_of(openings[1].origin)} mm are not the two "
            "ends of one tube",
            hint="Pass --entry X,Y,Z and --exit X,Y,Z with points at the two ends of the port",
        )
    vertices, faces = compact(vertices, faces[label[faces[:, 0]] == label[seeds[0]]])
    if not is_closed(faces, len(vertices)) and not is_balanced(faces, len(vertices)):
        raise _not_closed(vertices, faces)
    return vertices, faces


def _not_closed(vertices: FloatArray, faces: IntArray) -> GeometryError:
    """Return the refusal of a tube that is open between its openings, or on which sheets hang."""
    rims = [vertices[loop] for loop in open_rims(faces, len(vertices))]
    if not rims:
        sheets = vertices[unbalanced_edges(faces, len(vertices))]
        return GeometryError(
            f"more than two faces meet at {len(sheets)} edges of the wall (fins, doubled sheets)",
            where=f"about {place_of(sheets[0].mean(axis=0))} mm",
            hint="Repair the mesh there in the scanner's own software and export it again",
        )
    widest = max(rims, key=rim_area)
    return GeometryError(
        f"the wall of the tube is open between its openings, {rim_area(widest):.0f} mm2 wide",
        where=f"about {place_of(widest.mean(axis=0))} mm",
        hint="Where that is a hole, scan the mold there and join it to the mesh; where a branch of the mold ends "
        "there, cut it off where it leaves the port",
    )


def end_section(tube: Mesh, opening: Opening) -> Section:
    """Return the section of the closed tube at an opening."""
    step = AT_PLANE * opening.run.inset if opening.run.inset > 0 else 1e-6 * float(np.ptp(tube[0], axis=0).max())
    origin = opening.origin - step * opening.normal
    section = sections_of(tube, origin[None], plane_frame(opening.normal)[None])[0]
    if section is None:
        raise GeometryError(
            f"the plane of the opening about {place_of(opening.origin)} mm cuts no closed section",
            hint="Pass --entry X,Y,Z or --exit X,Y,Z with a point where the tube is whole",
        )
    return replace(section, origin=section.origin + step * opening.normal)


def laid_out(
    tube: Tube, roof: FloatArray, roughness: tuple[float, Grain], made: Sequence[Patch], told: Sequence[Notice]
) -> Port:
    """Return a tube, entry first, as a Port in the port frame. roof (3,) at the entry, in the scan's coordinates.

    roughness : the mesh's noise and its grain. made : wall that was made up. told : what else is to be told of it.
    """
    curve = tube.settled.curve
    frame = port_frame(curve.at(np.array([0.0]))[0], tube.tangents[0], roof)
    spine = centreline_of(curve, roof)
    placed = Centreline(
        spine.stations,
        spine.points @ frame[:3, :3].T + frame[:3, 3],
        np.einsum("nij,kj->nik", spine.frames, frame[:3, :3]),
    )
    noise, grain = roughness
    entry, exit = tube.openings
    return Port(
        centreline=placed,
        mesh=Triangles(tube.mesh[0] @ frame[:3, :3].T + frame[:3, 3], tube.mesh[1]),
        frame=frame,
        noise=noise,
        grain=grain,
        ends_u=(entry.place_u, exit.place_u),
        ends_area_u=(entry.run.area_u, exit.run.area_u),
        patches=tuple(replace(p, place=frame[:3, :3] @ p.place + frame[:3, 3]) for p in made),
        warnings=tuple(told),
    )


def ends_told(tube: Tube, noise: float) -> list[Notice]:
    """Return what is told of how a tube's openings were found, and of its curve."""
    entry, exit = tube.openings
    return [*opening_notices(entry, "entry", noise), *opening_notices(exit, "exit", noise), *tube.settled.told()]
