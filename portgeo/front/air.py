"""Air through a port: where it must be fast, the flow bench, what an engine asks.

Ports, flows and bench sheets come in; results go out. An ideal flow: no bench, and no full viscous simulation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import overload

import numpy as np

from portgeo.core.errors import InputError, naming
from portgeo.core.port import Port
from portgeo.core.split import SplitPort
from portgeo.core.triangles import volume
from portgeo.core.units import M3_S_PER, PA_PER, Display, LengthUnit
from portgeo.files.bench import read_bench
from portgeo.flow.airspeed import air_speed as air_along
from portgeo.flow.airspeed import beside as beside_of
from portgeo.flow.bench import Run as Run
from portgeo.flow.bench import cfm_at_28, flow_through, inlet_coefficient
from portgeo.flow.demand import Engine as Engine
from portgeo.flow.demand import Power, check_engine, power_range
from portgeo.flow.demand import demand as demand_of
from portgeo.flow.demand import names_exhaust as names_exhaust
from portgeo.flow.path import Path as AirPath
from portgeo.flow.path import join, path_of
from portgeo.flow.sense import check_flow
from portgeo.flow.split_air import UNKNOWNS as SPLIT_UNKNOWNS
from portgeo.flow.split_air import split_air
from portgeo.flow.valve import Valve as Valve
from portgeo.flow.valve import check_valve, with_port_throat
from portgeo.flow.wall import UNKNOWNS
from portgeo.front.given import count_given, number_given, of_one_passage, port_given, size_given
from portgeo.measuring import Survey
from portgeo.measuring import survey as survey_port
from portgeo.results.air import AirThrough, Beside
from portgeo.results.benched import Benched
from portgeo.results.demanded import Demanded
from portgeo.results.measured import Measured
from portgeo.results.planned import Planned
from portgeo.results.split_air import AirThroughSplit, air_through_split

SHARES_OFF = 0.005  # from 1 in all: shares are typed with two or three figures


@overload
def air_speed(
    port: SplitPort,
    cfm: float | None = None,
    *,
    bench: Benched | None = None,
    run: str | Run | None = None,
    lift_mm: float | None = None,
    depression_in_h2o: float = 28.0,
    shares: Mapping[str, float] | None = None,
    surveys: Sequence[Measured] | None = None,
    unknowns: int | None = None,
) -> AirThroughSplit: ...
@overload
def air_speed(
    port: Port,
    cfm: float | None = None,
    *,
    bench: Benched | None = None,
    run: str | Run | None = None,
    lift_mm: float | None = None,
    depression_in_h2o: float = 28.0,
    runner: Port | None = None,
    one_frame: bool = False,
    valve_mm: float | None = None,
    surveys: Sequence[Measured] | None = None,
    unknowns: int | None = None,
) -> AirThrough: ...
def air_speed(
    port: Port | SplitPort,
    cfm: float | None = None,
    *,
    bench: Benched | None = None,
    run: str | Run | None = None,
    lift_mm: float | None = None,
    depression_in_h2o: float = 28.0,
    runner: Port | None = None,
    one_frame: bool = False,
    valve_mm: float | None = None,
    shares: Mapping[str, float] | None = None,
    surveys: Sequence[Measured] | None = None,
    unknowns: int | None = None,
) -> AirThrough | AirThroughSplit:
    """Return where the air must be fast at a flow: an ideal flow, no bench and no full viscous simulation.

    Parameters
    ----------
    port : from `read` or `port_from_rows`; or from `read_split`, of which all passages are solved together.
    cfm : flow, cubic feet of air at rest a minute; or the flow is that of
    bench, run, lift_mm : a run of what `bench` gives, or its state or set-up, at a lift (its best without one).
    depression_in_h2o : under which it was flowed, or a run is corrected to, inches of water.
    runner, one_frame : a manifold runner bolted to the entry; whether both files share one frame, else the runner's
        centreline goes on in the port's.
    valve_mm : diameter of the head of its one valve, where that is known.
    shares : of a port that splits, how much of the flow goes through each leg, 0 to 1 by name; one may be left out.
        Without it the legs share the flow as an ideal one does that has one mean potential at all their exits.
    surveys : of runner and port, or of trunk and legs, from `survey`, where they are at hand: they tell how sure the
        shape is. With none, (), of a port that is not cut yet, the peaks have no ±.
    unknowns : at how many points the flow is solved, in each passage; more take longer.

    Raises
    ------
    InputError : without a flow, or for one that no air can make. GeometryError : where no grid can be laid.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> air = pg.air_speed(pg.port_from_rows(bore), cfm=100, unknowns=2000)
    >>> round(air.highest.peak_over_mean, 2)
    1.0
    """
    if isinstance(port, SplitPort):
        of_one_passage({"runner": runner, "one_frame": one_frame or None, "valve_mm": valve_mm}, "pg.air_speed")
    else:
        port = port_given(port)
        runner = None if runner is None else port_given(runner, "runner")
    if cfm is not None:
        number_given(cfm, "cfm")
    count_given(unknowns, 1, "unknowns")
    size_given(valve_mm, "valve_mm")
    depression = depression_in_h2o * PA_PER["in_h2o"]
    if (cfm is None) == (bench is None):
        what = "there is no flow" if bench is None else "a flow and a bench sheet are both given"
        raise InputError(what, hint="Give cfm, or a run of a bench sheet")
    pulled, flow = None, (cfm or 0.0) * M3_S_PER["cfm"]
    if bench is not None:
        with naming(str(bench.source["file"])):
            pulled = run if isinstance(run, Run) else bench.run(run)
            flow = flow_through(pulled, lift_mm, depression, port.display)
    check_flow(flow, depression)

    def surveyed(ports: Sequence[Port]) -> list[Survey]:
        return [survey_port(each) for each in ports] if surveys is None else [each.computed for each in surveys]

    if isinstance(port, SplitPort):
        through = split_air(
            port, flow, depression, shares=None if shares is None else _shares_of(port, shares),
            surveys=surveyed([passage.port for passage in port.passages]), unknowns=unknowns or SPLIT_UNKNOWNS,
        )  # fmt: skip
        return air_through_split(through, pulled)
    if shares is not None:
        raise InputError("this port has no legs to share the flow", where="shares", hint="Leave it out")
    found = air_along(
        _path(runner, port, one_frame), flow, depression, unknowns=unknowns or UNKNOWNS, display=port.display,
        surveys=surveyed([port] if runner is None else [runner, port]),
    )  # fmt: skip
    return AirThrough.of(found, port, valve_mm, pulled)


def _shares_of(port: SplitPort, given: Mapping[str, float]) -> list[float]:
    """Return the legs' shares in their order, that of one left out being what the others leave."""
    names = {leg.name.casefold(): leg.name for leg in port.legs}
    shares: dict[str, float] = {}
    for name, share in given.items():
        number_given(share, "shares")
        if str(name).casefold() not in names:
            hint = f"Its legs are {', '.join(names.values())}"
            raise InputError(f"there is no leg {str(name)[:40]!r}", where="shares", hint=hint)
        if not 0.0 < share < 1.0:
            hint = "Give what part of the flow goes through it, such as 0.55"
            raise InputError(f"{share:g} is not a share for leg {name}", where="shares", hint=hint)
        shares[names[str(name).casefold()]] = float(share)
    rest = 1.0 - sum(shares.values())
    missing = [name for name in names.values() if name not in shares]
    if len(missing) > 1:
        hint = f"Give all but one: {', '.join(missing[:-1])} too"
        raise InputError(f"the shares of {' and '.join(missing)} are not given", where="shares", hint=hint)
    if missing and rest > 0.0:
        shares[missing[0]] = rest
    elif missing or abs(rest) > SHARES_OFF:
        what = f"the legs' shares come to {sum(shares.values()):g}"
        raise InputError(what, where="shares", hint="Together they are 1: all that goes in comes out")
    total = sum(shares.values())
    return [shares[leg.name] / total for leg in port.legs]


