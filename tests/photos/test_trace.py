"""Photographs of slices of known shape, made up by a camera that shares nothing with the tracer, come out true."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely

import portgeo as pg
from portgeo.app.cli import main

from .render import Scene, held, photograph, prism, saved
from .trials import COLOURS, port_section, slice_trial

SMALL = (2016, 1512)  # pixels: a photograph of 3 megapixels


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """A photograph of a slice, and its file."""
    made = slice_trial(9, SMALL)
    return made, saved(made.data, tmp_path_factory.mktemp("photo") / "slice.jpg")


def bars_of(made):
    return ",".join(f"{bar:.2f}" for bar in made.bars)


def test_an_outline_is_true_within_its_uncertainty(trial):
    """Area by shapely of the outline drawn, and no place of the traced line a pixel off it."""
    made, file = trial
    traced = pg.trace([file], thick_mm=made.thick, bar_mm=made.bars)
    (outline,) = traced.outlines
    assert outline.area_mm2 == pytest.approx(made.area, abs=3.0 * outline.area_u_mm2)
    assert outline.area_u_mm2 < 0.006 * made.area
    drawn = shapely.Polygon(made.outline)
    middle = np.array(drawn.centroid.coords[0])
    off = shapely.distance(shapely.LinearRing(made.outline - middle), shapely.points(outline.points_mm))
    assert off.max() < 1.5 * outline.mm_per_pixel
    assert outline.tilt_deg == pytest.approx(np.degrees(made.tilt), abs=3.0)
    parts = [share.u for share in outline.uncertainty]
    assert outline.area_u_mm2 == pytest.approx(float(np.linalg.norm(parts)))


def test_the_command_writes_what_a_sheet_takes_and_a_picture(trial, tmp_path, monkeypatch, capsys):
    made, file = trial
    monkeypatch.chdir(tmp_path)
    words = ["trace", file, "--thick", f"{made.thick:.2f}mm", "--bar-mm", bars_of(made), "--out", "traced"]
    assert main([*words, "--json", "traced.json", "--units", "mm"]) == 0
    assert "1 outline in true size" in capsys.readouterr().out
    (outline,) = json.loads((tmp_path / "traced.json").read_text())["outlines"]
    assert outline["file"] == "slice.csv" and outline["photo"] == "slice.jpg"
    sheet = tmp_path / "traced" / "port.csv"
    sheet.write_text("station_mm,shape,outline\n0,outline,slice.csv\n40,outline,slice.csv\n")
    assert pg.survey(pg.read(sheet)).least_area.area_mm2 == pytest.approx(outline["area_mm2"], rel=1e-3)
    picture = cv2.imread(str(tmp_path / "traced" / "slice-traced.jpg"))
    assert ((picture[..., 2] > 200) & (picture[..., 1] < 90) & (picture[..., 0] > 200)).sum() > 300  # the line
    assert main(words) == 2  # nothing is written over
    assert "slice-traced.jpg" in capsys.readouterr().err


def test_how_the_camera_was_held_is_of_no_matter_to_a_picture_that_says_so(trial, tmp_path):
    """Turned on its side with the EXIF mark for it: the same outline to a tenth of a pixel's worth of area."""
    made, file = trial
    levels = cv2.imread(file)
    done, data = cv2.imencode(".jpg", cv2.rotate(levels, cv2.ROTATE_90_CLOCKWISE), [cv2.IMWRITE_JPEG_QUALITY, 98])
    assert done
    exif = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x08\0\0\0\0\0\0"  # orientation 8
    mark = b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif
    turned = tmp_path / "turned.jpg"
    turned.write_bytes(data.tobytes()[:2] + mark + data.tobytes()[2:])
    straight, other = (pg.trace([f], thick_mm=made.thick, bar_mm=made.bars).outlines[0] for f in (file, turned))
    assert other.area_mm2 == pytest.approx(straight.area_mm2, rel=1e-3)
    assert other.width_mm == pytest.approx(straight.width_mm, abs=0.1)


@pytest.fixture(scope="module")
def camera():
    return held(np.random.default_rng(1), SMALL, 0.1)


def test_a_photograph_that_cannot_be_traced_says_what_to_do(trial, camera, tmp_path, capsys):
    _, file = trial
    plain = np.full((1200, 1600, 3), 128, np.uint8)
    photos = {
        "wall.jpg": (cv2.imencode(".jpg", plain)[1].tobytes(), "no frame is seen"),
        "words.jpg": (b"these are words", "not a photograph"),
        "empty.jpg": (photograph(Scene(), camera), "nothing that stands out from the paper"),
        "dark.jpg": (photograph(Scene(exposure=0.01, noise=0.0005), camera), "too dark"),
        "small.jpg": (cv2.imencode(".jpg", cv2.resize(cv2.imread(file), (800, 600)))[1].tobytes(), "800 by 600 pixels"),
    }
    for name, (data, says) in photos.items():
        (tmp_path / name).write_bytes(data)
        assert main(["trace", str(tmp_path / name), "--out", str(tmp_path / "out")]) == 2
        message = " ".join(capsys.readouterr().err.split())
        assert says in message and name in message and "Traceback" not in message
    assert not list((tmp_path / "out").glob("*"))
    for option, value, says in (
        ("--bar-mm", "5,6", "bars"),
        ("--bar-mm", "wide", "--bar-mm"),
        ("--thick", "4ft", "4ft"),
    ):
        assert main(["trace", file, "--out", str(tmp_path / "out"), option, value]) == 2
        assert says in capsys.readouterr().err


def test_what_is_not_said_is_asked_for(trial):
    _, file = trial
    codes = {remark.code for remark in pg.trace([file]).warnings}
    assert "print_unmeasured" in codes


def test_photographs_at_two_zooms_are_told_and_joined_true(tmp_path):
    """Area by shapely of the outline drawn: within its ± though the photographs are of two cameras."""
    rng = np.random.default_rng(1)
    outline = port_section(rng)
    scene = Scene(things=(prism(outline + [148.0, 105.0], 12.0, COLOURS[0]),))
    first, own = (held(rng, SMALL, tilt) for tilt in (0.35, 0.45))
    zoomed = replace(own, focal=1.2 * own.focal, position=own.target + 1.2 * (own.position - own.target))
    files = [saved(photograph(scene, c), tmp_path / f"{k}.jpg") for k, c in enumerate((first, zoomed))]
    traced = pg.trace(files, thick_mm=12.0, bar_mm=(150.0, 150.0))
    assert "cameras_differ" in {remark.code for remark in traced.warnings}
    (piece,) = traced.outlines
    assert piece.photos == 2
    assert piece.area_mm2 == pytest.approx(shapely.Polygon(outline).area, abs=2.0 * piece.area_u_mm2)


@pytest.mark.nightly
def test_120_photographs():
    """Tilts to 35 degrees, 8 to 12 megapixels, light, lens, paper and print as they come."""
    import tempfile
    from pathlib import Path

    off, doubt = [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(120):
            made = slice_trial(seed)
            file = saved(made.data, Path(folder) / "slice.jpg")
            (outline, *_) = pg.trace([file], thick_mm=made.thick, bar_mm=made.bars).outlines
            off.append(outline.area_mm2 / made.area - 1.0)
            doubt.append(outline.area_u_mm2 / made.area)
    off, doubt = np.abs(off), np.array(doubt)
    assert (off < 0.004).mean() >= 0.95
    assert (off < 2.0 * doubt).mean() >= 0.93
