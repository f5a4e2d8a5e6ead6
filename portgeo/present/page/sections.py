"""The page's sections: heading, words, charts and tables of each, in the order a person reads them.

Results and models come in; sections go out, None for what the job has not.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote

from portgeo.core.units import Display, clock_text
from portgeo.flow.airspeed import WHAT_IT_IS
from portgeo.flow.bench import REPEATS
from portgeo.flow.demand import INDEX_LIMIT
from portgeo.measuring.advice import measure_name
from portgeo.present.page.charts import (
    flow_chart,
    joint_chart,
    probe_chart,
    schedule_chart,
    side_speed_chart,
)
from portgeo.present.page.contents import PLANNED_STATE, best_flows, run_names, speeds_of, surveys_of
from portgeo.present.page.cutting import bench_section, calm_section, check_section, cut_section
from portgeo.present.page.losing import loss_section
from portgeo.present.page.manifold import manifold_section
from portgeo.present.page.markup import Element, el
from portgeo.present.page.split import split_section
from portgeo.present.page.tables import Table, fold, folds, named, table_element
from portgeo.present.page.text import peak_text, power_text, probe_texts, tied, volume_text
from portgeo.present.text.compare import BETWEEN_ROWS
from portgeo.present.text.cut_sheet import SHOWN_MM
from portgeo.present.text.speed import WHAT_MEAN_IS

CURTAIN = (
    "Curtain: the valve's circumference times its lift. What it could pass: the flow through that area at the test "
    "pressure without loss."
)


def area_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the area schedules of all states."""
    if not results["states"]:
        return None
    found = []
    for part in ("port", "runner"):
        chart = schedule_chart(results, part, d)
        if chart is None:
            continue
        found.append(chart)
        found.append(folds(named(tables, f"schedule-{part}-"), d))
    if results["compare"]:
        found.append(folds(named(tables, "change-"), d))
    walls = named(tables, "walls-")
    return [*found, *([el("h3", "Which wall it came from")] if walls else []), *(table_element(t, d) for t in walls)]


def side_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the short side of all states, and the air on it."""
    if "short-side" not in tables:
        return None
    found: list[Element] = [table_element(tables["short-side"], d)]
    for part, state, record in surveys_of(results):
        unsure = (w["message"] for w in record["warnings"] if w["code"] == "unsure")
        name = f"{state}, runner" if part == "runner" else state
        found += [el("p", el("strong", f"{name}: "), text + ".") for text in unsure]
    speeds = speeds_of(results)
    if speeds:
        legs = {state["name"]: state.get("leg") for state in results["states"]}
        found.append(el("h3", "The air on it"))
        found.append(
            el(
                "ul",
                [
                    el(
                        "li",
                        el("strong", f"{state}: "),
                        f"peak {peak_text(record, d, legs.get(state))}. {_flow_of(results, state, record)}.",
                    )
                    for state, record in speeds
                ],
            )
        )
        beside = results["plan"] and results["plan"].get("beside")
        if beside:
            way = "comes down" if beside["peak_drop_m_s"] >= 0 else "goes up"
            found.append(
                el("p", f"With the planned cut the peak {way} by {d.speed(abs(beside['peak_drop_m_s']))}, for "
                        f"{beside['removed_cc']:.2f} cc of metal.")
            )  # fmt: skip
        chart = side_speed_chart(results, d)
        found += [chart] if chart is not None else []
        found.append(folds(named(tables, "speed-"), d))
        found.append(el("p", f"{WHAT_IT_IS} {WHAT_MEAN_IS}", class_="note"))
    return found


def probe_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return what a probe read beside the air that is computed: where the ideal flow is not the port's flow."""
    if not results.get("probe"):
        return None
    state, record = results["probe"]["state"], results["probe"]["record"]
    return [
        el("ul", [el("li", tied(text)) for text in probe_texts(record, d)]),
        *([probe_chart(record, d)] if any(p["ratio"] is not None for p in record["places"]) else []),
        table_element(tables["probe"], d),
        el(
            "p",
            f"{state}: measured is what the probe read; computed is the ideal flow at that place. "
            "Close to the wall real air is slowed by it; an ideal flow is not.",
            class_="note",
        ),
    ]


