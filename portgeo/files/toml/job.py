"""The job file: one port through its life, in TOML. Its tables, checked by pydantic.

A file comes in; a JobFile, its lengths in millimetres and its files sure to lie in its folder, goes
out, or a refusal with the key, its line and the mend.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from portgeo.core.errors import InputError
from portgeo.files.disk import read_bounded
from portgeo.files.inside import kept_inside
from portgeo.files.sheets.tables import SHEET_TYPES, decoded
from portgeo.files.toml.job_tables import Job
from portgeo.files.toml.job_words import mended
from portgeo.files.toml.tables import TomlTable, parsed, shown

FILE_LIMIT = 1_000_000  # bytes
PORTS = (*SHEET_TYPES, ".stl", ".ply", ".obj", ".off", ".3mf", ".glb")
OF_A_TARGET = {"area", "taper", "short_side", "limits", "copy", "keep"}


@dataclass(frozen=True)
class JobFile:
    """A job, the file it is in and that file's folder. sha256 : of the file."""

    path: Path
    job: Job
    sha256: str
    text: str

    @property
    def folder(self) -> Path:
        """The folder that all its files lie in."""
        return self.path.parent

    def where(self, table: str, index: int = 0, key: str | None = None) -> str:
        """Return the place of a key, or of a table: line and name."""
        return _where(self.text, table, index, key)


def read_job(path: str | Path) -> JobFile:
    """Return the job in a TOML file. Raises InputError naming file, line, key and mend.

    Every file it names must be there, in the job file's folder or below it.
    """
    file = str(path)
    if Path(path).suffix.lower() in PORTS:
        raise InputError(
            "this is a port, not a job",
            file=file,
            mend=f"`portgeo measure {path}` measures it; `portgeo new DIR` writes a job to name it in",
        )
    data = read_bounded(path, FILE_LIMIT)
    try:
        text = decoded(data, file)
        found = JobFile(Path(path), _checked(text), hashlib.sha256(data).hexdigest(), text)
        for table, index, key, name in named_files(found.job):
            try:
                kept_inside(found.folder, name)
            except InputError as refusal:
                raise InputError(refusal.what, where=found.where(table, index, key), mend=refusal.mend) from None
    except InputError as refusal:
        raise refusal.in_file(file) from None
    return found


def _checked(text: str) -> Job:
    content = parsed(text)
    if "state" not in content and OF_A_TARGET & content.keys():
        raise InputError(
            "this is a target, not a job",
            mend="Name it in a job, under [target], or use it alone: `portgeo reshape PORT TARGET`",
        )
    unit = content.get("units")
    if unit not in ("in", "mm"):
        if unit is None:
            TomlTable({k: v for k, v in content.items() if k not in Job.model_fields}, "", 0, text, "mm").misspelt(
                "units"
            )
        what = "units is missing" if unit is None else f"{shown(unit)} is not known here"
        raise InputError(what, where=_where(text, "", 0, "units"), mend='Write  units = "in"  or  units = "mm"')
    try:
        return Job.model_validate(content, context={"unit": unit})
    except ValidationError as errors:
        raise _refusal(errors, content, text) from None


def _refusal(errors: ValidationError, content: dict[str, Any], text: str) -> InputError:
    """Return the first thing that is wrong, with its place in the file."""
    # A key that is not known comes before one that is missing: it is mostly the same one, misspelt.
    found = errors.errors(include_url=False)
    first = next((error for error in found if error["type"] == "extra_forbidden"), found[0])
    place = list(first["loc"])
    own = first.get("ctx", {}).get("key")
    if own is not None:
        place.append(own)
    table = next((str(part) for part in place if isinstance(part, str)), "")
    index = next((part for part in place if isinstance(part, int)), 0)
    if not isinstance(content.get(table), dict | list) or len(place) == 1:
        table, index = ("", 0) if first["type"] != "table" else (table, index)
    keys = [part for part in place if isinstance(part, str)]
    what, mend = mended(first, keys[-1] if keys else "")
    key = keys[-1] if keys and keys[-1] != table else None
    where = _where(text, table, index, key)
    if key is not None and "line" not in where:
        # The key is missing, or stands in an inline table: the table's own line is the nearest.
        named = " ".join(keys[1:] if table else keys)
        line = _where(text, table, index, keys[1] if len(keys) > 2 else None)
        where = f"{line}, {named}" if line else named
    return InputError(what, where=where or None, mend=mend)


def _where(text: str, table: str, index: int, key: str | None) -> str:
    return TomlTable({}, table, index, text, "mm").where(key)


def named_files(job: Job) -> list[tuple[str, int, str, str]]:
    """Return every file a job names: its table, that table's number, the key and the name."""
    found = []
    for k, state in enumerate(job.state):
        found += [("state", k, key, getattr(state, key)) for key in ("port", "runner")]
    for table in ("bench", "target", "gasket", "walls"):
        content = getattr(job, table)
        found.append((table, 0, "file", content.file if content else None))
    found += [("set", 0, "files", name) for name in (job.set.files if job.set else ())]
    return [(table, k, key, name) for table, k, key, name in found if name is not None]
