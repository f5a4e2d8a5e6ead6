"""What stands on the disk: a file's bytes, and when it was written.

A path comes in; plain values go out, nothing of a file that is gone.
"""

from __future__ import annotations

from pathlib import Path

from portgeo.app.live.draft import FILE_LIMIT


def bytes_of(path: Path) -> bytes:
    """Return a file's bytes; none of one that is gone, too large or cannot be read."""
    try:
        return path.read_bytes() if path.stat().st_size <= FILE_LIMIT else b""
    except OSError:
        return b""


def stamp_of(path: Path) -> tuple[int, int] | None:
    """Return what the disk says of a file: when it was written and its size; None where it is gone."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_mtime_ns, found.st_size
