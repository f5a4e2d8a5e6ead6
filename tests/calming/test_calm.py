"""The choices of a calm cut: the one that was asked for, what holds each back, and where there is none."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from portgeo.calming import air
from portgeo.calming import calm as calming
from portgeo.calming.calm import METAL_EXACT, SURE, _chosen, _with_doubt, calm, search_in
from portgeo.core.port import port_from_readings
from portgeo.core.units import MILLIMETRES, PA_PER
from portgeo.measuring import survey
from portgeo.present.text.calm import _table
from portgeo.reshape.plan import room_for
from portgeo.reshape.target import Keep, Target
from portgeo.results.calmed import CutChoice
from tests.calming.conftest import FLOW
from tests.conftest import elbow_readings

DEPRESSION = 28.0 * PA_PER["in_h2o"]
METAL = 300.0  # mm3


@pytest.fixture(scope="module")
def calmed(port, target):
    """What calms a port, on coarse grids and for few amounts."""
    surveys = [survey(port)]

    def answer(limits=target, amounts=2, **wanted):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(calming, "search_in", partial(search_in, unknowns=2500))
            patch.setattr(calming, "AMOUNTS", amounts)
            patch.setattr(air, "UNKNOWNS", 5000)
            return calm(port, FLOW, DEPRESSION, limits, surveys=surveys, **wanted)

    return answer


@pytest.fixture(scope="module")
def of_metal(calmed):
    return calmed(amounts=3, metal=METAL)


def codes(found):
    return [notice.code for notice in found.warnings]


def test_the_metal_asked_for_is_the_metal_chosen(of_metal):
    assert of_metal.choices[of_metal.chosen].metal == pytest.approx(METAL, rel=METAL_EXACT)
    assert "calm_metal_short" not in codes(of_metal)
    assert len(of_metal.choices) == 4  # it is one more: none is left out


def test_more_metal_never_has_a_higher_peak(of_metal):
    metal = [choice.metal for choice in of_metal.choices]
    peak = [choice.air.highest.speed for choice in of_metal.choices]
    assert np.all(np.diff(metal) > 0.0)
    assert np.all(np.diff(peak) < 0.0)
    assert of_metal.now.highest.speed > peak[0]


def test_the_peak_now_is_that_of_a_grid_laid_for_it_alone(of_metal):
    now, alone = of_metal.now.highest, of_metal.today.highest
    assert abs(now.speed - alone.speed) < SURE * alone.u
    assert "calm_apart" not in codes(of_metal)


def test_a_peak_asked_for_takes_the_least_metal_that_gets_there(of_metal):
    peaks = [choice.air.highest.speed for choice in of_metal.choices]
    for k, peak in enumerate(peaks):
        assert _chosen(of_metal.choices, of_metal.knee, None, peak) == k
        assert _chosen(of_metal.choices, of_metal.knee, None, peak - 1e-6) == min(k + 1, len(peaks) - 1)


@pytest.mark.nightly
def test_a_peak_out_of_reach_is_said_to_be(calmed):
    found = calmed(Target(symmetric=True, blend=16.0, greatest_depth=0.2), peak=100.0)
    assert found.chosen == len(found.choices) - 1
    assert "calm_out_of_reach" in codes(found)
    # Nothing else is in the way but what fades out.
    assert found.choices[-1].held_by[0].name == "greatest depth"


@pytest.mark.nightly
def test_more_metal_than_there_is_is_said_to_be(calmed):
    found = calmed(Target(symmetric=True, blend=16.0, walls=("roof", "floor"), greatest_depth=0.2), metal=1e5)
    assert found.chosen == len(found.choices) - 1
    assert "calm_metal_short" in codes(found)


@pytest.mark.nightly
def test_the_dearest_limit_is_worth_what_more_of_it_brings(port):
    # Multipliers against the search done again with a little more of the limit: the envelope theorem.
    best = {}
    for deep in (0.2, 0.25):
        target = Target(symmetric=True, blend=16.0, greatest_depth=deep)
        room = room_for(port, target)
        search = search_in(port, FLOW, target, room, unknowns=2500)
        best[deep] = search.best(search.at(np.zeros(len(search.cuts.most))), 1e5)
    (less, worth), (more, after) = best[0.2], best[0.25]
    rates = [float((each.bumps.sum() + each.places.sum()) * 0.05) for each in (worth, after)]
    assert min(rates) * 0.9 < less.aim - more.aim < max(rates) * 1.1


@pytest.mark.nightly
def test_the_more_slowing_counts_the_less_there_is(port, target, room):
    cuts = []
    for share in (0.0, 0.5):
        search = search_in(port, FLOW, target, room, unknowns=2500, slowing=share)
        cuts.append((search.best(search.at(np.zeros(len(search.cuts.most))), 800.0)[0], search))
    (fast, _), (slow, search) = cuts
    speed, load = (replace(search.aim, slowing=share).value for share in (0.0, 1.0))
    on_wall = [each.flow.speed[search.grids.inside] for each in (fast, slow)]
    assert load(on_wall[1]) < 0.97 * load(on_wall[0])
    assert speed(on_wall[1]) > speed(on_wall[0])


def test_limits_that_allow_nothing_say_which(calmed):
    found = calmed(Target(keep=(Keep("all of it", 0.0, 200.0),)))
    assert found.choices == () and found.chosen is None
    assert [notice.values["name"] for notice in found.warnings if notice.code == "calm_held"] == ["all of it"]


def test_a_straight_port_is_calm():
    straight = port_from_readings(elbow_readings(40.0, 40.0, 0.0, (50.0, 50.0), 1e4, 0.01, "round"))
    found = calm(straight, FLOW, DEPRESSION, Target())
    assert found.choices == () and codes(found)[-1] == "calm_already"


def test_a_gain_within_its_doubt_is_none(of_metal):
    choice = of_metal.choices[0]
    unsure = CutChoice.of(replace(choice, gain_u=choice.gain / SURE * 1.01), of_metal.choices[-1].gain)
    sure = CutChoice.of(choice, of_metal.choices[-1].gain)
    rows = _table((sure, unsure), sure, MILLIMETRES)[2:]
    assert ["none" in row for row in rows] == [False, True]


@pytest.mark.parametrize("gain", [0.0, -0.01, 1e-9])
def test_a_chosen_cut_that_gains_nothing_leaves_the_others_their_doubt(of_metal, gain):
    """What a grid laid anew reads otherwise is then no share of a gain: it counts as it stands, alike for all."""
    least, *more = of_metal.choices
    speed = least.air.highest.speed
    choices = [replace(least, gain=gain, gain_u=0.0), *(replace(each, gain_u=0.0) for each in more)]
    doubts = [each.gain_u for each in _with_doubt(choices, 0, speed + 0.1)]
    assert np.isfinite(doubts).all() and doubts == pytest.approx([doubts[0]] * len(choices))
    # A gain that stands out of it has a share, the same for all.
    choices = [replace(each, gain=10.0 * (k + 1), gain_u=0.0) for k, each in enumerate(of_metal.choices)]
    grown = [each.gain_u for each in _with_doubt(choices, 0, speed + 0.1)]
    assert grown == pytest.approx([doubts[0] * (k + 1) for k in range(len(choices))])
