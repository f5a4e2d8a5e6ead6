"""Long answers: where the air is fast, what a cut took, the next cut, templates, the whole report.

What was asked, plain enough for another process, comes in; lines, tables, files and a model for the page go out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.live.figures import Readings, build, told
from portgeo.core.errors import GeometryError, InputError, PortgeoError
from portgeo.core.units import Display, LengthUnit

if TYPE_CHECKING:
    from portgeo.core.port import Port
    from portgeo.files.toml.job import JobFile
    from portgeo.present.pictures.model import Model, Paint

REPORT, PRINTED = "report", "printed"  # folders of a job that answers write into
Progress = Callable[[str, float | None], None]


@dataclass(frozen=True)
class Scan:
    """A stage whose port is a mesh: its file and what the job says of it, as `read` takes it."""

    stage: str
    part: str
    file: str
    path: str
    settings: tuple[tuple[str, Any], ...]
    units: LengthUnit
    exhaust: bool
    stamp: tuple[int, int] | None  # when its file was written, and its size


@dataclass(frozen=True)
class Asked:
    """What was asked. folder, job : the job's. stages : the ports that it is about. said : what the page said of it."""

    kind: str
    folder: str
    job: str | None
    title: str
    units: LengthUnit
    stages: tuple[Readings | Scan, ...]
    runner: Readings | Scan | None
    target: str | None
    said: Mapping[str, Any]


LABELS = {
    "air": "Air speed", "compare": "What was cut", "plan": "The next cut", "templates": "Templates",
    "customer": "Customer’s pages", "report": "The whole report",
}  # fmt: skip


def answer(asked: Asked, progress: Progress) -> dict[str, Any]:
    """Work an answer out: `lines`, `tables`, `files`, and a `model` where there is one. Raises PortgeoError."""
    return _KINDS[asked.kind](asked, progress)


def port_of(of: Readings | Scan, progress: Progress | None = None) -> tuple[Port, list[str]]:
    """Return a stage's port, and what is to be said of it. Raises PortgeoError where there is none."""
    from portgeo.front.ports import read

    if isinstance(of, Scan):
        heard = None if progress is None else lambda what, share: progress(what, share)
        port = read(of.path, units=of.units, exhaust=of.exhaust, progress=heard, **dict(of.settings))
        return port, []
    built = build(of)
    if built.port is None:
        what = built.problem["what"] if built.problem else f"{of.stage} has too few finished rows"
        raise GeometryError(what, mend=built.problem["mend"] if built.problem else "Read two or more", file=of.file)
    named = replace(built.port, source=built.port.source | {"file": of.file})
    out = [f"Rows {', '.join(map(str, built.left_out))} of {of.file} are not finished and left out."]
    return named, out if built.left_out else []


