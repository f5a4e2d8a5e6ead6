"""Uncertainty of a scan's survey: what a mesh's own roughness and coarseness make.

A scanned Port comes in; standard uncertainties of areas, volume and of its side lines go out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from portgeo.port import Port
from portgeo.section import SectionMeasures
from portgeo.survey.sides import BAND, Bend, Roughness
from portgeo.survey.uncertainty import Uncertainty


def from_noise(port: Port, measures: Sequence[SectionMeasures], bends: tuple[Bend, ...]) -> Uncertainty:
    """Return the uncertainties that a mesh's own roughness and coarseness make.

    Points off the wall by a standard deviation s, each holding over one mesh edge e, move the area
    inside a girth P by s sqrt(e P), and a volume inside a wall of area W by s e sqrt(W). Flat triangles
    cut corners: over an edge e on a wall of curvature k a chord leaves out e^3 k / 12, so round any
    section, whose curvature sums to 2 pi, up to pi e^2 / 6 is lost; where the vertices stand in between
    is not known, which makes that a half-width (JCGM 100, 4.3.7).
    """
    edge = mesh_edge(port)
    facets = np.pi * edge**2 / 6.0 / np.sqrt(3.0) if port.noise > 0.0 else 0.0
    area_u = np.array([np.hypot(port.noise * np.sqrt(edge * m.perimeter), facets) for m in measures])
    least = int(np.argmin([m.area for m in measures]))
    wall = float(np.mean([m.perimeter for m in measures])) * port.centreline.length
    volume_u = float(np.hypot(port.noise * edge * np.sqrt(wall), facets * port.centreline.length))
    return Uncertainty(area_u, float(area_u[least]), volume_u, bends, None)


def mesh_edge(port: Port) -> float:
    """Return the usual length of an edge of a port's mesh."""
    corners = port.vertices[port.faces[:: max(len(port.faces) // 20000, 1)]]
    return float(np.median(np.linalg.norm(corners[:, 0] - corners[:, 1], axis=1)))


def side_roughness(port: Port, measures: Sequence[SectionMeasures]) -> Roughness | None:
    """Return how rough a scanned port's side lines are, None for a lofted one.

    A side's point in a section is read off a parabola over a band of its wall, which holds as many
    independent points as the mesh has edges there. In the middle of a band a parabola has 9/4 of the
    variance that a mean has.
    """
    if port.readings or port.noise == 0.0:
        return None
    edge = mesh_edge(port)
    band = 2.0 * BAND * float(np.mean([m.width for m in measures]))
    return Roughness(port.noise * float(np.sqrt(9.0 / 4.0 * edge / max(band, edge))), edge)
