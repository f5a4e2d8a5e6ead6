"""Files as wholes: bounded reading, atomic writing, and the plain result files (JSON and CSV tables).

Paths with bytes, arrays or plain Python values come in; whole files, or a refusal and no file, go out.
"""

from __future__ import annotations

import csv
import difflib
import hashlib
import io
import json
import math
import os
import secrets
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path, PurePath
from typing import Any

import numpy as np

from portgeo.core.errors import InputError, OutputError
from portgeo.core.interrupts import held
from portgeo.results.figures import plain

BLOCK = 2**24  # bytes written to the disk at a time: a second's work on a slow one
NEAR = 0.75  # of a name: a slip or two, or another ending
TABLE_DIGITS = 6  # decimals in tables; below 1, significant digits


def read_bounded(path: str | Path, limit: int) -> bytes:
    """Return a file's bytes, of at most `limit`.

    Raises InputError where it is not there, is no ordinary file, cannot be read, is empty or is larger.
    """
    size = size_of(path)
    if size > limit:
        raise InputError(
            f"the file is too large ({size / 1e6:.0f} MB; at most {limit / 1e6:.0f} MB)",
            file=str(path),
            hint="Check that it is the right file, or make it smaller",
        )
    try:
        with open(path, "rb") as stream:
            data = stream.read(limit + 1)[:limit]
    except OSError as error:
        raise _unreadable(path, error) from error
    if not data:
        raise InputError("the file is empty", file=str(path), hint="Save it again from where it was made")
    return data


def size_of(path: str | Path) -> int:
    """Return an ordinary file's size in bytes. Raises InputError where there is none."""
    name = str(path)
    try:
        if not os.path.exists(path):
            close = _nearest(Path(path))
            hint = f"Did you mean {close}?" if close else "Check the name and the folder"
            raise InputError("there is no such file", file=name, hint=hint)
        if not os.path.isfile(path):
            raise InputError("this is not an ordinary file", file=name, hint="Name a file")
        return os.path.getsize(path)
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from error


def _nearest(path: Path) -> str:
    """Return the name in a path's folder that is nearest to the path's own, nothing where none is near."""
    try:
        names = sorted(os.listdir(path.parent))
    except (OSError, ValueError):
        return ""
    return next(iter(difflib.get_close_matches(path.name[:60], names, 1, NEAR)), "")


def sha256_of(path: str | Path) -> str:
    """Return the SHA-256 of a file as hexadecimal digits. Raises InputError where it cannot be read."""
    size_of(path)
    try:
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise _unreadable(path, error) from error


