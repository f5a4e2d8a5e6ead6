"""One step: the convex programme of the aim as it is linear in the cut, within bounds, for so much metal.

Terms of the aim, bounds and what the metal costs come in; how each bump changes, and what each bound costs, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import clarabel
import numpy as np
from scipy import sparse

from portgeo.calming.aim import Term
from portgeo.core.plane import FloatArray
from portgeo.reshape.solve import quiet_settings

EXACT = 1e-7  # of the aim: the solver's gap


@dataclass(frozen=True)
class Step:
    """How each bump changes (w,), and the aim as the programme has it.

    worth (w,) : what that would fall by for a mm more of each upper bound.
    """

    change: FloatArray
    aim: float
    worth: FloatArray


def best_step(
    terms: Sequence[Term],
    amount: FloatArray,
    low: FloatArray,
    high: FloatArray,
    taken: Sequence[tuple[FloatArray, float]],
    energy: sparse.csc_matrix,
    price: FloatArray,
) -> Step:
    """Return the change of amounts (w,) that lowers the aim most, its values being linear.

    low, high (w,) : of the change. taken : rows (w,) whose product with the change is at most a number: metal, areas.
    energy (w, w) : what the whole cut costs, half its square. price (w,) : of each bump's change, in the aim.
    min sum of share / sharp log(sum of weight exp(sharp value)): each exponential is a cone (Boyd and Vandenberghe,
    Convex Optimization, 4.4; from memory), solved by Clarabel.
    """
    w, q = len(amount), len(terms)
    counts = [len(term.values) for term in terms]
    size = w + q + sum(counts)
    cost = np.zeros(size)
    cost[:w] = energy @ amount + price
    cost[w : w + q] = [term.share / term.sharp for term in terms]
    square = sparse.block_diag([sparse.triu(energy), sparse.csc_matrix((size - w, size - w))], format="csc")
    own = sparse.identity(w, format="csr")
    linear = sparse.vstack([own, -own, *(sparse.csr_matrix(row) for row, _ in taken)])
    rows = [sparse.hstack([linear, sparse.csr_matrix((linear.shape[0], size - w))])]
    right = [high, -low, np.array([most for _, most in taken])]
    at, tops = w + q, []
    cones = []
    for k, (term, count) in enumerate(zip(terms, counts, strict=True)):
        worth = term.sharp * term.values + np.log(term.weights)
        top = float(worth.max())
        tops.append(top)
        total = sparse.csr_matrix((np.ones(count), (np.zeros(count, int), at + np.arange(count))), shape=(1, size))
        rows.append(total)
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
    linear_rows = sum(block.shape[0] for block in rows)
    matrix = sparse.vstack([*rows, *(body for body, _ in cones)], format="csc")
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
    return Step(change, sum(lifts), np.array(answer.z)[:w])
