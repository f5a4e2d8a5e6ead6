"""The steps of a job towards the next cut: the plan, what calms the air, the burr's reach, templates.

Steps with what is read and its air come in, and have these too.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath

from portgeo.app.job.air_steps import add_speed
from portgeo.app.job.named_files import WALL_READINGS, files_of_target
from portgeo.app.job.step import Steps, metal_of, one_valve
from portgeo.app.job.walls_told import check_walls


def add_plan(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add the cut plan, and what the planned port then measures and does to the air."""
    job = steps.job.job
    if job.target is None:
        steps.skip("cut plan", "there is no [target]")
        return
    k = job.index(job.target.state)
    file = job.target.file
    files = _target_files(steps, file)
    check_walls(steps.job, _wall_readings(files), k)
    settings = {"metal": metal_of(steps), "units": job.units, "folder": PurePosixPath(file).parent.as_posix()}
    settings["state"] = job.state[k].name
    plan = steps.add("plan", "planning the cut", "cut.planned", settings, files, {"part": parts[k, "port"]})
    _on_paper(steps, plan, job.state[k].name, f"to {file}")
    last = len(job.state) - 1
    if k < last:
        begun: dict[str, str | None] = {"plan": plan, "part": parts[last, "port"]}
        title = f"checking {job.state[last].name} against the plan"
        steps.add("check", title, "cut.checked", {"align": job.state[last].align}, needs=begun)
    valve = {"valve": one_valve(steps)}
    steps.add("planned survey", "measuring the planned port", "parts.measured", valve, needs={"plan": plan})
    if job.bench is not None:
        runner = parts.get((k, "runner"))
        title = "solving the planned port's air speed"
        add_speed(steps, "planned speed", title, job.state[k], plan, runner, now=f"speed {k}")
        needs: dict[str, str | None] = {"today": f"speed {k}", "planned": "planned speed", "plan": plan}
        needs["part"] = parts[k, "port"]
        steps.add("beside", "laying both air speeds beside each other", "air.beside_today", {}, needs=needs)


def _on_paper(steps: Steps, cut: str, state: str, to: str) -> None:
    """Add the bench sheet of a cut, the name of its step."""
    job = steps.job.job
    timed = [k for k in range(1, len(job.state)) if job.state[k].hours and f"compare port {k - 1} {k}" in steps.by_name]
    settings = {
        "title": f"{job.title}: {state} {to}",
        "metal": metal_of(steps),
        "hours": [job.state[k].hours for k in timed],
        "other_ports": job.other_ports if timed else None,
    }
    needs: dict[str, str | None] = {"cut": cut}
    needs |= {f"timed {nth}": f"compare port {k - 1} {k}" for nth, k in enumerate(timed)}
    steps.add(f"bench-sheet {cut}", "drawing the bench sheet", "cut.on_paper", settings, needs=needs)


def _target_files(steps: Steps, file: str) -> list[tuple[str, str, str]]:
    """Return a target's file and those that it names: role, name, what it is."""
    named = files_of_target(steps.job.folder, file)
    return [
        ("target", file, "target"),
        *((f"named {n}", of, f"{what} in {file}") for n, (of, what) in enumerate(named)),
    ]


def _wall_readings(files: Sequence[tuple[str, str, str]]) -> list[str]:
    return [name for _, name, what in files if what.startswith(WALL_READINGS)]


def add_calm(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add the cut that calms the air, where the job asks for it: it takes half a minute."""
    job = steps.job.job
    if job.calm is None:
        return
    if job.bench is None:
        steps.skip("the cut that calms the air", "there is no [bench] with a sheet or a flow")
        return
    k, limits = job.calmed_state, job.calm.limits or (job.target.file if job.target is not None else None)
    files: list[tuple[str, str, str]] = []
    if limits is not None:
        files = _target_files(steps, limits)
    elif job.walls is not None:
        files = [("walls", job.walls.file, WALL_READINGS)]
    check_walls(steps.job, _wall_readings(files), k, "calm")
    settings = {
        "metal": metal_of(steps), "units": job.units, "state": job.state[k].name, "metal_cc": job.calm.metal_cc,
        "hold_throat": job.calm.hold_throat,
    }  # fmt: skip
    needs: dict[str, str | None] = {"part": parts[k, "port"], "speed": f"speed {k}"}
    steps.add("calm", "looking for the cut that calms the air", "cut.calmed", settings, files, needs)
    _on_paper(steps, "calm", job.state[k].name, "the cut that calms the air")


def add_reach(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    job = steps.job.job
    if job.tool is None:
        steps.skip("reach of the burr", "there is no [tool]")
        return
    k = job.index(job.tool.state)
    tool = job.tool.model_dump(exclude={"state"})
    steps.add("reach", "trying the burr's reach", "cut.reached", {"tool": tool}, needs={"part": parts[k, "port"]})


def add_templates(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    job = steps.job.job
    k = len(job.state) - 1 if job.target is None else job.index(job.target.state)
    paper = job.templates.paper or ("Letter" if job.units == "in" else "A4")
    settings = {
        "at": job.templates.at,
        "paper": paper,
        "units": job.units,
        "title": f"{job.title}, {job.state[k].name}",
    }
    needs: dict[str, str | None] = {"part": parts[k, "port"], "plan": "plan" if "plan" in steps.by_name else None}
    steps.add("templates", "laying out the templates", "cut.laid_out", settings, needs=needs)
