"""Comparisons of known cuts, for scripts/coverage.py: how far each figure is off in its own uncertainties.

Molds of closed form are cut by formulas (tests/compare/cuts.py), scanned with noise that is alike over some
millimetres, thinned out or not, laid in any pose and read as scans; then they are compared as a user would.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from portgeo.compare.comparison import Comparison, compare_ports
from portgeo.scan import ScanOptions, port_from_scan
from tests.compare import cuts
from tests.scan import make, molds
from tests.trial_errors import Case, Errors, against

NOISE_MM = (0.01, 0.05)
EDGE_MM = (0.45, 0.8)
KEPT = (1.0, 0.25)  # of the triangles: dense, and thinned out
CUTS_MM3 = (160.0, 6600.0)
PORTS = 4


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


def trial(seed: int, *, uncut: bool = False) -> Trial:
    """Compare one random cut; or, `uncut`, two scans of one port, each with 0.03 mm of noise."""
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
    scans = [molds.scan_of(shape, rng.uniform(*EDGE_MM), noise, rng, kept) for shape in (mold, after)]
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


def compare_case(seed: int) -> Case:
    """Return the errors of one random comparison."""
    made = trial(seed)
    found = made.comparison
    return {
        "comparison: removed": against(found.removed, found.removed_u, made.removed),
        "comparison: net": against(found.net, found.net_u, made.removed - made.added),
        "comparison: deepest cut": against(found.depth.deepest, found.depth_u, made.deepest),
        "comparison: fit, turns and shifts": Errors(slip(made), np.sqrt(np.diag(found.alignment.covariance))),
    }
