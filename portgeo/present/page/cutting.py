"""What to cut, on the page: the cut that calms the air, then the next cut's sheet in large type for the bench.

Results and their tables come in; sections go out, None for what the job has not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from portgeo.core.units import Display, clock_text
from portgeo.flow.airspeed import WHAT_IT_IS
from portgeo.present.page.charts import calm_chart
from portgeo.present.page.contents import NO_RADIUS
from portgeo.present.page.markup import Element, el
from portgeo.present.page.tables import Table, folds, named, table_element
from portgeo.present.page.text import calm_text, capital, next_step, tied
from portgeo.present.text.calm import held_texts
from portgeo.present.text.cut_sheet import SHOWN_MM, UNREAD, blend_legend, depth_text, stops_texts, walls_left_text
from portgeo.present.text.hours import pace_text
from portgeo.present.text.reach import missed_texts

BENCH_SHEETS = {"cut": "bench-sheet.pdf", "calm-cut": "calm-bench-sheet.pdf"}  # beside the page, by their tables
TINTS = 4  # of the cut sheet's cells, by share of the deepest
USUAL_CAUTIONS = (
    "Wall readings are samples and castings shift: section a scrap casting, or sonic-test, before deep cuts.",
    "Wear eye and ear protection and a mask for fine metal dust; clamp the work; run burrs within their maker’s speed.",
    "A port that flows more can make an engine rev and load past what its parts can take: keep to the makers’ limits.",
)  # *common practice, no source*


def calm_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the cut that calms the air: what each amount of metal buys, what holds it back, and its sheet."""
    if not results.get("calm"):
        return None
    state, record = results["calm"]["state"], results["calm"]["record"]
    own = [w["message"] for w in record["warnings"] if w["code"].startswith("calm_") and w["code"] != NO_RADIUS]
    mind = [el("p", el("strong", "Mind: "), tied(text) + ".") for text in own]
    what = el("p", WHAT_IT_IS, class_="note")
    if record["chosen"] is None:
        return [el("p", f"{capital(state)}: nothing to cut for the air.", class_="first"), *mind, what]
    chosen, today = record["chosen"], record["today"]
    place = f"station {d.length(today['station_mm'])}, {clock_text(today['clock_hours'])}"
    found = [
        el("p", tied(f"{capital(state)}: {calm_text(record, d)}."), class_="first"),
        *mind,
        el("p", tied(f"Now the fastest air on the wall is at {place}.{_slowing(today, chosen)}")),
    ]
    if record["knee"] is not None:
        knee = record["choices"][record["knee"]]
        share = f"{knee['of_all_percent']:.0f} %"
        text = f"Worth it: the first {knee['metal_cc']:.2f} cc bring {share} of all that can be had."
        found.append(el("p", tied(text)))
    held = held_texts(chosen, d)
    if held:
        found += [el("h3", "What holds it back"), el("ul", [el("li", tied(text)) for text in held])]
    plan = record["plan"]
    return [
        *found,
        calm_chart(record, d),
        table_element(tables["calm"], d),
        folds([tables["calm-areas"]], d),
        el("h3", "Order of work"),
        el("ol", [el("li", step) for step in plan["order_of_work"]]),
        *_sheet(results, plan, tables, "calm-cut", d),
        what,
    ]


def _slowing(today: Mapping[str, Any], chosen: Mapping[str, Any]) -> str:
    """Return what becomes of the slowing past the short side, nothing where the port has none."""
    before, after = today["slowing_percent"], chosen["slowing_percent"]
    if before is None or after is None:
        return ""
    return (
        f" Past the short side the air must slow at {before:.0f} % of what it can follow; with the cut, {after:.0f} %."
    )


def _sheet(
    results: Mapping[str, Any], record: Mapping[str, Any], tables: Mapping[str, Table], name: str, d: Display
) -> list[Element]:
    """Return what burette, walls and micrometer should read, and the depths to take.

    On paper the tables are the bench sheet's: it has only the rows that are cut.
    """
    micrometer, depth = tables[f"{name}-micrometer"], tables[f"{name}-depth"]
    paper = [path for path in results["files"].values() if path == BENCH_SHEETS[name]]
    holds = record["burette_cc"]
    unknown = [station["wall_unknown"] for station in record["stations"]]
    burette = f"{holds['now']:.2f} cc now, {holds['finished']:.2f} cc when finished"
    return [
        el("p", f"Burette: {burette}."),
        el("p", tied(f"Wall left: {walls_left_text(record, d)}.")),
        *(el("p", "On one sheet of paper: ", el("a", path, href=f"./{path}"), ".") for path in paper),
        el(
            "div",
            table_element(micrometer, d, classes=_to_cut(micrometer)),
            _depths(depth, d, unknown),
            class_="on-screen" if paper else None,
        ),
    ]


