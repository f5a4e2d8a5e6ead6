"""What a job has, as steps: each with the settings, files and earlier steps that its result is made of.

A JobFile comes in; its inputs with their hashes, the steps in an order in which they can be made, and
what is left out with the reason, go out. Nothing heavy is imported: a run that has nothing to do is short.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Any

from portgeo.app.job.keep import key_of
from portgeo.app.job.named_files import WALL_READINGS, files_of_target, outlines_of_sheet
from portgeo.app.job.walls_told import check_walls
from portgeo.core.errors import InputError
from portgeo.files.disk import sha256_of
from portgeo.files.sheets.tables import SHEET_TYPES
from portgeo.files.toml.job import JobFile
from portgeo.files.toml.job_tables import Scan, State

ENGINE_NEEDS = ("bore", "stroke", "rpm", "valve")
VALVE_KEYS = ("valve", "throat", "stem", "seat_angle_deg", "seat_width", "valves")
PARTS = ("port", "runner")
PICTURE_PARTS = 4  # that pictures are drawn in: small enough that all cores end at about the same time
STILLS = "stills"  # the step whose pictures the page has too
DRAWN = ("charts", *(f"pictures {part}" for part in range(PICTURE_PARTS)))  # steps whose results are pictures alone


@dataclass(frozen=True)
class Step:
    """One result to be made.

    name : its own, in this job. title : for a person. work : the function of `portgeo.app.job.work` that
    makes it. settings : plain values. files : role, name from the job's folder, SHA-256. needs : role,
    name of an earlier step. key : the hash of it all.
    """

    name: str
    title: str
    work: str
    settings: dict[str, Any]
    files: tuple[tuple[str, str, str], ...]
    needs: tuple[tuple[str, str], ...]
    key: str


@dataclass
class Steps:
    """The steps of a job by name, in order; `skipped` holds step and reason, `inputs` name, hash and what."""

    job: JobFile
    by_name: dict[str, Step] = field(default_factory=dict)
    skipped: list[dict[str, str]] = field(default_factory=list)
    inputs: dict[str, tuple[str, str]] = field(default_factory=dict)

    def input(self, name: str, what: str) -> str:
        """Note an input and return its SHA-256."""
        if name not in self.inputs:
            self.inputs[name] = (sha256_of(self.job.folder / name), what)
        return self.inputs[name][0]

    def add(
        self,
        name: str,
        title: str,
        work: str,
        settings: dict[str, Any],
        files: Sequence[tuple[str, str, str]] = (),
        needs: dict[str, str | None] | None = None,
    ) -> str:
        """Add a step and return its name. files : role, name, what. needs : role to name, None for none."""
        told = tuple((role, file, self.input(file, what)) for role, file, what in files)
        after = tuple((role, other) for role, other in (needs or {}).items() if other is not None)
        key = key_of(work, settings, told, [(role, self.by_name[other].key) for role, other in after])
        self.by_name[name] = Step(name, title, work, settings, told, after, key)
        return name

    def skip(self, step: str, why: str) -> None:
        """Note what is left out."""
        self.skipped.append({"step": step, "why": why})


def steps_of(job: JobFile) -> Steps:
    """Return the steps of a job. Raises InputError where a file it names is not to be had."""
    steps = Steps(job)
    units = job.job.units
    steps.inputs[job.path.name] = (job.sha256, "job")
    parts = _read(steps)
    for (k, part), name in parts.items():
        state = job.job.state[k].name
        settings = {"valve": _one_valve(steps) if part == "port" else None}
        steps.add(
            f"survey {part} {k}", f"measuring {_of(part, state)}", "parts.measured", settings, needs={"part": name}
        )
    _compared(steps, parts)
    _joints(steps, parts)
    _flow(steps, parts)
    _plan(steps, parts)
    _calm(steps, parts)
    _reach(steps, parts)
    _set(steps)
    _templates(steps, parts)
    _painted(steps, parts)
    charted: dict[str, str | None] = {
        name: name for name in steps.by_name if name.split()[0] in ("survey", "speed", "planned")
    }
    states = [state.name for state in job.job.state]
    steps.add("charts", "drawing charts", "drawn.charted", {"units": units, "states": states}, needs=charted)
    steps.add(STILLS, "drawing pictures", "drawn.stilled", {"units": units}, needs={"models": "models"})
    for nth in range(PICTURE_PARTS):
        share: dict[str, Any] = {"units": units, "part": nth, "parts": PICTURE_PARTS}
        steps.add(f"pictures {nth}", "drawing pictures", "drawn.pictured", share, needs={"models": "models"})
    return steps


def _of(part: str, state: str) -> str:
    return state if part == "port" else f"{state}'s runner"


def _read(steps: Steps) -> dict[tuple[int, str], str]:
    """Add the reading of every state's parts."""
    found = {}
    job = steps.job.job
    for k, state in enumerate(job.state):
        for part in PARTS:
            file = getattr(state, part)
            if file is not None:
                scan = getattr(state, f"{part}_scan")
                what = f"{part}, {state.name}"
                title = f"reading {_of(part, state.name)}"
                found[k, part] = _read_one(steps, f"{part} {k}", title, file, scan, what, ("state", k, part))
    return found


