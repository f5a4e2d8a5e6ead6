"""Files that were being written when their process was killed: `disk.atomic_write` leaves one under a name of its own.

A folder comes in; what nobody can still be writing goes from it.
"""

from __future__ import annotations

import re
import time
from pathlib import Path

PART = re.compile(r"\.[0-9a-f]{16}(\.\w+)?")  # as `disk.atomic_write` names it
WRITING = 60.0  # seconds that somebody may still be at it


def swept(folder: Path, age: float = WRITING) -> None:
    """Take half-written files out of a folder, those older than an age in seconds."""
    try:
        found = [path for path in folder.iterdir() if PART.fullmatch(path.name) and path.is_file()]
        for path in found:
            if time.time() - path.stat().st_mtime >= age:
                path.unlink(missing_ok=True)
    except OSError:
        return  # it is gone, or may not be looked at: nothing hangs on it
