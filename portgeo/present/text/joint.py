"""A joint match as text for the bench. A Match comes in."""

from __future__ import annotations

import numpy as np

from portgeo.comparing.joint import Edge, Margin, Match
from portgeo.core.units import Display, clock_text
from portgeo.present.text.notices import notices_lines
from portgeo.results.joined import Joined


def match_text(joined: Joined, title: str) -> str:
    """Return a joint as text: the lip that faces the flow first."""
    joint, d, leave = joined.computed, joined.display, joined.leave_mm
    lines = [
        title,
        f"  lip facing the flow   {_edge(joint.lip, d)}",
        f"  step, air drops off   {_edge(joint.step, d)}",
        f"  openings              {d.area(joint.upstream_area, label=False)} -> {d.area(joint.downstream_area)}",
        f"  offset                {_offset(joint, d)}",
        f"  rotation              {_rotation(joint)}",
        f"  bend at the joint     floor {_bend(joint.floor_bend)}, roof {_bend(joint.roof_bend)}",
    ]
    for name, margin in joint.margins.items():
        lines.append(f"  to the gasket line    {name}: {_margin(margin, d)}")
        lines.append(f"                        {_verdict(margin, leave, d)}")
    lines.append("")
    lines += notices_lines(joined.notices, d)
    lines.append(f"{'station':>9} {'area':>9}   one schedule through both parts, {d.unit} and {d.area_unit}")
    for station, area in zip(joint.stations, joint.areas, strict=True):
        mark = "  joint" if abs(station - joint.joint_station) < 1e-6 else ""
        lines.append(f"{d.length(station, label=False):>9} {d.area(area, label=False):>9}{mark}")
    lines += [
        "",
        "A lip that faces the flow costs flow; the same step the other way costs little (common practice).",
    ]
    return "\n".join(lines)


def _edge(edge: Edge, d: Display) -> str:
    if edge.clock is None:
        return "none"
    return f"{d.length(edge.height)} high at most, at {clock_text(edge.clock)}; {d.area(edge.area)} in all"


def _offset(joint: Match, d: Display) -> str:
    left, up = joint.offset
    return (
        f"the downstream opening sits {d.length(abs(left))} to the {'left' if left > 0 else 'right'} and "
        f"{d.length(abs(up))} {'higher' if up > 0 else 'lower'}"
    )


def _rotation(joint: Match) -> str:
    if joint.rotation is None:
        return "not known for a round opening"
    turn = np.degrees(joint.rotation)
    return f"{abs(turn):.1f} deg {'clockwise' if turn > 0 else 'counterclockwise'} looking downstream"


def _bend(angle: float) -> str:
    turn = np.degrees(angle)
    if abs(turn) < 0.05:
        return "none"
    return f"{abs(turn):.1f} deg towards the {'roof' if turn > 0 else 'floor'}"


def _margin(margin: Margin, d: Display) -> str:
    return (
        f"{d.length(margin.least, label=False)} ({clock_text(margin.least_clock)}) to "
        f"{d.length(margin.greatest)} ({clock_text(margin.greatest_clock)})"
    )


def _verdict(margin: Margin, leave: float, d: Display) -> str:
    if margin.fault == "past_the_line":
        return f"cut past the gasket line by up to {d.length(-margin.least)}"
    if margin.fault == "metal_left":
        left = d.length(margin.greatest)
        return f"metal is left inside the line, up to {left} where {d.length(leave)} was meant"
    return "as meant"
