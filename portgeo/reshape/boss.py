"""The target port with its guide boss and stem in their place.

The port as it is, the wall grid and a cut come in; the same mesh, opened by the cut alone, goes out.
Rings of the wall know nothing of what stands free in the stream; the port's own mesh does.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from portgeo.comparing.wedges import arrays_of, solid_of
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.port import Port
from portgeo.core.triangles import Triangles
from portgeo.reshape.grid import WallGrid, moved

INSIDE_MM, INSIDE_NOISES = 0.1, 4.0  # a skin this far in is past the mesh's facets, and past a scan's roughness
CUT_MM = 0.01  # less is not put into the mesh: two skins so close would make a froth of slivers


def opened(port: Port, grid: WallGrid, travel: FloatArray) -> Port | None:
    """Return the port whose own mesh the cut of `travel` (n, m) has opened; None where it cannot be.

    What the cut adds to the air is a jacket along the whole wall, from just inside today's wall to
    the cut one, or, where nothing is cut, to less far inside: there it is lost in the air there is.
    Its union with the mesh leaves what stands in the stream as it was.
    """
    inside = max(INSIDE_MM, INSIDE_NOISES * port.noise)
    inner = moved(grid, np.full(travel.shape, -2.0 * inside))
    outer = moved(grid, np.where(travel > CUT_MM, travel, -inside))
    vertices, faces = _jacket(grid.in_space(inner), grid.in_space(outer))
    try:
        air = solid_of(port.vertices, port.faces, "the port") + solid_of(vertices, faces, "the cut")
    except GeometryError:
        return None
    pieces = sorted(air.decompose(), key=lambda piece: -piece.volume())
    made = replace(port, readings=(), rows=np.zeros(0))
    vertices, faces = arrays_of(pieces[0])
    return replace(made, mesh=Triangles(vertices, faces))


def _jacket(inner: FloatArray, outer: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the closed mesh between two tubes of rings (n, m, 3), with flat ends."""
    n, m = inner.shape[:2]
    node = np.arange(n * m).reshape(n, m)

    def strip(a: IntArray, b: IntArray) -> IntArray:
        """Return the faces between rows of nodes (k, m) and the next, seen from the left of their way round."""
        c, d = np.roll(b, -1, axis=1), np.roll(a, -1, axis=1)
        return np.concatenate([np.stack([a, d, c], axis=-1), np.stack([a, c, b], axis=-1)]).reshape(-1, 3)

    far = node + n * m
    faces = np.concatenate(
        [
            strip(far[:-1], far[1:]),
            strip(node[1:], node[:-1]),
            strip(node[:1], far[:1]),
            strip(far[-1:], node[-1:]),
        ]
    )
    return np.concatenate([inner.reshape(-1, 3), outer.reshape(-1, 3)]), faces
