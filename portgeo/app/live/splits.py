"""A port that splits on the page to type into: its figures, its areas in one chart, all of it in 3D.

A MeasuredSplit, or the port, comes in; plain values for JSON go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from portgeo.app.live.answer_parts import said_lines, shown_table
from portgeo.core.errors import PortgeoError

if TYPE_CHECKING:
    from portgeo.core.split import SplitPort
    from portgeo.core.units import Display
    from portgeo.results.changed_split import ChangedSplit
    from portgeo.results.split import MeasuredSplit


def split_told(measured: MeasuredSplit, stage: str) -> dict[str, Any]:
    """Return what the page shows of a survey of a port that splits: the answer, the chart's series, what to look at."""
    remarks = {
        (r.code, r.message): r for r in (*measured.warnings, *(r for p in measured.passages for r in p.warnings))
    }
    return {
        "figures": _figures(measured),
        "chart": _chart(measured, stage),
        "notices": [
            {"code": remark.code, "message": remark.message, "values": remark.to_dict()["values"]}
            for remark in remarks.values()
        ],
    }


def _figures(measured: MeasuredSplit) -> dict[str, Any]:
    """Return the figures: volume and least room of the whole, short side and throat of each leg."""
    d, least = measured.computed.port.display, measured.least_area
    parts = ", ".join(f"{part.name} {part.volume_cc:.2f}" for part in measured.passages)
    where = "the legs together" if least.in_legs else "the trunk"
    u = measured.volume_u_cc
    return {
        "volume": {
            "label": "Volume", "text": d.volume(1000.0 * measured.volume_cc),
            "u_text": f"± {max(2.0 * u, 0.01):.2f} cc" if u == u else None, "where": parts,
            "volume_cc": measured.volume_cc, "volume_u_cc": u if u == u else None,
        },
        "least_area": {
            "label": "Minimum area", "text": d.area(least.area_mm2), "u_text": None,
            "where": f"at station {d.length(least.station_mm)}, {where}",
            "area_mm2": least.area_mm2, "station_mm": least.station_mm,
        },
        "throat": _of_legs(measured, "Throat", d, [leg.throat.diameter_mm for leg in measured.legs]),
        "short_side": _of_legs(
            measured, "Short side", d, [leg.short_side.headline.mm if leg.short_side else None for leg in measured.legs]
        ),
    }  # fmt: skip


def _of_legs(measured: MeasuredSplit, label: str, d: Display, sizes: list[float | None]) -> dict[str, Any]:
    """Return a length of every leg as one figure: the first leg's, and the others' under it."""
    said = [(leg.name, d.length(size)) for leg, size in zip(measured.legs, sizes, strict=True) if size is not None]
    if not said:
        return {"label": label, "text": "none", "u_text": None, "where": ""}
    (name, text), *others = said
    where = ", ".join(f"{other} {size}" for other, size in others)
    return {"label": f"{label}, {name}", "text": text, "u_text": None, "where": where}


def _chart(measured: MeasuredSplit, stage: str) -> dict[str, Any]:
    """Return the areas of trunk, legs and legs together, in the user's unit."""
    d = measured.computed.port.display
    length, area = d.of_length(1.0), d.of_area(1.0)
    lines = [
        (part.name, part.measured.stations.station_mm, part.measured.stations.area_mm2) for part in measured.passages
    ]
    lines.append(("legs together", measured.legs_together.station_mm, measured.legs_together.area_mm2))
    plain = {"band": None, "ghost": False}
    rows = sorted({float(row) for part in measured.passages for row in part.measured.computed.port.rows})
    return {
        "x_label": f"station from the entry, {d.unit}", "y_label": f"area, {d.area_unit}",
        "units": [d.unit, d.area_unit], "decimals": [3, 3] if d.unit == "in" else [2, 1],
        "series": [
            {"name": f"{stage}, {name}", "x": _plain(x * length), "y": _plain(y * area), "style": 1 + k} | plain
            for k, (name, x, y) in enumerate(lines)
        ],
        "spans": [], "read_at": [round(row * length, 6) for row in rows],
    }  # fmt: skip


def split_model(whole: SplitPort, stage: str, changed: ChangedSplit | None = None) -> dict[str, Any] | None:
    """Return all of a port that splits as the page's script draws it; None where it cannot be measured.

    changed : from the stage before, to paint it by the depth of the cut.
    """
    from portgeo.front.skins import depths_cut, skins_of
    from portgeo.front.states import survey
    from portgeo.present.page.models import scales_of, view_data
    from portgeo.present.pictures.whole import whole_model

    try:
        measured = survey(whole, sure=False)
        skins = skins_of(whole, whole.trunk)
    except PortgeoError:
        return None  # told with the figures
    depths = {} if changed is None else depths_cut(changed, skins, whole.trunk)
    model = whole_model(stage, skins, {p.name: p.measured.computed for p in measured.passages}, "port", depths)
    return view_data([model], scales_of([model], whole.display), 0, whole.display)


def split_compared(
    before: SplitPort, after: SplitPort, stages: tuple[str, str], metal: Mapping[str, Any]
) -> dict[str, Any]:
    """Return what was cut from one stage of a port that splits to the next: all of it, each passage's table, in 3D."""
    from portgeo.front.states import compare
    from portgeo.present.text.compare import split_comparison_text

    changed = compare(before, after, **metal)
    text = split_comparison_text(changed, " to ".join(stages), metal.get("alloy") or "metal")
    tables = [
        shown_table(f"By station, {part.name}", part.changed.stations, before.display) for part in changed.passages
    ]
    model = split_model(after, stages[1], changed)
    return {"lines": said_lines(text), "tables": tables, "files": [], "stage": stages[1], "model": model}


def _plain(values: Any) -> list[float]:
    return [round(value, 6) for value in values.tolist()]
