"""Odd molds are measured right, or refused for the true reason. Truth: closed forms and booleans of manifold3d."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from portgeo.core.errors import GeometryError
from portgeo.core.port import Port
from portgeo.core.triangles import volume
from portgeo.measuring import survey
from portgeo.scan import ScanOptions, port_from_scan
from portgeo.scan.halves import are_halves
from tests.scan import make
from tests.scan import odd_molds as odd
from tests.scan.molds import random_mold

EDGE = 1.8
CHORD = 2e-3  # what flat triangles of EDGE on these walls take off a volume
HEAD = odd.HEAD
ENTRY, EXIT = HEAD.spine(np.array([0.0, HEAD.length]))[0]
ROUND_CORNERS = 4.0 - np.pi


def port_of(scan: make.Scan, **options) -> Port:
    return port_from_scan(scan.vertices, scan.faces, ScanOptions(**options))


def volume_of(port: Port) -> float:
    return float(volume(port.vertices, port.faces))


def codes(port: Port) -> set[str]:
    return {notice.code for notice in port.warnings}


def section_of(width: float, height: float, corner: float) -> tuple[manifold3d.CrossSection, float]:
    """A rounded rectangle and its area, w h - (4 - pi) r^2."""
    section = manifold3d.CrossSection([odd.rounded(width, height, corner)])
    return section, width * height - ROUND_CORNERS * corner**2


@pytest.mark.parametrize("named", [False, True])
def test_a_slab_over_the_flange_and_a_stem_through_the_roof_are_left_out(named):
    scan = odd.with_slab_and_stem(HEAD, EDGE)
    port = port_of(scan, **({"entry": ENTRY, "exit": EXIT} if named else {}))
    assert volume_of(port) == pytest.approx(HEAD.volume, rel=CHORD)
    assert {"legs_cut", "spill_cut"} <= codes(port)
    found = survey(port)
    # The area at a named end is the opening's there, not the slab's.
    assert found.area[[0, -1]] == pytest.approx(HEAD.area(np.array([0.0, HEAD.length])), rel=3e-3)


@pytest.mark.parametrize(
    ("seed", "radius"),
    [(52, 8.0), *(pytest.param(*each, marks=pytest.mark.nightly) for each in ((50, 4.0), (51, 6.5)))],
)
def test_the_wall_under_a_fat_stem_is_made_up_as_it_goes_on_and_what_it_lacks_is_in_the_uncertainty(seed, radius):
    """Truth: the same mold, measured without the stem; only the wall under the stem is another."""
    mold = random_mold(np.random.default_rng(seed))
    whole = odd.solid_of(make.tube(mold, EDGE))
    plain, with_stem = (
        survey(port_of(odd.scan_of(solid, EDGE))) for solid in (whole, whole + odd.stem(mold, radius, 35.0))
    )
    (patch,) = with_stem.port.patches
    assert patch.area > np.pi * radius**2
    off = volume_of(with_stem.port) - volume_of(plain.port)
    assert abs(off) < 2.0 * patch.area * patch.height_u
    assert abs(off) < 1.5e-3 * mold.volume
    assert with_stem.volume_u > patch.area * patch.height_u
    stations = plain.stations * with_stem.length / plain.length
    areas = np.interp(stations, with_stem.stations, with_stem.area)
    assert (np.abs(areas - plain.area) < 2.0 * (with_stem.area_u + plain.area_u) + 1e-3 * plain.area).all()


def test_a_slab_much_wider_than_the_flange_is_cut_at_the_flange():
    scan = odd.scan_of(odd.solid_of(make.tube(HEAD, EDGE)) + odd.slab(HEAD, 20.0, 35.0), EDGE)
    port = port_of(scan, entry=ENTRY, exit=EXIT)
    assert volume_of(port) == pytest.approx(HEAD.volume, rel=CHORD)
    assert "spill_cut" in codes(port)


def test_a_stem_is_cut_off_a_scan_that_is_open_at_both_ends():
    scan = odd.scan_of(odd.solid_of(make.tube(HEAD, EDGE)) + odd.stem(HEAD, 4.0, 35.0), EDGE)
    points, headings, _ = HEAD.spine(np.array([0.0, HEAD.length]))
    for point, heading in zip(points, headings, strict=True):
        scan = odd.opened(scan, heading, float(point @ heading))
    port = port_of(scan)
    assert volume_of(port) == pytest.approx(HEAD.volume, rel=CHORD)
    assert "legs_cut" in codes(port)


@pytest.mark.parametrize(
    ("width", "height", "corner", "length"),
    [(60.0, 25.0, 6.0, 90.0), (80.0, 25.0, 10.0, 110.0), (60.0, 25.0, 6.0, 45.0), (34.0, 50.0, 8.0, 25.0)],
)
def test_a_wide_or_stubby_straight_port_is_measured_along_its_length(width, height, corner, length):
    section, area = section_of(width, height, corner)
    port = port_of(odd.straight_of(section, length, EDGE))
    assert port.centreline.length == pytest.approx(length, abs=0.02)
    assert volume_of(port) == pytest.approx(area * length, rel=1e-3)
    assert survey(port).area == pytest.approx(area, rel=1e-3)


def test_a_stubby_port_open_at_both_ends():
    section, area = section_of(34.0, 50.0, 8.0)
    scan = odd.opened(odd.opened(odd.straight_of(section, 25.0, EDGE), [1.0, 0.0, 0.0], 0.0), [1.0, 0.0, 0.0], 25.0)
    port = port_of(scan)
    assert port.centreline.length == pytest.approx(25.0, abs=0.02)
    assert volume_of(port) == pytest.approx(area * 25.0, rel=1e-3)


@pytest.mark.parametrize(
    ("size", "radius", "degrees"),
    [((25.0, 60.0, 6.0), 50.0, 75.0), ((50.0, 34.0, 8.0), 46.0, 62.0)],  # wide; as long as it is high
)
def test_a_wide_elbow_and_one_as_long_as_it_is_high(size, radius, degrees):
    """Pappus: area times the length of the arc through the centroids; and its openings are square."""
    section, area = section_of(*size)
    port = port_of(odd.elbow_of(section, radius, degrees, EDGE))
    arc = radius * np.radians(degrees)
    assert volume_of(port) == pytest.approx(area * arc, rel=1e-3)
    assert port.centreline.length == pytest.approx(arc, rel=2e-3)
    assert "opening_oblique" not in codes(port)


def test_a_peanut_is_one_tube_with_two_ends():
    section = odd.peanut(14.0, 34.0, 16.0)
    port = port_of(odd.straight_of(section, 90.0, EDGE))
    assert port.centreline.length == pytest.approx(90.0, abs=0.02)
    assert volume_of(port) == pytest.approx(section.area() * 90.0, rel=1e-3)


@pytest.mark.parametrize("lump", ["cube", "egg", "sphere", "figure"])
def test_what_is_no_tube_is_refused(lump):
    ball = manifold3d.Manifold.sphere(25.0, 96)
    scan = {
        "cube": lambda: odd.scan_of(manifold3d.Manifold.cube((50.0, 50.0, 50.0)), 2.5),
        "egg": lambda: odd.scan_of(ball.scale((2.0, 1.0, 1.0)), 2.5),
        "sphere": lambda: odd.scan_of(ball, 2.5),
        "figure": lambda: odd.figure(2.5),
    }[lump]()
    with pytest.raises(GeometryError, match=r"faces that can be its ends|opening|lump|no tube|splits"):
        port_of(scan)


@pytest.mark.parametrize("degrees", [0.0, 5.0, 12.0, 20.0])
def test_an_end_that_is_cut_askew_is_told_with_its_angle_and_one_cut_square_is_not(degrees):
    lean = np.radians(degrees)
    block = odd.solid_of(make.tube(HEAD, EDGE)).trim_by_plane((np.cos(lean), 0.0, np.sin(lean)), 12.0)
    scan = make.roughened(odd.scan_of(block, EDGE), 0.01, np.random.default_rng(3))
    told = [n for n in port_of(scan).warnings if n.code == "opening_oblique"]
    if degrees == 0.0:
        assert told == []
    else:
        (notice,) = told
        angle, doubt = np.degrees([notice.values["tilt"], notice.values["doubt"]])
        assert notice.values["end"] == "entry"
        assert abs(angle - degrees) <= doubt <= 2.0


@pytest.mark.parametrize("closed", [True, False])
def test_two_files_of_one_molds_halves_are_told_from_two_runners(closed):
    whole = make.tube(HEAD, EDGE)
    left, right = odd.halves(whole, EDGE)
    if not closed:
        left, right = (odd.opened(half, [0.0, 1.0, 0.0], 0.0) for half in (left, right))
        left, right = (make.Scan(half.vertices[np.unique(half.faces)], half.faces, half.pose) for half in (left, right))
    assert are_halves(left.vertices, right.vertices)
    assert not are_halves(whole.vertices, whole.vertices + [0.0, 40.0, 0.0])
    assert not are_halves(whole.vertices, whole.vertices + 0.05)
    assert not are_halves(left.vertices, left.vertices)
