"""The steps on flow: the bench sheet, air speed of a state, the engine's demand, today beside the plan.

What each is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from portgeo.app.job.results import Cut, Given, LeftOut, Part, Sped, Told
from portgeo.core.errors import InputError, PortgeoError, naming
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.files.bench import BenchFile, read_bench
from portgeo.flow.airspeed import air_speed, beside
from portgeo.flow.bench import Run, flow_named, flow_through, inlet_coefficient, manifold_on, run_named
from portgeo.flow.demand import Engine
from portgeo.flow.path import join, path_of
from portgeo.flow.valve import Valve, check_valve, with_port_throat
from portgeo.front.air import demand_on
from portgeo.measuring.throat import Throat
from portgeo.present.pictures.speed import painted
from portgeo.results.air import Beside, air_through
from portgeo.results.benched import benched as runs_on_bench

# What is said of a run's flow that is put through runner and port, by whether the manifold was on.
THROUGH_RUNNER = {
    True: ", through runner and port, as it was flowed",
    False: ", put through runner and port, though flowed without the manifold: with it on, less would flow",
    None: ", through runner and port; the bench sheet does not say whether the manifold was on",
}


def benched(given: Given) -> Told:
    """Return the runs of the bench sheet and their chart."""
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.speed import bench_figure

    bench = _bench(given)
    depression = given.settings["depression"] * PA_PER["in_h2o"]
    valves = [valve_of(given.settings["valve"], throat) for throat in _throats(given, bench)]
    display = Display(given.settings["units"])
    record = runs_on_bench(bench.runs, depression, valves, {}, display).to_dict()["bench"]
    return Told(record, png(bench_figure(bench.runs, depression, display)))


def _bench(given: Given) -> BenchFile:
    with naming(given.names["bench"]):
        return read_bench(given.paths["bench"])


def _throats(given: Given, bench: BenchFile) -> list[Throat | None]:
    """Return the throat of the port as each run flowed it, None where a run is of no state of the job."""
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
    found = {k: given.needs[f"survey {k}"].survey.throat for k in set(state_of.values())}
    return [found.get(state_of.get(n, -1)) for n in range(len(bench.runs))]


def valve_of(table: Mapping[str, Any] | None, throat: Throat | None = None) -> Valve | None:
    """Return the valve that a job's engine has, None where its head or its throat is not known.

    throat : the port's in the state that is flowed. It counts where a row is marked so, or where the engine gives
    none. Raises InputError where the engine's sizes contradict each other.
    """
    if table is None:
        return None
    angle, typed = float(np.radians(table["seat_angle_deg"])), table["throat"]
    valve = Valve(table["valve"], typed or 0.0, table["stem"], angle, table["seat_width"], int(table["valves"]))
    over_port = None
    if throat is not None and (typed is None or throat.told_by == "mark"):
        over_port = with_port_throat(valve, throat)
    if over_port is None and typed is None:
        return None
    check_valve(over_port or valve)
    return over_port or valve


def engine_of(table: Mapping[str, Any]) -> Engine:
    """Return the engine of a job's table, in metres and revolutions a second."""
    bore, stroke, valve = (table[name] / 1000.0 for name in ("bore", "stroke", "valve"))
    rod = None if table["rod"] is None else table["rod"] / 1000.0
    return Engine(bore, stroke, table["rpm"] / 60.0, table["cylinders"] or 1, valve, table["valves"], rod)


def run_of(bench: BenchFile | None, run: str | None, state: str, runner: bool = False) -> Run | None:
    """Return the run of a state: the one it names, else the one whose state has its name.

    runner : whether the air goes through the state's runner too; of several runs the one then counts that
    has the manifold on, else the one that has not. Raises InputError where the one it names is not there.
    """
    if bench is None:
        return None
    if run is not None:
        try:
            return run_named(bench.runs, run)
        except InputError as refusal:
            mend = refusal.mend.replace("--run", "bench_run")
            raise InputError(refusal.what, mend=mend, where=f"the bench_run of '{state}'") from None
    named = [run for run in bench.runs if run.state.casefold() == state.strip().casefold()]
    if len(named) > 1:
        named = [run for run in named if bool(manifold_on(run)) == runner]
    return named[0] if len(named) == 1 else None


