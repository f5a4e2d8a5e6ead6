"""Options: what a user may say of a scan, and how its progress is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from portgeo.core.plane import FloatArray

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class ScanOptions:
    """What a user may say of a scan: points (3,) on the openings, where up is, a stem to take off.

    All in the file's own coordinates, times unit and scale (millimetres).
    """

    entry: FloatArray | None = None
    exit: FloatArray | None = None
    up: FloatArray | None = None
    with_stem_mm: float | None = None
