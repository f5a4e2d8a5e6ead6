"""Gauges of a port that splits: a divider's edge and the outlines at the split, at 1:1.

Truth is closed form: a wedge with a cylinder for a nose, a flat web between two legs.
"""

import numpy as np
import pytest
import shapely

import portgeo as pg
from portgeo.app.cli import main
from portgeo.reshape.divider_gauges import divider_gauges
from tests.scan.dividers import Divided
from tests.test_divider import NOSED, port_of
from tests.test_split import SHEET


def edge_of(gauge):
    return next(line.points for line in gauge.lines if line.role == "edge")


def plate_of(gauge):
    return shapely.Polygon(next(line.points for line in gauge.lines if line.role == "cut"))


def test_a_scanned_edge_is_the_wedge_and_its_nose():
    """Every point of the edge lies on the cylinder or on the two flanks that touch it."""
    shape = Divided(radius=3.0)
    gauge, _ = divider_gauges(port_of(shape))
    across, along = edge_of(gauge).T
    centre = shape.radius
    a = shape.half_angle
    off = np.where(
        (along - centre) * np.cos(a) + np.abs(across) * np.sin(a) < 0.0,
        np.hypot(along - centre, across) - shape.radius,
        np.abs(across) * np.cos(a) - (along - centre) * np.sin(a) - shape.radius,
    )
    assert np.abs(off).max() < 0.02
    assert gauge.lengths["radius"] == pytest.approx(3.0, abs=0.01)
    assert plate_of(gauge).is_valid


def test_a_sheets_edge_is_flat_or_of_the_radius_that_was_read(tmp_path):
    """The web between the legs is 2 mm: flat its nose is 2 wide; with 0.6 read its corners are rounded by that."""
    areas = {}
    for name, text in (("flat", SHEET), ("round", NOSED.replace(",1.5", ",0.6"))):
        (tmp_path / f"{name}.csv").write_text(text)
        gauge, split = divider_gauges(pg.read_split(tmp_path / f"{name}.csv"))
        areas[name] = plate_of(gauge).area
        across = edge_of(gauge)[:, 0]
        assert np.ptp(across) == pytest.approx(2.0, abs=0.3)
    # Two corners rounded: the plate gains what a square of the radius has over a quarter of a circle, twice.
    assert areas["round"] - areas["flat"] == pytest.approx(2.0 * (1.0 - np.pi / 4.0) * 0.6**2, rel=0.1)
    assert split.lengths == pytest.approx({"height": 40.0, "width": 60.0})


def test_templates_writes_them_for_paper_and_cutter(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "twin.csv").write_text(NOSED)
    for file in ("split.pdf", "split.svg", "split.dxf"):
        assert main(["templates", "twin.csv", "--out", file]) == 0
        assert (tmp_path / file).stat().st_size > 1000
    assert "2 gauges" in capsys.readouterr().out
    assert main(["templates", "twin.csv", "--at", "10", "--out", "no.pdf"]) == 2
    assert "this is for one passage" in " ".join(capsys.readouterr().err.split())
