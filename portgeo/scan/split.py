"""Split: a mold whose port parts into legs, to a trunk, legs and the junction between, each measured as one tube.

A Body comes in; a SplitPort goes out, or a refusal that says why it is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.centreline import Centreline
from portgeo.core.errors import GeometryError
from portgeo.core.grain import Grain
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Patch
from portgeo.core.split import Junction, Leg, SplitPort
from portgeo.core.triangles import Triangles, mesh_edge, volume
from portgeo.scan.approach import Approach, approach_to, before_plane, curve_to, rough_approach
from portgeo.scan.branches import Branch, branch_tip
from portgeo.scan.caps import Cap
from portgeo.scan.cut import cut_end
from portgeo.scan.face import angle_between
from portgeo.scan.fork import Arm, Leaves, arms_at, entry_of, leaves_of, not_followed
from portgeo.scan.holes import holes_beside, holes_told, patched
from portgeo.scan.junction import EDGES, NOISES, Planes, has_handle, planes_at
from portgeo.scan.openings import Opening
from portgeo.scan.options import Progress, ScanOptions
from portgeo.scan.passage import Rough, branches_told, cut_branch, place_of, rough_of
from portgeo.scan.pose import LEAST_TURN, outside_of, square_to, swept_by
from portgeo.scan.repair import Body, bodies, coarse_copy, compact
from portgeo.scan.stem import without_stem
from portgeo.scan.tube import LINE, Mesh, Tube, ends_told, laid_out, opening_at, tube_and_curve
from portgeo.scan.way import Inside, inside_of

MOST_LEAVES_OFF = 6  # branches that are cut off a mold before its legs are looked at
AGREED = np.radians(0.5)  # of an approach's heading with the one before, at which the planes stay
MOST_ROUNDS = 4
ROUND_ABOUT = 5.0  # radii about the approaches that planes at the junction can reach
STAND_OFF = (1.0, 3.0, 9.0)  # times the noise and edges of the mesh: how far planes stand off the nose, tried in turn
SAME_VOLUME = 1e-4  # that trunk, legs and junction come to the whole by: their cuts lie in the same planes
SIDE_BY_SIDE = 1.0  # of how far one leg is above the other, that it must be beside it, to be left or right


@dataclass(frozen=True)
class Ends:
    """What is inside a mold, a divider however thin left out, the faces that can be its ends, and the ends it has."""

    inside: Inside
    caps: list[Cap]
    leaves: Leaves

    @property
    def split(self) -> bool:
        """Whether they are a trunk's and legs': more than two are a port's own."""
        return int(self.leaves.is_tube.sum()) > 2


def ends_of(rough: Rough) -> Ends:
    """Return the ends that a mold has."""
    inside = inside_of(rough.voxels, filled=False)
    # A flat floor meets its walls at an edge all round as an end does, but a mold is longer than its ends are wide.
    held = float(rough.voxels.solid.sum()) * rough.voxels.step**3
    caps = [cap for cap in rough.caps if cap.area**1.5 < held]
    return Ends(inside, caps, leaves_of(inside, caps))


def split_of(
    body: Body,
    rough: Rough,
    ends: Ends,
    roughness: tuple[float, Grain],
    made: list[Patch],
    notices: list[Notice],
    options: ScanOptions,
    tell: Progress,
) -> SplitPort:
    """Return the port that splits of a mold that does.

    roughness : the mesh's noise and its grain. made, notices : wall made up and what is to be told so far. Raises
    GeometryError where its entry cannot be told, a passage is too short, or its legs join again.
    """
    if options.exit is not None:
        raise GeometryError(
            "the mold splits, and --exit names one opening of two or more",
            hint="Leave --exit out and name the entry only; say which passage you want with --leg",
        )
    branches: list[Branch] = []
    while True:
        body, rough, arms = _arms_of(body, rough, ends, branches)
        body = patched(body, holes_beside(body, [arm.course.end(0) for arm in arms]), made)
        tell("finding the openings", 0.3)
        openings = [_opening(body, arm, roughness[0]) for arm in arms]
        first = entry_of(arms, None if options.entry is None else np.asarray(options.entry, dtype=float))
        order = [first, *(k for k in range(len(arms)) if k != first)]
        tell("finding the junction", 0.5)
        parts = _passages(body, [arms[k] for k in order], [openings[k] for k in order], roughness[0])
        body, off = _without_branch(body, parts.tubes)
        if off is None:
            break
        branches.append(off)
        rough = rough_of(body)
        ends = ends_of(rough)
    notices += [*branches_told(branches), *holes_told(body, made)]
    made += [patch for branch in branches for patch in branch.patches]
    tell("setting the port upright", 0.9)
    rule = Notice("entry_rule", case="sum" if options.entry is None else "given")
    port = _posed(parts, roughness, made, [*notices, rule], options)
    tell("done", 1.0)
    return port


