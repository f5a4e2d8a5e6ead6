"""Floor and roof points: ports whose truth is a closed form, or integrated with nothing of portgeo, read off paper."""

import numpy as np
import pytest

import portgeo as pg
from portgeo.core.errors import InputError

from .sheets_family import arc_port, as_scribed, smooth_port

BEND, TURN, LEAD, TAIL = 45.0, np.radians(80.0), 20.0, 15.0  # of the middle line: mm, radians
HEIGHT, WIDTH = 38.0, 30.0


def middle(s):
    """Place (x, z) and heading at a station of a straight run, an arc towards the floor, a straight run."""
    turned = np.clip((s - LEAD) / BEND, 0.0, TURN)
    place = np.array([min(s, LEAD) + BEND * np.sin(turned), -BEND * (1.0 - np.cos(turned))])
    past = max(s - LEAD - BEND * TURN, 0.0)
    return place + past * np.array([np.cos(turned), -np.sin(turned)]), turned


def ends(s):
    place, turned = middle(s)
    up = HEIGHT / 2.0 * np.array([np.sin(turned), np.cos(turned)])
    return place - up, place + up


def side_rows(count=24, level=0.0):
    rows = []
    for s in np.linspace(0.0, LEAD + BEND * TURN + TAIL, count):
        floor, roof = ends(s)
        rows.append(
            {
                "floor_x_mm": floor[0], "floor_z_mm": floor[1] + level,
                "roof_x_mm": roof[0], "roof_z_mm": roof[1] + level,
                "width_mm": WIDTH, "corner_mm": 0.0, "tool": "caliper",
            }
        )  # fmt: skip
    return rows


def told(rows):
    return pg.survey(pg.port_from_rows(rows))


def test_points_without_error_give_the_port_back_wherever_the_level_line_is():
    found = told(side_rows())
    length = LEAD + BEND * TURN + TAIL
    assert found.volume_cc == pytest.approx(HEIGHT * WIDTH * length / 1000.0, rel=1e-3)
    assert found.length_mm == pytest.approx(length, rel=1e-3)
    assert abs(found.short_side.radius_mm - (BEND - HEIGHT / 2.0)) < 2.0 * found.short_side.radius_u_mm
    assert told(side_rows(level=70.0)).volume_cc == pytest.approx(found.volume_cc, rel=1e-9)


def test_a_port_that_swings_sideways_is_read_in_plan():
    """The same bend laid on its side: the plan shows it, and the side view a straight port."""
    rows = []
    for s in np.linspace(0.0, LEAD + BEND * TURN + TAIL, 24):
        # To the right wall: y counts leftwards.
        place, turned = middle(s)
        side = WIDTH / 2.0 * np.cos(turned)
        rows.append(
            {
                "floor_x_mm": place[0], "floor_z_mm": 0.0, "roof_x_mm": place[0], "roof_z_mm": HEIGHT,
                "left_y_mm": place[1] + side, "right_y_mm": place[1] - side, "corner_mm": 0.0,
                "width_mm": WIDTH if turned > np.radians(40.0) else "", "tool": "caliper",
            }
        )  # fmt: skip
    found = told(rows)
    assert found.volume_cc == pytest.approx(HEIGHT * WIDTH * (LEAD + BEND * TURN + TAIL) / 1000.0, rel=0.01)
    side = found.short_side
    assert side.wall == "right" and abs(side.radius_mm - (BEND - WIDTH / 2.0)) < 2.0 * side.radius_u_mm


def trial(make, seeds):
    """Errors of volume and short side over their standard uncertainties (n, 2), and errors as shares."""
    off, share = [], []
    for seed in seeds:
        rng = np.random.default_rng([77, seed])
        port = make(rng)
        found = told([row | {"tool": "caliper"} for row in as_scribed(port, 10, rng)])
        volume, side = port.volume / 1000.0, found.short_side
        radius = port.usual() if side.headline.name == "radius" else port.tightest()
        off.append([(found.volume_cc - volume) / found.volume_u_cc, (side.headline.mm - radius) / side.headline.u_mm])
        share.append([found.volume_cc / volume - 1.0, side.headline.mm / radius - 1.0])
    return np.array(off), np.array(share)


@pytest.mark.parametrize("make", [smooth_port, arc_port])
def test_points_read_to_half_a_millimetre_hold_volume_and_short_side(make):
    off, share = trial(make, range(6))
    assert (np.abs(off) < 3.0).all()
    assert np.abs(share[:, 0]).max() < 0.025


@pytest.mark.nightly
@pytest.mark.parametrize("make", [smooth_port, arc_port])
def test_the_spread_holds_19_times_in_20(make):
    off, share = trial(make, range(40))
    assert (np.abs(off) < 2.0).mean(axis=0).min() >= 0.93
    assert abs(off.mean(axis=0)).max() < 0.5
    assert np.sqrt((share[:, 0] ** 2).mean()) < 0.01


def test_a_calipered_height_is_taken_for_the_paper_s():
    rows = [row | {"height_mm": HEIGHT} for row in side_rows(10)]
    assert told(rows).volume_u_cc < 0.7 * told(side_rows(10)).volume_u_cc


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"floor_x_mm": ""}, "gives no floor x"),
        ({"turn_deg": 4.0}, "its turn follows from them"),
        ({"height_mm": 60.0}, "floor and roof points are 38.00 mm apart"),
        ({"roof_x_mm": "as floor", "roof_z_mm": "as floor"}, "one point"),
    ],
)
def test_what_is_wrong_with_a_row_is_told_at_its_cell(change, says):
    rows = side_rows(10)
    change = {k: rows[4][k.replace("roof", "floor")] if v == "as floor" else v for k, v in change.items()}
    rows[4] |= change
    with pytest.raises(InputError, match=says) as refusal:
        told(rows)
    assert all(problem.row == 6 for problem in refusal.value.problems)


def test_floor_and_roof_swapped_are_told():
    rows = side_rows(10)
    for axis in "xz":
        rows[4][f"floor_{axis}_mm"], rows[4][f"roof_{axis}_mm"] = (
            rows[4][f"roof_{axis}_mm"],
            rows[4][f"floor_{axis}_mm"],
        )
    with pytest.raises(InputError, match="does not stand across the port"):
        told(rows)


def test_a_row_of_points_among_stations_is_told():
    rows = [{"station_mm": 20.0 * k, "height_mm": 30.0, "width_mm": 30.0} for k in range(4)]
    rows[2] = side_rows(10)[2]
    with pytest.raises(InputError, match="gives no floor x"):
        told(rows)


def test_the_side_view_lies_on_the_points_as_they_were_read():
    port = pg.port_from_rows(side_rows(10))
    (gauge,) = pg.gauges(port, side=True).computed
    crosses = [line.points.mean(axis=0) for line in gauge.lines if line.role == "mark" and len(line.points) == 2][10:]
    floor, roof = (line.points for line in gauge.lines if line.role == "edge")
    for wall, read in ((floor, crosses[0::4]), (roof, crosses[2::4])):
        off = [np.linalg.norm(wall - point, axis=1).min() for point in read]
        assert len(off) == 10 and max(off) < 1.0
