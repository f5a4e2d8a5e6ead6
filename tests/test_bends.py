"""Every bend is told by itself: chains of arcs whose inner radii are R - h / 2, in whatever order and plane."""

import csv
from dataclasses import replace

import numpy as np
import pytest

from portgeo.app.cli import main
from portgeo.comparing.comparison import compare_ports
from portgeo.core.errors import InputError
from portgeo.core.grain import Grain, Roughness
from portgeo.core.port import port_from_readings, sections_at
from portgeo.core.section import Reading
from portgeo.measuring import survey
from portgeo.measuring.bends import find_bends, meant_bend, port_bends
from portgeo.measuring.curvature import bent_lines, fit_circles, quick_radii_of
from portgeo.measuring.sides import WallLines, inward_of, like_radii, many_radii, side, side_points
from portgeo.present.text.compare import comparison_text
from portgeo.results.changed import Changed

SIZE, CORNER = 24.0, 4.0


def straight(length):
    return length, 0.0, 0.0


def arc(degrees, radius, *, sideways=False):
    """Length and turn towards floor and right wall of an arc of a centreline radius; negative: the other way."""
    turn = (0.0, degrees) if sideways else (degrees, 0.0)
    return np.radians(abs(degrees)) * radius, *turn


EXACT = np.radians(0.01)  # of headings that are worked out and not read


def chain(*pieces, size=SIZE, turn_error=EXACT):
    """One square section along pieces (length, turn, swing) of a centreline; only one of the two may turn."""
    rows = np.cumsum([(0.0, 0.0, 0.0), *pieces], axis=0)
    return [
        Reading(
            k + 2, float(s), height=size, width=size, corner_roof=CORNER, corner_floor=CORNER,
            turn=np.radians(turn), swing=np.radians(swing), turn_error=turn_error,
        )
        for k, (s, turn, swing) in enumerate(rows)
    ]  # fmt: skip


def measured(*pieces, **changes):
    port = replace(port_from_readings(chain(*pieces)), **changes)
    return survey(port, 5, readings_tried=False)


CASES = {
    "S": ([straight(30), arc(40, 30), straight(20), arc(-40, 35), straight(30)], [("floor", 18.0), ("roof", 23.0)]),
    "S with nothing between": ([straight(30), arc(40, 30), arc(-40, 35), straight(30)], [("floor", 18), ("roof", 23)]),
    "two the same way": (
        [straight(30), arc(40, 20), straight(12), arc(40, 40), straight(30)],
        [("floor", 8.0), ("floor", 28.0)],
    ),
    "up, then down": (
        [straight(30), arc(-30, 50), straight(20), arc(70, 30), straight(20)],
        [("roof", 38.0), ("floor", 18.0)],
    ),
    "down to the opening": ([straight(30), arc(75, 40)], [("floor", 28.0)]),
    "lead-in of 3": ([straight(30), (15.0, 3.0, 0.0), arc(75, 40), straight(30)], [("floor", 28.0)]),
    "lead-in of 6": ([straight(30), (15.0, 6.0, 0.0), straight(8), arc(75, 40), straight(30)], [("floor", 28.0)]),
    "lead-in the other way": ([straight(30), (15.0, -4.0, 0.0), arc(75, 40), straight(30)], [("floor", 28.0)]),
}


@pytest.mark.parametrize("case", CASES)
def test_each_bend_of_a_chain_of_arcs_reads_its_own_radius(case):
    pieces, bends = CASES[case]
    found = measured(*pieces)
    assert [bend.plane.wall for bend in found.bends] == [wall for wall, _ in bends]
    radii = [radius for _, radius in bends]
    assert [bend.short.radius for bend in found.bends] == pytest.approx(radii, rel=0.005)
    assert [bend.short.least_radius for bend in found.bends] == pytest.approx(radii, rel=0.005)
    assert [bend.long.radius for bend in found.bends] == pytest.approx([r + SIZE for r in radii], rel=0.005)
    assert all(bend.short.is_round for bend in found.bends)
    assert found.short_side is found.bends[-1].short


@pytest.mark.parametrize("case", CASES)
def test_arcs_between_rows_hold_where_headings_are_read_by_hand(case):
    """Each row is a corner by far, so nothing is evened out; a lead-in of a few degrees, hardly, is within 5 %."""
    pieces, bends = CASES[case]
    found = survey(port_from_readings(chain(*pieces, turn_error=np.radians(1.0))), 5, readings_tried=False)
    rel = 0.05 if "lead-in" in case else 0.005
    assert [bend.short.radius for bend in found.bends] == pytest.approx([radius for _, radius in bends], rel=rel)


