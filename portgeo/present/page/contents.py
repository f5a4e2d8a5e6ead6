"""What stands in each table of a report: rows out of the records of its steps.

Results come in; tables by name go out, for whatever the job has. They are the one source of the page's
tables, of the CSV files and of the spreadsheet.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from portgeo.core.units import Display
from portgeo.present.page.tables import Column, Table, kind_of, number_of
from portgeo.present.text.compare import wall_removed

PLANNED_STATE = "planned"
STATION = Column("station", "Station", "length")


def tables_of(results: Mapping[str, Any]) -> dict[str, Table]:
    """Return every table that a report has, by name."""
    tables = _states(results)
    for part, state, record in surveys_of(results):
        tables.append(_schedule(part, state, record))
    for one in results["compare"]:
        tables += _compared(one)
    for state, record in speeds_of(results):
        tables.append(_speed(state, record))
    if results["bench"]:
        tables.append(_bench(results["bench"]))
    if results["plan"]:
        tables += _plan(results["plan"]["record"])
    if results["reach"]:
        tables.append(_reach(results["reach"]))
    for one in results["match"]:
        tables.append(_joint(one))
    if results["balance"]:
        tables += _balance(results["balance"])
    tables += [_warnings(results), _inputs(results)]
    found: dict[str, Table] = {}
    for table in tables:
        name, k = table.name, 2
        while name in found:  # two states whose names differ in signs alone
            name, k = f"{table.name}-{k}", k + 1
        found[name] = Table(name, table.caption, table.columns, table.rows)
    return found


def results_tables(results: Mapping[str, Any], display: Display) -> list[tuple[str, list[str], list[list[Any]]]]:
    """Return every table of a report as name, keys and rows in the user's unit, for CSV and spreadsheets."""
    found = []
    for table in tables_of(results).values():
        kinds = [kind_of(column.kind, display) for column in table.columns]
        keys = [column.key + kind.suffix for column, kind in zip(table.columns, kinds, strict=True)]
        rows = [[number_of(v, k) for v, k in zip(row, kinds, strict=True)] for row in table.rows]
        found.append((table.name, keys, rows))
    return found


