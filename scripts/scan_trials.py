"""Print how well scans of known shapes are measured: coverage of the stated uncertainties, spread over
poses, shuffles and densities, and the standard elbows' figures are in tests/reference.

Run from the top of the repository: ``python scripts/scan_trials.py [--coverage 100] [--poses 40] [--cores 2]``.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from portgeo.errors import PortgeoError
from portgeo.scan import port_from_scan
from portgeo.survey import survey
from portgeo.survey.sides import side, turn_plane
from tests.scan import make

POSED = make.Shape(legs=(45.0, 25.0), radius=44.0, height=(40.0, 40.0), width=(34.0, 30.0), square=(4.0, 2.0))


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


def true_radius(shape: make.Shape) -> float:
    s = np.linspace(0.0, shape.length, 2001)
    points, headings, ups = shape.spine(s)
    return side(s, points - shape.size(s)[1][:, None] * ups, turn_plane(headings)).radius


def coverage_case(seed: int) -> tuple[float, ...] | str:
    """Errors of one random noisy scan, in standard uncertainties."""
    rng = np.random.default_rng(seed)
    shape = random_shape(rng)
    scan = make.roughened(make.tube(shape, rng.uniform(0.5, 1.5)), rng.uniform(0.01, 0.1), rng)
    scan = make.shuffled(make.posed(scan, make.random_pose(rng)), rng)
    try:
        port = port_from_scan(scan.vertices, scan.faces)
        found = survey(port)
    except PortgeoError as refusal:
        return f"seed {seed}: {refusal}"
    start = scan.placed(shape.spine(np.array([0.0]))[0])[0]
    forward = np.linalg.norm(port.to_source(np.zeros(3)) - start) < shape.length / 4
    area = shape.area(found.stations if forward else shape.length - found.stations)
    within = np.abs(found.area - area) < 2.0 * found.area_u
    least = shape.area(np.linspace(0.0, shape.length, 3001)).min()
    radius = true_radius(shape)
    return (
        (found.volume - shape.volume) / found.volume_u,
        (found.short_side.radius - radius) / found.short_side.radius_u,
        (found.least_area - least) / found.least_area_u,
        float(within.mean()),
        abs(found.volume / shape.volume - 1.0),
        float(np.mean(np.abs(found.area / area - 1.0) < 0.012)),
        abs(found.short_side.radius / radius - 1.0),
    )


def pose_case(job: tuple[int, float]) -> tuple[float, float, float]:
    """Volume, least area and short side of one scan in one of many poses."""
    seed, edge = job
    rng = np.random.default_rng(seed)
    scan = make.roughened(make.tube(POSED, edge), 0.03, np.random.default_rng(1))
    scan = make.shuffled(make.posed(scan, make.random_pose(rng)), rng)
    found = survey(port_from_scan(scan.vertices, scan.faces))
    return found.volume, found.least_area, found.short_side.radius


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--coverage", type=int, default=100)
    parser.add_argument("--poses", type=int, default=40)
    parser.add_argument("--cores", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.cores) as pool:
        cases = list(pool.map(coverage_case, range(args.coverage)))
        poses = list(pool.map(pose_case, [(k, (1.0, 0.7, 0.5)[k % 3]) for k in range(args.poses)]))
    for refusal in (c for c in cases if isinstance(c, str)):
        print(refusal)
    good = np.array([c for c in cases if not isinstance(c, str)])
    if len(good):
        print(f"{len(good)} of {len(cases)} random scans measured; within 2 u:")
        for name, column in (("volume", 0), ("short side", 1), ("least area", 2)):
            print(f"  {name:12s} {np.mean(np.abs(good[:, column]) < 2.0):.2f}")
        print(f"  areas        {good[:, 3].mean():.2f}")
        print(
            f"  worst volume {good[:, 4].max():.3%}; scans with nine areas in ten within 1.2 %: "
            f"{np.mean(good[:, 5] >= 0.9):.2f}; short side off, median {np.median(good[:, 6]):.2%}, "
            f"19 in 20 within {np.quantile(good[:, 6], 0.95):.2%}"
        )
    if poses:
        spread = np.ptp(np.array(poses), axis=0) / np.mean(poses, axis=0)
        print(
            f"{len(poses)} poses, shuffles, 3 densities: spread of volume {spread[0]:.4%}, least area "
            f"{spread[1]:.3%}, short side {spread[2]:.2%}"
        )


if __name__ == "__main__":
    main()
