"""The tables of a port that splits: its passages side by side, and every passage's area schedule.

The record of a split's survey comes in; tables go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portgeo.present.page.tables import Table, columns_of, row_of, slug
from portgeo.results.figures import Column
from portgeo.results.measured import Stations

COLUMNS = (
    Column("passage", "Passage", "text"),
    Column("volume", "Volume", "volume"), Column("volume_u", "±", "volume"), Column("length", "Length", "length"),
    Column("least_area", "Minimum area", "area"), Column("least_area_u", "±", "area"),
    Column("least_station", "at station", "length"),
    Column("short_side", "Short side", "length"), Column("short_side_u", "±", "length"),
    Column("throat", "Throat", "length"),
)  # fmt: skip

CHANGE_COLUMNS = (
    Column("passage", "Passage", "text"),
    Column("removed", "Removed", "volume"), Column("removed_u", "±", "volume"),
    Column("added", "Added", "volume"), Column("added_u", "±", "volume"),
    Column("net", "Net", "volume"), Column("net_u", "±", "volume"),
    Column("deepest", "Deepest", "length"), Column("deepest_station", "at station", "length"),
)  # fmt: skip


def passages_of(record: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the records of the trunk and of the legs."""
    return [record["trunk"], *record["legs"]]


def split_tables(state: str, record: Mapping[str, Any]) -> list[Table]:
    """Return the passages side by side, and the schedule of each."""
    rows: list[tuple[Any, ...]] = []
    for passage in passages_of(record):
        least, side, throat = passage["least_area"], passage["short_side"], passage["throat"]
        rows.append(
            (
                passage["name"], passage["volume_cc"], _doubled(passage["volume_u_cc"]), passage["length_mm"],
                least["area_mm2"], _doubled(least["area_u_mm2"]), least["station_mm"],
                side["headline"]["mm"] if side else None, _doubled(side["headline"]["u_mm"]) if side else None,
                throat["diameter_mm"] if throat else None,
            )
        )  # fmt: skip
    if record["junction_cc"] is not None:
        rows.append(("junction", record["junction_cc"], *[None] * (len(COLUMNS) - 2)))
    whole = record["least_area"]
    rows.append(
        (
            "all of it", record["volume_cc"], _doubled(record["volume_u_cc"]), None, whole["area_mm2"], None,
            whole["station_mm"], None, None, None,
        )
    )  # fmt: skip
    found = [Table(f"split-{slug(state)}", f"The passages, {state}", COLUMNS, tuple(rows))]
    for passage in passages_of(record):
        leg = "" if passage is record["trunk"] else passage["name"]
        stations = tuple(row_of(Stations, row) for row in record["stations"] if row["leg"] == leg)
        name = f"split-{slug(state)}-{slug(passage['name'])}"
        found.append(Table(name, f"Area schedule of {passage['name']}, {state}", columns_of(Stations), stations))
    return found


def split_change_table(one: Mapping[str, Any]) -> Table:
    """Return what came out of every passage and of all of it, of a comparison in the results that has a `whole`."""
    rows: list[tuple[Any, ...]] = []
    for passage in passages_of(one["whole"]):
        rows.append((passage["name"], *_metal(passage), passage["depth"]["max_mm"], passage["depth"]["max_station_mm"]))
    between = one["whole"]["between_cc"]
    rows.append(("at the split, in no passage", None, None, None, None, between, None, None, None))
    rows.append(("all of it", *_metal(one["whole"]), None, None))
    title = f"Metal by passage, {one['before']} to {one['after']}"
    return Table(change_name(one), title, CHANGE_COLUMNS, tuple(rows))


def change_name(one: Mapping[str, Any]) -> str:
    """Return what that table is called."""
    return f"split-change-{slug(one['before'])}-{slug(one['after'])}"


def _metal(record: Mapping[str, Any]) -> tuple[float | None, ...]:
    """Return removed, added and net, each with its ±."""
    return tuple(
        value
        for name in ("removed", "added", "net")
        for value in (record[f"{name}_cc"], _doubled(record[f"{name}_u_cc"]))
    )


def _doubled(u: float | None) -> float | None:
    return None if u is None else 2.0 * u
