"""A viscous solution as it is read back: velocity, pressure and fluxes in a tube, the wall's shear, means by ring.

A tube and the files of a time come in; a Solution goes out, and what is told of its rings.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.viscous.foam import inside_of, on_patch
from portgeo.viscous.polymesh import METRES, PolyMesh, polymesh
from portgeo.viscous.tube import Tube

SLOW = 0.5  # of a section's mean speed: what is slower does not count as filling it


@dataclass(frozen=True)
class Solution:
    """A viscous solution in a tube, per density: pressure in m2/s2.

    velocity (c, 3) m/s, pressure (c,); flux (n - 2, q) m3/s through the faces between layers, at rings 1 to n - 2.
    shear (n - 1, p, 3) m2/s2 : that the air puts on the wall, at its faces. through : m3/s in at the inlet and out at
    the outlet. values : fields inside by name, for another solution to begin from.
    """

    tube: Tube
    mesh: PolyMesh
    velocity: FloatArray
    pressure: FloatArray
    flux: FloatArray
    shear: FloatArray
    through: tuple[float, float]
    values: dict[str, FloatArray]

    @cached_property
    def areas(self) -> FloatArray:
        """Vectors (n, q, 3) of the quads of each ring along the flow, mm2."""
        corner = self.tube.grid.nodes[:, self.tube.grid.pattern.quads]
        return np.asarray(np.cross(corner[:, :, 2] - corner[:, :, 0], corner[:, :, 3] - corner[:, :, 1]) / 2.0)

    def at_rings(self, values: FloatArray) -> FloatArray:
        """Return values (c, ...) of hexahedra at the quads (n - 2, q, ...) of rings 1 to n - 2, linear between."""
        quads = len(self.tube.grid.pattern.quads)
        layers = self.tube.middles.reshape(-1, quads, 3)
        face = self.tube.grid.nodes[1:-1, self.tube.grid.pattern.quads].mean(axis=2)
        normal = self.areas[1:-1]
        back = np.abs(np.einsum("rqj,rqj->rq", face - layers[:-1], normal))
        ahead = np.abs(np.einsum("rqj,rqj->rq", layers[1:] - face, normal))
        share = back / (back + ahead)
        by_layer = values.reshape(-1, quads, *values.shape[1:])
        share = share.reshape(*share.shape, *([1] * (by_layer.ndim - 2)))
        return np.asarray((1.0 - share) * by_layer[:-1] + share * by_layer[1:])

    @cached_property
    def total_pressure(self) -> FloatArray:
        """Mean total pressure (n - 2,) at rings 1 to n - 2, by the flow through each quad, m2/s2."""
        total = self.pressure + (self.velocity**2).sum(axis=1) / 2.0
        return np.asarray((self.at_rings(total) * self.flux).sum(axis=1) / self.flux.sum(axis=1))

    @cached_property
    def imbalance(self) -> float:
        """Greatest difference of the flow through a ring from that at the inlet, over it."""
        through = np.append(self.flux.sum(axis=1), self.through[1])
        return float(np.abs(through / self.through[0] - 1.0).max())

    def along(self, ring: int) -> FloatArray:
        """Return the speed square to a ring (q,), m/s, 1 to n - 2."""
        area = np.linalg.norm(self.areas[ring], axis=1)
        return np.asarray(self.flux[ring - 1] / (area * METRES**2))

    def unfilled(self, ring: int) -> float:
        """Return the share of a ring's area where the air is slower than SLOW times the mean."""
        area, speed = np.linalg.norm(self.areas[ring], axis=1), self.along(ring)
        mean = (speed * area).sum() / area.sum()
        return float(area[speed < SLOW * mean].sum() / area.sum())

    @cached_property
    def wall_shear(self) -> FloatArray:
        """Shear (n - 1, p) on the wall along the flow, m2/s2; under 0 where air runs back."""
        wall = self.tube.grid.wall
        ahead = wall[1:] - wall[:-1]
        ahead = ahead + np.roll(ahead, -1, axis=1)
        ahead /= np.linalg.norm(ahead, axis=2, keepdims=True)
        return np.asarray((self.shear * ahead).sum(axis=2))


def read_solution(tube: Tube, folder: Path, fields: tuple[str, ...], mesh: PolyMesh | None = None) -> Solution:
    """Return what a time's folder holds. Raises InputError where a file lacks or is not of this tube."""
    made = polymesh(tube.grid) if mesh is None else mesh
    texts = {name: _text(folder / name) for name in (*fields, "phi", "wallShearStress")}
    inside = {name: inside_of(texts[name], made.cells, str(folder / name)) for name in fields}
    quads = len(tube.grid.pattern.quads)
    flux = inside_of(texts["phi"], len(made.neighbour), str(folder / "phi"))[made.between]
    ends = [float(on_patch(texts["phi"], name, quads, str(folder / "phi")).sum()) for name in ("inlet", "outlet")]
    on_wall = made.wall.stop - made.wall.start
    shear = on_patch(texts["wallShearStress"], "wall", on_wall, str(folder / "wallShearStress"))
    return Solution(
        tube, made, inside["U"], inside["p"], flux,
        # The solver tells what the wall puts on the air.
        -shear.reshape(len(tube.stations) - 1, -1, 3), (-ends[0], ends[1]),
        {name: values for name, values in inside.items() if name != "nut"},
    )  # fmt: skip


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace")
    except OSError as error:
        raise InputError(
            f"the solver's file cannot be read ({error.strerror or error})",
            file=str(path),
            hint="Take the case's folder away, and run the command again",
        ) from error