def sped(given: Given) -> Sped | LeftOut:
    """Return the air speed of a state or of a plan's port, through its runner where it has one."""
    settings = given.settings
    source = given.needs["part"]
    part: Part = source if isinstance(source, Part) else source.part
    runner: Part | None = given.needs.get("runner")
    display, depression = Display(settings["units"]), settings["depression"] * PA_PER["in_h2o"]
    told = _flow(given, display, depression, runner is not None)
    if told is None:
        why = f"the bench sheet has no run of '{settings['state']}' alone, and [bench] gives no flow_cfm"
        return LeftOut(f"{why}; name the run with  bench_run = ...  in its [[state]]")
    flow, note, flow_of = told
    # A planned port is computed: how sure it is to be cut so nobody knows, and its peak has no ±.
    measured = [given.needs.get(name) for name in ("runner survey", "survey")]
    surveys = [one.survey for one in measured if one is not None]
    path = path_of(part.port) if runner is None else join(runner.port, part.port)
    try:
        result = air_speed(path, flow, depression, display=display, surveys=surveys)
    except PortgeoError as refusal:
        raise refusal.in_file(part.port.source["file"]) from None
    record = air_through(result, part.port).to_dict()
    over_runner = None
    if runner is not None:
        pose = path.poses[0]
        over_runner = painted(result, runner.skin.vertices @ pose[:3, :3].T + pose[:3, 3])
    return Sped(result, record, note, flow_of, painted(result, part.skin.vertices), over_runner)


def _flow(given: Given, display: Display, depression: float, runner: bool) -> tuple[float, str, str] | None:
    """Return the flow, m3/s, where it is from, at length and in short; None where there is none.

    runner : the air goes through one.
    """
    settings = given.settings
    bench = _bench(given) if "bench" in given.paths else None
    with naming(given.names.get("bench", "")):
        run = run_of(bench, settings["run"], settings["state"], runner)
        if run is not None:
            flow = flow_through(run, settings["lift"], depression, display)
            at = "its best flow" if settings["lift"] is None else f"at a lift of {display.length(settings['lift'])}"
            note = f"{_cfm(flow, depression)}: bench run '{run.name}', {at}"
            return flow, note + (THROUGH_RUNNER[manifold_on(run)] if runner else ""), flow_named(run)
    if settings["flow_cfm"] is None:
        return None
    flow = settings["flow_cfm"] * M3_S_PER["cfm"]
    note = f"{_cfm(flow, depression)}: the flow that the job gives{', through runner and port' if runner else ''}"
    return flow, note, "the flow that the job gives"


def _cfm(flow: float, depression: float) -> str:
    return f"{flow / M3_S_PER['cfm']:.1f} cfm at {depression / PA_PER['in_h2o']:g} inH2O"


def demanded(given: Given) -> Told | LeftOut:
    """Return what the engine asks of its port, and the power that the last state's flow could feed."""
    speed: Sped | LeftOut = given.needs["speed"]
    if isinstance(speed, LeftOut):
        return LeftOut(f"there is no flow of the last state: {speed.why}")
    table = given.settings["engine"]
    engine = engine_of(table)
    bench = _bench(given) if "bench" in given.paths else None
    run = run_of(bench, given.settings["run"] or None, given.settings["state"])
    coefficient = inlet_coefficient(engine, run, table["max_lift"])
    flow_of = None if table["cylinders"] is None else speed.flow_of
    return Told(demand_on(speed.result, engine, coefficient, flow_of).to_dict())


def beside_today(given: Given) -> Told | LeftOut:
    """Return what the plan does to the peak of the air speed."""
    today, planned = given.needs["today"], given.needs["planned"]
    for speed in (today, planned):
        if isinstance(speed, LeftOut):
            return speed
    cut: Cut = given.needs["plan"]
    plan = cut.planned.computed  # the cut's own volumes, as the cut sheet gives them
    drop = beside(today.result, planned.result, plan.volume_before, plan.volume_before + plan.removed - plan.added)
    return Told(Beside.of(planned.result, cut.part.port.source, drop).to_dict())
