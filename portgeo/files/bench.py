"""The bench sheet: lift, flow and depression, one row a lift, one or more runs to a file.

A CSV file or a workbook, or rows in hand, come in; Runs in SI units (lifts in mm) go out, or a refusal that names
the row, the column and the hint of all that is wrong.

Columns: `lift_in` or `lift_mm`; `flow_cfm`, `flow_m3_h` or `flow_l_s`; `depression_in_h2o`,
`depression_mm_h2o` or `depression_kpa`; and, if there, `state` (as cast, first cut), `setup` (clay entry,
manifold bolted on), `swirl` with `swirl_unit`, and `note`. A blank state or setup is that of the row above.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError, naming
from portgeo.core.units import M3_S_PER, PA_PER, LengthUnit
from portgeo.files.disk import read_bounded
from portgeo.files.sheets.columns import LENGTH, PLAIN, Cell, Layout, Quantity, Words
from portgeo.files.sheets.rows import Row, Rows
from portgeo.files.sheets.tables import Source, read_table
from portgeo.flow.bench import Run
from portgeo.flow.gas import DEPRESSIONS

BENCH_LIMIT = 2_000_000  # bytes
HIGHEST_LIFT_MM = 50.0
FLOWS_M3_S = (1e-6, 2.0)  # no port's flow is outside: the unit must be wrong
LONGEST_UNIT = 20  # letters of a swirl meter's unit
SLIPPED = 5.0  # times the flow of the rows beside it, more than lift explains: a decimal point is in the wrong place
DEPRESSION = {unit: PA_PER[unit] for unit in ("in_h2o", "mm_h2o", "kpa")}
READ: dict[str, Mapping[str, float]] = {"lift": LENGTH, "flow": M3_S_PER, "depression": DEPRESSION}
UNITS_WRITTEN = re.compile(r"\s*(cfm|m3/h|m³/h|l/s|in\.?\s?h2o|mm\s?h2o|kpa|rpm|\"|″)$", re.IGNORECASE)


def _within(what: str, least: float, most: float) -> Callable[[Cell, float], None]:
    """Return the check that a quantity is more than `least` and at most `most`."""

    def check(cell: Cell, value: float) -> None:
        if not least < value <= most:
            bound = "smaller" if value <= least else "larger"
            kind = "not more than zero" if value <= 0.0 else f"{bound} than any bench's"
            raise InputError(f"a {what} of {cell.text} is {kind}", hint="Check it and its unit")

    return check


def _one_of(name: str, units: Mapping[str, float]) -> str:
    return f"Give one of {', '.join(f'{name}_{unit}' for unit in units)}: without it a flow says nothing"


def _short(cell: Cell) -> str:
    if len(cell.text) > LONGEST_UNIT:
        raise InputError("this is not a unit of swirl", hint="Write what its dial says, such as rpm or ratio")
    return cell.text


BENCH = Layout(
    kind="a bench sheet",
    columns={
        "lift": Quantity(LENGTH, _within("lift", 0.0, HIGHEST_LIFT_MM)),
        "flow": Quantity(M3_S_PER, _within("flow", *FLOWS_M3_S), UNITS_WRITTEN),
        "depression": Quantity(
            DEPRESSION, _within("depression", *(h * PA_PER["in_h2o"] for h in DEPRESSIONS)), UNITS_WRITTEN
        ),
        "swirl": Quantity(PLAIN, beside=UNITS_WRITTEN),
        "swirl_unit": Words(_short),
        **{name: Words() for name in ("stage", "state", "setup", "note")},
    },
    needed={name: _one_of(name, units) for name, units in READ.items()},
    names="A bench sheet has lift, flow and depression, each with its unit, and perhaps stage, setup, swirl, "
    "swirl_unit and note",
    alike={
        "flow_m3/h": "flow_m3_h", "flow_l/s": "flow_l_s", "set_up": "setup",
        "depression_inh2o": "depression_in_h2o", "depression_mmh2o": "depression_mm_h2o",
    },
)  # fmt: skip


@dataclass(frozen=True)
class BenchFile:
    """A bench sheet: its runs in their order, the unit its lifts are in, its SHA-256."""

    runs: tuple[Run, ...]
    unit: LengthUnit
    sha256: str


def read_bench(path: str | Path) -> BenchFile:
    """Return the runs in a bench sheet. Raises InputError, naming file, row and column of all that is wrong."""
    return bench_from(read_bounded(path, BENCH_LIMIT), str(path))


def bench_from(source: Source, file: str) -> BenchFile:
    """Return the runs in a bench sheet's bytes, or that rows in hand make. Raises InputError as `read_bench` does."""
    with naming(file):
        table = read_table(source, file)
        sheet = Rows.not_none(table, BENCH)
        runs = _runs(sheet.rows)
        sheet.problems.refuse()
        unit: LengthUnit = "in" if sheet.columns["lift"].unit == "in" else "mm"
        return BenchFile(runs, unit, table.sha256)


