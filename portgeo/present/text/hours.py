"""What the work took and should take, in sentences for the bench and for the customer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def pace_text(hours: Mapping[str, Any]) -> str:
    """Return the pace so far, and what the planned cut and the other ports should take at it."""
    text = f"{hours['removed_cc']:.2f} cc took {hours['spent_hours']:g} h, {hours['cc_per_hour']:.2f} cc an hour"
    if hours["planned_hours"] is not None:
        text += f"; this cut should take about {hours['planned_hours']:.1f} h"
    if hours["other_ports"]:
        text += f", the other {hours['other_ports']} ports {hours['other_ports_hours']:.1f} h"
    return text


def quotation_texts(hours: Mapping[str, Any]) -> list[str]:
    """Return what the customer reads of the time, with its price where the shop gives one."""
    rate, ports = hours["per_hour"], hours["other_ports"]

    def priced(spent: float) -> str:
        return f"{spent:.1f} h" + (f", {spent * rate:,.2f} at {rate:,.2f} an hour" if rate else "")

    texts = [f"This port took {priced(hours['spent_hours'])}."]
    if hours["planned_hours"]:
        texts.append(f"The planned cut should take about {priced(hours['planned_hours'])}.")
    if ports:
        texts.append(f"The other {ports} ports, cut the same, should take about {priced(hours['other_ports_hours'])}.")
    return texts
