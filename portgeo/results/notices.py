"""Notices as a result gives them out: code, sentence in the user's unit, and values with their unit in each key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.core.notices import Notice
from portgeo.core.units import Display
from portgeo.results.figures import Result, figure


@dataclass(frozen=True)
class Remark(Result):
    """What to look at: `code` says what it is, `message` says it in words, `values` are the numbers in it."""

    code: str = figure(lambda notice, display: notice.code)
    message: str = figure(lambda notice, display: notice.message(display))
    values: Mapping[str, Any] = figure(lambda notice, display: notice.record())

    def __str__(self) -> str:
        return self.message


def remarks(notices: Sequence[Notice], display: Display) -> tuple[Remark, ...]:
    """Return notices as a result has them."""
    return tuple(Remark.of(notice, display) for notice in notices)
