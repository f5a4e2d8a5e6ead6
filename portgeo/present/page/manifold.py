"""The report's section on a manifold's runners: who is odd and by how much, what to cut, and the tables behind it.

Results come in; sentences for the headline and the section's elements go out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from portgeo.core.units import Display
from portgeo.present.page.charts import balance_chart
from portgeo.present.page.cutting import USUAL_CAUTIONS, cautions
from portgeo.present.page.markup import Element, el
from portgeo.present.page.tables import Table, fold, named, table_element
from portgeo.present.page.text import capital, tied
from portgeo.present.text.balance import LEAST_CC, NO_CUT, cut_to, none_odd


def set_headlines(record: Mapping[str, Any], d: Display) -> list[str]:
    """Return the headlines of a set: its odd one, what to cut, its core shift."""
    return [text for text in (_odd(record, d), _cut(record, d), _shift(record, d)) if text]


def _odd(record: Mapping[str, Any], d: Display) -> str:
    odd, flows = record["odd_one_out"], record["flows"]
    text = f"Of the set, {f'runner {odd} is the odd one out' if odd else _none_odd(record)}: areas differ by "
    text += f"{record['greatest_spread_percent']:.1f} % at most, at station "
    text += d.length(record["greatest_spread_station_mm"])
    return text + (f", flows by {flows['spread_percent']:.1f} %." if flows else ".")


def _none_odd(record: Mapping[str, Any]) -> str:
    return none_odd(len(record["runners"]), (warning["code"] for warning in record["warnings"]))


def _cut(record: Mapping[str, Any], d: Display) -> str:
    """Return what to cut on which to bring the runners together: the choice that is advised."""
    if record["advised"] is None:
        return f"To bring them together: {NO_CUT}." if record["choices"] else ""
    return f"To bring them together: {choice_text(record['choices'][record['advised']], d)}."


def choice_text(choice: Mapping[str, Any], d: Display) -> str:
    """Return a choice of what to cut to: what comes out of which runner, and how even they are then."""
    cuts = [cut for cut in choice["runners"] if cut["removed_cc"] >= LEAST_CC]
    to, left = cut_to(choice["to"], len(choice["runners"])), choice["left_out"]
    stays = f"; runner {left[0]} is larger and stays: do not cut the others to it" if left else ""
    if not cuts:
        return f"to {to} nothing is to be cut that the readings can tell{stays}"
    said = [f"{cut['removed_cc']:.2f} cc out of runner {cut['runner']}" for cut in cuts]
    which = said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
    deepest = max(cuts, key=lambda cut: float(cut["deepest_mm"]))
    where = f"in runner {deepest['runner']} at station {d.length(deepest['deepest_station_mm'])}"
    return (
        f"take {which}, which brings them to {to}; at most {d.length(deepest['deepest_mm'])} deep on "
        f"average round the section, {where}; areas then differ by {choice['spread_percent']:.1f} % at most{stays}"
    )


def _shift(record: Mapping[str, Any], d: Display) -> str:
    shifts = [
        (math.hypot(runner["gasket"]["left_mm"], runner["gasket"]["up_mm"]), runner["runner"])
        for runner in record["runners"]
        if runner["gasket"]
    ]
    if not shifts:
        return ""
    farthest, runner = max(shifts)
    u = record["runners"][runner - 1]["gasket"]["left_u_mm"]
    off = f"{d.length(farthest)}" if u is None else f"{d.length(farthest, label=False)} ± {d.length(2.0 * u)}"
    return f"Core shift: runner {runner} sits farthest off its gasket hole, {off}."


def manifold_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the runners of a manifold side by side."""
    record = results["balance"]
    if not record:
        return None
    said = [*_of_odd(record, d), *_of_flows(record), *_of_edges(record, d), *_of_dividers(record, d)]
    choices = [
        el("li", el("strong", "This one. ") if k == record["advised"] else None, f"{capital(choice_text(each, d))}.")
        for k, each in enumerate(record["choices"])
    ]
    shown = ("balance", "balance-against", "balance-edges", "balance-core-shift", "balance-dividers")
    return [
        el("ul", [el("li", tied(text)) for text in said]),
        balance_chart(results, d),
        el("div", [table_element(tables[name], d) for name in shown if name in tables], class_="beside"),
        el("h3", "What to cut on which"),
        *([el("p", f"{capital(NO_CUT)}.")] if record["advised"] is None else []),
        el(
            "p",
            "Cutting only opens, so a runner that is larger stays as it is. The least metal comes first; nothing is "
            f"taken that the readings cannot tell, on average {record['told_apart_percent']:.1f} % of an area.",
        ),
        el("ol", choices),
        table_element(tables["balance-cut"], d),
        el(
            "p",
            "The depth is the cut’s mean round the section. Sound the wall before you cut, the dividers first: a "
            "runner that is opened takes metal from both sides of each.",
            class_="note",
        ),
        *(fold(t.caption, table_element(t, d)) for t in named(tables, "balance-stations")),
        *([] if results["states"] else cautions(USUAL_CAUTIONS)),
    ]


