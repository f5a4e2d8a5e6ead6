"""Print what share of the stated uncertainties holds the truth, by quantity, on known shapes.

Sheets: smooth ports of coverage_sheets.py. Scans: a random port's mesh
is roughened, posed and shuffled. Comparisons: a known cut between two such scans. A share of 0.95 within two
standard uncertainties is what is promised. Then one scan in many poses, orders and densities: how far its
figures spread.

Run from the top of the repository: ``python scripts/coverage.py [--cases 100] [--poses 40] [--write]``.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
from coverage_compare import compare_case
from coverage_sheets import smooth_sheet

from portgeo.errors import PortgeoError
from portgeo.port import Port
from portgeo.scan import port_from_scan
from portgeo.survey import survey
from portgeo.survey.sides import side, turn_plane
from tests.scan import make
from tests.validation import PAGE, with_section

WITHIN = 2.0  # standard uncertainties
POSED = make.Shape(legs=(45.0, 25.0), radius=44.0, height=(40.0, 40.0), width=(34.0, 30.0), square=(4.0, 2.0))
HEADING = "## Stated uncertainties"
Found = dict[str, np.ndarray]  # quantity: its errors in standard uncertainties


def sheet_case(seed: int) -> Found:
    """One smooth port measured as a person does, against its own truth."""
    _, case, _ = smooth_sheet(seed)
    return {f"sheet: {name}": pairs[:, 0] / pairs[:, 1] for name, pairs in case.items()}


def random_shape(rng: np.random.Generator) -> make.Shape:
    """A port-like shape: half of them of constant height."""
    height, width = rng.uniform(36.0, 52.0), rng.uniform(26.0, 38.0)
    end = height if rng.random() < 0.5 else rng.uniform(30.0, 40.0)
    return make.Shape(
        legs=(rng.uniform(25.0, 60.0), rng.uniform(15.0, 40.0)),
        radius=max(height, 40.0) * rng.uniform(0.75, 1.2),
        turn=np.radians(rng.uniform(45.0, 90.0)),
        width=(width, rng.uniform(28.0, 38.0)),
        height=(height, end),
        square=(rng.uniform(3.0, 6.0), 2.0),
    )


def scan_of(shape: make.Shape, edge: float, noise: float, rng: np.random.Generator) -> tuple[make.Scan, Port]:
    scan = make.roughened(make.tube(shape, edge), noise, rng)
    scan = make.shuffled(make.posed(scan, make.random_pose(rng)), rng)
    return scan, port_from_scan(scan.vertices, scan.faces)


def scan_case(seed: int) -> Found:
    """One random noisy scan against the shape that it was made from."""
    rng = np.random.default_rng(seed)
    shape = random_shape(rng)
    scan, port = scan_of(shape, rng.uniform(0.5, 1.5), rng.uniform(0.01, 0.1), rng)
    found = survey(port)
    start = scan.placed(shape.spine(np.array([0.0]))[0])[0]
    forward = np.linalg.norm(port.to_source(np.zeros(3)) - start) < shape.length / 4
    area = shape.area(found.stations if forward else shape.length - found.stations)
    fine = np.linspace(0.0, shape.length, 3001)
    points, headings, ups = shape.spine(fine[::2])
    floor = side(fine[::2], points - shape.size(fine[::2])[1][:, None] * ups, turn_plane(headings))
    return {
        "scan: volume": np.array([(found.volume - shape.volume) / found.volume_u]),
        "scan: areas": (found.area - area) / found.area_u,
        "scan: least area": np.array([(found.least_area - shape.area(fine).min()) / found.least_area_u]),
        "scan: short side": np.array([(found.short_side.radius - floor.radius) / found.short_side.radius_u]),
    }


def pose_case(job: tuple[int, float]) -> tuple[float, float, float]:
    """Volume, least area and short side of one scan in one of many poses."""
    seed, edge = job
    rng = np.random.default_rng(seed)
    scan = make.roughened(make.tube(POSED, edge), 0.03, np.random.default_rng(1))
    scan = make.shuffled(make.posed(scan, make.random_pose(rng)), rng)
    found = survey(port_from_scan(scan.vertices, scan.faces))
    return found.volume, found.least_area, found.short_side.radius


def tried(job: tuple[str, int]) -> Found | str:
    """One case by the name of its kind, or why it was refused."""
    kind, seed = job
    try:
        return CASES[kind](seed)
    except PortgeoError as refusal:
        return f"{kind} {seed}: {refusal}"


CASES = {"sheet": sheet_case, "scan": scan_case, "compare": compare_case}


def coverage_table(cases: Sequence[Found]) -> Iterator[str]:
    yield "| quantity | cases | within 2 u | root mean square, u |"
    yield "|---|---:|---:|---:|"
    for name in dict.fromkeys(name for case in cases for name in case):
        errors = [case[name] for case in cases if name in case]
        every = np.concatenate(errors)
        share = np.mean(np.abs(every) < WITHIN)
        yield f"| {name} | {len(errors)} | {share:.3f} | {np.sqrt(np.mean(every**2)):.2f} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=100, help="of each kind")
    parser.add_argument("--kinds", nargs="*", choices=sorted(CASES), default=list(CASES))
    parser.add_argument("--poses", type=int, default=40)
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    parser.add_argument("--write", action="store_true", help="write the table into docs/validation.md")
    args = parser.parse_args()
    with ProcessPoolExecutor(args.cores) as pool:
        found = list(pool.map(tried, [(kind, seed) for kind in args.kinds for seed in range(args.cases)]))
        poses = list(pool.map(pose_case, [(k, (1.0, 0.7, 0.5)[k % 3]) for k in range(args.poses)]))
    refused = [case for case in found if isinstance(case, str)]
    lines = [
        f"Made by `python scripts/coverage.py --cases {args.cases} --poses {args.poses} --write`: known shapes, random",
        "errors, and how many of the stated uncertainties hold the truth. Areas count every station of every case.",
        "",
        *coverage_table([case for case in found if not isinstance(case, str)]),
        "",
        *([f"Refused: {len(refused)}.", "", *(f"- {text}" for text in refused)] if refused else ["None was refused."]),
    ]
    if poses:
        spread = np.ptp(np.array(poses), axis=0) / np.mean(poses, axis=0)
        lines += [
            "",
            f"One scan in {len(poses)} poses, orders and three densities spreads by {spread[0]:.3%} in volume, "
            f"{spread[1]:.3%} in least area and {spread[2]:.2%} in short-side radius.",
        ]
    print("\n".join(lines))
    if args.write:
        page = PAGE.read_text(encoding="utf-8")
        PAGE.write_text(with_section(page, HEADING, lines), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
