"""Uncertainty of a scan's survey: what a mesh's own roughness and coarseness, its ends and its scale make.

A scanned Port comes in; standard uncertainties of areas, volume and of its side lines go out, and what flat
triangles cut off a section.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from portgeo.core.grain import Grain, Roughness
from portgeo.core.plane import FloatArray
from portgeo.core.port import Patch, Port
from portgeo.core.section import SectionMeasures
from portgeo.core.triangles import lengths, mesh_edge, vector_areas
from portgeo.measuring.sides import BAND, Bend, Side
from portgeo.measuring.uncertainty import Budget, Quantity, Share, Uncertainty, total

SAMPLED = 20000  # faces that a mesh's coarseness is told from
CAP = 0.9  # cosine between a face's normal and the tube's heading: it closes an end
UNEVEN = 0.4  # standard deviation of the faces' areas, of their mean: an even mesh has its points on the wall
EVEN_FACETS, UNEVEN_FACETS = (1.0, 0.25), (0.5, 0.5)  # what is told of what flats cut off, and the half-width of it


def from_noise(
    port: Port,
    stations: FloatArray,
    measures: Sequence[SectionMeasures],
    bends: tuple[Bend, ...] = (),
    meant: int | None = None,
) -> Uncertainty:
    """Return the uncertainties that a mesh's roughness and coarseness, its ends and its scale make.

    stations (n,) and the measures there, evenly spaced. bends, meant : the port's, and the number of the one
    worked on, from 0.
    The errors of a wall's points, summed round a section's girth, are the error of its area; summed over the
    wall, of the volume: see Grain. What flats cut off (`facet_area`) is known to a rectangular distribution
    (JCGM 100, 4.3.7). An opening's plane that stands off moves the volume by its area, and the area by its
    growth. What was made up over a hole moves both by how far its height is not known. A scale that is off by a
    share moves lengths by that, areas by twice and volumes by three times it.
    """
    grain = grain_of(port)
    doubt = _facets(port)[1] / np.sqrt(3.0)
    length = port.centreline.length
    area = np.array([m.area for m in measures])
    noise = np.array([np.hypot(grain.along(m.perimeter), doubt) for m in measures])
    growth = (area[1] - area[0], area[-1] - area[-2])
    gap = length / max(len(area) - 1, 1)
    for end, grows in zip((0, -1), growth, strict=True):
        noise[end] = np.hypot(noise[end], port.ends_u[end] * grows / gap)
        noise[end] = np.hypot(noise[end], port.ends_area_u[end] * area[end])
    for patch in port.patches:
        noise = np.hypot(noise, patch.height_u * _chords(port, patch, stations))
    wall = float(np.mean([m.perimeter for m in measures])) * length
    ends = np.hypot(port.ends_u[0] * area[0], port.ends_u[1] * area[-1])
    made = float(np.sqrt(sum((patch.area * patch.height_u) ** 2 for patch in port.patches)))
    inside = float(np.mean(area)) * length
    scale = port.scale_error or 0.0
    least = int(np.argmin(area))
    budget: dict[Quantity, Budget] = {
        "volume": _budget(
            float(np.sqrt(grain.over(wall) ** 2 + (doubt * length) ** 2 + ends**2 + made**2)), 3.0 * scale * inside
        ),
        "least_area": _budget(float(noise[least]), 2.0 * scale * float(area[least])),
    }
    if meant is not None:
        short = bends[meant].short
        budget["short_side"] = _budget(short.radius_u, scale * short.radius)
    bends = tuple(
        replace(b, short=_scaled(b.short, scale), long=None if b.long is None else _scaled(b.long, scale))
        for b in bends
    )
    area_u = np.hypot(noise, 2.0 * scale * area)
    return Uncertainty(area_u, total(budget["least_area"]), total(budget["volume"]), bends, None, budget)


def _chords(port: Port, patch: Patch, stations: FloatArray) -> FloatArray:
    """Return how long planes at stations (n,) run through a patch, taken to be round, mm."""
    line = port.centreline
    at = line.stations[int(np.argmin(np.linalg.norm(line.points - patch.place, axis=1)))]
    return 2.0 * np.sqrt(np.maximum(patch.area / np.pi - (stations - at) ** 2, 0.0))


def _scaled(side: Side, scale: float) -> Side:
    """Return a side whose radii are also as unsure as the scale."""
    return replace(
        side,
        radius_u=float(np.hypot(side.radius_u, scale * side.radius)),
        least_radius_u=float(np.hypot(side.least_radius_u, scale * side.least_radius)),
    )


def _budget(noise: float, scale: float) -> tuple[Share, ...]:
    shares = (Share("scan_noise", noise),)
    return (*shares, Share("scale", scale)) if scale > 0.0 else shares


def grain_of(port: Port) -> Grain:
    """Return how a port's points are off: white where nobody looked at how their errors hang together."""
    return port.grain or Grain(port.noise, mesh_edge(port.vertices, port.faces))


