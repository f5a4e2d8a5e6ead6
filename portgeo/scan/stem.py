"""Stem: a valve stem that the mold does not have is taken out of the port.

A Port and a diameter come in; the Port with a round hole through its bowl goes out.
"""

from __future__ import annotations

from dataclasses import replace

import manifold3d
import numpy as np

from portgeo.core.errors import GeometryError, InputError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.triangles import Triangles

SIDES = 96  # of the stem's polygon, whose area is made the circle's
OVER = 2.0  # stem diameters past the roof and past the exit: clear of slanted walls


def without_stem(port: Port, diameter: float) -> Port:
    """Return the port less a round stem on the exit's axis, from the exit out through the roof.

    The axis runs through the exit's centroid, square to it, as a valve's does through its seat.
    Raises InputError for a diameter that no stem has, GeometryError where the axis leaves through the
    entry.
    """
    end, heading = port.centreline.points[-1], port.centreline.frames[-1, 0]
    reach = float(np.linalg.norm(port.vertices[port.faces].reshape(-1, 3) - end, axis=1).max())
    if not 0.0 < diameter < reach / 4.0:
        raise InputError(
            f"a stem {diameter:g} mm thick does not go into this port", hint="Pass --with-stem with its diameter in mm"
        )
    inside = _first_exit(port, end - 1e-3 * heading, -heading)
    leaves = end - (inside + 1e-3) * heading
    entry, entry_heading = port.centreline.points[0], port.centreline.frames[0, 0]
    if (leaves - entry) @ entry_heading < 1e-3:
        raise GeometryError(
            "the axis of the exit leaves the port through its entry: a stem does not stand in a straight port",
            hint="Leave --with-stem out",
        )
    length = inside + 2.0 * OVER * diameter
    radius = diameter / 2.0 / np.sqrt(np.sin(2.0 * np.pi / SIDES) / (2.0 * np.pi / SIDES))
    stem = manifold3d.Manifold.cylinder(length, radius, radius, SIDES)
    lean = port.centreline.frames[-1, 1]
    turn = np.column_stack([lean, np.cross(-heading, lean), -heading, end + OVER * diameter * heading])
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(vert_properties=port.vertices, tri_verts=port.faces.astype(np.uint64))
    )
    if solid.status() != manifold3d.Error.NoError:
        raise GeometryError(
            "the mesh is not fit for a stem to be cut out of it (it crosses itself)",
            hint="Repair the mesh in the scanner's own software and export it again",
        )
    left = (solid - stem.transform(turn)).to_mesh64()
    return replace(
        port,
        mesh=Triangles(np.ascontiguousarray(left.vert_properties[:, :3]), np.asarray(left.tri_verts, dtype=np.int64)),
        warnings=(*port.warnings, Notice("stem_taken_off", diameter=diameter)),
    )


def _first_exit(port: Port, origin: FloatArray, direction: FloatArray) -> float:
    """Return how far a ray from inside the port runs to its wall (Moller and Trumbore, 1997)."""
    a, b, c = (port.vertices[port.faces[:, k]] for k in range(3))
    one, two = b - a, c - a
    across = np.cross(direction, two)
    det = np.einsum("ij,ij->i", one, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        arm = origin - a
        u = np.einsum("ij,ij->i", arm, across) / det
        lift = np.cross(arm, one)
        v = lift @ direction / det
        t = np.einsum("ij,ij->i", two, lift) / det
        hit = (det != 0) & (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0)
    return float(t[hit].min()) if hit.any() else 0.0
