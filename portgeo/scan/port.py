"""Scan to Port: the whole way from a scanner's triangles to a tube between two openings.

Vertices and faces in millimetres come in; a Port in the port frame goes out, with notices of every
choice that was made.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.grain import Grain
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Patch, Port
from portgeo.core.split import SplitPort
from portgeo.core.triangles import mesh_edge
from portgeo.scan.branches import Branch, branch_tip
from portgeo.scan.holes import holes_beside, holes_told, patched, small_holes
from portgeo.scan.noise import scan_grain, scan_noise
from portgeo.scan.options import Progress, ScanOptions
from portgeo.scan.passage import branches_told, cut_branch, passage_of, rough_of
from portgeo.scan.pose import entry_first, roof_direction
from portgeo.scan.repair import coarse_copy, surface_area, tube_body
from portgeo.scan.split import ends_of, split_of
from portgeo.scan.stem import without_stem
from portgeo.scan.tube import Tube, ends_told, laid_out, openings_of, tube_and_curve


def port_from_scan(
    vertices: FloatArray,
    faces: IntArray,
    options: ScanOptions | None = None,
    progress: Progress | None = None,
) -> Port:
    """Return the port that a mold scan shows, which is one passage. Raises GeometryError as read_scan, and of more."""
    port = read_scan(vertices, faces, options, progress)
    if isinstance(port, SplitPort):
        raise GeometryError(
            f"the mold splits into {len(port.legs)} legs",
            hint="Name the passage that is meant with --leg, or measure the whole",
        )
    return port


def read_scan(
    vertices: FloatArray,
    faces: IntArray,
    options: ScanOptions | None = None,
    progress: Progress | None = None,
) -> Port | SplitPort:
    """Return the port that a mold scan shows: one passage, or a trunk and the legs that it splits into.

    vertices (n, 3) mm, faces (m, 3). The mesh of a Port is the tube between its entry and its exit
    plane, closed flat; `frame` takes the scan's coordinates into the port frame; `noise` is estimated
    from the mesh; `warnings` tell what was repaired, cut, chosen and why (codes entry_rule,
    roof_rule). The entry of a passage is the less round opening, else the larger, else the one with the longer
    straight leg; that of a port that splits is the one as large as all others. progress : called with what is
    being done and the share done.

    Raises GeometryError, saying what was found, where, and what to pass, where there is no one tube
    with two openings, nor a tube that splits once.
    """
    options = options or ScanOptions()
    tell = progress or (lambda _what, _share: None)
    tell("repairing the mesh", 0.0)
    ends = tuple(None if p is None else np.asarray(p, dtype=float) for p in (options.entry, options.exit))
    body, notices = tube_body(vertices, faces, ends[0] if ends[0] is not None else ends[1])
    noise = scan_noise(body.vertices, surface_area(body.vertices, body.faces))
    roughness = noise, scan_grain(body.vertices, noise, mesh_edge(body.vertices, body.faces))
    tell("finding the tube", 0.15)
    made: list[Patch] = []
    body = patched(body, small_holes(body), made)  # two in one section would leave only a part of it
    rough = rough_of(body)
    seen = ends_of(rough)
    if seen.split:
        return split_of(body, rough, seen, roughness, made, notices, options, tell)
    branches: list[Branch] = []
    while True:
        body, course, cut = passage_of(body, (ends[0], ends[1]), rough)
        branches += cut
        body = patched(body, holes_beside(body, [course.end(0), course.end(-1)]), made)
        tell("finding the openings", 0.3)
        openings = openings_of(body, course, noise, (ends[0], ends[1]))
        tell("finding the centerline", 0.5)
        radius = float(np.sqrt(np.median(course.areas) / np.pi))
        tube = tube_and_curve(body, course.points, radius, openings)
        tip = branch_tip(coarse_copy(*tube.mesh)[0], tube.settled.curve, radius)
        if tip is None:
            break
        body, branch = cut_branch(body, tip, radius)
        if branch is None:
            break
        branches.append(branch)
        rough = rough_of(body)
    notices += [*branches_told(branches), *holes_told(body, made)]
    made += [patch for branch in branches for patch in branch.patches]
    return _posed(tube, roughness, made, notices, options, tell)


def _posed(
    tube: Tube,
    roughness: tuple[float, Grain],
    made: list[Patch],
    notices: list[Notice],
    options: ScanOptions,
    tell: Progress,
) -> Port:
    """Return the Port, entry first, in the port frame."""
    tell("setting the port upright", 0.9)
    tangents = tube.tangents
    if options.entry is not None or options.exit is not None:
        first, rule = True, Notice("entry_rule", case="given")
    else:
        first, rule = entry_first(tube.sections, tangents, np.linspace(0.0, tube.settled.curve.length, len(tangents)))
    if not first:
        tube = tube.turned()
        tangents = tube.tangents
    roof, roof_rule = roof_direction(tangents, tube.sections[0], options.up)
    told = [*notices, *ends_told(tube, roughness[0]), rule, roof_rule]
    port = laid_out(tube, roof, roughness, made, told)
    if options.with_stem_mm is not None:
        port = without_stem(port, options.with_stem_mm)
    tell("done", 1.0)
    return port
