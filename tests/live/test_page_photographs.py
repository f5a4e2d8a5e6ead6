"""Photographs dropped on the page: traced, the line put right by mouse, finger and keys, and taken into a row."""

import base64
import re

import cv2
import numpy as np
import pytest
import shapely

import portgeo as pg
from portgeo.app.live.answer_parts import Asked
from portgeo.app.live.photographs import photographs_answer
from portgeo.core.errors import PortgeoError
from tests.live.conftest import SHEET, until
from tests.live.tab import Tab, cells_of
from tests.photos.trials import slice_trial

ROW = 14
NAME = "0123456789abcdef"
DROP = """([data, name]) => {
  const bytes = Uint8Array.from(atob(data), (sign) => sign.charCodeAt(0)), files = new DataTransfer();
  files.items.add(new File([bytes], name));
  document.body.dispatchEvent(new DragEvent("drop", { dataTransfer: files, bubbles: true, cancelable: true }));
}"""


@pytest.fixture(scope="module")
def made():
    """A photograph of a slice, 3 megapixels."""
    return slice_trial(9, (2016, 1512))


def outline_of(file):
    """The polygon in an outline's file, mm, and its remarks."""
    points = np.array([[float(each["x_in"]), float(each["y_in"])] for each in cells_of(file)]) * 25.4
    return shapely.Polygon(points), [line for line in file.read_text().splitlines() if line.startswith("#")]


def shown_area(tab):
    area, u = re.match(r"([\d.]+) ± ([\d.]+) sq in", tab.page.locator("[data-traced=area]").inner_text()).groups()
    return float(area) * 25.4**2, float(u) * 25.4**2


def middle(handle):
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    return box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0


def test_a_photograph_is_traced_its_line_put_right_and_the_row_has_its_outline(chromium, browser, folder, made):
    before = {SHEET, "demo-bowl-as-cast.csv", ".portgeo-versions"}
    with Tab(chromium, browser.address, has_touch=True) as tab:
        page = tab.page
        tab.go(ROW, "height")
        page.evaluate(DROP, [base64.b64encode(made.data).decode(), "slice.jpg"])
        page.locator("#photo-thick").fill(f"{made.thick:.2f} mm")
        page.locator("#photo-across").fill(f"{made.bars[0]:.2f}")
        page.locator("#photo-up").fill(f"{made.bars[1]:.2f}")
        page.get_by_role("button", name="Trace", exact=True).click()
        page.locator("svg.over").wait_for()
        area, u = shown_area(tab)
        assert area == pytest.approx(made.area, abs=1.5 * u + 0.4)
        assert page.locator(".photographs .problem").count() == 0
        assert {path.name for path in folder.iterdir()} == before  # nothing is taken yet

        handles = page.locator("svg.over .handle")
        x, y = middle(handles.nth(2))
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 4, y - 12, steps=2)
        page.mouse.up()
        tab.keys("ArrowUp", "Shift+ArrowRight", "PageDown", "Shift+ArrowUp")
        assert page.locator("svg.over .moved").count() == 2
        page.set_viewport_size({"width": 390, "height": 844})
        x, y = middle(handles.nth(20))
        finger = tab.context.new_cdp_session(page)
        for kind, at in (("touchStart", [(x, y)]), ("touchMove", [(x - 9, y + 6)]), ("touchEnd", [])):
            touches = [{"x": one[0], "y": one[1]} for one in at]
            finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})
        assert page.locator("svg.over .moved").count() == 3
        assert page.evaluate("document.documentElement.scrollWidth") == 390
        handles.nth(20).focus()
        tab.keys("Delete")
        assert page.locator("svg.over .moved").count() == 2
        put_right, u_put_right = shown_area(tab)
        assert put_right != area and u_put_right >= u  # shown to three decimals

        page.get_by_role("button", name="Put it into the row").click()
        page.get_by_text("In row 14, as outline-2-600.csv.").wait_for()
        tab.settled()
        row = cells_of(folder / SHEET)[ROW - 1]
        assert (row["shape"], row["outline"]) == ("outline", "outline-2-600.csv")
        assert row["note"] == "traced from slice.jpg, corrected by hand"
        polygon, remarks = outline_of(folder / row["outline"])
        assert polygon.area == pytest.approx(put_right, abs=0.4)
        assert "Corrected by hand at 2 of its points" in " ".join(remarks)
        # Height and width off by this make the area off by its ±, each for itself.
        left, low, right, high = polygon.bounds
        error = float(row["reading_error_in"]) * 25.4 * polygon.area * np.hypot(1 / (right - left), 1 / (high - low))
        assert 2.0 * error == pytest.approx(u_put_right, rel=0.06)
        picture = cv2.imread(str(folder / "outline-2-600-traced.jpg"))
        assert (np.abs(picture.astype(int) - [255, 0, 255]).max(axis=2) < 90).sum() > 500  # the line is drawn on it
        # The micrometer's readings of that row are another section's here, and are told of.
        tab.page.set_viewport_size({"width": 1400, "height": 900})
        for column in ("height", "width"):
            tab.go(ROW, column)
            tab.keys("Delete", "Enter")
        tab.settled()
        found = pg.survey(pg.read(folder / SHEET), sure=False)
        assert tab.figure("volume") == pytest.approx(found.volume_cc, abs=0.006)
        at = next(each for each in found.stations.to_rows() if abs(each["station_mm"] - 2.6 * 25.4) < 0.1)
        assert at["area_mm2"] == pytest.approx(polygon.area, rel=0.01)
        for _ in range(3):
            page.get_by_role("button", name="Undo").click()
        tab.settled()
        assert cells_of(folder / SHEET)[ROW - 1]["outline"] == ""
        assert not page.get_by_text("In row 14, as").is_visible()
        assert not tab.errors and not tab.away


