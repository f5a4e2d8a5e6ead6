"""The steps on flow: the bench sheet, air speed of a state, the engine's demand, today beside the plan.

What each is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from portgeo.app.job.results import Cut, LeftOut, LegsFlow, Part, Recorded, StateAir, StepInputs
from portgeo.core.errors import InputError, naming
from portgeo.front.air import Engine, Run, Valve, air_speed, bench, beside, demand, engine, valve
from portgeo.front.probing import probe
from portgeo.present.pictures.speed import bench_figure, painted
from portgeo.results.air import AirThrough
from portgeo.results.benched import Benched
from portgeo.results.measured import Measured
from portgeo.results.split_air import AirThroughSplit

# What is said of a run's flow that is put through runner and port, by whether the manifold was on.
THROUGH_RUNNER = {
    True: ", through runner and port, as it was flowed",
    False: ", put through runner and port, though flowed without the manifold: with it on, less would flow",
    None: ", through runner and port; the bench sheet does not say whether the manifold was on",
}


def benched(given: StepInputs) -> Recorded:
    """Return the runs of the bench sheet and their chart."""
    from portgeo.present.pictures.charts import png

    runs = _bench(given)
    valves = [valve_of(given.settings["valve"], survey) for survey in _surveys(given, runs)]
    seen = bench(runs, depression_in_h2o=given.settings["depression"], valve=valves)
    return Recorded(seen.to_dict()["bench"], png(bench_figure(seen.runs, seen.depression, seen.display)))


def _bench(given: StepInputs) -> Benched:
    settings = given.settings
    return bench(
        given.paths["bench"], name=given.names["bench"], depression_in_h2o=settings["depression"],
        units=settings["units"],
    )  # fmt: skip


def _surveys(given: StepInputs, bench: Benched) -> list[Measured | None]:
    """Return what was measured of the port as each run flowed it, None where a run is of no state of the job."""
    states = given.settings["states"]
    state_of: dict[int, int] = {}
    for k, state in enumerate(states):
        # The run that a state names is that state's, whatever the sheet calls it.
        run = run_of(bench, state["run"], state["name"], state["runner"])
        state_of |= {n: k for n, each in enumerate(bench.runs) if each is run}
    for k, state in enumerate(states):
        for n, each in enumerate(bench.runs):
            if each.state.casefold() == state["name"].strip().casefold():
                state_of.setdefault(n, k)
    return [given.needs[f"survey {state_of[n]}"] if n in state_of else None for n in range(len(bench.runs))]


def valve_of(table: Mapping[str, Any] | None, survey: Measured | None = None) -> Valve | None:
    """Return the valve that a job's engine has, None where its head or its throat is not known.

    survey : of the port that is flowed. Its throat counts where a row is marked so, or where the engine gives none.
    Raises InputError where the engine's sizes contradict each other.
    """
    if table is None:
        return None
    typed = table["throat"]

    def over(throat: float | None, survey: Measured | None = None) -> Valve | None:
        return valve(
            table["valve"], throat, stem_mm=table["stem"], seat_angle_deg=table["seat_angle_deg"],
            seat_width_mm=table["seat_width"], valves=int(table["valves"]), over=survey,
        )  # fmt: skip

    counts = survey is not None and (typed is None or survey.throat.from_ == "mark")
    found = over(None, survey) if counts else None
    return over(typed) if found is None and typed is not None else found


def engine_of(table: Mapping[str, Any]) -> Engine:
    """Return the engine of a job's table. Raises InputError where such an engine cannot be."""
    return engine(
        table["bore"], table["stroke"], table["rpm"], table["valve"], valves=table["valves"], rod_mm=table["rod"],
        cylinders=table["cylinders"] or 1,
    )  # fmt: skip


def run_of(bench: Benched | None, run: str | None, state: str, runner: bool = False) -> Run | None:
    """Return the run of a state: the one it names, else the one whose state has its name.

    runner : whether the air goes through the state's runner too; of several runs the one then counts that
    has the manifold on, else the one that has not. Raises InputError where the one it names is not there.
    """
    if bench is None:
        return None
    if run is not None:
        try:
            return bench.run(run)
        except InputError as refusal:
            hint = refusal.hint.replace("--run", "bench_run")
            raise InputError(refusal.what, hint=hint, where=f"the bench_run of '{state}'") from None
    named = [run for run in bench.runs if run.state.casefold() == state.strip().casefold()]
    if len(named) > 1:
        named = [run for run in named if bool(run.manifold_on) == runner]
    return named[0] if len(named) == 1 else None


