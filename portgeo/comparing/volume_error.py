"""What a volume between two walls, or a depth, is unsure by: noise, bulge, the fit, readings and the scale.

The map of a comparison, its scatter, the alignment and the readings' errors come in; standard uncertainties of sums
over its cells go out. Every figure of one comparison asks here with weights of its own, so that what they share
is the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.comparing.bulge import edge_bulges, mean_bulge
from portgeo.comparing.depth_map import NO_AREA_MM2, DepthMap, wider
from portgeo.comparing.register import Alignment
from portgeo.comparing.wedges import Wedges
from portgeo.core.plane import FloatArray
from portgeo.core.triangles import lengths

ON_THE_WAY = np.array([0.0, 0.25, 0.5, 0.75, 1.0])  # from the first place that fits to another
SIMPSON = np.array([1.0, 4.0, 2.0, 4.0, 1.0]) / 12.0  # weights of a mean over them


@dataclass(frozen=True)
class CellErrors:
    """Errors of a map's cells (n, m).

    area : mm2. pull : (n, m, 6), how the volume behind a cell changes with the motion of the fit, whose
    covariance (6, 6) is `motion`. slides : (k, n, m), mm, how much deeper a cell is where the two fit as well.
    bulges : (n, m) for either mesh, the volume that it has over its flats. readings : (j, n, m), mm, standard
    errors of the depth, each on its own. scale : standard uncertainty of both walls' size, as a share.
    """

    map: DepthMap
    area: FloatArray
    pull: FloatArray
    motion: FloatArray
    slides: FloatArray
    bulges: tuple[FloatArray, ...]
    readings: FloatArray
    scale: float

    def volume_u(self, weights: FloatArray) -> float:
        """Return the standard uncertainty, mm3, of the volume between the two walls, counted by weights (n, m).

        Without readings, scale and other fits. The fit shifts the whole wall at once (JCGM 100, 5.1.2, with the
        covariance of the motion). The noise of neighbours is alike, see scatter. What bulges between the points
        of a mesh is in its volume or not: see bulge.
        """
        pull = np.einsum("nm,nmk->k", weights, self.pull)
        by_fit = max(float(pull @ self.motion @ pull), 0.0)
        by_bulge = sum(float((weights * bulge).sum()) ** 2 for bulge in self.bulges) / 3.0
        scatter = self.map.scatter
        by_noise = scatter.variance(weights * self.area, self.map.cell) if scatter.sigma > 0.0 else 0.0
        return float(np.sqrt(by_fit + by_bulge + by_noise))

    def net_u(self, shares: FloatArray, net: float) -> float:
        """Return the standard uncertainty, mm3, of all that a part of the wall, by shares (n, m), gained."""
        slid = np.einsum("knm,nm->k", self.slides, shares * self.area)
        rest = np.sqrt((slid**2).sum() / 3.0 + self._read(shares) ** 2 + (3.0 * self.scale * net) ** 2)
        return float(np.hypot(self.volume_u(shares), rest))

    def counted_u(self, shares: FloatArray, gained: FloatArray, sign: float, uncounted: float = 0.0) -> float:
        """Return the standard uncertainty, mm3, of metal taken off (sign 1) or put on (-1) a part of the wall.

        shares : (n, m), how far cells are of that part. gained : (n, m), mm3, what the port gained behind cells.
        uncounted : mm3 counted neither as taken off nor as put on. Beyond what is counted a cut may go on, too
        shallow to tell: what lies in a margin once more as wide is of the cut or not (a rectangular distribution,
        JCGM 100, 4.3.7). Clean walls show it to the last of it. Where nothing is counted the part's noise may
        hide as much. Two scans of one scanner are too large or too small alike: what they differ by is so by
        as much of itself.
        """
        weights = (self.map.cut if sign > 0.0 else self.map.built_up) * shares
        size = float((weights * gained).sum())
        rest = self._read(shares) ** 2 + self._slid(shares, sign) ** 2 + (3.0 * self.scale * size) ** 2
        if self.map.noise > 0.0 and not weights.any():
            return float(np.sqrt(self.volume_u(shares) ** 2 + rest))
        if self.map.noise > 0.0:
            margin = wider(self.map.cut if sign > 0.0 else self.map.built_up) * shares
            shallow = float(((margin - weights) * gained).sum())
        else:
            faint = (1.0 - self.map.cut - self.map.built_up) * self.area * np.maximum(sign * self.map.depth, 0.0)
            shallow = max(abs(uncounted), float((shares * faint).sum()))
        return float(np.sqrt(self.volume_u(weights) ** 2 + shallow**2 / 3.0 + rest))

    def depth_u(self, shares: FloatArray, mean: float) -> float:
        """Return the standard uncertainty, mm, of the mean depth of cells by shares (n, m)."""
        area = float((shares * self.area).sum())
        return self.net_u(shares, area * mean / 3.0) / area if area > 0.0 else 0.0

    def cell_depth_u(self) -> FloatArray:
        """Return the standard uncertainty (n, m), mm, of the depth of each cell."""
        by_fit = np.maximum(np.einsum("nmi,ij,nmj->nm", self.pull, self.motion, self.pull), 0.0)
        by_fit = by_fit / np.maximum(self.area, NO_AREA_MM2) ** 2
        by_place = (self.slides**2).sum(axis=0) / 3.0 + (self.readings**2).sum(axis=0)
        return np.sqrt(by_fit + by_place + self.map.scatter.sigma**2 + (self.scale * self.map.depth) ** 2)

    def deepest_u(self) -> float:
        """Return the standard uncertainty, mm, that other fits and the scale make of the deepest cut."""
        counted = self._counted()
        deepest = float(counted.max())
        off = [[float((counted + t * slide).max()) - deepest for t in ON_THE_WAY] for slide in self.slides]
        return float(np.sqrt(sum(SIMPSON @ np.square(way) for way in off) + (self.scale * deepest) ** 2))

    def _counted(self) -> FloatArray:
        """Return the depth (n, m) of what is counted as cut or built up, nothing elsewhere."""
        return self.map.depth * (self.map.cut + self.map.built_up)

    def _read(self, shares: FloatArray) -> float:
        """Return the standard uncertainty, mm3, that readings make of the volume behind a part of the wall."""
        return float(np.sqrt((np.einsum("jnm,nm->j", self.readings, shares * self.area) ** 2).sum()))

    def _slid(self, shares: FloatArray, sign: float) -> float:
        """Return the standard uncertainty, mm3, of metal taken off (or put on, -1) by where else the two fit.

        Any place on the way to the other fit is as likely: what one wall loses the one across from it may gain.
        """
        counted, area = sign * self._counted(), shares * self.area
        ways = [
            [float((area * np.maximum(counted + t * sign * slide, 0.0)).sum()) for t in ON_THE_WAY]
            for slide in self.slides
        ]
        return float(np.sqrt(sum(SIMPSON @ np.square(np.array(way) - way[0]) for way in ways)))


def cell_errors(
    map_: DepthMap, alignment: Alignment, after: Wedges, sides: Sequence[Wedges], readings: FloatArray, scale: float
) -> CellErrors:
    """Return the errors of a map's cells. after : AFTER's wall, refined. sides : AFTER's and BEFORE's, as scanned."""
    pull = after.areas[:, None] * alignment.pull(after.vertices, after.normals)
    cells = np.stack([map_.spread(pull[:, k], after.where) for k in range(6)], axis=2)
    area = map_.spread(after.areas, after.where)
    return CellErrors(
        map=map_,
        area=area,
        pull=cells,
        motion=alignment.covariance,
        slides=np.einsum("kj,nmj->knm", alignment.slides, cells) / np.maximum(area, NO_AREA_MM2),
        bulges=tuple(_bulges(map_, part) for part in sides),
        readings=readings,
        scale=scale,
    )


def _bulges(map_: DepthMap, part: Wedges) -> FloatArray:
    rise = mean_bulge(edge_bulges(part.vertices, part.faces, part.normals))
    return map_.spread(part.shared_out(lengths(part.vector_areas) * rise), part.where)
