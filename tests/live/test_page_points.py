"""A mold on squared paper: both ends of each scribed line typed into the page, and drawn as they come."""

import pytest

import portgeo as pg
from tests.live.conftest import served
from tests.live.tab import Tab, cells_of

# An invented mold, inches: floor x, z; roof x, z; width.
LINES = (
    ("0.00", "0.00", "0.00", "1.80", "1.10"),
    ("0.80", "0.06", "0.80", "1.76", "1.10"),
    ("1.60", "0.10", "1.60", "1.74", "1.11"),
    ("1.90", "0.06", "2.80", "1.26", "1.21"),
    ("2.10", "-0.10", "3.34", "0.50", "1.33"),
    ("2.34", "-0.68", "3.62", "-0.22", "1.36"),
)
CORNER = "0.25"


def dots(tab):
    return tab.page.locator("#where circle.dot").count()


def test_a_mold_is_typed_line_by_line_and_its_outline_grows_before_any_station_is_known(chromium, tmp_path):
    with served(tmp_path) as browser, Tab(chromium, browser.address) as tab:
        tab.page.get_by_text("A mold on squared paper").click()
        assert not tab.page.get_by_label("How long it is").is_visible()
        tab.page.get_by_label("How many lines").fill(str(len(LINES)))
        tab.page.get_by_role("button", name="Lay the sheet out").click()
        tab.saved()
        assert tab.in_hand() == (1, "floor_x")
        for k, line in enumerate(LINES):
            for number in line[:2]:
                tab.keys(number, "Enter")
            assert dots(tab) == 2 * k + 1  # the floor's end, as soon as it is read
            for number in (*line[2:], CORNER, CORNER):
                tab.keys(number, "Enter")
            assert dots(tab) == 2 * k + 2
        tab.settled()
        (sheet,) = tmp_path.rglob("as-cast.csv")
        assert [tuple(row[f"{end}_in"] for end in ("floor_x", "floor_z", "roof_x", "roof_z", "width"))
                for row in cells_of(sheet)] == list(LINES)  # fmt: skip
        assert {row["tool"] for row in cells_of(sheet)} == {"caliper"}
        found = pg.survey(pg.read(sheet), sure=False)
        assert tab.figure("volume") == pytest.approx(found.volume_cc, abs=0.006)
        assert tab.figure("short_side") == pytest.approx(found.short_side.headline.mm / 25.4, abs=0.0006)
        # The line in hand is lit along the port too, by the station that follows from the points.
        tab.go(4, "roof_z")
        assert tab.page.locator("#where circle.hot").count() == 1
        assert tab.page.locator("#area .lit").count() > 0
        assert not tab.errors and not tab.away


@pytest.mark.nightly
def test_what_is_left_to_read_of_a_mold_are_its_points_and_no_station(tmp_path):
    with served(tmp_path) as browser:
        begun = {"op": "begin", "what": "runner", "valve": "intake", "by": "points", "units": "mm", "tool": "caliper"}
        answer = browser.edit(begun | {"title": "runner 1", "stations": "3"})
        assert answer.status_code == 200, answer.text
        ((file, table),) = answer.json()["changed"]["tables"].items()
        named = [column["column"] for column in table["columns"]]
        assert {"floor_x", "roof_z", "left_y", "right_y"} <= set(named) and "station" not in named
        assert [one["column"] for one in table["columns"] if one["required"]] == named[:5]
        table = browser.type(file, 1, "width_mm", "30")["changed"]["tables"][file]
        assert table["problems"] == []
        assert [1, "floor_x_mm"] in table["missing"] and [1, "roof_z_mm"] in table["missing"]