def _arms_of(body: Body, rough: Rough, ends: Ends, branches: list[Branch]) -> tuple[Body, Rough, tuple[Arm, ...]]:
    """Return the body with branches that show at once cut off, and its arms. What is cut is added to `branches`."""
    while True:
        inside, leaves = ends.inside, ends.leaves
        thin = np.flatnonzero(~leaves.is_tube)
        if len(thin) == 0:
            break
        tip = inside.points[leaves.places[thin[0]]]
        radius = float(np.median(leaves.thick[leaves.is_tube]))
        near = body.vertices[int(np.argmin(np.linalg.norm(body.vertices - tip, axis=1)))]
        body, branch = cut_branch(body, near, radius)
        if branch is None or len(branches) >= MOST_LEAVES_OFF:
            raise GeometryError(
                "the mold splits, and what else stands off it cannot be cut off by itself",
                where=f"about {place_of(tip)} mm",
                hint="Cut off there in the scanner's software what is no part of the port, and close the hole",
            )
        branches.append(branch)
        rough = rough_of(body)
        ends = ends_of(rough)
    return body, rough, arms_at(rough.coarse, ends.caps, inside, leaves)


def _opening(body: Body, arm: Arm, noise: float) -> Opening:
    rims = [body.vertices[loop] for loop in body.loops]
    point, heading, _ = arm.course.end(0)
    opening = opening_at(body, rims, point, heading, arm.course.sections[0], noise)
    if opening is None and not arm.reaches_tip:
        raise not_followed(arm.tip)
    if opening is None:
        raise GeometryError(
            f"the mold splits, and it is closed about {place_of(point)} mm, where one of its ends should be",
            hint="Trim every end of the mold flat in the scanner's software, at the flange and at each valve's seat",
        )
    return opening


@dataclass(frozen=True)
class _Parts:
    """Trunk and legs, each run with the flow, the mesh of all, that of the junction, and the nose's place."""

    tubes: tuple[Tube, ...]
    whole: Mesh
    junction: Mesh
    nose: FloatArray


def _passages(body: Body, arms: Sequence[Arm], openings: Sequence[Opening], noise: float) -> _Parts:
    """Return the passages of a body, the trunk's arm first.

    Planes and centrelines are found in turn, on a coarse copy, until they agree.
    """
    mesh = (body.vertices, body.faces)
    coarse = coarse_copy(*mesh)
    approaches = [rough_approach(arm) for arm in arms]
    lines = [arm.course.points for arm in arms]
    trunk = curve_to(coarse, lines[0], arms[0].radius, openings[0], approaches[0].heading, approaches[0].point)
    lines[0] = trunk.at(np.linspace(0.0, trunk.length, LINE))
    for _ in range(MOST_ROUNDS):
        planes = planes_at(coarse, approaches[0], approaches[1:], mesh_edge(*coarse))
        before, approaches = approaches, [approach_to(coarse, trunk, approaches[0], planes.trunk)]
        for k, plane in enumerate(planes.legs, start=1):
            curve = curve_to(coarse, lines[k], arms[k].radius, openings[k], before[k].heading, plane)
            lines[k] = curve.at(np.linspace(0.0, curve.length, LINE))
            approaches.append(approach_to(coarse, curve, before[k], plane))
        if max(angle_between(a.heading, b.heading) for a, b in zip(approaches, before, strict=True)) < AGREED:
            break
    rough = max(NOISES * noise, EDGES * mesh_edge(*mesh))
    for further in STAND_OFF[:-1]:
        try:
            return _parted(body, lines, openings, approaches, further * rough)
        except GeometryError:
            continue  # a plane has touched the nose all the same: it has to stand off by more
    return _parted(body, lines, openings, approaches, STAND_OFF[-1] * rough)


