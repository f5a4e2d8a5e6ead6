"""Photographs: a file that a camera wrote comes in; its levels, upright as the camera was held, go out.

Of what a camera writes beside the picture only how it was held is used.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError
from portgeo.files.disk import read_bounded

FILE_LIMIT = 80_000_000  # bytes
MOST_PIXELS = 210_000_000  # of the largest phone cameras


def read_photo(path: str | Path) -> np.ndarray:
    """Return the levels (h, w, 3) of a photograph, 8 bits, blue, green, red. Raises InputError where it is none."""
    return photo_from(read_bounded(path, FILE_LIMIT), str(path))


def photo_from(data: bytes, file: str) -> np.ndarray:
    """Return the levels of a photograph in a file's bytes. Raises InputError as `read_photo` does."""
    import cv2

    if data[4:12] in (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypavif"):
        hint = "Set the phone to its most compatible format, or save the photograph as a JPEG"
        raise InputError("the photograph is of a kind that cannot be read here", file=file, hint=hint)
    cv2.utils.logging.setLogLevel(
        cv2.utils.logging.LOG_LEVEL_SILENT
    )  # the library's own remarks are no part of our output
    try:
        levels = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_COLOR)
    except cv2.error:
        levels = None
    if levels is None or levels.shape[0] * levels.shape[1] > MOST_PIXELS:
        raise InputError("the file is not a photograph that can be read", file=file, hint="Save it as a JPEG")
    return np.asarray(levels)