def _of_odd(record: Mapping[str, Any], d: Display) -> list[str]:
    """Return who is odd and by how much, against what the readings can tell."""
    odd = record["odd_one_out"]
    if odd is None:
        why = _none_odd(record)
        spread = f"areas differ by {record['greatest_spread_percent']:.1f} % at most"
        return [f"{len(record['runners'])} runners: {why}; {spread}."]
    runner = record["runners"][odd - 1]
    off = runner["off_others"]
    doubt = 2.0 * runner["off_mean_u_percent"]
    digits = 1 if doubt >= 0.1 else 2
    areas = f"{runner['off_mean_percent']:.{digits}f} ± {doubt:.{digits}f} %"
    text = f"Runner {odd} is the odd one out: its areas are {areas} off the others’, "
    volume, doubt = off["volume_cc"], off["volume_u_cc"]
    told = "" if doubt is None else f" ± {2.0 * doubt:.2f}"
    text += f"its volume {abs(volume):.2f}{told} cc {'over' if volume > 0.0 else 'under'}"
    if off["flow_percent"] is not None:
        text += f", its flow {abs(off['flow_percent']):.1f} % {'over' if off['flow_percent'] > 0.0 else 'under'}"
    return [text + "."]


def _of_flows(record: Mapping[str, Any]) -> list[str]:
    flows = record["flows"]
    if flows is None:
        return []
    odd = flows["odd_one_out"]
    return [
        f"Flows: mean {flows['mean_flow']:.1f}, {flows['spread_percent']:.1f} % between the best and the worst; "
        f"{f'runner {odd} is the odd one out' if odd else 'none stands out'}."
    ]


def _of_edges(record: Mapping[str, Any], d: Display) -> list[str]:
    edges = [(r["entry_edge"]["least_mm"], r["runner"], r["entry_edge"]) for r in record["runners"] if r["entry_edge"]]
    if not edges:
        return []
    least, runner, edge = min(edges, key=lambda each: float(each[0]))
    most = max(float(each["mean_mm"]) for _, _, each in edges)
    square = [r["runner"] for r in record["runners"] if not r["entry_edge"]]
    text = (
        f"Edges of the entries: runner {runner} is the sharpest, {d.length(least)} at {edge['least_clock']} o'clock; "
        f"the roundest has {d.length(most)} on average"
    )
    return [text + (f"; square: runner {', '.join(map(str, square))}." if square else ".")]


def _of_dividers(record: Mapping[str, Any], d: Display) -> list[str]:
    if not record["dividers"]:
        return []
    one = min(record["dividers"], key=lambda each: float(each["least_mm"]))
    first, second = one["runners"]
    if one["least_mm"] <= 0.0:
        return [f"Runners {first} and {second} run into each other at station {d.length(one['least_station_mm'])}."]
    return [
        f"The thinnest divider stands between {first} and {second}: {d.length(one['least_mm'])} at station "
        f"{d.length(one['least_station_mm'])}."
    ]
