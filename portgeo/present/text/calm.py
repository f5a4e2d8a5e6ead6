"""What calms the air, as text: the answer first, then what each amount of metal buys and what holds it back.

A CalmedAir comes in; text for the bench goes out.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from portgeo.core.units import Display, clock_text
from portgeo.flow.airspeed import WHAT_IT_IS
from portgeo.present.text.cut_sheet import caution_lines
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.results.calmed import CalmedAir, CutChoice
from portgeo.results.kinds import kind_of


def calm_text(calm: CalmedAir, title: str, chosen_by: str) -> str:
    """Return the answer, what each amount of metal buys, what holds the cut back. chosen_by : the choice's reason."""
    d, today = calm.display, calm.today
    place = f"station {d.length(today.station_mm)}, {clock_text(today.clock_hours)}"
    lines = [
        title,
        f"  now         peak {_speed(today.peak_m_s, today.peak_u_m_s, d)} at {place}{_slowing(today.slowing_percent)}",
    ]
    if calm.chosen is None:
        lines += ["", *notices_lines(calm.notices, d)]
        return "\n".join(lines)
    chosen = calm.chosen
    lines += [
        f"  cut         {chosen.metal_cc:.2f} cc, {d.length(chosen.deepest_mm)} at the deepest ({chosen_by})",
        f"  finished    peak {d.speed(chosen.peak_m_s)}, down {_speed(chosen.gain_m_s, chosen.gain_u_m_s, d)}"
        f"{'' if chosen.sure else ', within the ±: no gain shown'}{_slowing(chosen.slowing_percent)}",
    ]
    if calm.knee is not None:
        knee = calm.choices[calm.knee]
        lines.append(
            f"  worth it    the first {knee.metal_cc:.2f} cc bring {knee.of_all_percent:.0f}% of all that can be had"
        )
    lines += _tried(calm)
    lines += _held(chosen, d)
    lines += ["", *_table(calm.choices, chosen, d), ""]
    lines += notices_lines(calm.notices, d)
    lines += textwrap.wrap(WHAT_IT_IS, WIDTH) + ["", *caution_lines()]
    return "\n".join(lines)


def _speed(value: float, u: float | None, d: Display) -> str:
    return d.speed(value) if u is None else f"{d.speed(value, label=False)} ± {d.speed(2.0 * u)}"


def _slowing(percent: float | None) -> str:
    if percent is None:
        return ""
    return f"; slowing past the short side at {percent:.0f}% of what air can follow"


def held_texts(chosen: Mapping[str, Any], d: Display) -> list[str]:
    """Return what holds a cut back, and where a wall reading would pay. chosen : the record of a CutChoice."""
    texts = []
    if round(chosen["next_cc_gain_m_s"], 1) > 0.0:
        texts.append(f"metal: at this rate one more cc would bring another {d.speed(chosen['next_cc_gain_m_s'])}")
    for held in chosen["held_by"]:
        place = f"station {d.length(held['station_mm'])}, {clock_text(held['clock_hours'])}"
        text = f"{held['name']}, most at {place}: {d.length(0.25)} more would bring another {d.speed(held['gain_m_s'])}"
        if not held["measured"]:
            text += "; no wall reading is near: take one there"
        texts.append(text)
    return texts


def _tried(calm: CalmedAir) -> list[str]:
    """Return what a viscous solution says of the chosen cut, beside the ideal flow; nothing where it was not tried."""
    if calm.loss is None:
        return []
    now, after = calm.loss.states
    assert after.change_percent is not None and after.change_u_percent is not None
    change, u = after.change_percent, 2.0 * after.change_u_percent
    way = "less" if change < 0.0 else "more"
    change_text = f"loses {abs(change):.1f} ± {u:.1f}% {way} pressure than now"
    if not abs(change) > u:
        change_text = f"no change of the pressure lost detected ({change:+.1f} ± {u:.1f}%)"
    water = [f"{each.loss.total_in_h2o:.2f}" for each in (now, after)]
    text = f"{change_text}: {water[0]} inH2O now, {water[1]} with the cut, by a viscous solution"
    return textwrap.wrap(text, WIDTH, initial_indent="  tried       ", subsequent_indent=" " * 14)


def _held(chosen: CutChoice, d: Display) -> list[str]:
    lines = []
    for k, text in enumerate(held_texts(chosen.to_dict(), d)):
        lines += textwrap.wrap(
            text, WIDTH, initial_indent="  held by     " if k == 0 else " " * 14, subsequent_indent=" " * 14
        )
    return lines


def _table(choices: tuple[CutChoice, ...], chosen: CutChoice, d: Display) -> list[str]:
    unit = kind_of("speed", d).unit
    lines = [
        f"what metal buys ({unit}; {d.unit})",
        f"{'metal, cc':>10} {'deepest':>8} {'peak':>7} {'down':>7} {'±':>6} {'of all':>7} {'slowing':>8}  fastest at",
    ]
    for each in choices:
        cells = [
            f"{each.metal_cc:>10.2f}", f"{d.length(each.deepest_mm, label=False):>8}",
            f"{d.speed(each.peak_m_s, label=False):>7}",
            f"{d.speed(each.gain_m_s, label=False) if each.sure else 'none':>7}",
            f"{d.speed(2.0 * each.gain_u_m_s, label=False):>6}", f"{each.of_all_percent:>6.0f}%",
            f"{'' if each.slowing_percent is None else f'{each.slowing_percent:.0f}%':>8}",
        ]  # fmt: skip
        mark = "  <- chosen" if each == chosen else ""
        lines.append(
            " ".join(cells) + f"  {d.length(each.station_mm, label=False)}, {clock_text(each.clock_hours)}{mark}"
        )
    return lines
