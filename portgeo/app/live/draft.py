"""What is typed, before it is written: a job's files with edits made in them, all or none.

The open files come in; each edit changes them and says in words what it was; the changed files go out.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from portgeo.app.job.blanks import bench_sheet, blank_target, section_sheet, wall_sheet
from portgeo.app.live.documents import CsvSheet
from portgeo.app.live.forms import TITLES, keys_of, written_name
from portgeo.app.live.job_text import literal, with_entry, with_key, without_entry
from portgeo.app.live.outline import begin_trace, draw_gasket, is_trace, traces_named
from portgeo.app.live.photographs import take_traced
from portgeo.app.live.sheets import ReadSheet, Sheet, sheet_of
from portgeo.app.live.stages import JOB, Named, Stage, job_content, named_in, stages_of
from portgeo.app.live.tables import Kind
from portgeo.app.live.target_forms import BEFORE, MANY, table_of
from portgeo.app.live.target_forms import KEYS as TARGET_KEYS
from portgeo.app.live.workbook import XlsxSheet
from portgeo.core.errors import InputError
from portgeo.core.units import LengthUnit
from portgeo.files.inside import kept_inside
from portgeo.files.sheets.tables import SHEET_TYPES, decoded

MOST_CELLS = 20_000  # in one edit: a paste of a thousand rows
MOST_RUNNERS = 24  # as a job has it
FILE_LIMIT = 5_000_000  # bytes of an open file, as the reader of sheets has it
AGAIN = "Load the page again"
UTF8_MARK = b"\xef\xbb\xbf"


@dataclass
class Draft:
    """The files of a job as they are being changed. job, sheet : the job's file, and a sheet that was opened alone."""

    folder: Path
    job: str | None
    sheet: str | None
    files: dict[str, bytes]
    units: LengthUnit
    _sheets: dict[str, Sheet] = field(default_factory=dict)

    # What is there

    def content(self) -> Mapping[str, Any]:
        """Return what the job file says."""
        return job_content(self.files[self.job]) if self.job in self.files else {}

    def named(self) -> list[Named]:
        """Return the files that are named, by the job or by a sheet of it."""
        found = named_in(dict(self.content())) if self.job else []
        if self.sheet and not self.job:
            found = [Named("state", 0, "port", self.sheet, "sections")]
        sheets = [each.file for each in found if each.kind == "sections" and each.file in self.files]
        return found + [each for name in sheets for each in traces_named(self.files[name], name)]

    def kinds(self) -> dict[str, Kind]:
        """Return the sheets that are open and what each is."""
        found = [(named.file, named.kind) for named in self.named() if named.file in self.files]
        typed = [(n, kind) for n, kind in found if kind != "points" or is_trace(self.files[n])]
        return {name: kind for name, kind in typed if kind is not None and kind != "target"}

    def stages(self) -> list[Stage]:
        """Return the stages in their order."""
        if self.sheet and not self.job:
            return [Stage(Path(self.sheet).stem, self.sheet, None, "", "")]
        return stages_of(dict(self.content()))

    def done(self) -> dict[str, bytes]:
        """Return the files as they are to be written. Raises InputError where a cell cannot be kept as typed."""
        for name, sheet in self._sheets.items():
            if not isinstance(sheet, ReadSheet):
                self.files[name] = sheet.data()
        self._sheets.clear()
        return self.files

    # Edits

    def apply(self, edit: Mapping[str, Any]) -> str:
        """Make one edit and return what it was in words. Raises InputError for one that cannot be."""
        make = EDITS.get(str(edit.get("op")))
        if make is None:
            raise InputError("there is no such edit", hint=AGAIN)
        try:
            return make(self, edit)
        except (KeyError, TypeError, ValueError, IndexError) as error:
            raise InputError("the edit cannot be read", hint=AGAIN) from error

    def typed(self, edit: Mapping[str, Any]) -> CsvSheet | XlsxSheet:
        name = str(edit["file"])
        if name not in self.kinds():
            raise InputError(f"there is no open sheet {name[:60]!r}", hint=AGAIN)
        if name not in self._sheets:
            self._sheets[name] = sheet_of(self.files[name], name)
        sheet = self._sheets[name]
        if isinstance(sheet, ReadSheet):
            raise InputError(
                f"{name} can be read but not written",
                hint=f"Save it beside as {PurePosixPath(name).with_suffix('.csv')}, and type into that",
                file=name,
            )
        return sheet

    def cells(self, edit: Mapping[str, Any]) -> str:
        """Write cells as they were typed."""
        cells = edit["cells"]
        if not 1 <= len(cells) <= MOST_CELLS:
            raise InputError("there are no cells, or too many", hint="Paste less at a time")
        sheet = self.typed(edit)
        for row, column, text in cells:
            sheet.set_cell(int(row), str(column), str(text))
        row, column, text = cells[0]
        more = f" and {len(cells) - 1} more cells" if len(cells) > 1 else ""
        return f"row {row}, {column}: {str(text)[:40]}{more}"

    def insert(self, edit: Mapping[str, Any]) -> str:
        """Put empty rows between others."""
        at, count = int(edit["at"]), int(edit.get("count", 1))
        self.typed(edit).insert(at, count)
        return f"{count} row{'s' if count > 1 else ''} before row {at}"

    def remove(self, edit: Mapping[str, Any]) -> str:
        """Take rows out."""
        rows = [int(row) for row in edit["rows"]]
        if not rows:
            raise InputError("there are no rows to take out", hint=AGAIN)
        self.typed(edit).remove(rows)
        return f"row{'s' if len(rows) > 1 else ''} {', '.join(map(str, rows[:12]))} taken out"

    def column(self, edit: Mapping[str, Any]) -> str:
        """Add a column."""
        name = str(edit["name"])
        self.typed(edit).add_column(name)
        return f"column {name}"

    def beside(self, edit: Mapping[str, Any]) -> str:
        """Save a workbook that is only read beside itself as CSV, and go on with that."""
        name = str(edit["file"])
        if name not in self.kinds():
            raise InputError(f"there is no open sheet {name[:60]!r}", hint=AGAIN)
        sheet = sheet_of(self.files[name], name)
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows([sheet.header, *sheet.rows])
        new = str(PurePosixPath(name).with_suffix(".csv"))
        self.add_file(new, text.getvalue().encode())
        for named in [each for each in self.named() if each.file == name]:
            if not self.job:
                self.sheet = new
            elif named.table == "set":
                files = [new if each == name else each for each in self.content()["set"]["files"]]
                self._set("set", 0, "files", ", ".join(files), "list")
            else:
                self._set(named.table, named.index, named.key, new)
        return f"{name} saved beside as {new}"

    def stage(self, edit: Mapping[str, Any]) -> str:
        """Begin a stage: a copy of another's sheet, a file that is there, or a blank sheet."""
        name, part = str(edit["name"]).strip(), str(edit.get("part", "port"))
        if part not in ("port", "runner") or not name:
            raise InputError("a new stage has a name, and is of the port or the runner", hint=AGAIN)
        self.need_job()
        before = next((s for s in self.stages() if s.name == edit.get("copy")), None)
        keys = {"name": literal(name, "text")}
        files = {} if before is None else {"port": before.port, "runner": before.runner}
        files[part] = self._new_sheet(edit, name, files.get(part))
        keys |= {key: literal(file, "text") for key, file in files.items() if file}
        self._job_text(lambda text: with_entry(text, "state", keys))
        return f"stage {name}"

    def _new_sheet(self, edit: Mapping[str, Any], name: str, copied: str | None) -> str:
        if edit.get("file"):
            return self._there(str(edit["file"]))
        if copied is None:
            new = self.free_name(f"{slug(name)}.csv")
            self.add_file(new, section_sheet(self.units).encode())
            return new
        if PurePosixPath(copied).suffix.lower() not in SHEET_TYPES or copied not in self.files:
            raise InputError(f"{copied} is a scan, and is not copied", hint="Drop the new scan on the page first")
        self.done()
        new = self.free_name(f"{slug(name)}{PurePosixPath(copied).suffix}")
        self.add_file(new, self.files[copied])
        return new

    def stage_key(self, edit: Mapping[str, Any]) -> str:
        """Set a key of a stage, by the stage's name."""
        self.need_job()
        names = [stage.name for stage in self.stages()]
        if edit["stage"] not in names:
            raise InputError(f"there is no stage {str(edit['stage'])[:60]!r}", hint=AGAIN)
        return self.key({"table": "state", "index": names.index(edit["stage"])} | dict(edit))

    def unstage(self, edit: Mapping[str, Any]) -> str:
        """Take a stage out of the job; its files stay."""
        names = [stage.name for stage in self.stages()]
        if edit["stage"] not in names or not self.job:
            raise InputError(f"there is no stage {str(edit['stage'])[:60]!r}", hint=AGAIN)
        if len(names) == 1:
            raise InputError("a job needs at least one stage", hint="Rename this one")
        self._job_text(lambda text: without_entry(text, "state", names.index(edit["stage"])))
        return f"stage {edit['stage']} taken out; its files stay"

    def key(self, edit: Mapping[str, Any]) -> str:
        """Set a key of the job, or of the target's own file, or take it out."""
        table, index, name = str(edit["table"]), int(edit.get("index") or 0), str(edit["key"])
        text = edit.get("text")
        if not isinstance(text, str | None):
            raise InputError("the edit cannot be read", hint=AGAIN)
        self.need_job()
        text = None if text is None or not text.strip() else text.strip()
        if table.startswith(BEFORE):
            self._set_in_target(table_of(table), index, name, text)
        elif table not in TITLES:
            raise InputError("a job has no such table", hint=AGAIN)
        else:
            if table == "state" and name == "name" and text:
                self._rename(index, text)
            self._set(table, index, name, text)
        return f"{table or 'job'}, {name}: {'taken out' if text is None else text[:40]}"

    def form(self, edit: Mapping[str, Any]) -> str:
        """Add an entry to what there may be several of, or take one out."""
        form, index = str(edit["table"]), edit.get("index")
        table = table_of(form)
        if form == "state" and edit.get("remove"):
            return self.unstage({"stage": self.stages()[int(index or 0)].name})
        if not form.startswith(BEFORE) or table not in MANY:
            raise InputError("there can be only one of these", hint=AGAIN)
        file = self._target()
        if edit.get("remove"):
            number = int(index or 0)
            self._text(file, lambda text: without_entry(text, table, number))
            return f"{form} {number + 1} taken out"
        self._text(file, lambda text: with_entry(text, table, {}))
        return f"one more {form}"

    def _target(self) -> str:
        """Return the target's file, laid out where there is none yet."""
        self.need_job()
        said = self.content().get("target")
        file = said.get("file") if isinstance(said, Mapping) else None
        if not isinstance(file, str):
            self.table({"table": "target"})
            file = str(self.content()["target"]["file"])
        if file not in self.files:
            raise InputError(f"{file} cannot be read", file=file, hint="Check the name, or name another")
        return file

    def _set_in_target(self, table: str, index: int, name: str, text: str | None) -> None:
        known = {key.name: key for key in TARGET_KEYS.get(table, ())}
        if name not in known:
            raise InputError(f"a target has no key {name[:60]!r} there", hint=AGAIN)
        file = self._target()
        content = job_content(self.files[file])
        said: Any = content.get(table, {}) if table else content
        if table in MANY:
            if not said and text is not None:
                self._text(file, lambda whole: with_entry(whole, table, {}))
            said = said[index] if said else {}
        written = written_name(known[name], said)
        value = None if text is None else literal(text, known[name].kind)
        self._text(file, lambda whole: with_key(whole, table, index, written, value))

    def _rename(self, index: int, name: str) -> None:
        """Rename a stage where other tables name it, so that it stays the one that is meant."""
        old = self.stages()[index].name
        for table in ("target", "walls", "tool"):
            said = self.content().get(table)
            if isinstance(said, Mapping) and said.get("state") == old:
                self._set(table, 0, "state", name)

    def _set(self, table: str, index: int, name: str, text: str | None, kind: str | None = None) -> None:
        """Write a key under the name that the file has it under. Raises InputError where a job has no such key."""
        known = {key.name: key for key in keys_of(table)}
        bare = name if name in known else re.sub("_(in|mm)$", "", name)
        if bare not in known:
            raise InputError(f"a job has no key {name[:60]!r} there", hint=AGAIN)
        said: Any = self.content().get(table, {}) if table else self.content()
        said = said[index] if isinstance(said, list) else said
        written = name if bare != name else written_name(known[name], said)
        value = None if text is None else literal(text, kind or known[bare].kind)
        self._job_text(lambda whole: with_key(whole, table, index, written, value))

    def table(self, edit: Mapping[str, Any]) -> str:
        """Make the sheet that a table of the job names, blank, and name it; one that is there already is named."""
        table = str(edit["table"])
        self.need_job()
        if table == "set":
            count = int(edit.get("count", 4))
            if not 2 <= count <= MOST_RUNNERS:
                raise InputError(f"a set is of 2 to {MOST_RUNNERS} runners", hint="Choose how many")
            files = [self._blank(f"runner-{k}.csv", section_sheet(self.units)) for k in range(1, count + 1)]
            self._set("set", 0, "files", ", ".join(files))
            return f"a set of {count} runners"
        if table == "runner":
            index = [stage.name for stage in self.stages()].index(str(edit["stage"]))
            self._set("state", index, "runner", self._blank("runner.csv", section_sheet(self.units)))
            return f"a runner before {edit['stage']}"
        blanks = {"bench": ("bench.csv", bench_sheet), "walls": ("walls.csv", wall_sheet), "target": _TARGET}
        if table not in blanks:
            raise InputError("there is no such table to begin", hint=AGAIN)
        name, blank = blanks[table]
        self._set(table, 0, "file", self._blank(name, blank(self.units)))
        if table != "bench" and len(self.stages()) > 1:
            self._set(table, 0, "state", self.stages()[-1].name)
        self._walls_stop_the_cut()
        return f"{TITLES[table]}: {name}"

    def _walls_stop_the_cut(self) -> None:
        """Have the target stop at the job's wall readings, of the stage that it starts from, unless it names others."""
        walls, target = (self.content().get(table) or {} for table in ("walls", "target"))
        file = target.get("file")
        if "file" not in walls or file not in self.files or walls.get("state") != target.get("state"):
            return
        if "wall_readings" not in (job_content(self.files[file]).get("limits") or {}):
            self._set_in_target("limits", 0, "wall_readings", str(walls["file"]))

    # Files

    def need_job(self) -> None:
        """Begin a job file beside a sheet that was opened alone, where something is said that needs one."""
        if self.job is not None:
            return
        if self.sheet is None:
            raise InputError("nothing is open yet", hint="Say first what is to be measured")
        stem = PurePosixPath(self.sheet).stem
        name = JOB if not (self.folder / JOB).exists() else f"{stem}.toml"
        words = {"title": stem, "name": stem, "port": self.sheet}
        title, stage, port = (literal(words[key][:80], "text") for key in ("title", "name", "port"))
        text = (
            "# A job: this port through its life. `portgeo report` makes its pages; `portgeo new` writes one with\n"
            f'# every key explained.\ntitle = {title}\nunits = "{self.units}"\n\n'
            f"[[stage]]\nname = {stage}\nport = {port}\n"
        )
        self.add_file(name, text.encode())
        self.job = name

    def _job_text(self, change: Callable[[str], str]) -> None:
        assert self.job is not None
        self._text(self.job, change)

    def _text(self, file: str, change: Callable[[str], str]) -> None:
        data = self.files[file]
        text = change(decoded(data, file))
        if b"\r\n" in data:
            text = text.replace("\n", "\r\n")
        self.files[file] = (UTF8_MARK if data.startswith(UTF8_MARK) else b"") + text.encode()

    def add_file(self, name: str, data: bytes) -> None:
        """Add a file. Raises InputError where one is there already: none is ever replaced by another."""
        if name in self.files or (self.folder / name).exists():
            raise InputError(f"{name} is there already", file=name, hint="Rename that file, or open it")
        self.files[name] = data

    def _blank(self, name: str, text: str) -> str:
        if (self.folder / name).is_file():
            return self._there(name)
        self.add_file(name, text.encode())
        return name

    def _there(self, name: str) -> str:
        """Take a file of the job's folder up. Raises InputError where there is none, or it lies outside."""
        path = kept_inside(self.folder, name)
        if PurePosixPath(name).suffix.lower() in (*SHEET_TYPES, ".toml") and name not in self.files:
            if path.stat().st_size > FILE_LIMIT:
                raise InputError(f"{name} is too large", file=name, hint="Check that it is the right file")
            self.files[name] = path.read_bytes()
        return name

    def free_name(self, name: str) -> str:
        """Return a name that no file has."""
        path, k = PurePosixPath(name), 2
        while name in self.files or (self.folder / name).exists():
            name, k = f"{path.stem}-{k}{path.suffix}", k + 1
        return name


_TARGET: tuple[str, Callable[[LengthUnit], str]] = ("target.toml", blank_target)
EDITS: Mapping[str, Callable[[Draft, Mapping[str, Any]], str]] = {
    "cells": Draft.cells, "insert": Draft.insert, "remove": Draft.remove, "column": Draft.column,
    "beside": Draft.beside, "stage": Draft.stage, "stage_key": Draft.stage_key, "unstage": Draft.unstage,
    "key": Draft.key, "form": Draft.form, "table": Draft.table, "gasket": draw_gasket, "trace": begin_trace,
    "traced": take_traced,
}  # fmt: skip


def slug(name: str) -> str:
    """Return a name as a file's: small letters and figures with - between."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:60] or "stage"