def test_sideways_and_then_down_are_two_bends_in_two_planes():
    """Headings on the sphere: 30 degrees to the right, then 60 down about the axis that is level there."""
    right, down = np.radians(30.0), np.radians(60.0)

    def row(k, station, heading):
        angle = np.arccos(heading[0])
        scale = angle / np.sin(angle) if angle > 0 else 0.0
        return Reading(
            k + 2, station, height=SIZE, width=SIZE, corner_roof=CORNER, corner_floor=CORNER,
            turn=-heading[2] * scale, swing=-heading[1] * scale,
        )  # fmt: skip

    ahead, sideways = np.array([1.0, 0.0, 0.0]), np.array([np.cos(right), -np.sin(right), 0.0])
    last = np.cos(down) * sideways + np.sin(down) * np.array([0.0, 0.0, -1.0])
    stations = np.cumsum([0.0, 30.0, 60.0 * right, 20.0, 30.0 * down, 30.0])
    headings = [ahead, ahead, sideways, sideways, last, last]
    readings = [row(k, float(s), h) for k, (s, h) in enumerate(zip(stations, headings, strict=True))]
    found = survey(port_from_readings(readings), 5, readings_tried=False)
    assert [bend.plane.wall for bend in found.bends] == ["right", "floor"]
    assert [bend.short.radius for bend in found.bends] == pytest.approx([48.0, 18.0], rel=0.005)
    assert np.degrees([bend.plane.turn for bend in found.bends]) == pytest.approx([30.0, 60.0], abs=0.2)
    assert found.bends[0].plane.axis @ found.bends[1].plane.axis == pytest.approx(0.0, abs=0.02)


def test_a_run_that_turns_less_than_ten_degrees_is_no_bend():
    assert measured(straight(30), arc(9.5, 40), straight(30)).bends == ()
    assert len(measured(straight(30), arc(10.0, 60), straight(30)).bends) == 1


def test_arcs_that_follow_each_other_without_a_straight_are_one_bend():
    (bend,) = measured(straight(30), arc(40, 30), arc(40, 40), straight(30)).bends
    assert np.degrees(bend.plane.turn) == pytest.approx(80.0, abs=0.1)
    assert bend.short.least_radius == pytest.approx(18.0, rel=0.01)
    assert 18.0 < bend.short.radius < 28.0


def test_the_bend_next_to_the_valve_is_worked_on_unless_another_is_asked_for():
    pieces = CASES["S"][0]
    assert measured(*pieces).short_side.radius == pytest.approx(23.0, rel=0.005)
    assert measured(*pieces, valve_end="entry").short_side.radius == pytest.approx(18.0, rel=0.005)
    assert measured(*pieces, bend=1).short_side.radius == pytest.approx(18.0, rel=0.005)
    port = replace(port_from_readings(chain(*pieces)), bend=3)
    with pytest.raises(InputError, match="2 bends"):
        meant_bend(port, port_bends(port))


def test_the_apex_lies_on_the_wall_of_a_port_that_is_shifted_sideways():
    readings = [replace(r, shift=5.0) for r in chain(straight(30), arc(75, 40), straight(30))]
    port = port_from_readings(readings)
    apex = survey(port, 5, readings_tried=False).short_side.apex
    # The floor is flat across: anywhere on it, R - h / 2 from the axis of the turn and within the width.
    centre = port.centreline.points[1] - 40.0 * port.centreline.frames[1, 2]
    assert np.hypot(*(apex - centre)[[0, 2]]) == pytest.approx(28.0, abs=0.02)
    middle = 5.0 + float(port.centreline.points[1, 1])
    assert apex[1] == pytest.approx(middle, abs=0.5)


def test_quick_radii_are_those_of_the_survey():
    found = measured(*CASES["S"][0])
    stations = np.linspace(*found.port.centreline.stations[[0, -1]], 241)
    sections = sections_at(found.port, stations)
    for bend in found.bends:
        flat = np.column_stack([bend.plane.ahead, bend.plane.aside])
        middle = np.array([section.origin for section in sections]) @ flat
        inward = inward_of(np.array([section.frame for section in sections]), bend.plane) @ flat
        depth = np.einsum("ni,ni->n", side_points(sections, bend.plane, True) @ flat - middle, inward)
        lines = WallLines(*(np.stack([each, each]) for each in (middle, depth, inward)))
        radii, least = many_radii(stations, lines, bend.plane, bend.short.window, bend.short.evened)
        assert radii == pytest.approx(np.full(2, bend.short.radius), rel=5e-3)
        assert least == pytest.approx(np.full(2, bend.short.least_radius), rel=5e-3)


