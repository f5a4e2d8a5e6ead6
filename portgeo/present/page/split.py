"""The report's section on a port that splits: trunk, legs and junction, left against right, and the areas of them all.

Results come in; a sentence for the headline and the section's elements go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portgeo.core.units import Display
from portgeo.present.page.charts import split_chart
from portgeo.present.page.markup import Element, el
from portgeo.present.page.split_tables import change_name
from portgeo.present.page.tables import Table, folds, slug, table_element
from portgeo.present.page.text import all_removed_text, capital, figure_text, first_to_last, tied
from portgeo.present.text.compare import set_back_text

DIFFERS = {"volume": "volume", "least_area": "minimum area", "throat": "throat", "short_side": "short side"}


def split_headline(results: Mapping[str, Any], d: Display) -> list[str]:
    """Return what is to be said first of a port that splits: all it holds, its least room, how its legs differ."""
    if not results["states"] or not results["states"][-1].get("split"):
        return []
    state = results["states"][-1]
    record, leg = state["split"], state["leg"]
    least = record["least_area"]
    where = "the legs together" if least["in_legs"] else "the trunk"
    text = (
        f"{capital(state['name'])}, all passages: {figure_text(record, 'volume_cc', 'volume', d)}; "
        f"the minimum area is {d.area(least['area_mm2'])}, at station {d.length(least['station_mm'])} in {where}"
    )
    apart = _apart(record, d)
    texts = [f"{text}{f'. {apart[0]}' if apart else '.'}"]
    change = first_to_last(results)
    if change and change["whole"]:
        texts.append(f"From {change['before']} to {change['after']}, all passages: {all_removed_text(change, d)}.")
    return [*texts[:-1], f"{texts[-1]} What follows is of {leg} alone."]


def split_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the passages of every state whose port splits."""
    states = [state for state in results["states"] if state.get("split")]
    if not states:
        return None
    found: list[Element] = []
    for state in states:
        record, name = state["split"], slug(state["name"])
        said = [_plane(record, d), *_dividers(record, d), *_apart(record, d)]
        found += [
            *([el("h3", state["name"])] if len(states) > 1 else []),
            el("ul", [el("li", tied(text)) for text in said]),
            split_chart(state["name"], record, d),
            table_element(tables[f"split-{name}"], d),
            folds([table for key, table in tables.items() if key.startswith(f"split-{name}-")], d),
        ]
    for one in results["compare"]:
        if one["whole"]:
            pair = f"{one['before']} to {one['after']}"
            said = [f"{capital(all_removed_text(one, d))}.", *_set_back(one["whole"], d)]
            found += [el("h3", pair), el("ul", [el("li", tied(text)) for text in said])]
            found.append(table_element(tables[change_name(one)], d))
    leg = states[-1]["leg"]
    note = (
        f"One passage at a time is cut, flowed and solved: everything else on this page is of {leg}. "
        'For another write  leg = "its name"  in the job\'s [[stage]].'
    )
    return [*found, el("p", note, class_="note")]


def _set_back(whole: Mapping[str, Any], d: Display) -> list[str]:
    """Return how far each divider was set back."""
    texts = []
    for one in whole["dividers"]:
        if one["set_back_mm"] is not None:
            moved = set_back_text(one["set_back_mm"], one["set_back_u_mm"] or 0.0, d)
            texts.append(f"The divider between {' and '.join(one['between'])} was {moved}.")
    return texts


def _plane(record: Mapping[str, Any], d: Display) -> str:
    """Return where the trunk parts, and what the air meets there."""
    split = record["split"]
    text = (
        f"It splits at station {d.length(split['station_mm'])}: trunk {d.area(split['trunk_area_mm2'])}, legs together "
    )
    text += d.area(split["legs_area_mm2"])
    if record["junction_cc"] is None:
        return f"{text}; {d.area(split['step_mm2'])} of wall faces the air there."
    return f"{text}; {record['junction_cc']:.2f} cc lie between them, the junction."


def _dividers(record: Mapping[str, Any], d: Display) -> list[str]:
    """Return the edge and width of each divider."""
    found = []
    for one in record["dividers"]:
        between = " and ".join(one["between"])
        if one["edge"] == "flat":
            said = "its nose is flat"
        else:
            said = f"the radius of its edge is {figure_text(one, 'radius_mm', 'length', d)}"
        if one["width_mm"] is not None:
            said += f", and {d.length(one['width_behind_mm'])} behind the nose it is {d.length(one['width_mm'])} wide"
        found.append(f"The divider between {between}: {said}.")
    return found


def _apart(record: Mapping[str, Any], d: Display) -> list[str]:
    """Return how the second of two legs differs from the first, and what of that is sure."""
    apart = record["legs_apart"]
    if apart is None:
        return []
    first, second = (leg["name"] for leg in record["legs"])
    text = f"{capital(second)} against {first}: volume {_signed(apart, 'volume_cc', 'volume', d)}, "
    text += f"minimum area {_signed(apart, 'least_area_mm2', 'area', d)}"
    if apart["short_side_mm"] is not None:
        text += f", short side {_signed(apart, 'short_side_mm', 'length', d)}"
    sure = " and ".join(DIFFERS[name] for name in apart["differs"])
    return [
        f"{text}; "
        + (f"they surely differ in {sure}." if sure else "within what the readings can tell they are alike.")
    ]


def _signed(record: Mapping[str, Any], key: str, name: str, d: Display) -> str:
    return ("+" if record[key] > 0.0 else "") + figure_text(record, key, name, d)
