"""Another state or mesh laid into a port's frame, and the limits that files describe put on its wall.

Ports, meshes and outlines in their own coordinates come in; the same in the plan's port frame, and
functions from a wall grid to a Limit, go out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from portgeo.comparing.register import align
from portgeo.comparing.tube import walled
from portgeo.core.centreline import Centreline
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port, in_one_frame, sections_at
from portgeo.core.triangles import Triangles
from portgeo.reshape.grid import WallGrid
from portgeo.reshape.limits import ALL_OURS, Limit, Shared, gasket_limit, outer_limit, split_limit


def laid_on(port: Port, other: Port, method: Literal["none", "auto"] | None = None) -> tuple[Port, list[Notice]]:
    """Return another port in a port's frame, and notices about how it lies.

    method : "none" takes both files' own coordinates as they are, "auto" lays them together by the
    wall that was not cut; by default none where their coordinates mean one place, else auto.
    """
    if (method or ("none" if in_one_frame(port, other) else "auto")) == "none":
        return _placed(other, lambda points: port.from_source(other.to_source(points)), port), []
    found = align(walled(port), walled(other), "auto")
    return _placed(other, found.moved, port), list(found.warnings)


def _placed(other: Port, moved: Callable[[FloatArray], FloatArray], port: Port) -> Port:
    spine = other.centreline
    tips = spine.points[:, None] + spine.frames
    points = moved(spine.points)
    frames = moved(tips.reshape(-1, 3)).reshape(tips.shape) - points[:, None]
    line = Centreline(spine.stations, points, frames)
    return replace(other, mesh=Triangles(moved(other.vertices), other.faces), centreline=line, frame=port.frame)


def outer_mesh(
    port: Port,
    vertices: FloatArray,
    faces: IntArray,
    least_wall: float,
    deepest: float,
    name: str,
    shared: Shared = ALL_OURS,
) -> Callable[[WallGrid], Limit]:
    """Return the limit that a mesh (vertices (k, 3) in the source's coordinates) and a least wall set.

    shared : with another passage that is cut too, see outer_limit.
    """
    placed = port.from_source(vertices)
    return lambda grid: outer_limit(grid, placed, faces, least_wall, deepest, name, shared)


def gasket(port: Port, outline: FloatArray, move: tuple[float, float], at_exit: bool) -> Callable[[WallGrid], Limit]:
    """Return the limit of a gasket's opening (k, 2), its middle `move` off the port opening's middle."""
    face = sections_at(port, port.centreline.stations[[-1 if at_exit else 0]])[0].outline
    middle = (face.min(axis=0) + face.max(axis=0)) / 2.0
    placed = outline - (outline.min(axis=0) + outline.max(axis=0)) / 2.0 + middle + move
    return lambda grid: gasket_limit(grid, placed, at_exit)


def split(port: Port, trunk: Port) -> Callable[[WallGrid], Limit]:
    """Return the limit of the trunk's outline at the split, as seen along a leg that begins there."""
    last = sections_at(trunk, trunk.centreline.stations[-1:])[0]
    first = sections_at(port, port.centreline.stations[:1])[0]
    points = port.from_source(trunk.to_source(last.in_space(last.outline)))
    outline = ((points - first.origin) @ first.frame.T)[:, 1:]
    return lambda grid: split_limit(grid, outline)
