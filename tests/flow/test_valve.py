"""The passage past a poppet valve: three stages that join without a step, and its two limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portgeo.core.errors import InputError
from portgeo.flow.valve import Valve, check_valve, curtain_area, passage, throat_area


@st.composite
def valves(draw):
    head = draw(st.floats(20.0, 60.0))
    throat = head * draw(st.floats(0.75, 0.98))
    return Valve(
        head=head,
        throat=throat,
        stem=draw(st.floats(0.0, 0.3)) * throat,
        seat_angle=np.radians(draw(st.floats(20.0, 60.0))),
        seat_width=draw(st.floats(0.5, 3.0)),
    )


@given(valves())
def test_no_step_between_the_stages_and_more_lift_never_gives_less(valve):
    lift = np.linspace(1e-6, valve.head / 2.0, 20001)
    area, limits = passage(valve, lift)
    # pi D is the most that any frustum can grow by for a millimetre of lift.
    assert np.all(np.diff(area) >= -1e-9)
    assert np.diff(area).max() <= np.pi * valve.head * (lift[1] - lift[0]) * (1.0 + 1e-9)
    assert np.all(np.diff(limits) >= 0)


@given(valves())
def test_the_two_limits(valve):
    """Hardly open: seat circumference times the gap square to the face. Wide open: throat less stem."""
    tiny = 1e-7
    inner = np.pi * (valve.head - 2.0 * valve.seat_width)
    assert passage(valve, [tiny])[0][0] == pytest.approx(inner * tiny * np.cos(valve.seat_angle), rel=1e-6)
    assert passage(valve, [valve.head])[0][0] == np.pi / 4.0 * (valve.throat**2 - valve.stem**2)
    assert throat_area(valve) == passage(valve, [valve.head])[0][0]


@given(valves())
def test_the_frustum_edge_to_edge_by_pappus(valve):
    """Past the first stage: slant length between the two edges times the path of its middle."""
    first = valve.seat_width / (np.sin(valve.seat_angle) * np.cos(valve.seat_angle))
    lift = first * 1.3
    edge_in = np.array([valve.head / 2.0 - valve.seat_width, 0.0])
    edge_out = np.array([valve.head / 2.0, lift - valve.seat_width * np.tan(valve.seat_angle)])
    area = np.linalg.norm(edge_out - edge_in) * np.pi * (edge_in[0] + edge_out[0])
    assert passage(valve, [lift])[0][0] == pytest.approx(min(area, throat_area(valve)), rel=1e-12)


def test_stages_in_order_on_an_ordinary_valve():
    valve = Valve(head=44.0, throat=38.0, stem=7.0, seat_width=1.5)
    assert passage(valve, [1.0, 6.0, 14.0])[1].tolist() == [0, 1, 2]
    assert curtain_area(valve, [10.0])[0] == pytest.approx(np.pi * 440.0)


@pytest.mark.parametrize(
    "change",
    [{"head": 0.0}, {"throat": 50.0}, {"stem": 40.0}, {"seat_width": 0.0}, {"seat_angle": 2.0}, {"head": np.nan}],
)
def test_a_valve_that_cannot_be(change):
    ordinary = {"head": 44.0, "throat": 38.0, "stem": 7.0, "seat_width": 1.5}
    check_valve(Valve(**ordinary))
    with pytest.raises(InputError):
        check_valve(Valve(**(ordinary | change)))
