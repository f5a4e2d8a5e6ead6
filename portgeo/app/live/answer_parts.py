"""What every long answer is made of: what was asked, a stage's port, and lines, tables, files and models for the page.

What was asked, plain enough for another process, comes in; plain values for JSON go out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.live.figures import Readings, build
from portgeo.core.errors import GeometryError, InputError
from portgeo.core.units import Display, LengthUnit

if TYPE_CHECKING:
    from portgeo.core.port import Port
    from portgeo.core.split import SplitPort
    from portgeo.files.toml.job import JobFile
    from portgeo.front.air import Run
    from portgeo.present.pictures.model import Model, Paint
    from portgeo.results.benched import Benched

REPORT, PRINTED = "report", "printed"  # folders of a job that answers write into
WANTS = ("area", "taper", "short_side", "copy")  # of a target: what is wanted, and stops no cut
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
    leg: str | None = None


@dataclass(frozen=True)
class Asked:
    """What was asked. folder, job : the job's. stages : the ports that it is about. said : what the page said of it.

    made_from : all that the answer goes by, by what a person calls it, and a hash of each.
    """

    kind: str
    folder: str
    job: str | None
    title: str
    units: LengthUnit
    stages: tuple[Readings | Scan, ...]
    runner: Readings | Scan | None
    target: str | None
    said: Mapping[str, Any]
    made_from: Mapping[str, str] = field(default_factory=dict)


def of_stages(asked: Asked) -> list[str]:
    """Return the names of the stages that an answer is about, the one that its model stands with last."""
    return [of.stage for of in asked.stages]


@dataclass(frozen=True)
class StagePort:
    """A stage's port, and what is to be said of it. whole : the port that splits of which it is one passage."""

    port: Port
    remarks: tuple[str, ...]
    whole: SplitPort | None


def port_of(of: Readings | Scan, progress: Progress | None = None) -> StagePort:
    """Return a stage's port. Raises PortgeoError where there is none."""
    from portgeo.core.port import Port
    from portgeo.front.ports import leg_worked_on, read_whole

    remarks: tuple[str, ...] = ()
    if isinstance(of, Scan):
        heard = None if progress is None else lambda what, share: progress(what, share)
        whole = read_whole(of.path, units=of.units, exhaust=of.exhaust, progress=heard, **dict(of.settings))
    else:
        built = build(of)
        if built.port is None:
            what = built.problem["what"] if built.problem else f"{of.stage} has too few finished rows"
            raise GeometryError(what, hint=built.problem["hint"] if built.problem else "Read two or more", file=of.file)
        whole = built.port
        if built.left_out:
            rows = ", ".join(map(str, built.left_out))
            remarks = (f"Rows {rows} of {of.file} are not finished and left out.",)
    port = whole if isinstance(whole, Port) else leg_worked_on(whole, of.leg, exhaust=of.exhaust)
    named = replace(port, source=port.source | {"file": of.file})
    return StagePort(named, remarks, None if isinstance(whole, Port) else whole)


def job_of(asked: Asked) -> JobFile:
    from portgeo.files.toml.job import read_job

    assert asked.job is not None
    return read_job(Path(asked.folder) / asked.job)


def metal_of(asked: Asked) -> dict[str, Any]:
    metal = None if asked.job is None else job_of(asked).job.metal
    if metal is None:
        return {"alloy": "aluminum"}
    if metal.density_g_cc is not None:
        return {"density_g_cc": metal.density_g_cc}
    return {"alloy": metal.alloy or "aluminum"}


@dataclass(frozen=True)
class FlowSaid:
    """What is known of the flow: cfm where it is typed, else a run of the bench sheet, its lift; inches of water."""

    cfm: float | None
    bench: Benched | None
    run: Run | None
    lift_mm: float | None
    depression_in_h2o: float


