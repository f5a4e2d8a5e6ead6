"""Results as plain records for JSON and tables, in the units that their keys name.

A Survey and the record of its source come in; dictionaries and rows go out. Points are given in the
source's own coordinates, millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from portgeo.report.notices import notices_record
from portgeo.section import WALLS
from portgeo.survey.schedule import Survey
from portgeo.survey.sides import Bend
from portgeo.survey.throat import Throat
from portgeo.units import MM_PER, Display, Notice

_IN_RECORD = {"volume": 1e-3, "least_area": 1.0, "short_side": 1.0}  # its unit is its quantity's: cc, mm2, mm


def survey_record(
    survey: Survey, source: dict[str, Any], warnings: Sequence[Notice], display: Display
) -> dict[str, Any]:
    """Return the full result of `measure`."""
    port = survey.port
    origins = port.to_source(np.array([s.origin for s in survey.sections]))
    normals = port.direction_to_source(np.array([s.frame[0] for s in survey.sections]))
    stations = [
        {
            "station_mm": survey.stations[k],
            "origin_mm": origins[k],
            "normal": normals[k],
            "area_mm2": survey.area[k],
            "area_u_mm2": survey.area_u[k],
            "perimeter_mm": survey.perimeter[k],
            "height_mm": survey.height[k],
            "width_mm": survey.width[k],
            "greatest_height_mm": m.greatest_height,
            "greatest_width_mm": m.greatest_width,
            "hydraulic_diameter_mm": survey.hydraulic_diameter[k],
            "corner_radius_mm": float(m.corner_radii.mean()),
            "corner_radii_mm": m.corner_radii,
            "area_taper_mm2_per_mm": survey.area_taper[k],
            "height_taper_mm_per_mm": survey.height_taper[k],
            "width_taper_mm_per_mm": survey.width_taper[k],
            "cone_angle_deg": float(np.degrees(survey.cone_angle[k])),
            "second_moments_mm4": m.second_moments,
        }
        for k, m in enumerate(survey.measures)
    ]
    record: dict[str, Any] = {
        "schema": "portgeo.measure/1",
        "source": source,
        "warnings": notices_record(warnings, display),
        "volume_cc": survey.volume / 1000.0,
        "volume_u_cc": survey.volume_u / 1000.0,
        "wetted_area_mm2": survey.wetted_area,
        "length_mm": survey.length,
        "mean_area_mm2": survey.mean_area,
        "openings": [_opening(survey, 0, "entry"), _opening(survey, -1, "exit")],
        "stations": stations,
        "least_area": {
            "station_mm": survey.least_station,
            "area_mm2": survey.least_area,
            "area_u_mm2": survey.least_area_u,
        },
        "short_side": _side_record(survey, survey.bend, inner=True),
        "long_side": _side_record(survey, survey.bend, inner=False),
        "throat": throat_record(survey.throat),
        "bends": [_bend_record(survey, bend) for bend in survey.bends],
        "uncertainty": {
            quantity: [{"source": share.source, "u": _IN_RECORD[quantity] * share.u} for share in budget]
            for quantity, budget in survey.budget.items()
        },
        "frame": port.frame,
        "noise_mm": port.noise,
    }
    if survey.blame is not None:
        station_of = {reading.row: reading.station for reading in port.readings}
        record["most_uncertain_reading"] = {
            name: {"row": row, "station_mm": station_of[row], "reading": reading, "share_of_variance": share}
            for name, (row, reading, share) in (
                ("least_area", survey.blame.least_area),
                ("volume", survey.blame.volume),
                *((("short_side", survey.blame.short_side),) if survey.blame.short_side else ()),
            )
        }
    return record


def _opening(survey: Survey, k: int, role: str) -> dict[str, Any]:
    section, port = survey.sections[k], survey.port
    centroid = section.in_space(survey.measures[k].centroid[None])[0]
    return {
        "role": role,
        "origin_mm": port.to_source(centroid),
        "normal": port.direction_to_source(section.frame[0]),
        "area_mm2": survey.area[k],
        # 12 o'clock first; null where the edge is square
        "edge_radius_by_clock_mm": (survey.entry_edge if k == 0 else survey.exit_edge).radius,
    }


def _side_record(survey: Survey, bend: Bend | None, *, inner: bool) -> dict[str, Any] | None:
    side = None if bend is None else bend.short if inner else bend.long
    if bend is None or side is None:
        return None
    wall = WALLS.index(bend.plane.wall)
    return {
        "wall": WALLS[wall if inner else (wall + 2) % 4],
        "inner_wall": bend.plane.wall,
        "radius_mm": side.radius,
        "radius_u_mm": side.radius_u,
        "least_radius_mm": side.least_radius,
        "least_radius_u_mm": side.least_radius_u,
        "turn_deg": float(np.degrees(bend.plane.turn)),
        "station_from_mm": side.station_from,
        "station_to_mm": side.station_to,
        "apex_mm": survey.port.to_source(side.apex),
        "fit_rms_mm": side.fit_rms,
        "headline": {"name": side.headline_name, "mm": side.headline, "u_mm": side.headline_u},
    }


def throat_record(throat: Throat, valve: float | None = None) -> dict[str, Any]:
    """Return the record of a throat; valve : the diameter of its valve's head, mm, where it is known."""
    return {
        "station_mm": throat.station,
        "area_mm2": throat.area,
        "area_u_mm2": throat.area_u,
        "diameter_mm": throat.diameter,
        "from": throat.told_by,
        "percent_of_valve": None if valve is None else throat.percent_of(valve),
    }


def _bend_record(survey: Survey, bend: Bend) -> dict[str, Any]:
    record = _side_record(survey, bend, inner=True)
    assert record is not None
    return record | {"height_mm": bend.height}


def survey_table(survey: Survey, display: Display) -> tuple[list[str], list[list[float]]]:
    """Return the header and rows of the table of stations, in the user's unit."""
    unit = display.unit
    header = [
        f"station_{unit}",
        f"area_{unit}2",
        f"area_u_{unit}2",
        f"height_{unit}",
        f"width_{unit}",
        f"perimeter_{unit}",
        f"hydraulic_diameter_{unit}",
        *(f"corner_{place}_{unit}" for place in ("roof_left", "roof_right", "floor_right", "floor_left")),
        f"area_taper_{unit}2_per_{unit}",
        f"height_taper_{unit}_per_{unit}",
        f"width_taper_{unit}_per_{unit}",
        "cone_angle_deg",
    ]
    length = MM_PER[unit]
    columns = np.column_stack(
        [
            survey.stations / length,
            survey.area / length**2,
            survey.area_u / length**2,
            survey.height / length,
            survey.width / length,
            survey.perimeter / length,
            survey.hydraulic_diameter / length,
            survey.corner_radii / length,
            survey.area_taper / length,
            survey.height_taper,
            survey.width_taper,
            np.degrees(survey.cone_angle),
        ]
    )
    return header, columns.tolist()
