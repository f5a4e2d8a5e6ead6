"""Hours: what was cut in an hour so far, and so what the planned cut and the other ports should take.

The pace is the shop's own: metal that came out of stages whose hours it gives. Without them there is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

LEAST_CC = 0.01  # of metal: what took an hour and no metal sets no pace


def hours_of(
    timed: Sequence[tuple[float, float]],
    planned_cc: float | None = None,
    other_ports: int | None = None,
    per_hour: float | None = None,
) -> dict[str, Any] | None:
    """Return what the work took and should take, None where nothing that was timed took metal out.

    timed : hours and cc of each cut. planned_cc : of the cut that is next. other_ports : that are still as this one
    was. per_hour : the shop's own price.
    """
    spent, removed = (sum(each[k] for each in timed) for k in (0, 1))
    if removed < LEAST_CC:
        return None
    pace = removed / spent
    planned = None if planned_cc is None else planned_cc / pace
    port = spent + (planned or 0.0)
    return {
        "spent_hours": spent,
        "removed_cc": removed,
        "cc_per_hour": pace,
        "planned_hours": planned,
        "port_hours": port,
        "other_ports": other_ports,
        "other_ports_hours": None if other_ports is None else other_ports * port,
        "per_hour": per_hour,
    }