def _runs(rows: Sequence[Row]) -> tuple[Run, ...]:
    groups: dict[tuple[str, str], list[Row]] = {}
    key = ("", "")
    for row in rows:
        stage = row.text("stage") or row.text("state")  # the second is the word that was before
        key = (stage or key[0], row.text("setup") or ("" if stage else key[1]))
        groups.setdefault(key, []).append(row)
    return tuple(_run(state, setup, group) for (state, setup), group in groups.items())


def _run(state: str, setup: str, rows: Sequence[Row]) -> Run:
    for row in rows:
        for name in READ:
            if row.given(name) is None:
                row.tell_empty(name, f"the {name} is empty", "Write what the bench read")
    _tell_fallen_lift([row for row in rows if not row.told("lift")])
    if len(rows) > 2:
        _tell_slipped_flow(rows)
    lift, flow, depression, swirl = (
        np.array([row.number_in(name, np.nan) for row in rows]) for name in (*READ, "swirl")
    )
    return Run(
        state=state,
        setup=setup,
        lift=lift,
        flow=flow,
        depression=depression,
        swirl=None if np.isnan(swirl).all() else swirl,
        rows=tuple(row.number for row in rows),
        swirl_unit=next((row.text("swirl_unit") for row in rows if row.text("swirl_unit")), ""),
    )


def _tell_fallen_lift(rows: Sequence[Row]) -> None:
    """Tell of a lift that does not rise above that of the row before."""
    for before, row in pairwise([(row, row.number_in("lift", np.nan)) for row in rows]):
        if row[1] <= before[1]:
            row[0].tell(
                "lift",
                f"the lift, {row[0].text('lift')}, does not rise above that of row {before[0].number}, "
                f"{before[0].text('lift')}",
                "Put a run's rows in the order of lift; say in stage or setup where another run begins",
            )


def _tell_slipped_flow(rows: Sequence[Row]) -> None:
    """Tell of a flow, all at one depression, that is many times or a small part of what the rows beside it read.

    A port passes at the most as much more as its valve is lifted more; an end's row is held to the next two.
    """

    def read(row: Row) -> tuple[float, float]:
        lift, flow, depression = (row.number_in(name, np.nan) for name in READ)
        return lift, flow / depression**0.5

    def far_over(row: Row, beside: Row) -> bool:
        (lift, flow), (lift_beside, flow_beside) = read(row), read(beside)
        return bool(flow * min(lift_beside, lift) > SLIPPED * flow_beside * lift)

    last = len(rows) - 1
    for k, row in enumerate(rows):
        beside = [rows[j] for j in sorted((k - 1, k + 1) if 0 < k < last else (1, 2) if k == 0 else (k - 1, k - 2))]
        over = all(far_over(row, other) for other in beside)
        if over or all(far_over(other, row) for other in beside):
            told = " and ".join(other.text("flow") for other in beside)
            kind = "more" if over else "less"
            what = f"a flow of {row.text('flow')} is far {kind} than the rows beside it read ({told})"
            row.tell("flow", what, "Look for a decimal point in the wrong place")
