"""Air through a port that splits: shares, speeds in each passage, what goes in comes out.

Truth is closed form (conductances of slender ducts, an even flow, the vortex of a long bend), the single port that legs
which never part make together, and a plane flow solved by triangles of another library on a mesh of its own.
"""

from types import SimpleNamespace

import numpy as np
import pytest

import portgeo as pg
from portgeo.core.errors import InputError
from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.core.split import split_port
from portgeo.flow.gas import STANDARD, density_at, isentropic_speed, mach_through
from portgeo.flow.parting import solve_parted
from portgeo.flow.path import path_of
from portgeo.flow.share_doubt import shares_u
from portgeo.flow.tube import speeds_on, tube_of
from portgeo.flow.wall import size_for, sizing_of, wall_solution
from portgeo.measuring.uncertainty import Share
from tests.flow.plane_fork import PlaneFork

HEIGHT = 40.0


def box(row, station, width, height=HEIGHT, corner=0.0, **more):
    return Reading(row, station, height=height, width=width, corner_roof=corner, corner_floor=corner, **more)


def parted(port, unknowns=2500, shares=None, density=None):
    """The flow and its walls; without a density of air that does not thin out, which most closed forms are of."""
    paths = [path_of(passage.port) for passage in port.passages]
    tubes = [tube_of(path, size_for(sizing_of(path), unknowns), trunk=k == 0) for k, path in enumerate(paths)]
    found = solve_parted(tubes[0], tubes[1:], None if shares is None else np.array(shares), density)
    walls = [speeds_on(*each) for each in zip(tubes, found.values, found.flux, strict=True)]
    return SimpleNamespace(shares=found.shares, flux=found.flux, trunk=walls[0], legs=walls[1:])


def halves(turn=0.0, radius=70.0, width=30.0, trunk=60.0, side=None, **more):
    """A trunk 30 long, and two legs side by side that turn alike."""
    side = width / 2.0 if side is None else side
    rows = {
        name: [
            box(row, 30.0, width, shift=sign * side),
            box(row + 1, 30.0 + (radius * turn or 60.0), width, turn=turn),
        ]
        for name, sign, row in (("left", 1.0, 4), ("right", -1.0, 6))
    }
    return [box(2, 0.0, trunk), box(3, 30.0, trunk)], rows


def test_legs_that_fill_a_straight_trunk_leave_the_flow_even():
    found = parted(split_port(*halves()))
    assert found.shares == pytest.approx(0.5, abs=1e-9)
    for wall in (found.trunk, *found.legs):
        assert np.abs(wall.over_mean - 1.0).max() < 1e-5


def test_legs_that_never_part_have_the_flow_of_the_single_port():
    """The elbow is one port, solved by the single port's way; the divider of no thickness lies along its flow."""
    turn = np.radians(60.0)
    trunk, legs = halves(turn)
    found = parted(split_port(trunk, legs))
    whole = port_from_readings([*trunk, box(8, 30.0 + 70.0 * turn, 60.0, turn=turn)])
    path = path_of(whole)
    single = wall_solution(path, size_for(sizing_of(path), 10_000))
    at = np.linspace(35.0, 30.0 + 70.0 * turn - 2.0, 9)
    for leg in found.legs:
        for pick in (np.max, np.min):
            own, of_whole = (np.interp(at, w.stations, pick(w.over_mean, axis=1)) for w in (leg, single))
            assert own == pytest.approx(of_whole, rel=4e-3)
    early = np.linspace(0.0, 25.0, 6)
    own, of_whole = (np.interp(early, w.stations, w.over_mean.max(axis=1)) for w in (found.trunk, single))
    assert own == pytest.approx(of_whole, rel=3e-3)


def test_mirrored_legs_share_and_speed_alike_to_rounding():
    found = parted(split_port(*halves(np.radians(60.0), width=26.0, side=14.0)))
    assert found.shares[0] - 0.5 == pytest.approx(0.0, abs=1e-9)
    left, right = (np.sort(leg.over_mean, axis=1) for leg in found.legs)
    assert left == pytest.approx(right, rel=1e-7)


def test_what_goes_in_comes_out_of_the_legs():
    found = parted(split_port(*halves(np.radians(60.0), width=26.0, side=14.0)), shares=[0.7, 0.3])
    assert found.shares.tolist() == [0.7, 0.3]
    for flux in (found.trunk.flux, *(leg.flux for leg in found.legs)):
        assert flux == pytest.approx(1.0, abs=1e-7)  # over the passage's own share


@pytest.mark.nightly
def test_slender_legs_share_by_their_conductance():
    """A / l of a duct, 1 / integral dx / A of one that tapers: what the split itself costs is a width in a hundred."""
    legs = {
        "left": [box(4, 20.0, 5.0, 5.0, shift=2.5), box(5, 260.0, 5.0, 5.0)],
        "right": [box(6, 20.0, 5.0, 5.0, shift=-2.5), box(7, 140.0, 4.0, 5.0)],
    }
    found = parted(split_port([box(2, 0.0, 10.0, 5.0), box(3, 20.0, 10.0, 5.0)], legs), unknowns=2500)
    conductance = np.array([25.0 / 240.0, 5.0 * (5.0 - 4.0) / np.log(5.0 / 4.0) / 120.0])
    assert found.shares == pytest.approx(conductance / conductance.sum(), abs=4e-3)
    assert np.diff(conductance)[0] > 0.03  # they do differ


