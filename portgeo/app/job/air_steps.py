"""The steps of a job on air: bench sheet, air speed, probe, the engine's demand.

Steps with what is read come in, and have these too.
"""

from __future__ import annotations

from typing import Any

from portgeo.app.job.step import Steps, one_valve
from portgeo.files.toml.job_tables import State

ENGINE_NEEDS = ("bore", "stroke", "rpm", "valve")
VALVE_KEYS = ("valve", "throat", "stem", "seat_angle_deg", "seat_width", "valves")


def add_flow(steps: Steps, parts: dict[tuple[int, str], str]) -> None:
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
        if one_valve(steps) is not None:
            settings["states"] = [
                {"name": state.name, "run": state.bench_run, "runner": state.runner is not None} for state in job.state
            ]
            surveys = {f"survey {k}": f"survey port {k}" for k in range(len(job.state))}
        steps.add("bench", "reading the bench sheet", "air.benched", settings, [_bench_file(steps)], surveys)
    else:
        steps.skip("flow bench", "[bench] names no sheet")
    for k, state in enumerate(job.state):
        add_speed(
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


def add_speed(
    steps: Steps,
    name: str,
    title: str,
    state: State,
    port: str,
    runner: str | None,
    *,
    surveyed: int | None = None,
    now: str | None = None,
) -> None:
    """Add an air speed. surveyed : number of the state whose surveys say how sure the shape is. now : of a plan's port
    the air of the stage that it starts from."""
    job = steps.job.job
    assert job.bench is not None
    settings = {
        "state": state.name, "run": state.bench_run, "flow_cfm": job.bench.flow_cfm, "lift": job.bench.lift,
        "depression": job.bench.depression_in_h2o, "units": job.units,
    }  # fmt: skip
    steps.add(
        name, title, "air.sped", settings, [_bench_file(steps)] if job.bench.file else [],
        {"part": port, "runner": runner, "now": now, **_surveys(surveyed, runner)},
    )  # fmt: skip


def _surveys(k: int | None, runner: str | None) -> dict[str, str | None]:
    if k is None:
        return {}
    return {"survey": f"survey port {k}", "runner survey": None if runner is None else f"survey runner {k}"}
