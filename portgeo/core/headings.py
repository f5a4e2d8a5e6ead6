"""Headings within their doubt: how turn and swing run along a port, from readings that are each a little off.

Readings come in; of each angle the curve to go by comes out, and others as likely.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from math import lgamma

import numpy as np

from portgeo.core.angle_readings import ANGLES, AngleReadings
from portgeo.core.plane import FloatArray
from portgeo.core.section import Points, Reading
from portgeo.core.side_view import angle_readings

REACH_SPREAD = 0.5  # of the log: a port changes its way over about its own size, give or take this
REACHES, SWINGS = 7, 7  # of the grid on which smooth curves are weighed
LEAST_SWING = float(np.radians(1.0))  # of a smooth curve off its trend
LARGEST_SWING = 3.0  # of the readings' range
RATES = (0.3, 1.0, 3.0)  # by which one arc's rate may differ from the next one's, of the range over the size
VAGUE = 10.0  # times the range: what a straight trend may be beforehand
JITTER = 1e-10  # of the variance: keeps a root of it real
# Twice the log of odds of smooth against arcs: up to 2 it is worth no more than a mention (Kass and Raftery,
# J. Am. Stat. Assoc. 90, 1995), and arcs hold, which a sheet is by its definition; from twice that on smooth holds.
ARCS_UP_TO, SMOOTH_FROM = 2.0, 4.0
# Standard uncertainties of a change of rate: rows that all show more are where a person found arcs to meet.
NO_CORNER, CORNER = 2.0, 3.0
LEAST_WEIGHT = 1e-6  # of a candidate that is tried
TRIED = 12  # curves, or places where arcs meet, of which a draw takes one
WAVER = float(np.radians(2.0))  # by which a heading goes to and fro between rows that do not, of those that do
UNSEEN_HEADING = float(np.radians(0.5))  # of a row that is said not to have turned yet: a degree is not seen
UNTURNED = 1e-9  # radians
ALIKE = 9  # decimals to which the needs of two corners are alike
MOST_ROWS = 200  # of a sheet read by hand: more are taken as they are


@dataclass(frozen=True)
class Candidate:
    """One way the angle may run. knots : rows where a chain of arcs changes its rate; else reach and swing of a curve.

    weight : among its own kind.
    """

    weight: float
    knots: tuple[int, ...] | None = None
    reach: float = 0.0
    swing: float = 0.0


@dataclass(frozen=True)
class AngleFit:
    """How an angle runs along a port.

    readings : of it. chains, curves : chains of arcs and smooth curves, each weighed by how
    well it explains the readings. odds : twice the log of how much better smooth curves do that than arcs.
    least_corner : the least change of rate at any row, over its standard uncertainty.
    """

    readings: AngleReadings
    chains: tuple[Candidate, ...]
    curves: tuple[Candidate, ...]
    odds: float
    least_corner: float

    @property
    def smoothness(self) -> float:
        """The share of smooth curves in what is told, 0 to 1.

        None where every row is a corner, nor where arcs explain the readings as well.
        """
        return float((1.0 - self.corners) * np.clip((self.odds - ARCS_UP_TO) / (SMOOTH_FROM - ARCS_UP_TO), 0.0, 1.0))

    @property
    def corners(self) -> float:
        """The share of arcs through the readings as they are in what is told: all where each row is a corner."""
        return float(np.clip((self.least_corner - NO_CORNER) / (CORNER - NO_CORNER), 0.0, 1.0))

    @cached_property
    def _trend(self) -> float:
        return VAGUE * max(float(np.ptp(self.readings.angles)), LEAST_SWING * self.readings.unit)

    def gains(self, at: FloatArray) -> FloatArray:
        """Return what a unit of each reading (m,) does to the curve that is told at stations (p,): (p, m)."""
        share, corners = self.smoothness, self.corners
        made = corners * self._gain(self.chains[0], at)
        for kind, of in ((self.chains, 1.0 - corners - share), (self.curves, share)):
            for each in kind:
                if of * each.weight > LEAST_WEIGHT:
                    made += of * each.weight * self._gain(each, at)
        return made / made.sum(axis=1, keepdims=True)

    def effects_at(self, at: FloatArray) -> FloatArray:
        """Return what one standard uncertainty of each error does to the curve that is told at stations: (h, p)."""
        return np.asarray((self.gains(at) @ self.readings.effects).T)

    def told(self, at: FloatArray) -> FloatArray:
        """Return the angle to go by at stations (p,)."""
        readings = self.readings
        told = readings.angles[0] + self.gains(at) @ readings.shift
        if not readings.of_rows:
            return np.asarray(told)
        read = np.interp(at, readings.stations, readings.angles)
        return np.where(np.abs(told - read) < UNTURNED, read, told)  # as read to the last digit, where it is as read

    def draws(self, at: FloatArray, count: int, draw: np.random.Generator) -> tuple[FloatArray, FloatArray]:
        """Return how the true angle may differ (count, p) from what is told: by the readings, and by the shape.

        The two are independent of one another: what the readings' own errors do, and what the readings do not
        show: of a smooth curve what lies between rows (prior draws moved to the readings; Journel and Huijbregts,
        Mining Geostatistics, 1978), of a chain where between rows its arcs meet. Each draw is of one candidate, as
        many of each as its weight says, without chance (systematic resampling).
        """
        readings = self.readings
        smooth = 1.0 / (1.0 + np.exp(-np.clip(self.odds, -100.0, 100.0) / 2.0))
        pool = [*((c, (1.0 - smooth) * c.weight) for c in self.chains), *((c, smooth * c.weight) for c in self.curves)]
        weight = np.array([w for _, w in pool])
        chosen = np.searchsorted(np.cumsum(weight) / weight.sum(), (np.arange(count) + 0.5) / count)
        chosen = np.minimum(chosen, len(pool) - 1)
        told = self.told(at)
        off = draw.standard_normal((count, len(readings.of_row))) @ readings.effects.T
        by_readings, by_shape = np.empty((count, len(at))), np.empty((count, len(at)))
        for k in np.unique(chosen):
            each, mine = pool[k][0], np.flatnonzero(chosen == k)
            if each.knots is None:
                gain = self._gain(each, at)
                both, q = np.concatenate([readings.places, at]), len(readings.places)
                steady = JITTER * each.swing**2 * np.eye(len(both))
                root = np.linalg.cholesky(_smooth(both, both, each) + steady)
                free = draw.standard_normal((len(mine), TRIED, len(both))) @ root.T
                mean = readings.angles[0] + gain @ readings.shift
                curves = mean + free[..., q:] - free[..., :q] @ (gain @ readings.weights).T
                by_readings[mine] = off[mine] @ gain.T
                by_shape[mine] = self._steady(curves, draw) - told
            else:
                gains = self._chain_gain(self._meetings(each.knots, len(mine), draw), at)
                by_readings[mine] = np.einsum("tpn,tn->tp", gains, off[mine])
                by_shape[mine] = readings.angles[0] + gains @ readings.shift - told
        return by_readings, by_shape

    def _steady(self, curves: FloatArray, draw: np.random.Generator) -> FloatArray:
        """Return one of each set of curves (count, TRIED, p), the likelier the less it goes to and fro."""
        excess = np.abs(np.diff(curves, axis=2)).sum(axis=2) - self._swung
        return np.asarray(
            curves[np.arange(len(curves)), _likely(np.maximum(excess, 0.0) / (WAVER * self.readings.unit), draw)]
        )

    @cached_property
    def _swung(self) -> float:
        """How far the angle goes to and fro from row to row."""
        readings = self.readings
        return float(np.abs(np.diff(readings.angles if readings.of_rows else self.told(readings.stations))).sum())

    def _meetings(self, knots: tuple[int, ...], count: int, draw: np.random.Generator) -> FloatArray:
        """Return where a chain's arcs may meet (count, k), half way to the rows beside each knot at most.

        Where each row is a corner they meet at the rows: there the person has looked for them. Of TRIED places drawn
        at random one is taken, as likely as it explains the readings.
        """
        s, which = self.readings.stations, np.array(knots, dtype=int)
        behind, ahead = (s[which] + s[which - 1]) / 2.0, (s[which] + s[which + 1]) / 2.0
        there = behind + (ahead - behind) * draw.random((count, TRIED, len(which)))
        tried = self.corners * s[which] + (1.0 - self.corners) * there
        return np.asarray(tried[np.arange(count), _likely(self._missed(tried) / 2.0, draw)])

    def _missed(self, places: FloatArray) -> FloatArray:
        """Return by how much the best chains that meet at `places` (..., k) miss the readings (...,).

        Squared, over their errors.
        """
        basis = np.linalg.qr(_seen_hinges(self.readings, places))[0]
        wanted = self.readings.whitener @ self.readings.shift
        off = wanted - (basis @ (basis.swapaxes(-1, -2) @ wanted)[..., None])[..., 0]
        return np.asarray((off * off).sum(axis=-1))

    def _chain_gain(self, places: FloatArray, at: FloatArray) -> FloatArray:
        seen = np.linalg.pinv(_seen_hinges(self.readings, places))
        return np.asarray(_hinges(self.readings.stations, places, at) @ seen @ self.readings.whitener)

    def _gain(self, each: Candidate, at: FloatArray) -> FloatArray:
        """Return what a unit of each reading does to one candidate at stations (p,): (p, m)."""
        readings = self.readings
        if each.knots is not None:
            return self._chain_gain(readings.stations[list(each.knots)], at)

        def covariance(one: FloatArray, other: FloatArray) -> FloatArray:
            return _smooth(one, other, each) + self._trend**2 * _straight(one, other, readings.stations)

        read = readings.covaried(covariance) + readings.covariance
        there = covariance(at, readings.places) @ readings.weights.T
        return np.asarray(np.linalg.solve(read, there.T).T)


def fit_headings(readings: Sequence[Reading]) -> dict[str, AngleFit]:
    """Return how the angles of ANGLES run that a sheet's rows turn by.

    Empty where the port runs straight, where rows give their places (those say how it runs), and of more rows than
    anybody reads by hand. Points of a side view say it of all rows or of none.
    """
    if any(r.place is not None for r in readings) or len(readings) > MOST_ROWS:
        return {}
    points = [r.points for r in readings if r.points is not None]
    if points:
        return fit_points(points)
    stations = np.array([r.station for r in readings])
    size = float(np.median([max(r.height, r.width) for r in readings]))
    fits = {}
    for name in ANGLES:
        angles = np.array([getattr(r, name) for r in readings])
        if np.ptp(angles) > UNTURNED:
            unseen = np.minimum(UNSEEN_HEADING, [r.turn_error for r in readings])
            errors = heading_errors(readings, name)
            errors = np.where(_begun(readings), errors, unseen)
            fits[name] = fit_angle(AngleReadings.at_rows(stations, angles, errors), size)
    return fits


def fit_points(points: Sequence[Points]) -> dict[str, AngleFit]:
    """Return how the angles of ANGLES run of a port whose sections' ends were read in a side view, and in plan."""
    size = float(np.median([np.linalg.norm(np.subtract(p.roof, p.floor)) for p in points]))
    names = ANGLES if points[0].sides is not None else ("turn",)
    return {name: fit_angle(angle_readings(points, name), size) for name in names}


