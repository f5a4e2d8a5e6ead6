"""The report's files: page, customer's pages, tables, meshes, pictures, templates and cut sheet.

Every step's result comes in; results.json as a plain value and the bytes of every file, by name, go out.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

from portgeo import __version__
from portgeo.app.job.cut import CALM_MESH
from portgeo.app.job.loss_steps import LOSS, TITLE
from portgeo.app.job.results import Calm, Cut, LeftOut, Models, Part, PortsLost, Recorded, Sheets
from portgeo.app.job.step import Steps
from portgeo.app.job.steps import PARTS, STILLS
from portgeo.core.notices import Notice
from portgeo.core.units import MILLIMETRES, Display
from portgeo.files.disk import json_text, table_text
from portgeo.files.meshes.stl import write_stl
from portgeo.files.sheets.workbooks import workbook_of
from portgeo.present.page.contents import NO_RADIUS, is_run_of, results_tables, slug
from portgeo.present.page.page import write_page
from portgeo.present.paper.customer import customer_pages
from portgeo.present.text.check_sheet import check_lines
from portgeo.present.text.throat import throat_notice
from portgeo.results.figures import Result
from portgeo.results.hours import hours_of

Get = Callable[[str], Any]  # a step's result by its name, None where there is no such step
FORMULA = "=+-@\t\r"  # a cell of text that begins with one of these a spreadsheet would run
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{k}" for port in ("com", "lpt") for k in range(1, 10))}  # by Windows


def files_of(steps: Steps, get: Get) -> Iterator[tuple[str, bytes]]:
    """Yield the report's files by name but for what steps draw of all results, results.json and then the page last."""
    display = Display(steps.job.job.units)
    results = results_of(steps, get)
    models: Models = get("models")
    stills = [data for _, data in get(STILLS).files]
    yield from _charts(steps, get)
    for (k, part), name in _meshes(steps).items():
        port = get(f"{part} {k}").port
        yield name, write_stl(port.to_source(port.vertices), port.faces)
    cut: Cut | None = get("plan")
    if cut is not None:
        yield "meshes/planned.stl", cut.mesh
        yield "bench-sheet.pdf", get("bench-sheet plan")
        yield "cut-sheet.txt", cut.text.encode("utf-8", "replace")
        yield "cut-sheet.csv", table_text(*cut.planned.stations.to_csv(display)).encode("utf-8", "replace")
    calm = get("calm")
    if isinstance(calm, Calm) and calm.cut is not None and calm.chart is not None:
        yield CALM_MESH, calm.cut.mesh
        yield "calm-bench-sheet.pdf", get("bench-sheet calm")
        yield "calm-cut-sheet.txt", calm.cut.text.encode("utf-8", "replace")
        stations = calm.cut.planned.stations.to_csv(display)
        yield "calm-cut-sheet.csv", table_text(*stations).encode("utf-8", "replace")
        yield "pictures/calm-choices.png", calm.chart
    lost = get(LOSS)
    if isinstance(lost, PortsLost):
        for name, _, data in lost.pictures:
            yield f"pictures/{name}", data
    sheets: Sheets | None = get("templates")
    if sheets is not None:
        yield "templates.pdf", sheets.pdf
    tables = results_tables(results, display)
    for name, header, rows in tables:
        yield (
            f"tables/{name}.csv",
            table_text(header, [[_as_text(cell) for cell in row] for row in rows]).encode("utf-8", "replace"),
        )
    yield "tables.xlsx", workbook_of(tables)
    if results["states"]:
        yield "customer.pdf", customer_pages(results, models.models, display)
    shown = [(shows, data) for _, shows, data in lost.pictures] if isinstance(lost, PortsLost) else []
    yield "results.json", json_text(results).encode("utf-8", "replace")
    yield "report.html", write_page(results, models.models, display, stills, shown).encode("utf-8", "replace")