@pytest.mark.parametrize("error", [0.005, 0.1, 0.2])
@pytest.mark.parametrize(
    ("radius", "size", "degrees", "rows"), [(45.0, 30.0, 40.0, 9), (45.0, 30.0, 75.0, 7), (30.0, 40.0, 75.0, 9)]
)
def test_what_readings_may_be_off_by_does_not_straighten_a_bend_read_exactly(radius, size, degrees, rows, error):
    # The rows are not where the arc begins and ends: beside it the port turns less from row to row.
    turn, leg = np.radians(degrees), 30.0
    stations = np.linspace(0.0, 2.0 * leg + radius * turn, rows)
    readings = [
        Reading(k + 2, float(s), height=size, width=size, corner_roof=CORNER, corner_floor=CORNER,
                turn=float(np.clip((s - leg) / radius, 0.0, turn)), error=error, turn_error=np.radians(0.1))
        for k, s in enumerate(stations)
    ]  # fmt: skip
    found = survey(port_from_readings(readings), 5, readings_tried=False).short_side
    assert found.radius == pytest.approx(radius - size / 2.0, rel=0.01)
    assert found.least_radius == pytest.approx(radius - size / 2.0, rel=0.01)


def frames_of(turned):
    """Frames along headings turned towards the floor by `turned` (n,), radians."""
    zero, one = np.zeros_like(turned), np.ones_like(turned)
    ahead = np.column_stack([np.cos(turned), zero, -np.sin(turned)])
    left = np.column_stack([zero, one, zero])
    return np.stack([ahead, left, np.cross(ahead, left)], axis=1)


@pytest.mark.parametrize(("inner", "degrees"), [(12.0, 80.0), (18.0, 75.0), (30.0, 60.0)])
def test_a_rough_line_s_radius_has_no_bias_and_an_honest_uncertainty(inner, degrees):
    """Lines of straight, arc and straight with noise that holds over 2 mm: their mean is the arc's radius."""
    height, turn, count = 36.0, np.radians(degrees), 241
    lengths = (40.0, (inner + height / 2.0) * turn, 30.0)
    stations = np.linspace(0.0, sum(lengths), count)
    turned = np.clip((stations - lengths[0]) / lengths[1], 0.0, 1.0) * turn
    frames = frames_of(turned)
    (bend,) = find_bends(stations, frames, height)
    before = np.minimum(stations, lengths[0])
    after = np.maximum(stations - lengths[0] - lengths[1], 0.0)
    radius = inner + height / 2.0
    middle = (
        np.column_stack([before + radius * np.sin(turned), np.zeros(count), -radius * (1.0 - np.cos(turned))])
        + after[:, None] * frames[:, 0]
    )
    floor = middle - height / 2.0 * frames[:, 2]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(floor, axis=0), axis=1))])
    rng, sigma, reach = np.random.default_rng(7), 0.03, 2.0
    nodes = np.arange(0.0, along[-1] + reach, reach)
    found = []
    for _ in range(30):
        off = np.interp(along, nodes, sigma * rng.standard_normal(len(nodes)))
        line = floor + off[:, None] * frames[:, 2]
        found.append(side(stations, line, bend, height, Roughness(Grain(sigma, reach), 0.0)))
    radii, least = (np.array([getattr(s, name) for s in found]) for name in ("radius", "least_radius"))
    assert radii.mean() == pytest.approx(inner, rel=0.01)
    assert np.abs(radii / inner - 1.0).max() < 0.05
    assert least.mean() == pytest.approx(inner, rel=0.04)
    assert np.mean(np.abs(radii - inner) < 2.0 * np.array([s.radius_u for s in found])) >= 0.8
    assert np.mean(np.abs(least - inner) < 2.0 * np.array([s.least_radius_u for s in found])) >= 0.8


