"""Mouth: the stretch at an opening where the wall flares out all round, a runner's bellmouth: no part of a bend.

A bend and the areas along its port come in; the bend's own stretch, its mouths left out, goes out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.measuring.bends import BendPlane
from portgeo.measuring.flare import LEAN, LEAST_OPENING, REACH

PAST = 1.0 / (1.0 - np.sin(LEAN))  # of the depth at which a rounding leans by LEAN: there it is upright


def off_mouths(bend: BendPlane, stations: FloatArray, areas: FloatArray) -> BendPlane:
    """Return a bend whose own stretch ends where mouths begin: their flare turns as a short side does, and tighter.

    stations, areas (n,) : from opening to opening. Where the circle of the same area widens towards an opening by more
    than LEAST_OPENING is a mouth, as far as it leans; what leans farther in is the port's own taper.
    """
    radius = np.sqrt(areas / np.pi)
    first = float(stations[0]) + _depth_of_mouth(stations - stations[0], radius)
    last = float(stations[-1]) - _depth_of_mouth((stations[-1] - stations)[::-1], radius[::-1])
    if bend.turns_to <= first or bend.turns_from >= last:
        return bend
    # One that ends short of an opening ends at a seat, or at the next bend.
    begin = first if bend.begin <= stations[0] else bend.begin
    end = last if bend.end >= stations[-1] else bend.end
    return replace(bend, begin=begin, end=end)


def _depth_of_mouth(depth: FloatArray, radius: FloatArray) -> float:
    lean = np.arctan2(radius[:-1] - radius[1:], np.diff(depth))
    upright = np.flatnonzero(lean < LEAN)
    if lean[0] < LEAST_OPENING or len(upright) == 0 or depth[upright[0]] > REACH * radius[0]:
        return 0.0
    return float(PAST * depth[upright[0]])
