"""One step: the convex programme of the aim as it is linear in the cut, within bounds, for so much metal.

Terms of the aim, bounds and what the metal costs come in; how each bump changes, and what each bound costs, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import clarabel
import numpy as np
from scipy import sparse
from scipy.special import logsumexp

from portgeo.calming.aim import Term
from portgeo.core.plane import FloatArray
from portgeo.reshape.solve import quiet_settings

EXACT = 1e-7  # of the aim: the solver's gap
WIDE = 10.0  # a soft maximum less sharp than this is its own parabola over a step, and needs no cone a value


@dataclass(frozen=True)
class Step:
    """How each bump changes (w,), and by how much the aim falls as the programme has it, energy and price left out.

    Multipliers, what the aim would fall by for one more : worth (w,) of each upper bound, taken (r,) of each row.
    """

    change: FloatArray
    promised: float
    worth: FloatArray
    taken: FloatArray


def best_step(
    terms: Sequence[Term],
    amount: FloatArray,
    low: FloatArray,
    high: FloatArray,
    rows: sparse.csr_matrix,
    most: FloatArray,
    energy: sparse.csc_matrix,
    price: FloatArray,
) -> Step:
    """Return the change of amounts (w,) that lowers the aim most, its values being linear.

    low, high (w,) : of the change. rows (r, w), whose product with the change is at `most` (r,): metal, areas, depths.
    energy (w, w) : what the whole cut costs, half its square. price (w,) : of each bump's change, in the aim.
    min sum of share / sharp log(sum of weight exp(sharp value)): each exponential is a cone (Boyd and Vandenberghe,
    Convex Optimization, 4.4; from memory), solved by Clarabel.
    """
    wide, terms = [term for term in terms if term.sharp < WIDE], [term for term in terms if term.sharp >= WIDE]
    w, q = len(amount), len(terms)
    slope, bend = _parabola(wide, w)
    counts = [len(term.values) for term in terms]
    size = w + q + sum(counts)
    cost = np.zeros(size)
    cost[:w] = energy @ amount + price + slope
    cost[w : w + q] = [term.share / term.sharp for term in terms]
    square = sparse.block_diag([sparse.triu(energy + bend), sparse.csc_matrix((size - w, size - w))], format="csc")
    own = sparse.identity(w, format="csr")
    linear = sparse.vstack([own, -own, rows])
    blocks = [sparse.hstack([linear, sparse.csr_matrix((linear.shape[0], size - w))])]
    right = [high, -low, most]
    at, tops = w + q, []
    cones = []
    for k, (term, count) in enumerate(zip(terms, counts, strict=True)):
        worth = term.sharp * term.values + np.log(term.weights)
        top = float(worth.max())
        tops.append(top)
        total = sparse.csr_matrix((np.ones(count), (np.zeros(count, int), at + np.arange(count))), shape=(1, size))
        blocks.append(total)
        right.append(np.ones(1))
        # (worth + sharp slope change - t, 1, s) in the cone: exp(...) <= s, and all s together at most one.
        dense = np.zeros((3 * count, w))
        dense[::3] = -term.sharp * term.slopes
        index = np.arange(count)
        lift = sparse.csr_matrix((np.ones(count), (3 * index, np.full(count, k))), shape=(3 * count, q))
        room = sparse.csr_matrix(
            (-np.ones(count), (3 * index + 2, at - w - q + index)), shape=(3 * count, size - w - q)
        )
        body = sparse.hstack([sparse.csr_matrix(dense), lift, room])
        side = np.zeros(3 * count)
        side[::3], side[1::3] = worth - top, 1.0
        cones.append((body, side))
        at += count
    linear_rows = sum(block.shape[0] for block in blocks)
    matrix = sparse.vstack([*blocks, *(body for body, _ in cones)], format="csc")
    sides = np.concatenate([*right, *(side for _, side in cones)])
    kinds = [clarabel.NonnegativeConeT(linear_rows)]
    kinds += [clarabel.ExponentialConeT()] * sum(counts)
    settings = quiet_settings()
    settings.tol_gap_abs = settings.tol_gap_rel = EXACT
    answer = clarabel.DefaultSolver(square, cost, matrix, sides, kinds, settings).solve()
    solution = np.array(answer.x)
    change = np.clip(solution[:w], low, high)
    lifts = [
        (float(t) + top) * term.share / term.sharp
        for t, top, term in zip(solution[w : w + q], tops, terms, strict=True)
    ]
    before = sum(term.share / term.sharp * float(logsumexp(term.sharp * term.values, b=term.weights)) for term in terms)
    found = np.array(answer.z)
    even = float(slope @ change + 0.5 * change @ bend @ change)
    return Step(change, before - sum(lifts) - even, found[:w], found[2 * w : 2 * w + len(most)])


def _parabola(terms: Sequence[Term], count: int) -> tuple[FloatArray, FloatArray]:
    """Return the slope (w,) and the second derivatives (w, w) of soft maxima of values linear in the change."""
    slope, bend = np.zeros(count), np.zeros((count, count))
    for term in terms:
        part = term.weights * np.exp(term.sharp * (term.values - term.values.max()))
        part /= part.sum()
        mean = part @ term.slopes
        off = (term.slopes - mean) * np.sqrt(part)[:, None]
        slope += term.share * mean
        bend += term.share * term.sharp * (off.T @ off)
    return slope, bend
