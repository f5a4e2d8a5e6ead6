"""A result of a job's step as bytes: all but its arrays as JSON, then the arrays one after the other.

A tree of this package's frozen dataclasses, of arrays and of plain values comes in; bytes go out, and
the same tree comes back. Nothing that is read is run, and no class but this package's own is made.
"""

from __future__ import annotations

import importlib
import json
import math
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

OWN = "portgeo."
HEAD = 8  # bytes that hold how long the JSON is
ALIGN = 16  # bytes: where an array begins
DAMAGED = (ValueError, LookupError, TypeError, AttributeError, ImportError, OSError, RecursionError, OverflowError)


def packed(result: Any) -> bytes:
    """Return a result as bytes, the same for the same result. Raises TypeError for what is not kept."""
    arrays: list[np.ndarray] = []
    places: dict[int, int] = {}  # of arrays that the result has more than once

    def place(array: np.ndarray) -> int:
        if id(array) not in places:
            if array.dtype.hasobject:
                raise TypeError("an array of objects is not kept")
            places[id(array)] = len(arrays)
            arrays.append(array)
        return places[id(array)]

    def branch(value: Any) -> Any:
        if value is None or type(value) in (bool, int, float, str):
            return value
        if isinstance(value, np.ndarray):
            return {"array": place(value)}
        if isinstance(value, np.generic):
            return {"scalar": place(np.asarray(value))}
        if isinstance(value, bytes):
            return {"bytes": place(np.frombuffer(value, dtype=np.uint8))}
        if isinstance(value, list):
            return [branch(each) for each in value]
        if type(value) is tuple:
            return {"tuple": [branch(each) for each in value]}
        if isinstance(value, dict):
            return {"dict": [[branch(key), branch(each)] for key, each in value.items()]}
        kind = type(value)
        if is_dataclass(kind) and kind.__module__.startswith(OWN):
            content = {each.name: branch(getattr(value, each.name)) for each in fields(value)}
            return {"class": [kind.__module__, kind.__qualname__], "fields": content}
        raise TypeError(f"{kind.__module__}.{kind.__qualname__} is not kept")

    tree = branch(result)
    places_of, offset = [], 0
    for array in arrays:
        places_of.append([array.dtype.str, list(array.shape), offset])
        offset += -(-array.nbytes // ALIGN) * ALIGN
    head = json.dumps([places_of, tree], ensure_ascii=True).encode()
    parts = [len(head).to_bytes(HEAD, "little"), head, bytes(-(HEAD + len(head)) % ALIGN)]
    for array in arrays:
        parts += [array.tobytes(), bytes(-array.nbytes % ALIGN)]
    return b"".join(parts)


def unpacked(data: bytes) -> Any:
    """Return the result in bytes. Raises one of DAMAGED where they hold none."""
    size = int.from_bytes(data[:HEAD], "little")
    places, tree = json.loads(data[HEAD : HEAD + size])
    start = -(-(HEAD + size) // ALIGN) * ALIGN
    read: dict[int, np.ndarray] = {}

    def array(k: int) -> np.ndarray:
        if k not in read:
            kind, shape, offset = places[k]
            dtype = np.dtype(kind)
            if dtype.hasobject:
                raise ValueError("an array of objects is not kept")
            # A copy: what was made could be written to.
            read[k] = np.frombuffer(data, dtype, math.prod(shape), start + offset).reshape(shape).copy()
        return read[k]

    def grown(branch: Any) -> Any:
        if isinstance(branch, list):
            return [grown(each) for each in branch]
        if not isinstance(branch, dict):
            return branch
        if "class" in branch:
            module, name = branch["class"]
            return _made(module, name, {field: grown(each) for field, each in branch["fields"].items()})
        ((kind, content),) = branch.items()
        if kind == "tuple":
            return tuple(grown(each) for each in content)
        if kind == "dict":
            return {grown(key): grown(each) for key, each in content}
        found = array(content)
        return found.tobytes() if kind == "bytes" else {"array": found, "scalar": found[()]}[kind]

    return grown(tree)


def _made(module: str, name: str, content: dict[str, Any]) -> Any:
    """Return an instance of one of this package's dataclasses with the fields that it had."""
    kind = getattr(importlib.import_module(module), name, None) if module.startswith(OWN) else None
    if not isinstance(kind, type) or not is_dataclass(kind) or kind.__module__ != module:
        raise ValueError(f"{module}.{name} is no kept result")
    if content.keys() != {each.name for each in fields(kind)}:
        raise ValueError(f"{module}.{name} has other fields")
    made = object.__new__(kind)  # as it was: what its making checks was checked then
    for field, value in content.items():
        object.__setattr__(made, field, value)
    return made
