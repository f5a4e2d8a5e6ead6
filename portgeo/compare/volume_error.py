"""What a volume between two walls, or a mean depth, is unsure by: noise, bulge, the fit and the scale.

The map of a comparison, its scatter and the alignment come in; standard uncertainties of sums over its cells
go out. Every figure of one comparison asks here with weights of its own, so that what they share is the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.compare.bulge import edge_bulges, mean_bulge
from portgeo.compare.depth_map import DepthMap
from portgeo.compare.register import Alignment
from portgeo.compare.scatter import Scatter
from portgeo.compare.wedges import Wedges
from portgeo.plane import FloatArray
from portgeo.triangles import lengths


@dataclass(frozen=True)
class CellErrors:
    """Errors of a map's cells (n, m).

    area : mm2. pull : (n, m, 6), how the volume behind a cell changes with the motion of the fit, whose
    covariance (6, 6) is `motion`. bulges : (n, m) for either mesh, the volume that it has over its flats.
    scatter : of the depths. cell : height and width, mm.
    """

    area: FloatArray
    pull: FloatArray
    motion: FloatArray
    bulges: tuple[FloatArray, ...]
    scatter: Scatter
    cell: tuple[float, float]

    def volume_u(self, weights: FloatArray) -> float:
        """Return the standard uncertainty, mm3, of the volume between the two walls, counted by weights (n, m).

        The fit shifts the whole wall at once (JCGM 100, 5.1.2, with the covariance of the motion). The noise
        of neighbours is alike, see scatter. What bulges between the points of a mesh is in its volume or not:
        see bulge.
        """
        pull = np.einsum("nm,nmk->k", weights, self.pull)
        by_fit = max(float(pull @ self.motion @ pull), 0.0)
        by_bulge = sum(float((weights * bulge).sum()) ** 2 for bulge in self.bulges) / 3.0
        by_noise = self.scatter.variance(weights * self.area, self.cell) if self.scatter.sigma > 0.0 else 0.0
        return float(np.sqrt(by_fit + by_bulge + by_noise))

    def depth_u(self, weights: FloatArray) -> float:
        """Return the standard uncertainty, mm, of the mean depth of cells by weights (n, m)."""
        area = float((weights * self.area).sum())
        return self.volume_u(weights) / area if area > 0.0 else 0.0

    def cell_depth_u(self) -> FloatArray:
        """Return the standard uncertainty (n, m), mm, of the depth of each cell: by the fit and by noise."""
        by_fit = np.maximum(np.einsum("nmi,ij,nmj->nm", self.pull, self.motion, self.pull), 0.0)
        return np.sqrt(by_fit / np.maximum(self.area, 1e-9) ** 2 + self.scatter.sigma**2)


def cell_errors(map_: DepthMap, alignment: Alignment, sides: Sequence[Wedges]) -> CellErrors:
    """Return the errors of a map's cells. sides : the walls as their files have them, AFTER's first."""
    after = sides[0]
    pull = after.areas[:, None] * alignment.pull(after.vertices, after.normals)
    return CellErrors(
        area=map_.area,
        pull=np.stack([map_.spread(pull[:, k], after.where) for k in range(6)], axis=2),
        motion=alignment.covariance,
        bulges=tuple(_bulges(map_, part) for part in sides),
        scatter=map_.scatter,
        cell=map_.cell,
    )


def _bulges(map_: DepthMap, part: Wedges) -> FloatArray:
    rise = mean_bulge(edge_bulges(part.vertices, part.faces, part.normals))
    return map_.spread(part.shared_out(lengths(part.vector_areas) * rise), part.where)
