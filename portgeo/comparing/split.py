"""Before and after of a port that splits: passage against passage, all of it together, and its dividers.

Two SplitPorts come in; a SplitComparison goes out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from portgeo.comparing.comparison import ENDS_DIFFER_MM, Comparison, MetalMoved, compare_ports
from portgeo.comparing.register import Alignment, Method, align
from portgeo.comparing.tube import Tube, Walled, tube_of, wall_faces
from portgeo.comparing.wedges import solid_of
from portgeo.core.centreline import Centreline
from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice, unique
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.split import SplitPort
from portgeo.core.triangles import Triangles
from portgeo.measuring.divider import LAID_OFF_MM, Divider, divider_in, views_of
from portgeo.measuring.split import junction_budget, junction_volume, junction_wall

SAME_MM = 1e-6  # two sheets whose planes of the split lie so near to each other have one


@dataclass(frozen=True)
class DividerChange:
    """A divider before and after, None where it does not show; how far its nose was set back, mm, along the flow."""

    names: tuple[str, str]
    before: Divider | None
    after: Divider | None
    set_back: float | None
    set_back_u: float | None


@dataclass(frozen=True)
class SplitComparison(MetalMoved):
    """Two states of one port that splits. Volumes mm3.

    alignment : of all of it, in BEFORE's trunk's frame. names, passages : trunk and legs, each as a port by itself.
    before_volume, after_volume : of all of it between the openings that both have; their difference, the net, is
    removed - added + below_noise. between : the net that is in no passage's: the junction, and where the divider stood.
    """

    before: SplitPort
    after: SplitPort
    alignment: Alignment
    names: tuple[str, ...]
    passages: tuple[Comparison, ...]
    removed: float
    removed_u: float
    added: float
    added_u: float
    below_noise: float
    net_u: float
    before_volume: float
    after_volume: float
    between: float
    dividers: tuple[DividerChange, ...]
    warnings: tuple[Notice, ...]

    @property
    def depth_u(self) -> float:
        """Standard uncertainty of the deepest cut of the passage that has it, mm."""
        return max(self.passages, key=lambda each: each.depth.deepest).depth_u


def compare_splits(
    before: SplitPort,
    after: SplitPort,
    method: Method = "auto",
    *,
    boxes: FloatArray | None = None,
    faces: tuple[str, ...] = (),
    stations: int | None = None,
) -> SplitComparison:
    """Return the comparison of two states of one port that splits.

    method, boxes, faces : how all of the one is laid on all of the other, see register.align. stations : rows of each
    passage's table. Raises GeometryError where they are not two states of one port, or their legs have other names.
    """
    _check_names(before, after)
    alignment = align(whole_of(before), whole_of(after), method, boxes=boxes, faces=faces)
    pairs = [(one.name, one.port, after.passage(one.name)) for one in before.passages]
    passages = tuple(
        _passage(one, other, method, stations, alignment.between(one, other, before.trunk)) for _, one, other in pairs
    )
    ends = [(passages[0], 0), *((each, -1) for each in passages[1:])]
    volumes = []
    for port, states, beyond in (
        (before, [each.before_state for each in passages], [_before_beyond(*end) for end in ends]),
        (after, [each.after_state for each in passages], [_after_beyond(*end) for end in ends]),
    ):
        off = sum(length * area for length, area in beyond)
        volumes.append(sum(state.volume for state in states) + junction_volume(port) - off)
    net = volumes[1] - volumes[0]
    between = net - sum(each.net for each in passages)
    dividers = _dividers(before, after, alignment)
    between_u = _between_u(before, after, dividers)
    if before.trunk.noise == after.trunk.noise == 0.0:
        removed, added = _by_solids(before, after, alignment, ends)
    else:
        # Of rough walls solids would count every wave: what the passages' maps tell, and the rest by its sign.
        sure = between if abs(between) > 2.0 * between_u else 0.0
        removed = sum(each.removed for each in passages) + max(sure, 0.0)
        added = sum(each.added for each in passages) + max(-sure, 0.0)
    return SplitComparison(
        before=before,
        after=after,
        alignment=alignment,
        names=tuple(name for name, _, _ in pairs),
        passages=passages,
        removed=removed,
        removed_u=_together_u(passages, "removed", alignment, before.trunk, between_u),
        added=added,
        added_u=_together_u(passages, "added", alignment, before.trunk, between_u),
        below_noise=net - removed + added,
        net_u=_together_u(passages, "net", alignment, before.trunk, between_u),
        before_volume=volumes[0],
        after_volume=volumes[1],
        between=between,
        dividers=dividers,
        warnings=(*alignment.warnings, *_ends_differ(ends), *unique((*before.warnings, *after.warnings))),
    )


def _passage(one: Port, other: Port, method: Method, stations: int | None, alignment: Alignment) -> Comparison:
    """Return the comparison of two passages. That they begin and end elsewhere at the split is no news."""
    found = compare_ports(one, other, method, stations=stations, alignment=alignment)
    return replace(found, warnings=tuple(notice for notice in found.warnings if notice.code != "ends_differ"))


def _check_names(before: SplitPort, after: SplitPort) -> None:
    names = [[leg.name for leg in port.legs] for port in (before, after)]
    if sorted(names[0]) != sorted(names[1]):
        one, other = (", ".join(each) for each in names)
        raise GeometryError(
            f"BEFORE's legs are {one}, and AFTER's are {other}",
            hint="Give the legs of both files the same names; a scan's are left and right, as seen looking in",
        )


def whole_of(port: SplitPort) -> Walled:
    """Return all of a port that splits as one wall with its openings, in its trunk's frame."""
    trunk = port.trunk

    def into(passage: Port, points: FloatArray) -> FloatArray:
        return trunk.from_source(passage.to_source(points))

    stem = tube_of(trunk)
    vertices, faces = port.mesh.vertices, port.mesh.faces
    is_wall = np.ones(len(faces), dtype=bool)
    legs = []
    for passage, end in ((trunk, 0), *((leg.port, -1) for leg in port.legs)):
        tube = stem if passage is trunk else tube_of(passage)
        own = passage.from_source(vertices)
        is_wall &= wall_faces(replace(passage, mesh=Triangles(own, faces)), tube, (end,))
        if passage is not trunk:
            turn = trunk.frame[:3, :3] @ passage.frame[:3, :3].T
            frames = np.einsum("kij,lj->kil", tube.frames, turn)
            legs.append(Tube(tube.stations, into(passage, tube.middles), frames, tube.halves, tube.girth))
    mesh = Triangles(trunk.from_source(vertices), faces)
    return Walled(replace(trunk, mesh=mesh, centreline=_through(port, into)), stem, is_wall, tuple(legs))


