"""Evening out a set: how far each runner must be opened for all to pass as much, and what that takes.

Areas of the runners at common stations come in; choices of what to cut to go out, the least metal first. Cutting only
opens: a runner that is larger than what the others are cut to stays as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from portgeo.core.plane import FloatArray

LOWERED = 0.98  # of the spread: a cut that leaves more of it is for nothing
EVEN = 0.02  # of the area: runners this close pass the same, *common practice, no source*
To = Literal["median", "largest_but_odd", "largest"]


@dataclass(frozen=True)
class Evening:
    """One choice of what to cut to. Areas mm2, metal mm3, lengths mm.

    to : the schedule that runners are opened to. stations, wanted (n,) : that schedule. after (k, n) : areas then.
    metal (k,) : to come out of each, 0 of one that stays. deepest (k,) : the cut's mean depth round the section
    where it is deepest, and deepest_at (k,) its station. spread : greatest less least area over their mean, the most
    at any station, without the runners of left_out. left_out : those that are odd and larger, to which nobody is cut.
    """

    to: To
    stations: FloatArray
    wanted: FloatArray
    after: FloatArray
    metal: FloatArray
    deepest: FloatArray
    deepest_at: FloatArray
    spread: float
    left_out: tuple[int, ...]

    @property
    def total(self) -> float:
        """The metal of all runners."""
        return float(self.metal.sum())


def evenings(
    stations: FloatArray, areas: FloatArray, perimeters: FloatArray, own_u: FloatArray, odd: int | None
) -> tuple[Evening, ...]:
    """Return what the runners can be cut to, the least metal first.

    areas, perimeters, own_u (k, n) at stations (n,) : the last is what each area is unsure by, alone. odd : the runner
    that stands out. Where a runner is short of what is wanted by less than the readings can tell nothing is taken.
    """
    left_out = () if odd is None or over_others(areas, odd) <= 0.0 else (odd,)
    but_odd = np.delete(areas, left_out, axis=0)
    targets: list[tuple[To, FloatArray]] = [("median", np.median(but_odd, axis=0)), ("largest", areas.max(axis=0))]
    if left_out:
        targets.append(("largest_but_odd", but_odd.max(axis=0)))
    # The schedule that is cut to is a runner's own in most places, and unsure as one is.
    unsure = 2.0 * np.hypot(own_u, own_u.mean(axis=0))
    found = []
    for to, wanted in targets:
        short = np.where(wanted - areas > unsure, wanted - areas, 0.0)
        depth, after = short / perimeters, areas + short
        leaves = () if to == "largest" else left_out
        kept = np.delete(after, leaves, axis=0)
        found.append(
            Evening(
                to=to,
                stations=stations,
                wanted=wanted,
                after=after,
                metal=np.trapezoid(short, stations, axis=1),
                deepest=depth.max(axis=1),
                deepest_at=stations[depth.argmax(axis=1)],
                spread=float(spread_of(kept).max()),
                left_out=leaves,
            )
        )
    return tuple(sorted(found, key=lambda each: each.total))


def spread_of(areas: FloatArray) -> FloatArray:
    """Return the greatest less the least area over their mean (n,), of runners' areas (k, n)."""
    return np.asarray(np.ptp(areas, axis=0) / areas.mean(axis=0))


def over_others(areas: FloatArray, k: int) -> float:
    """Return by how much a runner's area is over the mean of the others', on average, mm2."""
    return float(areas[k].mean() - np.delete(areas, k, axis=0).mean())


def advised(choices: tuple[Evening, ...], tells: float, areas: FloatArray) -> int | None:
    """Return the number of the choice with the least metal after which the runners are even; of none, the most even.

    tells : the share of an area that the readings can tell two runners apart by. areas (k, n) : now. None where nothing
    is taken, or what is taken brings nobody nearer.
    """
    even = [k for k, choice in enumerate(choices) if choice.spread <= max(EVEN, tells)]
    best = even[0] if even else min(range(len(choices)), key=lambda k: choices[k].spread)
    now = float(spread_of(np.delete(areas, choices[best].left_out, axis=0)).max())
    return best if choices[best].spread < LOWERED * now else None
