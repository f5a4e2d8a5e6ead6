"""A port whose air is too fast over the short side, and the search for its best cuts."""

import numpy as np
import pytest

from portgeo.calming.calm import search_in
from portgeo.core.port import port_from_readings
from portgeo.reshape.plan import room_for
from portgeo.reshape.target import Target
from tests.conftest import port_readings

FLOW = 0.1  # m3/s


@pytest.fixture(scope="session")
def port():
    return port_from_readings(port_readings())


@pytest.fixture(scope="session")
def target():
    return Target(symmetric=True, blend=16.0)


@pytest.fixture(scope="session")
def room(port, target):
    return room_for(port, target)


@pytest.fixture(scope="session")
def search(port, target, room):
    return search_in(port, FLOW, target, room, unknowns=2500)


@pytest.fixture(scope="session")
def start(search):
    return search.at(np.zeros(len(search.cuts.most)))