def _unreadable(path: str | Path, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or str(error)
    return InputError(
        f"the file cannot be read ({reason})",
        file=str(path).replace("\0", "?"),
        hint="Check the name and that you may read it",
    )


def check_free(paths: Iterable[str | Path | None], force: bool, inputs: Iterable[str | Path | None] = ()) -> None:
    """Refuse, before anything is computed, outputs that could not be written at the end. None is none.

    Raises OutputError where a folder is missing, a file is there already (unless `force`), what is
    there is no ordinary file, two outputs are one file, or one is a file that is read.
    """
    read = {os.path.normcase(os.path.abspath(path)) for path in inputs if path}
    seen: set[str] = set()
    for path in (Path(path) for path in paths if path):
        name = str(path)
        try:
            real = os.path.normcase(os.path.abspath(path))
            folder_there, there, ordinary = path.parent.is_dir(), os.path.lexists(path), path.is_file()
        except (OSError, ValueError) as error:
            raise OutputError(
                f"this cannot be the name of a file ({error})", file=name, hint="Choose another"
            ) from error
        if "\0" in name:
            raise OutputError("this cannot be the name of a file", file=name.replace("\0", "?"), hint="Choose another")
        if real in read:
            raise OutputError(
                "this file is an input, and a result would replace it", file=name, hint="Choose another name"
            )
        if real in seen:
            raise OutputError("two results would go to this one file", file=name, hint="Name two files")
        seen.add(real)
        if not folder_there:
            raise OutputError(
                f"there is no folder {path.parent}", file=name, hint="Make the folder or choose another place"
            )
        if there and not ordinary:
            raise OutputError("this is not an ordinary file", file=name, hint="Choose another name")
        if there and not force:
            raise OutputError(
                "the file is there already",
                file=name,
                hint="Pass --force to replace it, or choose another name",
            )


def named_twice(paths: Sequence[PurePath]) -> tuple[int, int] | None:
    """Return the places, from 0, of the first path that is named again; None where each is named once."""
    for k, path in enumerate(paths):
        if path in paths[:k]:
            return paths.index(path), k
    return None


def make_folder(path: str | Path) -> None:
    """Make a folder, and those above it, unless it is there. Raises OutputError where that cannot be."""
    try:
        Path(path).mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise no_folder(path, error) from error


def no_folder(path: str | Path, error: OSError | ValueError) -> OutputError:
    """Return the refusal of a folder that cannot be made."""
    return OutputError(
        f"the folder cannot be made ({getattr(error, 'strerror', None) or error})",
        file=str(path).replace("\0", "?"),
        hint="Choose another name or place",
    )


def atomic_write(path: str | Path, data: bytes, *, force: bool) -> None:
    """Write a file whole or not at all, Ctrl-C or not.

    Raises OutputError as `check_free` does and where the system refuses.
    """
    path = Path(path)
    check_free([path], force)
    # A name of our own and not tempfile's, whose files only their maker may read.
    part = path.with_name(f".{secrets.token_hex(8)}{path.suffix}")
    with held() as look:
        try:
            with open(part, "xb") as stream:
                for start in range(0, len(data), BLOCK):
                    stream.write(data[start : start + BLOCK])
                    stream.flush()
                    os.fsync(stream.fileno())
                    look()
            os.replace(part, path)
        except OSError as error:
            raise OutputError(
                f"the file cannot be written ({error.strerror or error})",
                file=str(path),
                hint="Close whatever has it open and check that there is room and that you may write there",
            ) from error
        finally:
            with suppress(OSError):  # a disk that has become read-only keeps it, and what is wrong is told
                part.unlink(missing_ok=True)


def write_json(path: str | Path, result: Mapping[str, Any], force: bool) -> None:
    """Write a result as JSON, as `json_text` has it. Raises OutputError."""
    atomic_write(path, json_text(result).encode("utf-8", "replace"), force=force)


def json_text(result: Mapping[str, Any]) -> str:
    """Return a result as JSON: keys in their order, floats to 9 significant digits, nan and inf as null.

    Takes numpy scalars and arrays. Lists of plain values stay on one line.
    """
    return _json(plain(result), "") + "\n"


def _json(value: Any, indent: str) -> str:
    inner = indent + "  "
    if isinstance(value, dict) and value:
        items = [f"{inner}{_json(key, '')}: {_json(item, inner)}" for key, item in value.items()]
        return "{\n" + ",\n".join(items) + f"\n{indent}}}"
    if isinstance(value, list) and any(isinstance(item, dict | list) for item in value):
        return "[\n" + ",\n".join(inner + _json(item, inner) for item in value) + f"\n{indent}]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def write_table_csv(path: str | Path, header: Sequence[str], rows: Iterable[Sequence[Any]], force: bool) -> None:
    """Write a table as CSV, as `table_text` has it, in UTF-8. Raises OutputError."""
    atomic_write(path, table_text(header, rows).encode("utf-8", "replace"), force=force)


def table_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return a table as CSV with line feeds: numbers to six decimals as needed, nan as an empty cell.

    Numbers below 1 keep six significant digits.
    """
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(header)
    table.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, np.generic):
        value = value.item()
    if not isinstance(value, float):
        return str(value)
    if not math.isfinite(value):
        return ""
    size = abs(value)
    places = TABLE_DIGITS if size >= 1.0 or size == 0.0 else TABLE_DIGITS - 1 - math.floor(math.log10(size))
    text = f"{value:.{min(places, 15)}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