def plane_port(fork):
    """The same fork as readings of boxes."""
    legs = {
        "left": [
            box(4, fork.TRUNK, fork.WIDE, shift=fork.SIDE),
            box(5, fork.TRUNK + fork.REACH, fork.WIDE, swing=-fork.SWING),
        ],
        "right": [
            box(6, fork.TRUNK, fork.WIDE, shift=-fork.SIDE),
            box(7, fork.TRUNK + fork.REACH, fork.NARROW),
        ],
    }
    return split_port([box(2, 0.0, 60.0), box(3, fork.TRUNK, 60.0)], legs)


def test_a_result_of_it_tells_every_passage():
    """Means are flow over area, legs have their share, the wall near a sharp edge is left out of the tables."""
    port = split_port(*halves(np.radians(60.0), width=26.0, side=14.0))
    air = pg.air_speed(port, 200.0, shares={"LEFT": 0.6}, surveys=(), unknowns=1500)
    flow = 200.0 * 4.719474432e-4
    assert [leg.share for leg in air.legs] == pytest.approx([0.6, 0.4])
    for part, share in zip(air.passages, (1.0, 0.6, 0.4), strict=True):
        area = part.stations.area_mm2
        assert part.stations.mean_speed_m_s == pytest.approx(share * flow / area * 1e6)
        assert part.highest.peak_m_s >= 0.999 * part.stations.mean_speed_isentropic_m_s.min()
    assert air.split.divider_mm == pytest.approx(2.0, abs=1e-6)
    assert air.split.nose_mm == pytest.approx([30.0, 0.0, 0.0], abs=1e-6)
    left = air.legs[0]
    assert left.shoulder.past_edge_mm == pytest.approx(1.5)  # half the outer step of 3 mm, more than the divider's
    assert np.isnan(left.stations.highest_over_mean[0]) and np.isfinite(left.stations.highest_over_mean[3:]).all()
    on = left.past_the_ends.if_it_keeps_turning
    assert (on.at_entry, on.at_exit) == (False, True)
    assert on.short_side.peak_m_s == pytest.approx(left.short_side.peak_m_s, rel=0.03)  # in the middle of the turn
    assert left.share_u is None
    record = air.to_dict()
    assert record["stations"][0]["leg"] == "" and record["stations"][-1]["leg"] == "right"
    assert record["fastest_in"] == "left" and record["shares_given"] is True


def test_air_that_thins_out_goes_evenly_too():
    """Past Mach 0.4 in a straight duct that parts and stays straight: even, at the speed of isentropic flow."""
    flow, area = 0.3, 60.0 * HEIGHT
    mach = mach_through(flow, np.array([area * 1e-6]), STANDARD)
    assert mach > 0.4
    found = parted(split_port(*halves()), 1000, density=lambda speed: density_at(speed * flow * 1e6, STANDARD))
    faster = float(isentropic_speed(mach, STANDARD)[0] / (flow / (area * 1e-6)))
    assert faster > 1.08
    for wall in (found.trunk, *found.legs):
        assert wall.over_mean == pytest.approx(faster, rel=1e-4)


def test_the_doubt_about_shares_is_that_of_shapes_thrown_at_random():
    """Conductances off by what readings (each leg by itself) and one tool (both the same way) leave open."""
    own, tool, volume = np.array([0.02, 0.03, 0.01]), np.array([0.02, 0.05, 0.03]), np.array([40e3, 60e3, 50e3])
    shares = np.array([0.5, 0.2, 0.3])
    legs = [
        SimpleNamespace(volume=v, budget={"volume": (Share("readings", r * v), Share("tool_zero", t * v))})
        for r, t, v in zip(own, tool, volume, strict=True)
    ]
    rng = np.random.default_rng(1)
    tries = shares * np.exp(rng.normal(size=(40_000, 3)) * own + rng.normal(size=(40_000, 1)) * tool)
    tries /= tries.sum(axis=1, keepdims=True)
    assert shares_u(shares, legs) == pytest.approx(tries.std(axis=0), rel=0.03)


def test_a_leg_that_chokes_is_named():
    port = split_port(*halves())
    with pytest.raises(InputError, match=r"left: .* is more than chokes the minimum area"):
        pg.air_speed(port, 900.0, shares={"left": 0.95}, surveys=(), unknowns=1000)


def off_the_plane(fork, legs, stations):
    """How far legs' speeds are off a plane fork's, as shares, at places past the split on both of its walls."""
    off = []
    for leg, place, share in zip(legs, (fork.left, fork.right), fork.shares, strict=True):
        for station in stations:
            ring = int(np.argmin(np.abs(leg.stations - fork.TRUNK - station)))
            at = leg.stations[ring] - fork.TRUNK
            frame, arm = leg.sections[ring].frame, leg.wall[ring] - leg.middle[ring]
            width = np.ptp(arm @ frame[1])
            for side in (1.0, -1.0):
                on_side = side * (arm @ frame[1]) > width / 2.0 - 1e-3
                middle = np.argmin(np.where(on_side, np.abs(arm @ frame[2]), np.inf))
                truth = fork.speed(place, at, side * (fork.WIDE / 2.0 - 0.01)) * width / share
                off.append(leg.over_mean[ring, middle] / truth - 1.0)
    return np.array(off)


@pytest.mark.nightly
def test_a_fork_has_the_flow_of_plane_triangles():
    fork = PlaneFork()
    found = parted(plane_port(fork), unknowns=20_000)
    assert found.shares == pytest.approx(fork.shares, abs=5e-4)
    assert np.abs(off_the_plane(fork, found.legs, (3.0, 10.0, 25.0, 40.0, 55.0))).max() < 0.006
