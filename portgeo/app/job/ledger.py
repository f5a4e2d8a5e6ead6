"""Which files in a report's folder a report wrote, so that it replaces its own and nobody else's.

Files by name come in, are written whole one by one, and are told again by a later run that checks them.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from portgeo.app.job.keep import FOLDER
from portgeo.core.errors import InputError, OutputError
from portgeo.files.disk import atomic_write, sha256_of

NAME = "files.json"
TOP = (
    "report.html", "bench-sheet.pdf", "customer.pdf", "results.json", "tables.xlsx", "templates.pdf",
    "cut-sheet.txt", "cut-sheet.csv", "calm-bench-sheet.pdf", "calm-cut-sheet.txt", "calm-cut-sheet.csv",
)  # fmt: skip
BELOW = {"tables": ".csv", "meshes": ".stl", "pictures": ".png"}
HALF = re.compile(r"\.[0-9a-f]{16}(\.\w+)?")  # what a killed write leaves, as `atomic_write` names it


class Ledger:
    """The list of a report's files in its folder: the key of the whole, and each file's hash.

    A file's new hash is in the list before the file is in its place, so that a run killed between the two
    knows its own file again.
    """

    def __init__(self, out: Path) -> None:
        self.out, self.path = out, out / FOLDER / NAME
        self.key, self.hashes = "", dict[str, list[str]]()
        try:
            content = json.loads(self.path.read_bytes())
            self.key = str(content["key"])
            self.hashes = {str(name): [str(one) for one in hashes] for name, hashes in content["files"].items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            pass  # there is no earlier report, or its list is damaged: files there are then not known as ours

    def whole(self, key: str) -> tuple[str, ...] | None:
        """Return the report's files where they are all there, as written, under this key."""
        if self.key != key or not self.hashes:
            return None
        if any(self._hash(name) != hashes[-1:] for name, hashes in self.hashes.items()):
            return None
        return tuple(self.hashes)

    def _hash(self, name: str) -> list[str]:
        try:
            return [sha256_of(self.out / name)]
        except InputError:
            return []

    def check(self, force: bool) -> None:
        """Refuse, before anything is made, a folder with files in the report's places that no report wrote."""
        if self.out.exists() and not self.out.is_dir():
            raise OutputError("this is not a folder", file=str(self.out), hint="Choose another name")
        for path in self._there():
            if not force:
                self._refuse_foreign(path.relative_to(self.out).as_posix())

    def _there(self) -> list[Path]:
        found = [self.out / name for name in TOP]
        for folder, suffix in BELOW.items():
            found += sorted((self.out / folder).glob(f"*{suffix}"))
        return [path for path in found if path.exists() and not HALF.fullmatch(path.name)]

    def _refuse_foreign(self, name: str) -> None:
        if self._hash(name) and self._hash(name)[0] not in self.hashes.get(name, []):
            known = name in self.hashes
            raise OutputError(
                "the file was changed since the report wrote it"
                if known
                else "the file is there and no report wrote it",
                file=str(self.out / name),
                hint="Move it elsewhere, or pass --force to replace it",
            )

    def write(self, key: str, files: Iterable[tuple[str, bytes]], force: bool) -> tuple[str, ...]:
        """Write files by name and return their names; take away those of an earlier report that are no more.

        Raises OutputError for one that no report wrote (without `force`), and where one cannot be written.
        """
        written: dict[str, list[str]] = {}
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            for folder in BELOW:
                (self.out / folder).mkdir(exist_ok=True)
        except OSError as error:
            what = f"the folder cannot be made ({error.strerror or error})"
            raise OutputError(what, file=str(self.out), hint="Choose another name or place") from error
        for name, data in files:
            sha = hashlib.sha256(data).hexdigest()
            written[name] = [sha]
            if self._hash(name) == [sha]:
                continue
            if not force:
                self._refuse_foreign(name)
            self._save("", self.hashes | written | {name: [*self.hashes.get(name, []), sha]})
            atomic_write(self.out / name, data, force=True)
        for name in self.hashes.keys() - written.keys():
            if self._hash(name) == self.hashes[name][-1:] and self._is_ours(name):
                (self.out / name).unlink(missing_ok=True)
        for place in (self.out, *(self.out / below for below in BELOW), self.path.parent):
            for path in place.iterdir():
                if HALF.fullmatch(path.name):
                    path.unlink(missing_ok=True)
        self._save(key, written)
        return tuple(written)

    def _is_ours(self, name: str) -> bool:
        """Return whether a name in the list, which anybody may have written, is one of a report's places."""
        folder, _, file = name.rpartition("/")
        return name in TOP or (folder in BELOW and Path(file).name == file and file.endswith(BELOW[folder]))

    def _save(self, key: str, hashes: dict[str, Any]) -> None:
        self.key, self.hashes = key, hashes
        text = json.dumps({"key": key, "files": hashes}, indent=1)
        atomic_write(self.path, text.encode(), force=True)