def _path(runner: Port | None, port: Port, one_frame: bool) -> AirPath:
    if runner is None:
        return path_of(port)
    return join(runner, port, port.frame @ np.linalg.inv(runner.frame) if one_frame else None)


def beside(today: AirThrough, planned: AirThrough, *, cut: Planned | None = None) -> Beside:
    """Return what a planned port does to the peak of the air's speed, for the metal that comes out.

    Parameters
    ----------
    today, planned : from `air_speed`, at one flow.
    cut : from `plan`, where there is one: the metal is then as it tells, else the difference of both ports' volumes.

    Examples
    --------
    >>> import portgeo as pg
    >>> bores = [[{"station": s, "shape": "round", "diameter": d} for s in (0, 50, 100)] for d in (40, 42)]
    >>> small, large = (pg.air_speed(pg.port_from_rows(bore), cfm=100, unknowns=2000) for bore in bores)
    >>> pg.beside(small, large).peak_drop_m_s > 0.0
    True
    """
    ports = [air.computed.path.ports[-1] for air in (today, planned)]
    if cut is None:
        before, after = (volume(port.vertices, port.faces) for port in ports)
    else:
        before = cut.computed.volume_before
        after = before + cut.computed.removed - cut.computed.added
    drop = beside_of(today.computed, planned.computed, before, after)
    return Beside.of(planned.computed, ports[1].source, drop)


