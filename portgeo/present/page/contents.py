"""What stands in each table of a report: rows out of the records of its steps.

Results come in; tables by name go out, for whatever the job has. They are the one source of the page's
tables, of the CSV files and of the spreadsheet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from portgeo.core.units import Display, clock_text
from portgeo.present.page.loss_rows import loss_table
from portgeo.present.page.set_tables import set_tables
from portgeo.present.page.split_tables import split_change_table, split_tables
from portgeo.present.page.tables import Table, columns_of, row_of, slug
from portgeo.present.text.compare import wall_removed
from portgeo.results.air import AirStations
from portgeo.results.changed import StationChanges, WallCut
from portgeo.results.figures import Column, Result, on_the_page, uncertainty_key
from portgeo.results.joined import JointStations
from portgeo.results.kinds import kind_of, number_of
from portgeo.results.measured import Measured, SideOfBend, Stations
from portgeo.results.planned import HOURS_TOLD, CutStations
from portgeo.results.reached import ShareOfWall

PLANNED_STATE, CALM_STATE = "planned", "calm cut"
OF_VALVE = "throat_of_valve"
NO_RADIUS = "calm_no_radius"  # told of `portgeo calm`: in a job the plan beside it cuts to the radius


def tables_of(results: Mapping[str, Any]) -> dict[str, Table]:
    """Return every table that a report has, by name."""
    tables = _states(results)
    for state in results["states"]:
        if state.get("split"):
            tables += split_tables(state["name"], state["split"])
    for part, state, record in surveys_of(results):
        tables.append(_schedule(part, state, record))
    for one in results["compare"]:
        tables += _compared(one)
        tables += [split_change_table(one)] if one["whole"] else []
    for state, record in speeds_of(results):
        tables.append(_speed(state, record))
    if results["bench"]:
        tables.append(_bench(results["bench"]))
    if results["plan"]:
        tables += _plan(results["plan"]["record"])
    if results.get("check"):
        tables.append(_left(results["check"]["record"]["stations"]))
    if results.get("probe"):
        tables.append(_probe(results["probe"]))
    if results.get("calm"):
        tables += _calm(results["calm"]["record"])
    if results.get("loss"):
        tables.append(loss_table(results["loss"]))
    if results["reach"]:
        tables.append(_reach(results["reach"]))
    for one in results["match"]:
        tables.append(_joint(one))
    if results["balance"]:
        tables += set_tables(results["balance"])
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
        keys = [column.key + kind.ending for column, kind in zip(table.columns, kinds, strict=True)]
        rows = [[number_of(v, k) for v, k in zip(row, kinds, strict=True)] for row in table.rows]
        found.append((table.name, keys, rows))
    return found


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


def _states(results: Mapping[str, Any]) -> list[Table]:
    named = (Column("state", "Stage", "text"), Column("part", "Part", "text"))
    dates = {state["name"]: state.get("date") for state in results["states"]}
    legs = {state["name"]: state.get("leg") for state in results["states"]}
    rows: list[tuple[Any, ...]] = []
    sides: list[tuple[Any, ...]] = []
    for part, state, record in surveys_of(results):
        doubts = record is not (results["plan"] or {}).get("planned")  # a planned port is computed: it has none to tell
        whole = record if part == "port" else {**record, "throat": None}  # a runner ends in none
        leg = legs.get(state) if part == "port" else None
        named_part = f"{part}, {leg}" if leg else part
        rows.append(
            (
                state,
                named_part,
                str(dates.get(state) or ""),
                *row_of(Measured, whole, doubts=doubts),
            )
        )
        bends = record["bends"]
        for k, side in enumerate(bends):
            name = named_part if len(bends) == 1 else f"{named_part}, bend {k + 1}"
            sides.append((state, name, *row_of(SideOfBend, side, doubts=doubts)))
    columns = (*named, Column("date", "Date", "text"), *columns_of(Measured))
    if not any(record["throat"] and record["throat"]["percent_of_valve"] for _, _, record in surveys_of(results)):
        kept = [k for k, column in enumerate(columns) if column.key != OF_VALVE]  # no valve, or more than one
        columns, rows = tuple(columns[k] for k in kept), [tuple(row[k] for k in kept) for row in rows]
    found = [Table("states", "Every stage", columns, tuple(rows))] if rows else []
    side_columns = (*named, *columns_of(SideOfBend))
    if sides:
        found.append(Table("short-side", "The short side of every stage", side_columns, tuple(sides)))
    return found


def _of_stations(name: str, caption: str, kind: type[Result], record: Mapping[str, Any]) -> Table:
    """Return the table of a record's stations, in the columns that they declare."""
    return Table(name, caption, columns_of(kind), tuple(row_of(kind, row) for row in record["stations"]))


