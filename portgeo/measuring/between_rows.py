"""What a measure may do between the rows that it was read at.

Readings of one measure come in; curves that agree with them, each as likely as the next, go out. How
rough such curves are is estimated from the rows themselves.
"""

from __future__ import annotations

import numpy as np

from portgeo.core.plane import FloatArray

REACH_SPREAD = 0.5  # of the log: a port changes its shape over about its own size, give or take this
REACHES, HEIGHTS = 9, 9  # of the grid on which the roughness is weighed
LEAST_SWING = 0.003  # of the size: a wall that three rows call straight may still be off by this in between
LARGEST_SWING = 3.0  # of the readings' range
VAGUE = 10.0  # times the range: what a straight trend may be beforehand
JITTER = 1e-9  # of the variance: keeps a root of it real


def curves_between(
    stations: FloatArray,
    values: FloatArray,
    errors: FloatArray,
    at: FloatArray,
    size: float,
    floor: float,
    draws: FloatArray,
) -> FloatArray:
    """Return curves (count, p) at stations `at` (p,) that a smooth measure read at `stations` (n,) may follow.

    values, errors (n,) : the readings and their standard uncertainties. size : length over which the
    measure is likely to change, as a port's own size. floor : the least swing between rows that is
    taken for possible. draws (count, n + p) : standard normal, one row a curve.

    A Gaussian process with a straight trend (Rasmussen and Williams, Gaussian Processes for Machine
    Learning, 2006, 2.7), smooth as exp(-d^2 / 2 l^2). Its reach l and swing are not known: they are
    weighed by how well each explains the rows (ib., 5.4.1), and every curve has a pair of its own.
    """
    count, n = len(draws), len(stations)
    both = np.concatenate([stations, at])
    spread = max(float(np.ptp(values)), floor)
    reaches = size * np.exp(REACH_SPREAD * np.linspace(-2.0, 2.0, REACHES))
    swings = np.geomspace(floor, max(LARGEST_SWING * spread, 2.0 * floor), HEIGHTS)
    reach, swing = (grid.ravel() for grid in np.meshgrid(reaches, swings, indexing="ij"))
    square = (both[:, None] - both[None, :]) ** 2
    length = max(float(np.ptp(stations)), 1e-300)
    centred = (both - stations.mean()) / length
    trend = (VAGUE * spread) ** 2 * (1.0 + np.outer(centred, centred))
    shift = values - values.mean()

    def covariance(pairs: FloatArray, part: slice) -> FloatArray:
        inner = square[part, part]
        smooth = np.exp(-inner / (2.0 * pairs[:, 0, None, None] ** 2))
        made = pairs[:, 1, None, None] ** 2 * smooth + trend[part, part]
        steady = JITTER * (pairs[:, 1, None] ** 2 + trend[part, part].diagonal())
        made[:, np.arange(len(inner)), np.arange(len(inner))] += steady
        return np.asarray(made)

    pairs = np.column_stack([reach, swing])
    read = covariance(pairs, slice(n)) + np.diag(errors**2)
    root = np.linalg.cholesky(read)
    white = np.linalg.solve(root, np.broadcast_to(shift[:, None], (len(pairs), n, 1)))[:, :, 0]
    log = -0.5 * (white**2).sum(axis=1) - np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    log -= 0.5 * (np.log(reach / size) / REACH_SPREAD) ** 2
    weight = np.exp(log - log.max())
    # As many curves of each pair as its weight says, without chance (systematic resampling).
    chosen = np.searchsorted(np.cumsum(weight) / weight.sum(), (np.arange(count) + 0.5) / count)
    chosen = np.minimum(chosen, len(pairs) - 1)
    curves = np.empty((count, len(both)))
    for pair in np.unique(chosen):
        whole = covariance(pairs[pair : pair + 1], slice(None))[0]
        gain = np.linalg.solve(read[pair], whole[:n]).T
        mine = np.flatnonzero(chosen == pair)
        # Conditional on the rows: the prior's curves, each moved to the readings (Journel and Huijbregts, 1978).
        free = draws[mine] @ np.linalg.cholesky(whole).T
        curves[mine] = free + (shift - free[:, :n]) @ gain.T
    # A reading's own error is told apart from what lies between rows: the curves pass through the readings.
    missed = curves[:, :n] - shift
    at_rows = np.array([np.interp(at, stations, row) for row in missed])
    return curves[:, n:] - at_rows + values.mean()