def _air(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.app.job.air import run_of
    from portgeo.front.air import air_speed, bench
    from portgeo.present.pictures.speed import painted
    from portgeo.present.text.speed import airspeed_text

    of = asked.stages[-1]
    progress(f"reading {of.stage}", None)
    port, remarks = port_of(of)
    runner = None if asked.runner is None else port_of(asked.runner)[0]
    job = None if asked.job is None else _job(asked)
    of_bench = None if job is None else job.job.bench
    cfm: Any = asked.said.get("cfm")
    lift, depression, sheet, run = None, 28.0, None, None
    if of_bench is not None:
        lift, depression = of_bench.lift, of_bench.depression_in_h2o
        if of_bench.file is not None and cfm is None and job is not None:
            sheet = bench(job.folder / of_bench.file, depression_in_h2o=depression, units=asked.units)
            state = job.job.state[job.job.index(of.stage)]
            run = run_of(sheet, state.bench_run, state.name, runner is not None)
        cfm = cfm if cfm is not None or run is not None else of_bench.flow_cfm
    if cfm is None and run is None:
        raise InputError(f"there is no flow of {of.stage}", mend="Type one in cfm, or a run of it into the bench sheet")
    progress("solving the air speed", None)
    air = air_speed(
        port, None if run is not None else _flow(cfm), bench=sheet if run is not None else None, run=run, lift_mm=lift,
        depression_in_h2o=depression, runner=runner,
    )  # fmt: skip

    def paint(points: Any) -> list[Paint]:
        from portgeo.present.pictures.model import Paint

        return [Paint("speed", "speed over mean", painted(air.computed, points), "ratio", False)]

    return {
        "lines": [*remarks, *_said(airspeed_text(air, of.stage))],
        "tables": [_table("By station", air.stations, port.display)],
        "files": [],
        "stage": of.stage,
        "model": _model(of.stage, port, paint),
    }


def _compare(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.front.skins import depth_cut
    from portgeo.front.states import compare
    from portgeo.present.text.compare import comparison_text

    before, after = asked.stages
    progress("reading both stages", None)
    (one, first), (other, second) = port_of(before), port_of(after)
    progress("comparing", None)
    metal = _metal(asked)
    changed = compare(one, other, **metal)

    def paint(points: Any) -> list[Paint]:
        from portgeo.present.pictures.model import Paint

        return [Paint("depth", "depth of cut", depth_cut(changed, points), "length", True)]

    text = comparison_text(changed, f"{before.stage} to {after.stage}", metal.get("alloy") or "metal")
    return {
        "lines": [*first, *second, *_said(text)],
        "tables": [_table("By station", changed.stations, one.display)],
        "files": [],
        "stage": after.stage,
        "model": _model(after.stage, other, paint),
    }


def _plan(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.files.disk import atomic_write, table_text
    from portgeo.front.cuts import plan
    from portgeo.front.skins import depth_outside
    from portgeo.present.text.cut_sheet import SHOWN_MM, plan_text

    of = asked.stages[-1]
    if asked.target is None:
        raise InputError("nothing is wanted yet", mend="Drag an area on the chart, or give the short side a radius")
    progress(f"reading {of.stage}", None)
    port, remarks = port_of(of)
    progress("planning the cut", None)
    metal = _metal(asked)
    planned = plan(port, Path(asked.folder) / asked.target, name=asked.target, **metal)
    title = f"{of.stage} to {asked.target}"
    text = plan_text(planned, title, metal.get("alloy") or "metal")
    folder = _printed(asked)
    atomic_write(folder / "cut-sheet.txt", (text + "\n").encode("utf-8"), force=True)
    head, rows = planned.stations.to_csv(planned.display)
    atomic_write(folder / "cut-sheet.csv", table_text(head, rows).encode("utf-8"), force=True)

    def paint(points: Any) -> list[Paint]:
        from portgeo.present.pictures.model import Paint

        return [Paint("depth to take", "depth to take", depth_outside(port, points), "length", True)]

    return {
        "lines": [*remarks, *_said(text)],
        "tables": [
            _table(
                "Depth to take by station and clock position",
                planned.stations,
                planned.display,
                only=("station_mm", "take_mm"),
                dot_below=SHOWN_MM,
            ),
            _table(
                "What the micrometer reads today, and when it is right",
                planned.stations,
                planned.display,
                without=("take_mm",),
            ),
        ],
        "files": [_file(f"{PRINTED}/cut-sheet.txt", "Cut sheet"), _file(f"{PRINTED}/cut-sheet.csv", "Its table")],
        "order_of_work": list(planned.order_of_work),
        "stage": "planned",
        "model": _model("planned", planned.port, paint),
    }


def _templates(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.front.cuts import gauges, plan
    from portgeo.present.paper.templates import write_templates

    of = asked.stages[-1]
    progress(f"reading {of.stage}", None)
    port, remarks = port_of(of)
    job = None if asked.job is None else _job(asked)
    at = None if job is None else job.job.templates.at
    paper = (job.job.templates.paper if job is not None else None) or ("Letter" if asked.units == "in" else "A4")
    planned = None
    if asked.said.get("planned") and asked.target is not None:
        progress("planning the cut", None)
        planned = plan(port, Path(asked.folder) / asked.target, name=asked.target, **_metal(asked))
    progress("laying the templates out", None)
    found = gauges(port, at, planned=planned).computed
    title = f"{asked.title}, {of.stage}, {'target' if planned else 'as it is'}"
    name = "templates.pdf"
    count = write_templates(_printed(asked) / name, found, port.display, title, paper=paper, force=True)
    said = f"{len(found)} gauges on {count} {paper} pages: print at 100 % and measure the bars before use."
    return {"lines": [*remarks, said], "tables": [], "files": [_file(f"{PRINTED}/{name}", "Templates")]}


def _report(asked: Asked, progress: Progress) -> dict[str, Any]:
    from portgeo.app.job.run import run_job

    done = run_job(_job(asked), Path(asked.folder) / REPORT, progress)
    names = {"report.html": "The report", "customer.pdf": "Customer’s pages", "templates.pdf": "Templates"}
    names |= {"cut-sheet.txt": "Cut sheet", "tables.xlsx": "All tables"}
    wanted = {"customer.pdf": names["customer.pdf"]} if asked.kind == "customer" else names
    lines = [f"{one['about']}: {one['message']}" for one in done.results["warnings"]]
    lines += [f"Left out: {one['step']} ({one['why']})." for one in done.results["skipped"]]
    return {
        "lines": [] if asked.kind == "customer" else lines,
        "tables": [],
        "files": [_file(f"{REPORT}/{name}", label) for name, label in wanted.items() if name in done.files],
    }


_KINDS: Mapping[str, Callable[[Asked, Progress], dict[str, Any]]] = {
    "air": _air, "compare": _compare, "plan": _plan, "templates": _templates, "customer": _report, "report": _report,
}  # fmt: skip


def scan_figures(of: Scan) -> dict[str, Any]:
    """Return the figures of a stage that was scanned, with its model: what `figures_of` gives of a typed one."""
    from portgeo.front.states import survey

    found: dict[str, Any] = {
        "stage": of.stage, "part": of.part, "file": of.file, "sure": True, "figures": None, "chart": None,
        "notices": [], "left_out": [], "problem": None, "next": None, "model": None,
    }  # fmt: skip
    try:
        port, _ = port_of(of)
        return found | told(survey(port), of.stage) | {"model": _model(of.stage, port, lambda points: [])}
    except PortgeoError as refusal:
        where = ", ".join(part for part in (refusal.file and of.file, refusal.where) if part)
        what = f"{where}: {refusal.what}" if where else refusal.what
        return found | {"problem": {"what": what, "mend": refusal.mend, "row": None, "column": None}}


def change_of(before: Readings, after: Readings) -> dict[str, Any] | None:
    """Return in a few words what was cut from one stage to the next; None where a stage makes no port yet."""
    from portgeo.core.section import wall_name
    from portgeo.front.states import compare

    one, other = build(before).port, build(after).port
    if one is None or other is None:
        return None
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


def _job(asked: Asked) -> JobFile:
    from portgeo.files.toml.job import read_job

    assert asked.job is not None
    return read_job(Path(asked.folder) / asked.job)


def _metal(asked: Asked) -> dict[str, Any]:
    metal = None if asked.job is None else _job(asked).job.metal
    if metal is None:
        return {"alloy": "aluminium"}
    if metal.density_g_cc is not None:
        return {"density_g_cc": metal.density_g_cc}
    return {"alloy": metal.alloy or "aluminium"}


def _flow(cfm: Any) -> float:
    from portgeo.files.sheets.numbers import read_number

    return read_number(str(cfm), unit="", decimal_comma=True)


def _printed(asked: Asked) -> Path:
    from portgeo.files.disk import make_folder

    folder = Path(asked.folder) / PRINTED
    make_folder(folder)
    return folder


def _file(name: str, label: str) -> dict[str, str]:
    return {"name": name, "label": label}


def _said(text: str) -> list[str]:
    """Return the answer of a command's text, without its title and its tables: the page has them as tables."""
    lines = "\n".join(text.split("\n")[1:]).strip("\n").split("\n")
    end = next((k for k, line in enumerate(lines) if not line.strip()), len(lines))
    said: list[str] = []
    for line in lines[:end]:
        if line.startswith("   ") and said:
            said[-1] += " " + line.strip()  # the line before goes on
        else:
            said.append(re.sub(r"^(\S[^:]*?) {2,}", r"\1: ", line.strip()))
    return said


def _table(caption: str, table: Any, display: Display, **some: Any) -> dict[str, Any]:
    """Return a result's table, as the report shows it and as texts. some : as `table_html` takes it."""
    from portgeo.present.page.live import table_html

    head, rows = table.to_csv(display)
    texts = [[_cell(value, 3 if display.unit == "in" else 2) for value in row] for row in rows]
    columns = [name.replace("_", " ") for name in head]
    return {"caption": caption, "columns": columns, "rows": texts, "html": table_html(caption, table, display, **some)}


def _cell(value: float, decimals: int) -> str:
    return "" if value != value else f"{value + 0.0:.{decimals}f}"


def _model(stage: str, port: Port, paints: Callable[[Any], list[Paint]]) -> dict[str, Any]:
    """Return a port's model as the page's script draws it, with more paints than its area."""
    import numpy as np

    from portgeo.front.skins import skin_of
    from portgeo.front.states import survey
    from portgeo.present.page.models import scales_of, view_data
    from portgeo.present.pictures.model import Model, Paint

    measured = survey(port, sure=False).computed
    skin = skin_of(port)
    area = np.interp(skin.stations, measured.fine_stations, measured.fine_area)
    all_paints = (*paints(skin.vertices), Paint("area", "section area", area, "area", False))
    model: Model = Model(stage, "port", skin.vertices, skin.faces, skin.stations, skin.clocks, all_paints)
    return view_data([model], scales_of([model], port.display), 0, port.display)
