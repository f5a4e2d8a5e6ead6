"""Holes: open edges of a scan that are no openings of the tube are closed, and told of.

A Body comes in; the Body with its holes closed, how much was made up, and the notice of it go out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Patch
from portgeo.scan.openings import goes_round
from portgeo.scan.passage import place_of
from portgeo.scan.patch import close_hole
from portgeo.scan.repair import Body, surface_area

MOST_MADE_UP = 0.03  # share of the surface that patches may be: an area is then still the mold's own
SURE_HOLE = 0.006  # of the surface: the opening of a tube up to 40 diameters long spans more


def small_holes(body: Body) -> list[int]:
    """Return which open edges are too small to be a tube's opening, whatever the tube."""
    total = surface_area(body.vertices, body.faces)
    return [k for k, loop in enumerate(body.loops) if rim_area(body.vertices[loop]) < SURE_HOLE * total]


def rim_area(rim: FloatArray) -> float:
    """Return the area that a rim (k, 3) spans."""
    arm = rim - rim.mean(axis=0)
    return float(np.linalg.norm(np.cross(arm, np.roll(arm, -1, axis=0)).sum(axis=0))) / 2.0


def holes_beside(body: Body, ends: Sequence[tuple[FloatArray, FloatArray, float]]) -> list[int]:
    """Return which open edges do not go round a tube at one of its ends, each as Course.end has it."""
    return [
        k for k, loop in enumerate(body.loops) if not any(goes_round(body.vertices[loop], *at_end) for at_end in ends)
    ]


def patched(body: Body, holes: list[int], made: list[Patch]) -> Body:
    """Return the body with some of its open edges closed; what was made up is added to `made`."""
    vertices, faces = body.vertices, body.faces
    total = surface_area(vertices, faces)
    for k in holes:
        loop = body.loops[k]
        closed = close_hole(vertices, faces, loop)
        where = f"about {place_of(vertices[loop].mean(axis=0))} mm"
        if closed is None:
            raise GeometryError(
                "the scan has a hole that reaches too far round the mold to be closed without making shape up",
                where=where,
                hint="Scan the mold there and join it to the mesh, or fill the hole by hand where you know the shape",
            )
        vertices, faces, patch = closed
        made.append(patch)
        if sum(patch.area for patch in made) > MOST_MADE_UP * total:
            raise GeometryError(
                f"holes make up more than {MOST_MADE_UP:.0%} of the mold's surface",
                where=where,
                hint="Scan the mold again where it is open, and join the scans into one mesh",
            )
    kept = tuple(loop for k, loop in enumerate(body.loops) if k not in holes)
    return Body(vertices, faces, kept)


def holes_told(body: Body, made: list[Patch]) -> list[Notice]:
    if not made:
        return []
    areas = [patch.area for patch in made]
    share = sum(areas) / surface_area(body.vertices, body.faces)
    return [Notice("holes_closed", count=len(made), made=sum(areas), share=share, widest=max(areas))]
