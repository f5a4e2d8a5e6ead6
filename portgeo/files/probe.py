"""The probe sheet: what a pitot tube read at places in the port.

A CSV file or a workbook, or rows in hand, come in; readings in SI units (lengths in mm) go out, or a refusal that names
row and column of all that is wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError, naming
from portgeo.core.port import Port
from portgeo.core.units import FOOT, M3_S_PER, PA_PER
from portgeo.files.bench import DEPRESSION, HIGHEST_LIFT_MM
from portgeo.files.disk import read_bounded
from portgeo.files.sheets.columns import LENGTH, Cell, Layout, Quantity, Words
from portgeo.files.sheets.rows import Row, Rows
from portgeo.files.sheets.tables import Source, read_table
from portgeo.files.walls import read_clock, tell_outside
from portgeo.flow.gas import DEPRESSIONS
from portgeo.flow.probe import ProbeReading

FILE_LIMIT = 2_000_000  # bytes
SPEED = {"ft_s": FOOT, "m_s": 1.0}
PRESSURE = {unit: PA_PER[unit] for unit in ("in_h2o", "mm_h2o", "kpa")}
FASTEST = 400.0  # m/s: no subsonic air in a port goes faster
MOST_PASCAL = 0.45 * 101325.0  # what a probe reads at the speed of sound is some 0.47 of the room's pressure


FlowAt = Callable[[float, float | None], float]


def _within(what: str, most: float, least: float = 0.0) -> Callable[[Cell, float], None]:
    def check(cell: Cell, value: float) -> None:
        if not least < value <= most:
            kind = "not more than zero" if value <= 0.0 else f"{'less' if value <= least else 'more'} than any port's"
            raise InputError(f"a {what} of {cell.text} is {kind}", hint="Check it and its unit")

    return check


PROBE = Layout(
    kind="a probe sheet",
    columns={
        "station": Quantity(LENGTH),
        "clock": Words(read_clock),
        "off_wall": Quantity(LENGTH, _within("distance off the wall", 200.0)),
        "speed": Quantity(SPEED, _within("speed", FASTEST)),
        "pressure": Quantity(PRESSURE, _within("pressure", MOST_PASCAL)),
        "flow": Quantity(M3_S_PER, _within("flow", 2.0)),
        "lift": Quantity(LENGTH, _within("lift", HIGHEST_LIFT_MM)),
        "depression": Quantity(
            DEPRESSION, _within("depression", DEPRESSIONS[1] * PA_PER["in_h2o"], DEPRESSIONS[0] * PA_PER["in_h2o"])
        ),
        "note": Words(),
    },
    needed={
        "station": "Add station_in", "clock": "Add clock", "off_wall": "Add off_wall_in",
        "speed": "Add speed_ft_s, or pressure_in_h2o as the probe's gauge reads",
    },
    names="A probe sheet has station, clock, off_wall and speed or pressure, each with its unit, and perhaps flow, "
    "lift, depression and note",
    instead={"speed": "pressure"},
)  # fmt: skip


def read_probe(path: str | Path, port: Port, flow_at: FlowAt | None = None) -> tuple[ProbeReading, ...]:
    """Return the readings in a probe sheet.

    port : that all of them must be of. flow_at : of a lift in mm, and of a depression in Pa where the row has its own,
    the bench's flow there in m3/s. Raises InputError
    naming file, row, column and hint of all that is wrong.
    """
    return probe_from(read_bounded(path, FILE_LIMIT), str(path), port, flow_at)


def probe_from(source: Source, file: str, port: Port, flow_at: FlowAt | None = None) -> tuple[ProbeReading, ...]:
    """Return the readings in a sheet's bytes, or that rows in hand make. Raises InputError as `read_probe` does."""
    with naming(file):
        sheet = Rows.not_none(read_table(source, file), PROBE)
        readings = tuple(_reading(row, flow_at) for row in sheet.rows)
        for row in sheet.rows:
            tell_outside(row, port, port.display)
        sheet.problems.refuse()
    return readings


def _reading(row: Row, flow_at: FlowAt | None) -> ProbeReading:
    for name in ("station", "clock", "off_wall"):
        if row.given(name) is None:
            row.tell_empty(name, "the cell is empty", "Fill it in, or take the row out")
    speed, pressure = (row.number_in(name, np.nan) for name in ("speed", "pressure"))
    if row.text("speed") and row.text("pressure"):
        row.tell("speed", "the row gives a speed and a pressure", "Leave the one that the probe did not read")
    elif not row.text("speed") and not row.text("pressure"):
        row.tell_empty("speed", "the row gives no reading", "Write speed_ft_s, or pressure_in_h2o")
    flow, lift = row.given("flow"), row.given("lift")
    if flow is not None and lift is not None:
        row.tell("flow", "the row gives a flow and a lift", "Leave one: the flow at a lift is the bench's")
    if lift is not None and flow_at is None:
        row.tell("lift", "a lift says a flow only beside a bench sheet", "Write the flow_cfm, or name a bench sheet")
    depression = row.given("depression")
    if lift is not None and flow_at is not None and not row.told("lift"):
        try:
            flow = flow_at(lift, depression)
        except InputError as refusal:
            row.tell("lift", refusal.what, refusal.hint)
    station, off_wall = (row.number_in(name, np.nan) for name in ("station", "off_wall"))
    return ProbeReading(
        row.number, station, row.number_in("clock", np.nan), off_wall, speed, pressure, flow, depression
    )
