"""Files that a job's own files name: the outlines of a sheet, the readings, meshes and drawings of a target.

The job's folder and a file in it come in; names from that folder go out, or a refusal of one that leads out of it.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from portgeo.core.errors import InputError
from portgeo.files.disk import read_bounded
from portgeo.files.inside import kept_inside
from portgeo.files.sheets.columns import plain_name
from portgeo.files.sheets.tables import SHEET_TYPES, decoded, read_table
from portgeo.files.toml.tables import parsed

SHEET_LIMIT, TARGET_LIMIT = 5_000_000, 1_000_000  # bytes, as their readers have it
WALL_READINGS = "wall readings"


def outlines_of_sheet(folder: Path, file: str) -> list[str]:
    """Return the traced outlines that a sheet names, from the job's folder."""
    path = folder / file
    if path.suffix.lower() not in SHEET_TYPES:
        return []
    try:
        rows = read_table(read_bounded(path, SHEET_LIMIT), file).rows
        column = [plain_name(cell) for cell in rows[0][1]].index("outline")
    except (InputError, IndexError, ValueError, csv.Error):
        return []  # it names none, or its reader will say what is wrong with it
    names = [(number, cells[column]) for number, cells in rows[1:] if column < len(cells) and cells[column]]
    return _beside(folder, file, [(name, f"row {number}, column outline") for number, name in names])


def _beside(folder: Path, file: str, names: list[tuple[str, str]]) -> list[str]:
    """Return files named in another file, from the job's folder; each must lie in it. names : name, where."""
    found = []
    for name, where in names:
        try:
            path = kept_inside((folder / file).parent, name)
        except InputError as refusal:
            raise InputError(refusal.what, file=file, where=where, hint=refusal.hint) from None
        found.append(path.relative_to(folder).as_posix())
    return list(dict.fromkeys(found))


def files_of_target(folder: Path, file: str) -> Iterator[tuple[str, str]]:
    """Yield the files that a target names, from the job's folder, and what each is."""
    try:
        content = parsed(decoded(read_bounded(folder / file, TARGET_LIMIT), file))
    except InputError:
        return  # its reader will say what is wrong with it
    keys = (
        ("limits", "wall_readings", WALL_READINGS), ("limits", "outer_mesh", "what lies outside the wall"),
        ("limits", "beside", "passage beside it"), ("limits", "gasket", "gasket's opening"),
        ("copy", "port", "port to copy"),
    )  # fmt: skip
    for table, key, what in keys:
        named = content.get(table)
        names = named.get(key) if isinstance(named, dict) else None
        for name in names if isinstance(names, list) else [names]:
            if isinstance(name, str) and name.strip():
                for path in _beside(folder, file, [(name.strip(), f"[{table}] {key}")]):
                    yield path, what
                    for outline in outlines_of_sheet(folder, path) if key == "port" else ():
                        yield outline, "outline"
