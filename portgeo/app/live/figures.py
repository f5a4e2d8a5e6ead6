"""The figures of a stage as they are typed: what the finished rows make, then its ±, then its model.

Rows of readings come in, plain enough for another process; plain values for JSON go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from portgeo.core.errors import PortgeoError
from portgeo.core.units import LengthUnit

if TYPE_CHECKING:
    from portgeo.core.port import Port
    from portgeo.core.split import SplitPort
    from portgeo.results.measured import Measured

FEWEST = 2  # rows that make a port
HEADER_ROWS = 2  # a refusal's number of the first of rows in hand, as a sheet's under its header
TOLD = {"volume": "volume", "least_area": "minimum area", "short_side": "short side"}


@dataclass(frozen=True)
class Readings:
    """The rows of a stage that a port is made of.

    rows : number in the file's table, and cells by the column as written. missing : readings yet to be taken, row and
    column, in their order. left_out : rows that are not among these. columns : written name of what a column means.
    leg : of a port that splits, the one that answers about one passage are of; None: the first.
    """

    stage: str
    part: str
    file: str
    rows: tuple[tuple[int, Mapping[str, str]], ...]
    missing: tuple[tuple[int, str], ...]
    left_out: tuple[int, ...]
    columns: Mapping[str, str]
    units: LengthUnit
    folder: str
    exhaust: bool = False
    valve_mm: float | None = None
    leg: str | None = None


@dataclass(frozen=True)
class Built:
    """A port of a stage's readings, None where there are too few; what is wrong with them as a whole; rows left out."""

    port: Port | SplitPort | None
    numbers: tuple[int, ...]
    left_out: tuple[int, ...]
    problem: Mapping[str, Any] | None


def build(readings: Readings) -> Built:
    """Make the port of a stage's rows; a row that is refused is left out, and all others go on."""
    from portgeo.front.ports import port_from_rows, whole_from_rows

    rows, leg = list(readings.rows), readings.columns.get("leg", "")
    out = set(readings.left_out)
    problem: Mapping[str, Any] | None = None
    while len(rows) >= FEWEST:
        try:
            given = [dict(cells) for _, cells in rows]
            port: Port | SplitPort
            if any(cells.get(leg) for cells in given):
                port = whole_from_rows(given, units=readings.units, folder=readings.folder)
            else:
                port = port_from_rows(
                    given, units=readings.units, folder=readings.folder, exhaust=readings.exhaust,
                )  # fmt: skip
        except PortgeoError as refusal:
            first = refusal.problems[0]
            bad = {p.row - HEADER_ROWS for p in refusal.problems if p.row is not None and p.row >= HEADER_ROWS}
            row = next((rows[k][0] for k in sorted(bad) if k < len(rows)), None)
            problem = problem or {"what": first.what, "hint": first.hint, "row": row, "column": first.column}
            if not bad or min(bad) >= len(rows):
                return Built(None, (), tuple(sorted(out | {row for row, _ in rows})), problem)
            out |= {rows[k][0] for k in bad if k < len(rows)}
            rows = [row for k, row in enumerate(rows) if k not in bad]
            continue
        return Built(port, tuple(row for row, _ in rows), tuple(sorted(out)), problem)
    return Built(None, (), tuple(sorted(out | {row for row, _ in rows})), problem)


def figures_of(readings: Readings, sure: bool, before: Readings | None = None) -> dict[str, Any]:
    """Return a stage's figures for the page. sure : with their ±. before : the stage before, drawn behind it."""
    built = build(readings)
    found: dict[str, Any] = {
        "stage": readings.stage, "part": readings.part, "file": readings.file, "sure": sure,
        "figures": None, "chart": None, "notices": [], "left_out": list(built.left_out), "problem": built.problem,
        "rows_at": [],
        "next": next_reading(readings, None, built),
    }  # fmt: skip
    if built.port is None:
        return found
    from portgeo.core.port import Port
    from portgeo.front.states import survey

    try:
        if not isinstance(built.port, Port):
            from portgeo.app.live.splits import split_told

            return found | split_told(survey(built.port, sure=sure), readings.stage)
        if len(built.numbers) == len(built.port.rows):
            found["rows_at"] = list(zip(built.numbers, _plain(built.port.rows), strict=True))  # row, its station in mm
        measured = survey(built.port, valve_mm=readings.valve_mm, sure=sure)
    except PortgeoError as refusal:
        return found | {"problem": {"what": refusal.what, "hint": refusal.hint, "row": None, "column": None}}
    found |= told(measured, readings.stage)
    found["chart"]["series"] += _ghost(before)
    return found | {"next": next_reading(readings, measured if sure else None, built)}


