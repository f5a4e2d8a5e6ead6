"""The report's sentences: what a plan takes, what changed and by how much, each in words for a person.

Results come in; sentences in the user's unit go out. Each ± is twice the standard uncertainty.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from portgeo.core.section import wall_name
from portgeo.core.units import Display, clock_text
from portgeo.flow.bench import REPEATS
from portgeo.flow.demand import POWER_RULE_HIGH, POWER_RULE_LOW
from portgeo.flow.probe import APART
from portgeo.present.page.contents import compared_flows
from portgeo.present.page.loss_rows import change_text
from portgeo.present.page.split_tables import passages_of
from portgeo.present.page.tables import cell_text
from portgeo.present.text.compare import least_text, metal_text
from portgeo.results.figures import uncertainty_key
from portgeo.results.kinds import kind_of

LEAST_PERCENT = 0.5  # of area: a smaller change is not told

Peak = tuple[float, float]  # of the air's speed at the wall, with its standard uncertainty, m/s
ALIKE_MM = 0.0127  # half a thousandth of an inch: two radii this close are one


def first_to_last(results: Mapping[str, Any], part: str = "port") -> Mapping[str, Any] | None:
    """Return the comparison from the first state to the last as the results have it, None where there is only one."""
    states = results["states"]
    for one in results["compare"]:
        if (one["before"], one["after"], one["part"]) == (states[0]["name"], states[-1]["name"], part):
            return one
    return None


def removed_text(change: Mapping[str, Any], d: Display, within: str = "") -> str:
    """Return what metal came out, and how deep. within : the passage of a port that splits, as " in left"."""
    depth, error = change["depth"], change["removed_u_cc"]
    removed = metal_text(change["removed_cc"], error)
    added = metal_text(change["added_cc"], change["added_u_cc"])
    text = (
        f"{removed} of metal came out (about {change['removed_g']:.0f} g)"
        if removed
        else f"no metal removed was detected ({least_text(error)})"
    )
    if removed or depth["max_mm"] > 2.0 * depth["max_u_mm"]:
        text += (
            f", at most {d.length(depth['max_mm'], label=False)} ± {d.length(2 * depth['max_u_mm'])} deep, at station "
            f"{d.length(depth['max_station_mm'])}, {clock_text(depth['max_clock'])}{within}"
        )
    return text + (f", and {added} reads as added" if added else "")


def all_removed_text(one: Mapping[str, Any], d: Display) -> str:
    """Return the same of a comparison in the results: of a port that splits of all of it, and what of which passage."""
    whole = one["whole"]
    if not whole:
        return removed_text(one["record"], d)
    passages = passages_of(whole)
    deepest = max(passages, key=lambda passage: passage["depth"]["max_mm"])
    text = removed_text({**whole, "depth": deepest["depth"]}, d, within=f" in {deepest['name']}")
    each = [(passage["name"], metal_text(passage["removed_cc"], passage["removed_u_cc"])) for passage in passages]
    if any(metal for _, metal in each):
        text += "; by passage: " + ", ".join(f"{name} {metal or 'none'}" for name, metal in each)
    return text


def volume_text(record: Mapping[str, Any], d: Display) -> str:
    """Return a volume with its doubt."""
    return figure_text(record, "volume_cc", "volume", d)


def figure_text(record: Mapping[str, Any], key: str, name: str, d: Display) -> str:
    """Return a figure of a kind with its ± where it has one, and its unit; no ± is told smaller than its last digit."""
    kind, u = kind_of(name, d), record.get(uncertainty_key(key))
    least = kind.per * 10.0**-kind.decimals
    doubt = f" ± {cell_text(max(2.0 * u, least), kind)}" if u else ""
    return f"{cell_text(record[key], kind)}{doubt} {kind.unit}".rstrip()


def least_area_text(record: Mapping[str, Any], d: Display) -> str:
    """Return the minimum area with its doubt, and where it is."""
    least = record["least_area"]
    area = f"{d.area(least['area_mm2'], label=False)} ± {d.area(2 * least['area_u_mm2'])}"
    return f"{area}, at station {d.length(least['station_mm'])}"


def changes(results: Mapping[str, Any], d: Display) -> tuple[list[str], list[tuple[str, str]]]:
    """Return what became of area, least area, short side and flow; and what of them stayed as it was, with its size.

    Of a port that splits they are of the leg that is named, but for the flow.
    """
    went: list[str] = []
    stayed: list[tuple[str, str]] = []
    states, change = results["states"], first_to_last(results)
    within = in_leg(states[-1])
    if change:
        most = max(change["record"]["stations"], key=lambda s: abs(s["change_percent"] or 0.0))
        if abs(most["change_percent"]) >= LEAST_PERCENT:
            went.append(
                f"the area{within} {'grew' if most['change_mm2'] > 0 else 'shrank'} most at station "
                f"{d.length(most['station_mm'])}, from {d.area(most['before_mm2'], label=False)} to "
                f"{d.area(most['after_mm2'])} ({percent_text(most['change_percent'])})"
            )
    first, last = (states[k]["port"]["least_area"] for k in (0, -1))
    now = least_area_text(states[-1]["port"], d)
    if len(states) == 1:
        went.append(f"the minimum area{within} is {now}")
    elif abs(last["area_mm2"] - first["area_mm2"]) > 2.0 * math.hypot(first["area_u_mm2"], last["area_u_mm2"]):
        went.append(f"the minimum area{within} went from {d.area(first['area_mm2'], label=False)} to {now}")
    else:
        stayed.append((f"the minimum area{within}", now))
    one, other = (states[k]["port"]["short_side"] for k in (0, -1))
    if other and (len(states) == 1 or not one):
        went.append(f"the short side’s {other['headline']['name']}{within} is {radius_text(other, d)}")
    elif other:
        name, (before, after), doubts = like_radii(one, other)
        now = _with_doubt(after, doubts[1], d)
        if abs(after - before) > max(2.0 * math.hypot(*doubts), ALIKE_MM):
            went.append(f"the short side’s {name}{within} went from {d.length(before, label=False)} to {now}")
        elif told := _side_changes(states, d):
            went += told
        else:
            stayed.append((f"the short side{within}", f"{name} {now}"))
    flows = compared_flows(results)
    if len(flows) > 1 and abs(gain(flows)) < 100.0 * REPEATS:
        stayed.append(("the best flow", f"{flows[-1][1]:.1f} cfm at {flows[-1][0]['depression_in_h2o']:g} inH2O"))
    elif flows:
        went.append(flow_change(flows))
    lost = _loss_change(results)
    return went + ([lost] if lost else []), stayed


def in_leg(state: Mapping[str, Any]) -> str:
    """Return which leg a state's figures are of, where its port splits, as " in left"."""
    return f" in {state['leg']}" if state.get("leg") else ""