def _as_text(cell: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula."""
    return "'" + cell if isinstance(cell, str) and cell.startswith(tuple(FORMULA)) else cell


def results_of(steps: Steps, get: Get) -> dict[str, Any]:
    """Return the whole result, as results.json has it."""
    job, states = steps.job.job, []
    skipped = list(steps.skipped)
    for k, state in enumerate(job.state):
        speed = get(f"speed {k}")
        if isinstance(speed, LeftOut):
            skipped.append({"step": f"air speed of {state.name}", "why": speed.why})
        states.append(
            {
                "name": state.name, "date": state.date, "note": state.note, "bench_run": state.bench_run,
                **{part: _record(get(f"survey {part} {k}")) for part in PARTS}, **_split(get(f"port {k}")),
                "airspeed": _record(speed), "flow_note": getattr(speed, "note", None) or getattr(speed, "why", None),
            }
        )  # fmt: skip
    probe, calm = get("probe"), get("calm")
    if isinstance(probe, LeftOut):
        skipped.append({"step": "the probe's readings", "why": probe.why})
    if isinstance(calm, LeftOut):
        skipped.append({"step": "the cut that calms the air", "why": f"there is no flow: {calm.why}"})
    lost = get(LOSS)
    if isinstance(lost, LeftOut):
        skipped.append({"step": TITLE, "why": lost.why})
    demand = get("demand")
    if isinstance(demand, LeftOut):
        skipped.append({"step": "the engine's demand", "why": demand.why})
    results = {
        "schema": "portgeo.report/2",
        "portgeo": __version__,
        "title": job.title,
        "customer": job.customer,
        "engine": _engine(steps),
        "units": job.units,
        "source": [{"file": name, "sha256": sha, "what": what} for name, (sha, what) in steps.inputs.items()],
        "states": states,
        "compare": list(_comparisons(steps, get)),
        "match": [
            {"state": job.state[k].name, "record": _record(get(f"match {k}"))}
            for k in range(len(job.state))
            if get(f"match {k}") is not None
        ],
        "balance": _record(get("balance")),
        "bench": _record(get("bench")),
        "demand": _record(demand),
        "plan": _plan(steps, get),
        "check": _check(steps, get),
        "probe": _probe(steps, get),
        "calm": _calm(steps, get),
        "loss": _record(get(LOSS)),
        "reach": None,
        "hours": _hours(steps, get),
        "skipped": skipped,
    }
    if job.tool is not None:
        results["reach"] = {"state": job.state[job.index(job.tool.state)].name, "record": _record(get("reach"))}
    results["warnings"] = [*_throat(steps, states), *_unnamed_runs(states, results["bench"]), *_warnings(results)]
    results["files"] = _files(steps, get)
    # The page is given what the file says: the same figures, rounded alike, and nothing but plain values.
    return dict(json.loads(json_text(results)))


def _check(steps: Steps, get: Get) -> dict[str, Any] | None:
    """Return how far the planned cut has got in the last stage, and the record."""
    checked = get("check")
    if checked is None:
        return None
    lines = [{"name": name, "says": text} for name, text in check_lines(checked)]
    return {"state": steps.job.job.state[-1].name, "lines": lines, "record": checked.to_dict()}


def _hours(steps: Steps, get: Get) -> dict[str, Any] | None:
    """Return what the work took, and should take."""
    job, plan = steps.job.job, _record(get("plan"))
    compared = [get(f"compare port {k - 1} {k}") for k in range(1, len(job.state))]
    timed = [
        (state.hours, each.removed_cc)
        for state, each in zip(job.state[1:], compared, strict=True)
        if state.hours is not None and each is not None
    ]
    per_hour = None if job.quote is None else job.quote.per_hour
    checked = get("check")
    ahead = plan["removed_cc"] if plan is not None else None
    ahead = ahead if checked is None else checked.left_cc
    hours = hours_of(timed, ahead, job.other_ports, per_hour)
    return None if hours is None else {**hours, "quoted": job.quote is not None}


def _split(part: Part) -> dict[str, Any]:
    """Return of a port that splits the leg that its figures are of, and what all of it measures."""
    if part.split is None:
        return {"leg": None, "split": None}
    return {"leg": part.split.leg, "split": part.split.measured.to_dict()}


def _record(result: Any) -> Any:
    if result is None or isinstance(result, LeftOut):
        return None
    return result.to_dict() if isinstance(result, Result) else result.record


def _engine(steps: Steps) -> dict[str, Any] | None:
    engine = steps.job.job.engine
    if engine is None:
        return None
    lengths = type(engine).lengths
    given = {key: value for key, value in engine.model_dump().items() if key in engine.model_fields_set}
    return {f"{key}_mm" if key in lengths else key: value for key, value in given.items()}


def _comparisons(steps: Steps, get: Get) -> Iterator[dict[str, Any]]:
    names = [state.name for state in steps.job.job.state]
    for name in steps.by_name:
        kind, *rest = name.split()
        if kind == "compare":
            part, before, after = rest[0], int(rest[1]), int(rest[2])
            found = get(name)
            yield {
                "before": names[before], "after": names[after], "part": part, "record": _record(found),
                "whole": found.whole,
            }  # fmt: skip


def _plan(steps: Steps, get: Get) -> dict[str, Any] | None:
    job = steps.job.job
    if job.target is None:
        return None
    return {
        "state": job.state[job.index(job.target.state)].name,
        "record": _record(get("plan")),
        "planned": _record(get("planned survey")),
        "airspeed": _record(get("planned speed")),
        "beside": _record(get("beside")),
    }


def _probe(steps: Steps, get: Get) -> dict[str, Any] | None:
    """Return what a probe read: in which state, and the record."""
    job, record = steps.job.job, _record(get("probe"))
    if record is None or job.probe is None:
        return None
    return {"state": job.state[job.index(job.probe.state)].name, "record": record}


def _calm(steps: Steps, get: Get) -> dict[str, Any] | None:
    """Return what calms the air: of which state, and the record."""
    job, record = steps.job.job, _record(get("calm"))
    return None if record is None else {"state": job.state[job.calmed_state].name, "record": record}


def _throat(steps: Steps, states: list[dict[str, Any]]) -> Iterator[dict[str, str]]:
    """Yield that the engine's throat is that of the port's valve end in no state, told of the last."""
    engine = steps.job.job.engine
    # Where a port feeds several valves, its end need not be one throat.
    if engine is None or engine.throat is None or engine.valves != 1:
        return
    found = []
    for throat in (state["port"]["throat"] for state in states):
        marked = throat["from"] == "mark"
        counts = "the row marked throat" if marked else "[engine] throat"
        found.append(throat_notice(engine.throat, throat["diameter_mm"], marked=marked, counts=counts))
    if found and found[-1] is not None and None not in found:
        yield _warning(found[-1], f"[engine] throat and {states[-1]['name']}", Display(steps.job.job.units, "key"))


def _unnamed_runs(
    states: Sequence[Mapping[str, Any]], runs: Sequence[Mapping[str, Any]] | None
) -> Iterator[dict[str, str]]:
    """Yield that a bench run is of a state that the job does not have: one of the two was named anew."""
    rows: dict[str, list[int]] = {}
    for run in runs or ():
        if run["state"] and not any(is_run_of(run, state) for state in states):
            rows.setdefault(run["state"], []).extend(run["rows"])
    for name, lines in rows.items():
        yield _warning(Notice("bench_state_unknown", first=min(lines), last=max(lines), name=name), "the bench sheet")


def _warning(notice: Notice, about: str, display: Display = MILLIMETRES) -> dict[str, str]:
    """Return a notice as the results have it: its code, its sentence and what it is about."""
    return {"code": notice.code, "message": notice.message(display), "about": about}


def _warnings(results: Mapping[str, Any]) -> Iterator[dict[str, str]]:
    """Yield every warning once, with the state or the step that it is first told of."""
    told: set[tuple[str, str]] = set()
    places: list[tuple[str, Any]] = []
    for state in results["states"]:
        places += [(state["name"], state["port"]), (f"{state['name']}, runner", state["runner"])]
    for one in results["compare"]:
        places += [(f"{one['before']} to {one['after']}", record) for record in (one["record"], one["whole"])]
    places += [(f"joint of {one['state']}", one["record"]) for one in results["match"]]
    places += [(f"air speed of {state['name']}", state["airspeed"]) for state in results["states"]]
    plan = results["plan"] or {}
    places += [("the plan", plan.get("record")), ("the planned port", plan.get("planned"))]
    places += [("air speed of the planned port", plan.get("airspeed")), ("the set", results["balance"])]
    places.append(("the cut that calms the air", (results["calm"] or {}).get("record")))
    places.append((TITLE, results["loss"]))
    places.append(("reach of the burr", results["reach"]["record"] if results["reach"] else None))
    for about, record in places:
        for warning in record["warnings"] if record else ():
            this = warning["code"], warning["message"]
            if warning["code"] == NO_RADIUS:
                continue
            # A part's own warnings come again with everything that is made of it.
            if this not in told or about in {state["name"] for state in results["states"]}:
                told.add(this)
                yield {"code": warning["code"], "message": warning["message"], "about": about}


def _meshes(steps: Steps) -> dict[tuple[int, str], str]:
    """Return the mesh file of every state's parts."""
    taken: set[str] = {"planned"} if steps.job.job.calm is None else {"planned", PurePosixPath(CALM_MESH).stem}
    found = {}
    for k, state in enumerate(steps.job.job.state):
        base, n = slug(state.name), 2
        base = f"{base}-state" if base in RESERVED else base
        name = base
        while name in taken:
            name, n = f"{base}-{n}", n + 1
        taken.add(name)
        for part in PARTS:
            if getattr(state, part) is not None:
                found[k, part] = f"meshes/{name}{'-runner' if part == 'runner' else ''}.stl"
    return found


def _charts(steps: Steps, get: Get) -> Iterator[tuple[str, bytes]]:
    """Yield the charts of what was read or matched, by name."""
    for name in steps.by_name:
        told = get(name) if name.split()[0] in ("bench", "match", "balance", "probe") else None
        if isinstance(told, Recorded) and told.chart is not None:
            base = {"bench": "bench", "balance": "balance", "probe": "probe"}.get(
                name
            ) or f"joint-{int(name.split()[1]) + 1}"
            yield f"pictures/{base}.png", told.chart


def _files(steps: Steps, get: Get) -> dict[str, str]:
    """Return what lies beside the page, what it is to where it is."""
    states = steps.job.job.state
    found = {}
    for (k, part), name in _meshes(steps).items():
        found[f"mesh of {states[k].name}{', runner' if part == 'runner' else ''}"] = name
    if get("plan") is not None:
        found["mesh of the planned port"] = "meshes/planned.stl"
        found |= {
            "bench sheet to print": "bench-sheet.pdf",
            "cut sheet": "cut-sheet.txt",
            "cut sheet as a table": "cut-sheet.csv",
        }
    calm = get("calm")
    if isinstance(calm, Calm) and calm.cut is not None:
        found["mesh with the cut that calms the air"] = CALM_MESH
        found |= {"its bench sheet": "calm-bench-sheet.pdf", "its cut sheet": "calm-cut-sheet.txt"}
        found["its cut sheet as a table"] = "calm-cut-sheet.csv"
    if states:
        found |= {"templates to print at 100 %": "templates.pdf", "two pages for the customer": "customer.pdf"}
    found |= {"all figures": "results.json", "all tables": "tables.xlsx", "pictures": "pictures/"}
    return found
