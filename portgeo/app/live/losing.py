"""Pressure lost by the stages and by the next cut, side by side: minutes of an open solver, begun by hand alone.

What was asked comes in; lines, a table, pictures and a model painted by the air's drag go out.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.live.answer_parts import (
    REPORT,
    Asked,
    Progress,
    StagePort,
    file_of,
    flow_said,
    job_of,
    legs_flow,
    metal_of,
    painted_model,
    port_of,
    printed,
)
from portgeo.app.live.draft import slug
from portgeo.core.units import M3_S_PER

if TYPE_CHECKING:
    from portgeo.files.toml.job_tables import Loss
    from portgeo.present.pictures.model import Paint
    from portgeo.results.lost import PressureLost


def loss_answer(asked: Asked, progress: Progress) -> dict[str, Any]:
    """Return what each stage loses, and the planned port. Raises PortgeoError, also where there is no solver.

    Its cases lie where the report has its own: what is solved here is not solved there again.
    """
    from portgeo.app.job.keep import FOLDER
    from portgeo.app.job.loss import solved
    from portgeo.app.job.loss_steps import CASES
    from portgeo.files.toml.job_tables import Loss
    from portgeo.present.page.loss_rows import loss_texts
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.flow import drag_at, sections_figure, shear_png

    said = (None if asked.job is None else job_of(asked).job.loss) or Loss()
    read, names, remarks = _ports(asked, said, progress)
    ports = {name: read[name].port for name in names}
    cfm, of_leg = _flow(asked, said, read[asked.stages[0].stage])
    found = solved(
        list(ports.values()), cfm, list(ports), Path(asked.folder) / REPORT / FOLDER / CASES,
        roughness_mm=said.roughness, grid=said.grid, cores=said.cores,
        progress=lambda what, share: progress(f"solving {what}", share),
    )  # fmt: skip
    d, last = found.display, found.states[-1]

    def paint(points: Any) -> list[Paint]:
        return [drag_at(last, points)]

    files = []
    for state in found.states:
        wall = printed(asked, f"loss-wall-{slug(state.name)}", {".png": shear_png(state, d)})
        sections = printed(asked, f"loss-sections-{slug(state.name)}", {".png": png(sections_figure(state, d))})
        files.append(file_of(wall[".png"], f"Drag on the wall, {state.name}"))
        files.append(file_of(sections[".png"], f"Speed in sections, {state.name}"))
    return {
        "lines": [*remarks, *of_leg, *loss_texts(found.to_dict(), d), *_own(found), found.what_it_is],
        "tables": [_table(found)],
        "files": files,
        "stage": last.name,
        "model": painted_model(last.name, ports[last.name], paint),
    }


def _own(found: PressureLost) -> list[str]:
    """Return what is to be minded of the solution; what is of the readings stands beside them."""
    return [warning.message for warning in found.warnings if warning.code.startswith("loss_")]


def _ports(asked: Asked, said: Loss, progress: Progress) -> tuple[dict[str, StagePort], list[str], list[str]]:
    """Return the ports that were read or planned, by name, those names that are asked for, and what is to be said."""
    from portgeo.front.cuts import plan
    from portgeo.present.page.contents import CALM_STATE, PLANNED_STATE

    read: dict[str, StagePort] = {}
    remarks: list[str] = []
    for of in asked.stages:
        progress(f"reading {of.stage}", None)
        read[of.stage] = port_of(of)
        remarks += read[of.stage].remarks
    job = None if asked.job is None else job_of(asked).job
    names = [name.strip() for name in said.states or ()] or list(read)
    if job is not None and said.states is None:
        names = list(dict.fromkeys((job.state[0].name, job.state[-1].name)))
    folded = {name.casefold(): name for name in read}
    wanted_by_default = said.states is None and asked.target is not None
    if (
        job is not None
        and job.target is not None
        and asked.target is not None
        and (wanted_by_default or PLANNED_STATE in names)
    ):
        progress("planning the cut", None)
        start = job.state[job.index(job.target.state)].name
        path = Path(asked.folder) / asked.target
        now = read[start]
        planned = plan(now.port, path, name=asked.target, within=now.whole, **metal_of(asked))
        read[PLANNED_STATE] = replace(now, port=planned.port)
        names = [*names, PLANNED_STATE] if wanted_by_default else names
        folded[PLANNED_STATE] = PLANNED_STATE
    if CALM_STATE in names:
        remarks.append("The calm cut's loss is in the report: portgeo report JOB --loss.")
    there = [folded[name.casefold()] for name in names if name.casefold() in folded]
    return read, there, remarks


def _flow(asked: Asked, said: Loss, first: StagePort) -> tuple[float, list[str]]:
    """Return the flow that was typed, cfm, else that of the first stage's air; and what of it a leg has."""
    from portgeo.front.air import flow_of

    if said.flow_cfm is not None:
        return said.flow_cfm, []
    if said.flow_lps is not None:
        return said.flow_lps * 1e-3 / M3_S_PER["cfm"], []
    flow, of_leg = legs_flow(first, flow_said(asked, asked.stages[0], runner=False))
    cfm = flow_of(flow.bench, flow.run, flow.lift_mm) if flow.bench is not None and flow.run is not None else flow.cfm
    assert cfm is not None
    return cfm, of_leg


def _table(found: PressureLost) -> dict[str, Any]:
    """Return the ports side by side, as texts."""
    from portgeo.present.page.loss_rows import loss_table
    from portgeo.present.page.tables import cell_text
    from portgeo.results.kinds import kind_of

    table = loss_table(found.to_dict())
    kinds = [kind_of(column.kind, found.display) for column in table.columns]
    heads = [
        ", ".join(part for part in (c.group, c.heading, k.unit) if part)
        for c, k in zip(table.columns, kinds, strict=True)
    ]
    rows = [[cell_text(value, kind) for value, kind in zip(row, kinds, strict=True)] for row in table.rows]
    return {"caption": table.caption, "columns": heads, "rows": rows}