def _schedule(part: str, state: str, record: Mapping[str, Any]) -> Table:
    return _of_stations(f"schedule-{part}-{slug(state)}", f"Area schedule of the {part}, {state}", Stations, record)


def _compared(one: Mapping[str, Any]) -> list[Table]:
    record, pair = one["record"], f"{one['before']} to {one['after']}"
    name = f"{one['part']}-{slug(one['before'])}-{slug(one['after'])}"
    walls = []
    for wall, cut in record["walls"].items():
        removed = wall_removed(cut["removed_cc"], cut["removed_u_cc"])
        walls.append((wall.replace("_", " "), *row_of(WallCut, {**cut, "removed_cc": removed})))
    columns = (Column("wall", "Wall", "text"), *columns_of(WallCut))
    return [
        _of_stations(f"change-{name}", f"Change by station, {one['part']}, {pair}", StationChanges, record),
        Table(f"walls-{name}", f"Cut by wall, {one['part']}, {pair}", columns, tuple(walls)),
    ]


def _speed(state: str, record: Mapping[str, Any]) -> Table:
    return _of_stations(f"speed-{slug(state)}", f"Air speed, {state}", AirStations, record)


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
        values.append(by_lift(run["lift_mm"], run["flow_cfm"]))
    for name, run in zip(names, runs, strict=True):
        change = run.get("change_from_first")
        if change:
            columns.append(Column(f"{slug(name)}_change", name, "percent", "Change from the first of its set-up"))
            values.append(by_lift(change["lift_mm"], change["change_percent"]))
    for name, run in zip(names, runs, strict=True):
        if run.get("on_curtain"):
            columns.append(
                Column(
                    f"{slug(name)}_on_curtain",
                    name,
                    "ratio",
                    "Share of what the curtain could pass",
                )
            )
            values.append(by_lift(run["lift_mm"], run["on_curtain"]))
    for name, run in zip(names, runs, strict=True):
        if run.get("swirl"):
            columns.append(Column(f"{slug(name)}_swirl", name, "count", _swirl_heading(run)))
            values.append(by_lift(run["lift_mm"], run["swirl"]))
    rows = tuple((lift, *(column.get(lift) for column in values)) for lift in lifts)
    return Table("flow", f"Flow at {runs[0]['depression_in_h2o']:g} inH2O", tuple(columns), rows)


def _swirl_heading(run: Mapping[str, Any]) -> str:
    """Return the heading of a run's swirl, which stands as it was read under flows corrected to one depression."""
    low, high = min(run["read_at_in_h2o"]), max(run["read_at_in_h2o"])
    name = f"Swirl, {run['swirl_unit']}" if run.get("swirl_unit") else "Swirl"
    return f"{name}, as read at {low:.3g} inH2O" if f"{low:.3g}" == f"{high:.3g}" else f"{name}, as read"


def by_lift(lift: Sequence[float], values: Sequence[Any]) -> dict[float, Any]:
    """Return values by their lift, mm, alike where two runs mean one lift."""
    return {round(at, 6): value for at, value in zip(lift, values, strict=True)}


PROBE_COLUMNS = (
    Column("station", "Station", "length"), Column("clock", "O’clock", "text"),
    Column("off_wall", "Off wall", "length"), Column("flow", "Flow", "flow"),
    Column("measured", "measured", "speed", "Speed"),
    Column("measured_u", "±", "speed", "Speed"), Column("computed", "computed", "speed", "Speed"),
    Column("computed_u", "±", "speed", "Speed"), Column("ratio", "ratio", "ratio", "Measured over computed"),
    Column("ratio_u", "±", "ratio", "Measured over computed"), Column("not_counted", "Not counted", "text"),
)  # fmt: skip


def _left(stations: Sequence[Mapping[str, Any]]) -> Table:
    """Return what is left of a planned cut, by station and clock."""
    columns = [Column("station", "Station", "length")]
    columns += [
        Column(f"left_{hour}_oclock", hour, "length", "Left to take, square to the wall, at o'clock")
        for hour in HOURS_TOLD
    ]
    keys = ("station_mm", *(f"left_{hour}_oclock_mm" for hour in HOURS_TOLD))
    rows = tuple(tuple(station[key] for key in keys) for station in stations)
    return Table("left-depth", "Left to take by station and clock, minus where too deep", tuple(columns), rows)


