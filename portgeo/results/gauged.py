"""Gauges as they are given out: what each is of, and its lengths.

Gauges with their port come in; a Gauged, which `templates` writes with what it was drawn on, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from portgeo.core.units import Display
from portgeo.reshape.gauges import Gauge
from portgeo.results.figures import Result, figure, inside
from portgeo.results.notices import Remark, remarks


@dataclass(frozen=True)
class Gauged(Result):
    """Gauges at 1:1: each with its name, its station (None for one that runs along the port) and its lengths."""

    computed: tuple[Gauge, ...] = inside(lambda gauges, *_: gauges)
    display: Display = inside(lambda gauges, port, notices: port.display)
    schema: str = figure(lambda *_: "portgeo.templates/1")
    source: Mapping[str, Any] = figure(lambda gauges, port, notices: port.source)
    warnings: tuple[Remark, ...] = figure(
        lambda gauges, port, notices: remarks((*port.warnings, *notices), port.display)
    )
    gauges: Sequence[Mapping[str, Any]] = figure(lambda gauges, *_: [_record(gauge) for gauge in gauges])


def _record(gauge: Gauge) -> dict[str, Any]:
    lengths = {f"{name.replace(' ', '_')}_mm": length for name, length in gauge.lengths.items()}
    return {"name": gauge.name, "station_mm": gauge.station} | lengths
