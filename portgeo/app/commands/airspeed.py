"""airspeed: where the air must be fast, at a flow; bench runs; what an engine asks."""

from __future__ import annotations

import argparse
from os.path import basename
from typing import TYPE_CHECKING, Any

from portgeo.app.commands.common import (
    add_bend,
    add_common,
    add_scan,
    called,
    length_of,
    load_asked,
    load_port,
    naming,
    number_of,
    png_name,
)

if TYPE_CHECKING:
    from portgeo.core.port import Port
    from portgeo.core.units import Display
    from portgeo.front.air import Engine, Valve
    from portgeo.results.air import AirThrough
    from portgeo.results.benched import Benched
    from portgeo.results.split_air import AirThroughSplit

HELP = "air speed at a flow: where the wall drives it fast, where it is asked to slow too quickly"
EXAMPLE = """examples:
  portgeo airspeed port.csv --cfm 215
  portgeo airspeed port.csv --bench bench.csv --run "as cast" --picture speed.png --chart speed-by-station.png
  portgeo airspeed port.csv --cfm 215 --beside planned.csv
  portgeo airspeed two-valves.csv --cfm 210 --shares left=0.48
  portgeo airspeed port.csv --cfm 215 --runner runner.csv
  portgeo airspeed port.csv --cfm 215 --probe probe.csv
  portgeo airspeed port.csv --cfm 215 --bore 3.44in --stroke 3.06in --rpm 7800 --cylinders 4 --valve 1.68in
  portgeo airspeed --bench bench.csv --valve 1.68in --throat 1.47in --stem 7mm

It is an ideal flow through the measured shape: not a flow bench, and not a full viscous simulation."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of airspeed."""
    parser.add_argument("port", metavar="PORT", nargs="?", help="section sheet or mesh; may be left out with --bench")
    parser.add_argument("--cfm", metavar="F", help="flow through the port, cubic feet a minute")
    parser.add_argument("--depression", metavar="IN_H2O", help="bench depression, inches of water (28)")
    parser.add_argument("--bench", metavar="FILE", help="bench sheet (csv, xlsx, xls, ods): lift, flow, depression")
    parser.add_argument(
        "--run", dest="run_name", metavar="NAME", help="which run of the bench sheet, by stage or set-up"
    )
    parser.add_argument("--lift", metavar="LENGTH", help="take the run's flow at this lift (its best)")
    parser.add_argument(
        "--shares", metavar="NAME=S,...", help="of a port that splits: a leg's part of the flow, as left=0.48"
    )
    parser.add_argument("--probe", metavar="FILE", help="sheet of pitot readings in the port, set beside the flow")
    parser.add_argument("--beside", metavar="PLANNED", help="the planned port: does the peak come down")
    parser.add_argument("--runner", metavar="RUNNER", help="manifold runner bolted to the entry: one path through both")
    parser.add_argument(
        "--align",
        choices=("line", "none"),
        default="line",
        help="line: the runner's centerline goes on in the port's; none: both files share one frame",
    )
    parser.add_argument(
        "--points", metavar="N", type=int, help="how many points the flow is solved at (30000); more take longer"
    )
    engine = parser.add_argument_group("engine and valve (lengths as 1.68in, 42.7mm, or in the file's unit)")
    for name, says in (
        ("bore", "cylinder bore"), ("stroke", "stroke"), ("rod", "connecting rod, center to center"),
        ("valve", "valve head diameter"), ("throat", "throat diameter (the port's own)"), ("stem", "stem diameter"),
        ("seat-width", "seat width, measured radially (1.5mm)"),
    ):  # fmt: skip
        engine.add_argument(f"--{name}", metavar="LENGTH", help=says)
    engine.add_argument("--seat-angle", metavar="DEG", default="45", help="seat angle (45)")
    engine.add_argument(
        "--exhaust",
        action="store_true",
        help="the port is an exhaust's: its valve is at the entry, no power is estimated",
    )
    engine.add_argument("--rpm", metavar="N", help="engine speed, of intakes only")
    engine.add_argument("--cylinders", metavar="N", type=int, help="cylinders: an estimate of power, of an intake only")
    engine.add_argument(
        "--valves", metavar="N", type=int, default=1, help="how many such valves the run or the cylinder has (1)"
    )
    engine.add_argument("--max-lift", metavar="LENGTH", help="highest valve lift, for the mean flow coefficient")
    parser.add_argument(
        "--picture", metavar="FILE", type=png_name, help="write the port painted with speed over mean (png)"
    )
    parser.add_argument("--chart", metavar="FILE", type=png_name, help="write speed by station (png)")
    parser.add_argument(
        "--probe-chart", metavar="FILE", type=png_name, help="write the probe's readings over the computed speed (png)"
    )
    parser.add_argument("--bench-chart", metavar="FILE", type=png_name, help="write the bench curves (png)")
    add_bend(parser, exhaust=False)
    add_scan(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> None:
    """Solve and print."""
    from portgeo.core.errors import InputError
    from portgeo.files.disk import check_free
    from portgeo.front.air import bench as read_bench

    outputs = (args.json, args.csv, args.picture, args.chart, args.probe_chart, args.bench_chart)
    check_free(outputs, args.force, (args.port, args.bench, args.probe))
    if args.port is None and args.bench is None:
        raise InputError("there is neither a port nor a bench sheet", hint="Name a port, or a sheet with --bench")
    if args.cfm is not None and args.bench is not None:
        raise InputError("a flow is given with --cfm and with --bench", hint="Give one of the two")
    for name in ("run_name", "lift", "bench_chart"):
        if getattr(args, name) is not None and args.bench is None:
            option = "--" + name.removesuffix("_name").replace("_", "-")
            raise InputError(f"{option} needs a bench sheet", hint="Name it with --bench")
    if args.probe_chart is not None and args.probe is None:
        raise InputError("--probe-chart needs readings", hint="Name their sheet with --probe")
    _refuse_idle_options(args)
    bench = read_bench(args.bench, depression_in_h2o=_depression(args), units=args.units) if args.bench else None
    if args.port is not None:
        _through_port(args, bench)
        return
    assert bench is not None
    for name in ("picture", "chart", "beside", "runner", "probe", "csv"):
        if getattr(args, name):
            raise InputError(f"--{name} needs a port", hint="Name the port before the options")
    valve = _valve_of(args, bench.display)
    if args.run_name:
        with naming(args.bench):
            bench.run(args.run_name)
    _tell(args, {}, [], _against(args, bench, valve), bench.display)


def _refuse_idle_options(args: argparse.Namespace) -> None:
    """Refuse what says something of an engine or a valve that is not there."""
    from portgeo.core.errors import InputError

    engine = None not in (args.bore, args.stroke, args.rpm)
    # Of a bench's port the throat is measured.
    valve = args.valve is not None and (args.throat is not None or None not in (args.port, args.bench))
    for name, there, needs in (
        ("rod", engine, "--bore, --stroke and --rpm"),
        ("max_lift", engine and args.bench is not None, "--bench, --bore, --stroke and --rpm"),
        ("stem", valve, "--valve and --throat"),
        ("seat_width", valve, "--valve and --throat"),
    ):
        if getattr(args, name) is not None and not there:
            raise InputError(f"--{name.replace('_', '-')} does nothing by itself", hint=f"Give {needs} too")


def _through_port(args: argparse.Namespace, bench: Benched | None) -> None:
    from portgeo.core.errors import InputError
    from portgeo.core.port import Port
    from portgeo.files.disk import write_table_csv
    from portgeo.front.air import air_speed, beside, names_exhaust
    from portgeo.front.states import survey
    from portgeo.present.text.speed import NO_DEMAND, airspeed_text, beside_text
    from portgeo.present.text.throat import throat_notice

    picked = None
    if bench is not None:
        with naming(args.bench):
            picked = bench.run(args.run_name)
    cfm = _cfm(args) if picked is None else None
    args.exhaust = args.exhaust or names_exhaust(basename(args.port), "" if picked is None else picked.state)
    points = None if args.points is None else _points(args.points)
    port = load_asked(args.port, args)
    if not isinstance(port, Port):
        from portgeo.app.commands.airspeed_split import tell_split, through_split

        split = through_split(args, port, cfm, bench, _depression(args))
        record, texts = _demanded(args, split, _engine_of(args, port.display))
        _tell(args, split.to_dict() | record, tell_split(args, split) + texts, bench, port.display)
        return
    if args.shares:
        raise InputError("--shares is for a port that splits", file=args.port, hint="Leave it out")
    display = port.display
    engine, valve = _engine_of(args, display), _valve_of(args, display)
    runner = load_port(args.runner, args) if args.runner else None
    planned_port = load_port(args.beside, args) if args.beside else None
    head = _length(args, "valve", display) if args.valve is not None and args.valves == 1 else None

    def through(port: Port) -> AirThrough:
        return air_speed(
            port, cfm, bench=bench, run=args.run_name,
            lift_mm=None if args.lift is None else _length(args, "lift", display),
            depression_in_h2o=_depression(args), runner=runner, one_frame=args.align == "none", valve_mm=head,
            unknowns=points,
        )  # fmt: skip

    air = through(port)
    # A port that feeds several valves need not end in one throat.
    if valve is not None and args.valves == 1:
        marked = air.throat.from_ == "mark"
        told = throat_notice(valve.throat, air.throat.diameter_mm, marked=marked, counts="--throat")
        air = air.told_more([] if told is None else [told])
    if valve is None and bench is not None:
        valve = _over_port(args, air, display)
    if engine is not None and args.exhaust:
        air, engine = air.told_more([NO_DEMAND]), None
    port_name = called(basename(args.port), args)
    title = port_name if runner is None else f"{basename(args.runner)} and {port_name}"
    if picked is not None:
        title += f" ({picked.name}, {'best flow' if args.lift is None else 'lift ' + args.lift})"
    record, texts, shown = air.to_dict(), [airspeed_text(air, title)], [("this port", air.computed)]
    if args.probe:
        from portgeo.front.probing import probe
        from portgeo.present.text.probe import probe_text

        read = probe(air, args.probe, bench=bench, run=picked)
        texts.append(probe_text(read))
        record["probe"] = read.to_dict()
        if args.probe_chart:
            from portgeo.present.pictures.charts import save
            from portgeo.present.pictures.probe import probe_figure

            save(probe_figure(read), args.probe_chart, force=args.force)
    if planned_port is not None:
        planned = through(planned_port)
        found = beside(air, planned)
        texts.append(beside_text(air, planned, found, basename(args.beside)))
        record["beside"] = found.to_dict()
        shown = [("now", air.computed), ("planned", planned.computed)]
    demand_record, demand_texts = _demanded(args, air, engine)
    texts += demand_texts
    if args.csv:
        write_table_csv(args.csv, *air.stations.to_csv(display), force=args.force)
    if args.chart:
        from portgeo.present.pictures.charts import save
        from portgeo.present.pictures.speed import speed_figure

        save(speed_figure(shown, display), args.chart, force=args.force)
    _tell(args, record | demand_record, texts, bench and _against(args, bench, valve), display)
    if args.picture:
        from portgeo.present.pictures.speed import speed_picture

        speed_picture(air.computed, survey(port).computed, display, title, args.picture, force=args.force)


def _demanded(
    args: argparse.Namespace, air: AirThrough | AirThroughSplit, engine: Engine | None
) -> tuple[dict[str, Any], list[str]]:
    """Return what the engine asks, to be written and printed: nothing where none is given."""
    from portgeo.front.air import demand
    from portgeo.present.text.speed import demand_text

    if engine is None:
        return {}, []
    highest = _length(args, "max_lift", air.display) if args.max_lift else None
    asked = demand(air, engine, max_lift_mm=highest, power=args.cylinders is not None)
    return {"demand": asked.to_dict()}, [demand_text(asked, air)]


def _against(args: argparse.Namespace, bench: Benched, valve: Valve | None) -> Benched:
    """Return the runs seen against a valve."""
    from portgeo.front.air import bench as against

    return against(bench, depression_in_h2o=_depression(args), valve=valve)


def _tell(
    args: argparse.Namespace, record: dict[str, Any], texts: list[str], bench: Benched | None, display: Display
) -> None:
    """Write and print what was found, with the bench's runs where there are any."""
    from portgeo.files.disk import write_json

    if bench is not None:
        from portgeo.present.text.speed import bench_text

        texts = [*texts, bench_text(bench.runs, bench.depression, bench.valve, display)]
        runs = bench.to_dict()
        record = record | {"bench": runs["bench"], "bench_source": runs["source"]} if record else runs
    if args.json:
        write_json(args.json, record, force=args.force)
    if args.bench_chart and bench is not None:
        from portgeo.present.pictures.charts import save
        from portgeo.present.pictures.speed import bench_figure

        save(bench_figure(bench.runs, bench.depression, display), args.bench_chart, force=args.force)
    if not args.quiet:
        print("\n\n".join(texts))


def _cfm(args: argparse.Namespace) -> float:
    from portgeo.core.errors import InputError

    if args.cfm is None:
        raise InputError("there is no flow", hint="Give --cfm, or a bench sheet with --bench")
    return number_of(args, "cfm")


def _depression(args: argparse.Namespace) -> float:
    return 28.0 if args.depression is None else number_of(args, "depression")


def _engine_of(args: argparse.Namespace, display: Display) -> Engine | None:
    from portgeo.core.errors import InputError
    from portgeo.front.air import engine

    needed = ("bore", "stroke", "rpm", "valve")
    if args.bore is None and args.stroke is None and args.rpm is None:
        return None
    missing = [f"--{name}" for name in needed if getattr(args, name) is None]
    if missing:
        raise InputError(
            f"an engine's demand needs {', '.join(missing)} too", hint="Give bore, stroke, rpm and valve together"
        )
    bore, stroke, head = (_length(args, name, display) for name in ("bore", "stroke", "valve"))
    rod = _length(args, "rod", display) if args.rod else None
    cylinders = 1 if args.cylinders is None else args.cylinders
    return engine(bore, stroke, number_of(args, "rpm"), head, valves=args.valves, rod_mm=rod, cylinders=cylinders)


def _valve_of(args: argparse.Namespace, display: Display) -> Valve | None:
    """Return the valve that is given whole; the throat of a bench's port may be left out, and is then measured."""
    from portgeo.core.errors import InputError

    if args.valve is None or args.throat is None:
        alone = args.port is None or args.valves != 1
        if args.throat is not None or (alone and None not in (args.bench, args.valve) and args.bore is None):
            raise InputError("a valve needs --valve and --throat", hint="Give both, and --stem where it has one")
        return None
    return _valve_over(args, display, throat=_length(args, "throat", display))


def _over_port(args: argparse.Namespace, air: AirThrough, display: Display) -> Valve | None:
    """Return the valve over the port's own throat, None where none is given or the throat is not the valve's."""
    from portgeo.core.errors import InputError

    if args.valve is None:
        return None
    valve = _valve_over(args, display, air=air)
    if valve is None and args.bore is None:
        what = f"the port's throat of {display.length(air.throat.diameter_mm)} does not go with this valve"
        raise InputError(what, where="--valve", hint="Give the valve's with --throat, or check the valve and stem")
    return valve


def _valve_over(
    args: argparse.Namespace, display: Display, *, throat: float | None = None, air: AirThrough | None = None
) -> Valve | None:
    from portgeo.front.air import valve

    width = _length(args, "seat_width", display) if args.seat_width else 1.5
    stem = _length(args, "stem", display) if args.stem else 0.0
    return valve(
        _length(args, "valve", display), throat, stem_mm=stem, seat_angle_deg=number_of(args, "seat_angle"),
        seat_width_mm=width, valves=args.valves, over=air,
    )  # fmt: skip


def _length(args: argparse.Namespace, name: str, display: Display) -> float:
    return length_of(str(getattr(args, name)), display.unit, "--" + name.replace("_", "-"))


def _points(count: int) -> int:
    from portgeo.core.errors import InputError

    if not 1000 <= count <= 2_000_000:
        raise InputError(f"--points {count} is out of range", hint="Give a number from 1000 to 2000000")
    return count
