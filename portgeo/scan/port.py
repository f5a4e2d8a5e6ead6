"""Scan to Port: the whole way from a scanner's triangles to a tube between two openings.

Vertices and faces in millimetres come in; a Port in the port frame goes out, with notices of every
choice that was made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.centreline import Centreline
from portgeo.core.errors import GeometryError
from portgeo.core.grain import Grain
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray, moments
from portgeo.core.port import Patch, Port
from portgeo.core.section import Section
from portgeo.core.triangles import Triangles, mesh_edge
from portgeo.scan.branches import Branch, branch_tip
from portgeo.scan.course import Course, plane_frame
from portgeo.scan.cut import cut_end
from portgeo.scan.end_notices import opening_notices
from portgeo.scan.holes import holes_beside, holes_told, patched, rim_area, small_holes
from portgeo.scan.noise import scan_grain, scan_noise
from portgeo.scan.openings import Opening, find_opening
from portgeo.scan.passage import branches_told, cut_branch, passage_of, place_of
from portgeo.scan.pose import entry_first, port_frame, roof_direction
from portgeo.scan.repair import (
    Body,
    bodies,
    coarse_copy,
    compact,
    is_balanced,
    is_closed,
    open_rims,
    surface_area,
    tube_body,
    unbalanced_edges,
)
from portgeo.scan.spine import Settled, centreline_of, sections_of, settle
from portgeo.scan.stem import without_stem

ASKED_ELSEWHERE = 0.75  # radii: a named point farther inside than this is cut at, not the end found
TURNED = np.radians(0.2)  # a plane square to the tube is cut again where the centreline says so
AT_PLANE = 0.01  # of the inset: so near to an opening its section is read
MOST_LOST = 0.6  # radii that a ragged cut takes off an end: what loses more was never cut there

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class ScanOptions:
    """What a user may say of a scan: points (3,) on the openings, where up is, a stem to take off.

    All in the file's own coordinates, times unit and scale (millimetres).
    """

    entry: FloatArray | None = None
    exit: FloatArray | None = None
    up: FloatArray | None = None
    with_stem_mm: float | None = None


def port_from_scan(
    vertices: FloatArray,
    faces: IntArray,
    options: ScanOptions | None = None,
    progress: Progress | None = None,
) -> Port:
    """Return the port that a mold scan shows.

    vertices (n, 3) mm, faces (m, 3). The mesh of the Port is the tube between its entry and its exit
    plane, closed flat; `frame` takes the scan's coordinates into the port frame; `noise` is estimated
    from the mesh; `warnings` tell what was repaired, cut, chosen and why (codes entry_rule,
    roof_rule). The entry is the less round opening, else the larger, else the one with the longer
    straight leg. progress : called with what is being done and the share done.

    Raises GeometryError, saying what was found, where, and what to pass, where there is no one tube
    with two openings.
    """
    options = options or ScanOptions()
    tell = progress or (lambda _what, _share: None)
    tell("repairing the mesh", 0.0)
    ends = tuple(None if p is None else np.asarray(p, dtype=float) for p in (options.entry, options.exit))
    body, notices = tube_body(vertices, faces, ends[0] if ends[0] is not None else ends[1])
    noise = scan_noise(body.vertices, surface_area(body.vertices, body.faces))
    grain = scan_grain(body.vertices, noise, mesh_edge(body.vertices, body.faces))
    tell("finding the tube", 0.15)
    made: list[Patch] = []
    branches: list[Branch] = []
    body = patched(body, small_holes(body), made)  # two in one section would leave only a part of it
    while True:
        body, course, cut = passage_of(body, (ends[0], ends[1]))
        branches += cut
        body = patched(body, holes_beside(body, course), made)
        tell("finding the openings", 0.3)
        openings = _openings(body, course, noise, (ends[0], ends[1]))
        tell("finding the centreline", 0.5)
        tube, settled, openings = _tube_and_curve(body, course, openings)
        radius = float(np.sqrt(np.median(course.areas) / np.pi))
        tip = branch_tip(coarse_copy(*tube)[0], settled.curve, radius)
        if tip is None:
            break
        body, branch = cut_branch(body, tip, radius)
        if branch is None:
            break
        branches.append(branch)
    notices += [*branches_told(branches), *holes_told(body, made)]
    made += [patch for branch in branches for patch in branch.patches]
    return _posed(tube, settled, openings, (noise, grain), made, notices, options, tell)


def _openings(
    body: Body, course: Course, noise: float, ends: tuple[FloatArray | None, FloatArray | None]
) -> list[Opening]:
    """Return the openings at the course's first and last point."""
    rims = [body.vertices[loop] for loop in body.loops]
    found: list[Opening | None] = []
    for k, sign in ((0, -1.0), (-1, 1.0)):
        point, heading = course.points[k], sign * course.headings[k]
        opening = find_opening(body.vertices, body.faces, rims, point, heading, course.sections[k], noise)
        asked = _nearest_end(ends, k)
        radius = np.sqrt(course.areas[k] / np.pi)
        if asked is None and opening is not None and opening.how == "trimmed" and opening.lost > MOST_LOST * radius:
            opening = None  # nobody's cut: it is closed there, and no tube
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
            mend="Pass --entry X,Y,Z and --exit X,Y,Z with points where the port ends",
        )
    return [o for o in found if o is not None]


def _nearest_end(ends: tuple[FloatArray | None, FloatArray | None], k: int) -> FloatArray | None:
    """Return the user's point for the first (0) or last (-1) end: the way begins at the entry named."""
    entry, exit = ends
    if k == 0:
        return entry
    return exit


Mesh = tuple[FloatArray, IntArray]


