"""A comparison as a plain record for JSON and rows for a table, in the units that their keys name.

A Comparison and the records of its two sources come in; dictionaries and rows go out. Points are in
BEFORE's own coordinates, millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from portgeo.comparing.comparison import Comparison
from portgeo.comparing.state import State
from portgeo.results.notices import notices_record
from portgeo.units import MM_PER, Display, Notice


def comparison_record(
    found: Comparison,
    sources: dict[str, Any],
    density: float,
    warnings: Sequence[Notice],
    display: Display,
) -> dict[str, Any]:
    """Return the full result of `compare`. sources : of `before` and `after`. density : g/cc."""
    depth, rows, before = found.depth, found.rows, found.before
    change = rows.change
    return {
        "schema": "portgeo.compare/1",
        "source": sources,
        "warnings": notices_record(warnings, display),
        "removed_cc": found.removed / 1000.0,
        "removed_u_cc": found.removed_u / 1000.0,
        "added_cc": found.added / 1000.0,
        "added_u_cc": found.added_u / 1000.0,
        # The last digits of sums made in several threads are not the same each time.
        "below_noise_cc": round(found.below_noise / 1000.0, 9) + 0.0,
        "net_cc": found.net / 1000.0,
        "net_u_cc": found.net_u / 1000.0,
        "removed_g": found.grams(density),
        "density_g_cc": density,
        "volume": {
            "before_cc": found.before_volume / 1000.0,
            "after_cc": found.after_volume / 1000.0,
            "before_beyond_cc": found.before_beyond / 1000.0,
            "after_beyond_cc": found.after_beyond / 1000.0,
            "station_from_mm": found.stretch[0],
            "station_to_mm": found.stretch[1],
        },
        "alignment": {
            "method": found.alignment.method,
            "matrix": found.alignment.to_source,
            "rms_mm": found.alignment.rms,
            "fixed_share": found.alignment.fixed_share,
            "depth_u_mm": found.depth_u,
            "other_fits": [
                {"agrees_here": fit.here, "agrees_there": fit.there, "apart_mm": fit.apart}
                for fit in found.alignment.others
            ],
        },
        "depth": {
            "noise_mm": depth.noise,
            "mean_mm": depth.mean,
            "p95_mm": depth.p95,
            "max_mm": depth.deepest,
            "max_u_mm": found.depth_u,
            "max_at_mm": before.to_source(depth.deepest_at),
            "max_station_mm": depth.deepest_station,
            "max_clock": depth.deepest_clock,
        },
        "stations": [
            {
                "station_mm": rows.stations[k],
                "before_mm2": rows.before[k],
                "after_mm2": rows.after[k],
                "change_mm2": change[k],
                "change_percent": 100.0 * change[k] / rows.before[k],
                "depth_roof_mm": rows.roof[k],
                "depth_floor_mm": rows.floor[k],
                "depth_left_mm": rows.left[k],
                "depth_right_mm": rows.right[k],
                "depth_roof_u_mm": found.row_depth_u[k, 0],
                "depth_floor_u_mm": found.row_depth_u[k, 1],
                "depth_left_u_mm": found.row_depth_u[k, 2],
                "depth_right_u_mm": found.row_depth_u[k, 3],
            }
            for k in range(len(rows.stations))
        ],
        "walls": {
            name: {
                "mean_mm": wall.mean,
                "mean_u_mm": wall.mean_u,
                "max_mm": wall.deepest,
                "max_u_mm": wall.deepest_u,
                "removed_cc": wall.removed / 1000.0,
                "removed_u_cc": wall.removed_u / 1000.0,
                "area_mm2": wall.area,
            }
            for name, wall in found.walls.items()
        },
        "least_area": _pair(found, lambda s: {"station_mm": s.least_station, "area_mm2": s.least_area}),
        "short_side_radius_mm": _pair(found, lambda s: s.short_side.radius if s.short_side else None),
        "taper_mm2_per_mm": _pair(found, lambda s: s.taper),
        "length_mm": _pair(found, lambda s: s.length),
        "look_at": [
            {
                "kind": spot.kind,
                "station_mm": spot.station,
                "clock": spot.clock,
                "height_mm": spot.height,
                ("length_mm" if spot.kind == "step" else "area_mm2"): spot.size,
            }
            for spot in found.spots
        ],
        "frame": before.frame,
    }


def _pair(found: Comparison, of: Any) -> dict[str, Any]:
    states: tuple[tuple[str, State], ...] = (("before", found.before_state), ("after", found.after_state))
    return {name: of(state) for name, state in states}


def comparison_table(found: Comparison, display: Display) -> tuple[list[str], list[list[float]]]:
    """Return the head and the rows by station, in the user's unit."""
    unit, rows = display.unit, found.rows
    head = [f"station_{unit}", f"before_{unit}2", f"after_{unit}2", f"change_{unit}2", "change_percent"]
    head += [f"depth_{name}_{unit}" for name in ("roof", "floor", "left", "right")]
    per = MM_PER[unit]
    columns = np.column_stack(
        [
            rows.stations / per,
            rows.before / per**2,
            rows.after / per**2,
            rows.change / per**2,
            100.0 * rows.change / rows.before,
            *(values / per for values in (rows.roof, rows.floor, rows.left, rows.right)),
        ]
    )
    return head, columns.tolist()
