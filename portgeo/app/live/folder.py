"""What goes into a job's folder from the page, and what of it goes out: by name, and nothing beside it.

A name and bytes come in; a file in the folder, or the path of one that may be given out, goes out.
"""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import AsyncIterator, Collection
from pathlib import Path, PurePosixPath

from portgeo.app.live.answer_parts import PRINTED, REPORT
from portgeo.core.errors import InputError, OutputError
from portgeo.files.drawings.outlines import KINDS
from portgeo.files.inside import kept_inside
from portgeo.files.meshes.mesh import READ
from portgeo.files.sheets.tables import SHEET_TYPES

LARGEST = 500_000_000  # bytes of a file that is dropped on the page: a fine scan of a whole head
TAKEN = tuple(dict.fromkeys((*READ, *KINDS, *SHEET_TYPES)))  # by the endings of their names
PLAIN = re.compile(r"[^\W_.][\w .()+,&#-]*", re.UNICODE)  # of a name: no folder, nothing hidden
LETTERS = 120
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)  # by Windows
OUT = {
    ".html": "text/html", ".pdf": "application/pdf", ".png": "image/png", ".txt": "text/plain", ".csv": "text/csv",
    ".json": "application/json", ".stl": "model/stl",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}  # fmt: skip


async def taken_in(
    folder: Path, name: str, stream: AsyncIterator[bytes], taken: Collection[str] = TAKEN, largest: int | None = None
) -> str:
    """Write a file that was dropped on the page into a folder, whole or not at all, and return its name.

    taken : endings of the kinds that are. largest : bytes, LARGEST where none is given. A name that is taken gets a
    number. Raises InputError for a kind that is not read, a name that leads elsewhere or too many bytes; OutputError
    where it cannot be written.
    """
    ending = PurePosixPath(name).suffix.lower()
    if not PLAIN.fullmatch(name) or len(name) > LETTERS or RESERVED.fullmatch(name) or name.endswith((" ", ".")):
        raise InputError(f"{name[:60]!r} is no name for a file here", hint="Rename it with plain letters and figures")
    if ending not in taken:
        raise InputError(f"a {ending or 'nameless'} file is not read", hint=f"Drop one of {', '.join(taken)}")
    largest = LARGEST if largest is None else largest
    part = folder / f".{secrets.token_hex(8)}{ending}"
    size = 0
    try:
        with open(part, "xb") as file:
            async for chunk in stream:
                size += len(chunk)
                if size > largest:
                    most = f"at most {largest / 1e6:.0f} MB"
                    raise InputError(f"{name} is too large ({most})", hint="Save it coarser, or cut it down")
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        if size == 0:
            raise InputError(f"{name} is empty", hint="Drop it again")
        return _placed(part, folder, name)
    except OSError as error:
        raise OutputError(
            f"the file cannot be written ({error.strerror or error})", file=name, hint="Check that there is room"
        ) from error
    finally:
        part.unlink(missing_ok=True)


def _placed(part: Path, folder: Path, name: str) -> str:
    """Give a file its name, or that name with a number where another has it."""
    stem, ending, k = PurePosixPath(name).stem, PurePosixPath(name).suffix, 1
    while True:
        free = name if k == 1 else f"{stem}-{k}{ending}"
        try:
            with open(folder / free, "xb"):
                pass
        except FileExistsError:
            k += 1
            continue
        os.replace(part, folder / free)
        return free


def given_out(folder: Path, name: str) -> Path | None:
    """Return the path of a file that a long answer made; None of every other."""
    parts = name.split("/")
    if parts[0] not in (REPORT, PRINTED) or any(part.startswith(".") or not part for part in parts):
        return None
    try:
        path = kept_inside(folder, name)
    except InputError:
        return None
    inside = path.resolve().is_relative_to((folder / parts[0]).resolve())
    return path if inside and path.suffix.lower() in OUT else None
