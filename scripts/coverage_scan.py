"""Scans of known molds, for scripts/coverage.py: how far each figure is off, against closed form.

Molds, their noise and their ends are of tests/scan/molds.py, which shares nothing with the package: areas are
superellipses', volumes Pappus's by quadrature, the short side an arc of known radius.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from portgeo.port import Port
from portgeo.scan import port_from_scan
from portgeo.survey import survey
from tests.scan import molds
from tests.scan.make import Scan, posed, random_pose, shuffled
from tests.trial_errors import Case, against

NOISE_MM = (0.01, 0.06)
EDGE_MM = (0.45, 1.1)
DOME_MM, WAVE_MM = (0.05, 0.3), (0.05, 0.2)
ENDS = ("flat", "domed", "waved")
KEPT = 0.25  # of the triangles of a decimated scan


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
