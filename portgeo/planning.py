"""A plan from files: the target with the wall readings, meshes, gasket and port that it names.

A Port and a TargetFile come in; the Plan within all those limits goes out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from portgeo.core.errors import naming
from portgeo.core.port import Port
from portgeo.core.units import Display
from portgeo.files.drawings.outlines import read_outline
from portgeo.files.meshes.mesh import read_mesh
from portgeo.files.toml.target import TargetFile
from portgeo.files.walls import read_walls
from portgeo.reshape.dams import dams_made
from portgeo.reshape.grid import WallGrid
from portgeo.reshape.limits import Limit, thin_walls, wall_limit, walls_left
from portgeo.reshape.placing import gasket, laid_on, outer_mesh
from portgeo.reshape.plan import Plan, plan_cut

MARCHED = 4.0  # of the greatest depth: as far out as a mesh outside is looked for


def plan_wanted(port: Port, wanted: TargetFile, file: str, load: Callable[[Path], Port]) -> Plan:
    """Return the plan for a port and a target, with the limits and the port that the target names.

    file : the target's name, for refusals. load : reads the port to be copied. Raises InputError and
    GeometryError.
    """
    limits: list[Callable[[WallGrid], Limit]] = []
    display = Display(wanted.unit)
    readings = () if wanted.wall_readings is None else read_walls(wanted.wall_readings, port, display)
    if readings:
        limits.append(lambda grid: wall_limit(grid, readings, wanted.least_wall))
    for path in wanted.outer_meshes:
        mesh = read_mesh(path, unit=wanted.outer_unit)
        deepest = wanted.target.greatest_depth * MARCHED
        limits.append(outer_mesh(port, mesh.vertices, mesh.faces, wanted.least_wall, deepest, path.name))
    if wanted.gasket is not None:
        outline = read_outline(wanted.gasket, wanted.gasket_unit)
        limits.append(gasket(port, outline, wanted.gasket_move, wanted.gasket_at_exit))
    like = None
    if wanted.copy is not None:
        like, _ = laid_on(port, load(wanted.copy))
    with naming(file):
        plan = plan_cut(port, wanted.target, limits, like, display)
    return replace(
        plan,
        warnings=(*thin_walls(readings, wanted.least_wall), *plan.warnings, *dams_made(plan)),
        walls_left=walls_left(plan.grid, plan.depth, readings),
    )