def slug(name: str) -> str:
    """Return a name as a file's: letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "state"


def surveys_of(results: Mapping[str, Any]) -> list[tuple[str, str, Mapping[str, Any]]]:
    """Return part, state and measure record of everything measured, the planned port last."""
    found = [
        (part, state["name"], state[part])
        for part in ("port", "runner")
        for state in results["states"]
        if state.get(part)
    ]
    if results["plan"]:
        found.append(("port", PLANNED_STATE, results["plan"]["planned"]))
    return found


def speeds_of(results: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    """Return state and air-speed record, the planned port last."""
    found = [(state["name"], state["airspeed"]) for state in results["states"] if state.get("airspeed")]
    if results["plan"] and results["plan"].get("airspeed"):
        found.append((PLANNED_STATE, results["plan"]["airspeed"]))
    return found


def _two(u: Any) -> Any:
    return 2.0 * u if u else None


def _no_doubt(_u: Any) -> None:
    return None


def _states(results: Mapping[str, Any]) -> list[Table]:
    columns = (
        Column("state", "State", "text"),
        Column("part", "Part", "text"),
        Column("date", "Date", "text"),
        Column("volume", "Volume", "volume"),
        Column("volume_doubt", "±", "volume"),
        Column("least_area", "Least area", "area"),
        Column("least_area_doubt", "±", "area"),
        Column("least_area_station", "at station", "length"),
        Column("throat", "Throat", "length"),
        Column("throat_of_valve", "of the valve", "percent"),
        Column("length", "Length", "length"),
    )
    side_columns = (
        *columns[:2],
        Column("radius", "Radius", "length"),
        Column("radius_doubt", "±", "length"),
        Column("tightest", "tightest", "length"),
        Column("tightest_doubt", "±", "length"),
        Column("go_by", "go by", "text"),
        Column("from_station", "from station", "length"),
        Column("to_station", "to station", "length"),
        Column("turn", "turns", "angle"),
    )
    dates = {state["name"]: state.get("date") for state in results["states"]}
    rows: list[tuple[Any, ...]] = []
    sides: list[tuple[Any, ...]] = []
    for part, state, record in surveys_of(results):
        least = record["least_area"]
        # A runner ends in none.
        throat = record["throat"] if part == "port" else {"diameter_mm": None, "percent_of_valve": None}
        # A planned port is computed: it has no doubt to tell.
        told = _no_doubt if record is (results["plan"] or {}).get("planned") else _two
        rows.append(
            (
                state, part, str(dates.get(state) or ""), record["volume_cc"], told(record["volume_u_cc"]),
                least["area_mm2"], told(least["area_u_mm2"]), least["station_mm"],
                throat["diameter_mm"], throat["percent_of_valve"], record["length_mm"],
            )
        )  # fmt: skip
        bends = record["bends"]
        for k, side in enumerate(bends):
            name = part if len(bends) == 1 else f"{part}, bend {k + 1}"
            sides.append(
                (
                    state, name, side["radius_mm"], told(side["radius_u_mm"]), side["least_radius_mm"],
                    told(side["least_radius_u_mm"]), side["headline"]["name"],
                    side["station_from_mm"], side["station_to_mm"], side["turn_deg"],
                )
            )  # fmt: skip
    found = [Table("states", "All states in figures", columns, tuple(rows))]
    return (
        [*found, Table("short-side", "The short side of every state", side_columns, tuple(sides))] if sides else found
    )


def _schedule(part: str, state: str, record: Mapping[str, Any]) -> Table:
    columns = (
        STATION,
        Column("area", "Area", "area"),
        Column("area_doubt", "±", "area"),
        Column("height", "Height", "length"),
        Column("width", "Width", "length"),
        Column("corner", "Corner", "length"),
        Column("hydraulic_diameter", "Hydraulic diameter", "length"),
        Column("cone_angle", "Cone", "angle"),
    )
    keys = ("height_mm", "width_mm", "corner_radius_mm", "hydraulic_diameter_mm", "cone_angle_deg")
    rows = tuple(
        (s["station_mm"], s["area_mm2"], _two(s["area_u_mm2"]), *(s[key] for key in keys)) for s in record["stations"]
    )
    return Table(f"schedule-{part}-{slug(state)}", f"Area schedule of the {part}, {state}", columns, rows)


def _compared(one: Mapping[str, Any]) -> list[Table]:
    record, pair = one["record"], f"{one['before']} to {one['after']}"
    columns = (
        STATION,
        Column("area_before", "before", "area", "Area"),
        Column("area_after", "after", "area", "Area"),
        Column("change", "change", "area", "Area"),
        Column("change", "change", "percent", "Area"),
        *(Column(f"depth_{wall}", wall, "length", "Depth of cut") for wall in ("roof", "floor", "left", "right")),
    )
    keys: tuple[str, ...] = ("station_mm", "before_mm2", "after_mm2", "change_mm2", "change_percent")
    keys += tuple(f"depth_{wall}_mm" for wall in ("roof", "floor", "left", "right"))
    rows = tuple(tuple(s[key] for key in keys) for s in record["stations"])
    walls = tuple(
        (name.replace("_", " "), w["mean_mm"], w["max_mm"], wall_removed(w["removed_cc"], w["removed_u_cc"]))
        for name, w in record["walls"].items()
    )
    wall_columns = (
        Column("wall", "Wall", "text"),
        Column("mean_depth", "Mean depth", "length"),
        Column("deepest", "Deepest", "length"),
        Column("removed", "Removed", "volume"),
    )
    name = f"{one['part']}-{slug(one['before'])}-{slug(one['after'])}"
    return [
        Table(f"change-{name}", f"Change by station, {one['part']}, {pair}", columns, rows),
        Table(f"walls-{name}", f"Cut by wall, {one['part']}, {pair}", wall_columns, walls),
    ]


def _speed(state: str, record: Mapping[str, Any]) -> Table:
    columns = (
        STATION,
        Column("area", "Area", "area"),
        Column("mean_speed", "Flow over area", "speed"),
        Column("mean_speed_isentropic", "Mean speed", "speed"),
        Column("mach", "Mach", "mach"),
        Column("short_side_over_mean", "short side", "ratio", "Wall speed over mean"),
        Column("long_side_over_mean", "long side", "ratio", "Wall speed over mean"),
        Column("highest_over_mean", "highest", "ratio", "Wall speed over mean"),
    )
    keys: tuple[str, ...] = ("station_mm", "area_mm2", "mean_speed_m_s", "mean_speed_isentropic_m_s", "mach")
    keys += ("short_side_over_mean", "long_side_over_mean", "highest_over_mean")
    rows = tuple(tuple(s[key] for key in keys) for s in record["stations"])
    return Table(f"speed-{slug(state)}", f"Air speed, {state}", columns, rows)


def run_name(run: Mapping[str, Any]) -> str:
    """Return what a bench run is called: its state, and its set-up where it has one."""
    return f"{run['state'] or 'run'}{', ' + run['setup'] if run['setup'] else ''}"


def best_flows(results: Mapping[str, Any]) -> list[tuple[Mapping[str, Any], float, float]]:
    """Return each bench run with its best flow (cfm) and the lift (mm) of it."""
    found = []
    for run in results["bench"] or ():
        flow, lift = max(zip(run["flow_cfm"], run["lift_mm"], strict=True), key=lambda pair: pair[0])
        found.append((run, flow, lift))
    return found


def compared_flows(results: Mapping[str, Any]) -> list[tuple[Mapping[str, Any], float, float]]:
    """Return the best flow of the last state, after that of the first with the same set-up where there is one."""
    flows = best_flows(results)
    last_state = results["states"][-1]
    # A sheet that names no state is of the port as it is.
    now = [flow for flow in flows if not flow[0]["state"] or is_run_of(flow[0], last_state)]
    for last in reversed(now):
        for first in flows:
            if first[0]["setup"] == last[0]["setup"] and first[0]["state"] != last[0]["state"]:
                return [first, last]
    return now[-1:]


def is_run_of(run: Mapping[str, Any], state: Mapping[str, Any]) -> bool:
    """Return whether a bench run is of a state: the one that the state names, else one of the state's name."""
    asked = state.get("bench_run")
    if asked is not None:
        return asked.casefold() in run_name(run).casefold()
    return bool(run["state"].casefold() == state["name"].strip().casefold())


