"""The ± of a scan: the noise as it hangs together, the flats that cut corners, the scale. Truth is closed form."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from portgeo.core.errors import InputError
from portgeo.core.triangles import volume
from portgeo.measuring import survey
from portgeo.measuring.scan_uncertainty import facet_area
from portgeo.results.measured import Measured
from portgeo.scan import port_from_scan, scale_share
from portgeo.scan.noise import scan_grain
from tests.scan import molds

EDGE = 0.8


@pytest.mark.parametrize("count", [2, pytest.param(12, marks=pytest.mark.nightly)])
def test_two_standard_uncertainties_hold_what_correlated_noise_does(count):
    """JCGM 100: they hold 19 times in 20; here the areas and volumes of dense scans."""
    ratios, of_volume = [], []
    for seed in range(count):
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
    assert grain.sigma < 1.4 * noise


def test_a_girth_s_worth_of_waves_is_as_large_as_it_is_told_to_be():
    """The maker's waves summed round a hundred girths, and what is told of one scan of them: never less, half as much
    again at most, for waves of up to 60 mm, too long to be told from form, are allowed for.
    """
    rng = np.random.default_rng(6)
    turn = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    ring = 19.0 * np.column_stack([np.zeros(400), np.cos(turn), np.sin(turn)])
    girth = 2.0 * np.pi * 19.0
    sums = [float(np.mean(molds.waves(ring, rng))) * girth for _ in range(400)]
    noise = 0.04
    scan = molds.scanned(molds.tube(molds.random_mold(rng), EDGE), noise, rng, white=0.0)
    told = scan_grain(scan.vertices, noise, EDGE).along(girth)
    assert 1.0 < told / (noise * np.std(sums)) < 1.6


def test_what_flat_triangles_cut_off_is_put_back():
    """Without noise a mesh with its points on the wall holds less than the wall does; what is told does not."""
    mold = molds.random_mold(np.random.default_rng(7))
    for edge in (0.7, 1.4):
        scan = molds.scanned(molds.tube(mold, edge), 0.002, np.random.default_rng(8), white=1.0)
        port = port_from_scan(scan.vertices, scan.faces)
        lacks = mold.volume - volume(port.vertices, port.faces)
        assert lacks > 0.0
        assert facet_area(port) * mold.length == pytest.approx(lacks, rel=0.15)


def _stated(record: Any, path: str = "") -> dict[str, tuple[float, float]]:
    """Every figure of a record that has a standard uncertainty beside it: its place, value and uncertainty."""
    found = {}
    for key, value in record.items() if isinstance(record, dict) else enumerate(record):
        if isinstance(value, (dict, list)):
            found |= _stated(value, f"{path}/{key}")
        elif "_u_" in str(key):
            found[f"{path}/{key}"] = (record[key.replace("_u_", "_")], value)
    return found


def test_an_error_of_scale_is_in_every_uncertainty_once_in_lengths_twice_in_areas_three_times_in_volumes():
    rng = np.random.default_rng(9)
    mold = molds.random_mold(rng)
    scan = molds.scan_of(mold, 1.2, 0.02, rng)
    port = port_from_scan(scan.vertices, scan.faces)
    exact, unsure = (_stated(Measured.of(survey(p), None).to_dict()) for p in (port, replace(port, scale_error=0.01)))
    assert set(exact) == set(unsure)
    assert {"/volume_u_cc", "/least_area/area_u_mm2", "/stations/7/area_u_mm2", "/throat/area_u_mm2"} < set(exact)
    assert {"/short_side/radius_u_mm", "/bends/0/least_radius_u_mm", "/long_side/radius_u_mm"} < set(exact)
    for place, (value, u) in unsure.items():
        power = 3 if place.endswith("_cc") else 2 if place.endswith("_mm2") else 1
        assert np.sqrt(u**2 - exact[place][1] ** 2) == pytest.approx(power * 0.01 * value, rel=0.01), place


def test_an_error_of_scale_is_a_small_share():
    assert scale_share(None) is None
    assert scale_share(0.05) == pytest.approx(0.0005)
    for bad in (-0.1, 50.0, float("nan")):
        with pytest.raises(InputError):
            scale_share(bad)