def test_where_no_one_circle_fits_the_tightest_radius_is_the_headline_everywhere(tmp_path):
    """A gentle arc that goes on in one nearly twice as tight: a circle through both would tell of neither."""
    uneven = [straight(30.0), arc(75.0, 39.0), arc(60.0, 26.0), arc(60.0, 26.0), straight(10.0)]
    one, other = (port_from_readings(chain(*uneven, size=size)) for size in (24.0, 25.0))
    short = survey(one, readings_tried=False).short_side
    assert not short.is_round
    assert (short.headline_name, short.headline) == ("tightest radius", short.least_radius)
    assert short.least_radius == pytest.approx(26.0 - 12.0, rel=0.03)
    even = replace(short, fit_rms=0.0)
    assert like_radii(even, even)[:2] == ("radius", (short.radius, short.radius))
    # Of like with like: the tightest of both, as soon as one has no circle.
    assert like_radii(even, short)[:2] == ("tightest radius", (short.least_radius, short.least_radius))
    told = comparison_text(Changed.of(compare_ports(one, other, "none"), 2.68), "ports", "aluminum")
    assert "short side     tightest radius" in told
    for name, size in (("one.csv", 24.0), ("other.csv", 25.0)):
        rows = [f"{r.station:.6f},{size},{size},rect,{CORNER},{np.degrees(r.turn):.6f}" for r in chain(*uneven)]
        (tmp_path / name).write_text("\n".join(["station_mm,height_mm,width_mm,shape,corner_mm,turn_deg", *rows]))
    table = tmp_path / "all.csv"
    assert main([str(w) for w in ("measure", tmp_path / "one.csv", tmp_path / "other.csv", "--csv", table)]) == 0
    with open(table, newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["short_side_is"] for row in rows] == ["tightest radius"] * 2
    assert float(rows[0]["short_side_mm"]) == pytest.approx(short.least_radius, rel=0.01)


def test_a_straight_line_among_others_has_no_circle():
    """A line with no bend at all gives a radius of infinity, and leaves its neighbours' circles alone."""
    angle = np.linspace(0.0, 1.0, 30)
    bent = 20.0 * np.column_stack([np.sin(angle), 1.0 - np.cos(angle)])
    straight = np.column_stack([np.linspace(0.0, 20.0, 30), np.zeros(30)])
    _, radii, rms = fit_circles(np.stack([bent, straight]), np.ones((2, 30), dtype=bool))
    assert radii[0] == pytest.approx(20.0) and np.isinf(radii[1]) and rms[1] == 0.0


def test_a_kink_in_a_bend_is_not_the_radius_of_the_bend():
    """Arcs of 40 mm with 12 degrees at 10 mm between them: no 30 degrees of them lie on a circle of 10 mm."""
    arcs = ((40.0, 28.0), (10.0, 12.0), (40.0, 28.0))
    step = 0.15
    curvature = np.concatenate([np.full(round(r * np.radians(turn) / step), 1.0 / r) for r, turn in arcs])
    heading = np.cumsum(curvature) * step
    line = np.cumsum(step * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)[None]
    every = slice(0, line.shape[1])
    bent = bent_lines(line, 9, every)
    turned = float(bent.heading[0, bent.last[0]] - bent.heading[0, bent.first[0]])
    assert np.degrees(turned) >= 30.0
    assert 15.0 < bent.least_radius[0] <= bent.radius[0] < 40.0
    assert [float(r[0]) for r in quick_radii_of(line, 9, every)] == pytest.approx(
        [bent.radius[0], bent.least_radius[0]],
        rel=0.05,  # the algebraic circle of a line that is not one
    )


@pytest.mark.parametrize(("flare", "straight", "turn"), [(6.0, 0.0, 40.0), (6.0, 10.0, 15.0), (20.0, 0.0, 15.0)])
@pytest.mark.parametrize("at_exit", [False, True])
def test_a_bellmouth_is_no_short_side(flare, straight, turn, at_exit):
    """A round bore of 20 mm whose mouth is a quarter of a circle, and a mild bend next to it, or after a straight."""
    bore, middle, begins = 20.0, 100.0, flare + straight
    lean = np.radians(np.linspace(85.0, 0.0, 7))
    mouth = flare * (np.sin(lean[0]) - np.sin(lean)), bore + flare * (1.0 - np.cos(lean))
    ends = begins + middle * np.radians(turn)
    stations = np.union1d(mouth[0], [begins, (begins + ends) / 2.0, ends, ends + 30.0])
    width = 2.0 * np.interp(stations, *mouth)
    heading = np.radians(turn) * np.clip((stations - begins) / (ends - begins), 0.0, 1.0)
    if at_exit:
        stations, width, heading = stations[-1] - stations[::-1], width[::-1], heading[-1] - heading[::-1]
    rows = zip(stations.tolist(), width.tolist(), heading.tolist(), strict=True)
    port = port_from_readings(
        [
            Reading(k + 2, s, shape="round", height=w, width=w, turn=t, turn_error=EXACT)
            for k, (s, w, t) in enumerate(rows)
        ]
    )
    found = survey(port, 5, readings_tried=False).short_side
    assert found.radius == pytest.approx(middle - bore, rel=0.005)
    assert found.least_radius == pytest.approx(middle - bore, rel=0.005)