def _loss_change(results: Mapping[str, Any]) -> str:
    """Return what became of the pressure lost from the first state to the last, nothing where that is within its ±."""
    ports = results["loss"]["states"] if results.get("loss") else []
    first, last = (results["states"][k]["name"].strip().casefold() for k in (0, -1))
    if not ports or ports[0]["name"].strip().casefold() != first:
        return ""
    found = next((change_text(port) for port in ports if port["name"].strip().casefold() == last), "")
    return f"the port loses {found} pressure, as computed with friction" if found else ""


def _side_changes(states: Sequence[Mapping[str, Any]], d: Display) -> list[str]:
    """Return what changed past its own ± on a short side whose radius did not: its tightest place, and the air."""
    found = []
    one, other = (states[k]["port"]["short_side"] for k in (0, -1))
    if like_radii(one, other)[0] == "radius" and _differ(
        *((side["least_radius_mm"], side["least_radius_u_mm"]) for side in (one, other))
    ):
        now = _with_doubt(other["least_radius_mm"], other["least_radius_u_mm"], d)
        tightest = f"{d.length(one['least_radius_mm'], label=False)} to {now}"
        found.append(f"the short side’s radius stays within its ±, but its tightest went from {tightest}")
    airs = [states[k]["airspeed"] for k in (0, -1)]
    # A runner before the port changes what its short side sees: two peaks with and without one are not alike.
    if all(airs) and bool(airs[0].get("runner_source")) == bool(airs[1].get("runner_source")):
        peaks = peaks_at_one_flow(*airs)
        if _differ(*peaks):
            found.append(
                f"at one flow of {airs[0]['flow']['cfm']:.1f} cfm the air’s peak went from "
                f"{d.speed(peaks[0][0]).split()[0]} to {d.speed(peaks[1][0])}"
            )
    return found


