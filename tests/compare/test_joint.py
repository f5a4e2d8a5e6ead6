"""A joint's lip, step, offset, margins and bends are those of the outlines it was made from."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from portgeo.comparing.joint import match
from portgeo.core.errors import GeometryError
from portgeo.core.port import Port, port_from_readings
from portgeo.core.section import Reading, outline_of
from portgeo.present.text.joint import match_text
from portgeo.results.joined import Joined
from tests.conftest import elbow_readings

from .shapes import straight_readings


def tube(height: float, width: float, *, rise: float = 0.0, shift: float = 0.0, corner: float = 5.0) -> Port:
    rows = straight_readings(height, width, 60.0, corner)
    return port_from_readings([replace(r, rise=rise, shift=shift) for r in rows])


def test_equal_parts_have_no_lip():
    found = match(tube(50, 30), tube(50, 30))
    assert found.lip.clock is None
    assert found.step.clock is None
    assert found.lip.area == pytest.approx(0.0, abs=1e-9)
    assert np.allclose(found.offset, 0.0)
    assert found.floor_bend == pytest.approx(0.0, abs=1e-9)


def test_smaller_downstream_is_a_lip_all_round():
    found = match(tube(50, 30), tube(48, 30))
    assert found.lip.height == pytest.approx(1.0, abs=0.01)
    assert found.step.area == pytest.approx(0.0, abs=1e-6)
    assert found.lip.area == pytest.approx(2 * 30.0, rel=1e-3)  # two strips 1 mm high
    assert match(tube(48, 30), tube(50, 30)).step.area == pytest.approx(60.0, rel=1e-3)


def test_lowered_downstream_is_a_lip_at_the_roof_and_a_step_at_the_floor():
    found = match(tube(50, 30), tube(50, 30, rise=-0.8))
    assert found.lip.height == pytest.approx(0.8, abs=0.01)
    assert found.lip.clock is not None and min(found.lip.clock, 12 - found.lip.clock) < 1.0
    assert found.step.clock is not None and abs(found.step.clock - 6.0) < 1.0
    assert found.offset == pytest.approx([0.0, -0.8], abs=1e-6)


def test_shift_to_the_left_is_a_lip_on_the_right():
    found = match(tube(50, 30), tube(50, 30, shift=1.2))
    assert found.offset == pytest.approx([1.2, 0.0], abs=1e-6)
    assert found.lip.clock is not None and abs(found.lip.clock - 3.0) < 0.3
    assert found.lip.height == pytest.approx(1.2, abs=0.01)


def test_rotation_is_that_of_the_outline():
    angle = np.radians(4.0)
    drawn = outline_of(tube(50, 30).readings[0])
    # Clockwise looking downstream: what points to the roof turns to the right wall, which is -left.
    left, up = drawn.T
    turned = np.column_stack([left * np.cos(angle) - up * np.sin(angle), left * np.sin(angle) + up * np.cos(angle)])
    rows = [Reading(row=k, station=s, shape="outline", outline=turned) for k, s in enumerate((0.0, 60.0))]
    found = match(tube(50, 30), port_from_readings(rows))
    assert found.rotation is not None
    assert np.degrees(found.rotation) == pytest.approx(4.0, abs=0.05)


def test_round_openings_have_no_rotation():
    round_ = [Reading(row=k, station=s, shape="round", height=40, width=40) for k, s in enumerate((0.0, 50.0))]
    assert match(port_from_readings(round_), port_from_readings(round_)).rotation is None


def test_floor_bend_is_the_angle_of_the_floors():
    climbing = port_from_readings(
        [
            Reading(row=k, station=s, height=50 - s * 0.1, width=30, corner_roof=5, corner_floor=5, rise=s * 0.05)
            for k, s in enumerate((0.0, 60.0))
        ]
    )
    found = match(tube(50, 30), climbing)
    assert np.degrees(found.floor_bend) == pytest.approx(np.degrees(np.arctan(0.1)), abs=0.02)
    assert np.degrees(found.roof_bend) == pytest.approx(0.0, abs=0.02)


def test_margin_left_on_purpose_is_no_fault():
    opening = shapely.Polygon(match(tube(50, 30), tube(50, 30)).upstream)
    gasket = np.asarray(opening.buffer(0.5, quad_segs=64).exterior.coords)[:-1]
    meant = match(tube(50, 30), tube(50, 30), gasket=gasket, leave=0.5)
    assert meant.margins["upstream"].least == pytest.approx(0.5, abs=0.05)
    assert meant.margins["upstream"].fault is None
    assert match(tube(50, 30), tube(50, 30), gasket=gasket).margins["upstream"].fault == "metal_left"
    over = match(tube(53, 30), tube(50, 30), gasket=gasket, leave=0.5)
    assert over.margins["upstream"].fault == "past_the_line"
    assert over.margins["upstream"].least == pytest.approx(-1.0, abs=0.02)
    assert over.margins["downstream"].fault is None


def test_schedule_runs_through_both():
    found = match(tube(50, 30), tube(48, 30))
    assert found.joint_station == pytest.approx(60.0)
    assert found.stations[-1] == pytest.approx(120.0)
    assert (np.diff(found.stations) >= 0).all()
    assert found.areas[0] - found.areas[-1] == pytest.approx(60.0, rel=1e-3)


def test_parts_side_by_side_are_refused():
    with pytest.raises(GeometryError, match="do not meet"):
        match(tube(50, 30), tube(50, 30, shift=40.0))


def test_two_states_of_one_port_are_told_and_a_runner_and_its_port_are_not():
    bend = port_from_readings(elbow_readings(44.0, 32.0, 9.0, (58.0, 30.0), 40.0, 75.0))
    cut = port_from_readings(elbow_readings(46.0, 33.0, 9.0, (58.0, 30.0), 40.0, 75.0))
    assert [n.code for n in match(bend, cut).warnings] == ["two_states"]
    assert match(tube(44, 32), bend).warnings == ()
    with pytest.raises(GeometryError, match="one inside the other, as two stages of one port do"):
        match(bend, cut, lay="none")


def test_a_runner_that_shares_its_ports_frame_is_matched():
    runner = tube(44, 32)
    frame = np.eye(4)
    frame[0, 3] = runner.centreline.length  # the files' zero is at the runner's exit
    found = match(replace(runner, frame=frame), tube(44, 32), lay="none")
    assert found.lip.clock is None and found.flange_angle == pytest.approx(0.0, abs=1e-6)


def test_text_and_record_say_the_same():
    runner, port = tube(50, 30), tube(48, 30)
    found = match(runner, port)
    told = Joined.of(found, runner, port, 0.0)
    assert "1.00 mm high at most" in match_text(told, "runner -> port")
    record = told.to_dict()
    assert record["schema"] == "portgeo.match/1"
    assert record["lip"]["height_mm"] == pytest.approx(found.lip.height)
    assert record["gasket"] is None
