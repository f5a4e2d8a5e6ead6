"""Air speed through a port that splits, for the person at the bench: the whole first, then each passage, then stations.

An AirThroughSplit comes in; lines of text go out, in the user's unit.
"""

from __future__ import annotations

import textwrap

from portgeo.core.split import TRUNK
from portgeo.core.units import M3_S_PER, Display
from portgeo.flow.airspeed import WHAT_IT_IS
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.present.text.speed import WHAT_MEAN_IS, peak_lines, room_lines, said, speed_difference, table_lines
from portgeo.results.split_air import AirThroughSplit, PassageAir

SHARP_MM = 0.05  # past the edge that a shoulder is told: nearer to it than that it is no edge
WHAT_SHARED_IS = (
    "The legs share the flow by how long and how wide each is, as an ideal flow does that has one mean potential at "
    "all exits. Valves, rubbing on the wall and what is past the exits are not in it: where you know the shares, give "
    "them with --shares."
)


def split_airspeed_text(air: AirThroughSplit, title: str) -> str:
    """Return the answer for the whole, then each passage's, then the tables of stations."""
    s, d = air.computed, air.display
    cfm, water = s.flow / M3_S_PER["cfm"], air.flow.depression_in_h2o
    lines = [
        f"{title}: computed air speed at {cfm:.1f} cfm, {water:.1f} inH2O",
        "",
        *said("shares", _shares_text(air, cfm)),
        *said("fastest", _fastest_text(air, d)),
        *said("split", _split_text(air, d)),
        *said("divider", _divider_text(air, d)),
        *said("grid", f"{s.unknowns:,} points in all"),
    ]
    for part in air.passages:
        lines += [
            "",
            f"{part.name}, {part.flow.cfm:.1f} cfm",
            *peak_lines(part.computed, d, straight=part.name == TRUNK),
        ]
        if part.name != TRUNK:
            lines += room_lines(part.computed, d)
        lines += said("grid", f"leaves {_grid_doubt(part, d)} of doubt in the peak")
    lines.append("")
    lines += notices_lines(air.notices, d)
    for part in air.passages:
        lines += ["", part.name, *table_lines(part.computed, d)]
    lines += ["", *textwrap.wrap(WHAT_IT_IS, WIDTH)]
    if not air.shares_given:
        lines += textwrap.wrap(WHAT_SHARED_IS, WIDTH)
    return "\n".join([*lines, *textwrap.wrap(WHAT_MEAN_IS, WIDTH)])


def _shares_text(air: AirThroughSplit, cfm: float) -> str:
    parts = []
    for leg in air.legs:
        doubt = "" if leg.share_u is None else f" ± {max(200.0 * leg.share_u, 0.1):.1f}"
        parts.append(f"{leg.name} {100.0 * leg.share:.1f}{doubt}% ({leg.share * cfm:.1f} cfm)")
    if air.shares_given:
        return ", ".join(parts) + "; as given"
    return ", ".join(parts) + "; as an ideal flow has it"


def _fastest_text(air: AirThroughSplit, d: Display) -> str:
    top = next(part for part in air.passages if part.name == air.fastest_in)
    return f"{d.speed(top.highest.peak_m_s)} in {'the trunk' if top.name == TRUNK else f'leg {top.name}'}"


def _split_text(air: AirThroughSplit, d: Display) -> str:
    split = air.split
    step = split.trunk_area_mm2 - split.legs_area_mm2
    where = f"at station {d.length(split.station_mm)}: trunk {d.area(split.trunk_area_mm2)}, "
    if split.divider_mm is None:
        return where + f"legs {d.area(split.legs_area_mm2)} together where each is a tube by itself"
    return (
        f"{where}legs {d.area(split.legs_area_mm2)} together, {d.area(step)} less; it takes the mean from "
        f"{d.speed(split.mean_before_m_s)} to {d.speed(split.mean_past_m_s)}"
    )


def _divider_text(air: AirThroughSplit, d: Display) -> str:
    x, y, z = (d.length(round(float(v), 6) + 0.0, label=False) for v in air.split.nose_mm)
    text = f"the air stands still on its nose, about ({x}, {y}, {z}) in the file"
    if air.split.divider_mm is not None:
        text += f"; it is {d.length(air.split.divider_mm)} thick there"
    rounds = []
    for leg in air.legs:
        assert leg.shoulder is not None
        speed, over = leg.shoulder.speed_m_s, leg.shoulder.over_mean
        rounds.append(f"{d.speed(speed)} into {leg.name}, {over:.2f} times its mean")
    past = max(leg.shoulder.past_edge_mm for leg in air.legs if leg.shoulder)
    doubt = speed_difference(max(leg.shoulder.speed_grid_error_m_s for leg in air.legs if leg.shoulder), d)
    readings = air.computed.port.trunk.readings
    if past > SHARP_MM and readings and readings[-1].nose_radius:
        return (
            f"{text}. {d.length(past)} past its edge the air goes {', '.join(rounds)} (the grid leaves {doubt}). It is "
            "solved with a sharp edge, on which an ideal flow has no bound; your edge is rounded "
            f"{d.length(readings[-1].nose_radius)}"
        )
    if past > SHARP_MM:
        return (
            f"{text}. {d.length(past)} past its edge the air goes {', '.join(rounds)} (the grid leaves {doubt}). At "
            "the sharp edge itself an ideal flow has no bound, and real air leaves the wall: round it"
        )
    return f"{text}. Round it the air goes {', '.join(rounds)} (the grid leaves {doubt})"


def _grid_doubt(part: PassageAir, d: Display) -> str:
    return speed_difference((part.short_side or part.highest).peak_grid_error_m_s, d)
