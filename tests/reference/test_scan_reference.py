"""Noisy meshes of standard elbows, measured as scans, against the standard's own figures.

ASME B16.9 long-radius elbow: centre-to-end 1.5 x NPS; bore from ASME B36.10M schedule 40, which
`fluids.piping.nearest_pipe` carries. Volume by Pappus's centroid theorem.
"""

import numpy as np
import pytest
from fluids.piping import nearest_pipe

from portgeo.core.plane import fit_circle
from portgeo.measuring import survey
from portgeo.scan import port_from_scan
from tests.scan import make

INCH = 25.4


@pytest.mark.parametrize("nps", [2, 4])
def test_long_radius_elbow(nps: int, check) -> None:
    bore = nearest_pipe(NPS=nps, schedule="40")[1] * 1000.0
    centre_radius = 1.5 * nps * INCH
    elbow = make.Shape(
        legs=(0.0, 0.0), radius=centre_radius, turn=np.pi / 2, width=(bore, bore), height=(bore, bore), square=(2, 2)
    )
    rng = np.random.default_rng(nps)
    scan = make.roughened(make.tube(elbow, 0.02 * bore), 0.05, rng)
    scan = make.shuffled(make.posed(scan, make.random_pose(rng)), rng)
    port = port_from_scan(scan.vertices, scan.faces)
    found = survey(port)
    # The centreline lies in the plane of the turn, which in the port frame holds x and z.
    line = fit_circle(port.centreline.points[:, [0, 2]])
    what, standard = f"NPS {nps} long-radius elbow, scanned: ", "ASME B16.9, B36.10M (fluids)"
    check(what + "centerline radius, mm", standard, line.radius, centre_radius, rel=0.001)
    exact = np.pi * bore**2 / 4 * centre_radius * np.pi / 2
    check(what + "volume, mm3", standard + ", Pappus", found.volume, exact, rel=0.001)
    assert found.short_side is not None
    check(what + "short side radius, mm", standard, found.short_side.radius, centre_radius - bore / 2, rel=0.001)
