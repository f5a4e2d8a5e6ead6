"""The search for the cut that calms the air most for its metal: solve, step within trust, solve anew.

A port's cuts, the flow grids in them and the aim come in; for each amount of metal the best cut goes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from portgeo.calming.aim import Aim, Term, value_of
from portgeo.calming.cuts import Cuts
from portgeo.calming.laying import FlowGrids
from portgeo.calming.programme import best_step
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray
from portgeo.flow.sensitivity import speeds
from portgeo.reshape.grid import area_slopes, areas_after

MOST_STEPS = 14
TRUST_MM = 0.5  # first step of any bump
GOOD, POOR = 0.75, 0.4  # shares of the promised gain: with more the trust grows, with less it shrinks
GROWS, SHRINKS = 1.5, 0.4
SETTLED = 2e-4  # of the aim: a step that promises less ends the search
LEAST_TRUST_MM = 0.01
METAL_EXACT = 2e-3  # of the metal asked for


@dataclass(frozen=True)
class Place:
    """Where the search stands: amounts (w,), travel (n, m), metal mm3 and its slope (w,), the aim and its terms."""

    amount: FloatArray
    travel: FloatArray
    metal: float
    metal_slope: FloatArray
    aim: float
    terms: list[Term]


@dataclass(frozen=True)
class Search:
    """A port's cuts, flow grids and aim. ceiling (n,) : the most area at each row, mm2, inf where there is none."""

    cuts: Cuts
    grids: FlowGrids
    aim: Aim
    ceiling: FloatArray
    energy: sparse.csc_matrix

    def at(self, amount: FloatArray) -> Place:
        """Return the place of amounts (w,). Raises GeometryError where no grid can be laid."""
        travel = self.cuts.travel(amount)
        grid, inside = self.grids.laid(travel)
        found = speeds(grid, self.grids.ways(grid, inside, self.cuts.spread))
        terms = self.aim.terms(found.speed[inside], found.change[inside])
        metal, slope = self.cuts.metal(travel)
        smooth = 0.5 * float(amount @ (self.energy @ amount))
        return Place(amount, travel, metal, slope, value_of(terms) + smooth, terms)

    def best(self, start: Place, most: float | None, price: float = 0.0) -> tuple[Place, FloatArray]:
        """Return the best cut of at most so much metal (mm3), or at a price of it (aim a mm3), from a place.

        With it, what the aim would fall by for a mm more of each bump's bound (w,).
        """
        now, trust = start, TRUST_MM
        worth = np.zeros(len(now.amount))
        for _ in range(MOST_STEPS):
            low = np.maximum(-now.amount, -trust)
            high = np.minimum(self.cuts.most - now.amount, trust)
            taken = [] if most is None else [(now.metal_slope, max(most - now.metal, float(now.metal_slope @ low)))]
            step = best_step(
                now.terms, now.amount, low, high, [*taken, *self._areas(now, low)], self.energy, price * now.metal_slope
            )
            worth = np.where(high < trust, step.worth, 0.0)
            cost = now.aim + price * now.metal
            after = now.amount + step.change
            promised = (
                cost
                - step.aim
                - 0.5 * float(after @ (self.energy @ after))
                - price * (now.metal + float(now.metal_slope @ step.change))
            )
            over = 0.0 if most is None else now.metal - most
            if promised < SETTLED * now.aim and over < METAL_EXACT * max(most or 0.0, 1.0):
                break
            try:
                there = self.at(now.amount + step.change)
            except GeometryError:
                trust *= SHRINKS
                if trust < LEAST_TRUST_MM:
                    break
                continue
            gain = cost - there.aim - price * there.metal
            if gain > 0.0 or over > METAL_EXACT * (most or 0.0):
                now = there
            trust *= GROWS if gain > GOOD * promised else SHRINKS if gain < POOR * promised else 1.0
            if trust < LEAST_TRUST_MM:
                break
        return now, worth

    def _areas(self, now: Place, low: FloatArray) -> list[tuple[FloatArray, float]]:
        """Return what keeps each row under its most area, as rows of the programme."""
        rows = np.flatnonzero(np.isfinite(self.ceiling))
        if not len(rows):
            return []
        room = self.ceiling[rows] - areas_after(self.cuts.grid, now.travel)[rows]
        slopes = area_slopes(self.cuts.grid, now.travel)[rows]
        m = slopes.shape[1]
        found = []
        for row, slope, left in zip(rows, slopes, room, strict=True):
            each = slope @ self.cuts.spread[row * m : (row + 1) * m]
            found.append((each, max(float(left), float(each @ low))))
        return found