def _parted(
    body: Body, lines: Sequence[FloatArray], openings: Sequence[Opening], approaches: Sequence[Approach], rough: float
) -> _Parts:
    """Return the passages of a body cut at planes that stand at least `rough` off its divider's nose.

    lines : points (n, 3) along each one's middle, from its opening on. Raises
    GeometryError where trunk, legs and junction are not the whole.
    """
    mesh = (body.vertices, body.faces)
    planes = planes_at(_about(mesh, approaches), approaches[0], approaches[1:], rough)
    tubes = _tubes(body, lines, openings, approaches, planes)
    inner = [tube.openings[-1 if k == 0 else 0] for k, tube in enumerate(tubes)]
    outer = [tube.openings[0 if k == 0 else -1] for k, tube in enumerate(tubes)]
    whole = _cut_off(mesh, outer)
    facing = [replace(opening, normal=-opening.normal) for opening in inner]
    junction = _cut_off(mesh, facing)
    parts = volume(*junction) + sum(volume(*tube.mesh) for tube in tubes)
    if has_handle(junction) or abs(parts / volume(*whole) - 1.0) > SAME_VOLUME:
        raise GeometryError(
            "the mold splits, but its legs join again past the divider's nose",
            where=f"about {place_of(planes.nose)} mm",
            hint="Look at the scan about the divider: where a hole or a fin joins the legs there, close it in the "
            "scanner's software; a port that parts and comes together again is not measured",
        )
    return _Parts(tubes, whole, junction, planes.nose)


def _about(mesh: Mesh, approaches: Sequence[Approach]) -> Mesh:
    """Return the part of a mesh that planes at the junction can cut."""
    points = np.array([approach.point for approach in approaches])
    middle = points.mean(axis=0)
    reach = float(np.linalg.norm(points - middle, axis=1).max()) + ROUND_ABOUT * max(a.radius for a in approaches)
    near = np.linalg.norm(mesh[0] - middle, axis=1) < reach
    return compact(mesh[0], mesh[1][near[mesh[1]].any(axis=1)])


def _tubes(
    body: Body,
    lines: Sequence[FloatArray],
    openings: Sequence[Opening],
    approaches: Sequence[Approach],
    planes: Planes,
) -> tuple[Tube, ...]:
    """Return the passages between their openings and the planes at the junction, each run with the flow."""
    tubes = []
    for k, (line, opening, approach) in enumerate(zip(lines, openings, approaches, strict=True)):
        plane = Opening((planes.trunk, *planes.legs)[k], approach.heading, "split")
        tube = tube_and_curve(body, before_plane(line, plane), approach.radius, (opening, plane))
        tubes.append(tube if k == 0 else tube.turned())
    return tuple(tubes)


def _cut_off(mesh: Mesh, openings: Sequence[Opening]) -> Mesh:
    """Return what lies before all of some openings' planes, closed flat. Raises GeometryError where it is in parts."""
    vertices, faces = mesh
    seeds = []
    for o in openings:
        vertices, faces, seed = cut_end(vertices, faces, o.origin, o.normal, o.run.inset, o.run.growth, o.run.drift)
        seeds.append(seed)
    label = bodies(faces, len(vertices))
    return compact(vertices, faces[label[faces[:, 0]] == label[seeds[0]]])


def _without_branch(body: Body, tubes: Sequence[Tube]) -> tuple[Body, Branch | None]:
    """Return the body without the first branch that stands off one of its passages, and the branch."""
    for tube in tubes:
        radius = float(np.sqrt(volume(*tube.mesh) / tube.settled.curve.length / np.pi))
        tip = branch_tip(coarse_copy(*tube.mesh)[0], tube.settled.curve, radius)
        if tip is None:
            continue
        without, branch = cut_branch(body, tip, radius)
        if branch is not None:
            return without, branch
    return body, None


