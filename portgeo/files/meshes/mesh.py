"""Meshes in the usual open formats.

A file comes in and vertices in millimetres with faces go out, and where their unit is known from; or
the reverse, each format in the unit its standard asks for.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.units import MM_PER
from portgeo.files.disk import atomic_write, read_bounded, size_of
from portgeo.files.meshes.ply import check_ply, write_ply
from portgeo.files.meshes.stl import read_header_unit, read_stl, unique_points, write_stl
from portgeo.files.meshes.threemf import read_3mf, write_3mf

READ = (".stl", ".ply", ".obj", ".off", ".3mf", ".glb")
WRITTEN = (".stl", ".ply", ".obj", ".3mf", ".glb")
FARTHEST = 1e9  # of the file's own unit: past it an area or a volume has no digits left
FILE_LIMIT = 2_000_000_000  # bytes: 40 million triangles of binary STL


@dataclass(frozen=True)
class MeshFile:
    """A mesh as a file has it.

    vertices : (n, 3) millimetres where the unit is known, else the file's own numbers. faces :
    (m, 3), degenerate ones kept. unit : "mm", "in", "cm", "m" or what the file calls it; None
    where nothing tells. unit_from : "file", "option" or None. triangles : how many. stated : the unit
    that the file itself names, which an option goes before.
    """

    vertices: FloatArray
    faces: IntArray
    unit: str | None
    unit_from: str | None
    sha256: str
    triangles: int
    stated: str | None = None


@dataclass(frozen=True)
class _Raw:
    """What a format's reader finds: its own numbers, and the unit (with mm per unit) it declares."""

    vertices: FloatArray
    faces: IntArray
    sha256: str
    unit: str | None = None
    scale: float = 1.0


def read_mesh(path: str | Path, *, unit: str | None = None) -> MeshFile:
    """Return the mesh in an STL, PLY, OBJ, OFF, 3MF or GLB file, with equal vertices made one.

    unit : "mm", "in", "cm" or "m", which goes before what the file says. Raises InputError where
    the file is not a mesh, is cut short or damaged, or says what it does not hold.
    """
    file = str(path)
    if unit is not None and unit not in MM_PER:
        raise InputError(f"{unit!r} is not a unit of length", hint=f"Give one of {', '.join(MM_PER)}")
    suffix = Path(path).suffix.lower()
    if suffix not in READ:
        size_of(path)  # a name with a slip in its ending is mostly of no file
        raise InputError(
            f"a mesh cannot be read from a {suffix or 'nameless'} file",
            file=file,
            hint=f"Export it as one of {', '.join(READ)}",
        )
    try:
        raw = _read(Path(path), suffix)
    except PortgeoError as error:
        raise error.in_file(file) from error
    except MemoryError as error:
        raise InputError(
            "the mesh does not fit into memory", file=file, hint="Make it coarser where it was scanned"
        ) from error
    if np.abs(raw.vertices).max() > FARTHEST:
        raise InputError(
            f"a coordinate is {np.abs(raw.vertices).max():.3g}, farther out than any scan",
            file=file,
            hint="Export the mesh again, or repair it",
        )
    known, source = (unit, "option") if unit else (raw.unit, "file" if raw.unit else None)
    scale = MM_PER[unit] if unit else raw.scale
    return MeshFile(raw.vertices * scale, raw.faces, known, source, raw.sha256, len(raw.faces), raw.unit)


def _read(path: Path, suffix: str) -> _Raw:
    size = size_of(path)
    if suffix == ".stl" and 0 < size <= FILE_LIMIT:
        try:
            vertices, faces, sha256, head = read_stl(path, size)
        except OSError as error:
            raise InputError(
                f"the file cannot be read ({error.strerror})", hint="Check that you may read it"
            ) from error
        unit = read_header_unit(head)
        return _Raw(vertices, faces, sha256, unit, MM_PER[unit] if unit else 1.0)
    data = read_bounded(path, FILE_LIMIT)
    if suffix == ".3mf":
        vertices, faces, unit, scale = read_3mf(data, str(path))
    else:
        check = {".ply": check_ply, ".glb": _check_glb, ".off": _check_off, ".obj": _check_obj}[suffix]
        comments, declared = check(data)
        vertices, faces = _through_trimesh(data, suffix)
        if len(faces) < declared:
            raise InputError(
                f"the file says it has {declared} faces, and {len(faces)} can be read",
                hint="Copy or export it again",
            )
        unit = "m" if suffix == ".glb" else read_header_unit(comments)  # glTF 2.0, 3.4: all lengths are metres
        scale = MM_PER[unit] if unit else 1.0
    if not len(faces):
        raise InputError(
            "the file has no triangles", hint="Export the mesh again; of a cloud of points, make a mesh first"
        )
    first, number = unique_points(vertices)
    return _Raw(vertices[first], number[faces], hashlib.sha256(data).hexdigest(), unit, scale)


def _comments(data: bytes) -> bytes:
    """Return the comment lines at the head of a text format."""
    return b"\n".join(line for line in data[:2000].splitlines() if line.startswith(b"#"))


