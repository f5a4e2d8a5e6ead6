"""The solver's own format: lists and dictionaries as text, and fields read from it.

Arrays and plain values come in and text goes out; a field's text comes in and arrays go out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray, IntArray

DIGITS = 12  # significant, of numbers in files: fluxes sum to nothing within a part in a million
LIST = re.compile(r"(?:List<\w+>\s*)?(\d+)\s*\(")
PATCH = r"\b{name}\s*\{{(.*?)\n    \}}"


def header(kind: str, name: str, place: str = "") -> str:
    """Return the head of a file of a class, under a name."""
    location = f'    location    "{place}";\n' if place else ""
    return (
        "FoamFile\n{\n    version     2.0;\n    format      ascii;\n"
        f"    class       {kind};\n{location}    object      {name};\n}}\n\n"
    )


def dictionary(entries: Mapping[str, Any], depth: int = 0) -> str:
    """Return entries as a dictionary's text; a mapping within is one within."""
    pad, lines = "    " * depth, []
    for key, value in entries.items():
        if isinstance(value, Mapping):
            lines.append(f"{pad}{key}\n{pad}{{\n{dictionary(value, depth + 1)}{pad}}}\n")
        else:
            lines.append(f"{pad}{key} {_word(value)};\n")
    return "".join(lines)


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.{DIGITS}g}" if isinstance(value, float) else str(value)


def scalars(values: Sequence[int] | IntArray | FloatArray) -> str:
    """Return numbers (n,) as a list's text."""
    array = np.asarray(values)
    form = "%d" if array.dtype.kind in "iu" else f"%.{DIGITS}g"
    return f"{len(array)}\n(\n" + "\n".join(form % value for value in array.tolist()) + "\n)\n"


def vectors(values: FloatArray) -> str:
    """Return vectors (n, 3) as a list's text."""
    form = f"(%.{DIGITS}g %.{DIGITS}g %.{DIGITS}g)"
    return f"{len(values)}\n(\n" + "\n".join(form % tuple(row) for row in values.tolist()) + "\n)\n"


def face_list(faces: IntArray) -> str:
    """Return faces (n, 4) as a list's text."""
    return f"{len(faces)}\n(\n" + "\n".join(f"4({a} {b} {c} {d})" for a, b, c, d in faces.tolist()) + "\n)\n"


def inside_of(text: str, count: int, name: str) -> FloatArray:
    """Return a field's values (n,) or (n, 3) inside. Raises InputError where it is no field of so many cells."""
    body = text.partition("internalField")[2].partition("boundaryField")[0]
    return _values(body, count, name)


def on_patch(text: str, patch: str, count: int, name: str) -> FloatArray:
    """Return a field's values (n,) or (n, 3) on a patch. Raises InputError where it has none there."""
    block = re.search(PATCH.format(name=patch), text.partition("boundaryField")[2], re.DOTALL)
    body = re.search(r"\bvalue\s+((?:non)?uniform.*)", block[1] if block else "", re.DOTALL)
    if body is None:
        raise _unread(name)
    return _values(body[1], count, name)


def _values(body: str, count: int, name: str) -> FloatArray:
    uniform = re.match(r"\s*uniform\s+([^;]*);", body)
    if uniform:
        value = _numbers(uniform[1])
        return np.full(count, value[0]) if len(value) == 1 else np.tile(value, (count, 1))
    start = LIST.search(body)
    if start is None or int(start[1]) != count:
        raise _unread(name)
    values = _numbers(body[start.end() : body.index("\n)", start.end())])
    if not np.isfinite(values).all():
        raise _unread(name)
    return values if len(values) == count else values.reshape(count, -1)


def _numbers(text: str) -> FloatArray:
    return np.array(text.translate(str.maketrans("()", "  ")).split(";")[0].split(), dtype=float)


def _unread(name: str) -> InputError:
    return InputError(
        "this is not what the solver writes for this case",
        file=name,
        hint="Take the case's folder away, and run the command again",
    )