def _differ(*figures: tuple[float, float]) -> bool:
    """Return whether two figures, each with its uncertainty, are farther apart than these explain."""
    (one, one_u), (other, other_u) = figures
    return abs(other - one) > 2.0 * math.hypot(one_u, other_u)


def peaks_at_one_flow(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Peak, Peak]:
    """Return the peaks of two air speeds, the second brought to the flow of the first: a speed goes as its flow.

    Two states are flowed at two flows, and the peak of more air is higher whatever the shape. What air thins out
    by is that of the second's own flow, which between flows a tenth apart is under a hundredth of a speed.
    """
    first, last = (air["short_side"] or air["highest"] for air in (before, after))
    at_one_flow = before["flow"]["cfm"] / after["flow"]["cfm"]
    return (
        (first["peak_m_s"], first["peak_u_m_s"] or 0.0),
        (last["peak_m_s"] * at_one_flow, (last["peak_u_m_s"] or 0.0) * at_one_flow),
    )


def gain(flows: list[tuple[Mapping[str, Any], float, float]]) -> float:
    """Return the change of the best flow from the first run to the last, percent."""
    return 100.0 * (flows[-1][1] / flows[0][1] - 1.0)


def percent_text(change: float) -> str:
    """Return a change in percent, with its sign."""
    return f"{change:+.1f} %".replace("-", "−")


def radius_text(side: Mapping[str, Any], d: Display) -> str:
    """Return the radius of a short side to go by with its doubt, which a planned port has not."""
    return _with_doubt(side["headline"]["mm"], side["headline"]["u_mm"], d)


def _with_doubt(length: float, u: float, d: Display) -> str:
    return f"{d.length(length, label=False)} ± {d.length(2 * u)}" if u else d.length(length)


def like_radii(*sides: Mapping[str, Any]) -> tuple[str, list[float], list[float]]:
    """Return what radius the records of sides are compared by, each side's and its uncertainty: of like with like."""
    names = {side["headline"]["name"] for side in sides}
    if len(names) == 1:
        return names.pop(), [side["headline"]["mm"] for side in sides], [side["headline"]["u_mm"] for side in sides]
    return "tightest radius", [s["least_radius_mm"] for s in sides], [s["least_radius_u_mm"] for s in sides]


def flow_change(flows: list[tuple[Mapping[str, Any], float, float]]) -> str:
    """Return the best flow, from the first run to the last."""
    first, last = flows[0], flows[-1]
    water = f"at {last[0]['depression_in_h2o']:g} inH2O"
    if len(flows) == 1:
        return f"the best flow is {last[1]:.1f} cfm {water}"
    change = gain(flows)
    return f"the best flow went from {first[1]:.1f} to {last[1]:.1f} cfm {water} ({percent_text(change)})"


def next_step(results: Mapping[str, Any], d: Display) -> str:
    """Return what to do first now."""
    plan, check = results["plan"], results.get("check")
    if check:
        said = {line["name"]: line["says"] for line in check["lines"]}
        return f"Left to take: {said['left']}. Next: {said['do next']}."
    if plan:
        return f"Next, {plan_text(plan['record'], d)}."
    about_last = [
        w for w in results["warnings"] if w["about"] == results["states"][-1]["name"] and w["code"] not in NO_STEP
    ]
    if about_last:
        return f"Look first at this{in_leg(results['states'][-1])}: {about_last[0]['message'].rstrip('.')}."
    return "Nothing measured needs a second look, and the job names no target for a next cut."


