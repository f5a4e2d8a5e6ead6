"""The ± of a scan: the noise as it hangs together, the flats that cut corners, the scale. Truth is closed form."""

from dataclasses import replace

import numpy as np
import pytest

from portgeo.errors import InputError
from portgeo.scan import port_from_scan, scale_share
from portgeo.scan.noise import scan_grain
from portgeo.survey import survey
from portgeo.survey.scan_uncertainty import facet_area
from portgeo.triangles import volume
from tests.scan import molds

EDGE = 0.8


def test_two_standard_uncertainties_hold_what_correlated_noise_does():
    """JCGM 100: they hold 19 times in 20; here a hundred areas and four volumes of four dense scans."""
    ratios, of_volume = [], []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        mold = molds.random_mold(rng)
        scan = molds.scan_of(mold, EDGE, rng.uniform(0.01, 0.05), rng)
        measured = survey(port_from_scan(scan.vertices, scan.faces))
        along = mold.length * measured.stations / measured.length
        forward = abs(measured.area[0] - mold.area(np.zeros(1))[0]) < abs(measured.area[0] - mold.area(along[-1:])[0])
        truth = mold.area(along if forward else mold.length - along)
        ratios.extend((measured.area - truth) / measured.area_u)
        of_volume.append((measured.volume - mold.volume) / measured.volume_u)
    assert np.mean(np.abs(ratios) < 2.0) >= 0.93
    assert np.abs(of_volume).max() < 2.0


@pytest.mark.parametrize(("noise", "white"), [(0.02, 1.0), (0.04, 0.3)])
def test_white_noise_and_waves_are_told_apart(noise, white):
    rng = np.random.default_rng(5)
    scan = molds.scanned(molds.tube(molds.random_mold(rng), EDGE), noise, rng, white=white)
    grain = scan_grain(scan.vertices, noise, EDGE)
    assert grain.white == pytest.approx(noise * np.sqrt(white), rel=0.12)
    if white < 1.0:
        assert grain.waves == pytest.approx(noise * np.sqrt(1.0 - white), rel=0.35)
        # Half of the mean wave: 5 mm for the maker's 2 to 30 mm, by octaves; waves of up to 60 mm are allowed for.
        assert 5.0 < grain.length < 12.0
    assert grain.sigma < 1.4 * noise


def test_what_flat_triangles_cut_off_is_put_back():
    """Without noise a mesh with its points on the wall holds less than the wall does; what is told does not."""
    mold = molds.random_mold(np.random.default_rng(7))
    for edge in (0.7, 1.4):
        scan = molds.scanned(molds.tube(mold, edge), 0.002, np.random.default_rng(8), white=1.0)
        port = port_from_scan(scan.vertices, scan.faces)
        lacks = mold.volume - volume(port.vertices, port.faces)
        assert lacks > 0.0
        assert facet_area(port) * mold.length == pytest.approx(lacks, rel=0.15)


def test_an_error_of_scale_counts_once_in_lengths_twice_in_areas_three_times_in_volumes():
    rng = np.random.default_rng(9)
    mold = molds.random_mold(rng)
    scan = molds.scan_of(mold, 1.2, 0.02, rng)
    port = port_from_scan(scan.vertices, scan.faces)
    exact, unsure = survey(port), survey(replace(port, scale_error=0.001))
    of_scale = {
        name: next(share.u for share in budget if share.source == "scale") for name, budget in unsure.budget.items()
    }
    assert of_scale["volume"] == pytest.approx(0.003 * mold.volume, rel=0.01)
    assert of_scale["least_area"] == pytest.approx(0.002 * mold.least_area, rel=0.01)
    assert of_scale["short_side"] == pytest.approx(0.001 * mold.short_side, rel=0.1)
    assert unsure.volume_u == pytest.approx(np.hypot(exact.volume_u, of_scale["volume"]), rel=1e-6)
    assert unsure.short_side.radius_u > exact.short_side.radius_u


def test_an_error_of_scale_is_a_small_share():
    assert scale_share(None) is None
    assert scale_share(0.05) == pytest.approx(0.0005)
    for bad in (-0.1, 50.0, float("nan")):
        with pytest.raises(InputError):
            scale_share(bad)