def sped(given: StepInputs) -> StateAir | LeftOut:
    """Return the air speed of a state or of a plan's port, through its runner where it has one."""
    settings = given.settings
    source = given.needs["part"]
    part: Part = source if isinstance(source, Part) else source.part
    runner: Part | None = given.needs.get("runner")
    # A planned port is computed: how sure it is to be cut so nobody knows, and its peak has no ±.
    measured = [given.needs.get(name) for name in ("runner survey", "survey")]
    sheet = _bench(given) if "bench" in given.paths else None
    with naming(given.names.get("bench", "")):
        run = run_of(sheet, settings["run"], settings["state"], runner is not None)
    if run is None and settings["flow_cfm"] is None:
        why = f"the bench sheet has no run of '{settings['state']}' alone, and [bench] gives no flow_cfm"
        return LeftOut(f"{why}; name the run with  bench_run = ...  in its [[stage]]")
    asked: dict[str, Any] = {
        "bench": None if run is None else sheet, "run": run, "lift_mm": settings["lift"],
        "depression_in_h2o": settings["depression"],
    }  # fmt: skip
    cfm = settings["flow_cfm"] if run is None else None
    with naming(part.port.source["file"]):
        of_leg = _of_leg(part, given.needs.get("now"), cfm, asked)
        if of_leg is not None:
            cfm, asked = of_leg.cfm, {"depression_in_h2o": settings["depression"]}
        air = air_speed(
            part.port, cfm, **asked, runner=None if runner is None else runner.port,
            surveys=[survey for survey in measured if survey is not None],
        )  # fmt: skip
        air = replace(air, run=run)
    over_runner = None
    if runner is not None:
        pose = air.computed.path.poses[0]
        over_runner = painted(air.computed, runner.skin.vertices @ pose[:3, :3].T + pose[:3, 3])
    said = _flow_told(air, of_leg, settings)
    return StateAir(air, said, painted(air.computed, part.skin.vertices), over_runner, of_leg)


def _of_leg(part: Part, now: StateAir | LeftOut | None, cfm: float | None, asked: Mapping[str, Any]) -> LegsFlow | None:
    """Return what the leg that is worked on takes of the flow, None where the port does not split.

    now : the air of the stage that a plan starts from: the plan's leg takes what it took, so that both are at one flow.
    """
    if part.split is None:
        return now.of_leg if isinstance(now, StateAir) else None
    whole = air_speed(part.split.measured.computed.port, cfm, **asked, surveys=())  # of a share no ± is asked for
    return LegsFlow(part.split.leg, whole)


def probed(given: StepInputs) -> Recorded | LeftOut:
    """Return a probe's readings beside the air speed of their state, and a chart of measured over computed."""
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.probe import probe_figure

    speed: StateAir | LeftOut = given.needs["speed"]
    if isinstance(speed, LeftOut):
        return speed
    run = speed.air.run
    sheet = _bench(given) if "bench" in given.paths and run is not None else None
    read = probe(speed.air, given.paths["probe"], bench=sheet, run=run, name=given.names["probe"])
    return Recorded(read.to_dict(), png(probe_figure(read)))


def _flow_told(air: AirThrough, of_leg: LegsFlow | None, settings: Mapping[str, Any]) -> str:
    """Return which flow it is, and where it is from."""
    flow, through = air.flow, air.runner_source is not None
    told = f"{flow.cfm:.1f} cfm at {flow.depression_in_h2o:g} inH2O"
    if of_leg is not None:
        told += f", {of_leg.leg}’s {100.0 * of_leg.share:.1f}% of the port’s {of_leg.whole.flow.cfm:.1f} cfm"
    if air.run is None:
        return f"{told}: the flow that the job gives{', through runner and port' if through else ''}"
    lift = settings["lift"]
    at = "its best flow" if lift is None else f"at a lift of {air.display.length(lift)}"
    return f"{told}: bench run '{air.run.name}', {at}{THROUGH_RUNNER[air.run.manifold_on] if through else ''}"


def demanded(given: StepInputs) -> Recorded | LeftOut:
    """Return what the engine asks of its port, and the power that the last state's flow could feed."""
    speed: StateAir | LeftOut = given.needs["speed"]
    if isinstance(speed, LeftOut):
        return LeftOut(f"there is no flow of the last stage: {speed.why}")
    table = given.settings["engine"]
    power = table["cylinders"] is not None
    air = speed.air if speed.of_leg is None else speed.of_leg.whole
    if isinstance(air, AirThroughSplit) and table["valves"] < len(air.legs):
        return LeftOut(f"the port has {len(air.legs)} legs, and  valves  of [engine] is {table['valves']}")
    return Recorded(demand(air, engine_of(table), max_lift_mm=table["max_lift"], power=power).to_dict())


def beside_today(given: StepInputs) -> Recorded | LeftOut:
    """Return what the plan does to the peak of the air's speed."""
    today, planned = given.needs["today"], given.needs["planned"]
    for speed in (today, planned):
        if isinstance(speed, LeftOut):
            return speed
    cut: Cut = given.needs["plan"]
    return Recorded(beside(today.air, planned.air, cut=cut.planned).to_dict())
