"""Which files in a command's output folder it wrote itself, so that it replaces its own unasked, and nobody else's.

A folder, the names that the command writes and what they are made of come in; whether they may be replaced goes out.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path

from portgeo.core.errors import InputError
from portgeo.files.disk import atomic_write, sha256_of

LIST = ".written.json"  # in the folder: each file's hash, and what it is of


def is_own(folder: str | Path, names: Sequence[str], command: str, source: str | Path) -> bool:
    """Return whether each of these files that is there is as this command wrote it last, for the same source."""
    try:
        content = json.loads((Path(folder) / LIST).read_bytes())
        if content["of"] != _of(command, source):
            return False
        return all(_hash(folder, name) in ("", content["files"].get(name)) for name in names)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return False  # nothing was written, or the list is damaged: files there are then not known as the command's


def note_own(folder: str | Path, names: Sequence[str], command: str, source: str | Path) -> None:
    """Note that a command has just written these files. Raises OutputError where that cannot be."""
    files = {name: _hash(folder, name) for name in names}
    text = json.dumps({"of": _of(command, source), "files": files}, indent=1)
    atomic_write(Path(folder) / LIST, text.encode(), force=True)


def _of(command: str, source: str | Path) -> list[str]:
    return [command, os.path.normcase(os.path.abspath(source))]


def _hash(folder: str | Path, name: str) -> str:
    """Return a file's hash, nothing where there is no such file."""
    if not os.path.lexists(Path(folder) / name):
        return ""
    try:
        return sha256_of(Path(folder) / name)
    except InputError:
        return "not a file"