def flow_said(asked: Asked, of: Readings | Scan, *, runner: bool) -> FlowSaid:
    """Return the flow that was typed, that of the stage's run, or the job's. Raises InputError where there is none."""
    from portgeo.app.job.air import run_of
    from portgeo.files.sheets.numbers import read_number
    from portgeo.front.air import bench

    job = None if asked.job is None else job_of(asked)
    of_bench = None if job is None else job.job.bench
    cfm: Any = asked.said.get("cfm")
    lift, depression, sheet, run = None, 28.0, None, None
    if of_bench is not None:
        lift, depression = of_bench.lift, of_bench.depression_in_h2o
        if of_bench.file is not None and cfm is None and job is not None:
            sheet = bench(job.folder / of_bench.file, depression_in_h2o=depression, units=asked.units)
            state = job.job.state[job.job.index(of.stage)]
            run = run_of(sheet, state.bench_run, state.name, runner)
        cfm = cfm if cfm is not None or run is not None else of_bench.flow_cfm
    if run is not None:
        return FlowSaid(None, sheet, run, lift, depression)
    if cfm is None:
        raise InputError(f"there is no flow of {of.stage}", hint="Type one in cfm, or a run of it into the bench sheet")
    return FlowSaid(read_number(str(cfm), unit="", decimal_comma=True), None, None, None, depression)


def legs_flow(stage: StagePort, flow: FlowSaid) -> tuple[FlowSaid, list[str]]:
    """Return what of a flow goes through the passage that is asked about, and a line that says so of a leg."""
    from portgeo.front.air import air_speed

    leg = None if stage.whole is None else stage.whole.leg_of(stage.port)
    if stage.whole is None or leg is None:
        return flow, []
    air = air_speed(
        stage.whole, flow.cfm, bench=flow.bench, run=flow.run, lift_mm=flow.lift_mm,
        depression_in_h2o=flow.depression_in_h2o, surveys=(),
    )  # fmt: skip
    share = air.share_of(leg.name)
    through, cfm = share * air.flow.cfm, air.flow.cfm
    said = f"{leg.name} has {through:.1f} cfm, {100.0 * share:.1f} % of the port’s {cfm:.1f} cfm"
    return FlowSaid(through, None, None, None, air.flow.depression_in_h2o), [said]


def limits_only(target: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a target says of what stops a cut, without what is wanted."""
    return {key: value for key, value in target.items() if key not in WANTS}


def printed(asked: Asked, stem: str, contents: Mapping[str, bytes]) -> dict[str, str]:
    """Write files of an answer by their endings into the folder of what is printed; return their names from the job's.

    They share a stem, with a number where another answer's has it: what was printed before stays as it was.
    """
    from portgeo.files.disk import atomic_write, make_folder

    folder, k = Path(asked.folder) / PRINTED, 1
    make_folder(folder)
    while True:
        names = {ending: f"{stem}{'' if k == 1 else f'-{k}'}{ending}" for ending in contents}
        if all(_free_for(folder / name, contents[ending]) for ending, name in names.items()):
            break
        k += 1
    for ending, name in names.items():
        if not (folder / name).exists():
            atomic_write(folder / name, contents[ending], force=False)
    return {ending: f"{PRINTED}/{name}" for ending, name in names.items()}


def _free_for(path: Path, content: bytes) -> bool:
    return not path.exists() or (path.is_file() and path.read_bytes() == content)


def file_of(name: str, label: str) -> dict[str, str]:
    return {"name": name, "label": label}


def said_lines(text: str) -> list[str]:
    """Return the answer of a command's text, without its title and its tables: the page has them as tables."""
    from portgeo.present.text.cut_sheet import WALLS_UNKNOWN

    text = text.replace(WALLS_UNKNOWN, f"{WALLS_UNKNOWN}; type some under Walls")
    lines = "\n".join(text.split("\n")[1:]).strip("\n").split("\n")
    end = next((k for k, line in enumerate(lines) if not line.strip()), len(lines))
    said: list[str] = []
    for line in lines[:end]:
        if line.startswith("   ") and said:
            said[-1] += " " + line.strip()  # the line before goes on
        else:
            said.append(re.sub(r"^(\S[^:]*?) {2,}", r"\1: ", line.strip()))
    return said


def shown_table(caption: str, table: Any, display: Display, **some: Any) -> dict[str, Any]:
    """Return a result's table, as the report shows it and as texts. some : as `table_html` takes it."""
    from portgeo.present.page.live import table_html

    head, rows = table.to_csv(display)
    texts = [[cell_text(value, 3 if display.unit == "in" else 2) for value in row] for row in rows]
    columns = [name.replace("_", " ") for name in head]
    return {"caption": caption, "columns": columns, "rows": texts, "html": table_html(caption, table, display, **some)}


def cell_text(value: float, decimals: int) -> str:
    return "" if value != value else f"{value + 0.0:.{decimals}f}"


def painted_model(stage: str, port: Port, paints: Callable[[Any], list[Paint]]) -> dict[str, Any]:
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
