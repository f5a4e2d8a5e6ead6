"""The search for the cut that calms the air most for its metal: solve, step within trust, solve anew.

A port's cuts, the flow grids in them and the aim come in; for each amount of metal the best cut goes out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from portgeo.calming.aim import Aim, Term
from portgeo.calming.cuts import Cuts
from portgeo.calming.laying import FlowGrids
from portgeo.calming.programme import best_step
from portgeo.core.errors import GeometryError
from portgeo.core.plane import FloatArray
from portgeo.flow.sensitivity import WallFlow, wall_flow
from portgeo.reshape.grid import area_slopes, areas_after

MOST_STEPS = 30
TRUST_MM, MOST_TRUST_MM = 0.5, 1.0  # first step of any bump, and the most
# Shares of the promised gain (Conn, Gould and Toint, Trust-Region Methods, SIAM 2000, 6.1; from memory): a step that
# brings less than TAKEN is not taken, with more than GOOD the trust grows, with less than POOR it shrinks.
TAKEN, GOOD, POOR = 0.05, 0.75, 0.3
GROWS, SHRINKS = 2.0, 0.5
SETTLED = 1e-4  # of the aim: a step that promises less ends the search
LEAST_TRUST_MM = 1e-3
OVER_PRICE = 2.0  # of a multiplier: what a limit passed costs a step that is judged, more than passing it can gain
METAL_EXACT = 2e-3  # of the metal asked for


@dataclass(frozen=True)
class Place:
    """Where the search stands: amounts (w,), travel (n, m), metal mm3 and its slope (w,), the aim and the flow there.

    terms : of the aim. They take longer than all else and only a step that was taken needs them, so they are made when
    they are asked for.
    """

    amount: FloatArray
    travel: FloatArray
    metal: float
    metal_slope: FloatArray
    aim: float
    flow: WallFlow
    terms_of: Callable[[WallFlow], list[Term]]

    @cached_property
    def terms(self) -> list[Term]:
        """The terms of the aim, with their slopes."""
        return self.terms_of(self.flow)


@dataclass(frozen=True)
class Worth:
    """What the aim would fall by for a mm more of each bump (w,), of each place's depth (n m,); an area (n,), mm2.

    metal : for a mm3 more.
    """

    bumps: FloatArray
    places: FloatArray
    areas: FloatArray
    metal: float


@dataclass(frozen=True)
class Search:
    """A port's cuts, flow grid and aim. ceiling (n,) : the most area at each row, mm2, inf where there is none."""

    cuts: Cuts
    grids: FlowGrids
    aim: Aim
    ceiling: FloatArray
    energy: sparse.csc_matrix

    @cached_property
    def _ways(self) -> sparse.csr_matrix:
        return (self.grids.follow @ self.cuts.spread).tocsr()

    def at(self, amount: FloatArray) -> Place:
        """Return the place of amounts (w,). Raises GeometryError where the flow grid would fold."""
        travel = self.cuts.travel(amount)
        flow = wall_flow(self.grids.laid(travel))
        metal, slope = self.cuts.metal(travel)
        smooth = 0.5 * float(amount @ (self.energy @ amount))
        aim = self.aim.value(flow.speed[self.grids.inside]) + smooth
        return Place(amount, travel, metal, slope, aim, flow, self._terms)

    def _terms(self, flow: WallFlow) -> list[Term]:
        inside = self.grids.inside
        return self.aim.terms(flow.speed[inside], flow.change(self._ways)[inside])

    def held_back(self, place: Place, worth: Worth) -> FloatArray:
        """Return what the aim would fall by for a mm of each bump that is held (h,), past what it takes of limits."""
        costs = worth.metal * self.cuts.metal_slope(place.travel).ravel() + worth.places
        rows = np.flatnonzero(worth.areas)
        costs += np.asarray(self._area_rows(place, rows).T @ worth.areas[rows])
        weights = np.zeros(place.flow.speed.shape)
        weights[self.grids.inside] = self.aim.by_speed(place.flow.speed[self.grids.inside])
        costs += self.grids.follow.T @ place.flow.slope(weights)
        return np.maximum(-(costs @ self.cuts.held), 0.0)

    def best(self, start: Place, most: float | None, price: float = 0.0) -> tuple[Place, Worth]:
        """Return the best cut of at most so much metal (mm3), or at a price of it (aim a mm3), from a place.

        With it, what more of each limit would bring. A step is judged by the aim and what it passes limits by, at a
        price of more than their multipliers (an exact penalty), so that what is taken always gets better.
        """
        now, trust = start, TRUST_MM
        areas = np.flatnonzero(np.isfinite(self.ceiling))
        limit = self.cuts.limit.ravel()
        count, use = len(areas), 1.0 if most is None else most
        scale = np.concatenate(
            [[max(use, 1.0)], self.ceiling[areas]]
        )  # rows as shares: the solver's digits go with them
        dear = np.zeros(count + 1)

        def over(place: Place) -> FloatArray:
            used = -1.0 if most is None else place.metal / scale[0] - 1.0
            return np.append(used, areas_after(self.cuts.grid, place.travel)[areas] / scale[1:] - 1.0)

        def cost(place: Place) -> float:
            return place.aim + price * place.metal + float(dear @ np.maximum(over(place), 0.0))

        worth = Worth(np.zeros(len(now.amount)), np.zeros(limit.size), np.zeros(len(self.ceiling)), price)
        for _ in range(MOST_STEPS):
            low = np.maximum(-now.amount, -trust)
            high = np.maximum(np.minimum(self.cuts.most - now.amount, trust), 0.0)
            near = self.cuts.near(now.amount + high)
            used = sparse.csr_matrix((0.0 if most is None else 1.0) * now.metal_slope[None])
            rows = sparse.vstack(
                [
                    sparse.diags(1.0 / scale) @ sparse.vstack([used, self._area_rows(now, areas) @ self.cuts.spread]),
                    self.cuts.spread[near],
                ],
                format="csr",
            )
            left = np.concatenate([-over(now), np.maximum(limit[near] - self.cuts.spread[near] @ now.amount, 0.0)])
            least = rows[: count + 1] @ low  # what is passed already is mended as far as the trust goes
            left[: count + 1] = np.maximum(left[: count + 1], least)
            step = best_step(now.terms, now.amount, low, high, rows, left, self.energy, price * now.metal_slope)
            multipliers = step.taken[: count + 1] / scale
            by_area = np.zeros(len(self.ceiling))
            by_area[areas] = multipliers[1:]
            by_place = np.zeros(limit.size)
            by_place[near] = step.taken[count + 1 :]
            worth = Worth(
                np.where(high < trust, step.worth, 0.0),
                by_place,
                by_area,
                multipliers[0] if most is not None else price,
            )
            dear = np.maximum(dear, OVER_PRICE * step.taken[: count + 1])
            after = now.amount + step.change
            bent = 0.5 * float(after @ (self.energy @ after) - now.amount @ (self.energy @ now.amount))
            passed = float(
                dear @ (np.maximum(over(now), 0.0) - np.maximum(rows[: count + 1] @ step.change + over(now), 0.0))
            )
            promised = step.promised - bent - price * float(now.metal_slope @ step.change) + passed
            if promised < SETTLED * now.aim:
                break
            try:
                there = self.at(after)
                gain = cost(now) - cost(there)
            except GeometryError:
                gain = -np.inf
            if gain > TAKEN * promised:
                now = there
            if gain < POOR * promised:
                trust = SHRINKS * float(np.abs(step.change).max())
            elif gain > GOOD * promised:
                trust = min(max(trust, GROWS * float(np.abs(step.change).max())), MOST_TRUST_MM)
            if trust < LEAST_TRUST_MM:
                break
        return now, worth

    def _area_rows(self, now: Place, rows: np.ndarray) -> sparse.csr_matrix:
        """Return the change of areas at rows (k, n m) with each place's travel."""
        slopes = area_slopes(self.cuts.grid, now.travel)[rows]
        m = slopes.shape[1]
        index = (rows[:, None] * m + np.arange(m)).ravel()
        shape = len(rows), self.cuts.limit.size
        return sparse.csr_matrix((slopes.ravel(), index, np.arange(len(rows) + 1) * m), shape=shape)
