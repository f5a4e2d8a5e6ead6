"""The pressure that the ports of a report lose, in rows and in words.

The record of a PressureLost comes in; a table and sentences go out. Each ± is twice the standard uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portgeo.core.section import wall_name
from portgeo.core.units import PA_PER, Display, clock_text
from portgeo.present.page.tables import Table
from portgeo.results.figures import Column

WATER = PA_PER["in_h2o"]
HEADS = "In velocity heads of the throat"
COLUMNS = (
    Column("port", "Port", "text"), Column("lost_in_h2o", "inH2O", "ratio", "Pressure lost"),
    Column("lost_u_in_h2o", "±", "ratio", "Pressure lost"), Column("change", "change", "percent", "Against the first"),
    Column("change_u", "±", "percent", "Against the first"), Column("coefficient", "lost", "mach", HEADS),
    Column("coefficient_u", "±", "mach", HEADS), Column("flow_at_28", "flow", "flow", "At 28 inH2O"),
    Column("flow_at_28_u", "±", "flow", "At 28 inH2O"), Column("leaves_at", "Air leaves the wall at", "length"),
    Column("leaves_wall", "Wall", "text"), Column("unfilled", "Throat not filled", "percent"),
)  # fmt: skip


def loss_table(record: Mapping[str, Any]) -> Table:
    """Return the ports side by side, from the record of a PressureLost."""
    rows = []
    for state in record["states"]:
        loss, leaves = state["loss"], state["leaves_wall"]
        rows.append(
            (
                state["name"], loss["total_in_h2o"], _doubled(loss["total_u_pa"], 1.0 / WATER),
                state["change_percent"], _doubled(state["change_u_percent"]), loss["coefficient"],
                _doubled(loss["coefficient_u"]), loss["flow_at_28_cfm"], _doubled(loss["flow_at_28_u_cfm"]),
                leaves and leaves["from_station_mm"], wall_name(leaves["wall"]) if leaves else "stays on it",
                state["throat_unfilled_percent"],
            )
        )  # fmt: skip
    return Table("loss", "Pressure lost, side by side", COLUMNS, tuple(rows))


def loss_texts(record: Mapping[str, Any], d: Display) -> list[str]:
    """Return of each port in words what it loses, what that changed and where air leaves the wall."""
    texts = []
    for state in record["states"]:
        loss, change = state["loss"], change_text(state)
        u = _doubled(loss["total_u_pa"], 1.0 / WATER)
        doubt = "" if u is None else f" ± {u:.2f}"
        text = f"{state['name']}: loses {loss['total_in_h2o']:.2f}{doubt} inH2O"
        if change:
            text += f", {change} than {record['states'][0]['name']}"
        elif state["change_percent"] is not None:
            text += f"; no change from {record['states'][0]['name']} detected"
        texts.append(f"{text}; {_leaves(state['leaves_wall'], d)}.")
    return texts


def change_text(state: Mapping[str, Any]) -> str:
    """Return how much less or more a port loses than the first, with its ±; nothing where that is within its ±."""
    change, u = state["change_percent"], _doubled(state["change_u_percent"])
    if change is None or u is None or abs(change) <= u:
        return ""
    return f"{abs(change):.1f} ± {u:.1f} % {'less' if change < 0 else 'more'}"


def _leaves(leaves: Mapping[str, Any] | None, d: Display) -> str:
    if leaves is None:
        return "the air stays on the wall"
    place = f"station {d.length(leaves['from_station_mm'])}, {clock_text(leaves['clock'])}"
    back = "past the exit" if leaves["past_exit"] else f"at {d.length(leaves['to_station_mm'])}"
    return f"air leaves the {wall_name(leaves['wall'])} at {place}, and comes back {back}"


def _doubled(u: float | None, per: float = 1.0) -> float | None:
    return None if u is None else 2.0 * u * per