@pytest.mark.nightly
def test_what_cannot_be_traced_is_one_plain_message_and_leaves_nothing(browser, folder):
    before = sorted(path.name for path in folder.iterdir())
    plain = cv2.imencode(".png", np.full((1200, 1600, 3), 90, np.uint8))[1].tobytes()

    def dropped(name, content, trace=NAME):
        return browser.http.post(f"upload?trace={trace}&name={name}", content=content)

    assert dropped("a.png", plain, "../..").status_code == 400
    assert dropped("a.exe", plain).status_code == 400
    assert dropped("a.png", plain).json() == {"file": "a.png"}
    said = {"kind": "photographs", "trace": NAME, "photos": ["a.png"], "thick": "0.3"}
    with browser.events() as events:
        assert browser.post("task", said).status_code == 200
        event = until(events, lambda each: each["type"] == "task" and each["done"])
    assert event["refusal"]["what"] == "a.png: no frame is seen in the photograph"
    assert "photograph all of that page" in event["refusal"]["hint"] and event["result"] is None
    waiting = folder / ".portgeo-versions" / "traced" / NAME
    assert not list(waiting.iterdir())

    def answered(**more):
        asked = Asked("photographs", str(folder), None, "", "in", (), None, None, said | more)
        return photographs_answer(asked, lambda what, share: None)

    for more, words in (
        ({"thick": ""}, "how thick the slices are is not typed"),
        ({"thick": "eight"}, "the thickness: 'eight'"),
        ({"bar_across": "149.8"}, "one bar of the print is typed and the other is not"),
        ({}, "the file is not a photograph that can be read"),
    ):
        dropped("b.jpg", b"no picture")
        with pytest.raises(PortgeoError, match=words) as refusal:
            answered(photos=["b.jpg"], **more)
        assert str(folder) not in str(refusal.value) and not list(waiting.iterdir())
    with pytest.raises(PortgeoError, match="cannot be found"):
        answered(photos=["../../../demo-as-cast.csv"])
    answer = browser.edit({"op": "traced", "file": SHEET, "row": ROW, "trace": NAME, "slice": 0, "moves": []})
    assert answer.status_code == 400 and "no longer kept" in answer.json()["what"]
    assert browser.get(f"traced/{NAME}/slices.json").status_code == 404
    assert sorted(path.name for path in folder.iterdir()) == before
