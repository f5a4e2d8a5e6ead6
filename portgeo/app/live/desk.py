"""One job on the desk: its open files, what is typed into them, their versions.

Edits come in, each on top of a version; the files on the disk, whole, and plain values for the page go out.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from portgeo.app.live.beginning import by_points, first_edits, place_for
from portgeo.app.live.draft import Draft
from portgeo.app.live.forms import forms_of
from portgeo.app.live.half_written import swept
from portgeo.app.live.on_disk import bytes_of, stamp_of
from portgeo.app.live.outline import traces_named
from portgeo.app.live.sets import flows_told
from portgeo.app.live.sheets import sheet_of
from portgeo.app.live.stages import JOB, Stage, job_content
from portgeo.app.live.tables import Looked, look
from portgeo.app.live.target_forms import target_forms
from portgeo.app.live.versions import Files, Step, Versions
from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.units import LengthUnit
from portgeo.files.disk import atomic_write
from portgeo.files.inside import kept_inside

MOST_EDITS = 2_000  # in one request; a paste is one edit of many cells
LISTED = 200  # versions that are shown


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

    def __init__(
        self, folder: Path, *, job: str | None = None, sheet: str | None = None, in_folder: bool = False
    ) -> None:
        """Open a job by its file's name in its folder, a sheet alone, or, with neither, an empty desk.

        in_folder : a job that is begun is laid out in this very folder, and not in a new one in it.
        """
        self.lock = threading.RLock()
        self.folder, self.in_folder = folder.resolve(), in_folder
        self.job, self.sheet = job, sheet
        self.open: dict[str, Open] = {}
        self.on_disk: tuple[str, ...] = ()  # files changed by something else, which are asked about
        self._looked: dict[str, tuple[Any, Looked | PortgeoError]] = {}
        self._forms: tuple[Any, list[dict[str, Any]]] = (None, [])
        self.versions = Versions(self.folder, job or sheet or JOB)
        if not self.first:
            self._take_up()

    def _take_up(self) -> None:
        """Read what is on the disk; where it is not the newest version, something else changed it, and it is one."""
        for folder in (self.folder, *self.versions.folder.glob("*/")):
            swept(folder)
        self.versions.prune()
        self._read_open_files()
        if not self.open:
            name = str(self.job or self.sheet)
            raise InputError("the file cannot be read, or is empty", file=name, hint="Check the name and the file")
        before, files = self.versions.now, self._kept()
        if before is None:
            self.versions.add("opened", "open", files, self.job, self.sheet)
        elif before.files != files:
            self.versions.add("found as it is on the disk", "disk", files, self.job, self.sheet)

    @property
    def first(self) -> bool:
        """Whether nothing is open yet."""
        return self.job is None and self.sheet is None

    @property
    def version(self) -> int:
        """The number of the newest version, 0 before the first."""
        return self.versions.now.number if self.versions.now else 0

    # What is open

    def _draft(self) -> Draft:
        files = {name: one.data for name, one in self.open.items()}
        return Draft(self.folder, self.job, self.sheet, files, self.units())

    def now(self) -> Draft:
        """Return the files as they are, to be looked at."""
        return Draft(self.folder, self.job, self.sheet, {n: one.data for n, one in self.open.items()}, "in")

    def _read_open_files(self) -> None:
        """Read every file that is named and can be typed into, where it is not open; let go of the others."""
        for name in [self.job] if self.job else []:
            self._read(name)
        named: list[str] = []
        while named != (found := [each.file for each in self.now().named() if each.kind is not None]):
            named = found  # a sheet that has just been read may name files of its own
            for name in named:
                self._read(name)
        self.open = {name: one for name, one in self.open.items() if name in (self.job, *named)}

    def _read(self, name: str) -> None:
        if name in self.open:
            return
        try:
            path = kept_inside(self.folder, name)
        except InputError:
            return  # told where it is named
        stamp, data = stamp_of(path), bytes_of(path)
        if data:
            self.open[name] = Open(data, stamp)

    def looked(self, name: str) -> Looked | PortgeoError:
        """Return an open sheet looked through, or the refusal of one that cannot be read."""
        with self.lock:
            data, kind = self.open[name].data, self.now().kinds()[name]
            kept = self._looked.get(name)
            if kept is None or kept[0] != (data, self._outlines(kept[1], name)):
                try:
                    found: Looked | PortgeoError = look(sheet_of(data, name), data, kind, (self.folder / name).parent)
                except PortgeoError as refusal:
                    found = refusal
                self._looked[name] = kept = ((data, self._outlines(found, name)), found)
            return kept[1]

    def _outlines(self, looked: Looked | PortgeoError, name: str) -> list[tuple[int, int] | None]:
        """Return when the outlines that a sheet names were written."""
        if not isinstance(looked, Looked):
            return []
        return [stamp_of((self.folder / name).parent / outline) for outline in looked.outlines]

    def stages(self) -> list[Stage]:
        """Return the stages in their order."""
        return self.now().stages()

    def title(self) -> str:
        """Return what heads the pages."""
        said = self.now().content().get("title")
        return said if isinstance(said, str) else Path(self.sheet or self.folder.name).stem

    def units(self) -> LengthUnit:
        """Return the unit that figures are told in."""
        draft = self.now()
        said = draft.content().get("units")
        if said in ("in", "mm"):
            return "in" if said == "in" else "mm"
        for name in draft.kinds():
            found = self.looked(name)
            if isinstance(found, Looked):
                return found.unit
        return "in"

    def state(self) -> dict[str, Any]:
        """Return all that the page shows of the files."""
        with self.lock:
            draft = self.now()
            return {
                "version": self.version,
                "title": self.title(),
                "units": None if self.first else self.units(),
                "folder": self.folder.name,
                "job": self.job,
                "stages": [stage.record() for stage in draft.stages()],
                "tables": {name: self.table(name) for name in draft.kinds()},
                "forms": self._forms_now(draft),
                "can_undo": self.versions.can_undo,
                "can_redo": self.versions.can_redo,
                "on_disk": list(self.on_disk),
                "flows": flows_told(draft.content()),
                "first": self.first,
            }

    def _forms_now(self, draft: Draft) -> list[dict[str, Any]]:
        """Return the job's forms, made anew where it changed or a file of it came or went."""
        data = draft.files.get(draft.job or "")
        if data is None or draft.job is None:
            return []
        content = draft.content()
        there = [(self.folder / named.file).is_file() for named in draft.named()]
        target = next((n.file for n in draft.named() if n.kind == "target" and n.file in draft.files), None)
        wanted = None if target is None else draft.files[target]
        if self._forms[0] != (data, wanted, there):
            forms = forms_of(data, self.folder / draft.job, content)
            if target is not None and wanted is not None:
                forms += target_forms(wanted, self.folder / target, job_content(wanted))
            self._forms = ((data, wanted, there), forms)
        return self._forms[1]

    def table(self, name: str) -> dict[str, Any]:
        """Return an open sheet for the page."""
        found = self.looked(name)
        if isinstance(found, Looked):
            return found.record()
        problems = [{"row": None, "column": None, "what": p.what, "hint": p.hint} for p in found.problems]
        return {
            "file": name, "kind": self.now().kinds()[name], "can_write": False, "columns": [], "rows": [],
            "problems": problems, "missing": [], "addable": [], "notes": [],
        }  # fmt: skip

    def listed(self) -> list[dict[str, Any]]:
        """Return the versions for the page, the newest first."""
        with self.lock:
            return [
                {"version": version.number, "when": version.when, "what": version.what, "step": version.step}
                for version in reversed(self.versions.all[-LISTED:])
            ]

    # What is typed

    def edit(self, version: int, edits: Sequence[Mapping[str, Any]]) -> Changed:
        """Take edits, all or none, and write them to the disk.

        Raises NotNewest where another edit came before, or a file was changed on the disk; PortgeoError for an edit
        that cannot be.
        """
        with self.lock:
            self._check_newest(version)
            if not 1 <= len(edits) <= MOST_EDITS:
                raise InputError("there is no edit", hint="Load the page again")
            if edits[0].get("op") == "begin":
                return self._begin(edits[0])
            draft = self._draft()
            said = [draft.apply(edit) for edit in edits]
            more = f" and {len(said) - 1} more" if len(said) > 1 else ""
            return self._commit(draft.done(), said[0] + more, "edit", draft.job, draft.sheet)

    def _begin(self, edit: Mapping[str, Any]) -> Changed:
        """Lay a new job out, and take it up. Raises PortgeoError where that cannot be."""
        from portgeo.app.job.folder import make_folder

        if not self.first:
            raise InputError("a job is open already", hint="`portgeo open` in another folder begins another")
        unit: LengthUnit = "mm" if edit.get("units") == "mm" else "in"
        edits = first_edits(edit, unit)
        folder = self.folder if self.in_folder else place_for(self.folder, str(edit.get("title") or "port"))
        make_folder(folder, unit, points=by_points(edit))
        self.folder, self.job = folder.resolve(), JOB
        self.versions = Versions(self.folder, JOB)
        self._take_up()
        return self.edit(self.version, edits)

    def need_job(self) -> None:
        """Begin a job file beside a sheet that was opened alone. Raises PortgeoError."""
        with self.lock:
            draft = self._draft()
            draft.need_job()
            if draft.job != self.job:
                self._commit(draft.done(), "a job file", "edit", draft.job, draft.sheet)

    def undo(self, version: int) -> Changed:
        """Go back to the version before. Raises as `edit` does."""
        with self.lock:
            self._check_newest(version)
            before = self.versions.before()
            if before is None:
                raise InputError("there is nothing to undo", hint="Type on")
            return self._commit(self._contents(before.files), "undone", "undo", before.job, before.sheet)

    def redo(self, version: int) -> Changed:
        """Go to the version that was undone last. Raises as `edit` does."""
        with self.lock:
            self._check_newest(version)
            after = self.versions.after()
            if after is None:
                raise InputError("there is nothing to redo", hint="Type on")
            return self._commit(self._contents(after.files), f"again: {after.what}", "redo", after.job, after.sheet)

    def restore(self, version: int, to: int) -> Changed:
        """Bring a version back, as a new one. Raises as `edit` does."""
        with self.lock:
            self._check_newest(version)
            found = next((v for v in self.versions.all if v.number == to), None)
            if found is None:
                raise InputError(f"there is no version {to}", hint="Choose one from the list")
            what = f"version {to} brought back"
            return self._commit(self._contents(found.files), what, "restore", found.job, found.sheet)

    def _contents(self, files: Files) -> dict[str, bytes]:
        return {name: self.versions.content(sha) for name, sha in files.items()}

    def _commit(self, files: Mapping[str, bytes], what: str, step: Step, job: str | None, sheet: str | None) -> Changed:
        """Write what changed to the disk and then into the log. The job file, which names the others, comes last."""
        changed = [n for n, data in files.items() if n not in self.open or self.open[n].data != data]
        changed.sort(key=lambda name: name == job)
        for name in changed:
            self._check_place(name, files[name])
        for data in files.values():
            self.versions.keep(data)
        for name in changed:
            path = self.folder / name
            if name in self.open or not path.exists():
                atomic_write(path, files[name], force=name in self.open)
            self.open[name] = Open(files[name], stamp_of(path))
        gone = [name for name in self.open if name not in files]  # from the desk; nothing goes from the disk
        self.open = {name: one for name, one in self.open.items() if name in files}
        self.job, self.sheet = job, sheet
        self._read_open_files()
        version = self.versions.add(what, step, self._kept(), job, sheet)
        return Changed(version.number, (*changed, *self._naming(changed), *gone))

    def _naming(self, changed: Sequence[str]) -> list[str]:
        """Return the sheets that say something else since outlines that they name have changed."""
        sheets = [name for name in self.now().kinds() if name not in changed]
        return [
            name for name in sheets if {each.file for each in traces_named(self.open[name].data, name)} & {*changed}
        ]

    def _check_place(self, name: str, data: bytes) -> None:
        """Refuse to write outside the job's folder, or over a file that is another's."""
        path = self.folder / name
        if not path.resolve().is_relative_to(self.folder):
            raise OutputError("this would be written outside the job's folder", file=name, hint="Choose another name")
        if name not in self.open and path.exists() and (not path.is_file() or path.read_bytes() != data):
            raise OutputError(
                f"{name} is there already, and is a different file", file=name, hint="Rename that file first"
            )

    def _kept(self) -> dict[str, str]:
        return {name: self.versions.keep(one.data) for name, one in self.open.items()}

    # What something else did

    def _check_newest(self, version: int) -> None:
        if self.look_at_disk() or version != self.version:
            raise NotNewest

    def look_at_disk(self) -> tuple[str, ...]:
        """Return the open files that something else changed since they were read or written here."""
        with self.lock:
            changed = []
            for name, one in self.open.items():
                path = self.folder / name
                stamp = stamp_of(path)
                if stamp == one.stamp:
                    continue
                if bytes_of(path) == one.data:
                    one.stamp = stamp  # written again as it was
                else:
                    changed.append(name)
            self.on_disk = tuple(changed)
            return self.on_disk

    def settle(self, keep: str) -> Changed:
        """Answer which of a changed file is to stay: "mine", as it was typed here, or "disk". Both become versions."""
        with self.lock:
            changed = self.look_at_disk()
            if not changed:
                return Changed(self.version, ())
            mine, job, sheet = {name: one.data for name, one in self.open.items()}, self.job, self.sheet
            for name in changed:
                path = self.folder / name
                stamp = stamp_of(path)
                data = bytes_of(path)
                if data:
                    self.open[name] = Open(data, stamp)
                elif keep == "mine":
                    del self.open[name]  # it is gone, and is written anew
                else:
                    raise InputError(f"{name} is gone, or empty", file=name, hint="Keep yours, or put the file back")
            self.on_disk = ()
            what = f"changed by something else: {', '.join(changed)}"
            self.versions.add(what, "disk", self._kept(), job, sheet)
            if keep == "mine":
                return self._commit(mine, "kept as it was typed here", "edit", job, sheet)
            self._read_open_files()
            return Changed(self.version, changed)
