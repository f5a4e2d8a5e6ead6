"""How the report's page begins: what comes next, how the port is now, what was done, and the set's headlines.

Results come in; sentences in the user's unit go out. Each ± is twice the standard uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portgeo.core.units import Display
from portgeo.present.page.contents import compared_flows
from portgeo.present.page.manifold import set_headlines
from portgeo.present.page.text import (
    calm_text,
    capital,
    changes,
    fastest_text,
    first_to_last,
    flow_change,
    least_area_text,
    next_step,
    peak_text,
    radius_text,
    removed_text,
    volume_text,
)
from portgeo.present.text.throat import of_valve_text


def answer(results: Mapping[str, Any], d: Display) -> list[str]:
    """Return the answer in three parts: what comes next, how the port is now, what was done and what it changed.

    Of a job without a port there is none.
    """
    if not results["states"]:
        return []
    calm = results.get("calm")
    offered = f" To calm the air: {calm_text(calm['record'], d)}." if calm and calm["record"]["chosen"] else ""
    return [next_step(results, d) + offered, _now(results, d), _done(results, d)]


def _now(results: Mapping[str, Any], d: Display) -> str:
    """Return what the next cut hangs on: the air on the short side, the minimum area, a pinch, the throat."""
    state = results["states"][-1]
    side, air, throat = state["port"]["short_side"], state["airspeed"], state["port"]["throat"]
    said = []
    if side and air and air["short_side"]:
        radius = f"{side['headline']['name']} {radius_text(side, d)}"
        said.append(f"the air on the short side ({radius}) peaks at {peak_text(air, d, state.get('leg'))}")
    elif air:
        said.append(f"the air peaks at {peak_text(air, d, state.get('leg'))}")
    elif side:
        said.append(f"the short side’s {side['headline']['name']} is {radius_text(side, d)}")
    probe = results.get("probe")
    if air and probe and probe["state"] == state["name"]:
        said.append(f"that is computed; the probe’s fastest reading is {fastest_text(probe['record'], d)}")
    pinch = next((w["message"] for w in state["port"]["warnings"] if w["code"] == "pinch"), None)
    least = f"the minimum area is {least_area_text(state['port'], d)}"
    if pinch:
        said.append(f"{least}, with a {pinch.partition(':')[0]}")
    elif throat["percent_of_valve"] is None:
        said.append(least)
    if throat["percent_of_valve"] is not None:
        said.append(f"the throat is {d.length(throat['diameter_mm'])}, {of_valve_text(throat['percent_of_valve'])}")
    first, *rest = said
    of = f", {state['leg']}" if state.get("leg") else ""
    return ". ".join([f"{capital(state['name'])}{of}: {first}", *map(capital, rest)]) + "."


def set_texts(results: Mapping[str, Any], d: Display) -> list[str]:
    """Return the headlines of what a job may have besides its port: the set's, the swirl."""
    texts = set_headlines(results["balance"], d) if results["balance"] else []
    swirls = [(run["state"], run["swirl"][-1], run["swirl_unit"]) for run in results["bench"] or [] if run["swirl"]]
    if swirls:
        state, swirl, unit = swirls[-1]
        texts.append(f"Swirl at the highest lift, {state}: {swirl:g}{f' {unit}' if unit else ''}.")
    return texts


def _done(results: Mapping[str, Any], d: Display) -> str:
    """Return what was done to the port and what that changed; of a single state what it holds and flows."""
    states, change = results["states"], first_to_last(results)
    if len(states) == 1:
        port, flows = states[0]["port"], compared_flows(results)[-1:]
        what = capital(states[0]["leg"]) if states[0].get("leg") else "The port"
        text = f"{what} holds {volume_text(port, d)} over {d.length(port['length_mm'])}"
        return text + (f"; {flow_change(flows)}." if flows else ".")
    went, stayed = changes(results, d)
    if stayed:
        names = " and ".join(name for name, _ in stayed)
        went.append(f"{names} changed too little to detect")
    of = f"{states[-1]['leg']}: " if states[-1].get("leg") else ""
    began, changed = f"From {states[0]['name']} to {states[-1]['name']}, {of}", f"{'; '.join(went)}."
    return f"{began}{removed_text(change['record'], d)}. {capital(changed)}" if change else began + changed