NO_STEP = frozenset(  # of the page, the tool and the file, and what was done about it: nobody need do a thing
    (
        "one_leg", "tool_rule", "scale_exact", "unit_judged", "degenerate_dropped", "duplicates_dropped",
        "fins_dropped", "debris_dropped", "edges_joined", "winding_mended", "turned_outward", "legs_cut",
        "stem_taken_off", "spill_cut", "seat_cut", "entry_rule", "roof_rule", "planes_relaxed", "opening_oblique",
    )
)  # fmt: skip
NO_STOP = ("short_side_there", "boss_kept", "boss_left_out")  # what a plan tells that keeps no metal in


def plan_text(record: Mapping[str, Any], d: Display) -> str:
    """Return what a plan takes, how deep and where."""
    deepest = record["deepest"]
    if record["removed_cc"] < 0.005 and record["added_cc"] < 0.005:
        stopped = [w["message"].rstrip(".") for w in record["warnings"] if w["code"] not in NO_STOP]
        return f"nothing may be taken: {stopped[0]}" if stopped else "nothing is left to take: the target is met"
    text = (
        f"take {record['removed_cc']:.2f} cc, at most {d.length(deepest['depth_mm'])} deep, at station "
        f"{d.length(deepest['station_mm'])}, {clock_text(deepest['clock_hours'])}"
    )
    if record["added_cc"] >= 0.005:
        text += f"; put back {record['added_cc']:.2f} cc of epoxy"
    side = record["short_side"]
    if side and side["station_from_mm"] is not None:
        text += (
            f", which brings the short side to a radius of {d.length(side['radius_mm'])} "
            f"({d.length(side['wanted_radius_mm'])} is wanted)"
        )
    return text


def probe_texts(record: Mapping[str, Any], d: Display) -> list[str]:
    """Return what a probe's readings say of the ideal flow."""
    found = [f"Fastest reading: {fastest_text(record, d)}."]
    for where, key in (("Up to the turn", "before_ratio"), ("Past the turn", "past_ratio")):
        if record[key] is not None:
            found.append(f"{where}, measured is {record[key]:.0%} of computed, on average.")
    least = record["lowest_past_ratio"]
    for place in record["places"]:
        past = least is not None and place["station_mm"] > record["turn_station_mm"] and not place["in_layer"]
        if past and place["ratio"] == least and least + max(APART, 2.0 * place["ratio_u"]) < 1.0:
            found.append(
                f"At station {d.length(place['station_mm'])}, {clock_text(place['clock'])}, past the turn, it is "
                f"{least:.0%} of computed: the air has likely left the wall there."
            )
            break
    return found


def fastest_text(record: Mapping[str, Any], d: Display) -> str:
    place = max(record["places"], key=lambda place: place["measured_m_s"])
    doubt = d.speed(2.0 * place["measured_u_m_s"])
    return f"{d.speed(place['measured_m_s'], label=False)} ± {doubt}, at station {d.length(place['station_mm'])}"


def calm_text(record: Mapping[str, Any], d: Display) -> str:
    """Return the cut that calms the air: what to take, and what becomes of the fastest air on the wall."""
    today, chosen = record["today"], record["chosen"]
    peaks = f"{d.speed(today['peak_m_s'], label=False)} to {d.speed(chosen['peak_m_s'])}"
    down = f"{d.speed(chosen['gain_m_s'], label=False)} ± {d.speed(2.0 * chosen['gain_u_m_s'])}"
    return (
        f"take {chosen['metal_cc']:.2f} cc, at most {d.length(chosen['deepest_mm'])} deep; the fastest air on the wall "
        f"at {record['flow']['cfm']:.1f} cfm comes down from {peaks}, "
        + (f"by {down}" if chosen["sure"] else f"which is within the ± of {d.speed(2.0 * chosen['gain_u_m_s'])}")
    )


