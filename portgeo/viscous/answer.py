"""A port's loss with its ±, and how two ports' losses differ, from what grids and models tell.

Trials come in; an Answer, and a Change between two, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.core.units import PA_PER
from portgeo.viscous.doubt import grid_u, model_u
from portgeo.viscous.loss import flow_at
from portgeo.viscous.run import Question, Trial

DEPRESSION = 28.0 * PA_PER["in_h2o"]  # the usual bench's


@dataclass(frozen=True)
class Answer:
    """What is told of a port. trials : the main model's from the coarsest grid, then the other model's."""

    question: Question
    trials: tuple[Trial, ...]

    @property
    def by_grid(self) -> tuple[Trial, ...]:
        """The main model's trials, coarsest grid first."""
        return tuple(t for t in self.trials if t.model == self.trials[0].model)

    @property
    def main(self) -> Trial:
        """The main model's trial on the finest grid."""
        return self.by_grid[-1]

    @property
    def pairs(self) -> tuple[tuple[Trial, Trial], ...]:
        """The main model's trial and the other's on a grid that both solved."""
        others = [t for t in self.trials if t.model != self.trials[0].model]
        return tuple((m, o) for o in others for m in self.by_grid if m.block == o.block)

    @property
    def total(self) -> float:
        """Pa lost, on the finest grid."""
        return self.main.lost.total

    @property
    def grid_u(self) -> float:
        """Standard uncertainty that the grid leaves, Pa; nan of one grid."""
        u = grid_u([t.lost.total for t in self.by_grid], [t.cell for t in self.by_grid])
        return float("nan") if u is None else u

    @property
    def model_u(self) -> float | None:
        """Standard uncertainty that the two models leave, Pa; None where one was asked."""
        return model_u(*(t.lost.total for t in self.pairs[0])) if self.pairs else None

    @property
    def u(self) -> float:
        """Standard uncertainty of the loss, Pa."""
        return float(np.sqrt(self.grid_u**2 + (self.model_u or 0.0) ** 2 + self.main.rest_u**2))

    @property
    def flow_at_28(self) -> float:
        """Flow, m3/s, that 28 inH2O draws through the port alone."""
        return self._flow_at(self.total)

    @property
    def flow_at_28_u(self) -> float:
        """Its standard uncertainty."""
        return abs(self._flow_at(self.total + self.u) - self._flow_at(self.total - self.u)) / 2.0

    def _flow_at(self, total: float) -> float:
        taken = max(total, 0.0) + self.main.lost.head
        return flow_at(DEPRESSION, self.question.flow, taken, self.main.lost.exit_area, self.question.air)


@dataclass(frozen=True)
class Change:
    """How a loss differs from the first port's: as a share of that one's, with its standard uncertainties.

    grid_u : that the grid leaves. model_u : that two models leave, None where one was asked. rest_u : of solutions that
    are not at rest.
    """

    share: float
    grid_u: float
    model_u: float | None
    rest_u: float

    @property
    def u(self) -> float:
        """Standard uncertainty of the share."""
        return float(np.sqrt(self.grid_u**2 + (self.model_u or 0.0) ** 2 + self.rest_u**2))


def change_between(first: Answer, other: Answer) -> Change:
    """Return how a loss differs from the first port's.

    Both are solved alike, so that what grid and model do to one they do to the other: the ± is of the difference
    itself, grid by grid and model by model.
    """
    shares = _shares(first.by_grid, other.by_grid)
    u = grid_u(shares, [t.cell for t in other.by_grid])
    both = first.pairs and other.pairs
    return Change(
        share=shares[-1],
        grid_u=float("nan") if u is None else u,
        model_u=model_u(*_shares(first.pairs[0], other.pairs[0])) if both else None,
        rest_u=float(np.hypot(first.main.rest_u, other.main.rest_u) / abs(first.total)),
    )


def _shares(first: Sequence[Trial], other: Sequence[Trial]) -> list[float]:
    return [b.lost.total / a.lost.total - 1.0 for a, b in zip(first, other, strict=True)]
