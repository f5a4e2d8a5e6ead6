"""The tables of a set of runners: each by itself, against the others, its edge and core, the dividers, what to cut.

The record of a balance comes in; tables go out, for the page, the spreadsheet and the page to type into.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portgeo.present.page.tables import Table, columns_of, row_of
from portgeo.present.text.balance import SHOWN_HOURS, cut_to
from portgeo.present.text.cut_sheet import SHOWN_MM
from portgeo.results.balanced import AgainstOthers, DividerOfSet, RunnerOfSet, SetStations
from portgeo.results.figures import Column

CORE_SHIFT = {
    "entry": "Entry, off the set’s mean",
    "exit": "Exit, off the set’s mean",
    "gasket": "Off the gasket’s hole",
}
_RUNNER = Column("runner", "Runner", "count")


def set_tables(record: Mapping[str, Any]) -> list[Table]:
    """Return the tables of a set of runners, those that it has."""
    found = [_runners(record), _against(record), _edges(record), _core_shift(record), _dividers(record), _cuts(record)]
    return [*(table for table in found if table is not None), _stations(record)]


def _runners(record: Mapping[str, Any]) -> Table:
    without = () if any(r["flow"] is not None for r in record["runners"]) else ("flow",)
    columns = (
        *columns_of(RunnerOfSet, without=without),
        Column("hand", "Shape", "text"),
        Column("file", "File", "text"),
    )
    rows = tuple(
        (*row_of(RunnerOfSet, r, without=without), "mirror of 1" if r["other_hand"] else "like 1", source["file"])
        for r, source in zip(record["runners"], record["source"], strict=True)
    )
    return Table("balance", "The set, runner by runner", columns, rows)


def _against(record: Mapping[str, Any]) -> Table:
    without = () if any(r["flow"] is not None for r in record["runners"]) else ("flow_percent",)
    columns = (_RUNNER, *columns_of(AgainstOthers, without=without))
    rows = tuple((r["runner"], *row_of(AgainstOthers, r["off_others"], without=without)) for r in record["runners"])
    caption = "Each runner less the mean of the others, the odd one not counted"
    return Table("balance-against", caption, columns, rows)


def _edges(record: Mapping[str, Any]) -> Table | None:
    if not any(r["entry_edge"] for r in record["runners"]):
        return None
    group = "Radius of the entry’s edge, at o’clock"
    columns = (
        _RUNNER,
        *(Column(f"radius_{hour}_oclock", str(hour), "length", group) for hour in SHOWN_HOURS),
        Column("radius_u", "±", "length", group),
        Column("sharpest", "Sharpest", "length"), Column("sharpest_clock", "at", "text"),
    )  # fmt: skip
    rows = []
    for r in record["runners"]:
        edge = r["entry_edge"]
        if edge is None:
            rows.append((r["runner"], *[None] * (len(SHOWN_HOURS) + 2), "square"))
            continue
        unsure = [u for u in edge["radius_u_mm"] if u is not None]
        radii = (edge["radius_mm"][hour % 12] for hour in SHOWN_HOURS)
        doubt = 2.0 * max(unsure) if unsure else None
        rows.append((r["runner"], *radii, doubt, edge["least_mm"], f"{edge['least_clock']} o’clock"))
    return Table("balance-edges", "The edge of each entry, by the clock", columns, tuple(rows))


def _core_shift(record: Mapping[str, Any]) -> Table | None:
    ways = ("left_mm", "up_mm")
    ends = [
        end
        for end in ("entry", "exit", *(("gasket",) if record["runners"][0]["gasket"] else ()))
        if any(abs(r[end][way]) >= SHOWN_MM for r in record["runners"] for way in ways)
    ]
    if not ends:
        return None  # of sheets that have each a frame of its own
    columns = (
        _RUNNER,
        *(Column(f"{end}_{way}", way.partition("_")[0], "length", CORE_SHIFT[end]) for end in ends for way in ways),
    )
    rows = tuple((r["runner"], *(r[end][way] for end in ends for way in ways)) for r in record["runners"])
    return Table("balance-core-shift", "Core shift of each runner", columns, rows)


def _dividers(record: Mapping[str, Any]) -> Table | None:
    if not record["dividers"]:
        return None
    columns = (Column("between", "Between", "text"), *columns_of(DividerOfSet))
    rows = tuple((" and ".join(map(str, one["runners"])), *row_of(DividerOfSet, one)) for one in record["dividers"])
    return Table("balance-dividers", "The dividers, metal between neighbors", columns, rows)


def _cuts(record: Mapping[str, Any]) -> Table:
    columns: list[Column] = [_RUNNER]
    for k, choice in enumerate(record["choices"]):
        group = f"To {cut_to(choice['to'], len(choice['runners']))}"
        columns += [
            Column(f"metal_{k + 1}", "Metal", "volume", group), Column(f"deepest_{k + 1}", "deepest", "length", group),
            Column(f"station_{k + 1}", "at station", "length", group),
        ]  # fmt: skip
    rows = []
    for k, runner in enumerate(record["runners"]):
        cells: list[Any] = [runner["runner"]]
        for choice in record["choices"]:
            cut = choice["runners"][k]
            cells += (
                [cut["removed_cc"], cut["deepest_mm"], cut["deepest_station_mm"]] if cut["removed_cc"] else [None] * 3
            )
        rows.append(tuple(cells))
    return Table("balance-cut", "What to cut on which, to bring them together", tuple(columns), tuple(rows))


def _stations(record: Mapping[str, Any]) -> Table:
    station, spread = columns_of(SetStations)
    areas = (Column(f"area_{k + 1}", str(k + 1), "area", "Area of runner") for k in range(len(record["runners"])))
    rows = tuple((s["station_mm"], *s["area_mm2"], s["spread_percent"]) for s in record["stations"])
    return Table("balance-stations", "Areas of the set by station", (station, *areas, spread), rows)
