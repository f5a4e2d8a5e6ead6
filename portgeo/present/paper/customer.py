"""The customer's two pages: what was done, what changed, what to expect, what to mind; as PDF.

Results and models come in; the PDF's bytes go out, the same on every machine: fonts that ship with
matplotlib, no date.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portgeo.core.units import Display
from portgeo.flow.bench import REPEATS
from portgeo.present.page.contents import alike_runs, compared_flows, run_names, surveys_of
from portgeo.present.page.models import first_shown, paints_of, scales_of
from portgeo.present.page.tables import cell_text
from portgeo.present.page.text import (
    changes,
    engine_text,
    figure_text,
    gain,
    percent_text,
    power_text,
    removed_text,
    whole_change,
)
from portgeo.present.paper.sheet import MARGIN, SOFT, TEXT, Sheet, printed
from portgeo.present.pictures.charts import INK
from portgeo.present.pictures.flat import draw_model, draw_scale
from portgeo.present.pictures.model import Model
from portgeo.results.figures import for_the_customer
from portgeo.results.kinds import kind_of
from portgeo.results.measured import Measured

PICTURES = 3.1  # inches: height of the two pictures with their scales
FIRST_PAGE_KEEPS = PICTURES + 2.3  # inches for the pictures and what changed, whatever there is to tell before
LINES_STYLES = ((INK, "--"), ("#0a4f8a", "-"), ("#7a2f86", "-."), ("#00695c", (0, (6, 2))))
PLANNED_STYLE = ("#a8430c", ":")
CAUTIONS = (
    "A port that flows more can make an engine rev and load past what its parts stand. Keep to the makers’ limits and "
    "your local rules, and have safety-critical work checked by someone licensed for it.",
    "Fuel and ignition must be set again for the air it now takes: a lean mixture under load destroys pistons.",
    "Castings shift: a wall that was measured where it could be is not known everywhere. Pressure-test the casting "
    "before it is fitted.",
    "Figures with ± hold 19 times in 20. Air speeds are of an ideal flow; bench flows are of this set-up alone.",
)  # *common practice, no source*


def customer_pages(results: Mapping[str, Any], models: Sequence[Model], display: Display) -> bytes:
    """Return the two pages as PDF."""
    return printed(lambda: [_first(results, models, display), _second(results, display)], str(results["title"]))


def _first(results: Mapping[str, Any], models: Sequence[Model], d: Display) -> Figure:
    sheet = Sheet(d)
    sheet.title(str(results["title"]))
    engine = engine_text(results)
    dates = [str(state["date"]) for state in results["states"] if state.get("date")]
    under = "; ".join(part for part in (engine, " to ".join(dict.fromkeys([*dates[:1], *dates[-1:]]))) if part)
    if under:
        sheet.write(under, colour=SOFT)
    sheet.keep_free(FIRST_PAGE_KEEPS + 1.6)
    if results.get("customer"):
        sheet.down += 0.1
        sheet.write(results["customer"])
    sheet.keep_free(FIRST_PAGE_KEEPS)
    sheet.heading("What was done")
    for text in _done(results, d):
        sheet.point(text)
    sheet.keep_free(0.0)
    _pictures(sheet, models, d)
    sheet.heading("What changed" if len(results["states"]) > 1 else "What was measured")
    went, stayed = changes(results, d)
    for text in [*went, *(f"{name} ({size}) changed too little to detect" for name, size in stayed)]:
        sheet.point(text[:1].upper() + text[1:] + ".")
    for text in _figures(results, d):
        sheet.point(text)
    return sheet.figure


def _done(results: Mapping[str, Any], d: Display) -> list[str]:
    states, change = results["states"], whole_change(results)
    if change:
        found = [f"From {states[0]['name']} to {states[-1]['name']}, {removed_text(change, d)}."]
    else:
        found = [f"The port was measured as it is: {states[-1]['name']}."]
    return found + [f"{state['name']}: {state['note'].rstrip('.')}." for state in states if state.get("note")]


def _figures(results: Mapping[str, Any], d: Display) -> list[str]:
    """Return the figures of the port that are declared for the customer, and what they were before."""
    first, last = (results["states"][k]["port"] for k in (0, -1))
    found = []
    for key, kind, name in for_the_customer(Measured):
        now = figure_text(last, key, kind, d)
        was = cell_text(first[key], kind_of(kind, d))
        found.append(f"{name} is {now}." if first is last else f"{name} went from {was} to {now}.")
    return found


def _pictures(sheet: Sheet, models: Sequence[Model], d: Display) -> None:
    """Draw the port before and now, side by side."""
    ports = [model for model in models if model.part == "port" and not model.computed]
    if not ports:
        return
    scales = scales_of(models, d)
    shown = [ports[0], models[first_shown(models)]] if len(ports) > 1 else ports
    height = PICTURES
    for k, model in enumerate(shown):
        names = [name for name in ("depth", "area") if name in paints_of(model, scales)]
        if not names:
            continue
        scale = scales[model.part, names[0]]
        left = 0.52 * k
        draw_model(sheet.axes(left, 0.48, height - 0.55, 0.1), model, scale, d, raster=True)
        draw_scale(sheet.axes(left + 0.08, 0.32, 0.1, height - 0.2), scale, d)
        axes = sheet.axes(left, 0.48, 0.2, 0.0)
        axes.set_axis_off()
        axes.text(0.0, 0.5, model.state, fontsize=TEXT, fontweight="bold", va="center")
    sheet.down += height + 0.25


def _second(results: Mapping[str, Any], d: Display) -> Figure:
    sheet = Sheet(d)
    height = 3.0
    flows = bool(results["bench"])
    _area_chart(sheet.axes(0.07, 0.41 if flows else 0.86, height - 0.6, 0.3), results, d)
    if flows:
        _flow_chart(sheet.axes(0.60, 0.40, height - 0.6, 0.3), results, d)
    sheet.down += height + 0.25 + 0.2 * (len(results["states"]) + bool(results["plan"]))
    sheet.heading("What to expect")
    for text in _expected(results):
        sheet.point(text)
    sheet.heading("Please mind")
    for text in CAUTIONS:
        sheet.point(text)
    y = 0.5 / sheet.height
    sheet.figure.text(MARGIN / sheet.width, y, f"Measured with portgeo {results['portgeo']}.", fontsize=8.5, color=SOFT)
    return sheet.figure


def _expected(results: Mapping[str, Any]) -> list[str]:
    found = []
    flows = compared_flows(results)
    if len(flows) > 1:
        change = gain(flows)
        if abs(change) < 100.0 * REPEATS:
            found.append(f"The port flows as it did: the bench shows {percent_text(change)}, and repeats to about 1 %.")
        else:
            found.append(
                f"The port flows {'more' if change > 0 else 'less'} on the bench: {percent_text(change)} at the best "
                "lift. An engine gains less than its port does, and only where the port was what held it back."
            )
    elif not flows:
        found.append("No flow was measured, so no gain in flow or power can be stated.")
    demand = results["demand"]
    if demand and demand["power_estimate_hp"]:
        found.append(power_text(demand))
    elif flows:
        found.append("Power was not estimated: it depends on cam, compression, manifold, exhaust and fuel.")
    plan = results["plan"]
    if plan and plan["record"]["removed_cc"] >= 0.005:
        found.append(
            f"More can be done: a next cut of {plan['record']['removed_cc']:.2f} cc is planned and not yet made."
        )
    return found


def _finish(axes: Any, title: str, x_label: str, y_label: str) -> None:
    axes.set_title(title, fontsize=TEXT, loc="left", color=INK)
    axes.set_xlabel(x_label, fontsize=9, color=INK)
    axes.set_ylabel(y_label, fontsize=9, color=INK)
    axes.tick_params(labelsize=9, color=INK, labelcolor=INK)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(True, color="#e4e6e8", linewidth=0.6)
    axes.legend(
        loc="upper left", bbox_to_anchor=(-0.02, -0.2), frameon=False, fontsize=9, borderaxespad=0.0, handlelength=2.6
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
    _finish(axes, "Area along the port", f"station from the entry, {d.unit}", f"area, {d.area_unit}")


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
