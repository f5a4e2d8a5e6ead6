"""The printed frame: its marks are what OpenCV's own generator draws and finds, at the places that the layout says."""

import cv2
import numpy as np
import pypdfium2
import pytest

from portgeo.app import cli
from portgeo.photos.frame import BAR_MM, BLOCK_IDS, CELLS, MARK_MM, PAPERS_MM, corners_of, frame_on
from portgeo.present.paper.frame_pages import frame_pdf

PER_MM = 8.0  # pixels
FAMILY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


def printed(paper, page=0):
    """A page as a grey picture, and its height in pixels."""
    rendered = pypdfium2.PdfDocument(frame_pdf(paper))[page].render(scale=PER_MM * 25.4 / 72.0, grayscale=True)
    return rendered.to_numpy()[..., 0] if rendered.to_numpy().ndim == 3 else rendered.to_numpy()


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_marks_are_found_by_the_library_s_own_finder_where_they_should_be(paper):
    page, frame = printed(paper), frame_on(paper)
    corners, ids, _ = cv2.aruco.ArucoDetector(FAMILY).detectMarkers(page)
    assert sorted(ids.ravel()) == sorted(frame.marks)
    for mark, seen in zip(ids.ravel(), corners, strict=True):
        places = np.column_stack([seen[0, :, 0], page.shape[0] - seen[0, :, 1]]) / PER_MM
        assert np.abs(places - corners_of(frame.marks[int(mark)])).max() < 0.3


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_each_mark_is_cell_by_cell_what_the_library_s_generator_draws(paper):
    page = printed(paper)
    side = MARK_MM * PER_MM
    for mark, middle in frame_on(paper).marks.items():
        drawn = cv2.aruco.generateImageMarker(FAMILY, mark, CELLS) > 0
        x, y = (corners_of(middle)[0] * [1.0, -1.0] + [0.0, page.shape[0] / PER_MM]) * PER_MM
        at = (np.arange(CELLS) + 0.5) * side / CELLS
        cells = page[np.ix_(np.round(y + at).astype(int), np.round(x + at).astype(int))] > 127
        assert (cells == drawn).all()


def test_a_page_of_marks_for_blocks_comes_with_it():
    ids = cv2.aruco.ArucoDetector(FAMILY).detectMarkers(printed("a4", 1))[1]
    assert sorted(ids.ravel()) == list(BLOCK_IDS)


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_bars_are_as_long_as_they_say_and_all_lies_on_the_paper_a_printer_reaches(paper):
    page, frame = printed(paper), frame_on(paper)
    dark = page < 200
    y = round(page.shape[0] - frame.across[0, 1] * PER_MM)
    row = dark[y - 2 : y + 2].any(axis=0)
    start = round(frame.across[0, 0] * PER_MM)
    run = np.flatnonzero(~row[start + 4 :])[0] + start + 4 - np.flatnonzero(row[start - 20 :])[0] - (start - 20)
    assert run / PER_MM == pytest.approx(BAR_MM, abs=0.4)
    margin = round(6.0 * PER_MM)
    assert not dark[:margin].any() and not dark[-margin:].any() and not dark[:, :margin].any()
    assert not dark[:, -margin:].any()


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_field_is_free_but_for_the_places_of_the_blocks(paper):
    page, frame = printed(paper), frame_on(paper)
    low, high = (frame.field * PER_MM).round().astype(int)
    field = page[page.shape[0] - high[1] : page.shape[0] - low[1], low[0] : high[0]]
    assert (field > 250).mean() > 0.998 and (field < 60).mean() < 1e-4
    assert (frame.field[1] - frame.field[0] >= [210.0, 125.0]).all()


def test_the_same_frame_is_the_same_bytes_and_is_not_overwritten(tmp_path, capsys):
    assert frame_pdf("letter") == frame_pdf("letter") != frame_pdf("a4")
    file = tmp_path / "frame.pdf"
    assert cli.main(["frame", "-o", str(file), "--paper", "a4"]) == 0
    assert file.read_bytes() == frame_pdf("a4") and "print at 100 %" in capsys.readouterr().out
    assert cli.main(["frame", "-o", str(file)]) == 2 and "there already" in capsys.readouterr().err
    assert cli.main(["frame", "-o", str(tmp_path / "frame.png")]) == 2
    assert "ends in .pdf" in capsys.readouterr().err
