"""Make the README's pictures in docs/pictures from the demo's job.

Run from the top of the repository: ``python scripts/make_gallery.py``. The page is taken with a Chromium that
is on the machine, through Playwright; pictures of ports need OpenGL.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.browser import ARGUMENTS, browser_path

ROOT = Path(__file__).resolve().parent.parent
OUT = ROOT / "docs" / "pictures"
# Of the report's pictures, which go where.
PICTURES = {
    "as-cast-area.png": "as-cast.png",
    "area-schedule.png": "area-schedule.png",
    "first-cut-depth.png": "cut-depth.png",
    "first-cut-speed.png": "air-speed.png",
    "planned-wall-left.png": "wall-left.png",
}
PAGE_SIZE = {"width": 1000, "height": 1560}  # down to the port in 3D
DPI = 100


def page_picture(page: Path, picture: Path) -> None:
    """Write how the report's page begins in a browser."""
    from playwright.sync_api import sync_playwright

    browser = browser_path()
    if browser is None:
        raise SystemExit("the page's picture needs a Chromium on the machine")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=browser, args=ARGUMENTS)
        view = opened.new_page(viewport=PAGE_SIZE)
        view.goto(page.as_uri())
        view.wait_for_timeout(2000)
        view.screenshot(path=picture)
        opened.close()


def first_sheet(pdf: Path, picture: Path) -> None:
    """Write the first page of a PDF as a picture."""
    import pypdfium2

    pypdfium2.PdfDocument(pdf)[0].render(scale=DPI / 72.0).to_pil().save(picture)


def main() -> int:
    from portgeo.app.cli import main as run

    with tempfile.TemporaryDirectory() as name:
        report = Path(name) / "report"
        if run(["report", str(ROOT / "meshes" / "demo-job.toml"), "--out", str(report)]) != 0:
            return 1
        OUT.mkdir(parents=True, exist_ok=True)
        for source, target in PICTURES.items():
            shutil.copyfile(report / "pictures" / source, OUT / target)
        page_picture(report / "report.html", OUT / "page.png")
        first_sheet(report / "templates.pdf", OUT / "gauges.png")
        first_sheet(report / "customer.pdf", OUT / "customer.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