def facet_area(port: Port) -> float:
    """Return what a scan's flat triangles cut off each of its sections, mm2; 0 for a lofted or a clean mesh.

    Between three points on a wall of curvatures H a flat lies, on average, under the wall by a twenty-fourth
    of the sum of e.He over its edges e (a quadratic's linear interpolant). Round a section curvature sums to
    2 pi, whatever its shape; along the tube it sums to next to nothing. So a section lacks pi / 12 times the
    sum of the squares of the edges' lengths round the tube. Told from edges and not from the normals, it is
    free of noise. Every volume that is told adds it over its length. Of a planned port it is known.
    """
    return _facets(port)[0] if port.flats is None else port.flats


def volume_inside(port: Port) -> float:
    """Return the volume of a port, mm3: its mesh's and what that one's flats cut off."""
    return port.mesh.volume + facet_area(port) * float(np.ptp(port.centreline.stations[[0, -1]]))


def _facets(port: Port) -> tuple[float, float]:
    """Return what flats cut off a section, and the half-width of what is known of it.

    A mesh that was thinned out has long edges where the wall bends little, so that the squares' harmonic mean
    counts, and its points a little outside the wall, so that its flats straddle it; by how much is not known.
    """
    if port.readings or port.noise == 0.0:
        return 0.0, 0.0
    from scipy.spatial import cKDTree

    faces = port.faces[:: max(len(port.faces) // SAMPLED, 1)]
    corners = port.vertices[faces]
    normal = vector_areas(port.vertices, faces)
    size = lengths(normal)
    at = cKDTree(port.centreline.points).query(corners.mean(axis=1))[1]
    ahead = port.centreline.frames[at, 0]
    wall = np.abs(np.einsum("ij,ij->i", normal, ahead)) < CAP * size
    edges = corners - np.roll(corners, 1, axis=1)
    along = np.einsum("nkj,nj->nk", edges, ahead)
    across = (np.einsum("nkj,nkj->nk", edges, edges) - along**2).sum(axis=1)
    if not wall.any():
        return 0.0, 0.0
    squares, area = across[wall], size[wall]
    if np.std(area) <= UNEVEN * np.mean(area):
        mean, (flatness, half) = float(np.average(squares, weights=area)), EVEN_FACETS
    else:
        mean, (flatness, half) = float(area.sum() / (area / squares).sum()), UNEVEN_FACETS
    return flatness * np.pi / 12.0 * mean, half * np.pi / 12.0 * mean


def side_roughness(port: Port, measures: Sequence[SectionMeasures]) -> Roughness | None:
    """Return how rough a scanned port's side lines are, None for a lofted one."""
    if port.readings or port.noise == 0.0:
        return None
    return Roughness(grain_of(port), 2.0 * BAND * float(np.mean([m.width for m in measures])))
