"""Notices for a person.

Notices come in; wrapped lines go out, in the user's unit.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from portgeo.core.units import Display, Notice

WIDTH = 88  # of a line: narrower than any terminal at a bench


def notices_lines(notices: Sequence[Notice], display: Display) -> list[str]:
    """Return notices as wrapped lines under a heading, a blank line after them; none give no lines."""
    # How a scan was read (which end is the entry, where the roof is) is no remark on the port.
    read = [notice for notice in notices if notice.code.endswith("_rule")]
    lines: list[str] = []
    for title, some in (("look at", [n for n in notices if n not in read]), ("how it was read", read)):
        lines += [title] if some else []
        for notice in some:
            lines += textwrap.wrap(notice.message(display), WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return [*lines, ""] if lines else []
