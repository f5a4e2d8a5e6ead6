"""Make the guide's and the README's pictures in docs/pictures from the demo's job.

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
    "planned-depth-to-take.png": "take.png",
    "planned-wall-left.png": "wall-left.png",
    "first-cut-reach.png": "reach.png",
    "air-speed.png": "speed-by-station.png",
    "bench.png": "bench.png",
}
PAGE_SIZE = {"width": 1000, "height": 1560}  # down to the port in 3D
DPI = 100
COLOURS = 240  # of a picture's palette: a third of the bytes, and no eye tells
PHOTO_SIZE = (2016, 1512)  # pixels of a made-up photograph
PHOTO_SHOWN = 900  # pixels of its width in the guide
PHOTO_QUALITY = 80
PAPER_AT = 2.4  # station of the demo, in, at which the turn is shown on squared paper


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


def photographs() -> None:
    """Write what is traced of made-up photographs: of a slice, and of a whole mold from the side and from above."""
    import cv2
    import numpy as np

    import portgeo as pg
    from portgeo.front.photos import traced_mold_picture, traced_picture
    from tests.photos.mold_render import mold_trial
    from tests.photos.render import saved
    from tests.photos.trials import slice_trial

    def written(name: str, pictures: list[bytes]) -> None:
        high = round(PHOTO_SHOWN * PHOTO_SIZE[1] / PHOTO_SIZE[0])
        shown = [cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR) for picture in pictures]
        small = [cv2.resize(levels, (PHOTO_SHOWN, high), interpolation=cv2.INTER_AREA) for levels in shown]
        cv2.imwrite(str(OUT / name), np.hstack(small), [cv2.IMWRITE_JPEG_QUALITY, PHOTO_QUALITY])

    with tempfile.TemporaryDirectory() as name:
        piece = slice_trial(8, PHOTO_SIZE)
        file = saved(piece.data, Path(name) / "slice.jpg")
        written("traced-slice.jpg", [traced_picture(pg.trace([file], thick_mm=piece.thick, bar_mm=piece.bars), 0)])
        mold = mold_trial(8, size=PHOTO_SIZE)
        files = [saved(data, Path(name) / f"{k}.jpg") for k, data in enumerate((mold.side, mold.top))]
        traced = pg.trace_mold(*files, corner_mm=mold.corners, bar_mm=mold.bars)
        written("traced-mold.jpg", [traced_mold_picture(traced, k) for k in range(2)])


def squared_paper(picture: Path) -> None:
    """Write the demo's port from the side on squared paper, with its station lines and the turn at one of them."""
    import numpy as np
    from matplotlib.figure import Figure
    from matplotlib.patches import Arc

    import portgeo as pg
    from portgeo.present.pictures.charts import INK
    from portgeo.present.pictures.mic import ACROSS, ASIDE

    port = pg.read(ROOT / "meshes" / "demo-as-cast.csv")
    figure = Figure(figsize=(8.0, 5.7), dpi=DPI, facecolor="white")
    axes = figure.add_axes((0.03, 0.03, 0.94, 0.94))

    def line(station: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return the middle (x, z), floor and roof of a section as it is seen from the side, in."""
        section = port.section_at(station * 25.4)
        points = section.in_space(section.outline)[:, ::2] / 25.4
        flow = section.frame[0][::2]
        up = np.array([-flow[1], flow[0]])
        low, high = (points[np.argmin(s * (points @ up))] for s in (1.0, -1.0))
        middle = (low + high) / 2.0
        return middle, middle + up * ((low - middle) @ up), middle + up * ((high - middle) @ up)

    length = port.centreline.stations[-1] / 25.4
    middle, floor, roof = (np.array(part) for part in zip(*(line(s) for s in np.linspace(0, length, 60)), strict=True))
    for side in (floor, roof):
        axes.plot(*side.T, color=INK, lw=2.0)
    axes.plot(*middle.T, color="#7a7a7a", lw=1.0, dashes=(8, 4))
    for reading in port.readings[::2]:
        at, low, high = line(reading.station / 25.4)
        axes.plot(*np.array([low, high]).T, color=ACROSS, lw=1.0)
        axes.plot(*at, "o", color=ACROSS, ms=3.5)
        out = (high - at) / np.linalg.norm(high - at)
        axes.annotate(
            f"{reading.station / 25.4:.1f}", high + 0.13 * out, ha="center", va="center", fontsize=8, color=INK
        )
    at, _, _ = line(PAPER_AT)
    turn = next(np.degrees(r.turn) for r in port.readings if abs(r.station / 25.4 - PAPER_AT) < 1e-6)
    on = np.array([np.cos(np.radians(turn)), -np.sin(np.radians(turn))])
    axes.plot([at[0], at[0] + 1.3], [at[1], at[1]], color=ASIDE, lw=1.0, ls=":")
    axes.annotate("", at + 1.3 * on, at, arrowprops={"arrowstyle": "->", "color": ASIDE, "lw": 1.3})
    axes.add_patch(Arc(at, 1.6, 1.6, theta1=-turn, theta2=0.0, color=ASIDE, lw=1.3))
    axes.annotate("the way it started", (at[0] + 1.34, at[1]), va="center", fontsize=9, color=ASIDE)
    axes.annotate(
        f"turn at {PAPER_AT} in: {turn:.1f}°", (at[0] + 1.34, at[1] - 0.22), va="center", fontsize=9, color=ASIDE
    )
    axes.annotate("flange face", (-0.12, 0.0), rotation=90, ha="center", va="center", fontsize=9, color=INK)
    axes.annotate("a square is 0.10 in", (0.02, -2.1), fontsize=9, color=INK, backgroundcolor="white")
    axes.set_xlim(-0.3, 4.75)
    axes.set_ylim(-2.3, 1.25)
    axes.set_aspect("equal")
    axes.set_xticks(np.arange(-0.3, 4.76, 0.1))
    axes.set_yticks(np.arange(-2.3, 1.3, 0.1))
    axes.grid(color="#bcd3e6", lw=0.4)
    axes.tick_params(length=0, labelleft=False, labelbottom=False)
    for edge in axes.spines.values():
        edge.set_visible(False)
    figure.savefig(picture)


def made_small(picture: Path) -> None:
    """Write a picture anew in a palette of few colours."""
    from PIL import Image

    with Image.open(picture) as opened:
        flat = opened.convert("RGB").quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    flat.save(picture, optimize=True)


def main() -> int:
    from portgeo.app.cli import main as run
    from portgeo.present.pictures.mic import mic_picture

    with tempfile.TemporaryDirectory() as name:
        report = Path(name) / "report"
        if run(["report", str(ROOT / "meshes" / "demo-job.toml"), "--out", str(report)]) != 0:
            return 1
        OUT.mkdir(parents=True, exist_ok=True)
        for source, target in PICTURES.items():
            shutil.copyfile(report / "pictures" / source, OUT / target)
        page_picture(report / "report.html", OUT / "page.png")
        first_sheet(report / "templates.pdf", OUT / "gauges.png")
        first_sheet(report / "bench-sheet.pdf", OUT / "bench-sheet.png")
        first_sheet(report / "customer.pdf", OUT / "customer.png")
    (OUT / "where-to-measure.png").write_bytes(mic_picture())
    squared_paper(OUT / "on-paper.png")
    photographs()
    for picture in OUT.glob("*.png"):
        made_small(picture)
    return 0


if __name__ == "__main__":
    sys.exit(main())
