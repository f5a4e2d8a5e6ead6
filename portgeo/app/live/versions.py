"""Every version of a job's files, on the disk: undo and redo without end, also after the machine went off.

A folder comes in; `.portgeo-versions/` in it holds the content of each version once (by its SHA-256) and a log of
what was done, a line a step. A line that was cut off while it was written is passed over: the files themselves were
written before it, whole, and what they hold is then a version of its own.
"""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from portgeo.core.errors import OutputError
from portgeo.files.disk import atomic_write, make_folder

FOLDER = ".portgeo-versions"
KEPT_BYTES = 64_000_000  # of contents; past it the older half of the versions goes, when the job is opened
NOT_LISTED = "*\n"  # of a .gitignore: versions are no part of somebody's repository
Step = Literal["open", "edit", "undo", "redo", "restore", "disk"]
Files = Mapping[str, str]  # name from the job's folder: SHA-256


@dataclass(frozen=True)
class Version:
    """One state of the job's files. number : rising by one with every step. what : in words.

    job, sheet : the file of the job that was open, and the sheet that was opened alone.
    """

    number: int
    when: str
    what: str
    step: Step
    files: Files
    job: str | None
    sheet: str | None


class Versions:
    """The versions of a job's files."""

    def __init__(self, folder: Path, name: str) -> None:
        """Read what is kept of what is opened by a name in a folder; nothing is written yet."""
        self.folder, self.name = folder / FOLDER, name
        self.log = self.folder / f"{name.replace('/', '_')}.jsonl"
        self._read()

    def _read(self) -> None:
        self.all: list[Version] = []
        self._undo: list[Version] = []
        self._redo: list[Version] = []
        self._size = 0
        for line in self._lines():
            self._take(line)

    @property
    def now(self) -> Version | None:
        """The newest version, None before the first."""
        return self.all[-1] if self.all else None

    @property
    def can_undo(self) -> bool:
        """Whether there is a version before this one."""
        return bool(self._undo)

    @property
    def can_redo(self) -> bool:
        """Whether a version was undone."""
        return bool(self._redo)

    def before(self) -> Version | None:
        """Return the version that undo goes back to."""
        return self._undo[-1] if self._undo else None

    def after(self) -> Version | None:
        """Return the version that redo goes to."""
        return self._redo[-1] if self._redo else None

    def keep(self, data: bytes) -> str:
        """Keep a content and return its SHA-256. Raises OutputError."""
        sha = hashlib.sha256(data).hexdigest()
        path = self._path(sha)
        if not path.exists():
            make_folder(path.parent)
            ignore = self.folder / ".gitignore"
            if not ignore.exists():
                atomic_write(ignore, NOT_LISTED.encode(), force=True)
            atomic_write(path, zlib.compress(data, 6), force=True)
        return sha

    def content(self, sha: str) -> bytes:
        """Return a content that was kept. Raises OutputError where it is gone or damaged."""
        try:
            data = zlib.decompress(self._path(sha).read_bytes())
        except (OSError, zlib.error) as error:
            raise _lost(self.folder) from error
        if hashlib.sha256(data).hexdigest() != sha:
            raise _lost(self.folder)
        return data

    def add(self, what: str, step: Step, files: Files, job: str | None, sheet: str | None) -> Version:
        """Write a new version into the log, after its files are on the disk. Raises OutputError."""
        if _size_of(self.log) != self._size:
            self._read()  # another server of this folder wrote into it: what it did comes before this
        number = self.all[-1].number + 1 if self.all else 1
        changed = _changed(self.all[-1].files if self.all else {}, files)
        line = {"version": number, "when": _now(), "what": what, "step": step, "files": changed}
        line |= {"job": job, "sheet": sheet}
        make_folder(self.folder)
        try:
            with open(self.log, "a+b") as log:
                if log.tell() and not _ends_a_line(log):
                    log.write(b"\n")
                log.write(json.dumps(line, ensure_ascii=False).encode() + b"\n")
                log.flush()
                os.fsync(log.fileno())
                self._size = log.tell()
        except OSError as error:
            raise OutputError(
                f"the log of versions cannot be written ({error.strerror or error})",
                file=str(self.log),
                hint="Check that there is room on the disk and that you may write there",
            ) from error
        self._take(line)
        return self.all[-1]

    def prune(self) -> None:
        """Let the older half of the versions go where their contents have become too many."""
        paths = [path for path in self.folder.glob("??/*") if path.is_file()]
        if len(self.all) < 4 or sum(path.stat().st_size for path in paths) <= KEPT_BYTES:
            return
        kept = self.all[len(self.all) // 2 :]
        lines = []
        before: Files = {}
        for k, version in enumerate(kept):
            step = "open" if k == 0 else version.step if version.step in ("edit", "disk") else "restore"
            changed = _changed(before, version.files)
            line = {"version": version.number, "when": version.when, "what": version.what, "step": step}
            line |= {"job": version.job, "sheet": version.sheet}
            lines.append(json.dumps(line | {"files": changed}, ensure_ascii=False) + "\n")
            before = version.files
        atomic_write(self.log, "".join(lines).encode(), force=True)
        self._read()
        others = [Versions(self.folder.parent, log.stem) for log in self.folder.glob("*.jsonl") if log != self.log]
        used = {sha for each in (self, *others) for version in each.all for sha in version.files.values()}
        for path in paths:
            if path.name not in used:
                path.unlink(missing_ok=True)

    def _path(self, sha: str) -> Path:
        return self.folder / sha[:2] / sha

    def _lines(self) -> list[dict[str, Any]]:
        try:
            raw = self.log.read_bytes()
        except OSError:
            return []
        self._size = len(raw)
        found = []
        for text in raw.split(b"\n"):
            try:
                line = json.loads(text)
            except ValueError:
                continue  # blank, or cut off while it was written
            if isinstance(line, dict) and isinstance(line.get("version"), int) and isinstance(line.get("files"), dict):
                found.append(line)
        return found

    def _take(self, line: Mapping[str, Any]) -> None:
        """Go one step on: which versions can be undone to and redone follows from the steps."""
        earlier = self.all[-1] if self.all else None
        files = dict(earlier.files) if earlier else {}
        for name, sha in line["files"].items():
            if sha is None:
                files.pop(name, None)
            else:
                files[name] = sha
        version = Version(
            line["version"], line.get("when", ""), line.get("what", ""), line.get("step", "edit"), files,
            line.get("job"), line.get("sheet"),
        )  # fmt: skip
        self.all.append(version)
        if earlier is None or version.step == "open":
            return
        if version.step == "undo" and self._undo:
            self._undo.pop()
            self._redo.append(earlier)
        elif version.step == "redo" and self._redo:
            self._redo.pop()
            self._undo.append(earlier)
        else:
            self._undo.append(earlier)
            self._redo.clear()


def _changed(before: Files, after: Files) -> dict[str, str | None]:
    gone: dict[str, str | None] = {name: None for name in before if name not in after}
    return gone | {name: sha for name, sha in after.items() if before.get(name) != sha}


def _size_of(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _ends_a_line(log: Any) -> bool:
    log.seek(-1, os.SEEK_END)
    return bool(log.read(1) == b"\n")


def _now() -> str:
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def _lost(folder: Path) -> OutputError:
    return OutputError(
        "what this version held is gone or damaged",
        file=str(folder),
        hint="The newest is in the sheet itself; go back to another version",
    )
