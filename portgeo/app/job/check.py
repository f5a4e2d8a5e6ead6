"""What can be refused of a job in a moment, before minutes of work: its small files and its sizes.

A JobFile comes in; nothing goes out, or a refusal naming file, place and hint.
"""

from __future__ import annotations

from portgeo.app.job.air import engine_of, run_of, valve_of
from portgeo.app.job.air_steps import ENGINE_NEEDS, VALVE_KEYS
from portgeo.app.job.steps import PARTS
from portgeo.core.errors import InputError, PortgeoError, Problems
from portgeo.core.units import Display
from portgeo.files.drawings.outlines import read_outline
from portgeo.files.ports import is_sheet
from portgeo.files.sheets.sheet import read_sheet
from portgeo.files.toml.job import JobFile
from portgeo.files.walls import read_walls
from portgeo.front.air import bench
from portgeo.front.limits import check_target
from portgeo.results.benched import Benched


def check_job(job: JobFile) -> None:
    """Raise what reading a job's sheets, target, bench and outlines gives, of all its files at once."""
    problems = Problems()
    tables = job.job
    engine = tables.engine
    try:
        if engine is not None:
            table = engine.model_dump()
            if all(table[name] is not None for name in ENGINE_NEEDS):
                engine_of(table)
            if table["valve"] is not None and table["throat"] is not None:
                valve_of({key: table[key] for key in VALVE_KEYS})
    except PortgeoError as refusal:
        problems.add(InputError(refusal.what, file=str(job.path), where=job.where("engine"), hint=refusal.hint))
    drawn = len(tables.state) - 1 if tables.target is None else tables.index(tables.target.state)
    for k, state in enumerate(tables.state):
        for part in PARTS:
            file = getattr(state, part)
            if file is not None and is_sheet(file):
                with problems.gathering():
                    sheet = read_sheet(job.folder / file)
                    if part == "port" and k == drawn and not sheet.legs:
                        _check_templates(job, sheet.readings[-1].station - sheet.readings[0].station)
    if tables.bench is not None and tables.bench.file is not None:
        with problems.gathering():
            _check_runs(job, bench(job.folder / tables.bench.file))
    if tables.target is not None:
        with problems.gathering():
            check_target(job.folder / tables.target.file)
    if tables.calm is not None and tables.calm.limits is not None:
        with problems.gathering():
            check_target(job.folder / tables.calm.limits, limits=True)
    if tables.walls is not None:
        with problems.gathering():
            read_walls(job.folder / tables.walls.file)
    if tables.gasket is not None:
        with problems.gathering():
            read_outline(job.folder / tables.gasket.file, tables.gasket.units or tables.units)
    problems.refuse()


def _check_runs(job: JobFile, sheet: Benched) -> None:
    for k, state in enumerate(job.job.state):
        try:
            run_of(sheet, state.bench_run, state.name)
        except InputError as refusal:
            where = job.where("state", k, "bench_run")
            raise InputError(refusal.what, file=str(job.path), where=where, hint=refusal.hint) from None


def _check_templates(job: JobFile, length: float) -> None:
    outside = [at for at in job.job.templates.at or () if at > length + 1e-6]
    if outside:
        display = Display(job.job.units)
        raise InputError(
            f"station {display.length(outside[0])} is outside the port, which is {display.length(length)} long",
            file=str(job.path),
            where=job.where("templates", 0, "at"),
            hint="Name stations along the centerline, from the entry",
        )