def _through(port: SplitPort, into: Callable[[Port, FloatArray], FloatArray]) -> Centreline:
    """Return the line through the trunk and the first leg, in the trunk's frame."""
    line, leg = port.trunk.centreline, port.legs[0].port
    own, turn = leg.centreline, port.trunk.frame[:3, :3] @ leg.frame[:3, :3].T
    first = 1 if own.stations[0] - line.stations[-1] < SAME_MM else 0
    return Centreline(
        np.concatenate([line.stations, own.stations[first:]]),
        np.concatenate([line.points, into(leg, own.points[first:])]),
        np.concatenate([line.frames, np.einsum("kij,lj->kil", own.frames[first:], turn)]),
    )


def _before_beyond(found: Comparison, end: int) -> tuple[float, float]:
    """Return how much longer BEFORE is at one of its own openings than what both have, and its area there."""
    first, last = found.before.centreline.stations[[0, -1]]
    length = found.stretch[0] - first if end == 0 else last - found.stretch[1]
    return float(length), float(found.before_state.areas[end])


def _after_beyond(found: Comparison, end: int) -> tuple[float, float]:
    """Return the same of AFTER."""
    middle = found.alignment.moved(found.after.centreline.points[[end]])
    first, last = found.before.centreline.stations[[0, -1]]
    point = found.before.centreline.points[end]
    flow = found.before.centreline.frames[end, 0]
    past = float((middle[0] - point) @ flow)
    length = found.stretch[0] - (first + past) if end == 0 else (last + past) - found.stretch[1]
    return float(length), float(found.after_state.areas[end])