def fit_heights(readings: Sequence[Reading]) -> AngleFit | None:
    """Return how the height runs of a port whose heights were read off points, None of any other.

    Weighed as angles are: over its own length a height is off by as much as a heading is by hand.
    """
    read = [r.drawn for r in readings if r.drawn is not None]
    if len(read) < len(readings):
        return None
    heights, errors = np.array(read).T
    size = float(np.median(heights))
    stations = np.array([r.station for r in readings])
    return fit_angle(AngleReadings.at_rows(stations, heights, errors, size), size)


def heading_errors(readings: Sequence[Reading], name: str) -> FloatArray:
    """Return the standard uncertainty of each row's heading (n,); 0 before the port has begun to turn."""
    if not any(getattr(r, name) for r in readings):
        return np.zeros(len(readings))
    begun = _begun(readings)
    begun[0] = False
    return np.asarray(begun * [r.turn_error for r in readings])


def _begun(readings: Sequence[Reading]) -> np.ndarray:
    """Return at which rows (n,) the port has begun to turn; the entry's heading is where all are counted from."""
    begun = np.maximum.accumulate([bool(np.hypot(r.turn, r.swing) > UNTURNED) for r in readings])
    begun[0] = True
    return begun


def fit_angle(readings: AngleReadings, size: float) -> AngleFit:
    """Return how an angle runs, weighed by what its readings say.

    size : length over which the heading is likely to change, as the port's own height. Two kinds are weighed against
    each other by their evidence (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, 5.4.1):
    chains of arcs that change their rate at some of the rows, and smooth curves (Matern's of 5/2, ib. 4.2.1, of many
    reaches and swings). Where neither is the better the arcs hold: straight runs and arcs between rows come out as
    they are.
    """
    stations, angles = readings.stations, readings.angles
    least = LEAST_SWING * readings.unit
    n, spread, length = len(stations), max(float(np.ptp(angles)), least), float(np.ptp(stations))
    base = (VAGUE * spread) ** 2 * readings.covaried(lambda a, b: _straight(a, b, stations)) + readings.covariance
    shift = readings.shift
    reaches = size * np.exp(REACH_SPREAD * np.linspace(-2.0, 2.0, REACHES))
    swings = np.geomspace(least, LARGEST_SWING * spread, SWINGS)
    curves = [Candidate(1.0, None, float(r), float(w)) for r in reaches for w in swings]
    beforehand = np.array([-0.5 * (np.log(c.reach / size) / REACH_SPREAD) ** 2 for c in curves])
    beforehand -= np.logaddexp.reduce(beforehand)
    tried = np.array([readings.covaried(partial(_smooth, each=c)) + base for c in curves])
    of_curves = beforehand + _evidence(tried, shift)
    chains, least_corner = _chains(readings)
    of_chains = []
    for knots in chains:
        bent = readings.read_of(_hinges(stations, stations[list(knots)], readings.places)[:, 2:])
        tried = np.array([(rate * spread * length / size) ** 2 * bent @ bent.T + base for rate in RATES])
        # Any number of corners is as likely beforehand, and any choice of that many rows.
        ways = lgamma(n - 1) - lgamma(len(knots) + 1) - lgamma(n - 1 - len(knots))
        of_chains.append(np.logaddexp.reduce(_evidence(tried, shift)) - np.log(len(RATES) * (n - 1)) - ways)
    curve, chain = np.logaddexp.reduce(of_curves), np.logaddexp.reduce(of_chains)
    return AngleFit(
        readings,
        tuple(Candidate(float(np.exp(e - chain)), knots) for e, knots in zip(of_chains, chains, strict=True)),
        tuple(
            Candidate(float(np.exp(e - curve)), None, c.reach, c.swing) for e, c in zip(of_curves, curves, strict=True)
        ),
        float(2.0 * (curve - chain)),
        least_corner,
    )