def cut_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the cut sheet in large type: what to do first, in which order, what the micrometer should read."""
    if not results["plan"]:
        return None
    record = results["plan"]["record"]
    found = [
        el("p", tied(next_step(results, d)), class_="first"),
        *(
            el("p", el("strong", "Mind: "), tied(w["message"]) + ".")
            for w in record["warnings"]
            if w["code"] == "dam_made"
        ),
        el("h3", "Order of work"),
        el("ol", [el("li", step) for step in record["order_of_work"]]),
        *_sheet(results, record, tables, "cut", d),
        *([el("p", f"Hours: {pace_text(results['hours'])}.")] if results.get("hours") else []),
    ]
    stopped = stops_texts(record["areas"], record["limits"], record["warnings"], d)
    if stopped:
        found += [el("h3", "What limits the cut"), el("ul", [el("li", tied(text)) for text in stopped])]
    return [*found, *_reach(results, tables, d), *cautions((*record["cautions"], USUAL_CAUTIONS[-1]))]


def check_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return how far the planned cut has got: what is left, what was missed, what went too deep."""
    if not results.get("check"):
        return None
    lines = [el("li", el("strong", f"{line['name']}: "), tied(line["says"])) for line in results["check"]["lines"]]
    return [
        el("ul", lines),
        _depths(tables["left-depth"], d),
    ]


def bench_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return what the bench needs where no cut is planned: what to look at first, and the last state's readings."""
    if results["plan"] or not results["states"]:
        return None
    last = named(tables, "schedule-port-")[len(results["states"]) - 1]
    return [
        el("p", tied(next_step(results, d)), class_="first"),
        table_element(last, d),
        *_reach(results, tables, d),
        *cautions(USUAL_CAUTIONS),
    ]


def cautions(texts: Sequence[str]) -> list[Element]:
    """Return what to mind where the work can hurt."""
    return [el("h3", "Cautions"), el("ul", [el("li", text) for text in texts], class_="cautions")]


def _reach(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element]:
    """Return what the burr reaches, nothing where no tool is named."""
    if not results["reach"]:
        return []
    record, tool = results["reach"]["record"], results["reach"]["record"]["tool"]
    missed = [tied(text) for text in missed_texts(record, d)]
    return [
        el("h3", "Does the burr get there?"),
        el(
            "p",
            f"Head {d.length(tool['head_mm'])}, shank {d.length(tool['shank_mm'])}, free length "
            f"{d.length(tool['free_length_mm'])}. From the entry all round to a depth of "
            f"{d.length(record['depth_from_entry_mm']['all_round'])}, from the exit "
            f"{d.length(record['depth_from_exit_mm']['all_round'])}.",
        ),
        *([el("p", "Not reached from either end:"), el("ul", [el("li", text) for text in missed])] if missed else []),
        table_element(tables["reach"], d),
    ]


def _to_cut(table: Table) -> dict[tuple[int, int], str]:
    """Return which cells of the micrometer's table ask for more than is there today."""
    return {
        (r, c): "go"
        for r, row in enumerate(table.rows)
        for c in (2, 4, 6)
        if row[c] - row[c - 1] >= (SHOWN_MM if c < 6 else SHOWN_MM * row[1])
    }


def _depths(table: Table, d: Display, unknown: Sequence[Sequence[bool]] | None = None) -> Element:
    """Return a table of depths as the bench sheet has them. unknown : where the wall is not known, by row and hour."""
    marks = unknown or [[False] * (len(row) - 1) for row in table.rows]
    texts = {
        (r, c): depth_text(float(value), mark, d).replace("-", "−") or "·"
        for r, (row, marked) in enumerate(zip(table.rows, marks, strict=True))
        for c, (value, mark) in enumerate(zip(row[1:], marked, strict=True), start=1)
        if value is not None
    }
    legend = blend_legend(d, any(text.endswith(UNREAD) for text in texts.values()))
    shown = table_element(table, d, classes=_tints(table), texts=texts)
    return el("div", shown, el("p", legend, class_="note"))


def _tints(table: Table) -> dict[tuple[int, int], str]:
    deepest = max((float(v) for row in table.rows for v in row[1:] if v is not None), default=0.0)
    if deepest < SHOWN_MM:
        return {}
    return {
        (r, c): f"d{min(int(TINTS * float(v) / deepest) + 1, TINTS)}"
        for r, row in enumerate(table.rows)
        for c, v in enumerate(row)
        if c and v is not None and v >= SHOWN_MM
    }
