"""Print how often a sheet's ± holds the truth, by rows and by source, on smooth ports measured as a person does.

The truth is integrated in tests/sheets_family.py and shares nothing with portgeo. Run from the top of the
repository: ``python scripts/coverage_sheets.py [--cases 200] [--peaks 200] [--full 24] [--write]``. A true peak
speed is solved by portgeo's own solver on the true shape: that row is of what the shape's ± does to it, and not
of the solver.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np

from portgeo.core.port import Port, port_from_readings
from portgeo.core.units import M3_S_PER, PA_PER
from portgeo.files.sheets.sheet import read_sheet
from portgeo.flow.airspeed import air_speed
from portgeo.flow.path import path_of
from portgeo.measuring import survey
from tests.sheets_exact import TRUE_UNKNOWNS, exact_port
from tests.sheets_family import HEADING, SmoothPort, arc_port, as_measured, sheet_text, smooth_port
from tests.sheets_occt import solid_port
from tests.validation import publish

FEWEST, MOST, FULL = 6, 14, 18  # rows
STATIONS = 25
TITLE = "## A sheet's uncertainty"
QUANTITIES = ("volume", "areas", "least area", "tightest radius", "short side as told")
PEAK = "peak speed"
FLOW, DEPRESSION = 120.0 * M3_S_PER["cfm"], 28.0 * PA_PER["in_h2o"]
UNKNOWNS = 4000  # of the grid of a measured port's air speed
LIMIT_ROWS, LIMIT_PORTS = (10, 18, 30), 12
LIMIT_STEP = 0.02  # by which a heading's curve is changed to see what its radius does
Case = dict[str, np.ndarray]  # quantity: (n, 2), error and standard uncertainty as shares of the truth


def measured_case(
    seed: int, rows: int | None = None, port: Callable[..., Any] = smooth_port, peak: bool = False
) -> tuple[int, Case, dict[str, dict[str, float]]]:
    """One port of a family measured in 6 to 14 rows, or `rows`: its rows, errors, each source's share of variance.

    peak : whether its air speed is solved too.
    """
    rng = np.random.default_rng(seed)
    truth = port(rng)
    count = rows or int(rng.integers(FEWEST, MOST + 1))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "port.csv"
        path.write_text(sheet_text(as_measured(truth, count, rng)), encoding="utf-8")
        measured = port_from_readings(read_sheet(path).readings)
    found = survey(measured, STATIONS)
    area = np.interp(found.stations, truth.station, truth.area)
    pairs = {
        "volume": (found.volume, found.volume_u, truth.volume),
        "areas": (found.area, found.area_u, area),
        "least area": (found.least_area, found.least_area_u, truth.area.min()),
    }
    if found.short_side is not None:
        side = found.short_side
        pairs["tightest radius"] = (side.least_radius, side.least_radius_u, truth.tightest())
        told = truth.usual() if side.is_round else truth.tightest()
        pairs["short side as told"] = (side.headline, side.headline_u, told)
    if peak:
        at_peak = side_peak(measured, UNKNOWNS, surveys=[found])
        pairs[PEAK] = (at_peak.speed, at_peak.u, side_peak(exact_port(truth), TRUE_UNKNOWNS).speed)
    case = {
        name: np.column_stack([np.atleast_1d((value - true) / true), np.atleast_1d(u / true)])
        for name, (value, u, true) in pairs.items()
    }
    shares = {
        quantity: {share.source: share.u**2 / max(sum(s.u**2 for s in budget), 1e-300) for share in budget}
        for quantity, budget in found.budget.items()
    }
    return count, case, shares


def side_peak(port: Port, unknowns: int, **kwargs: Any) -> Any:
    """The peak of the air speed on a port's short side, at one flow."""
    return air_speed(path_of(port), FLOW, DEPRESSION, unknowns=unknowns, **kwargs).side_peak


def surest(port: SmoothPort, rows: int, rng: np.random.Generator) -> tuple[float, float]:
    """The least ± of tightest and usual radius, as shares, that any estimate without bias has from so many headings.

    Cramer and Rao's bound (any textbook of statistics), where all is known of the port but how far it turns, where,
    and over what length, and each row's heading is read to a degree: by differences.
    """
    s, middle = port.station, float(np.interp(0.5 * port.heading[-1], port.heading, port.station))
    step = LIMIT_STEP * np.array([1.0, np.ptp(s), 1.0])

    def changed(by: Sequence[float]) -> SmoothPort:
        turned, along, longer = by
        from_middle = (s - along - middle) / (1.0 + longer)
        return replace(port, heading=(1.0 + turned) * np.interp(middle + from_middle, s, port.heading))

    read = np.array([row["station_mm"] for row in as_measured(port, rows, rng)][1:])
    slopes, radii = [], []
    for by in np.diag(step):
        up, down = changed(by), changed(-by)
        slopes.append((np.interp(read, s, up.heading) - np.interp(read, s, down.heading)) / HEADING)
        radii.append([np.log(up.tightest() / down.tightest()), np.log(up.usual() / down.usual())])
    slope, radius = np.array(slopes), np.array(radii)
    variance = np.einsum("ki,kl,li->i", radius, np.linalg.inv(slope @ slope.T), radius)
    least, usual = 2.0 * np.sqrt(variance)
    return float(least), float(usual)