def _ends_differ(ends: Sequence[tuple[Comparison, int]]) -> tuple[Notice, ...]:
    """Return a notice where an opening of the one lies elsewhere than the other's."""
    before, after = (max(off(*end)[0] for end in ends) for off in (_before_beyond, _after_beyond))
    if max(before, after) <= ENDS_DIFFER_MM:
        return ()
    return (Notice("ends_differ", before=max(before, 0.0), after=max(after, 0.0)),)


def _by_solids(
    before: SplitPort, after: SplitPort, alignment: Alignment, ends: Sequence[tuple[Comparison, int]]
) -> tuple[float, float]:
    """Return the volumes of air that only AFTER has and that only BEFORE has, between the openings of both."""
    turn, move = alignment.to_source[:3, :3], alignment.to_source[:3, 3]
    one = solid_of(before.mesh.vertices, before.mesh.faces, "BEFORE")
    other = solid_of(after.mesh.vertices @ turn.T + move, after.mesh.faces, "AFTER")
    past = [sum(max(off(*end)[0], 0.0) * off(*end)[1] for end in ends) for off in (_before_beyond, _after_beyond)]
    return max((other - one).volume() - past[1], 0.0), max((one - other).volume() - past[0], 0.0)


def _dividers(before: SplitPort, after: SplitPort, alignment: Alignment) -> tuple[DividerChange, ...]:
    """Return the dividers of both, AFTER's seen where BEFORE's stood."""
    found = []
    for view in views_of(before):
        one, other = divider_in(before, view), divider_in(after, view, alignment.to_source)
        back = u = None
        if one is not None and other is not None:
            back = other.along - one.along
            place, way = (before.trunk.frame[:3, :3] @ v for v in (one.nose, view.frame[0]))
            by_fit = alignment.uncertainty((place + before.trunk.frame[:3, 3])[None], way[None])[0]
            same = one.edge != "scanned" and other.edge != "scanned" and abs(back) < SAME_MM
            u = 0.0 if same else float(np.linalg.norm([one.along_u, other.along_u, by_fit]))
        found.append(DividerChange(view.names, one, other, back, u))
    return tuple(found)


def _between_u(before: SplitPort, after: SplitPort, dividers: Sequence[DividerChange]) -> float:
    """Return the standard uncertainty, mm3, of what lies between the passages of the two.

    A scan's junction is as unsure as its wall is rough. Of sheets the plane of a split that was laid off anew is.
    """
    rough = [share.u for port in (before, after) for share in junction_budget(port) if share.source == "scan_noise"]
    laid = [
        LAID_OFF_MM * junction_wall(port)
        for port in (before, after)
        if port.junction is None and any(change.set_back_u for change in dividers)
    ]
    return float(np.linalg.norm([*rough, *laid]))


def _together_u(found: Sequence[Comparison], what: str, whole: Alignment, trunk: Port, between_u: float) -> float:
    """Return the standard uncertainty, mm3, of what passages gained together.

    The fit shifts all of them at once, and they share one scale; all else adds up as squares.
    """
    pulls, own, scaled = np.zeros(6), between_u**2, 0.0
    for each in found:
        errors = each.errors
        weights = {"removed": errors.map.cut, "added": errors.map.built_up}.get(what, np.ones_like(errors.map.cut))
        size = {"removed": each.removed, "added": each.added}.get(what, each.net)
        pull = np.einsum("nm,nmk->k", weights, errors.pull)
        scale = 3.0 * errors.scale * size
        rest = getattr(each, f"{what}_u") ** 2 - float(pull @ errors.motion @ pull) - scale**2
        turn = each.before.frame[:3, :3] @ trunk.frame[:3, :3].T
        pulls, own, scaled = pulls + block_diag(turn, turn).T @ pull, own + max(rest, 0.0), scaled + scale
    return float(np.sqrt(own + pulls @ whole.covariance @ pulls + scaled**2))
