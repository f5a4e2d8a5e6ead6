"""Notices for a person.

Notices come in; wrapped lines go out, in the user's unit.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from portgeo.core.notices import Notice
from portgeo.core.units import Display

WIDTH = 88  # of a line: narrower than any terminal at a bench


def notices_lines(notices: Sequence[Notice], display: Display, more: Sequence[str] = ()) -> list[str]:
    """Return notices as wrapped lines under a heading, a blank line after them; none give no lines.

    more : what else there is to look at, in words.
    """
    # How a scan was read (which end is the entry, where the roof is) is no remark on the port.
    read = [notice.message(display) for notice in notices if notice.code.endswith("_rule")]
    seen = [notice.message(display) for notice in notices if not notice.code.endswith("_rule")]
    lines: list[str] = []
    for title, texts in (("look at", [*seen, *more]), ("how it was read", read)):
        lines += [title] if texts else []
        for text in texts:
            lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return [*lines, ""] if lines else []
