"""Comparisons of known cuts: how far each figure is off, in millimetres and in its own uncertainties.

Molds of closed form are cut by formulas (tests/compare/cuts.py), scanned with noise that is alike over some
millimetres, thinned out or not, laid in any pose and read as scans; then they are compared as a user would.
Two scans of a mold that nobody cut show what is told of nothing.

Run from the top of the repository: ``python scripts/coverage_compare.py [--cases 60] [--uncut 20] [--write]``.
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from portgeo.comparing.comparison import Comparison, compare_ports
from portgeo.scan import ScanOptions, port_from_scan
from tests.compare import cuts
from tests.scan import make, molds
from tests.trial_errors import Case, Errors, against, rows
from tests.validation import publish

NOISE_MM = (0.01, 0.05)
EDGE_MM = (0.45, 0.8)
KEPT = (1.0, 0.25)  # of the triangles: dense, and thinned out
CUTS_MM3 = (160.0, 6600.0)
PORTS = 4
FIRST_SEED = 1000  # of the cases that are printed: none that a default test looks at
NEAR, NEAR_MM3, DEEPEST_MM = 0.02, 30.0, 0.1  # of the removed metal, or this much of it; of the deepest cut
HEADING = "## Known cuts"


@dataclass(frozen=True)
class Trial:
    """A known cut compared. removed, added : mm3, deepest : mm, as cut; motion (4, 4), the true AFTER to BEFORE."""

    kind: str
    noise: float
    comparison: Comparison
    removed: float
    added: float
    deepest: float
    motion: np.ndarray


def trial(seed: int, *, uncut: bool = False, edges: tuple[float, float] = EDGE_MM) -> Trial:
    """Compare one random cut; or, `uncut`, two scans of one port, each with 0.03 mm of noise.

    edges : of the scans' triangles, mm, from the least to the greatest.
    """
    rng = np.random.default_rng(seed)
    mold = molds.random_mold(np.random.default_rng(seed % PORTS))
    kept = 1.0 if uncut else KEPT[seed // PORTS % 2]
    noise = 0.03 if uncut else rng.uniform(*NOISE_MM)
    kind, depths, (removed, added) = "none", None, (0.0, 0.0)
    while depths is None and not uncut:
        kind, drawn = cuts.random_cut(mold, rng)
        removed, added = cuts.removed_and_added(mold, drawn)
        depths = drawn if CUTS_MM3[0] < removed < CUTS_MM3[1] else None
    after = mold if depths is None else cuts.cut_mold(mold, depths)
    scans = [molds.scan_of(shape, rng.uniform(*edges), noise, rng, kept) for shape in (mold, after)]
    ports = [port_from_scan(scan.vertices, scan.faces, ScanOptions(*_ends(mold, scan))) for scan in scans]
    poses = [port.frame @ scan.pose for port, scan in zip(ports, scans, strict=True)]
    return Trial(
        kind=kind,
        noise=noise,
        comparison=compare_ports(*ports),
        removed=removed,
        added=added,
        deepest=0.0 if depths is None else cuts.deepest(mold, depths),
        motion=poses[0] @ np.linalg.inv(poses[1]),
    )


def _ends(mold: molds.Mold, scan: make.Scan) -> list[np.ndarray]:
    return [scan.placed(mold.spine(np.array([s]))[0])[0] for s in (0.0, mold.length)]


def slip(made: Trial) -> np.ndarray:
    """How far the fit is off: a small rotation about its centre (radians) and a shift (mm), (6,)."""
    fit = made.comparison.alignment
    off = fit.matrix @ np.linalg.inv(made.motion)
    turn = np.array([off[2, 1] - off[1, 2], off[0, 2] - off[2, 0], off[1, 0] - off[0, 1]]) / 2.0
    return np.concatenate([turn, off[:3, :3] @ fit.centre + off[:3, 3] - fit.centre])


def compare_case(seed: int, edges: tuple[float, float] = EDGE_MM) -> Case:
    """Return the errors of one random comparison."""
    return errors_of(trial(seed, edges=edges))


def errors_of(made: Trial) -> Case:
    """Return the errors of a comparison of a known cut."""
    found = made.comparison
    return {
        "removed": against(found.removed, found.removed_u, made.removed),
        "net": against(found.net, found.net_u, made.removed - made.added),
        "deepest cut": against(found.depth.deepest, found.depth_u, made.deepest),
        "fit, turns and shifts": Errors(slip(made), np.sqrt(np.diag(found.alignment.covariance))),
    }


def uncut_case(seed: int) -> tuple[Case, float]:
    """Return the errors of two scans of one port, and what is told as removed or added at all, mm3."""
    made = trial(seed, uncut=True)
    found = made.comparison
    rows = np.column_stack([found.rows.roof, found.rows.floor, found.rows.left, found.rows.right])
    case = {
        "uncut: net": Errors(np.array([found.net]), np.array([found.net_u])),
        "uncut: depths by station and wall": Errors(rows.ravel(), found.row_depth_u.ravel()),
    }
    return case, max(found.removed, found.added)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=60)
    parser.add_argument("--uncut", type=int, default=20)
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    parser.add_argument("--write", action="store_true", help="write the table into docs/validation.md")
    args = parser.parse_args()
    with ProcessPoolExecutor(args.cores) as pool:
        cases = list(pool.map(compare_case, range(FIRST_SEED, FIRST_SEED + args.cases)))
        uncut = list(pool.map(uncut_case, range(FIRST_SEED, FIRST_SEED + args.uncut)))
    off = np.array([case["removed"].off[0] for case in cases])
    near = np.abs(off) < np.array([max(NEAR_MM3, NEAR * case["removed"].size[0]) for case in cases])
    deepest = np.array([case["deepest cut"].off[0] for case in cases])
    lines = [
        f"Made by `python scripts/coverage_compare.py --cases {args.cases} --uncut {args.uncut} --write`: cuts of",
        f"{CUTS_MM3[0] / 1e3:.2f} to {CUTS_MM3[1] / 1e3:.1f} cc in {PORTS} molds of closed form, by their formulas and",
        f"trimesh's volumes; scans with noise of {NOISE_MM[0]} to {NOISE_MM[1]} mm, most of it waves of 2 to 30 mm,",
        "dense and thinned out to a quarter by turns, in any pose.",
        "",
        *rows([*cases, *(case for case, _ in uncut)]),
        "",
        f"Metal removed is within {NEAR:.0%} or {NEAR_MM3 / 1e3} cc in {near.sum()} of {len(cases)}, off by "
        f"{off.mean():+.1f} mm3 on average and by {off[np.argmax(np.abs(off))]:+.1f} mm3 at worst; the deepest cut is "
        f"within {DEEPEST_MM} mm in {(np.abs(deepest) < DEEPEST_MM).sum()}, off by {deepest.mean():+.3f} mm on average "
        f"and by {deepest[np.argmax(np.abs(deepest))]:+.3f} mm at worst.",
    ]
    if uncut:
        lines += [
            "",
            f"Of {len(uncut)} pairs of scans of a mold that nobody cut, with 0.03 mm of such noise, the most that is "
            f"told as removed or added is {max(told for _, told in uncut) / 1e3:.3f} cc.",
        ]
    publish(HEADING, lines, args.write)


if __name__ == "__main__":
    main()
