"""Results kept from one run to the next, each under the hash of all that it was made of.

A key and a result come in; the same result comes out of a later run, or nothing where it is not
there or is damaged: it is then made again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import portgeo
from portgeo.app.job.packing import DAMAGED, packed, unpacked
from portgeo.files.disk import atomic_write

FOLDER = ".kept"
MARK = b"portgeo kept 3\n"  # 1 and 2 were of older forms: such a result is made anew
# What numbers come from, besides this package: another version of one of them is another result.
CODE = (".py", ".js", ".css")
NUMBERS_FROM = ("numpy", "scipy", "shapely", "trimesh", "manifold3d", "libigl", "scikit-fem", "pyamg", "clarabel")


@cache
def made_by() -> str:
    """Return a hash of what makes the results: this package's own code, and the versions of its libraries."""
    digest = hashlib.sha256()
    package = Path(portgeo.__file__).resolve().parent
    for path in sorted(path for path in package.rglob("*") if path.suffix in CODE):
        digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    for name in NUMBERS_FROM:
        try:
            digest.update(f"{name} {version(name)}\n".encode())
        except PackageNotFoundError:
            continue
    return digest.hexdigest()


def key_of(*parts: Any) -> str:
    """Return the key of plain parts: the hash of their JSON, and of what makes results."""
    text = json.dumps([made_by(), *parts], sort_keys=True, ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


class Kept:
    """The kept results in a report's folder."""

    def __init__(self, out: Path) -> None:
        self.folder = out / FOLDER

    def path(self, key: str) -> Path:
        """Return the file of a key."""
        return self.folder / f"{key[:40]}.kept"

    def has(self, key: str) -> bool:
        """Return whether a result is there and whole. A damaged one is taken away."""
        return self._payload(key) is not None

    def get(self, key: str) -> Any:
        """Return a result, or None where it is not there, or is damaged."""
        payload = self._payload(key)
        if payload is None:
            return None
        try:
            return unpacked(payload)
        except DAMAGED:
            self.path(key).unlink(missing_ok=True)
            return None

    def put(self, key: str, result: Any) -> None:
        """Keep a result, whole or not at all. Raises OutputError where it cannot be written."""
        payload = packed(result)
        self.folder.mkdir(parents=True, exist_ok=True)
        head = MARK + hashlib.sha256(key.encode() + payload).hexdigest().encode() + b"\n"
        atomic_write(self.path(key), head + payload, force=True)

    def only(self, keys: Iterable[str]) -> None:
        """Take away all results but those of these keys, and what killed runs left half-written."""
        names = {self.path(key).name for key in keys}
        for path in self.folder.glob("*.kept"):
            if path.name not in names:
                path.unlink(missing_ok=True)

    def _payload(self, key: str) -> bytes | None:
        path = self.path(key)
        try:
            data = path.read_bytes()
        except OSError:
            return None
        mark, _, rest = data.partition(b"\n")
        told, _, payload = rest.partition(b"\n")
        if (
            mark + b"\n" == MARK
            and told.decode("ascii", "replace") == hashlib.sha256(key.encode() + payload).hexdigest()
        ):
            return payload
        path.unlink(missing_ok=True)
        return None
