"""The bench sheet: lift, flow and depression, one row a lift, one or more runs to a file.

A CSV or XLSX file comes in; Runs in SI units (lifts in mm) go out, or a refusal that names the row, the
column and the mend.

Columns: `lift_in` or `lift_mm`; `flow_cfm`, `flow_m3_h` or `flow_l_s`; `depression_in_h2o`,
`depression_mm_h2o` or `depression_kpa`; and, if there, `state` (as cast, first cut), `setup` (clay entry,
manifold bolted on), `swirl` and `note`. A blank state or setup is that of the row above.
"""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from portgeo.core.errors import InputError, PortgeoError
from portgeo.core.plane import FloatArray
from portgeo.core.units import M3_S_PER, MM_PER, PA_PER, LengthUnit
from portgeo.files.disk import read_bounded
from portgeo.files.sheets.columns import plain_name
from portgeo.files.sheets.numbers import read_number
from portgeo.files.sheets.tables import read_table
from portgeo.flow.bench import Run
from portgeo.flow.gas import DEPRESSIONS

BENCH_LIMIT = 2_000_000  # bytes
HIGHEST_LIFT_MM = 50.0
FLOWS_M3_S = (1e-6, 2.0)  # no port's flow is outside: the unit must be wrong
SLIPPED = 5.0  # times the flow of the rows beside it, more than lift explains: a decimal point is in the wrong place
LIFT = {"lift_in": MM_PER["in"], "lift_mm": 1.0}
FLOW = {f"flow_{unit}": size for unit, size in M3_S_PER.items()}
DEPRESSION = {f"depression_{unit}": PA_PER[unit] for unit in ("in_h2o", "mm_h2o", "kpa")}
TEXTS = ("state", "setup", "note")
ALIKE = {
    "flow_m3/h": "flow_m3_h", "flow_m³/h": "flow_m3_h", "flow_l/s": "flow_l_s", "set_up": "setup",
    "depression_inh2o": "depression_in_h2o", "depression_mmh2o": "depression_mm_h2o",
}  # fmt: skip
KNOWN = (*LIFT, *FLOW, *DEPRESSION, "swirl", *TEXTS)
UNITS_WRITTEN = re.compile(r"\s*(cfm|m3/h|m³/h|l/s|in\.?\s?h2o|mm\s?h2o|kpa|rpm|\"|″)$", re.IGNORECASE)


@dataclass(frozen=True)
class BenchFile:
    """A bench sheet: its runs in their order, the unit its lifts are in, its SHA-256."""

    runs: tuple[Run, ...]
    unit: LengthUnit
    sha256: str


def read_bench(path: str | Path) -> BenchFile:
    """Return the runs in a bench sheet. Raises InputError, naming file, row and column."""
    data = read_bounded(path, BENCH_LIMIT)
    file = str(path)
    try:
        table = read_table(data, file)
        if len(table.rows) < 2:
            raise InputError(
                "the bench sheet has no readings",
                mend="Type a header and under it a row a lift; lines that begin with # are not read",
            )
        number, header = table.rows[0]
        columns = _columns(header, number)
        unit: LengthUnit = "in" if "lift_in" in columns else "mm"
        rows = [_Row(n, cells, columns, table.decimal_comma) for n, cells in table.rows[1:]]
        return BenchFile(_runs(rows), unit, hashlib.sha256(data).hexdigest())
    except PortgeoError as refusal:
        raise refusal.in_file(file) from None


def _columns(header: Sequence[str], row: int) -> dict[str, int]:
    columns: dict[str, int] = {}
    for index, written in enumerate(header):
        if not written:
            continue
        name = plain_name(written)
        name = ALIKE.get(name, name)
        where = f"row {row}, column {written[:60]}"
        if name not in KNOWN:
            close = difflib.get_close_matches(name[:60], KNOWN, n=1, cutoff=0.5)
            mend = f"Did you mean {close[0]}?" if close else f"A bench sheet has {', '.join(KNOWN)}"
            raise InputError("no column of a bench sheet has this name", where=where, mend=mend)
        if name in columns:
            raise InputError("the column comes twice", where=where, mend="Leave one of the two")
        columns[name] = index
    for what, choices in (("lift", LIFT), ("flow", FLOW), ("depression", DEPRESSION)):
        given = [name for name in choices if name in columns]
        if len(given) != 1:
            what = f"the sheet has no {what} column" if not given else f"{what} is given in two units"
            raise InputError(
                what, where=f"row {row}", mend=f"Give one of {', '.join(choices)}: without it a flow says nothing"
            )
    return columns


