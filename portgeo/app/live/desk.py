"""One job on the desk: its open files, what is typed into them, their versions.

Edits come in, each on top of a version; the files on the disk, whole, and plain values for the page go out.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from portgeo.app.live.documents import CsvSheet, Sheet, sheet_of
from portgeo.app.live.figures import Readings
from portgeo.app.live.stages import JOB, Named, Stage, job_content, named_in, stages_of
from portgeo.app.live.tables import Kind, Looked, look
from portgeo.app.live.versions import Step, Versions
from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.units import LengthUnit
from portgeo.files.disk import atomic_write
from portgeo.files.inside import kept_inside

MOST_EDITS = 2_000  # in one request; a paste is one edit of many cells
MOST_CELLS = 20_000  # in one of them
FILE_LIMIT = 5_000_000  # bytes of an open file, as the reader of sheets has it


class NotNewest(Exception):
    """An edit on top of a version that is not the newest."""


@dataclass(frozen=True)
class Changed:
    """What came of an edit. version : the new one. files : that changed."""

    version: int
    files: tuple[str, ...]


@dataclass
class Open:
    """A file that is open: its bytes as this desk last wrote or read them, and when the disk says it was written."""

    data: bytes
    stamp: tuple[int, int] | None


class Desk:
    """A job, or a sheet alone, open for typing. Every method may be called from any thread."""

    def __init__(self, folder: Path, *, job: str | None = None, sheet: str | None = None) -> None:
        """Open a job by its file's name in its folder, a sheet alone, or, with neither, an empty desk."""
        self._lock = threading.RLock()
        self.folder = folder.resolve()
        self.job, self.sheet = job, sheet
        self.open: dict[str, Open] = {}
        self.on_disk: tuple[str, ...] = ()  # files changed by something else, which are asked about
        self._looked: dict[str, tuple[bytes, Looked | PortgeoError]] = {}
        self.versions = Versions(self.folder)
        self._begin()

    def _begin(self) -> None:
        if self.first:
            return
        self.versions.prune()
        self._read_open_files()
        before = self.versions.now
        files = self._kept()
        if before is None:
            self.versions.add("opened", "open", files)
        elif before.files != files:
            self.versions.add("found as it was on the disk", "disk", files)

    @property
    def first(self) -> bool:
        """Whether nothing is open yet."""
        return self.job is None and self.sheet is None

    @property
    def version(self) -> int:
        """The number of the newest version, 0 before the first."""
        return self.versions.now.number if self.versions.now else 0

    # What is open

    def _read_open_files(self) -> None:
        """Read every file that the job names and that can be typed into; those that are open already stay."""
        names = [self.job] if self.job else []
        for name in names:
            self._read(name)
        if self.sheet:
            self._read(self.sheet)
        for named in self._named():
            if named.kind is not None:
                self._read(named.file)

    def _read(self, name: str) -> None:
        if name in self.open:
            return
        try:
            path = kept_inside(self.folder, name)
            data = path.read_bytes() if path.stat().st_size <= FILE_LIMIT else b""
        except (InputError, OSError):
            return  # told where it is named
        if data:
            self.open[name] = Open(data, _stamp(path))

    def _content(self) -> dict[str, Any]:
        return job_content(self.open[self.job].data) if self.job and self.job in self.open else {}

    def _named(self) -> list[Named]:
        if self.job:
            return named_in(self._content())
        return [Named("state", 0, "port", self.sheet, "sections")] if self.sheet else []

    def kinds(self) -> dict[str, Kind]:
        """Return the sheets that are open and what each is."""
        found = [(named.file, named.kind) for named in self._named() if named.file in self.open]
        return {name: kind for name, kind in found if kind is not None and kind != "target"}

    def looked(self, name: str) -> Looked | PortgeoError:
        """Return an open sheet looked through, or the refusal of one that cannot be read."""
        with self._lock:
            data, kind = self.open[name].data, self.kinds()[name]
            kept = self._looked.get(name)
            if kept is None or kept[0] != data:
                try:
                    found: Looked | PortgeoError = look(sheet_of(data, name), data, kind, (self.folder / name).parent)
                except PortgeoError as refusal:
                    found = refusal
                self._looked[name] = kept = (data, found)
            return kept[1]

    def stages(self) -> list[Stage]:
        """Return the stages in their order."""
        if self.sheet and not self.job:
            return [Stage(Path(self.sheet).stem, self.sheet, None, "", "")]
        return stages_of(self._content())

    def units(self) -> LengthUnit:
        """Return the unit that figures are told in."""
        said = self._content().get("units")
        if said in ("in", "mm"):
            return "in" if said == "in" else "mm"
        for name in self.kinds():
            found = self.looked(name)
            if isinstance(found, Looked):
                return found.unit
        return "in"

    def readings(self, stage: str | None, part: str = "port") -> Readings | None:
        """Return a stage's rows that a port can be made of; None where its part is no open sheet."""
        with self._lock:
            found = next((s for s in self.stages() if stage in (None, s.name)), None)
            name = None if found is None else found.port if part == "port" else found.runner
            if found is None or name is None or name not in self.kinds():
                return None
            looked = self.looked(name)
            if not isinstance(looked, Looked):
                return None
            engine = self._content().get("engine")
            engine = engine if isinstance(engine, dict) else {}
            return Readings(
                stage=found.name, part=part, file=name, rows=tuple(looked.readings()), missing=looked.missing,
                left_out=tuple(sorted(looked.bad_rows)),
                columns={m.column: m.written for m in looked.meanings if m.column},
                units=self.units(), folder=str((self.folder / name).parent),
                exhaust=engine.get("port") == "exhaust", valve_mm=None,
            )  # fmt: skip

    def state(self) -> dict[str, Any]:
        """Return all that the page shows of the files."""
        with self._lock:
            content = self._content()
            title = content.get("title")
            return {
                "version": self.version,
                "title": title if isinstance(title, str) else Path(self.sheet or self.folder.name).name,
                "units": self.units() if not self.first else None,
                "folder": self.folder.name,
                "job": self.job,
                "stages": [stage.record() for stage in self.stages()],
                "tables": {name: self.table(name) for name in self.kinds()},
                "forms": [],
                "can_undo": self.versions.can_undo,
                "can_redo": self.versions.can_redo,
                "on_disk": list(self.on_disk),
                "first": self.first,
            }

    def table(self, name: str) -> dict[str, Any]:
        """Return an open sheet for the page."""
        found = self.looked(name)
        if isinstance(found, Looked):
            return found.record() | {"notes": []}
        problems = [{"row": None, "column": None, "what": p.what, "mend": p.mend} for p in found.problems]
        return {
            "file": name, "kind": self.kinds()[name], "can_write": False, "columns": [], "rows": [],
            "problems": problems, "missing": [], "addable": [], "notes": [],
        }  # fmt: skip

    # What is typed

    def edit(self, version: int, edits: Sequence[Mapping[str, Any]]) -> Changed:
        """Take edits, all or none, and write them to the disk.

        Raises NotNewest where another edit came before, or a file was changed on the disk; PortgeoError for an edit
        that cannot be.
        """
        with self._lock:
            self._check_newest(version)
            if not 1 <= len(edits) <= MOST_EDITS:
                raise InputError("there is no edit", mend="Load the page again")
            draft = {name: one.data for name, one in self.open.items()}
            sheets: dict[str, Sheet] = {}
            said = [self._apply(edit, draft, sheets) for edit in edits]
            draft |= {name: sheet.data() for name, sheet in sheets.items() if isinstance(sheet, CsvSheet)}
            more = f" and {len(said) - 1} more" if len(said) > 1 else ""
            return self._commit(draft, said[0] + more, "edit")

    def _apply(self, edit: Mapping[str, Any], draft: dict[str, bytes], sheets: dict[str, Sheet]) -> str:
        """Make one edit and return what it was in words."""
        apply = EDITS.get(str(edit.get("op")))
        if apply is None:
            raise InputError("there is no such edit", mend="Load the page again")
        try:
            return apply(self, edit, draft, sheets)
        except (KeyError, TypeError, ValueError, IndexError) as error:
            raise InputError("the edit cannot be read", mend="Load the page again") from error

    def _sheet(self, edit: Mapping[str, Any], draft: dict[str, bytes], sheets: dict[str, Sheet]) -> CsvSheet:
        name = str(edit["file"])
        if name not in self.kinds():
            raise InputError(f"there is no open sheet {name[:60]!r}", mend="Load the page again")
        sheet = sheets.setdefault(name, sheet_of(draft[name], name))
        if not isinstance(sheet, CsvSheet):
            raise InputError(
                f"{name} is read and not written", mend="Save it beside as .csv, and type into that", file=name
            )
        return sheet

    def _cells(self, edit: Mapping[str, Any], draft: dict[str, bytes], sheets: dict[str, Sheet]) -> str:
        cells = edit["cells"]
        if not 1 <= len(cells) <= MOST_CELLS:
            raise InputError("there are no cells, or too many", mend="Paste less at a time")
        sheet = self._sheet(edit, draft, sheets)
        for row, column, text in cells:
            sheet.set_cell(int(row), str(column), str(text))
        row, column, text = cells[0]
        if len(cells) > 1:
            return f"{len(cells)} cells from row {row}, {column}"
        return f"row {row}, {column}: {str(text)[:40]}"

    def _insert(self, edit: Mapping[str, Any], draft: dict[str, bytes], sheets: dict[str, Sheet]) -> str:
        at, count = int(edit["at"]), int(edit.get("count", 1))
        self._sheet(edit, draft, sheets).insert(at, count)
        return f"{count} row{'s' if count > 1 else ''} before row {at}"

    def _remove(self, edit: Mapping[str, Any], draft: dict[str, bytes], sheets: dict[str, Sheet]) -> str:
        rows = [int(row) for row in edit["rows"]]
        self._sheet(edit, draft, sheets).remove(rows)
        return f"row{'s' if len(rows) > 1 else ''} {', '.join(map(str, rows[:12]))} taken out"

    def _column(self, edit: Mapping[str, Any], draft: dict[str, bytes], sheets: dict[str, Sheet]) -> str:
        name = str(edit["name"])
        self._sheet(edit, draft, sheets).add_column(name)
        return f"column {name}"

    def undo(self, version: int) -> Changed:
        """Go back to the version before. Raises as `edit` does."""
        with self._lock:
            self._check_newest(version)
            before = self.versions.before()
            if before is None:
                raise InputError("there is nothing to undo", mend="Type on")
            return self._commit(self._contents(before.files), f"undone to {before.what}", "undo")

    def redo(self, version: int) -> Changed:
        """Go to the version that was undone last. Raises as `edit` does."""
        with self._lock:
            self._check_newest(version)
            after = self.versions.after()
            if after is None:
                raise InputError("there is nothing to redo", mend="Type on")
            return self._commit(self._contents(after.files), f"done again: {after.what}", "redo")

    def restore(self, version: int, to: int) -> Changed:
        """Bring a version back, as a new one. Raises as `edit` does."""
        with self._lock:
            self._check_newest(version)
            found = next((v for v in self.versions.all if v.number == to), None)
            if found is None:
                raise InputError(f"there is no version {to}", mend="Choose one from the list")
            return self._commit(self._contents(found.files), f"version {to} brought back", "restore")

    def _contents(self, files: Mapping[str, str]) -> dict[str, bytes]:
        return {name: self.versions.content(sha) for name, sha in files.items()}

    def _commit(self, draft: Mapping[str, bytes], what: str, step: Step) -> Changed:
        """Write what changed to the disk and then into the log. The job file, which names the others, comes last."""
        changed = [n for n, data in draft.items() if n not in self.open or self.open[n].data != data]
        changed.sort(key=lambda name: name == self.job)
        gone = [name for name in self.open if name not in draft]
        shas = {name: self.versions.keep(data) for name, data in draft.items()}
        for name in changed:
            self._write(name, draft[name])
        for name in gone:
            (self.folder / name).unlink(missing_ok=True)
            del self.open[name]
        version = self.versions.add(what, step, shas)
        return Changed(version.number, (*changed, *gone))

    def _write(self, name: str, data: bytes) -> None:
        path = self.folder / name
        if not path.resolve().is_relative_to(self.folder):
            raise OutputError("this would be written outside the job's folder", file=name, mend="Choose another name")
        atomic_write(path, data, force=name in self.open)
        self.open[name] = Open(data, _stamp(path))

    def _kept(self) -> dict[str, str]:
        return {name: self.versions.keep(one.data) for name, one in self.open.items()}

    # What something else did

    def _check_newest(self, version: int) -> None:
        if self.look_at_disk() or version != self.version:
            raise NotNewest

    def look_at_disk(self) -> tuple[str, ...]:
        """Return the open files that something else changed since they were read or written here."""
        with self._lock:
            changed = []
            for name, one in self.open.items():
                path = self.folder / name
                stamp = _stamp(path)
                if stamp == one.stamp:
                    continue
                try:
                    data = path.read_bytes()
                except OSError:
                    data = b""
                if data == one.data:
                    one.stamp = stamp  # written again as it was
                else:
                    changed.append(name)
            self.on_disk = tuple(changed)
            return self.on_disk

    def settle(self, keep: str) -> Changed:
        """Answer which of a changed file is to stay: "mine", as it was typed here, or "disk". Both become versions."""
        with self._lock:
            mine = {name: one.data for name, one in self.open.items()}
            for name in self.look_at_disk():
                path = self.folder / name
                try:
                    data = path.read_bytes()[:FILE_LIMIT]
                except OSError:
                    data = b""
                self.open[name] = Open(data, _stamp(path))
            changed = self.on_disk
            if not changed:
                return Changed(self.version, ())
            self.versions.add(f"changed by something else: {', '.join(changed)}", "disk", self._kept())
            self.on_disk = ()
            if keep == "mine":
                return self._commit(mine, "kept as it was typed here", "edit")
            self._read_open_files()
            return Changed(self.version, changed)


Apply = Callable[[Desk, Mapping[str, Any], dict[str, bytes], dict[str, Sheet]], str]
EDITS: dict[str, Apply] = {
    "cells": Desk._cells,
    "insert": Desk._insert,
    "remove": Desk._remove,
    "column": Desk._column,
}


def _stamp(path: Path) -> tuple[int, int] | None:
    """Return what the disk says of a file: when it was written and its size; None where it is gone."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


__all__ = ["JOB", "Changed", "Desk", "NotNewest", "Open"]
