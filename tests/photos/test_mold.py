"""Whole molds photographed from the side and above by a camera that shares nothing with the tracer.

Truth is the smooth family's: closed-form areas, volume by Pappus, the inner wall integrated on a fine grid.
"""

import csv
import json

import cv2
import numpy as np
import pytest

import portgeo as pg
from portgeo.app.cli import main
from portgeo.results.traced_mold import sheet_table
from tests.sheets_family import FINE

from .mold_render import mold_trial
from .render import saved

SMALL = (2016, 1512)  # pixels: a photograph of 3 megapixels
STEP = 25.4 / 32.0  # of a radius template


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """Photographs of a mold, and their files."""
    made = mold_trial(8, size=SMALL)
    folder = tmp_path_factory.mktemp("photo")
    return made, saved(made.side, folder / "side.jpg"), saved(made.top, folder / "top.jpg")


def with_corners(rows, port):
    """A traced sheet's rows, their corners read by template where each lies on the mold, as a person does."""
    length = float(rows[-1]["station_mm"])
    share = np.array([float(row["station_mm"]) for row in rows]) / length
    corners = np.interp(share, np.linspace(0.0, 1.0, FINE), port.corner)
    return [
        {k: v for k, v in row.items() if k != "note"} | {"corner_mm": STEP * round(c / STEP)}
        for row, c in zip(rows, corners, strict=True)
    ]


def test_the_command_writes_a_sheet_that_measures_the_port_and_both_pictures(trial, tmp_path, monkeypatch, capsys):
    made, side, top = trial
    monkeypatch.chdir(tmp_path)
    corners = ",".join(f"{c:.2f}mm" for c in made.corners)
    bars = ",".join(f"{bar:.2f}" for bar in made.bars)
    words = ["trace", "--side", side, "--top", top, "--corner", corners, "--bar-mm", bars, "--out", "traced"]
    assert main([*words, "--json", "mold.json", "--units", "mm"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "corners are empty" in said and "along the middle" in said
    rows = list(csv.DictReader((tmp_path / "traced" / "mold.csv").read_text().splitlines()))
    assert len(rows) >= 8 and all(row["corner_mm"] == "" and "template" in row["note"] for row in rows)
    told = json.loads((tmp_path / "mold.json").read_text())
    assert [s["height_mm"] for s in told["sections"]] == pytest.approx([float(r["height_mm"]) for r in rows], abs=0.01)
    found = pg.survey(pg.port_from_rows(with_corners(rows, made.port)))
    assert found.volume_cc == pytest.approx(made.port.volume / 1000.0, rel=0.015)
    assert found.volume_cc == pytest.approx(made.port.volume / 1000.0, abs=3.0 * found.volume_u_cc)
    for name in ("side", "top"):
        picture = cv2.imread(str(tmp_path / "traced" / f"{name}-traced.jpg"))
        assert ((picture[..., 2] > 200) & (picture[..., 1] < 90) & (picture[..., 0] > 200)).sum() > 600  # the lines
    assert main(words) == 2 and "there already" in capsys.readouterr().err


def test_photographs_of_something_else_say_what_to_do(trial, tmp_path, capsys):
    _, side, top = trial
    for words, says in (
        (["--side", side], "--side and --top"),
        (["--side", side, "--top", side], "Lay it on"),
        (["--side", top, "--top", side], "Lay it on"),
        (["--side", side, "--top", top, "--corner", "400mm"], "corner"),
        (["--corner", "4mm"], "no photograph"),
    ):
        assert main(["trace", *words, "--out", str(tmp_path / "out")]) == 2
        message = " ".join(capsys.readouterr().err.split())
        assert says.lower() in message.lower() and "Traceback" not in message, message
    assert not list((tmp_path / "out").glob("*"))


def measured(seed, folder):
    """Of one mold: volume, each station's area and the short side, as share off and over their ±."""
    made = mold_trial(seed)
    files = [saved(data, folder / f"{name}.jpg") for name, data in (("side", made.side), ("top", made.top))]
    header, cells = sheet_table(pg.trace_mold(*files, corner_mm=made.corners, bar_mm=made.bars))
    return compared([dict(zip(header, row, strict=True)) for row in cells], made.port)


def compared(rows, port):
    """The figures of a traced mold's sheet, its corners read, beside the truth: share off, and u as a share."""
    found = pg.survey(pg.port_from_rows(with_corners(rows, port)))
    share = np.asarray(found.stations.station_mm) / found.stations.station_mm[-1]
    areas = np.interp(share, np.linspace(0.0, 1.0, FINE), port.area)
    read = np.column_stack([found.stations.area_mm2, found.stations.area_u_mm2])
    side = found.short_side.headline
    radius = port.usual() if side.name == "radius" else port.tightest()
    return {
        "volume": (found.volume_cc * 1000.0 / port.volume - 1.0, found.volume_u_cc * 1000.0 / port.volume),
        "areas": (read[:, 0] / areas - 1.0, read[:, 1] / areas),
        "short": (side.mm / radius - 1.0, side.u_mm / radius),
    }


@pytest.fixture(scope="module")
def forty(tmp_path_factory):
    """Of 40 molds, none of which the tracer was made with: figures off and their u, by name."""
    folder = tmp_path_factory.mktemp("molds")
    each = [measured(seed, folder) for seed in range(1009, 1049)]
    return {
        name: [np.concatenate([np.atleast_1d(trial[name][k]) for trial in each]) for k in range(2)] for name in each[0]
    }


@pytest.mark.nightly
@pytest.mark.parametrize(("name", "bar"), [("volume", 0.015), ("areas", 0.025)])
def test_40_molds(forty, name, bar):
    """Volume within 1.5 %, station areas within 2.5 %."""
    assert (np.abs(forty[name][0]) < bar).mean() >= 0.9


@pytest.mark.nightly
@pytest.mark.parametrize("name", ["volume", "areas", "short"])
def test_40_molds_within_their_uncertainty(forty, name):
    off, u = forty[name]
    assert (np.abs(off) < 2.0 * u).mean() >= 0.9


@pytest.mark.nightly
@pytest.mark.xfail(reason="72 of 100 are: walls are off by 0.05 mm over a centimetre, which a turn of 8 degrees shows")
def test_40_molds_short_side(forty):
    """Short side within 6 %."""
    assert (np.abs(forty["short"][0]) < 0.06).mean() >= 0.9