def _flow_of(results: Mapping[str, Any], state: str, record: Mapping[str, Any]) -> str:
    """Return at which flow an air speed is."""
    notes = {one["name"]: one.get("flow_note") for one in results["states"]}
    flow = f"{record['flow']['cfm']:.1f} cfm"
    if state == PLANNED_STATE:
        flow += f", the flow of {results['plan']['state']}"
    return f"At {notes.get(state) or flow}".rstrip(".")


def flow_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return flow against lift, and what the engine asks."""
    runs = results["bench"]
    if not runs and not results["demand"]:
        return None
    found: list[Element] = []
    if runs:
        chart = flow_chart(results, d)
        items = []
        for name, (run, flow, lift) in zip(run_names(runs), best_flows(results), strict=True):
            text = f"best {flow:.1f} cfm at a lift of {d.length(lift)}"
            if run["flat_from_lift_mm"] is not None:
                text += f"; flat, to {REPEATS:.0%}, from {d.length(run['flat_from_lift_mm'])}"
            if run["falls_from_lift_mm"] is not None:
                text += f"; flow falls past {d.length(run['falls_from_lift_mm'])}"
            items.append(el("li", el("strong", f"{name}: "), text))
        setups = {run["setup"] for run in runs if run["setup"]}
        found += [el("ul", items), chart, table_element(tables["flow"], d)]
        if len(setups) == 1:
            found.append(el("p", f"Bench set-up: {setups.pop()}.", class_="note"))
        if any(run.get("on_curtain") for run in runs):
            found.append(el("p", CURTAIN, class_="note"))
    demand = results["demand"]
    if demand:
        found += [
            el("h3", "What the engine asks"),
            el(
                "p",
                f"Mean piston speed {d.speed(demand['mean_piston_speed_m_s'])}. Air goes past the valve at Mach "
                f"{demand['mach_index']:.2f} in the mean (the inlet Mach index, with a flow coefficient of "
                f"{demand['mean_flow_coefficient']:.2f} over the lift). Past {INDEX_LIMIT:g} an engine begins to "
                f"starve: that is at {demand['rpm_at_index_limit']:.0f} rpm.",
            ),
        ]
        if demand["power_estimate_hp"]:
            found.append(el("p", power_text(demand)))
    return found


def joint_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the joints between runner and port."""
    found: list[Element] = []
    for one, table in zip(results["match"], named(tables, "joint-"), strict=True):
        found += [
            el("h3", f"Runner to port, {one['state']}"),
            el("ul", [el("li", text) for text in _joint(one["record"], d)]),
            joint_chart(one, d),
            fold(table.caption, table_element(table, d)),
        ]
    return found or None


def _joint(record: Mapping[str, Any], d: Display) -> list[str]:
    def edge(one: Mapping[str, Any]) -> str:
        if one["clock"] is None:
            return "none"
        where = clock_text(one["clock"])
        return f"{d.length(one['height_mm'])} high at most, at {where}; {d.area(one['area_mm2'])} altogether"

    said = [
        f"Lip facing the flow: {edge(record['lip'])}. This costs flow: take it down first.",
        f"Step away from the flow: {edge(record['step'])}. It costs little (common practice).",
        f"Openings: {d.area(record['upstream_area_mm2'])} into {d.area(record['downstream_area_mm2'])}; the port’s "
        f"sits {_offset(record['offset_left_mm'], record['offset_up_mm'], d)}.",
    ]
    for k, (name, key) in enumerate((("Lip facing the flow", "lip"), ("Step away from the flow", "step"))):
        if record[key]["clock"] is None:
            said[k] = f"{name}: none."
    for name, margin in (record["gasket"] or {}).items():
        verdict = {"past_the_line": "cut past the gasket line", "metal_left": "metal is left inside the line"}
        said.append(
            f"To the gasket line, {name}: {d.length(margin['least_mm'])} to {d.length(margin['greatest_mm'])}, "
            f"{verdict.get(margin['fault'], 'as meant')}."
        )
    return said


def _offset(left: float, up: float, d: Display) -> str:
    parts = []
    if abs(left) >= SHOWN_MM:
        parts.append(f"{d.length(abs(left))} to the {'left' if left > 0 else 'right'}")
    if abs(up) >= SHOWN_MM:
        parts.append(f"{d.length(abs(up))} {'higher' if up > 0 else 'lower'}")
    return " and ".join(parts) or "in line with it"