def told(measured: Measured, stage: str) -> dict[str, Any]:
    """Return what the page shows of a survey: the answer, the chart's series, what to look at."""
    return {
        "figures": _headlines(measured),
        "chart": _chart(measured, stage),
        "notices": [
            {"code": remark.code, "message": remark.message, "values": remark.to_dict()["values"]}
            for remark in measured.warnings
        ],
    }


def _headlines(measured: Measured) -> dict[str, Any]:
    survey = measured.computed
    d = survey.port.display
    side, least, throat = measured.short_side, measured.least_area, measured.throat
    volume_u, area_u, throat_u = (_finite(u) for u in (measured.volume_u_cc, least.area_u_mm2, throat.area_u_mm2))
    found: dict[str, Any] = {
        "volume": {
            "label": "Volume",
            "text": d.volume(1000.0 * measured.volume_cc),
            "u_text": None if volume_u is None else f"± {max(2.0 * volume_u, 0.01):.2f} cc",
            "volume_cc": measured.volume_cc,
            "volume_u_cc": volume_u,
        },
        "least_area": {
            "label": "Minimum area",
            "text": d.area(least.area_mm2),
            "u_text": None if area_u is None else f"± {d.area(2.0 * area_u)}",
            "where": f"at station {d.length(least.station_mm)}",
            "area_mm2": least.area_mm2,
            "area_u_mm2": area_u,
            "station_mm": least.station_mm,
        },
        "throat": {
            "label": "Throat",
            "text": d.area(throat.area_mm2),
            "u_text": None if throat_u is None else f"± {d.area(2.0 * throat_u)}",
            "where": f"a bore of {d.length(throat.diameter_mm)} at station {d.length(throat.station_mm)}",
            "from": throat.from_,
            "area_mm2": throat.area_mm2,
            "area_u_mm2": throat_u,
            "diameter_mm": throat.diameter_mm,
            "station_mm": throat.station_mm,
            "percent_of_valve": throat.percent_of_valve,
        },
    }
    if side is None:
        found["short_side"] = {"label": "Short side", "text": "none", "u_text": None, "where": "the port does not turn"}
        return found
    side_u = _finite(side.headline.u_mm)
    found["short_side"] = {
        "label": f"Short side, {side.headline.name}",
        "text": d.length(side.headline.mm),
        "u_text": None if side_u is None else f"± {d.length(2.0 * side_u)}",
        "where": f"turns {side.turn_deg:.0f}° from {d.length(side.station_from_mm)} to {d.length(side.station_to_mm)}",
        "radius_mm": side.headline.mm,
        "radius_u_mm": side_u,
        "least_radius_mm": side.least_radius_mm,
        "turn_deg": side.turn_deg,
    }
    return found


def _chart(measured: Measured, stage: str) -> dict[str, Any]:
    """Return the area schedule in the user's unit, with the short side's stretch."""
    d = measured.computed.port.display
    table, side = measured.stations, measured.short_side
    band = 2.0 * table.area_u_mm2 * d.of_area(1.0)
    return {
        "x_label": f"station from the entry, {d.unit}",
        "y_label": f"area, {d.area_unit}",
        "units": [d.unit, d.area_unit],
        "decimals": [3, 3] if d.unit == "in" else [2, 1],
        "series": [
            {
                "name": stage,
                "x": _plain(table.station_mm * d.of_length(1.0)),
                "y": _plain(table.area_mm2 * d.of_area(1.0)),
                "band": _plain(band) if all(u == u for u in band.tolist()) else None,
                "ghost": False,
            }
        ],
        "spans": [
            {"name": "short side", "low": d.of_length(side.station_from_mm), "high": d.of_length(side.station_to_mm)}
        ]
        if side
        else [],
        "read_at": _plain(measured.computed.port.rows * d.of_length(1.0)),
    }


