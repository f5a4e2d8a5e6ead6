"""Errors of a trial: how far figures are off and how sure they were said to be, into rows of docs/validation.md."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

WITHIN = 2.0  # standard uncertainties


@dataclass(frozen=True)
class Errors:
    """Figures of one trial against their truth: off (k,), their stated standard uncertainties u (k,).

    size (k,) : what an error is a share of; none for a figure that may be zero.
    """

    off: np.ndarray
    u: np.ndarray
    size: np.ndarray | None = None


Case = dict[str, Errors]  # quantity: its errors in one trial


def against(told: np.ndarray | float, u: np.ndarray | float, truth: np.ndarray | float) -> Errors:
    """Return the errors of figures told, with their uncertainties, against the truth."""
    told, u, truth = (np.atleast_1d(np.asarray(v, dtype=float)) for v in (told, u, truth))
    return Errors(told - truth, u, np.abs(truth))


def rows(cases: Sequence[Case]) -> Iterator[str]:
    """Yield the lines of a table: cases, share within 2 u, bias, and the worst of each quantity."""
    yield "| quantity | cases | within 2 u | mean of error/u | worst error/u | worst error, % |"
    yield "|---|---:|---:|---:|---:|---:|"
    for name in dict.fromkeys(name for case in cases for name in case):
        errors = [case[name] for case in cases if name in case]
        ratio = np.concatenate([e.off / e.u for e in errors])
        shares = [100.0 * e.off / e.size for e in errors if e.size is not None]
        worst = ratio[np.argmax(np.abs(ratio))]
        percent = np.concatenate(shares) if shares else np.zeros(0)
        told = f"{percent[np.argmax(np.abs(percent))]:+.3f}" if len(percent) else ""
        share = np.mean(np.abs(ratio) < WITHIN)
        yield f"| {name} | {len(errors)} | {share:.3f} | {ratio.mean():+.2f} | {worst:+.1f} | {told} |"