def _posed(
    parts: _Parts, roughness: tuple[float, Grain], made: Sequence[Patch], told: Sequence[Notice], options: ScanOptions
) -> SplitPort:
    """Return the passages as Ports: the trunk's roof is that of the whole, a leg's goes on from it."""
    trunk, *legs = parts.tubes
    roof, rule = _roof(trunk, legs, options.up)
    stem = laid_out(trunk, roof, roughness, _nearest_to(trunk, parts.tubes, made), ends_told(trunk, roughness[0]))
    frame = stem.direction_to_source(stem.centreline.frames[-1])
    end = stem.to_source(stem.centreline.points[-1])
    names, order = _named([(tube.settled.curve.at(np.zeros(1))[0] - end) @ frame[1:].T for tube in legs])
    ports = []
    for k in order:
        tube = legs[k]
        up = square_to(frame[2], tube.tangents[0])
        assert up is not None, "a leg that sets out towards the roof"
        own = _nearest_to(tube, parts.tubes, made)
        port = laid_out(tube, up, roughness, own, ends_told(tube, roughness[0]))
        if options.with_stem_mm is not None:
            port = without_stem(port, options.with_stem_mm)
        gap = float(np.linalg.norm(port.to_source(port.centreline.points[0]) - end))
        spine = port.centreline
        start = stem.centreline.length + gap
        ports.append(replace(port, centreline=Centreline(spine.stations + start, spine.points, spine.frames)))
    return SplitPort(
        trunk=stem,
        legs=tuple(Leg(name, port) for name, port in zip(names, ports, strict=True)),
        source={},
        warnings=(*told, rule),
        junction=Junction(Triangles(*parts.junction), parts.nose),
        whole=Triangles(*parts.whole),
    )


def _roof(trunk: Tube, legs: Sequence[Tube], up: FloatArray | None) -> tuple[FloatArray, Notice]:
    """Return the direction (3,) of the roof at the trunk's entry, and the reason.

    It is the outside of the turn that all ways through the port have together; of a straight one it is square to the
    plane that the legs lie in.
    """
    first = trunk.tangents[0]
    given = None if up is None else square_to(np.asarray(up, dtype=float), first)
    if given is not None:
        return given, Notice("roof_rule", case="given")
    swept = np.mean([swept_by(np.vstack([trunk.tangents, leg.tangents])) for leg in legs], axis=0)
    if np.linalg.norm(swept) >= LEAST_TURN:
        return outside_of(swept, first), Notice("roof_rule", case="turn")
    begins = np.array([leg.settled.curve.at(np.zeros(1))[0] for leg in legs])
    apart = np.linalg.svd(begins - begins.mean(axis=0))[2][0]
    roof = np.cross(first, apart)
    return roof / np.linalg.norm(roof), Notice("roof_unsure_split")


def _named(begins: Sequence[FloatArray]) -> tuple[list[str], list[int]]:
    """Return the legs' names, and which leg each is of. begins : where each begins, left and up of the trunk's end."""
    places = np.array(begins)
    order = [int(k) for k in np.argsort(-places[:, 0], kind="stable")]
    across, over = (abs(float(np.ptp(places[:, k]))) for k in (0, 1))
    if len(order) == 2 and across > SIDE_BY_SIDE * over:
        return ["left", "right"], order
    if across <= SIDE_BY_SIDE * over:
        order = [int(k) for k in np.argsort(-places[:, 1], kind="stable")]
    return [f"leg-{k + 1}" for k in range(len(order))], order


def _nearest_to(tube: Tube, tubes: Sequence[Tube], made: Sequence[Patch]) -> list[Patch]:
    """Return what was made up of the wall that is nearer to this passage than to the others."""

    def off(one: Tube, patch: Patch) -> float:
        curve = one.settled.curve
        line = curve.at(np.linspace(0.0, curve.length, len(one.tangents)))
        return float(np.linalg.norm(line - patch.place, axis=1).min())

    return [patch for patch in made if off(tube, patch) <= min(off(one, patch) for one in tubes)]
