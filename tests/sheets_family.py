"""Smooth ports whose truth is integrated here, measured as a person measures: for trials of a sheet's ±.

Height, width, corner radius and heading are smooth functions of the station, drawn at random. Areas are closed
form; volume is the integral of the area (Pappus: the middle of every section lies on the centreline); the inner
wall is integrated on a fine grid and its tightest 30 degrees fitted by least squares. Nothing of portgeo is used:
no loft, no interpolant, no fit of ours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.optimize import least_squares
from scipy.special import erf

FINE = 4001  # stations of the truth
WINDOW = np.radians(30.0)  # of turning, that the tightest radius is of
BENT = 0.5  # of the greatest curvature: where the wall is bent, and one circle is fitted
LOOKED_OVER = 0.1  # of the height: over which curvature is taken
TEMPLATE_STEP = 25.4 / 32.0  # mm: radius gauges in steps of 1/32 in, common practice
ZERO = 0.02  # mm: a micrometer set against a ring is off by so much in all that it reads
READING = 0.025  # mm: a careful hand
HEADING = np.radians(1.0)  # read with a protractor by hand
CALIPER = 0.05  # mm: of one reading, and of the zero of all
POINT, HALF = 0.4, 0.5  # mm: of an end of a scribed line on squared paper, read to the nearest half
SCRIBED = np.radians(2.5)  # of a line scribed square by eye
STATION = 0.1  # mm: along the middle, off a rule in 1/64 in


@dataclass(frozen=True)
class SmoothPort:
    """A port's truth, mm, mm2, mm3, radians, at `station` (FINE,)."""

    station: np.ndarray
    height: np.ndarray
    width: np.ndarray
    corner: np.ndarray
    heading: np.ndarray

    @property
    def area(self) -> np.ndarray:
        """Area of the rounded rectangles (FINE,): a corner of radius r leaves out r^2 (1 - pi / 4)."""
        return self.height * self.width - (4.0 - np.pi) * self.corner**2

    @property
    def volume(self) -> float:
        """Volume, by Pappus and the trapezium rule."""
        return float(np.trapezoid(self.area, self.station))

    @property
    def middle(self) -> np.ndarray:
        """The middle line (FINE, 2), along the entry and up."""
        ahead = np.column_stack([np.cos(self.heading), -np.sin(self.heading)])
        return cumulative_trapezoid(ahead, self.station, axis=0, initial=0.0)

    def line(self, side: float) -> np.ndarray:
        """The floor's (side -1) or the roof's (1) line (FINE, 2)."""
        up = np.column_stack([np.sin(self.heading), np.cos(self.heading)])
        return self.middle + side * self.height[:, None] / 2.0 * up

    def inner_line(self) -> np.ndarray:
        """The floor's line (FINE, 2), in the plane of the turn; the port turns towards its floor."""
        return self.line(-1.0)

    def tightest(self) -> float:
        """Smallest radius of its inner line."""
        return tightest_of(self.inner_line())

    def usual(self) -> float:
        """Radius of the circle fitted to its inner line where that is bent, looked at over a tenth of the height."""
        return usual_of(self.inner_line(), LOOKED_OVER * float(self.height.mean()))


