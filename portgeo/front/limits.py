"""What a target names of the limits of a cut: walls, meshes outside, passages beside it, gasket, the trunk of a leg.

A target and a port come in; the target as read, and limits to plan within, go out. Lengths are millimeters.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from portgeo.core.errors import naming
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port, sections_at
from portgeo.core.split import TRUNK, SplitPort
from portgeo.core.units import Display
from portgeo.files.drawings.outlines import read_outline
from portgeo.files.meshes.mesh import read_mesh
from portgeo.files.toml.target import TargetFile, read_target, target_of
from portgeo.files.walls import read_walls
from portgeo.measuring.scan_uncertainty import volume_inside
from portgeo.measuring.sense import exchanged_at
from portgeo.measuring.split import junction_volume
from portgeo.reshape.cut_table import along_walls
from portgeo.reshape.grid import WallGrid, wall_grid
from portgeo.reshape.limits import Limit, MetalBetween, Shared, WallReading, metal_between, wall_limit
from portgeo.reshape.placing import gasket, outer_mesh, split
from portgeo.reshape.plan import InWhole, Plan

TAPED = 48  # rows of a trunk, and places round it, along which a tape is laid
MARCHED = 4.0  # of the greatest depth: as far out as a mesh outside is looked for


def check_target(path: str | Path, *, limits: bool = False) -> tuple[Path, ...]:
    """Return the files that a target names, before a port is read. Raises InputError where it is no target.

    limits : only its limits count.
    """
    wanted = read_target(path, limits=limits)
    named = (wanted.wall_readings, *wanted.outer_meshes, *wanted.beside, wanted.gasket, wanted.copy)
    return tuple(file for file in named if file is not None)


def target_in(
    target: str | Path | Mapping[str, Any], name: str | None = None, *, limits: bool = False
) -> tuple[str, TargetFile]:
    """Return a target, from its file or from a mapping with a file's keys, and what it is called.

    limits : only its limits count, so that it need want nothing.
    """
    if isinstance(target, Mapping):
        return name or "target", target_of(target, Path.cwd(), limits=limits)
    with naming(name or str(target)):
        return name or str(target), read_target(target, limits=limits)


@dataclass(frozen=True)
class Neighbour:
    """Another passage beside a port: what the metal to it is called, its mesh in the port's source's coordinates."""

    name: str
    vertices: FloatArray
    faces: IntArray


@dataclass(frozen=True)
class Limits:
    """Limits to plan within, the wall readings that some are of, and the passages beside the port that are cut too."""

    limits: tuple[Callable[[WallGrid], Limit], ...]
    readings: tuple[WallReading, ...]
    beside: tuple[Neighbour, ...]


def limits_in(wanted: TargetFile, port: Port, within: SplitPort | None = None) -> Limits:
    """Return the limits of the walls, meshes and gasket that a target names, and of what lies beside the port.

    within : the port that splits of which this is one leg: metal is left to its other legs, and a sheet's leg, which
    begins in the plane of the split, stays there inside the trunk's wall.
    """
    limits: list[Callable[[WallGrid], Limit]] = []
    readings = (
        () if wanted.wall_readings is None else tuple(read_walls(wanted.wall_readings, port, Display(wanted.unit)))
    )
    if readings:
        limits.append(lambda grid: wall_limit(grid, readings, wanted.least_wall))
    deepest = wanted.target.greatest_depth
    for path in wanted.outer_meshes:
        mesh = read_mesh(path, unit=wanted.outer_unit)
        limits.append(outer_mesh(port, mesh.vertices, mesh.faces, wanted.least_wall, deepest * MARCHED, path.name))
    shared, beside = Shared(wanted.beside_share, deepest), tuple(_beside(wanted, port, within))
    for other in beside:
        near = (wanted.least_between, deepest * MARCHED, other.name, shared)
        limits.append(outer_mesh(port, other.vertices, other.faces, *near))
    if wanted.gasket is not None:
        outline = read_outline(wanted.gasket, wanted.gasket_unit)
        limits.append(gasket(port, outline, wanted.gasket_move, wanted.gasket_at_exit))
    if within is not None and within.junction is None and within.leg_of(port) is not None:
        limits.append(split(port, within.trunk))
    return Limits(tuple(limits), readings, beside)


def _beside(wanted: TargetFile, port: Port, within: SplitPort | None) -> Iterator[Neighbour]:
    """Yield the passages that lie beside a port: the other legs where it is one, and those that a target names."""
    own = None if within is None else within.leg_of(port)
    for leg in () if within is None or own is None else within.legs:
        if leg is not own:
            yield Neighbour(f"metal to the {leg.name} leg", leg.port.to_source(leg.port.vertices), leg.port.faces)
    for path in wanted.beside:
        mesh = read_mesh(path, unit=wanted.outer_unit)
        yield Neighbour(f"metal to {path.name}", mesh.vertices, mesh.faces)


def between(beside: Sequence[Neighbour], wanted: TargetFile, port: Port, plan: Plan) -> tuple[MetalBetween, ...]:
    """Return the metal from a port to each passage beside it, now and after a plan."""
    return tuple(
        metal_between(
            plan.grid, plan.travel, port.from_source(other.vertices), other.faces, wanted.least_between, other.name
        )
        for other in beside
    )


def in_whole(port: Port, within: SplitPort | None) -> InWhole | None:
    """Return what a passage is part of; None of a port that does not split."""
    if within is None:
        return None
    volume = sum(volume_inside(each.port) for each in within.passages) + junction_volume(within)
    tape, leg = np.zeros(2), within.leg_of(port)
    if leg is not None:
        trunk = within.trunk
        first, last = trunk.centreline.stations[[0, -1]]
        grid = wall_grid(trunk, np.linspace(first, last, TAPED), TAPED)
        tape = along_walls(grid)[-1] + (port.centreline.stations[0] - last)
    return InWhole(TRUNK if leg is None else leg.name, volume, tape)


def gasket_against(port: Port, wanted: TargetFile) -> tuple[Notice, ...]:
    """Return a notice where the gasket that a target names and a port's opening are of exchanged height and width."""
    if wanted.gasket is None:
        return ()
    end = "exit" if wanted.gasket_at_exit else "entry"
    (face,) = sections_at(port, port.centreline.stations[[-1 if wanted.gasket_at_exit else 0]])
    return exchanged_at(face, read_outline(wanted.gasket, wanted.gasket_unit), end)
