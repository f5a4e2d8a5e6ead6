"""A port's wall as an even net of few triangles, for a page that a phone can turn.

A Port comes in; points on its wall, the triangles between them, stations and clock positions go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.app.job.results import Skin
from portgeo.comparing.tube import walled
from portgeo.core.errors import GeometryError
from portgeo.core.port import Port, stations_of
from portgeo.core.skin import net
from portgeo.reshape.grid import wall_grid

ROWS, ROUND = 84, 88  # 14,608 triangles, about 1.2 mm by 1.7 mm on an ordinary port
MOST_TRIANGLES = 15_000


def skin_of(port: Port) -> Skin:
    """Return a port's wall as a net, open at both ends so that one can look in.

    Its points lie on the wall itself, at even stations and evenly round each section, so that what is
    painted on them is as fine everywhere. A wall that such a net cannot cover (a section that turns back
    round its own middle) is thinned by its quadric error instead.
    """
    first, last = port.centreline.stations[[0, -1]]
    try:
        grid = wall_grid(port, np.linspace(first, last, ROWS), ROUND)
    except GeometryError:
        return _thinned(port)
    return Skin(
        vertices=grid.points.reshape(-1, 3),
        faces=net(ROWS, ROUND),
        stations=np.repeat(grid.stations, ROUND),
        clocks=grid.clock.ravel(),
    )


def _thinned(port: Port) -> Skin:
    import pyvista

    faces = port.faces[walled(port).is_wall]
    surface = pyvista.make_tri_mesh(port.vertices, np.asarray(faces, dtype=int))
    share = 1.0 - MOST_TRIANGLES / max(len(faces), MOST_TRIANGLES)
    thin = surface.decimate(share, volume_preservation=True) if share > 0.0 else surface
    vertices = np.asarray(thin.points, dtype=float)
    stations, clocks = stations_of(port, vertices)
    return Skin(vertices, np.asarray(thin.regular_faces, dtype=np.int64), stations, clocks)