def warnings_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element]:
    """Return what to look at, and which states have nothing to look at."""
    told = {warning["about"] for warning in results["warnings"]}
    clear = [state["name"] for state in results["states"] if state["name"] not in told]
    found = [table_element(tables["warnings"], d, headed=True)] if told else []
    if not told and not clear:
        clear = ["the runners"]
    return [*found, *(el("p", f"{name}: nothing needs a second look.") for name in clear)]


def measured_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element]:
    """Return how it was measured: inputs, version, alignment, uncertainty, files beside the page."""
    items = [
        "Each ± is twice the standard uncertainty: the truth lies within it 19 times in 20. For a sheet it follows "
        "from the error of the readings, for a scan from the roughness of its mesh. A planned port has none: it is "
        "computed."
    ]
    for part, state, record in surveys_of(results):
        name = f"{state}{', runner' if part == 'runner' else ''}"
        text = f"{name}: volume {volume_text(record, d)}, stem and guide not counted"
        if record["noise_mm"]:
            text += f"; roughness of the mesh {d.length(record['noise_mm'])}"
        again = record.get("most_uncertain_reading")
        if again:
            least = again["least_area"]
            text += (
                f"; read the {measure_name(least['reading'])} at {d.length(least['station_mm'])} again first: it makes "
                f"{least['share_of_variance']:.0%} of what single readings leave in doubt of the minimum area"
            )
        items.append(text + ".")
    for one in results["compare"]:
        items.append(f"{one['part']}, {one['before']} to {one['after']}: lined up {_alignment(one['record'], d)}.")
        if all(_is_sheet(s[one["part"]]) for s in results["states"] if s["name"] in (one["before"], one["after"])):
            items[-1] += f" {BETWEEN_ROWS}"
    grids = []
    for state, record in speeds_of(results):
        grid = record["grid"]
        grids.append(f"Air speed, {state}: {grid['unknowns']} points, cells of {d.length(grid['cell_mm'])}.")
    found = [
        el("ul", [el("li", text) for text in items]),
        fold(
            "Files read, their SHA-256, and grids",
            table_element(tables["inputs"], d),
            *(el("p", text) for text in grids),
        ),
        el("p", f"Made by portgeo {results['portgeo']}; results.json beside this page holds every number."),
    ]
    if results["files"]:
        links = [el("li", el("a", label, href=_relative(path))) for label, path in results["files"].items()]
        # On paper nobody can follow them.
        found.append(el("div", el("h3", "Files beside this page"), el("ul", links), class_="on-screen"))
    return found


def _is_sheet(record: Mapping[str, Any]) -> bool:
    """Return whether what was measured were readings, between which nothing is known."""
    return any(share["source"] == "between_rows" for share in record["uncertainty"].get("volume", ()))


def _relative(path: str) -> str:
    """Return a link that can only be to a file beside the page."""
    return "./" + quote(path.replace("\\", "/").lstrip("/"))


def _alignment(record: Mapping[str, Any], d: Display) -> str:
    fit = record["alignment"]
    if fit["method"] == "none":
        return "by the files' own stations"
    surface = "named surface" if fit["method"] == "fixed" else "wall"
    return (
        f"on {100 * fit['fixed_share']:.0f} % of the {surface}, which agrees within {d.length(fit['rms_mm'])} rms; "
        f"depths to ± {d.length(2 * fit['depth_u_mm'])}"
    )


Section = Callable[[Mapping[str, Any], Mapping[str, Table], Display], "list[Element] | None"]
SECTIONS: tuple[tuple[str, str, str, Section], ...] = (
    ("split", "Where the port splits", "split", split_section),
    ("area", "Area along the port", "area", area_section),
    ("side", "Short side", "short side", side_section),
    ("probe", "What the probe read", "probe", probe_section),
    ("flow", "Flow against lift", "flow", flow_section),
    ("calm", "What to cut: calm the air", "calm the air", calm_section),
    ("check", "How far the cut is", "how far", check_section),
    ("bench", "At the bench: the cut sheet", "cut sheet", cut_section),
    ("bench", "At the bench", "at the bench", bench_section),
    ("loss", "Pressure lost", "pressure lost", loss_section),
    ("joint", "Where runner and port meet", "the joint", joint_section),
    ("set", "The manifold’s runners", "the runners", manifold_section),
    ("look", "What to look at", "look at", warnings_section),
    ("how", "How it was measured", "how it was measured", measured_section),
)
