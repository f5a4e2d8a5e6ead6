"""STL, binary and ASCII; and the weld that makes a mesh of loose triangles.

A file comes in and corners that stand on the very same point become one vertex; vertices and faces
go out, or the reverse.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray, IntArray

TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
HEADER = 84  # bytes before the triangles: 80 of text and the count
BLOCK = 200_000  # triangles read at a time
SLACK = 50  # bytes after the last triangle that some programs leave
VERTEX = re.compile(rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)


def read_stl(path: Path, size: int) -> tuple[FloatArray, IntArray, str, bytes]:
    """Return vertices, faces, SHA-256 and header of an STL file of `size` bytes, welded.

    Raises InputError where it is truncated, or its count is not that of its triangles.
    """
    digest = hashlib.sha256()
    with open(path, "rb") as stream:
        head = stream.read(HEADER)
        digest.update(head)
        count = int.from_bytes(head[80:84], "little")
        expected = HEADER + TRIANGLE.itemsize * count
        if len(head) == HEADER and count and expected <= size < expected + SLACK:
            corners = np.empty((count, 3, 3), dtype=np.float32)
            for start in range(0, count, BLOCK):
                block = stream.read(TRIANGLE.itemsize * min(BLOCK, count - start))
                digest.update(block)
                part = np.frombuffer(block, dtype=TRIANGLE)
                corners[start : start + len(part)] = part["corners"]
            digest.update(stream.read())
            vertices, faces = weld(corners.reshape(-1, 3))
            return vertices, faces, digest.hexdigest(), head[:80]
        data = head + stream.read()
    if not data[:512].lstrip().lower().startswith(b"solid"):
        raise _lies(count, size, len(head) == HEADER)
    corners64 = _ascii_corners(data)
    vertices, faces = weld(corners64)
    return vertices, faces, hashlib.sha256(data).hexdigest(), data[:80].splitlines()[0]


def _lies(count: int, size: int, whole_header: bool) -> InputError:
    there = max(size - HEADER, 0) // TRIANGLE.itemsize
    if not whole_header or count == 0:
        return InputError("the file has no triangles, or is not an STL", hint="Export the mesh again")
    return InputError(
        f"the file says it has {count} triangles but has room for {there}: it is cut short, or not an STL",
        hint="Copy or export it again",
    )


def _ascii_corners(data: bytes) -> FloatArray:
    lower = data.lower()
    triples = VERTEX.findall(data)
    facets = len(re.findall(rb"^\s*endfacet", lower, re.MULTILINE))
    if b"endsolid" not in lower or len(triples) != 3 * facets or facets != len(re.findall(rb"facet\s+normal", lower)):
        raise InputError(
            f"the text has {len(triples)} corners and {facets} whole triangles, or no end: it is cut "
            "short, or not an STL",
            hint="Copy or export it again",
        )
    if not facets:
        raise InputError("the file has no triangles", hint="Export the mesh again")
    try:
        return np.array(triples).astype(np.float64).reshape(-1, 3)
    except ValueError as error:
        raise InputError("a corner is not three numbers", hint="Export it again, best as binary STL") from error


def write_stl(vertices: FloatArray, faces: IntArray) -> bytes:
    """Return a binary STL, its unit in the header (the format has no place for one)."""
    triangles = np.zeros(len(faces), dtype=TRIANGLE)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    triangles["normal"] = np.divide(normal, size, out=np.zeros_like(normal), where=size > 0)
    triangles["corners"] = corners
    # Not begun with "solid", which would pass for the ASCII kind.
    return b"port mesh, units=mm".ljust(80) + len(faces).to_bytes(4, "little") + triangles.tobytes()


def weld(corners: np.ndarray) -> tuple[FloatArray, IntArray]:
    """Return vertices (n, 3) and faces (m, 3) of corners (3 m, 3), equal ones made one.

    Vertices keep the order in which they first appear. Minus zero is zero. Raises InputError where
    a coordinate is not finite.
    """
    first, number = unique_points(corners)
    return corners[first].astype(np.float64), number.reshape(-1, 3)


def unique_points(points: np.ndarray) -> tuple[IntArray, IntArray]:
    """Return the first index of each distinct point, and each point's number among them.

    points : (k, 3) float32 or float64, k > 0; minus zeros in it become zeros. Points are sorted by a hash
    of their bits, which is several times faster than sorting by coordinates; where two distinct
    points share a hash (one chance in ten million for a million points) they are sorted by coordinates.
    """
    with np.errstate(invalid="ignore"):
        points += points.dtype.type(0.0)  # -0.0 + 0.0 is 0.0
    if not np.isfinite(points).all():
        raise InputError("a coordinate is not a finite number", hint="Export the mesh again, or repair it")
    key = _hash(points)
    order = np.argsort(key)
    key = key.take(order)
    new = np.append(True, key[1:] != key[:-1])
    del key  # to spare memory
    first, number = _numbered(order, new)
    distinct = points[first]
    for start in range(0, len(points), BLOCK):
        part = slice(start, start + BLOCK)
        if (distinct.take(number[part], axis=0) != points[part]).any():
            return _by_coordinates(points)
    return first, number


def _hash(points: np.ndarray) -> np.ndarray:
    """Return 64-bit hashes (k,) of points' bits: multiply and shift, with odd constants from splitmix64."""
    bits: np.ndarray = points.view(np.uint32 if points.dtype == np.float32 else np.uint64)
    key = np.zeros(len(points), dtype=np.uint64)
    for column in range(3):
        key ^= bits[:, column].astype(np.uint64)
        key *= np.uint64(0xBF58476D1CE4E5B9)
        key ^= key >> np.uint64(29)
    key *= np.uint64(0x94D049BB133111EB)
    key ^= key >> np.uint64(32)
    return key


def _by_coordinates(points: np.ndarray) -> tuple[IntArray, IntArray]:
    order = np.lexsort(points.T)
    new = np.append(True, (points[order[1:]] != points[order[:-1]]).any(axis=1))
    return _numbered(order, new)


def _numbered(order: np.ndarray, new: np.ndarray) -> tuple[IntArray, IntArray]:
    """Return first indices and numbers from a sorted order and where each run of equal points begins."""
    first = np.minimum.reduceat(order, np.flatnonzero(new))
    by_first = np.argsort(first)
    rank = np.empty(len(first), dtype=np.int64)
    rank[by_first] = np.arange(len(first))
    run: np.ndarray = np.cumsum(new, dtype=np.int32 if len(new) < 2**31 else np.int64)
    run -= 1
    number = np.empty(len(order), dtype=np.int64)
    for start in range(0, len(order), BLOCK):  # in blocks, to spare memory
        part = slice(start, start + BLOCK)
        number[order[part]] = rank.take(run[part])
    return first[by_first], number


def read_header_unit(text: bytes) -> str | None:
    """Return the unit that a header or comment names, as `units=mm` or `unit: inch`; else None."""
    match = re.search(rb"\bunits?\s*[:=]\s*(mm|millimet(?:er|re)s?|in|inch|inches|cm|m)\b", text, re.IGNORECASE)
    if not match:
        return None
    name = match[1].decode().lower()
    return "mm" if name.startswith("milli") else "in" if name.startswith("in") else name