def _chains(readings: AngleReadings) -> tuple[list[tuple[int, ...]], float]:
    """Return the knots of chains of arcs, from all rows on: each time the one that the readings need least goes.

    And the least change of rate at any row of the first chain, over its standard uncertainty.
    """
    knots = list(range(1, len(readings.stations) - 1))
    inverse = np.linalg.pinv(_seen_hinges(readings, readings.stations[knots]))
    change, variance = inverse @ (readings.whitener @ readings.angles), inverse @ inverse.T
    chains = [tuple(knots)]
    corners = np.abs(change[2:]) / np.sqrt(np.diagonal(variance)[2:])
    while knots:
        needs = np.round(change[2:] ** 2 / np.diagonal(variance)[2:], ALIKE)
        least = 2 + int(np.flatnonzero(needs == needs.min())[0])  # of such as are alike the first
        share = variance[:, least] / variance[least, least]
        change, variance = change - share * change[least], variance - np.outer(share, variance[least])
        change, variance = np.delete(change, least), np.delete(np.delete(variance, least, 0), least, 1)
        knots.pop(least - 2)
        chains.append(tuple(knots))
    return chains, float(corners.min(initial=np.inf))


def _seen_hinges(readings: AngleReadings, places: FloatArray) -> FloatArray:
    """Return what the readings (..., m, k) see of hinges at `places` (..., k), over their errors."""
    return readings.whitener @ readings.read_of(_hinges(readings.stations, places, readings.places))


