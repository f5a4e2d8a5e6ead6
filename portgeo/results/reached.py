"""The result of a tool's reach: every figure of it, declared once.

A Reach with its port comes in; a Reached, which is the JSON of `reach`, goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.units import Display
from portgeo.reshape.cut_table import HOURS, at_hours
from portgeo.reshape.missed import missed
from portgeo.reshape.reach import Reach
from portgeo.results.figures import Result, Table, figure, inside
from portgeo.results.notices import Remark, remarks

CAUTIONS = (
    "A long shank whips: keep within the speed its maker gives for the free length, and start it in the port.",
    "Wear eye and ear protection and a mask for fine metal dust.",
)  # *common practice, no source*


@dataclass(frozen=True)
class ToolTried(Result):
    """A straight tool."""

    head_mm: float = figure(lambda tool: tool.head)
    head_length_mm: float = figure(lambda tool: tool.head_length)
    shank_mm: float = figure(lambda tool: tool.shank)
    collet_mm: float = figure(lambda tool: tool.collet)
    free_length_mm: float = figure(lambda tool: tool.free_length)


@dataclass(frozen=True)
class ShareOfWall(Result):
    """How much of the wall the tool gets to, from where."""

    both: float = figure(lambda r: r.share(3), "from both ends", page=True, kind="percent")
    entry_only: float = figure(lambda r: r.share(1), "from the entry only", page=True, kind="percent")
    exit_only: float = figure(lambda r: r.share(2), "from the exit only", page=True, kind="percent")
    neither: float = figure(lambda r: r.share(0), "from neither end", page=True, kind="percent")
    head_too_large: float = figure(lambda r: float(r.area[~r.head_fits].sum() / r.area.sum()))


@dataclass(frozen=True)
class MissedStretch(Result):
    """A stretch of a wall that the burr does not reach from either end, why, and the free length that would."""

    wall: str = figure(lambda m: m.wall)
    station_from_mm: float = figure(lambda m: m.start)
    station_to_mm: float = figure(lambda m: m.end)
    cause: str = figure(lambda m: m.cause)
    free_length_mm: float = figure(lambda m: m.free_length)
    from_: str | None = figure(lambda m: None if np.isnan(m.free_length) else "exit" if m.from_exit else "entry")


@dataclass(frozen=True)
class FreeLengths(Table):
    """The free length that a tool needs to each place, by station and clock hour; nan where none gets there."""

    station_mm: FloatArray = figure(lambda r: r.grid.stations, csv=True)
    free_length_mm: FloatArray = figure(
        lambda r: at_hours(r.grid, r.needed),
        csv="free_length_{}_oclock_mm",
        each=tuple(f"{hour:.0f}" for hour in HOURS),
    )


@dataclass(frozen=True)
class Reached(Result):
    """Where a straight tool gets to. Maps (n, m) are by station and clock; `reached_means` says its numbers."""

    computed: Reach = inside(lambda r, port: r)
    display: Display = inside(lambda r, port: port.display)
    notices: tuple[Notice, ...] = inside(lambda r, port: port.warnings)
    lengths: FreeLengths = inside(lambda r, port: FreeLengths.of(r))
    schema: str = figure(lambda r, port: "portgeo.reach/1")
    source: Mapping[str, Any] = figure(lambda r, port: port.source)
    warnings: tuple[Remark, ...] = figure(lambda r, port: remarks(port.warnings, port.display))
    tool: ToolTried = figure(lambda r, port: ToolTried.of(r.tool))
    share_of_wall: ShareOfWall = figure(lambda r, port: ShareOfWall.of(r))
    missed: tuple[MissedStretch, ...] = figure(lambda r, port: tuple(MissedStretch.of(m) for m in missed(r)))
    depth_from_entry_mm: Mapping[str, float] = figure(lambda r, port: _depth(r, from_exit=False))
    depth_from_exit_mm: Mapping[str, float] = figure(lambda r, port: _depth(r, from_exit=True))
    free_length_for_all_mm: float = figure(lambda r, port: everything(r)[0])
    share_any_straight_tool: float = figure(lambda r, port: everything(r)[1])
    stations_mm: FloatArray = figure(lambda r, port: r.grid.stations)
    clock_hours: FloatArray = figure(lambda r, port: r.grid.clock)
    reached: IntArray = figure(lambda r, port: r.reached)
    reached_means: Mapping[str, str] = figure(lambda r, port: {"0": "neither", "1": "entry", "2": "exit", "3": "both"})
    free_length_from_entry_mm: FloatArray = figure(lambda r, port: r.from_entry)
    free_length_from_exit_mm: FloatArray = figure(lambda r, port: r.from_exit)
    cautions: Sequence[str] = figure(lambda r, port: list(CAUTIONS))


def everything(reach: Reach) -> tuple[float, float]:
    """Return the free length that reaches all that any straight tool reaches, and that share of the wall."""
    finite = np.isfinite(reach.needed)
    share = float(reach.area[finite].sum() / reach.area.sum())
    return (float(reach.needed[finite].max()) if finite.any() else float("nan")), share


def _depth(reach: Reach, *, from_exit: bool) -> dict[str, float]:
    return dict(zip(("all_round", "in_places"), reach.deepest(from_exit), strict=True))
