"""Notices as records for JSON, told in the user's unit."""

from __future__ import annotations

from collections.abc import Sequence

from portgeo.core.units import Display, Notice


def notices_record(notices: Sequence[Notice], display: Display) -> list[dict[str, str]]:
    """Return notices as records."""
    return [{"code": n.code, "message": n.message(display)} for n in notices]
