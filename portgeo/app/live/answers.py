"""Long answers: where the air is fast, what a cut took, the next cut, templates, the whole report.

What was asked, plain enough for another process, comes in; lines, tables, files and a model for the page go out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.live.answer_parts import (
    REPORT,
    Asked,
    Progress,
    Scan,
    file_of,
    flow_said,
    job_of,
    legs_flow,
    metal_of,
    painted_model,
    port_of,
    printed,
    said_lines,
    shown_table,
)
from portgeo.app.live.cutting import calm_answer, plan_answer
from portgeo.app.live.draft import slug
from portgeo.app.live.figures import Readings, build, told
from portgeo.app.live.losing import loss_answer
from portgeo.app.live.photographs import photographs_answer
from portgeo.app.live.sets import set_answer
from portgeo.app.live.splits import split_compared
from portgeo.core.errors import PortgeoError

if TYPE_CHECKING:
    from portgeo.present.pictures.model import Paint

LABELS = {
    "air": "Air speed", "compare": "What was cut", "plan": "The next cut", "calm": "Where to cut",
    "loss": "Pressure lost",
    "set": "The set of runners", "templates": "Templates",
    "customer": "Customer’s pages", "report": "The whole report", "photographs": "Photographs",
}  # fmt: skip

PASSING = ("photographs",)  # answers that wait for the person's word: nothing of them is kept


def answer(asked: Asked, progress: Progress) -> dict[str, Any]:
    """Work an answer out: `lines`, `tables`, `files`, and a `model` where there is one. Raises PortgeoError."""
    return _KINDS[asked.kind](asked, progress)


def _air(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.front.air import air_speed
    from portgeo.present.pictures.speed import painted
    from portgeo.present.text.speed import airspeed_text

    of = asked.stages[-1]
    progress(f"reading {of.stage}", None)
    now = port_of(of)
    port = now.port
    runner = None if asked.runner is None else port_of(asked.runner).port
    progress("solving the air speed", None)
    flow, of_leg = legs_flow(now, flow_said(asked, of, runner=runner is not None))
    air = air_speed(
        port, flow.cfm, bench=flow.bench, run=flow.run, lift_mm=flow.lift_mm,
        depression_in_h2o=flow.depression_in_h2o, runner=runner,
    )  # fmt: skip

    def paint(points: Any) -> list[Paint]:
        from portgeo.present.pictures.model import Paint

        return [Paint("speed", "speed over mean", painted(air.computed, points), "ratio", False)]

    return {
        "lines": [*now.remarks, *of_leg, *said_lines(airspeed_text(air, of.stage))],
        "tables": [shown_table("By station", air.stations, port.display)],
        "files": [],
        "stage": of.stage,
        "model": painted_model(of.stage, port, paint),
    }


def _compare(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.front.skins import depth_cut
    from portgeo.front.states import compare
    from portgeo.present.text.compare import comparison_text

    before, after = asked.stages
    progress("reading both stages", None)
    first, second = port_of(before), port_of(after)
    one, other = first.port, second.port
    progress("comparing", None)
    metal = metal_of(asked)
    if first.whole is not None and second.whole is not None:
        found = split_compared(first.whole, second.whole, (before.stage, after.stage), metal)
        return found | {"lines": [*first.remarks, *second.remarks, *found["lines"]]}
    changed = compare(one, other, **metal)

    def paint(points: Any) -> list[Paint]:
        from portgeo.present.pictures.model import Paint

        return [Paint("depth", "depth of cut", depth_cut(changed, points), "length", True)]

    text = comparison_text(changed, f"{before.stage} to {after.stage}", metal.get("alloy") or "metal")
    return {
        "lines": [*first.remarks, *second.remarks, *said_lines(text)],
        "tables": [shown_table("By station", changed.stations, one.display)],
        "files": [],
        "stage": after.stage,
        "model": painted_model(after.stage, other, paint),
    }


def _templates(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.front.cuts import gauges, plan
    from portgeo.present.paper.template_pages import pages
    from portgeo.present.paper.templates import pdf

    of = asked.stages[-1]
    progress(f"reading {of.stage}", None)
    now = port_of(of)
    port = now.port
    job = None if asked.job is None else job_of(asked)
    at = None if job is None else job.job.templates.at
    paper = (job.job.templates.paper if job is not None else None) or ("Letter" if asked.units == "in" else "A4")
    planned = None
    if asked.said.get("planned") and asked.target is not None:
        progress("planning the cut", None)
        path = Path(asked.folder) / asked.target
        planned = plan(port, path, name=asked.target, within=now.whole, **metal_of(asked))
    progress("laying the templates out", None)
    found = gauges(port, at, planned=planned).computed
    title = f"{asked.title}, {of.stage}, {'target' if planned else 'as it is'}"
    laid = pages(found, port.display, title, paper)
    count, (name,) = len(laid), printed(asked, f"templates-{slug(of.stage)}", {".pdf": pdf(laid)}).values()
    said = f"{len(found)} gauges on {count} {paper} pages: print at 100 % and measure the bars before use."
    return {"lines": [*now.remarks, said], "tables": [], "files": [file_of(name, "Templates")]}


def _report(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.app.job.run import run_job

    done = run_job(job_of(asked), Path(asked.folder) / REPORT, progress)
    names = {"report.html": "The report", "customer.pdf": "Customer’s pages", "templates.pdf": "Templates"}
    names |= {"bench-sheet.pdf": "Bench sheet", "cut-sheet.txt": "Cut sheet", "tables.xlsx": "All tables"}
    wanted = {"customer.pdf": names["customer.pdf"]} if asked.kind == "customer" else names
    lines = [f"{one['about']}: {one['message']}" for one in done.results["warnings"]]
    lines += [f"Left out: {one['step']} ({one['why']})." for one in done.results["skipped"]]
    return {
        "lines": [] if asked.kind == "customer" else lines,
        "tables": [],
        "files": [file_of(f"{REPORT}/{name}", label) for name, label in wanted.items() if name in done.files],
    }


_KINDS: Mapping[str, Callable[[Asked, Progress], dict[str, Any]]] = {
    "air": _air, "compare": _compare, "plan": plan_answer, "calm": calm_answer, "loss": loss_answer, "set": set_answer,
    "templates": _templates, "customer": _report, "report": _report,
    "photographs": photographs_answer,
}  # fmt: skip


def scan_figures(of: Scan) -> dict[str, Any]:
    """Return the figures of a stage that was scanned, with its model: what `figures_of` gives of a typed one."""
    from portgeo.front.states import survey

    found: dict[str, Any] = {
        "stage": of.stage, "part": of.part, "file": of.file, "sure": True, "figures": None, "chart": None,
        "notices": [], "left_out": [], "problem": None, "next": None, "model": None,
    }  # fmt: skip
    try:
        port = port_of(of).port
        return found | told(survey(port), of.stage) | {"model": painted_model(of.stage, port, lambda points: [])}
    except PortgeoError as refusal:
        where = ", ".join(part for part in (refusal.file and of.file, refusal.where) if part)
        what = f"{where}: {refusal.what}" if where else refusal.what
        return found | {"problem": {"what": what, "hint": refusal.hint, "row": None, "column": None}}


def change_of(before: Readings, after: Readings) -> dict[str, Any] | None:
    """Return in a few words what was cut from one stage to the next; None where a stage makes no port yet."""
    from portgeo.core.port import Port
    from portgeo.core.section import wall_name
    from portgeo.front.states import compare

    one, other = build(before).port, build(after).port
    if not isinstance(one, Port) or not isinstance(other, Port):
        return None  # of two that split the comparison tells
    changed = compare(one, other)
    d = one.display
    lines = [f"Metal removed {changed.removed_cc:.2f} ± {2.0 * changed.removed_u_cc:.2f} cc."]
    if changed.added_cc > 2.0 * changed.added_u_cc:
        lines.append(f"Metal added {changed.added_cc:.2f} ± {2.0 * changed.added_u_cc:.2f} cc.")
    walls = [
        {
            "name": wall_name(name).replace("_", " "),
            "text": f"{wall.removed_cc:.2f} cc, deepest {d.length(wall.max_mm)}",
        }
        for name, wall in changed.walls.items()
        if wall.removed_cc >= 0.005
    ]
    return {"stage": after.stage, "against": before.stage, "part": after.part, "lines": lines, "walls": walls}
