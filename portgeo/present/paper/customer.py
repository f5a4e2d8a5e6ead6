"""The customer's two pages: what was done, what changed, what to expect, what to mind; as PDF.

Results and models come in; the PDF's bytes go out, the same on every machine: fonts that ship with
matplotlib, no date.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portgeo.core.units import Display
from portgeo.flow.bench import REPEATS
from portgeo.present.page.contents import alike_runs, by_lift, compared_flows, run_names, surveys_of
from portgeo.present.page.models import first_shown, paints_of, scales_of
from portgeo.present.page.tables import cell_text
from portgeo.present.page.text import (
    all_removed_text,
    changes,
    engine_text,
    figure_text,
    first_to_last,
    gain,
    in_leg,
    like_radii,
    percent_text,
    power_text,
)
from portgeo.present.paper.sheet import MARGIN, SOFT, TEXT, Sheet, printed
from portgeo.present.pictures.charts import INK
from portgeo.present.pictures.flat import draw_model, draw_scale
from portgeo.present.pictures.model import Model
from portgeo.present.text.hours import quotation_texts
from portgeo.results.figures import for_the_customer
from portgeo.results.kinds import kind_of
from portgeo.results.measured import Measured

PICTURES, LARGE = 2.45, 2.95  # inches: height of the pictures with their scales; of two to a row
SMALL = 9.5  # points
LEAST_CC = 0.005  # of metal: less shows as none
GAP = 0.02  # of the page's width, between two pictures
FLOW_ROW, MOST_LIFTS = 0.2, 10  # inches a line of the flow's table, and lines: a page holds no more
TICKS = 0.24  # inches: a scale's numbers, under the pictures
FLOW_HEADING, FLOW_KEEPS = 0.5, 1.5  # inches: over the flow's table, and for both with four lifts
FIRST_PAGE_KEEPS = PICTURES + TICKS + 1.9  # inches for the pictures and what changed, whatever there is to tell before
LEGEND_BELOW = 0.48  # inches, under a chart's numbers and name
PICTURES_KEEP = PICTURES + TICKS + 0.3
DONE_KEEPS = 1.6  # inches for what was done, under a customer's text that is longer than the page has room for
LARGE_KEEP = 2.0 * (LARGE + TICKS) + 0.3  # inches for the pictures alone, two to a row
LINES_STYLES = ((INK, "--"), ("#0a4f8a", "-"), ("#7a2f86", "-."), ("#00695c", (0, (6, 2))))
PLANNED_STYLE = ("#a8430c", ":")
VAGUE = 0.4  # of a short side's radius: a ± that is more leaves no figure to state
CUT_CAUTION = (
    "A port that flows more can make an engine rev and load past what its parts can take. Keep to the makers’ limits "
    "and your local rules, and have safety-critical work checked by someone licensed for it."
)  # *common practice, no source*, as those that follow
FUEL_CAUTION = (
    "Fuel and ignition must be set again for the air it now takes: a lean mixture under load destroys pistons."
)
CASTING_CAUTION = (
    "Castings shift: a wall can be thinner than it looks. Pressure-test the casting before it goes back on."
)


@dataclass(frozen=True)
class _Layout:
    """How the first page is laid out: pictures to a row, inches kept for all under the text, and where changes stand.

    of_text : inches kept free under the customer's own text, for what was done.
    """

    columns: int
    keeps: float
    changes_first: bool
    of_text: float = 0.0


def customer_pages(results: Mapping[str, Any], models: Sequence[Model], display: Display) -> bytes:
    """Return the two pages as PDF."""

    def draw() -> list[Figure]:
        layout = _layout(results, display)
        return [_first(results, models, display, layout), _second(results, display, layout)]

    return printed(draw, str(results["title"]))


def _layout(results: Mapping[str, Any], d: Display) -> _Layout:
    """Return the layout that leaves the text the room it takes, large pictures first."""
    flows, ways = FLOW_KEEPS * bool(alike_runs(results)), []
    if len(results["states"]) > 1 and not results["bench"]:  # the pictures fill a page that would be half empty
        ways.append(_Layout(2, LARGE_KEEP, changes_first=False))
    ways.append(_Layout(3, FIRST_PAGE_KEEPS + flows, changes_first=True))
    ways.append(_Layout(3, PICTURES_KEEP + flows, changes_first=False))
    fits = (way for way in ways if not _begun(results, d, way).is_cut)
    return next(fits, replace(ways[-1], of_text=DONE_KEEPS))


def _begun(results: Mapping[str, Any], d: Display, layout: _Layout) -> Sheet:
    """Return the first page down to what was done."""
    sheet = Sheet(d)
    sheet.title(str(results["title"]))
    engine = engine_text(results)
    dates = [str(state["date"]) for state in results["states"] if state.get("date")]
    under = "; ".join(part for part in (engine, " to ".join(dict.fromkeys([*dates[:1], *dates[-1:]]))) if part)
    if under:
        sheet.write(under, colour=SOFT)
    sheet.keep_free(layout.keeps + layout.of_text)
    if results.get("customer"):
        sheet.down += 0.1
        sheet.write(results["customer"])
    if layout.of_text:
        sheet.keep_free(layout.keeps)
    sheet.heading("What was done")
    for text in _done(results, d):
        sheet.point(text)
    return sheet


def _first(results: Mapping[str, Any], models: Sequence[Model], d: Display, layout: _Layout) -> Figure:
    sheet = _begun(results, d, layout)
    sheet.keep_free(0.0)
    _pictures(sheet, models, d, layout.columns)
    if layout.changes_first:
        _changed(sheet, results, d)
    _flow_table(sheet, results, d)
    return sheet.figure


def _changed(sheet: Sheet, results: Mapping[str, Any], d: Display) -> None:
    """Write what changed, or what was measured where there is one stage."""
    sheet.heading("What changed" if len(results["states"]) > 1 else "What was measured")
    known, unstated = _stated(results)
    went, stayed = changes(known, d)
    for text in [*went, *unstated, *(f"{name} ({size}) changed too little to detect" for name, size in stayed)]:
        sheet.point(text[:1].upper() + text[1:] + ".")
    for text in _figures(results, d):
        sheet.point(text)


def _done(results: Mapping[str, Any], d: Display) -> list[str]:
    states, change = results["states"], first_to_last(results)
    if change:
        points = [f"From {states[0]['name']} to {states[-1]['name']}, {all_removed_text(change, d)}."]
    else:
        points = [f"The port was measured as it is: {states[-1]['name']}."]
    return points + [f"{state['name']}: {state['note'].rstrip('.')}." for state in states if state.get("note")]


def _stated(results: Mapping[str, Any]) -> tuple[Mapping[str, Any], list[str]]:
    """Return the results without the short sides that are not known well enough, and what is said of the last then."""
    states = list(results["states"])
    there = [k for k in sorted({0, len(states) - 1}) if states[k]["port"]["short_side"]]
    if not there:
        return results, []
    name, radii, doubts = like_radii(*(states[k]["port"]["short_side"] for k in there))
    vague = [k for k, radius, u in zip(there, radii, doubts, strict=True) if 2.0 * u > VAGUE * radius]
    for k in vague:
        states[k] = states[k] | {"port": states[k]["port"] | {"short_side": None}}
    unstated = len(states) - 1 in vague
    said = f"the short side’s {name}{in_leg(states[-1])} is not known well enough to state"
    return {**results, "states": states}, [said] * unstated


def _figures(results: Mapping[str, Any], d: Display) -> list[str]:
    """Return the figures of the port that are declared for the customer, and what they were before."""
    ends = [results["states"][k] for k in (0, -1)]
    of = "split" if all(state.get("split") for state in ends) else "port"  # a split's port is one leg of it alone
    first, last = (state[of] for state in ends)
    texts = []
    for key, kind, name in for_the_customer(Measured):
        now = figure_text(last, key, kind, d)
        was = cell_text(first[key], kind_of(kind, d))
        texts.append(f"{name} is {now}." if first is last else f"{name} went from {was} to {now}.")
    return texts


def _pictures(sheet: Sheet, models: Sequence[Model], d: Display, columns: int) -> None:
    """Draw the port before and now, painted by one scale of area, and where metal came out between.

    columns : pictures to a row.
    """
    if not models:
        return
    now = models[first_shown(models)]
    ports = [model for model in models if model.part == now.part and not model.computed]
    if not ports or now.part == "runner":
        return
    scales = scales_of(models, d)
    measured = [now] if ports[0] is now else [ports[0], now]
    shown = [(model, "area", model.state) for model in measured if "area" in paints_of(model, scales)]
    if "depth" in paints_of(now, scales):
        shown.append((now, "depth", "where metal came out"))
    width, height = 1.0 / max(min(len(shown), columns), 2), LARGE if columns == 2 else PICTURES
    for k, (model, paint, name) in enumerate(shown):
        if k and k % columns == 0:
            sheet.down += height + TICKS
        left, scale = width * (k % columns), scales[model.part, paint]
        draw_model(sheet.axes(left, width - GAP, height - 0.55, 0.2), model, scale, d, raster=True)
        if k == 0 or paint != shown[k - 1][1]:  # one scale for both pictures that it is of
            pictures = sum(painted == paint for _, painted, _ in shown)
            draw_scale(sheet.axes(left + 0.04, pictures * width - GAP - 0.08, 0.1, height - 0.2), scale, d)
        axes = sheet.axes(left, width - GAP, 0.2, 0.0)
        axes.set_axis_off()
        axes.text(0.0, 0.5, name, fontsize=TEXT, fontweight="bold", va="center")
    sheet.down += height + TICKS
    unit = {"in": "inches", "mm": "millimeters"}[d.unit]
    sheet.write(f"A station is a place in the port: so many {unit} in from its opening.", SMALL, colour=SOFT)
    sheet.down += 0.05


def _flow_table(sheet: Sheet, results: Mapping[str, Any], d: Display) -> None:
    """Write flow by lift of the runs of one set-up, and what the last gained on the first."""
    runs = alike_runs(results)
    if not runs:
        return
    flows = [by_lift(run["lift_mm"], run["flow_cfm"]) for run in runs]
    lifts = sorted({lift for each in flows for lift in each})
    names = [f"valve lift, {d.unit}", *(f"{_short(name)}, cfm" for name in run_names(runs))]
    rows = []
    room = int((sheet.height - sheet.margin - sheet.down - FLOW_HEADING) / FLOW_ROW) - 1
    most = max(1, min(MOST_LIFTS, room, len(lifts)))
    for lift in (lifts[k] for k in np.linspace(len(lifts) - 1, 0, most).round().astype(int)[::-1]):
        read = [each.get(lift) for each in flows]
        row = [d.length(float(lift), label=False), *("" if flow is None else f"{flow:.1f}" for flow in read)]
        if len(runs) > 1:
            was, now = read[0], read[-1]
            row.append("" if was is None or now is None else percent_text(100.0 * (now / was - 1.0)))
        rows.append(row)
    names += ["gain"] if len(runs) > 1 else []
    sheet.heading(f"Flow on the bench at {runs[0]['depression_in_h2o']:g} inH2O, repeats to about {REPEATS:.0%}")
    height = FLOW_ROW * (len(rows) + 1)
    axes = sheet.axes(0.0, 1.0, height)
    axes.set(xlim=(0.0, len(names)), ylim=(len(rows) + 1.0, 0.0))
    axes.set_axis_off()
    for line, cells in enumerate([names, *rows]):
        for column, cell in enumerate(cells):
            colour = INK if line else SOFT
            axes.text(column + 0.9, line + 0.5, cell, fontsize=10.0, ha="right", va="center", color=colour)
        axes.plot([0.0, len(names)], [line + 1.0, line + 1.0], color=SOFT, linewidth=0.3 if line else 0.7)
    sheet.down += height + 0.04


def _second(results: Mapping[str, Any], d: Display, layout: _Layout) -> Figure:
    sheet = Sheet(d)
    flows = bool(results["bench"])
    height = 4.4 if layout.changes_first and not flows and len(results["states"]) > 1 else 3.0
    if not layout.changes_first:
        _changed(sheet, results, d)
        sheet.down += 0.15
    _area_chart(sheet.axes(0.07, 0.41 if flows else 0.86, height - 0.6, 0.3), results, d)
    if flows:
        _flow_chart(sheet.axes(0.60, 0.40, height - 0.6, 0.3), results, d)
    sheet.down += height + 0.25 + 0.2 * (len(results["states"]) + bool(results["plan"]))
    hours = results.get("hours")
    if hours and hours["quoted"]:
        sheet.heading("Time")
        for text in quotation_texts(hours):
            sheet.point(text)
    sheet.heading("What to expect")
    for text in _expected(results):
        sheet.point(text)
    sheet.heading("Please note")
    for text in _cautions(results):
        sheet.point(text)
    y = 0.5 / sheet.height
    sheet.figure.text(MARGIN / sheet.width, y, f"Measured with portgeo {results['portgeo']}.", fontsize=8.5, color=SOFT)
    return sheet.figure


def _cautions(results: Mapping[str, Any]) -> list[str]:
    """Return what to mind of what the job did: of a cut where there was one, of flow where one was measured."""
    is_cut, has_flow = len(results["states"]) > 1, bool(results["bench"])
    figures = "Figures with ± hold 19 times in 20."
    if has_flow:
        figures += " Bench flows are of this set-up alone."
    cautions = [CUT_CAUTION] * is_cut + [FUEL_CAUTION] * (is_cut and has_flow) + [CASTING_CAUTION] * is_cut
    return [*cautions, figures]


def _expected(results: Mapping[str, Any]) -> list[str]:
    texts = []
    flows, is_cut = compared_flows(results), len(results["states"]) > 1
    if len(flows) > 1:
        change = gain(flows)
        if abs(change) < 100.0 * REPEATS:
            texts.append(f"The port flows as it did: the bench shows {percent_text(change)}, and repeats to about 1 %.")
        else:
            texts.append(
                f"The port flows {'more' if change > 0 else 'less'} on the bench: {percent_text(change)} at the best "
                "lift. An engine gains less than its port does, and only where the port was what held it back."
            )
    demand = results["demand"]
    has_power = bool(demand and demand["power_estimate_hp"])
    if not flows and (is_cut or not has_power):
        stated = "gain in flow or power" if is_cut else "flow or power"
        texts.append(f"No flow was measured, so no {stated} can be stated.")
    if has_power:
        texts.append(power_text(demand))
    elif flows:
        texts.append("Power was not estimated: it depends on cam, compression, manifold, exhaust and fuel.")
    plan, check = results["plan"], results.get("check")
    if check:
        left = check["record"]["left_cc"]
        if left >= LEAST_CC:
            texts.append(f"The planned cut is not finished: {left:.2f} cc of it is left to take.")
    elif plan and plan["record"]["removed_cc"] >= LEAST_CC:
        cut = "More can be done: a next cut" if is_cut else "A cut"
        texts.append(f"{cut} of {plan['record']['removed_cc']:.2f} cc is planned and not yet made.")
    return texts


def _finish(axes: Any, title: str, x_label: str, y_label: str) -> None:
    axes.set_title(title, fontsize=TEXT, loc="left", color=INK)
    axes.set_xlabel(x_label, fontsize=9, color=INK)
    axes.set_ylabel(y_label, fontsize=9, color=INK)
    axes.tick_params(labelsize=9, color=INK, labelcolor=INK)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(True, color="#e4e6e8", linewidth=0.6)
    below = LEGEND_BELOW / (axes.get_position().height * axes.figure.get_figheight())
    axes.legend(
        loc="upper left", bbox_to_anchor=(-0.02, -below), frameon=False, fontsize=9, borderaxespad=0.0, handlelength=2.6
    )


def _area_chart(axes: Any, results: Mapping[str, Any], d: Display) -> None:
    k = 0
    for part, state, record in surveys_of(results):
        if part != "port":
            continue
        planned = record is (results["plan"] or {}).get("planned")
        colour, style = PLANNED_STYLE if planned else LINES_STYLES[k % len(LINES_STYLES)]
        k += 1
        x = np.array([d.of_length(s["station_mm"]) for s in record["stations"]])
        y = np.array([d.of_area(s["area_mm2"]) for s in record["stations"]])
        axes.plot(x, y, color=colour, linestyle=style, linewidth=1.6, label=_short(state))
    _finish(
        axes,
        f"Area along {results['states'][-1].get('leg') or 'the port'}",
        f"station from the entry, {d.unit}",
        f"area, {d.area_unit}",
    )


def _flow_chart(axes: Any, results: Mapping[str, Any], d: Display) -> None:
    runs = alike_runs(results)
    for k, (name, run) in enumerate(zip(run_names(runs), runs, strict=True)):
        colour, style = LINES_STYLES[k % len(LINES_STYLES)]
        lift = d.of_length(np.array(run["lift_mm"]))
        axes.plot(
            lift, run["flow_cfm"], color=colour, linestyle=style, linewidth=1.6, marker="os^D"[k % 4], markersize=4,
            label=_short(name),
        )  # fmt: skip
    axes.set_ylim(bottom=0.0)
    axes.set_xlim(left=0.0)
    _finish(axes, f"Flow at {runs[0]['depression_in_h2o']:g} inH2O", f"valve lift, {d.unit}", "flow, cfm")


def _short(name: str) -> str:
    return textwrap.shorten(name, 34, placeholder="…") or "…"
