"""Ports to be damaged: clean and dirty mold scans, and section sheets, small enough to be many.

Names come in; meshes with what an undamaged measurement of them gives, or a sheet's text, go out.
"""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import trimesh

from portgeo.app.cli import main
from portgeo.core.plane import FloatArray, IntArray
from portgeo.files.meshes.mesh import write_mesh
from portgeo.files.meshes.stl import TRIANGLE
from tests.scan import make
from tests.torture import mutate

EDGE = 3.0  # mm: some 5,000 triangles
SHAPE = make.Shape()
SLIM = make.Shape((40.0, 25.0), 30.0, np.radians(60.0), (26.0, 24.0), (34.0, 30.0), (3.0, 2.0))
FORMATS = (".stl", ".ascii.stl", ".ply", ".ascii.ply", ".obj", ".off", ".3mf", ".glb")


@cache
def scan(name: str) -> tuple[FloatArray, IntArray]:
    """Return vertices and faces of a scan by name."""
    rng = np.random.default_rng(7)
    shape = SLIM if name in ("slim", "open", "dirty") else SHAPE
    tube = make.tube(shape, EDGE, caps=(False, False) if name == "open" else (True, True))
    if name == "rough":
        tube = make.posed(make.roughened(tube, 0.05, rng), make.random_pose(rng))
    elif name == "spill":
        tube = make.with_spill(tube, shape, 2.0, 12.0, EDGE)
    elif name == "seat":
        tube = make.with_seat(tube, shape, 1.5, 5.0, EDGE)
    elif name == "boss":
        tube, _ = make.with_boss(tube, shape, 12.0, 7.0, EDGE)
    elif name == "dirty":
        tube = make.with_debris(make.roughened(tube, 0.03, rng), rng)
        tube = make.holed(tube, tube.vertices[[400, 1200]], 4.0)
    elif name == "siamesed":
        tube = make.siamesed(SLIM, EDGE)
    return tube.vertices, tube.faces


SCANS = ("clean", "slim", "open", "rough", "spill", "seat", "boss", "dirty", "siamesed")


@dataclass(frozen=True)
class Truth:
    """What the undamaged scan measures: volume cc, least area mm2, with their standard uncertainties."""

    volume: float
    volume_u: float
    least: float
    least_u: float

    @staticmethod
    def of(result: dict) -> Truth:
        least = result["least_area"]
        return Truth(result["volume_cc"], result["volume_u_cc"], least["area_mm2"], least["area_u_mm2"])


@cache
def truth(name: str) -> Truth | None:
    """Return what the undamaged scan measures; None where that is refused."""
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stderr(io.StringIO()):
        write_mesh(Path(folder) / "scan.stl", *scan(name))
        found = Path(folder) / "found.json"
        words = ["measure", f"{folder}/scan.stl", "--units-in", "mm", "--json", str(found), "-q"]
        return Truth.of(json.loads(found.read_text())) if main(words) == 0 else None


def file_of(vertices: FloatArray, faces: IntArray, kind: str) -> bytes:
    """Return a mesh file's bytes; `kind` is one of FORMATS."""
    if kind == ".stl":
        triangles = np.zeros(len(faces), dtype=TRIANGLE)
        with np.errstate(over="ignore"):
            triangles["corners"] = vertices[faces]
        return b"scan".ljust(80) + len(faces).to_bytes(4, "little") + triangles.tobytes()
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    if kind == ".ascii.stl":
        corner = "vertex {:.9g} {:.9g} {:.9g}\n"
        body = "".join(
            "facet normal 0 0 0\nouter loop\n" + "".join(corner.format(*p) for p in t) + "endloop\nendfacet\n"
            for t in vertices[faces].tolist()
        )
        return f"solid scan\n{body}endsolid scan\n".encode()
    if kind.endswith(".ply"):
        return trimesh.exchange.ply.export_ply(mesh, encoding="ascii" if "ascii" in kind else "binary")
    data = mesh.export(file_type=kind[1:])
    return data.encode() if isinstance(data, str) else data


def damaged(
    name: str, mesh_damage: list[tuple[str, float]], kind: str, byte_damage: list[tuple[str, float]], seed: int
):
    """Return the bytes of a damaged scan's file, and by what factor lengths are longer than they were."""
    rng = np.random.default_rng(seed)
    v, f = scan(name)
    factor = 1.0
    with np.errstate(all="ignore"):
        for damage, amount in mesh_damage:
            size = np.ptp(v, axis=0).max()
            v, f = mutate.MESH_KINDS[damage](v, f, rng, amount)
            if damage == "rescale":
                factor *= float(np.ptp(v, axis=0).max() / size)
        data = file_of(v, f, kind)
    for damage, amount in byte_damage:
        data = mutate.BYTE_KINDS[damage](data, rng, amount) if data else data
    return data, factor
