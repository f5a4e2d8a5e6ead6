"""Metal between two passages that are both cut: what each may take, and what is left when both have.

Truth: tubes of closed form, and manifold3d's gap between solids, which shares no code with the limits.
"""

import json

import manifold3d
import numpy as np
import pytest

import portgeo as pg
from portgeo.app.cli import main
from portgeo.comparing.wedges import solid_of
from portgeo.reshape.grid import port_after, wall_grid
from portgeo.reshape.limits import Shared, outer_limit
from tests.test_split import SHEET

LEAST, APART, RADIUS = 2.5, 24.0, 10.0


def tube(apart, *, width=2.0 * RADIUS):
    rows = [
        {
            "station": s,
            "shape": "oval",
            "height": 20,
            "width": width,
            "x": s,
            "y": apart,
            "z": 0.0,
            "turn_deg": 0,
            "swing_deg": 0,
        }
        for s in (0, 20, 40)
    ]
    return pg.port_from_rows(rows)


def cut_to_the_limit(port, other, share):
    """A port that takes all it may of the metal to another; its grid and depths."""
    grid = wall_grid(port, np.linspace(0.0, 40.0, 21), 120)
    placed = other.to_source(other.vertices) @ port.frame[:3, :3].T + port.frame[:3, 3]
    limit = outer_limit(grid, placed, other.faces, LEAST, 3.0, "metal", Shared(share, 3.0))
    return grid, np.minimum(limit.depth, 3.0)


def gap(one, other):
    """The least distance between two ports' solids, by manifold3d."""
    solids = [solid_of(port.to_source(port.vertices), port.faces, "a port") for port in (one, other)]
    assert isinstance(solids[0], manifold3d.Manifold)
    return solids[0].min_gap(solids[1], 20.0)


@pytest.mark.parametrize("share", [0.5, 0.2, 0.0, 1.0])
def test_each_takes_its_share_where_two_tubes_face_each_other(share):
    """Across from each other 24 - 2 x 10 = 4 mm stand; of the 1.5 mm over the least each takes its share."""
    one, other = tube(0.0), tube(APART)
    _, depth = cut_to_the_limit(one, other, share)
    left = depth[10, 90]  # 9 o'clock: towards the other; chords between places stay back by as much as the wall bulges
    assert left == pytest.approx(share * (APART - 2.0 * RADIUS - LEAST), abs=5e-3)
    assert depth.min() == pytest.approx(left, abs=2e-3)
    assert depth[10, 30] == 3.0  # away from it


@pytest.mark.parametrize(
    ("share", "width"),
    [
        (0.3, 20.0),
        *(pytest.param(*case, marks=pytest.mark.nightly) for case in ((0.5, 20.0), (0.5, 17.0), (0.1, 17.0))),
    ],
)
def test_both_cut_to_the_limit_leave_the_least(share, width):
    one, other = tube(0.0), tube(APART, width=width)
    after = [
        port_after(port, *cut_to_the_limit(port, beside, own))
        for port, beside, own in ((one, other, share), (other, one, 1.0 - share))
    ]
    assert LEAST - 0.005 < gap(*after) < LEAST + 0.05


def test_metal_that_is_thin_already_is_not_cut():
    one, other = tube(0.0), tube(APART, width=24.0)  # 2 mm between them
    _, depth = cut_to_the_limit(one, other, 0.5)
    assert depth[10, 90] == 0.0


TARGET = """units = "mm"
greatest_depth = 3
[limits]
least_between = 1.5
beside_percent = 50
[[area]]
station = 60
area = 1200
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "twin.csv").write_text(SHEET)
    (tmp_path / "wanted.toml").write_text(TARGET)
    return tmp_path


def test_a_legs_plan_leaves_the_other_its_share(folder, capsys):
    """The divider is 2 mm at the split: of the 0.5 mm over the least neither leg takes more than half."""
    assert main(["reshape", "twin.csv", "wanted.toml", "--leg", "left", "--json", "left.json"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "metal to the right leg" in said and "without it where the metal to the right leg is computed" in said
    assert "Fill all of the port from a burette" in said
    (between,) = json.loads((folder / "left.json").read_text())["metal_between"]
    assert between["name"] == "metal to the right leg" and between["least_mm"] == 1.5
    assert between["now_mm"] == pytest.approx(2.0, abs=0.01)
    assert between["left_mm"] >= 1.75 - 0.005


def test_a_legs_cut_stays_inside_the_trunks_wall_at_the_split(folder):
    """Both are 40 mm high there: in that plane the leg gets no higher, and 3 mm is all that it may get wider."""
    port = pg.read_split("twin.csv")
    wanted = {"units": "mm", "greatest_depth": 4, "area": [{"station": 33, "area": 1150}]}
    leg = port.legs[0].port
    inside, alone = (pg.plan(leg, wanted, within=within) for within in (port, None))
    height, width = (getattr(inside.rows, name)[0, 1] for name in ("height", "width"))
    assert height == pytest.approx(40.0, abs=0.01) and width <= 26.0 + 3.0 + 1.0  # the divider gives up to 1 mm
    assert alone.rows.height[0, 1] > 40.5
    assert inside.rows.height[1:4, 1].max() > 40.2  # past it the leg does get higher
    assert "the trunk's wall at the split" in {limit["name"] for limit in inside.to_dict()["limits"]}
    # A person tapes from the entry, along a straight trunk, and fills all of the port.
    assert inside.rows.tape[0] == pytest.approx([30.0, 30.0], abs=1e-3)
    assert inside.burette_cc["now"] == pytest.approx(pg.survey(port).volume_cc, rel=1e-6)
    assert inside.burette_cc["finished"] - inside.burette_cc["now"] == pytest.approx(inside.removed_cc, rel=1e-6)
    assert alone.rows.tape[0] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_a_cut_of_a_leg_is_checked_on_its_own_sheet(folder):
    """Nothing has been cut yet: all of it is left, and nothing is too deep."""
    port = pg.read_split("twin.csv")
    cut = pg.plan(port.legs[0].port, {"units": "mm", "area": [{"station": 80, "area": 1010}]}, within=port)
    begun = pg.check(cut, pg.read("twin.csv", leg="left"))
    assert begun.left_cc / begun.planned_cc == pytest.approx(1.0, abs=0.02)
    assert len(begun.too_deep) == 0


@pytest.mark.nightly
def test_both_legs_planned_keep_the_least_between_them(folder):
    port = pg.read_split("twin.csv")
    plans = [pg.plan(leg.port, "wanted.toml", within=port) for leg in port.legs]
    assert all(plan.removed_cc > 1.0 for plan in plans)
    assert gap(*(plan.port for plan in plans)) >= 1.5 - 0.005
    alone = [pg.plan(leg.port, "wanted.toml") for leg in port.legs]
    assert gap(*(plan.port for plan in alone)) < 1.5  # without the limit they would cut the divider through


@pytest.mark.nightly
def test_runners_of_one_frame_are_named_in_the_target(folder):
    pg.write(tube(APART), "other.stl")
    wanted = {
        "units": "mm", "greatest_depth": 3, "area": [{"station": 20, "area": 400}],
        "limits": {"beside": ["other.stl"], "outer_mesh_units": "mm", "least_between": LEAST, "beside_percent": 20},
    }  # fmt: skip
    planned = pg.plan(tube(0.0), wanted)
    (between,) = planned.metal_between
    assert between.name == "metal to other.stl"
    assert between.left_mm >= LEAST + 0.8 * (4.0 - LEAST) - 0.005
