"""Headings within their doubt: what is told of an angle, and how far it may be off, against curves that are known."""

import numpy as np
import pytest
from scipy.special import erf

from portgeo.core.angle_readings import AngleReadings
from portgeo.core.headings import fit_angle, fit_headings
from portgeo.core.section import Reading
from portgeo.core.surface import spine_of

DEGREE = np.radians(1.0)
SIZE = 40.0
FINE = np.linspace(0.0, 130.0, 261)
TURN = np.radians(70.0)


def smooth(s):
    """A turn whose rate is a bell 14 mm wide about 75 mm."""
    return TURN * 0.5 * (1.0 + erf((s - 75.0) / (np.sqrt(2.0) * 14.0)))


def arcs(s):
    return TURN * np.clip((s - 47.0) / 52.0, 0.0, 1.0)


def read(curve, rows, seed):
    """Rows as a person reads them to a degree, 0 where no turn is seen yet."""
    rng = np.random.default_rng(seed)
    s = np.linspace(0.0, 130.0, rows)
    true = curve(s)
    seen = true > DEGREE
    angles = np.where(seen, true + DEGREE * rng.standard_normal(rows), 0.0)
    errors = np.where(seen, DEGREE, np.where(s > 0.0, DEGREE / 2.0, 0.0))
    return fit_angle(AngleReadings.at_rows(s, angles, errors), SIZE)


@pytest.mark.parametrize("curve", [smooth, arcs])
def test_a_degree_in_each_heading_is_evened_out_over_the_rows(curve):
    """Rate of turn over the bend: off by a third less than that of the readings as they are, and without a sign."""
    bend = (FINE > 55.0) & (FINE < 92.0)
    true = np.gradient(curve(FINE), FINE)[bend]
    told, plain = [], []
    for seed in range(24):
        fit = read(curve, 18, seed)
        told.append(np.gradient(fit.told(FINE), FINE)[bend] - true)
        plain.append(np.gradient(np.interp(FINE, fit.readings.stations, fit.readings.angles), FINE)[bend] - true)
    assert np.sqrt(np.mean(np.square(told))) < 0.67 * np.sqrt(np.mean(np.square(plain)))
    assert abs(np.mean(told)) < 0.03 * true.max()


def test_a_smooth_peak_is_not_blunted_by_the_rows_and_arcs_are_not_made_smooth():
    peaks = {
        curve: np.mean([np.gradient(read(curve, 14, k).told(FINE), FINE).max() for k in range(16)])
        for curve in (smooth, arcs)
    }
    assert peaks[smooth] == pytest.approx(TURN / np.sqrt(2.0 * np.pi) / 14.0, rel=0.06)
    assert peaks[arcs] == pytest.approx(TURN / 52.0, rel=0.06)


@pytest.mark.parametrize("rows", [8, 18])
@pytest.mark.parametrize("curve", [smooth, arcs])
def test_what_the_heading_may_be_off_by_holds_the_truth(curve, rows):
    within = []
    for seed in range(16):
        fit = read(curve, rows, seed)
        drawn = fit.draws(FINE, 64, np.random.default_rng(seed))
        u = np.hypot(*(np.sqrt(np.mean(off**2, axis=0)) for off in drawn))
        within.append(np.abs(fit.told(FINE) - curve(FINE)) <= 2.0 * u + 1e-9)
    assert np.mean(within) > 0.9


def test_rows_where_arcs_meet_stay_as_they_are():
    """Straight, 26 degrees, 49 more: every row is a corner, so there is nothing to even out."""
    stations, turns = np.array([0.0, 25.4, 55.9, 86.4]), np.radians([0.0, 0.0, 26.0, 75.0])
    fit = fit_angle(AngleReadings.at_rows(stations, turns, np.array([0.0, DEGREE / 2.0, DEGREE, DEGREE])), SIZE)
    assert fit.smoothness == 0.0
    assert fit.told(FINE[:150]) == pytest.approx(np.interp(FINE[:150], stations, turns), abs=1e-9)


def test_rows_on_one_arc_give_that_arc():
    s = np.linspace(0.0, 130.0, 14)
    fit = fit_angle(
        AngleReadings.at_rows(s, np.interp(s, s[[4, 9]], [0.0, TURN]), np.where(s > s[4], DEGREE, DEGREE / 2.0)), SIZE
    )
    assert fit.told(FINE) == pytest.approx(np.interp(FINE, s[[4, 9]], [0.0, TURN]), abs=np.radians(0.05))


def test_exact_headings_are_met_at_their_rows():
    s = np.linspace(0.0, 130.0, 27)
    fit = fit_angle(AngleReadings.at_rows(s, smooth(s), np.zeros(27)), SIZE)
    assert fit.told(s) == pytest.approx(smooth(s), abs=np.radians(0.02))
    assert np.gradient(fit.told(FINE), FINE).max() == pytest.approx(TURN / np.sqrt(2.0 * np.pi) / 14.0, rel=0.01)


def test_places_say_how_the_port_runs_and_headings_hold():
    readings = [
        Reading(k + 2, 20.0 * k, height=30.0, width=30.0, place=np.array([20.0 * k, 0.0, 0.0])) for k in range(4)
    ]
    assert fit_headings(readings) == {}
    spine, rows = spine_of(readings)
    assert rows == pytest.approx([0.0, 20.0, 40.0, 60.0])
    assert spine.length == pytest.approx(60.0)
