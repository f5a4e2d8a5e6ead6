"""PLY: written by us; checked before a library reads it, since its header can promise anything.

Arrays or a file's bytes come in; a file's bytes or its comments go out.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray, IntArray

HEADER_LIMIT = 100_000  # bytes
SIZES = {
    "char": 1, "uchar": 1, "int8": 1, "uint8": 1, "short": 2, "ushort": 2, "int16": 2, "uint16": 2,
    "int": 4, "uint": 4, "int32": 4, "uint32": 4, "float": 4, "float32": 4, "double": 8, "float64": 8,
}  # fmt: skip


def check_ply(data: bytes) -> tuple[bytes, int]:
    """Refuse a PLY that is too short for the elements it declares; return its header and count of faces.

    A list takes at least its count; in ASCII, a property at least a digit and a space.
    """
    fault = InputError("the file is not a PLY, or its header is damaged", hint="Copy or export it again")
    end = data.find(b"end_header", 0, HEADER_LIMIT)
    if not data.startswith(b"ply") or end < 0:
        raise fault
    header = data[:end]
    ascii_kind = b"format ascii" in header
    element, count, needed = "", 0, 0
    counts: dict[str, int] = {}
    try:
        for words in (line.split() for line in header.decode("latin-1").splitlines()):
            if words[:1] == ["element"]:
                element, count = words[1], int(words[2])
                if count < 0:
                    raise fault
                counts[element] = count
            elif words[:1] == ["property"] and words[1] == "list":
                # A face has three corners or more; other lists may be empty.
                corners = 3 if element == "face" else 0
                needed += count * (2 + 2 * corners if ascii_kind else SIZES[words[2]] + corners * SIZES[words[3]])
            elif words[:1] == ["property"]:
                needed += count * (2 if ascii_kind else SIZES[words[1]])
    except (ValueError, LookupError) as error:
        raise fault from error
    if needed > len(data) - end:
        declared = ", ".join(f"{number} of {name}" for name, number in counts.items())
        raise InputError(
            f"the file says it has {declared}, and is too short for them",
            hint="Copy or export it again",
        )
    return header, counts.get("face", 0)


def write_ply(vertices: FloatArray, faces: IntArray, rgba: np.ndarray | None) -> bytes:
    """Return a binary PLY in double precision, with its unit in a comment; rgba (n, 4) or None."""
    fields: list[tuple[str, str]] = [("x", "<f8"), ("y", "<f8"), ("z", "<f8")]
    if rgba is not None:
        fields += [(name, "u1") for name in ("red", "green", "blue", "alpha")]
    points = np.empty(len(vertices), dtype=fields)
    for k, name in enumerate("xyz"):
        points[name] = vertices[:, k]
    if rgba is not None:
        for k, name in enumerate(("red", "green", "blue", "alpha")):
            points[name] = rgba[:, k]
    triangles = np.empty(len(faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    triangles["count"], triangles["corners"] = 3, faces
    properties = "".join(f"property {'double' if kind == '<f8' else 'uchar'} {name}\n" for name, kind in fields)
    header = (
        "ply\nformat binary_little_endian 1.0\ncomment port mesh, units=mm\n"
        f"element vertex {len(points)}\n{properties}"
        f"element face {len(triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    return header.encode("ascii") + points.tobytes() + triangles.tobytes()
