"""What to cut: the next cut that a target asks for, and the cut that calms the air for its metal.

What was asked comes in; lines, tables, files and a model of the port as planned go out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.live.answer_parts import (
    Asked,
    Progress,
    file_of,
    flow_said,
    job_of,
    legs_flow,
    limits_only,
    metal_of,
    painted_model,
    port_of,
    printed,
    said_lines,
    shown_table,
)
from portgeo.app.live.draft import slug
from portgeo.app.live.stages import job_content
from portgeo.core.errors import InputError

if TYPE_CHECKING:
    from portgeo.core.port import Port
    from portgeo.results.calmed import CalmedAir
    from portgeo.results.planned import Planned

HELD = "held by:"  # begins a line of what holds a cut back
NAMED = ("wall_readings", "outer_mesh", "beside", "gasket")  # keys of a target's limits that name files


def plan_answer(asked: Asked, progress: Progress) -> dict[str, Any]:
    """Return the least cut that gets what the target wants. Raises PortgeoError."""
    from portgeo.front.cuts import plan

    of = asked.stages[-1]
    if asked.target is None:
        raise InputError("nothing is wanted yet", hint="Drag an area on the chart, or give the short side a radius")
    progress(f"reading {of.stage}", None)
    now = port_of(of)
    port, remarks = now.port, now.remarks
    progress("planning the cut", None)
    metal = metal_of(asked)
    planned = plan(port, Path(asked.folder) / asked.target, name=asked.target, within=now.whole, **metal)
    cut = _TitledCut(planned, f"{of.stage} to {asked.target}", metal.get("alloy") or "metal")
    return {
        "lines": [*remarks, *said_lines(cut.text)],
        "tables": _tables(planned),
        "files": _written(asked, cut, f"cut-sheet-{slug(of.stage)}"),
        "order_of_work": list(planned.order_of_work),
        "stage": "planned",
        "model": _planned_model(port, planned),
    }


def calm_answer(asked: Asked, progress: Progress) -> dict[str, Any]:
    """Return the cuts that calm the air, each with its sheet, and which of them is at the knee. Raises PortgeoError.

    What was said may name how much metal is to come out (`metal_cc`); without it the cut at the knee is chosen.
    """
    from portgeo.front.air import flow_of
    from portgeo.front.calming import calm
    from portgeo.present.text.calm import calm_text, held_texts

    of = asked.stages[-1]
    progress(f"reading {of.stage}", None)
    now = port_of(of)
    port, remarks = now.port, now.remarks
    flow, of_leg = legs_flow(now, flow_said(asked, of, runner=False))
    cfm = flow.cfm
    if flow.bench is not None and flow.run is not None:
        cfm = flow_of(flow.bench, flow.run, flow.lift_mm)
    assert cfm is not None
    metal = metal_of(asked)
    said = None if asked.job is None else job_of(asked).job.calm
    amount = None if said is None else said.metal_cc
    found = calm(
        port, cfm, calm_limits(asked), metal_cc=amount, hold_throat=said is not None and said.hold_throat,
        depression_in_h2o=flow.depression_in_h2o, progress=lambda what, share: progress(what, share),
        within=now.whole, **metal,
    )  # fmt: skip
    title = f"{of.stage} at {cfm:.0f} cfm"
    why = "past it more metal buys little" if amount is None else "as the job asks"
    lines = [
        *remarks,
        *of_leg,
        *(line for line in said_lines(calm_text(found, title, why)) if not line.startswith(HELD)),
    ]
    if found.chosen is not None:
        lines += [f"{HELD} {text}" for text in held_texts(found.chosen.to_dict(), found.display)]
    if found.planned is None:
        return {"lines": [*lines, *(each.message for each in found.warnings)], "tables": [], "files": []}
    cuts = [_TitledCut(plan, f"{title}, calmed", metal.get("alloy") or "metal") for plan in found.plans]
    choices = [
        {
            "metal_cc": round(choice.metal_cc, 2),
            "knee": k == found.knee,
            "lines": said_lines(cut.text),
            "tables": _tables(cut.planned),
            "files": _written(asked, cut, f"calm-{slug(of.stage)}-{choice.metal_cc:.2f}-cc"),
            "model": _planned_model(port, cut.planned),
        }
        for k, (choice, cut) in enumerate(zip(found.choices, cuts, strict=True))
    ]
    return {
        "lines": lines,
        "tables": [_choices_table(found)],
        "files": [],
        "chart": _bought(found),
        "choices": choices,
        "chosen": found.computed.chosen,
        "stage": "planned",
    }


def calm_limits(asked: Asked) -> Path | dict[str, Any] | None:
    """Return what stops a calm cut: the target's limits, those that the job names for it, or the walls alone.

    The areas that are wanted do not stop it, unless they were said to be the most. Raises InputError where the target
    cannot be read.
    """
    from portgeo.files.toml.target import read_target

    job = None if asked.job is None else job_of(asked).job
    if job is not None and job.calm is not None and job.calm.limits is not None:
        return Path(asked.folder) / job.calm.limits
    if asked.target is None:
        walls = None if job is None else job.walls
        if walls is None or walls.state not in (None, asked.stages[-1].stage):
            return None
        return {"units": asked.units, "limits": {"wall_readings": str(Path(asked.folder) / walls.file)}}
    path = Path(asked.folder) / asked.target
    if asked.said.get("hold_areas"):
        return path
    read_target(path, limits=True)
    said = limits_only(job_content(path.read_bytes()))
    stops = said.get("limits")
    if isinstance(stops, dict):  # its files, named from the target's own folder
        said["limits"] = {key: _beside(path.parent, value) if key in NAMED else value for key, value in stops.items()}
    return said


def _beside(folder: Path, names: Any) -> Any:
    return [str(folder / name) for name in names] if isinstance(names, list) else str(folder / names)


def _choices_table(found: CalmedAir) -> dict[str, Any]:
    """Return what each amount of metal buys, a row an amount."""
    from portgeo.core.units import clock_text
    from portgeo.results.kinds import kind_of

    d, speed = found.display, kind_of("speed", found.display).unit
    columns = ["metal, cc", f"deepest, {d.unit}", f"peak, {speed}", f"down, {speed}", "±", "of all, %", "fastest at"]
    rows = [
        [
            f"{each.metal_cc:.2f}", d.length(each.deepest_mm, label=False), d.speed(each.peak_m_s, label=False),
            d.speed(each.gain_m_s, label=False), d.speed(2.0 * each.gain_u_m_s, label=False),
            f"{each.of_all_percent:.0f}", f"{d.length(each.station_mm, label=False)}, {clock_text(each.clock_hours)}",
        ]
        for each in found.choices
    ]  # fmt: skip
    return {"caption": "What each amount of metal buys", "columns": columns, "rows": rows}


def _bought(found: CalmedAir) -> dict[str, Any]:
    """Return the chart of what metal buys: the fastest air on the wall against the metal that comes out."""
    from portgeo.results.kinds import kind_of

    speed = kind_of("speed", found.display)
    metal = [0.0, *(each.metal_cc for each in found.choices)]
    peak = [found.today.peak_m_s / speed.per, *(each.peak_m_s / speed.per for each in found.choices)]
    band = [0.0, *(2.0 * each.gain_u_m_s / speed.per for each in found.choices)]
    series: list[dict[str, Any]] = [
        {"name": "fastest air, ±", "x": metal, "y": peak, "band": band, "style": 1, "line": True, "points": True}
    ]
    if found.knee is not None:
        at = found.knee + 1
        knee = {"name": "the knee", "x": [metal[at]], "y": [peak[at]], "band": None, "style": 2}
        series.append(knee | {"line": False, "points": True})
    return {
        "of": "metal", "x_label": "metal to come out, cc", "y_label": f"fastest air on the wall, {speed.unit}",
        "units": ["cc", speed.unit], "decimals": [2, speed.decimals], "series": series, "spans": [],
    }  # fmt: skip


def _tables(planned: Planned) -> list[dict[str, Any]]:
    """Return a cut's sheet as the report's tables: depths to take, and what the micrometer reads."""
    from portgeo.present.text.cut_sheet import SHOWN_MM

    depths = "Depth to take by station and clock position"
    reads = "What the micrometer reads now and finished"
    d, stations = planned.display, planned.stations
    return [
        shown_table(depths, stations, d, only=("station_mm", "take_mm"), dot_below=SHOWN_MM),
        shown_table(reads, stations, d, without=("take_mm",)),
    ]


@dataclass(frozen=True)
class _TitledCut:
    """A cut, its title, and what the grams are of."""

    planned: Planned
    title: str
    metal: str

    @cached_property
    def text(self) -> str:
        from portgeo.present.text.cut_sheet import plan_text

        return plan_text(self.planned, self.title, self.metal)


def _written(asked: Asked, cut: _TitledCut, stem: str) -> list[dict[str, str]]:
    """Write a cut's sheet into the job's folder, to print, as text and as a table, and return them for the page."""
    from portgeo.files.disk import table_text
    from portgeo.present.paper.bench_sheet import bench_sheet

    head, rows = cut.planned.stations.to_csv(cut.planned.display)
    contents = {
        ".pdf": bench_sheet(cut.planned, f"{asked.title}: {cut.title}", cut.metal),
        ".txt": (cut.text + "\n").encode("utf-8"),
        ".csv": table_text(head, rows).encode("utf-8"),
    }
    names = printed(asked, stem, contents)
    labels = {".pdf": "Bench sheet to print", ".txt": "Cut sheet as text", ".csv": "Its table"}
    return [file_of(names[ending], label) for ending, label in labels.items()]


def _planned_model(port: Port, planned: Planned) -> dict[str, Any]:
    """Return the planned port's model, painted by what is to be taken."""
    from portgeo.front.skins import depth_outside
    from portgeo.present.pictures.model import Paint

    def paint(points: Any) -> list[Paint]:
        return [Paint("depth to take", "depth to take", depth_outside(port, points), "length", True)]

    return painted_model("planned", planned.port, paint)
