"""What is wanted of a port: areas at stations, a short-side radius, how deep and where a cut may go.

Plain numbers come in (a file's reader makes them); a Target, and the areas it asks of a given port,
go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.section import WALLS
from portgeo.core.units import Display

BLEND_MM = 8.0  # *common practice, no source*: a cut that fades over less shows as a step to finger and flow
FAR_OVER = 2.0  # times the area now: a target that is more, and out of reach, is a slip of the pen
GREATEST_DEPTH_MM = 2.54  # 0.100 in: *common practice, no source*, a large but ordinary cut


@dataclass(frozen=True)
class AreaWanted:
    """An area at a station, or a straight taper between two.

    `start` and `end` are stations (equal for one), `at_start` and `at_end` the areas there: mm2, or
    shares of the throat's area where `of_throat`. `where` is the place in the user's file.
    """

    start: float
    end: float
    at_start: float
    at_end: float
    of_throat: bool = False
    where: str = ""


@dataclass(frozen=True)
class ShortSideWanted:
    """The least radius of the short side, and the stations between which it may be cut (None: anywhere)."""

    radius: float
    start: float | None = None
    end: float | None = None


@dataclass(frozen=True)
class Keep:
    """A part of the wall that no cut may touch: stations, and clock hours (a whole turn by default)."""

    name: str
    start: float
    end: float
    clock_start: float = 0.0
    clock_end: float = 12.0


@dataclass(frozen=True)
class Target:
    """What is wanted of a port; millimetres, mm2.

    blend : the length over which a cut fades. greatest_depth : square to the wall. fill : the
    greatest thickness of epoxy, 0 where none may be put in. walls : those that may be cut. start,
    end : stations between which they may (None: to the opening). throat_area : what percentages
    are of (None: today's throat). like : whether a given port's shape is to be cut as it is.
    """

    areas: tuple[AreaWanted, ...] = ()
    short_side: ShortSideWanted | None = None
    greatest_depth: float = GREATEST_DEPTH_MM
    blend: float = BLEND_MM
    symmetric: bool = False
    fill: float = 0.0
    walls: tuple[str, ...] = WALLS
    start: float | None = None
    end: float | None = None
    throat_area: float | None = None
    keep: tuple[Keep, ...] = ()


def wanted_stations(target: Target) -> FloatArray:
    """Return the stations (k,), rising, at which a target names an area."""
    return np.unique([s for wanted in target.areas for s in (wanted.start, wanted.end)])


def wanted_areas(target: Target, stations: FloatArray, throat_area: float) -> FloatArray:
    """Return the area wanted at each station (n,), nan where none is: the largest where several are."""
    wanted = np.full(len(stations), np.nan)
    for each in target.areas:
        share = np.clip((stations - each.start) / max(each.end - each.start, 1e-12), 0.0, 1.0)
        area = each.at_start + share * (each.at_end - each.at_start)
        inside = (stations >= each.start - 1e-9) & (stations <= each.end + 1e-9)
        wanted[inside] = np.fmax(wanted[inside], area[inside] * (throat_area if each.of_throat else 1.0))
    return wanted


def check_target(target: Target, port: Port, display: Display) -> None:
    """Refuse a target that this port cannot be asked for: stations outside it, told in `display`'s unit."""
    first, last = port.centreline.stations[[0, -1]]
    places = [(w.where or "area", s) for w in target.areas for s in (w.start, w.end)]
    if target.short_side is not None:
        ends = (target.short_side.start, target.short_side.end)
        places += [("short_side", s) for s in ends if s is not None]
    for where, station in places:
        if not first - 1e-6 <= station <= last + 1e-6:
            raise InputError(
                f"station {display.length(station)} is outside the port, which runs from "
                f"{display.length(first, label=False)} to {display.length(last)}",
                where=where,
                hint="Name a station along the centerline, from the entry",
            )


def check_areas(
    target: Target, stations: FloatArray, areas: FloatArray, girth: FloatArray, throat_area: float, display: Display
) -> None:
    """Refuse an area wanted that is far over the one now and that no cut of the greatest depth can give.

    stations, areas, girth (n,) : of the port as it is. Grown by a depth all round, a convex section has its area, plus
    girth times depth, plus a circle of that radius (Steiner's formula); others have less.
    """
    deepest = target.greatest_depth
    for each in target.areas:
        for station, wanted in ((each.start, each.at_start), (each.end, each.at_end)):
            asked = wanted * (throat_area if each.of_throat else 1.0)
            now, around = (float(np.interp(station, stations, values)) for values in (areas, girth))
            most = now + around * deepest + np.pi * deepest**2
            if asked > max(FAR_OVER * now, most):
                raise InputError(
                    f"the area wanted at station {display.length(station)}, {display.area(asked)}, is "
                    f"{asked / now:.1f} times the {display.area(now)} there now; a cut {display.length(deepest)} deep "
                    f"all round makes {display.area(most)} at most",
                    where=each.where,
                    hint="Check its decimal point and its unit; if you mean it, raise greatest_depth",
                )