def alike_runs(results: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the bench runs of one set-up: the last state's that is compared, else the last run's."""
    runs = results["bench"] or []
    shown = [flow[0] for flow in compared_flows(results)] or runs
    return [run for run in runs if run["setup"] == shown[-1]["setup"]]


def run_names(runs: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the runs' names, without the set-up where one set-up is all there is."""
    if len({run["setup"] for run in runs}) == 1 and len({run["state"] for run in runs}) == len(runs):
        return [run["state"] or "run" for run in runs]
    return [run_name(run) for run in runs]


def _bench(runs: Sequence[Mapping[str, Any]]) -> Table:
    names = run_names(runs)
    lifts = sorted({round(lift, 6) for run in runs for lift in run["lift_mm"]})
    columns = [Column("lift", "Lift", "length")]
    values: list[dict[float, Any]] = []
    for name, run in zip(names, runs, strict=True):
        columns.append(Column(slug(name), name, "flow", "Flow"))
        values.append(_by_lift(run["lift_mm"], run["flow_cfm"]))
    for name, run in zip(names, runs, strict=True):
        change = run.get("change_from_first")
        if change:
            columns.append(Column(f"{slug(name)}_change", name, "percent", "Change from the first of its set-up"))
            values.append(_by_lift(change["lift_mm"], change["change_percent"]))
    for name, run in zip(names, runs, strict=True):
        if run.get("on_curtain"):
            columns.append(Column(f"{slug(name)}_on_curtain", name, "ratio", "Coefficient on the valve's curtain"))
            values.append(_by_lift(run["lift_mm"], run["on_curtain"]))
    for name, run in zip(names, runs, strict=True):
        if run.get("swirl"):
            columns.append(Column(f"{slug(name)}_swirl", name, "count", _swirl_heading(run)))
            values.append(_by_lift(run["lift_mm"], run["swirl"]))
    rows = tuple((lift, *(column.get(lift) for column in values)) for lift in lifts)
    return Table("flow", f"Flow at {runs[0]['depression_in_h2o']:g} inH2O", tuple(columns), rows)


def _swirl_heading(run: Mapping[str, Any]) -> str:
    """Return the heading of a run's swirl, which stands as it was read under flows corrected to one depression."""
    low, high = min(run["read_at_in_h2o"]), max(run["read_at_in_h2o"])
    return f"Swirl, as read at {low:.3g} inH2O" if f"{low:.3g}" == f"{high:.3g}" else "Swirl, as read"


def _by_lift(lift: Sequence[float], values: Sequence[Any]) -> dict[float, Any]:
    return {round(at, 6): value for at, value in zip(lift, values, strict=True)}


def _plan(record: Mapping[str, Any]) -> list[Table]:
    hours = [f"{hour:.0f}" for hour in record["clock_hours"]]
    take = (
        STATION,
        *(Column(f"take_{hour}_oclock", hour, "length", "Take, square to the wall, at o'clock") for hour in hours),
    )
    mic = (
        STATION,
        *(
            Column(f"{name.lower()}_{when}", when, kind, name)
            for name, kind in (("Height", "length"), ("Width", "length"), ("Area", "area"))
            for when in ("today", "then")
        ),
        Column("area_wanted", "wanted", "area", "Area"),
    )
    keys: tuple[str, ...] = ("station_mm", "height_before_mm", "height_after_mm", "width_before_mm", "width_after_mm")
    keys += ("area_before_mm2", "area_after_mm2", "area_wanted_mm2")
    stations = record["stations"]
    return [
        Table(
            "cut-micrometer",
            "What the micrometer reads today, and when it is right",
            mic,
            tuple(tuple(s[key] for key in keys) for s in stations),
        ),
        Table(
            "cut-depth",
            "Depth to take by station and clock position",
            take,
            tuple((s["station_mm"], *s["take_mm"]) for s in stations),
        ),
    ]


def _reach(one: Mapping[str, Any]) -> Table:
    share = one["record"]["share_of_wall"]
    columns = (Column("reached", "Reached", "text"), Column("share", "Share of the wall", "percent"))
    names = (
        ("both", "from both ends"),
        ("entry_only", "from the entry only"),
        ("exit_only", "from the exit only"),
        ("neither", "from neither end"),
    )
    rows = tuple((says, 100.0 * share[key]) for key, says in names)
    return Table("reach", f"What the burr reaches, {one['state']}", columns, rows)


def _joint(one: Mapping[str, Any]) -> Table:
    columns = (STATION, Column("area", "Area", "area"))
    rows = tuple((s["station_mm"], s["area_mm2"]) for s in one["record"]["stations"])
    return Table(f"joint-{slug(one['state'])}", f"One schedule through runner and port, {one['state']}", columns, rows)


def _balance(record: Mapping[str, Any]) -> list[Table]:
    flows = any(r["flow"] is not None for r in record["runners"])
    columns = (
        Column("runner", "Runner", "count"),
        Column("volume", "Volume", "volume"),
        Column("least_area", "Least area", "area"),
        Column("length", "Length", "length"),
        Column("off_mean", "Off the others' mean", "percent"),
        *((Column("flow", "Flow", "flow"),) if flows else ()),
        Column("hand", "Shape", "text"),
        Column("file", "File", "text"),
    )
    rows = tuple(
        (
            r["runner"], r["volume_cc"], r["least_area_mm2"], r["length_mm"], r["off_mean_percent"],
            *((r["flow"],) if flows else ()), "mirror of 1" if r["other_hand"] else "like 1", source["file"],
        )
        for r, source in zip(record["runners"], record["source"], strict=True)
    )  # fmt: skip
    count = len(record["runners"])
    by_station = (
        STATION,
        *(Column(f"area_{k + 1}", str(k + 1), "area", "Area of runner") for k in range(count)),
        Column("spread", "Spread", "percent"),
    )
    stations = tuple((s["station_mm"], *s["area_mm2"], s["spread_percent"]) for s in record["stations"])
    return [
        Table("balance", "The set, runner by runner", columns, rows),
        Table("balance-stations", "Areas of the set by station", by_station, stations),
    ]


def _warnings(results: Mapping[str, Any]) -> Table:
    columns = (Column("about", "About", "text"), Column("message", "Look at", "text"))
    rows = tuple((w["about"], w["message"]) for w in results["warnings"])
    return Table("warnings", "What to look at", columns, rows)


def _inputs(results: Mapping[str, Any]) -> Table:
    columns = (
        Column("file", "File", "text"),
        Column("what", "What it is", "text"),
        Column("sha256", "SHA-256", "text"),
    )
    rows = tuple((s["file"], s["what"], s["sha256"]) for s in results["source"])
    return Table("inputs", "Files that went in", columns, rows)
