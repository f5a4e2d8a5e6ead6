"""One numbering of rows on the page: its own, 1 the first row under the header, in every sentence.

A sentence that counts rows as a spreadsheet does, or as rows in hand, comes in; the page's numbers go out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from typing import Any

ROWS = re.compile(r"\b([Rr]ows?) (\d+(?:(?:, and |, | and | to )\d+)*)")
HEADER = 2  # the number of the first of rows in hand: a header stands over them


def renumbered(text: str, row_of: Callable[[int], int | None]) -> str:
    """Return a sentence with each row's number put through `row_of`; one that is no row of the page stays."""

    def number(found: re.Match[str]) -> str:
        row = row_of(int(found[0]))
        return found[0] if row is None else str(row)

    return ROWS.sub(lambda found: f"{found[1]} {re.sub('[0-9]+', number, found[2])}", text)


def of_page(told: dict[str, Any], rows: Sequence[int], left_out: Collection[int]) -> dict[str, Any]:
    """Return figures whose sentences count rows as the page does. rows : of the page, that the port was tried with."""
    used = [row for row in rows if row not in left_out]

    def row_of(number: int) -> int | None:
        return used[number - HEADER] if 0 <= number - HEADER < len(used) else None

    notices = [one | {"message": renumbered(one["message"], row_of)} for one in told["notices"]]
    return told | {"notices": notices}