def _through_trimesh(data: bytes, suffix: str) -> tuple[FloatArray, IntArray]:
    import logging

    import trimesh

    log = logging.getLogger("trimesh")
    level = log.level
    log.setLevel(logging.CRITICAL)  # its remarks are no part of our output
    try:
        mesh: Any = trimesh.load(BytesIO(data), file_type=suffix[1:], force="mesh", process=False, skip_materials=True)
        vertices = np.array(mesh.vertices, dtype=np.float64).reshape(-1, 3)
        faces = np.array(mesh.faces, dtype=np.int64).reshape(-1, 3)
    except MemoryError:
        raise
    except Exception as error:  # the library raises whatever its parsers met
        raise InputError(
            f"the file is damaged, cut short, or not {suffix[1:].upper()}", hint="Copy or export it again"
        ) from error
    finally:
        log.setLevel(level)
    if len(faces) and not (0 <= faces.min() and faces.max() < len(vertices)):
        raise InputError("a triangle names a vertex that is not there", hint="Copy or export it again")
    return vertices, faces


def _check_obj(data: bytes) -> tuple[bytes, int]:
    """Return an OBJ's comments; it declares no counts."""
    return _comments(data), 0


def _check_off(data: bytes) -> tuple[bytes, int]:
    """Refuse an OFF whose counts cannot be true; return its comments and count of faces."""
    words = b" ".join(line.partition(b"#")[0] for line in data[:4000].splitlines()).split()
    if words and words[0].upper().endswith(b"OFF"):
        words = words[1:]
    try:
        vertices, faces = int(words[0]), int(words[1])
    except (ValueError, IndexError) as error:
        raise InputError("the file is not an OFF: it has no counts", hint="Export it again") from error
    # A vertex is at least "0 0 0" and a face "3 0 0 0", each on its line.
    if vertices < 0 or faces < 0 or 6 * vertices + 8 * faces > len(data) + 2:
        raise InputError(
            f"the file says it has {vertices} vertices and {faces} faces and is too small for them",
            hint="Copy or export it again",
        )
    return _comments(data), faces


def _check_glb(data: bytes) -> tuple[bytes, int]:
    """Refuse a GLB whose counts are not backed by bytes; it has no comments and no count of faces.

    The header is magic, version and length, then chunks of length, type and bytes (glTF 2.0, 4.4).
    """
    fault = InputError("the GLB is damaged, cut short, or refers to other files", hint="Copy or export it again")
    if data[:4] != b"glTF" or int.from_bytes(data[8:12], "little") > len(data):
        raise fault
    try:
        tree = json.loads(data[20 : 20 + int.from_bytes(data[12:16], "little")])
        accessors, views = tree.get("accessors", []), tree.get("bufferViews", [])
        for accessor in accessors:
            if "sparse" in accessor or accessor["count"] > views[accessor["bufferView"]]["byteLength"]:
                raise fault
        nodes = [child for node in tree.get("nodes", []) for child in node.get("children", [])]
        if any("uri" in buffer for buffer in tree.get("buffers", [])) or len(nodes) != len(set(nodes)):
            raise fault
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
        raise fault from error
    return b"", 0


def write_mesh(
    path: str | Path,
    vertices: FloatArray,
    faces: IntArray,
    *,
    force: bool = False,
    colours: np.ndarray | None = None,
) -> None:
    """Write a mesh, in millimetres, in the format that the name's ending says.

    colours : (n, 4) RGBA of 0 to 255, kept by PLY and GLB. GLB is in metres as glTF asks, 3MF says
    millimetres, and the others note them in a header or comment. The same mesh gives the same
    bytes. Raises OutputError for an ending that is not known, a file that is there (without
    `force`), or where the system refuses.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in WRITTEN:
        raise OutputError(
            f"a mesh cannot be written to a {suffix or 'nameless'} file",
            file=str(path),
            hint=f"End the name in one of {', '.join(WRITTEN)}",
        )
    vertices = np.asarray(vertices, dtype=np.float64)
    faces = np.asarray(faces, dtype=np.int64)
    rgba = None if colours is None else np.asarray(colours).astype(np.uint8)
    writers: dict[str, Callable[[], bytes]] = {
        ".stl": lambda: write_stl(vertices, faces),
        ".ply": lambda: write_ply(vertices, faces, rgba),
        ".obj": lambda: _obj(vertices, faces),
        ".3mf": lambda: write_3mf(vertices, faces),
        ".glb": lambda: _glb(vertices, faces, rgba),
    }
    atomic_write(path, writers[suffix](), force=force)


def _obj(vertices: FloatArray, faces: IntArray) -> bytes:
    lines = ["# port mesh, units=mm"]
    lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in vertices.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (faces + 1).tolist()]
    return ("\n".join(lines) + "\n").encode("ascii")


def _glb(vertices: FloatArray, faces: IntArray, rgba: np.ndarray | None) -> bytes:
    import trimesh
    from trimesh.exchange.gltf import export_glb

    mesh = trimesh.Trimesh(vertices / MM_PER["m"], faces, vertex_colors=rgba, process=False)
    return bytes(export_glb(trimesh.Scene(mesh), include_normals=False, tree_postprocessor=_made_here))


def _made_here(tree: dict[str, Any]) -> None:
    tree["asset"]["generator"] = "portgeo"