def bench(
    runs: str | Path | Benched,
    *,
    depression_in_h2o: float = 28.0,
    valve: Valve | Sequence[Valve | None] | None = None,
    units: LengthUnit | None = None,
    name: str | None = None,
) -> Benched:
    """Return the runs of a flow bench at one depression, each with its changes and against its valve.

    Parameters
    ----------
    runs : a bench sheet (csv, xlsx, xls, ods), or what this gave of one, to be seen against a valve.
    depression_in_h2o : inches of water that flows are corrected to: they go as its square root.
    valve : from `valve`, where it is known; or one for each run.
    units : "in" or "mm", in which lifts are told; the sheet's own by default.
    name : of the sheet in records and refusals, where it is not its path.

    Raises
    ------
    InputError : what is wrong, in which file, where in it, and what to do.

    Examples
    --------
    >>> import portgeo as pg
    >>> runs = pg.bench("meshes/demo-bench.csv").bench
    >>> bool(runs[-1].flow_cfm.max() > runs[0].flow_cfm.max())
    True
    """
    if isinstance(runs, Benched):
        pulled, source, display = runs.runs, runs.source, runs.display
    else:
        with naming(name or str(runs)):
            sheet = read_bench(runs)
        pulled, source = sheet.runs, {"file": name or str(runs), "sha256": sheet.sha256}
        display = Display(units or sheet.unit)
    valves = valve if isinstance(valve, Sequence) else [valve] * len(pulled)
    return Benched.of(pulled, depression_in_h2o * PA_PER["in_h2o"], valves, source, display)


def valve(
    head_mm: float,
    throat_mm: float | None = None,
    *,
    stem_mm: float = 0.0,
    seat_angle_deg: float = 45.0,
    seat_width_mm: float = 1.5,
    valves: int = 1,
    over: AirThrough | Measured | None = None,
) -> Valve | None:
    """Return a valve on its seat, to see a bench's runs against.

    Parameters
    ----------
    head_mm, throat_mm, stem_mm : diameters.
    seat_angle_deg, seat_width_mm : of the face from the plane of the head, and measured radially.
    valves : how many alike open together.
    over : from `air_speed` or `survey`: without `throat_mm` the valve has the throat that this port was measured to
        have. None is returned where that cannot be such a valve's.

    Raises
    ------
    InputError : where the sizes contradict each other.

    Examples
    --------
    >>> import portgeo as pg
    >>> intake = pg.valve(42.7, 37.3, stem_mm=7)
    >>> bool(pg.bench("meshes/demo-bench.csv", valve=intake).bench[0].on_curtain.max() < 1.0)
    True
    """
    if throat_mm is None and over is None:
        raise InputError(
            "the valve's throat is not given", where="throat_mm",
            hint="Give throat_mm, its diameter; or over, a survey of the port that has it",
        )  # fmt: skip
    given = Valve(head_mm, throat_mm or 0.0, stem_mm, math.radians(seat_angle_deg), seat_width_mm, valves)
    found = given if over is None or throat_mm is not None else with_port_throat(given, over.computed.throat)
    if found is not None:
        check_valve(found)
    return found


