"""Scans of known molds: how far each figure is off, against closed form, and what share of the ± holds the truth.

Molds, their noise and their ends are of tests/scan/molds.py, which shares nothing with the package: areas are
superellipses', volumes Pappus's by quadrature, the short side an arc of known radius. Then one scan in many poses,
orders and densities: how far its figures spread.

Run from the top of the repository: ``python scripts/coverage_scan.py [--cases 60] [--others 60] [--write]``.
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from portgeo.core.errors import PortgeoError
from portgeo.core.port import Port
from portgeo.measuring import survey
from portgeo.scan import port_from_scan
from tests.scan import make, molds
from tests.scan.make import Scan, posed, random_pose, shuffled
from tests.trial_errors import Case, against, rows
from tests.validation import publish

NOISE_MM = (0.01, 0.06)
EDGE_MM = (0.45, 1.1)
DOME_MM, WAVE_MM, CHIP_MM = (0.05, 0.3), (0.05, 0.2), (0.5, 2.5)
ENDS = ("flat", "domed", "waved")
KEPT = 0.25  # of the triangles of a decimated scan
POSED = make.Shape(legs=(45.0, 25.0), radius=44.0, height=(40.0, 40.0), width=(34.0, 30.0), square=(4.0, 2.0))
HEADING = "## Stated uncertainties of scans"


def _read(scan: Scan, mold: molds.Mold) -> tuple[Port, bool]:
    """Return the port of a scan, and whether its entry is the mold's."""
    port = port_from_scan(scan.vertices, scan.faces)
    return port, bool(np.linalg.norm(port.to_source(np.zeros(3)) - scan.placed(np.zeros(3))) < mold.length / 4)


def _figures(what: str, scan: Scan, mold: molds.Mold) -> Case:
    port, forward = _read(scan, mold)
    measured = survey(port)
    along = mold.length * measured.stations / measured.length
    areas = mold.area(along if forward else mold.length - along)
    inner = slice(1, -1)
    short = measured.short_side
    return {
        f"{what}: volume": against(measured.volume, measured.volume_u, mold.volume),
        f"{what}: areas": against(measured.area[inner], measured.area_u[inner], areas[inner]),
        f"{what}: areas of openings": against(measured.area[[0, -1]], measured.area_u[[0, -1]], areas[[0, -1]]),
        f"{what}: least area": against(measured.least_area, measured.least_area_u, mold.least_area),
        f"{what}: short side": against(short.radius, short.radius_u, mold.short_side),
        f"{what}: tightest radius": against(short.least_radius, short.least_radius_u, mold.short_side),
    }


def dense_case(seed: int) -> Case:
    """A dense scan with noise that is correlated, its ends flat, domed and waved in turn."""
    rng = np.random.default_rng(seed)
    mold = molds.random_mold(rng)
    scan = molds.tube(mold, rng.uniform(*EDGE_MM))
    for at_exit in (False, True):
        if ENDS[seed % 3] == "domed":
            scan = molds.domed(scan, mold, rng.uniform(*DOME_MM) * rng.choice([-1.0, 1.0]), at_exit)
        elif ENDS[seed % 3] == "waved":
            scan = molds.waved(scan, mold, rng.uniform(*WAVE_MM), at_exit, rng)
    scan = molds.scanned(scan, rng.uniform(*NOISE_MM), rng)
    return _figures("scan, dense", shuffled(posed(scan, random_pose(rng)), rng), mold)


def decimated_case(seed: int) -> Case:
    """A scan decimated to a quarter, ends flat."""
    rng = np.random.default_rng(seed)
    mold = molds.random_mold(rng)
    scan = molds.scan_of(mold, rng.uniform(*EDGE_MM), rng.uniform(*NOISE_MM), rng, KEPT)
    return _figures("scan, decimated", scan, mold)


def white_case(seed: int) -> Case:
    """A scan with white noise, ends flat."""
    rng = np.random.default_rng(seed)
    mold = molds.random_mold(rng)
    scan = molds.scanned(molds.tube(mold, rng.uniform(*EDGE_MM)), rng.uniform(*NOISE_MM), rng, white=1.0)
    return _figures("scan, white noise", shuffled(posed(scan, random_pose(rng)), rng), mold)


def chipped_case(seed: int) -> Case:
    """A dense scan with a chip out of each end's rim."""
    rng = np.random.default_rng(seed)
    mold = molds.random_mold(rng)
    scan = molds.tube(mold, rng.uniform(*EDGE_MM))
    for at_exit in (False, True):
        scan = molds.chipped(scan, mold, rng.uniform(*CHIP_MM), at_exit, rng)
    scan = molds.scanned(scan, rng.uniform(*NOISE_MM), rng)
    return _figures("scan, chipped ends", shuffled(posed(scan, random_pose(rng)), rng), mold)


CASES = {"dense": dense_case, "decimated": decimated_case, "white": white_case, "chipped": chipped_case}


def pose_case(job: tuple[int, float]) -> tuple[float, float, float]:
    """Volume, least area and short side of one scan in one of many poses."""
    seed, edge = job
    rng = np.random.default_rng(seed)
    scan = make.roughened(make.tube(POSED, edge), 0.03, np.random.default_rng(1))
    scan = shuffled(posed(scan, random_pose(rng)), rng)
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
    parser.add_argument("--cases", type=int, default=60, help="of dense scans")
    parser.add_argument("--others", type=int, default=60, help="of each other kind")
    parser.add_argument("--kinds", nargs="*", choices=sorted(CASES), default=list(CASES))
    parser.add_argument("--poses", type=int, default=40)
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    parser.add_argument("--write", action="store_true", help="write the table into docs/validation.md")
    args = parser.parse_args()
    with ProcessPoolExecutor(args.cores) as pool:
        count = {kind: args.cases if kind == "dense" else args.others for kind in args.kinds}
        found = list(pool.map(tried, [(kind, seed) for kind in args.kinds for seed in range(count[kind])]))
        poses = list(pool.map(pose_case, [(k, (1.0, 0.7, 0.5)[k % 3]) for k in range(args.poses)]))
    refused = [case for case in found if isinstance(case, str)]
    lines = [
        f"Made by `python scripts/coverage_scan.py --cases {args.cases} --others {args.others} --poses {args.poses} "
        "--write`: molds whose",
        "truth is closed form, noise of 0.01 to 0.06 mm that is correlated over 2 to 30 mm beside a white part. Ends",
        "of the dense scans are flat, domed and waved in turn. Areas count every station of every case.",
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
