"""What the shape leaves open in how legs share a flow.

Shares and the legs' surveys come in; standard uncertainties go out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.measuring.schedule import Survey
from portgeo.measuring.split import SHARED_SOURCES
from portgeo.measuring.uncertainty import Source


def shares_u(shares: FloatArray, legs: Sequence[Survey]) -> FloatArray:
    """Return the standard uncertainties (k,) of shares (k,), of the surveys of the legs.

    To first order (JCGM 100, 5.1.2 and 5.2.2): a leg's share goes as its conductance over all of them, and that as its
    mean area, whose share of doubt is its volume's. What one tool is off in all legs moves no share as long as it moves
    all areas alike.
    """
    budgets = [{share.source: share.u / leg.volume for share in leg.budget.get("volume", ())} for leg in legs]
    # By how much of itself each share (row) changes with each leg's conductance (column).
    slope = np.eye(len(shares)) - shares[None]
    shared, own = np.zeros(len(shares)), np.zeros(len(shares))
    every: set[Source] = {source for budget in budgets for source in budget}
    for source in sorted(every):
        off = np.array([budget.get(source, 0.0) for budget in budgets])
        if source in SHARED_SOURCES:
            shared += (slope @ off) ** 2
        else:
            own += slope**2 @ off**2
    return np.asarray(shares * np.sqrt(shared + own))