def engine(
    bore_mm: float,
    stroke_mm: float,
    rpm: float,
    valve_mm: float,
    *,
    valves: int = 1,
    rod_mm: float | None = None,
    cylinders: int = 1,
) -> Engine:
    """Return an engine, to see what it asks of its ports.

    Parameters
    ----------
    bore_mm, stroke_mm, rod_mm : bore, stroke and connecting rod from center to center (None: a long one).
    rpm : revolutions a minute.
    valve_mm, valves : diameter of an intake valve's head, and how many a cylinder has.
    cylinders : how many.

    Raises
    ------
    InputError : where such an engine cannot be.

    Examples
    --------
    >>> import portgeo as pg
    >>> pg.engine(87.4, 77.7, 7800, 42.7, cylinders=4).cylinders
    4
    """
    rod = None if rod_mm is None else rod_mm / 1000.0
    found = Engine(bore_mm / 1000.0, stroke_mm / 1000.0, rpm / 60.0, cylinders, valve_mm / 1000.0, valves, rod)
    check_engine(found)
    return found


def flow_of(bench: Benched, run: Run, lift_mm: float | None = None) -> float:
    """Return what a run flows at a lift, cfm at the bench's one depression; its best without a lift."""
    with naming(str(bench.source["file"])):
        return flow_through(run, lift_mm, bench.depression, bench.display) / M3_S_PER["cfm"]


def demand(
    air: AirThrough | AirThroughSplit, engine: Engine, *, max_lift_mm: float | None = None, power: bool = False
) -> Demanded:
    """Return what an engine asks of an intake port, and the power that the flow through it could feed.

    Inlet Mach index: C. F. Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 1; from memory.

    Parameters
    ----------
    air : from `air_speed`: of a run on the bench the flow coefficient is its own, else the trade's usual. Of a port
        that splits it is the whole one's, and the engine has a valve for each leg.
    engine : from `engine`.
    max_lift_mm : greatest valve lift, for the mean coefficient of a run (its own greatest by default).
    power : whether to estimate power, by two rules of thumb of the trade.

    Raises
    ------
    InputError : where the sizes are no engine's, or its valves fewer than the port's legs.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> air = pg.air_speed(pg.port_from_rows(bore), cfm=100, unknowns=2000)
    >>> round(pg.demand(air, pg.engine(87.4, 77.7, 7800, 42.7)).mean_piston_speed_m_s, 1)
    20.2
    """
    if isinstance(air, AirThroughSplit) and engine.valves < len(air.legs):
        raise InputError(
            f"the port has {len(air.legs)} legs, and the engine's valves to a cylinder are {engine.valves}",
            hint="Give the valves of one kind that a cylinder has; of a port that two cylinders share take one leg",
        )
    coefficient = inlet_coefficient(engine, air.run, max_lift_mm if air.run else None)
    asked, estimate = demand_of(engine, air.computed.air.sound, coefficient), None
    if power:
        at_28 = cfm_at_28(air.computed.flow, air.computed.depression)
        estimate = Power(*power_range(at_28, engine.cylinders), at_28, _flow_named(air.run))
    return Demanded.of(asked, estimate, engine)


def _flow_named(run: Run | None) -> str:
    """Return whose flow it is, and whether a manifold's loss is in it."""
    if run is None:
        return "the flow that was given"
    return f"bench run '{run.name}'" + (": the manifold's loss is in it" if run.manifold_on else "")