def _tube_and_curve(body: Body, course: Course, openings: list[Opening]) -> tuple[Mesh, Settled, list[Opening]]:
    """Return the tube cut at both openings and its centre curve, in the order of the course.

    A plane that is only square to the tube (at a seat, a ragged end) is turned square to the curve
    once that is known.
    """
    radius = float(np.sqrt(np.median(course.areas) / np.pi))
    tube = _between(body, openings)
    free = [not o.square for o in openings]
    for turn in range(3):
        coarse = coarse_copy(*tube)
        sections = [_end_section(tube, o) for o in openings]
        centroids = tuple(s.in_space(moments(s.outline).centroid[None])[0] for s in sections)
        inner = _inner_points(course, openings, radius)
        headings = tuple(None if free[k] else o.normal for k, o in enumerate(openings))
        ends = ((centroids[0], headings[0]), (centroids[1], headings[1]))
        settled = settle(coarse, tube, ends, inner, radius)
        if not any(free):
            break
        for k, o in enumerate(openings):
            if not free[k]:
                continue
            curve = settled.curve
            tangent = curve.at(np.array([0.0 if k == 0 else curve.length]), 1)[0] * (-1.0 if k == 0 else 1.0)
            tangent /= np.linalg.norm(tangent)
            # Near enough, or tried twice: from now on the curve keeps to the plane.
            free[k] = bool(np.linalg.norm(np.cross(tangent, o.normal)) > TURNED) and turn == 0
            openings[k] = replace(o, origin=centroids[k], normal=tangent)
        tube = _between(body, openings)
    return tube, settled, openings


def _inner_points(course: Course, openings: list[Opening], radius: float) -> FloatArray:
    """Return the course's points between the openings, clear of them."""
    clear = 0.15 * radius
    keep = np.ones(len(course.points), dtype=bool)
    for o in openings:
        arm = course.points - o.origin
        near = np.linalg.norm(arm, axis=1) < 2.0 * radius
        keep &= ~(near & (arm @ o.normal > -clear))
    at = np.flatnonzero(keep)
    first = int(np.argmin(np.linalg.norm(course.points - openings[0].origin, axis=1)))
    last = int(np.argmin(np.linalg.norm(course.points - openings[1].origin, axis=1)))
    return course.points[at[(at >= first) & (at <= last)]]


def _between(body: Body, openings: list[Opening]) -> Mesh:
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
            mend="Pass --entry X,Y,Z and --exit X,Y,Z with points at the two ends of the port",
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
            mend="Repair the mesh there in the scanner's own software and export it again",
        )
    widest = max(rims, key=rim_area)
    return GeometryError(
        f"the wall of the tube is open between its openings, {rim_area(widest):.0f} mm2 wide",
        where=f"about {place_of(widest.mean(axis=0))} mm",
        mend="Where that is a hole, scan the mold there and join it to the mesh; where a branch of the mold ends "
        "there, cut it off where it leaves the port",
    )


def _end_section(tube: Mesh, opening: Opening) -> Section:
    """Return the section of the closed tube at an opening."""
    step = AT_PLANE * opening.run.inset if opening.run.inset > 0 else 1e-6 * float(np.ptp(tube[0], axis=0).max())
    origin = opening.origin - step * opening.normal
    section = sections_of(tube, origin[None], plane_frame(opening.normal)[None])[0]
    if section is None:
        raise GeometryError(
            f"the plane of the opening about {place_of(opening.origin)} mm cuts no closed section",
            mend="Pass --entry X,Y,Z or --exit X,Y,Z with a point where the tube is whole",
        )
    return replace(section, origin=section.origin + step * opening.normal)


def _posed(
    tube: Mesh,
    settled: Settled,
    openings: list[Opening],
    roughness: tuple[float, Grain],
    made: list[Patch],
    notices: list[Notice],
    options: ScanOptions,
    tell: Progress,
) -> Port:
    """Return the Port, entry first, in the port frame."""
    tell("setting the port upright", 0.9)
    curve = settled.curve
    along = np.linspace(0.0, curve.length, 400)
    tangents = curve.at(along, 1)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    sections = tuple(_end_section(tube, o) for o in openings)
    if options.entry is not None or options.exit is not None:
        first, rule = True, Notice("entry_rule", case="given")
    else:
        first, rule = entry_first((sections[0], sections[1]), tangents, along)
    if not first:
        settled = settled.reversed()
        curve = settled.curve
        tangents = -tangents[::-1]
        sections = sections[::-1]
        openings = openings[::-1]
    noise, grain = roughness
    told = [*opening_notices(openings[0], "entry", noise), *opening_notices(openings[1], "exit", noise)]
    start = curve.at(np.array([0.0]))[0]
    roof, roof_rule = roof_direction(tangents, sections[0], options.up)
    frame = port_frame(start, tangents[0], roof)
    spine = centreline_of(curve, roof)
    placed = Centreline(
        spine.stations,
        spine.points @ frame[:3, :3].T + frame[:3, 3],
        np.einsum("nij,kj->nik", spine.frames, frame[:3, :3]),
    )
    port = Port(
        centreline=placed,
        mesh=Triangles(tube[0] @ frame[:3, :3].T + frame[:3, 3], tube[1]),
        frame=frame,
        noise=noise,
        grain=grain,
        ends_u=(openings[0].place_u, openings[1].place_u),
        ends_area_u=(openings[0].run.area_u, openings[1].run.area_u),
        patches=tuple(replace(p, place=frame[:3, :3] @ p.place + frame[:3, 3]) for p in made),
        warnings=(*notices, *told, *settled.told(), rule, roof_rule),
    )
    if options.with_stem_mm is not None:
        port = without_stem(port, options.with_stem_mm)
    tell("done", 1.0)
    return port