def _read_one(
    steps: Steps, name: str, title: str, file: str, scan: Scan | None, what: str, place: tuple[str, int, str]
) -> str:
    if scan is not None and PurePosixPath(file).suffix.lower() in SHEET_TYPES:
        raise InputError(
            f"'{file}' is a section sheet, and what is said of a scan is for a mesh",
            file=str(steps.job.path), where=steps.job.where(*place), mend="Leave out the table of its scan",
        )  # fmt: skip
    engine = steps.job.job.engine
    exhaust = engine is not None and engine.port == "exhaust" and place[2] == "port"
    settings = {"units": steps.job.job.units, "scan": scan.model_dump() if scan else {}, "exhaust": exhaust}
    files = [("part", file, what)]
    outlines = outlines_of_sheet(steps.job.folder, file)
    files += [(f"outline {k}", other, f"outline in {file}") for k, other in enumerate(outlines)]
    return steps.add(name, title, "parts.read", settings, files)


def _compared(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add the comparisons: each state with the one before it, and the last with the first."""
    states = steps.job.job.state
    for part in PARTS:
        have = [k for k in range(len(states)) if (k, part) in parts]
        pairs = list(pairwise(have))
        if len(have) > 2:
            pairs.append((have[0], have[-1]))
        for before, after in pairs:
            one, other = parts[before, part], parts[after, part]
            if steps.by_name[one].key == steps.by_name[other].key:
                steps.skip(
                    f"comparison of the {part}, {states[before].name} and {states[after].name}",
                    f"both are {getattr(states[after], part)}, the same file",
                )
                continue
            steps.add(
                f"compare {part} {before} {after}",
                f"comparing {_of(part, states[before].name)} and {states[after].name}",
                "parts.compared",
                {"align": states[after].align, "metal": _metal(steps), "units": steps.job.job.units},
                needs={"before": one, "after": other},
            )
        if part == "port" and len(have) == 1:
            steps.skip("comparison", "there is one state; add a second [[state]] once it is cut")


def _metal(steps: Steps) -> dict[str, Any]:
    metal = steps.job.job.metal
    alloy = metal.alloy or ("aluminium" if metal.density_g_cc is None else None)
    return {"alloy": alloy, "density_g_cc": metal.density_g_cc}


def _joints(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add the match of runner and port in every state that has both."""
    job, gasket = steps.job.job, steps.job.job.gasket
    any_joint = False
    for k, state in enumerate(job.state):
        if (k, "runner") not in parts:
            continue
        any_joint = True
        settings: dict[str, Any] = {"units": job.units}
        files = []
        if gasket is not None:
            settings |= {"gasket_units": gasket.units or job.units, "leave": gasket.leave, "as_drawn": gasket.as_drawn}
            files.append(("gasket", gasket.file, "gasket's opening"))
        needs: dict[str, str | None] = {"upstream": parts[k, "runner"], "downstream": parts[k, "port"]}
        steps.add(f"match {k}", f"matching the joint of {state.name}", "parts.matched", settings, files, needs)
    if not any_joint:
        why = "no state has a runner; give one with  runner = ...  in its [[state]]"
        steps.skip("match of the joint", why)


def _flow(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add bench, air speed and the engine's demand."""
    job = steps.job.job
    if job.bench is None:
        steps.skip("flow bench and air speed", "there is no [bench] with a sheet or a flow")
        if job.probe is not None:
            steps.skip("the probe's readings", "there is no flow to compute the air by")
        return
    engine = job.engine
    if job.bench.file is not None:
        settings: dict[str, Any] = {
            "depression": job.bench.depression_in_h2o,
            "units": job.units,
            "valve": _valve(steps),
            "states": [],
        }
        surveys: dict[str, str | None] = {}
        # Only a valve that has its port alone is seen against the port's throat, and hangs on what was measured.
        if _one_valve(steps) is not None:
            settings["states"] = [
                {"name": state.name, "run": state.bench_run, "runner": state.runner is not None} for state in job.state
            ]
            surveys = {f"survey {k}": f"survey port {k}" for k in range(len(job.state))}
        steps.add("bench", "reading the bench sheet", "air.benched", settings, [_bench_file(steps)], surveys)
    else:
        steps.skip("flow bench", "[bench] names no sheet")
    for k, state in enumerate(job.state):
        _speed(
            steps,
            f"speed {k}",
            f"solving the air speed of {state.name}",
            state,
            parts[k, "port"],
            parts.get((k, "runner")),
            surveyed=k,
        )
    _probe(steps)
    if engine is not None and engine.port == "exhaust":
        why = "both are rules for intakes; an exhaust's stations run with the flow too, from 0 at the valve"
        steps.skip("the engine's demand and the power estimate", why)
        return
    missing = [name for name in ENGINE_NEEDS if engine is None or getattr(engine, name) is None]
    if engine is None or missing:
        steps.skip("the engine's demand", f"[engine] does not give {', '.join(missing)}")
        return
    last = len(job.state) - 1
    steps.add(
        "demand", "working out the engine's demand", "air.demanded",
        {"engine": engine.model_dump()}, needs={"speed": f"speed {last}"},
    )  # fmt: skip


def _probe(steps: Steps) -> None:
    """Add a probe's readings beside the air of the state in which they were taken."""
    job = steps.job.job
    if job.probe is None or job.bench is None:
        return
    files = [("probe", job.probe.file, "probe readings"), *([_bench_file(steps)] if job.bench.file else [])]
    settings = {"depression": job.bench.depression_in_h2o, "units": job.units}
    needs: dict[str, str | None] = {"speed": f"speed {job.index(job.probe.state)}"}
    steps.add("probe", "setting the probe's readings beside the air", "air.probed", settings, files, needs)


def _bench_file(steps: Steps) -> tuple[str, str, str]:
    bench = steps.job.job.bench
    assert bench is not None and bench.file is not None
    return "bench", bench.file, "flow bench"


def _valve(steps: Steps) -> dict[str, float | None] | None:
    engine = steps.job.job.engine
    if engine is None or engine.valve is None:
        return None
    return {name: getattr(engine, name) for name in VALVE_KEYS}


def _one_valve(steps: Steps) -> float | None:
    """Return the valve's diameter, where a port has one valve and not several at one end."""
    engine = steps.job.job.engine
    return None if engine is None or engine.valves != 1 else engine.valve


def _speed(
    steps: Steps, name: str, title: str, state: State, port: str, runner: str | None, surveyed: int | None = None
) -> None:
    """Add an air speed. surveyed : number of the state whose surveys say how sure the shape is."""
    job = steps.job.job
    assert job.bench is not None
    settings = {
        "state": state.name, "run": state.bench_run, "flow_cfm": job.bench.flow_cfm, "lift": job.bench.lift,
        "depression": job.bench.depression_in_h2o, "units": job.units,
    }  # fmt: skip
    steps.add(
        name, title, "air.sped", settings, [_bench_file(steps)] if job.bench.file else [],
        {"part": port, "runner": runner, **_surveys(surveyed, runner)},
    )  # fmt: skip


def _surveys(k: int | None, runner: str | None) -> dict[str, str | None]:
    if k is None:
        return {}
    return {"survey": f"survey port {k}", "runner survey": None if runner is None else f"survey runner {k}"}


def _plan(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add the cut plan, and what the planned port then measures and does to the air."""
    job = steps.job.job
    if job.target is None:
        steps.skip("cut plan", "there is no [target]")
        return
    k = job.index(job.target.state)
    file = job.target.file
    files = _target_files(steps, file)
    check_walls(steps.job, _wall_readings(files), k)
    settings = {"metal": _metal(steps), "units": job.units, "folder": PurePosixPath(file).parent.as_posix()}
    settings["state"] = job.state[k].name
    plan = steps.add("plan", "planning the cut", "cut.planned", settings, files, {"part": parts[k, "port"]})
    _on_paper(steps, plan, job.state[k].name, f"to {file}")
    valve = {"valve": _one_valve(steps)}
    steps.add("planned survey", "measuring the planned port", "parts.measured", valve, needs={"plan": plan})
    if job.bench is not None:
        runner = parts.get((k, "runner"))
        _speed(steps, "planned speed", "solving the planned port's air speed", job.state[k], plan, runner)
        needs: dict[str, str | None] = {"today": f"speed {k}", "planned": "planned speed", "plan": plan}
        needs["part"] = parts[k, "port"]
        steps.add("beside", "laying both air speeds beside each other", "air.beside_today", {}, needs=needs)


def _on_paper(steps: Steps, cut: str, state: str, to: str) -> None:
    """Add the bench sheet of a cut, the name of its step."""
    settings = {"title": f"{steps.job.job.title}: {state} {to}", "metal": _metal(steps)}
    steps.add(f"bench-sheet {cut}", "drawing the bench sheet", "cut.on_paper", settings, needs={"cut": cut})


def _target_files(steps: Steps, file: str) -> list[tuple[str, str, str]]:
    """Return a target's file and those that it names: role, name, what it is."""
    named = files_of_target(steps.job.folder, file)
    return [
        ("target", file, "target"),
        *((f"named {n}", of, f"{what} in {file}") for n, (of, what) in enumerate(named)),
    ]


def _wall_readings(files: Sequence[tuple[str, str, str]]) -> list[str]:
    return [name for _, name, what in files if what.startswith(WALL_READINGS)]


def _calm(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
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
        "metal": _metal(steps), "units": job.units, "state": job.state[k].name, "metal_cc": job.calm.metal_cc,
        "hold_throat": job.calm.hold_throat,
    }  # fmt: skip
    needs: dict[str, str | None] = {"part": parts[k, "port"], "speed": f"speed {k}"}
    steps.add("calm", "looking for the cut that calms the air", "cut.calmed", settings, files, needs)
    _on_paper(steps, "calm", job.state[k].name, "the cut that calms the air")


def _reach(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    job = steps.job.job
    if job.tool is None:
        steps.skip("reach of the burr", "there is no [tool]")
        return
    k = job.index(job.tool.state)
    tool = job.tool.model_dump(exclude={"state"})
    steps.add("reach", "trying the burr's reach", "cut.reached", {"tool": tool}, needs={"part": parts[k, "port"]})


def _set(steps: Steps) -> None:
    job = steps.job.job
    if job.set is None:
        steps.skip("balance of the set", "there is no [set]")
        return
    needs: dict[str, str | None] = {}
    for k, file in enumerate(job.set.files):
        title = f"reading runner {k + 1} of the set"
        needs[f"runner {k}"] = _read_one(
            steps, f"set {k}", title, file, job.set.scan, f"runner {k + 1} of the set", ("set", 0, "files")
        )
    settings: dict[str, Any] = {"flows": job.set.flows, "names": job.set.files, "units": job.units}
    files = []
    if job.set.gasket is not None:
        settings |= {"gasket_at": job.set.gasket_at}
        files.append(("gasket", job.set.gasket, "gasket's hole of the set"))
    steps.add("balance", "balancing the set", "parts.balanced", settings, files, needs)


def _templates(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
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


def _painted(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add the models for the page, painted with all that is known."""
    job = steps.job.job
    needs: dict[str, str | None] = {name: name for name in parts.values()}
    for name in steps.by_name:
        if name.split()[0] in ("survey", "compare", "speed", "plan", "planned", "calm", "reach"):
            needs[name] = name
    files, walls = [], None
    if job.walls is not None:
        files.append(("walls", job.walls.file, WALL_READINGS))
        walls = job.index(job.walls.state)
    elif job.target is not None:
        # The target's readings are of the wall that its cut starts from.
        target = steps.by_name["plan"]
        named = [name for role, name, _ in target.files if steps.inputs[name][1].startswith(WALL_READINGS)]
        if named:
            files.append(("walls", named[0], WALL_READINGS))
            walls = job.index(job.target.state)
    if walls is None:
        steps.skip("wall left", "there are no wall readings, in [walls] or in the target's [limits]")
    tool = job.index(job.tool.state) if job.tool is not None else None
    planned = job.index(job.target.state) if job.target is not None else None
    settings = {"states": [s.name for s in job.state], "walls": walls, "tool": tool, "planned": planned}
    settings["calmed"] = job.calmed_state
    steps.add("models", "painting the models", "paint.painted", settings, files, needs)


def path_of(folder: Path, step: Step, role: str) -> Path | None:
    """Return the path of a step's file by its role, None where it has none."""
    return next((folder / name for key, name, _ in step.files if key == role), None)
