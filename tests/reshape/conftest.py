"""Ports of known shape to plan cuts on."""

import pytest

from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from tests.conftest import elbow_readings


def tube_readings(length, diameter):
    return tuple(
        Reading(row=k + 2, station=s, shape="round", height=diameter, width=diameter)
        for k, s in enumerate((0.0, length))
    )


@pytest.fixture(scope="session")
def tube():
    """A straight round tube, 160 mm long, 36 mm bore."""
    return port_from_readings(tube_readings(160.0, 36.0))


@pytest.fixture(scope="session")
def sharp_bend():
    """A square bend with nearly sharp corners, its short side 12 mm through 90 degrees."""
    return port_from_readings(elbow_readings(40.0, 30.0, 0.3, (50.0, 30.0), 32.0, 90.0))


@pytest.fixture(scope="session")
def bend():
    """The same bend with 5 mm corners."""
    return port_from_readings(elbow_readings(40.0, 30.0, 5.0, (50.0, 30.0), 32.0, 90.0))