def _likely(costs: FloatArray, draw: np.random.Generator) -> np.ndarray:
    """Return one place (k,) of each row of costs (k, n) at random, as likely as exp(-cost)."""
    share = np.cumsum(np.exp(costs.min(axis=1, keepdims=True) - costs), axis=1)
    return np.asarray((share < share[:, -1:] * draw.random((len(costs), 1))).sum(axis=1))


def _evidence(covariances: FloatArray, values: FloatArray) -> FloatArray:
    """Return the log density (k,) of values (n,) under normal laws of covariances (k, n, n), but for a constant."""
    root = np.linalg.cholesky(covariances)
    white = np.linalg.solve(root, np.broadcast_to(values[:, None], (*covariances.shape[:2], 1)))[..., 0]
    return np.asarray(-0.5 * (white**2).sum(axis=1) - np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1))


def _smooth(one: FloatArray, other: FloatArray, each: Candidate) -> FloatArray:
    """Return the covariance (k, l) of a smooth curve's values at two sets of stations."""
    d = np.sqrt(5.0) * np.abs(one[:, None] - other[None, :]) / each.reach
    return np.asarray(each.swing**2 * (1.0 + d + d * d / 3.0) * np.exp(-d))


def _straight(one: FloatArray, other: FloatArray, along: FloatArray) -> FloatArray:
    """Return the covariance (k, l) of a straight trend whose value and change along a port are of size one."""
    middle, length = (along[0] + along[-1]) / 2.0, max(float(np.ptp(along)), 1e-300)
    return np.asarray(1.0 + np.outer((one - middle) / length, (other - middle) / length))


def _hinges(stations: FloatArray, places: FloatArray, at: FloatArray) -> FloatArray:
    """Return value, rate and changes of rate at `places` (..., k) as functions (..., p, 2 + k) of `at` (p,)."""
    length = stations[-1] - stations[0]
    bends = np.maximum(at[:, None] - places[..., None, :], 0.0) / length
    line = np.column_stack([np.ones(len(at)), (at - stations[0]) / length])
    return np.concatenate([np.broadcast_to(line, (*bends.shape[:-1], 2)), bends], axis=-1)