def _probe(one: Mapping[str, Any]) -> Table:
    """Return a probe's readings beside the ideal flow, a row a place."""
    rows = []
    for place in one["record"]["places"]:
        why = "past middle" if place["ratio"] is None else "by the wall" if place["in_layer"] else ""
        cells: list[Any] = [place["station_mm"], clock_text(place["clock"]).removesuffix(" o'clock")]
        cells += [place["off_wall_mm"], place["flow_cfm"]]
        for key in ("measured_m_s", "computed_m_s", "ratio"):
            u = place[uncertainty_key(key)]
            cells += [place[key], None if u is None else 2.0 * u]
        rows.append((*cells, why))
    return Table("probe", f"The probe’s readings, {one['state']}", PROBE_COLUMNS, tuple(rows))


CHOICE_COLUMNS = (
    Column("metal", "Metal", "volume"), Column("deepest", "Deepest", "length"), Column("peak", "Peak", "speed"),
    Column("down", "Down", "speed"), Column("down_u", "±", "speed"), Column("of_all", "Of all there is", "percent"),
    Column("slowing", "Slowing", "percent"), Column("station", "Fastest at", "length"),
    Column("clock", "O’clock", "text"), Column("chosen", "", "text"),
)  # fmt: skip
AREA_COLUMNS = (
    Column("station", "Station", "length"), Column("area", "now", "area", "Area"),
    Column("area_after", "finished", "area", "Area"), Column("mean_speed", "now", "speed", "Mean speed"),
    Column("mean_speed_after", "finished", "speed", "Mean speed"),
)  # fmt: skip


def _calm(record: Mapping[str, Any]) -> list[Table]:
    """Return what each amount of metal buys, and of the cut that is chosen its sheet and what it does to the port."""
    if record["chosen"] is None:
        return []
    rows = []
    for each in record["choices"]:
        down = each["gain_m_s"] if each["sure"] else None
        marks = [each["metal_cc"] == record["chosen"]["metal_cc"] and "chosen"]
        marks.append(record["knee"] is not None and each is record["choices"][record["knee"]] and "knee")
        rows.append(
            (
                each["metal_cc"], each["deepest_mm"], each["peak_m_s"], down, 2.0 * each["gain_u_m_s"],
                each["of_all_percent"], each["slowing_percent"], each["station_mm"],
                clock_text(each["clock_hours"]).removesuffix(" o'clock"), ", ".join(mark for mark in marks if mark),
            )
        )  # fmt: skip
    areas = tuple(
        tuple(
            row[key] for key in ("station_mm", "area_mm2", "area_after_mm2", "mean_speed_m_s", "mean_speed_after_m_s")
        )
        for row in record["areas"]
    )
    return [
        Table("calm", "What each amount of metal buys", CHOICE_COLUMNS, tuple(rows)),
        Table("calm-areas", "Area and mean speed, now and with the cut", AREA_COLUMNS, areas),
        *_cut_tables("calm-cut", record["plan"]["stations"], ("area_wanted_mm2",)),
    ]


def _plan(record: Mapping[str, Any]) -> list[Table]:
    return _cut_tables("cut", record["stations"])


def _cut_tables(name: str, stations: Sequence[Mapping[str, Any]], without: tuple[str, ...] = ()) -> list[Table]:
    """Return a cut's sheet: what the micrometer should read, and the depths to take."""
    takes = {"only": ("station_mm", "take_mm")}
    sizes = {"without": ("take_mm", *without)}
    return [
        Table(
            f"{name}-{which}",
            caption,
            columns_of(CutStations, **some),
            tuple(row_of(CutStations, s, **some) for s in stations),
        )
        for which, caption, some in (
            ("micrometer", "What the micrometer reads now and finished", sizes),
            ("depth", "Depth to take by station and clock position", takes),
        )
    ]


def _reach(one: Mapping[str, Any]) -> Table:
    columns = (Column("reached", "Reached", "text"), Column("share", "Share of the wall", "percent"))
    share = one["record"]["share_of_wall"]
    rows = tuple((column.heading, 100.0 * share[path[0]]) for path, column in on_the_page(ShareOfWall))
    return Table("reach", f"What the burr reaches, {one['state']}", columns, rows)


def _joint(one: Mapping[str, Any]) -> Table:
    caption = f"One schedule through runner and port, {one['state']}"
    return _of_stations(f"joint-{slug(one['state'])}", caption, JointStations, one["record"])


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
