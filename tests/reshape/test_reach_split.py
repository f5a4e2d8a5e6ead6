"""Where a burr reaches in a port that splits: legs through the trunk, the trunk through the legs.

Truth is closed form: prisms with one axis, in which a straight tool needs the way it goes and half of its head.
"""

import json

import numpy as np
import pytest

from portgeo.app.cli import main
from portgeo.core.split import split_port
from portgeo.reshape.reach import Tool, access_of, reach
from tests.test_split import SHEET, box

TOOL = Tool(head=8.0, head_length=8.0, shank=4.0, collet=4.0, free_length=200.0)


def prisms(width):
    trunk = [box(2, 0.0, 60.0), box(3, 30.0, 60.0)]
    legs = {
        name: [box(4, 30.0, width, shift=side * 19.0), box(5, 60.0, width)]
        for name, side in (("left", 1.0), ("right", -1.0))
    }
    return split_port(trunk, legs)


def test_a_leg_is_reached_through_the_trunk():
    """Straight in, the leg takes the trunk's 30 mm more than by itself from the entry, and from its exit the same."""
    port = prisms(20.0)
    leg = port.passage("right")
    alone, within = reach(leg, TOOL), reach(leg, TOOL, access=access_of(leg, port))
    assert within.from_entry == pytest.approx(alone.from_entry + 30.0, abs=1e-6)
    assert within.from_exit == pytest.approx(alone.from_exit, abs=1e-6)
    assert within.ends == (0.0, 60.0)


def test_the_divider_hides_the_trunks_middle_from_the_exits():
    """Behind 18 mm of divider nothing of the trunk's roof is seen from a leg's exit; from the entry all of it is."""
    port = prisms(20.0)
    trunk = port.trunk
    found = reach(trunk, TOOL, access=access_of(trunk, port))
    near = (found.grid.stations > 18.0) & (found.grid.stations < 25.0)  # nearer, the head meets the nose
    roof = (found.grid.share == 0.0) | (found.grid.share == 2.0)  # 12 and 6 o'clock: the middle
    assert np.isinf(found.from_exit[np.ix_(near, roof)]).all()
    assert np.isfinite(found.from_entry[np.ix_(near, roof)]).all()
    assert np.isfinite(found.from_exit[near]).any()  # in line with the legs
    assert np.isfinite(reach(trunk, TOOL).from_exit[np.ix_(near, roof)]).all()  # with no legs in the way


def test_reach_prints_every_passage(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "twin.csv").write_text(SHEET)
    assert main(["reach", "twin.csv", "--json", "reach.json", "--csv", "reach.csv"]) == 0
    out = capsys.readouterr().out
    assert "left: through the trunk from the entry" in out and "trunk: through the legs from the exits" in out
    record = json.loads((tmp_path / "reach.json").read_text())
    assert [each["name"] for each in record["passages"]] == ["trunk", "left", "right"]
    assert (tmp_path / "reach.csv").read_text().startswith("leg,station_mm,")
