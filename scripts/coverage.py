"""Print what share of the stated uncertainties holds the truth, by quantity, on known shapes.

Each kind of trial has a file of its own beside this one; a share of 0.95 within two standard uncertainties is
what is promised. The mean of error/u is the bias. Then one scan in many poses, orders and densities: how far
its figures spread.

Run from the top of the repository: ``python scripts/coverage.py [--cases 100] [--poses 40] [--write]``.
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
from coverage_scan import decimated_case, dense_case, white_case
from coverage_sheets import measured_case

from portgeo.errors import PortgeoError
from portgeo.scan import port_from_scan
from portgeo.survey import survey
from tests.scan import make
from tests.trial_errors import Case, Errors, rows
from tests.validation import publish

POSED = make.Shape(legs=(45.0, 25.0), radius=44.0, height=(40.0, 40.0), width=(34.0, 30.0), square=(4.0, 2.0))
HEADING = "## Stated uncertainties"


def sheet_case(seed: int) -> Case:
    """One smooth port measured as a person does, against its own truth."""
    _, case, _ = measured_case(seed)
    return {f"sheet: {name}": Errors(pairs[:, 0], pairs[:, 1]) for name, pairs in case.items()}


CASES = {
    "sheet": sheet_case,
    "dense": dense_case,
    "decimated": decimated_case,
    "white": white_case,
}


def pose_case(job: tuple[int, float]) -> tuple[float, float, float]:
    """Volume, least area and short side of one scan in one of many poses."""
    seed, edge = job
    rng = np.random.default_rng(seed)
    scan = make.roughened(make.tube(POSED, edge), 0.03, np.random.default_rng(1))
    scan = make.shuffled(make.posed(scan, make.random_pose(rng)), rng)
    found = survey(port_from_scan(scan.vertices, scan.faces))
    return found.volume, found.least_area, found.short_side.radius


def tried(job: tuple[str, int]) -> Case | str:
    """One case by the name of its kind, or why it was refused."""
    kind, seed = job
    try:
        return CASES[kind](seed)
    except PortgeoError as refusal:
        return f"{kind} {seed}: {refusal}"


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
        *rows([case for case in found if not isinstance(case, str)]),
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
    publish(HEADING, lines, args.write)


if __name__ == "__main__":
    main()
