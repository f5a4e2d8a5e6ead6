"""What the page keeps when the server goes, and what it takes when a file is dropped on it."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

from tests.live.conftest import SHEET
from tests.live.tab import Tab, cells_of


def opened(sheet):
    """Run the command; return its process and the address that it printed."""
    process = subprocess.Popen(
        [sys.executable, "-m", "portgeo", "open", str(sheet), "--no-browser"],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    return process, re.search(r"http://\S+", process.stdout.readline())[0]


def test_a_page_whose_server_is_killed_keeps_what_is_typed_and_goes_on_with_the_next(chromium, folder):
    sheet = folder / SHEET
    process, address = opened(sheet)
    try:
        with Tab(chromium, address) as tab:
            tab.go(1, "height")
            tab.keys("1.951", "Enter")
            tab.saved()
            process.kill()
            process.wait()
            tab.keys("1.932", "Enter", "1.912", "Enter")
            tab.until("document.getElementById('saved').textContent.startsWith('Not saved: 2 changes')")
            assert tab.in_hand() == (4, "height")
            assert [row["height_in"] for row in cells_of(sheet)[:3]] == ["1.951", "1.931", "1.911"]
            process, again = opened(sheet)
            assert again == address
            tab.settled()
            assert [row["height_in"] for row in cells_of(sheet)[:3]] == ["1.951", "1.932", "1.912"]
            assert tab.in_hand() == (4, "height")
            assert tab.away == []
    finally:
        process.kill()
        process.wait()


DROP = """([name, bytes]) => {
  const held = new DataTransfer();
  held.items.add(new File([Uint8Array.from(bytes)], name));
  document.body.dispatchEvent(new DragEvent("drop", { dataTransfer: held, bubbles: true, cancelable: true }));
}"""


def test_a_scan_that_is_dropped_on_the_page_is_a_stage_of_its_own(chromium, browser, folder, tmp_path_factory):
    scan = tmp_path_factory.mktemp("scan") / "mold.stl"
    trimesh.creation.cylinder(18.0, 90.0, sections=48).export(scan)
    with Tab(chromium, browser.address) as tab:
        tab.page.evaluate(DROP, ["mold.stl", list(scan.read_bytes())])
        tab.page.get_by_role("tab", name="mold").click()
        tab.saved()
        assert (folder / "mold.stl").read_bytes() == scan.read_bytes()
        assert 'port = "mold.stl"' in (folder / "job.toml").read_text(encoding="utf-8")
        assert "mold.stl" in tab.page.locator(".part:not([hidden])").inner_text()
        assert not tab.errors and not tab.away


@pytest.mark.parametrize("name", ["../outside.csv", "job.toml"])
def test_a_file_that_may_not_be_taken_is_refused_in_words(chromium, browser, folder, name):
    with Tab(chromium, browser.address) as tab:
        tab.page.get_by_role("button", name="Engine", exact=True).click()
        tab.page.get_by_role("button", name="Begin a job of this sheet").click()
        tab.saved()
        before = sorted(path.name for path in folder.parent.iterdir())
        tab.page.evaluate(DROP, [name, [1, 2, 3]])
        tab.until("document.getElementById('said').textContent.length > 20")
        assert sorted(path.name for path in folder.parent.iterdir()) == before
        assert b"\x01\x02\x03" not in (folder / "job.toml").read_bytes()
