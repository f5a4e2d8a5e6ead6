"""The step of a job that takes minutes and is made only when it is asked for: the pressure that its ports lose.

Steps with what is read, its air and its cuts come in, and have this one too.
"""

from __future__ import annotations

from portgeo.app.job.step import Steps
from portgeo.core.units import M3_S_PER
from portgeo.present.page.contents import CALM_STATE, PLANNED_STATE

LOSS = "loss"  # the step's name
CASES = "loss"  # folder of its cases, among what a report keeps
COMPUTED = {PLANNED_STATE: "plan", CALM_STATE: "calm"}  # what a port that nobody measured is called: its step
TITLE = "pressure lost"


def add_loss(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
    """Add the pressure lost in the ports that the job names, all at one flow."""
    job = steps.job.job
    if job.loss is None:
        return
    states = {state.name.strip().casefold(): (state.name, parts[k, "port"]) for k, state in enumerate(job.state)}
    computed = {name: (name, step) for name, step in COMPUTED.items() if step in steps.by_name}
    asked = job.loss.states
    if asked is None:
        asked = tuple(dict.fromkeys((job.state[0].name, job.state[-1].name, *computed)))
    missing = [name for name in asked if name.strip().casefold() not in states | computed]
    if missing:
        steps.skip(TITLE, f"there is no port '{missing[0]}' without a [bench]")  # a calm cut: its slips are told before
        return
    ports = [(states | computed)[name.strip().casefold()] for name in asked]
    needs: dict[str, str | None] = {f"port {k}": step for k, (_, step) in enumerate(ports)}
    cfm = job.loss.flow_cfm
    if job.loss.flow_lps is not None:
        cfm = job.loss.flow_lps * 1e-3 / M3_S_PER["cfm"]
    if cfm is None:
        if job.bench is None:
            steps.skip(TITLE, "there is neither a flow in [loss] nor a [bench]")
            return
        measured = [k for k, state in enumerate(job.state) if state.name in [name for name, _ in ports]]
        needs["speed"] = f"speed {measured[0] if measured else len(job.state) - 1}"
    settings = {
        "cfm": cfm, "roughness": job.loss.roughness, "grid": job.loss.grid, "names": [name for name, _ in ports],
        "units": job.units,
    }  # fmt: skip
    steps.add(LOSS, TITLE, "loss.lost", settings, needs=needs, on={"cores": job.loss.cores})
