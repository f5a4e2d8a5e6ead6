"""What a long answer is made from: readings, what is wanted, the bench, ..., each by a hash of what it says now.

What was asked comes in; what a person calls each part, and its hash, go out.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from portgeo.app.live.answer_parts import Asked, Scan, limits_only
from portgeo.app.live.desk import Desk
from portgeo.app.live.figures import Readings
from portgeo.app.live.on_disk import bytes_of, stamp_of
from portgeo.app.live.stages import job_content
from portgeo.core.errors import InputError
from portgeo.files.inside import kept_inside

WHOLE = ("report", "customer")  # answers about all of the job
CUTS = ("plan", "calm", "loss")  # answers that go by the target
# What the others go by besides the readings: tables of the job, and what a person calls them.
TABLES: Mapping[str, tuple[str, ...]] = {
    "air": ("bench",), "compare": ("metal",), "plan": ("metal",), "calm": ("metal", "bench", "walls", "calm"),
    "loss": ("loss", "bench"), "set": ("set",), "templates": ("templates",),
}  # fmt: skip
CALLED = {
    "bench": "the bench", "walls": "the wall readings", "calm": "what the job asks of this cut", "metal": "the metal",
    "loss": "what the job asks of the pressure lost",
    "set": "the runners of the set", "templates": "the stations of the templates",
}  # fmt: skip
NO_PART = (("loss", "cores"),)  # tables and keys that change no figure
REMARKS = ("note",)  # columns that change no figure


def made_from(desk: Desk, asked: Asked) -> dict[str, str]:
    """Return what an answer is made from: what a person calls each part, and the SHA-256 of what it says now."""
    with desk.lock:
        content = desk.now().content()
        if asked.kind in WHOLE:
            files = {named.file for named in desk.now().named()} | ({desk.job} if desk.job else set())
            return {"the job": _sha([[name, _file(desk.folder, name)] for name in sorted(files)])}
        found = {f"the readings of {of.stage}": _sha(_readings(of)) for of in asked.stages}
        if asked.runner is not None:
            found[f"the runner of {asked.runner.stage}"] = _sha(_readings(asked.runner))
        for table in (table for table in TABLES[asked.kind] if table in content):
            said = content.get(table)
            if isinstance(said, dict):
                said = {key: value for key, value in said.items() if (table, key) not in NO_PART}
            found[CALLED[table]] = _sha([said, *_files(desk, table)])
        if asked.target is not None and (asked.kind in CUTS or asked.said.get("planned")):
            said = job_content(_bytes(desk.folder, asked.target))
            aside = asked.kind == "calm" and not asked.said.get("hold_areas")
            said = limits_only(said) if aside else said
            name = "what stops a cut" if aside else "what is wanted"
            found[name] = _sha([said, *(_file(desk.folder, name) for name in _names(said))])
        return found


def _readings(of: Readings | Scan) -> Any:
    if isinstance(of, Scan):
        return asdict(of)
    aside = {of.columns[name] for name in REMARKS if name in of.columns}
    rows = [{name: text for name, text in cells.items() if name not in aside} for _, cells in of.rows]
    outlines = [cells[of.columns["outline"]] for _, cells in of.rows if of.columns.get("outline") in cells]
    return [of.file, rows, of.units, of.exhaust, [_file(Path(of.folder), name) for name in outlines]]


def _files(desk: Desk, table: str) -> list[Any]:
    return [_file(desk.folder, named.file) for named in desk.now().named() if named.table == table]


def _names(said: Any) -> list[str]:
    """Return every text in what a target says: each may be the name of a file."""
    if isinstance(said, str):
        return [said]
    inner = said.values() if isinstance(said, Mapping) else said if isinstance(said, list) else ()
    return [name for each in inner for name in _names(each)]


def _file(folder: Path, name: str) -> Any:
    """Return the SHA-256 of a file of the job; of a large one when it was written, and its size; None of no file."""
    try:
        path = kept_inside(folder, name)
    except InputError:
        return None
    data = _bytes(folder, name)
    return hashlib.sha256(data).hexdigest() if data else stamp_of(path)


def _bytes(folder: Path, name: str) -> bytes:
    try:
        return bytes_of(kept_inside(folder, name))
    except InputError:
        return b""


def _sha(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=str).encode()).hexdigest()
