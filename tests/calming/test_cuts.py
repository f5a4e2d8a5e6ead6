"""Bumps along a port: cubic B-splines over its stations, for a port of any length."""

import numpy as np

from portgeo.calming.cuts import _bumps_along


def test_bumps_along_add_up_to_one_over_a_port_of_any_length():
    # B-splines add up to one between their end knots: de Boor, A Practical Guide to Splines (1978). The last station
    # lies on the last knot to the last digit, whatever the length: 88.9 mm in 8.4 mm steps once lay past it.
    for length in np.linspace(40.0, 140.0, 401):
        stations = np.linspace(0.0, length, 90)
        for step in (5.0, 8.4, 12.7):
            bumps = _bumps_along(stations, stations[:, None] * [0.6, 1.3], np.ones(90, dtype=bool), step)
            np.testing.assert_allclose(bumps.sum(axis=2), 1.0, atol=1e-12)