def tightest_of(line: np.ndarray) -> float:
    """Smallest radius of a circle fitted to any 30 degrees, or all, of a line (n, 2) that turns to the right."""
    step = np.gradient(line, axis=0)
    turned = np.maximum.accumulate(-np.unwrap(np.arctan2(step[:, 1], step[:, 0])))
    turned -= turned[0]
    window = min(WINDOW, 0.999 * turned[-1])
    radii = []
    for start in np.linspace(0.0, turned[-1] - window, 60):
        inside = np.flatnonzero((turned >= start) & (turned <= start + window))
        if len(inside) > 4:
            radii.append(_circle(line[inside[:: max(len(inside) // 60, 1)]]))
    return float(min(radii))


def usual_of(line: np.ndarray, window: float) -> float:
    """Radius of the circle fitted to where a line (n, 2) is bent, its curvature taken over `window` of its length."""
    step = np.gradient(line, axis=0)
    turned = -np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    # By equal lengths: the points of the line stand closer on the inside of the turn.
    even = np.linspace(0.0, along[-1], FINE)
    behind, ahead = (np.clip(even + by, 0.0, along[-1]) for by in (-window / 2.0, window / 2.0))
    curvature = (np.interp(ahead, along, turned) - np.interp(behind, along, turned)) / (ahead - behind)
    top = int(np.argmax(curvature))
    slack = np.flatnonzero(curvature < BENT * curvature[top])
    first, last = slack[slack < top].max(initial=-1) + 1, slack[slack > top].min(initial=FINE) - 1
    bent = np.linspace(even[first], even[last], 200)
    return _circle(np.column_stack([np.interp(bent, along, line[:, k]) for k in range(2)]))


def _circle(points: np.ndarray) -> float:
    """Radius of the geometric least-squares circle of points (n, 2)."""
    middle = points.mean(axis=0)
    p = points - middle
    start = np.linalg.lstsq(np.column_stack([2.0 * p, np.ones(len(p))]), (p**2).sum(axis=1), rcond=None)[0]
    radius = np.sqrt(start[2] + start[:2] @ start[:2])
    fit = least_squares(lambda x: np.hypot(*(p - x[:2]).T) - x[2], [*start[:2], radius])
    return float(fit.x[2])


def _step(t: np.ndarray, at: float, width: float) -> np.ndarray:
    """A smooth step from 0 to 1 over about four widths."""
    rise = 0.5 * (1.0 + erf((t - at) / (np.sqrt(2.0) * width)))
    return (rise - rise[0]) / (rise[-1] - rise[0])


def smooth_port(rng: np.random.Generator) -> SmoothPort:
    """A random port: from a tall entry, through one smooth turn towards its floor, to a squarer throat."""
    length = rng.uniform(100.0, 150.0)
    t = np.linspace(0.0, 1.0, FINE)
    sizes = []
    for first, last in (
        (rng.uniform(42.0, 50.0), rng.uniform(35.0, 40.0)),
        (rng.uniform(27.0, 32.0), rng.uniform(34.0, 39.0)),
    ):
        bump = rng.uniform(-0.04, 0.04) * np.exp(-(((t - rng.uniform(0.2, 0.8)) / rng.uniform(0.15, 0.3)) ** 2))
        change = _step(t, rng.uniform(0.35, 0.65), rng.uniform(0.15, 0.35))
        sizes.append((first + (last - first) * change) * (1.0 + bump))
    height, width = sizes
    corner = rng.uniform(4.0, 8.0) + rng.uniform(2.0, 8.0) * _step(t, rng.uniform(0.4, 0.7), rng.uniform(0.15, 0.3))
    turn = np.radians(rng.uniform(40.0, 80.0))
    # The inside of the turn keeps a radius: the turn takes long enough for the height.
    spread = max(rng.uniform(0.08, 0.16), turn * 44.0 * 0.75 / (np.sqrt(2.0 * np.pi) * length))
    heading = turn * _step(t, rng.uniform(0.5, 0.65), spread)
    return SmoothPort(t * length, height, width, corner, heading)


def arc_port(rng: np.random.Generator) -> SmoothPort:
    """A random port as `smooth_port`, but that turns in one arc between two straight runs, which may lie anywhere."""
    port = smooth_port(rng)
    length, turn = port.station[-1], port.heading[-1]
    arc = min((rng.uniform(10.0, 30.0) + port.height.mean() / 2.0) * turn, 0.75 * length)
    begins = rng.uniform(0.1 * length, 0.9 * length - arc)
    return replace(port, heading=turn * np.clip((port.station - begins) / arc, 0.0, 1.0))


def as_measured(port: SmoothPort, rows: int, rng: np.random.Generator) -> list[dict[str, float]]:
    """The port's rows as a person reads them: station_mm, height_mm, width_mm, corner_mm, turn_deg.

    Rows stand closer where the port turns. The micrometer's zero is shared by all it reads; headings are read by
    hand, and written as 0 where the eye sees no turn yet; corners by template, to the nearest step.
    """
    length = port.station[-1]
    weight = 1.0 + 1.2 * np.gradient(port.heading) / np.gradient(port.heading).max()
    along = cumulative_trapezoid(weight, port.station, initial=0.0)
    places = np.linspace(0.0, along[-1], rows)
    places[1:-1] += rng.uniform(-0.15, 0.15, rows - 2) * along[-1] / (rows - 1)
    stations = np.interp(places, along, port.station).round(1)
    stations[-1] = length
    zero = ZERO * rng.standard_normal()
    found = []
    for s in stations:
        height, width, corner, turn = (
            float(np.interp(s, port.station, values)) for values in (port.height, port.width, port.corner, port.heading)
        )
        seen = turn > HEADING
        found.append(
            {
                "station_mm": float(s) + (STATION * rng.standard_normal() if s > 0.0 else 0.0),
                "height_mm": round(height + zero + READING * rng.standard_normal(), 2),
                "width_mm": round(width + zero + READING * rng.standard_normal(), 2),
                "corner_mm": TEMPLATE_STEP * round(corner / TEMPLATE_STEP),
                "turn_deg": round(float(np.degrees(turn + HEADING * rng.standard_normal())), 1) if seen else 0.0,
            }
        )
    return found


def as_scribed(port: SmoothPort, rows: int, rng: np.random.Generator) -> list[dict[str, float]]:
    """The port's mold as it is read off squared paper: both ends of each line scribed across it, mm.

    The lines are scribed square to the mold by eye, and meet its floor and roof where they do; the ends are read to
    half a millimetre. Widths are read by caliper, corners by template.
    """
    length = port.station[-1]
    stations = np.linspace(0.0, length, rows)
    stations[1:-1] += rng.uniform(-0.15, 0.15, rows - 2) * length / (rows - 1)
    zero = CALIPER * rng.standard_normal()
    floor, roof, middle = port.line(-1.0), port.line(1.0), port.middle
    found = []
    for s in stations:
        at = int(np.searchsorted(port.station, s).clip(0, FINE - 1))
        lean = SCRIBED * rng.standard_normal() if 0 < at < FINE - 1 else 0.0
        across = port.heading[at] + lean
        ends = [_met(line, middle[at], across, at) for line in (floor, roof)]
        read = [np.round((end + POINT * rng.standard_normal(2)) / HALF) * HALF for end in ends]
        found.append(
            {
                "floor_x_mm": read[0][0] if at else 0.0, "floor_z_mm": read[0][1],
                "roof_x_mm": read[1][0] if at else 0.0, "roof_z_mm": read[1][1],
                "width_mm": round(float(port.width[at]) + zero + CALIPER * rng.standard_normal(), 2),
                "corner_mm": TEMPLATE_STEP * round(port.corner[at] / TEMPLATE_STEP),
            }
        )  # fmt: skip
    return found


def _met(line: np.ndarray, start: np.ndarray, across: float, at: int) -> np.ndarray:
    """Where a straight line through `start`, square to a heading, meets a wall's line (FINE, 2) nearest to `at`."""
    off = (line - start) @ np.array([np.cos(across), -np.sin(across)])
    crossed = np.flatnonzero(np.diff(np.sign(off)) != 0)
    if not len(crossed):  # past the end of the mold
        return line[np.argmin(np.abs(off))]
    k = crossed[np.argmin(np.abs(crossed - at))]
    share = off[k] / (off[k] - off[k + 1])
    return line[k] + share * (line[k + 1] - line[k])


def sheet_text(rows: list[dict[str, float]]) -> str:
    """The rows as the sheet that a person would save."""
    names = list(rows[0])
    return "\n".join([",".join(names), *(",".join(f"{row[name]:.5g}" for name in names) for row in rows), ""])
