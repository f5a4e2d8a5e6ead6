"""The odd one of a set: which runner stands out from the others by its areas, its volume or its flow.

Areas, surveys or flows of the runners come in; the number of the odd one, or None, goes out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from portgeo.comparing.against import of_quantity, others_of
from portgeo.core.plane import FloatArray
from portgeo.measuring.schedule import Survey

ODD_RATIO = 1.5  # farther off than the next by this: one odd runner of four is off by three times
LEAST_ODD_FLOW = 0.01  # of the flow: *common practice, no source*, a bench does not repeat much better
LEAST_ODD = 0.005  # of the area: runners this close are equal to any micrometer


def off_others(areas: FloatArray) -> FloatArray:
    """Return for each runner (k,) its rms difference from the mean of the others, as a share of it."""
    others = (areas.sum(axis=0) - areas) / (len(areas) - 1)
    return np.sqrt(np.mean((areas / others - 1.0) ** 2, axis=1))


def off_others_u(areas: FloatArray, own_u: FloatArray) -> FloatArray:
    """Return what the readings leave unsure of that (k,), each station's errors taken to be one."""
    mean = areas.mean(axis=0)
    share = np.square(own_u / mean)
    return np.asarray(np.sqrt(np.mean(share + (share.sum(axis=0) - share) / (len(areas) - 1) ** 2, axis=1)))


@dataclass(frozen=True)
class Flows:
    """Flows of all cylinders (k,) of a set: their mean, greatest less least over it, and the odd one out or None."""

    flows: FloatArray
    mean: float
    spread: float
    off: FloatArray
    odd: int | None


def flows_of(flows: Sequence[float]) -> Flows:
    """Return how the flows of a set differ. off (k,) : of each from the mean of the others, as a share of it."""
    read = np.asarray(flows, float)
    mean = float(read.mean())
    others = (read.sum() - read) / max(len(read) - 1, 1)
    off = read / others - 1.0
    return Flows(read, mean, float(np.ptp(read)) / mean, off, stands_out(np.abs(off), LEAST_ODD_FLOW))


def odd_by_volume(surveys: Sequence[Survey]) -> int | None:
    """Return the runner whose volume stands out by more than twice its uncertainty: sure where single areas are not."""
    found = of_quantity(surveys, "volume", others_of(len(surveys)))
    odd = stands_out(np.abs(found.off) / np.mean([survey.volume for survey in surveys]))
    return odd if odd is not None and abs(found.off[odd]) > 2.0 * found.off_u[odd] else None


def stands_out(off: FloatArray, least: float = LEAST_ODD) -> int | None:
    """Return the runner that stands out; with two, neither can be told."""
    if len(off) < 3:
        return None
    worst = int(np.argmax(off))
    next_worst = np.delete(off, worst).max()
    return worst if off[worst] > least and off[worst] > ODD_RATIO * next_worst else None
