"""The runners of a set side by side: hands, spread, the odd one out, openings out of place."""

from dataclasses import replace

import numpy as np
import pytest

from portgeo.comparing.balance import balance
from portgeo.core.errors import GeometryError, InputError
from portgeo.core.port import Port, port_from_readings
from portgeo.core.units import Display
from portgeo.measuring import survey
from portgeo.present.text.balance import balance_text
from portgeo.results.balanced import Balanced

from .shapes import invented_readings, meshed, mirrored, posed, straight_readings


def runner(width: float = 1.0, shift: float = 0.0) -> Port:
    """A runner that also swings aside, so that its hands differ; its width scaled."""
    rows = [replace(r, width=r.width * width, swing=0.3 * r.station / 117.0) for r in invented_readings()]
    return meshed([replace(r, shift=shift if k == 0 else 0.0) for k, r in enumerate(rows)], 2.6)


@pytest.fixture(scope="module")
def four_runners():
    wide = runner(1.03)
    return [runner(), mirrored(runner()), wide, posed(runner(), seed=3)[0]]


@pytest.fixture(scope="module")
def set_of_four(four_runners):
    return balance(four_runners, [301.0, 299.0, 309.0, 300.0])


def test_hands_are_told(set_of_four):
    assert set_of_four.mirrored == (False, True, False, False)


def test_odd_one_out_and_spread(set_of_four):
    assert set_of_four.odd == 2
    assert set_of_four.areas[2] / set_of_four.areas[0] == pytest.approx(1.03, abs=0.005)
    assert set_of_four.spread.max() == pytest.approx(0.03, abs=0.006)
    assert set_of_four.areas[1] == pytest.approx(set_of_four.areas[0], rel=1e-4)


def test_nothing_stands_out_of_equal_runners():
    found = balance([runner(), mirrored(runner()), posed(runner(), seed=1)[0]])
    assert found.odd is None
    assert found.spread.max() < 0.003


def test_shifted_core_is_seen_at_its_opening():
    shifted = runner(shift=1.5)
    found = balance([runner(), runner(), shifted])
    left = np.array([opening.shift[0] for opening in found.entries])
    assert left[2] - left[0] == pytest.approx(1.5, abs=0.35)  # the fit gives a little way to a shift
    assert abs(found.exits[2].shift[0] - found.exits[0].shift[0]) < 0.4


def test_text_record_table(set_of_four, four_runners):
    names = ["1.stl", "2.stl", "3.stl", "4.stl"]
    told = Balanced.of(set_of_four, [replace(port, display=Display("in")) for port in four_runners])
    text = balance_text(told, names)
    assert "runner 3 is the odd one out" in text.splitlines()[0]
    record = told.to_dict()
    assert record["schema"] == "portgeo.compare-set/1"
    assert record["odd_one_out"] == 3
    assert record["runners"][1]["other_hand"]
    head, rows = told.stations.to_csv(Display("in"))
    assert head == ["station_in", *(f"area_{k}_in2" for k in (1, 2, 3, 4)), "spread_percent"]
    assert rows[0][1] == pytest.approx(set_of_four.areas[0, 0] / 645.16)


def sheet(width: float = 1.0, shift: float = 0.0, swing: float = 0.3) -> Port:
    return port_from_readings(
        [replace(r, width=r.width * width, shift=shift, swing=swing * r.station / 117.0) for r in invented_readings()]
    )


def test_sheets_stand_as_they_were_measured():
    """Unlike widths move no axis; the other hand is one whose swing is to the other side."""
    found = balance([sheet(), sheet(1.04), sheet(shift=0.5), sheet(swing=-0.3)], readings_tried=False)
    assert found.as_measured
    assert found.mirrored == (False, False, False, True)
    assert [opening.tilt for opening in found.entries] == pytest.approx([0.0] * 4, abs=1e-6)
    left = np.array([opening.shift[0] for opening in found.entries])
    assert left - left[0] == pytest.approx([0.0, 0.0, 0.5, 0.0], abs=1e-3)


def test_least_area_is_that_of_measure():
    ports = [sheet(), sheet(1.04)]
    found = balance(ports, readings_tried=False)
    assert list(found.least_areas) == [survey(port, readings_tried=False).least_area for port in ports]


def test_core_shift_against_the_gasket_hole():
    """Openings 0.5 mm left of their line, the hole's middle 0.2 mm left and 0.3 mm up."""
    ring = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)
    hole = np.column_stack([20.0 * np.cos(ring) + 0.2, 30.0 * np.sin(ring) + 0.3])
    # A mesh in its file's own frame, x into the port, says what its sheet does; one in a scanner's frame cannot.
    lofted = replace(sheet(shift=0.5), readings=())
    found = balance([sheet(), lofted], gasket=hole, readings_tried=False)
    assert found.gasket_shifts == pytest.approx(np.array([[-0.2, -0.3], [0.3, -0.3]]), abs=1e-3)
    with pytest.raises(GeometryError, match="port 2 of the set is a mesh in a frame of its own"):
        balance([sheet(), posed(lofted, seed=3)[0]], gasket=hole, readings_tried=False)
    ports = [sheet(), sheet(shift=0.5)]
    found = balance(ports, gasket=hole, gasket_end="exit", readings_tried=False)
    assert found.gasket_shifts == pytest.approx(np.array([[-0.2, -0.3], [0.3, -0.3]]), abs=1e-3)
    text = balance_text(Balanced.of(found, ports), ["a", "b"])
    assert "exit against the gasket's hole" in text


def test_refusals():
    with pytest.raises(InputError, match="two ports"):
        balance([runner()])
    with pytest.raises(InputError, match="3 flows for 2 ports"):
        balance([runner(), runner()], [1.0, 2.0, 3.0])
    with pytest.raises(GeometryError, match="port 2 of the set"):
        balance([runner(), meshed(straight_readings(30.0, 30.0, 40.0, 15.0), 2.0)])