def peak_text(record: Mapping[str, Any], d: Display, leg: str | None = None) -> str:
    """Return the short side's peak speed and whether the wall holds its air. leg : of a port that splits."""
    peak, fall = record["short_side"] or record["highest"], record["slowing"]
    doubt = f" ± {d.speed(2.0 * peak['peak_u_m_s'])}" if peak.get("peak_u_m_s") else ""
    speed = d.speed(peak["peak_m_s"])
    into = leg or "the port"
    through = f"through runner and {into}" if record.get("runner_source") else f"through {into}"
    text = (
        f"{speed.split()[0] + doubt if doubt else speed} at {record['flow']['cfm']:.1f} cfm {through}, "
        f"{peak['peak_over_mean']:.2f} times the mean, at station {d.length(peak['station_mm'])}"
    )
    if fall is None:
        return text
    if fall["parts"]:
        station = d.length(fall["from_station_mm"])
        place = "only at the exit itself" if fall["at_exit"] else f"from about station {station}"
        return f"{text}; expect the air to leave the wall {place}"
    return text + "; the wall should hold its air"


def port_in_words(record: Mapping[str, Any], state: str, d: Display) -> str:
    """Return what a port's picture shows, in words."""
    ends = {opening["role"]: opening["area_mm2"] for opening in record["openings"]}
    text = (
        f"{capital(state)}: a tube {d.length(record['length_mm'])} long from an entry of {d.area(ends['entry'])} to "
        f"an exit of {d.area(ends['exit'])}, minimum {d.area(record['least_area']['area_mm2'])} at station "
        f"{d.length(record['least_area']['station_mm'])}"
    )
    for k, bend in enumerate(record["bends"]):
        text += (
            f"{', and' if k else '; it turns'} {bend['turn_deg']:.0f}° towards the {wall_name(bend['wall'])} between "
            f"stations {d.length(bend['station_from_mm'])} and {d.length(bend['station_to_mm'])}"
        )
    return text + "."


def power_text(demand: Mapping[str, Any]) -> str:
    """Return the power that a flow could feed, hp from and to, as an estimate: of which flow, with its caution."""
    low, high = demand["power_estimate_hp"]
    flow = demand.get("power_flow")
    of = f" from {flow['cfm_at_28_in_h2o']:.0f} cfm at 28 inH2O ({flow['of']})" if flow else ""
    return (
        f"Power: {low:.0f} to {high:.0f} hp{of}, an estimate by the trade’s rule of {POWER_RULE_LOW:.2f} to "
        f"{POWER_RULE_HIGH:.2f} hp for each cfm a cylinder at 28 inH2O, naturally aspirated (common practice, no "
        "source). The upper figure is a ceiling that few engines reach; cam, compression, manifold, exhaust and fuel "
        "decide what is made. Prove it on a dynamometer, and leave a margin in rods, valve springs and fuel."
    )


def engine_text(results: Mapping[str, Any]) -> str:
    """Return the engine in a line, as much as is known."""
    engine = results["engine"] or {}
    parts = [str(engine["name"])] if engine.get("name") else []
    if engine.get("cylinders"):
        parts.append(f"{engine['cylinders']} cylinder{'s' if engine['cylinders'] != 1 else ''}")
    if engine.get("rpm"):
        parts.append(f"{engine['rpm']:.0f} rpm")
    return ", ".join(parts)


def tied(text: str) -> str:
    """Return text whose figures do not part from their units at the end of a line."""
    text = re.sub(r"(?<=\d) (?=(?:in|mm|sq in|mm²|cc|g|%|cfm|hp|inH2O|ft/s|m/s)\b|%)", "\u00a0", text)
    return text.replace(" ± ", "\u00a0±\u00a0").replace("sq in", "sq\u00a0in").replace(" o'clock", "\u00a0o’clock")


def capital(text: str) -> str:
    """Return text with a capital letter at its start."""
    return text[:1].upper() + text[1:]
