"""What a job has, as steps: each with the settings, files and earlier steps that its result is made of.

A JobFile comes in; its inputs with their hashes, the steps in an order in which they can be made, and
what is left out with the reason, go out. Nothing heavy is imported: a run that has nothing to do is short.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import PurePosixPath
from typing import Any

from portgeo.app.job.air_steps import add_flow
from portgeo.app.job.cut_steps import add_calm, add_plan, add_reach, add_templates
from portgeo.app.job.loss_steps import add_loss
from portgeo.app.job.named_files import WALL_READINGS, outlines_of_sheet
from portgeo.app.job.step import Steps, metal_of, one_valve
from portgeo.core.errors import InputError
from portgeo.files.sheets.tables import SHEET_TYPES
from portgeo.files.toml.job import JobFile
from portgeo.files.toml.scan_table import Scan

PARTS = ("port", "runner")
PICTURE_PARTS = 4  # that pictures are drawn in: small enough that all cores end at about the same time
STILLS = "stills"  # the step whose pictures the page has too
DRAWN = ("charts", *(f"pictures {part}" for part in range(PICTURE_PARTS)))  # steps whose results are pictures alone


def steps_of(job: JobFile) -> Steps:
    """Return the steps of a job. Raises InputError where a file it names is not to be had."""
    steps = Steps(job)
    units = job.job.units
    steps.inputs[job.path.name] = (job.sha256, "job")
    if not job.job.state:
        return _of_manifold(steps)
    parts = _read(steps)
    for (k, part), name in parts.items():
        state = job.job.state[k].name
        settings = {"valve": one_valve(steps) if part == "port" else None}
        steps.add(
            f"survey {part} {k}", f"measuring {_of(part, state)}", "parts.measured", settings, needs={"part": name}
        )
    _compared(steps, parts)
    _joints(steps, parts)
    add_flow(steps, parts)
    add_plan(steps, parts)
    add_calm(steps, parts)
    add_loss(steps, parts)
    add_reach(steps, parts)
    _set(steps)
    add_templates(steps, parts)
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


def _of_manifold(steps: Steps) -> Steps:
    """Return the steps of a job that is of a manifold's runners alone."""
    units = steps.job.job.units
    _set(steps)
    needs: dict[str, str | None] = {name: name for name in steps.by_name}  # the runners and their balance
    settings = steps.by_name["balance"].settings
    steps.add("models", "painting the runners", "paint.runners_painted", settings, needs=needs)
    steps.add(STILLS, "drawing pictures", "drawn.stilled", {"units": units}, needs={"models": "models"})
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
                found[k, part] = _read_one(
                    steps, f"{part} {k}", title, file, scan, what, ("state", k, part),
                    **({"leg": state.leg} if part == "port" and state.leg else {}),
                )  # fmt: skip
    return found


def _read_one(
    steps: Steps,
    name: str,
    title: str,
    file: str,
    scan: Scan | None,
    what: str,
    place: tuple[str, int, str],
    **more: Any,
) -> str:
    """Add the reading of one port or runner. more : settings that only some have."""
    if scan is not None and PurePosixPath(file).suffix.lower() in SHEET_TYPES:
        raise InputError(
            f"'{file}' is a section sheet, and what is said of a scan is for a mesh",
            file=str(steps.job.path), where=steps.job.where(*place), hint="Leave out the table of its scan",
        )  # fmt: skip
    engine = steps.job.job.engine
    exhaust = engine is not None and engine.port == "exhaust" and place[2] == "port"
    settings: dict[str, Any] = {
        "units": steps.job.job.units, "scan": scan.model_dump() if scan else {}, "exhaust": exhaust,
    }  # fmt: skip
    settings |= more
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
                {"align": states[after].align, "metal": metal_of(steps), "units": steps.job.job.units},
                needs={"before": one, "after": other},
            )
        if part == "port" and len(have) == 1:
            steps.skip("comparison", "there is one stage; add a second [[stage]] once it is cut")


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
        why = "no stage has a runner; give one with  runner = ...  in its [[stage]]"
        steps.skip("match of the joint", why)


def _set(steps: Steps) -> None:
    job = steps.job.job
    if job.set is None:
        steps.skip("balance of the set", "there is no [set]")
        return
    needs: dict[str, str | None] = {}
    placed = {} if job.set.plenum is None else {"plenum": job.set.plenum}
    for k, file in enumerate(job.set.files):
        title = f"reading runner {k + 1} of the set"
        place = ("set", 0, "files")
        what = f"runner {k + 1} of the set"
        needs[f"runner {k}"] = _read_one(steps, f"set {k}", title, file, job.set.scan, what, place, **placed)
    settings: dict[str, Any] = {"flows": job.set.flows, "names": job.set.files, "units": job.units}
    settings |= {"spacing": job.set.spacing, "one_frame": job.set.one_frame, "entry_radii": job.set.entry_radii}
    files = []
    if job.set.gasket is not None:
        settings |= {"gasket_at": job.set.gasket_at}
        files.append(("gasket", job.set.gasket, "gasket's hole of the set"))
    steps.add("balance", "balancing the set", "parts.balanced", settings, files, needs)


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