class _Row:
    """One row's cells, read by the name of their column."""

    def __init__(self, number: int, cells: Sequence[str], columns: dict[str, int], decimal_comma: bool) -> None:
        self.number, self._cells, self._columns, self._comma = number, cells, columns, decimal_comma

    def text(self, name: str) -> str:
        index = self._columns.get(name)
        return self._cells[index] if index is not None and index < len(self._cells) else ""

    def where(self, name: str) -> str:
        return f"row {self.number}, column {name}"

    def one_of(self, choices: dict[str, float]) -> tuple[str, float]:
        """Return the column of several units that the sheet has, and its number in SI (lifts in mm)."""
        name = next(name for name in choices if name in self._columns)
        return name, self.number_in(name) * choices[name]

    def number_in(self, name: str) -> float:
        text = self.text(name)
        if not text:
            raise InputError(
                f"the {name.split('_')[0]} is empty", where=self.where(name), mend="Write what the bench read"
            )
        unit = name.removeprefix("lift_") if name in LIFT else ""
        plain = text if name in LIFT else UNITS_WRITTEN.sub("", text)
        return read_number(plain, unit=unit, decimal_comma=self._comma, where=self.where(name))


def _runs(rows: Sequence[_Row]) -> tuple[Run, ...]:
    groups: dict[tuple[str, str], list[_Row]] = {}
    key = ("", "")
    for row in rows:
        key = (row.text("state") or key[0], row.text("setup") or ("" if row.text("state") else key[1]))
        groups.setdefault(key, []).append(row)
    return tuple(_run(state, setup, group) for (state, setup), group in groups.items())


def _run(state: str, setup: str, rows: Sequence[_Row]) -> Run:
    lift = np.array([_within(row, LIFT, (0.0, HIGHEST_LIFT_MM), "lift") for row in rows])
    flow = np.array([_within(row, FLOW, FLOWS_M3_S, "flow") for row in rows])
    bounds = (DEPRESSIONS[0] * PA_PER["in_h2o"], DEPRESSIONS[1] * PA_PER["in_h2o"])
    depression = np.array([_within(row, DEPRESSION, bounds, "depression") for row in rows])
    for before, row, step in zip(rows[:-1], rows[1:], np.diff(lift), strict=True):
        if step <= 0.0:
            name, _ = row.one_of(LIFT)
            raise InputError(
                f"the lift, {row.text(name)}, does not rise above that of row {before.number}, {before.text(name)}",
                where=row.where(name),
                mend="Put a run's rows in the order of lift; say in state or setup where another run begins",
            )
    if len(rows) > 2:
        _refuse_slipped_flow(rows, lift, flow / np.sqrt(depression))
    swirl = np.array([row.number_in("swirl") if row.text("swirl") else np.nan for row in rows])
    return Run(
        state=state,
        setup=setup,
        lift=lift,
        flow=flow,
        depression=depression,
        swirl=None if np.isnan(swirl).all() else swirl,
        rows=tuple(row.number for row in rows),
    )


def _refuse_slipped_flow(rows: Sequence[_Row], lift: FloatArray, flow: FloatArray) -> None:
    """Refuse a flow, all at one depression, that is many times or a small part of what the rows beside it read.

    A port passes at the most as much more as its valve is lifted more; an end's row is held to the next two.
    """

    def far_over(k: int, j: int) -> bool:
        return bool(flow[k] * min(lift[j], lift[k]) > SLIPPED * flow[j] * lift[k])

    last = len(rows) - 1
    for k, row in enumerate(rows):
        beside = (k - 1, k + 1) if 0 < k < last else (1, 2) if k == 0 else (k - 1, k - 2)
        over = all(far_over(k, j) for j in beside)
        if over or all(far_over(j, k) for j in beside):
            name, _ = row.one_of(FLOW)
            read = " and ".join(rows[j].text(name) for j in sorted(beside))
            raise InputError(
                f"a flow of {row.text(name)} is far {'more' if over else 'less'} than the rows beside it read ({read})",
                where=row.where(name),
                mend="Look for a decimal point in the wrong place",
            )


def _within(row: _Row, choices: dict[str, float], bounds: tuple[float, float], what: str) -> float:
    name, value = row.one_of(choices)
    if not bounds[0] < value <= bounds[1]:
        kind = (
            "not more than zero"
            if value <= 0.0
            else "smaller than any bench's"
            if value <= bounds[0]
            else "larger than any bench's"
        )
        raise InputError(f"a {what} of {row.text(name)} is {kind}", where=row.where(name), mend="Check it and its unit")
    return value


def pick_run(bench: BenchFile, name: str | None) -> Run:
    """Return the run of a name (in its state or set-up), or the only one. Raises InputError."""
    if name is None and len(bench.runs) == 1:
        return bench.runs[0]
    wanted = (name or "").casefold()
    found = [run for run in bench.runs if name is not None and wanted in run.name.casefold()]
    if len(found) > 1:
        found = [run for run in found if wanted in (run.state.casefold(), run.name.casefold())] or found
    if len(found) == 1:
        return found[0]
    names = "; ".join(run.name for run in bench.runs)
    raise InputError(
        "the file has several runs" if name is None else f"{len(found)} runs are named '{name}'",
        mend=f"Name one with --run: {names}",
    )
