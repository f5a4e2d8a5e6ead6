"""Ports of known shape that several tests look at."""

import os
from pathlib import Path

# The workers share the cores: with threads of their own, their matrices' products wait for one another, on a
# busy machine for ten times as long. Set before numpy is loaded; the workers have it from who starts them.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np
import pytest
from hypothesis import settings

from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.measuring import Survey, survey
from tests.validation import Collected, check  # noqa: F401 - a fixture of the checks in tests/reference

# A loaded machine is not a fault of the code: no test is timed. All tests meet the same examples at every
# run, on every machine; the long ones, marked nightly, say derandomize=False and roam.
settings.register_profile("portgeo", deadline=None, derandomize=True)
settings.load_profile("portgeo")


def pytest_addoption(parser):
    parser.addoption("--rows", metavar="FILE", help="write the validation table's rows (json), and compare no page")


def pytest_configure(config):
    config.pluginmanager.register(Collected(config))


DEMO = Path(__file__).resolve().parent.parent / "meshes"


def elbow_readings(height, width, corner, legs, radius, degrees, shape="rect"):
    """Straight leg, turn of a centreline radius, straight leg: one section throughout."""
    turn = np.radians(degrees)
    stations = np.cumsum([0.0, legs[0], radius * turn, legs[1]])
    return tuple(
        Reading(
            row=k + 2,
            station=float(s),
            shape=shape,
            height=height,
            width=width,
            corner_roof=corner,
            corner_floor=corner,
            turn=t,
        )
        for k, (s, t) in enumerate(zip(stations, (0.0, 0.0, turn, turn), strict=True))
    )


def port_readings():
    """A tall entry that flows through a turn into a round throat."""
    rows = [
        (0, 52, 30, 6, 6, 0, "rect"),
        (25, 49, 31, 7, 8, 0, "rect"),
        (50, 45, 31.5, 8, 9, 5, "rect"),
        (65, 42, 33, 9, 10, 25, "rect"),
        (80, 40, 35, 12, 12, 50, "rect"),
        (95, 39, 39, 0, 0, 72, "round"),
        (108, 39, 39, 0, 0, 75, "round"),
    ]
    return tuple(
        Reading(
            row=k + 2,
            station=float(s),
            shape=shape,
            height=float(h),
            width=float(w),
            corner_roof=float(roof),
            corner_floor=float(floor),
            turn=np.radians(turn),
        )
        for k, (s, h, w, roof, floor, turn, shape) in enumerate(rows)
    )


@pytest.fixture(scope="session")
def rect_elbow():
    """Rounded-rectangle elbow: 44 x 32 mm, corners 9 mm, centreline radius 40 mm through 75 degrees."""
    return port_from_readings(elbow_readings(44.0, 32.0, 9.0, (58.0, 22.0), 40.0, 75.0))


@pytest.fixture(scope="session")
def round_elbow():
    """Round elbow: 38 mm bore, centreline radius 60 mm through 90 degrees."""
    return port_from_readings(elbow_readings(38.0, 38.0, 0.0, (40.0, 100.0), 60.0, 90.0, "round"))


@pytest.fixture(scope="session")
def port():
    """A port from a tall entry to a round throat."""
    return port_from_readings(port_readings())


@pytest.fixture(scope="session")
def rect_elbow_survey(rect_elbow) -> Survey:
    return survey(rect_elbow)


@pytest.fixture(scope="session")
def port_survey(port) -> Survey:
    return survey(port)