_shown_behind: tuple[Readings | None, list[dict[str, Any]]] = (None, [])


def _ghost(before: Readings | None) -> list[dict[str, Any]]:
    """Return the area schedule of the stage before, worked out once as long as it stays as it is."""
    global _shown_behind
    if before is None:
        return []
    kept = _shown_behind
    if kept[0] != before:
        from portgeo.core.port import Port
        from portgeo.front.states import survey

        port, series = build(before).port, []
        if isinstance(port, Port):
            try:
                series = _chart(survey(port, sure=False), before.stage)["series"]
            except PortgeoError:
                series = []  # told where that stage is shown
        kept = (before, [one | {"ghost": True} for one in series])
        _shown_behind = kept
    return kept[1]


def next_reading(readings: Readings, measured: Measured | None, built: Built) -> dict[str, Any] | None:
    """Return the reading that would help most: the first that is missing, else what makes most of the ±."""
    if readings.missing:
        row, column = readings.missing[0]
        return {"row": row, "column": column, "why": "not read yet"}
    if measured is None:
        return None
    survey = measured.computed
    doubts = {
        "volume": (measured.volume_cc, measured.volume_u_cc),
        "least_area": (measured.least_area.area_mm2, measured.least_area.area_u_mm2),
    }
    if measured.short_side is not None:
        doubts["short_side"] = (measured.short_side.headline.mm, measured.short_side.headline.u_mm)
    blame = measured.most_uncertain_reading or {}
    shares = {name: u / value for name, (value, u) in doubts.items() if u == u and value > 0.0}
    if not shares or not blame:
        return None
    worst = max(shares, key=shares.__getitem__)
    advice = survey.advice.get(worst)  # type: ignore[call-overload]
    said = "" if advice is None else advice.message(survey.port.display)
    found: dict[str, Any] = {"row": None, "column": None, "why": f"{TOLD[worst]}: {said}"}
    again = blame.get(worst)
    if again is None or (advice is not None and advice.values.get("case") in ("gap", "zero")):
        if advice is not None and "start" in advice.values:
            found["between_mm"] = [advice.values["start"], advice.values["end"]]
        return found
    k = again.row - HEADER_ROWS
    if 0 <= k < len(built.numbers):
        found["row"] = built.numbers[k]
        found["column"] = readings.columns.get(again.reading, readings.columns.get("corner"))
    return found


def model_of(readings: Readings) -> dict[str, Any] | None:
    """Return a stage's model as the page's script draws it, painted by section area; None where there is no port."""
    import numpy as np

    from portgeo.core.port import Port
    from portgeo.front.skins import skin_of
    from portgeo.front.states import survey
    from portgeo.present.page.models import scales_of, view_data
    from portgeo.present.pictures.model import Model, Paint, Part

    built = build(readings)
    if built.port is None:
        return None
    if not isinstance(built.port, Port):
        from portgeo.app.live.splits import split_model

        return split_model(built.port, readings.stage)
    try:
        measured = survey(built.port, sure=False).computed
        skin = skin_of(built.port)
    except PortgeoError:
        return None  # told with the figures
    area = np.interp(skin.stations, measured.fine_stations, measured.fine_area)
    part: Part = "runner" if readings.part == "runner" else "port"
    model = Model(
        readings.stage, part, skin.vertices, skin.faces, skin.stations, skin.clocks,
        (Paint("area", "section area", area, "area", False),),
    )  # fmt: skip
    display = built.port.display
    return view_data([model], scales_of([model], display), 0, display)


def warm() -> None:
    """Load all that figures need, so that the first reading is answered as quickly as the others."""
    rows = tuple((k, {"station_mm": str(20 * k), "height_mm": "40", "width_mm": "30"}) for k in range(4))
    figures_of(Readings("", "port", "", rows, (), (), {}, "mm", "."), True)


def _plain(values: Any) -> list[float]:
    return [round(value, 6) for value in values.tolist()]


def _finite(value: float) -> float | None:
    return value if value == value else None