def limits() -> Iterator[str]:
    """The sentence that says how sure a short side can be."""
    found = {}
    for rows in LIMIT_ROWS:
        draws = [np.random.default_rng(seed) for seed in range(LIMIT_PORTS)]
        found[rows] = np.median([surest(smooth_port(draw), rows, draw) for draw in draws], axis=0)
    least, usual = (", ".join(f"± {found[rows][k]:.0%} at {rows} rows" for rows in LIMIT_ROWS) for k in range(2))
    yield "Headings read to a degree bound what any sheet can say of a short side. Were all known of these smooth ports"
    yield "but how far they turn, where, and over what length, no estimate without bias could be surer (Cramér and"
    yield f"Rao's bound, median of {LIMIT_PORTS} ports) of the tightest radius than {least};"
    yield f"of the circle's than {usual}. A sheet does not know that much: its ± is wider."


def table(groups: dict[str, Sequence[Case]]) -> Iterator[str]:
    yield "| rows | quantity | cases | within 2 u | within 1 u | mean error / u | worst, u | usual ± | mean error |"
    yield "|---|---|---:|---:|---:|---:|---:|---:|---:|"
    for rows, cases in groups.items():
        for name in (*QUANTITIES, PEAK):
            of = [case[name] for case in cases if name in case]
            if not of:
                continue
            error, u = np.concatenate(of).T
            z = error / u
            yield (
                f"| {rows} | {name} | {len(of)} | {np.mean(np.abs(z) < 2.0):.3f} | {np.mean(np.abs(z) < 1.0):.3f} | "
                f"{z.mean():+.2f} | {np.abs(z).max():.1f} | {2.0 * np.median(u):.2%} | {error.mean():+.2%} |"
            )


def sources(shares: Sequence[dict[str, dict[str, float]]]) -> Iterator[str]:
    names = list(next(iter(shares[0].values())))
    yield "| share of the variance, mean | " + " | ".join(name.replace("_", " ") for name in names) + " |"
    yield "|---|" + "---:|" * len(names)
    for quantity in ("volume", "least_area", "short_side"):
        means = [np.mean([s[quantity][name] for s in shares if quantity in s]) for name in names]
        yield f"| {quantity.replace('_', ' ')} | " + " | ".join(f"{mean:.0%}" for mean in means) + " |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--full", type=int, default=24, help="of them, again with 18 rows")
    parser.add_argument("--arcs", type=int, default=60, help="ports that turn in one arc, and half as many again in 18")
    parser.add_argument("--solids", type=int, default=40, help="ports of Open CASCADE")
    parser.add_argument("--peaks", type=int, default=200, help="of the cases, with their air speed")
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    parser.add_argument("--write", action="store_true", help="write the tables into docs/validation.md")
    args = parser.parse_args()
    with ProcessPoolExecutor(args.cores) as pool:
        found = list(pool.map(partial(measured_case, peak=True), range(args.peaks)))
        found += pool.map(measured_case, range(args.peaks, args.cases))
        full = list(pool.map(partial(measured_case, rows=FULL), range(args.full)))
        one_arc = list(pool.map(partial(measured_case, port=arc_port), range(args.arcs)))
        full_arc = list(pool.map(partial(measured_case, rows=FULL, port=arc_port), range(args.arcs // 2)))
        solids = list(pool.map(partial(measured_case, port=solid_port), range(args.solids)))
    others = {
        f"{FEWEST} to {MOST}, one arc": [case for _, case, _ in one_arc],
        f"{FULL}, one arc": [case for _, case, _ in full_arc],
        f"{FEWEST} to {MOST}, Open CASCADE": [case for _, case, _ in solids],
    }
    groups = {
        f"{FEWEST} to {MOST}": [case for _, case, _ in found],
        **{f"{a} to {a + 2}": [case for n, case, _ in found if a <= n <= a + 2] for a in (6, 9, 12)},
        str(FULL): [case for _, case, _ in full],
        **{name: cases for name, cases in others.items() if cases},
    }
    lines = [
        f"Made by `python scripts/coverage_sheets.py --cases {args.cases} --full {args.full} --arcs {args.arcs} "
        f"--solids {args.solids} --peaks {args.peaks} --write`:",
        "smooth ports, ports that turn in one arc, and lofts of Open CASCADE, whose truth is had with no code of ours,",
        "measured as a person does: one micrometer with its own zero,",
        "headings to a degree, corners by templates in steps of 1/32 in. Areas count 25 stations of every port.",
        "The short side as told is the circle's radius where one fits, else the tightest. Peak speeds are solved by",
        "portgeo on the true shape too: their row is of what the shape's ± leaves open, not of the solver.",
        "",
        *table(groups),
        "",
        *sources([shares for _, _, shares in found]),
        "",
        *limits(),
    ]
    publish(TITLE, lines, args.write)


if __name__ == "__main__":
    main()
