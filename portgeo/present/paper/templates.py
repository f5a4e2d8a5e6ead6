"""Templates at 1:1: PDF for a printer, DXF and SVG for a cutter.

Gauges come in; a file goes out, the same bytes for the same gauges.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np

from portgeo.core.errors import OutputError
from portgeo.core.units import MM_PER_INCH, Display
from portgeo.files.disk import atomic_write
from portgeo.present.paper.template_pages import WORD_MM, Page, Style, Words, one_sheet, pages
from portgeo.reshape.gauges import Gauge

POINTS_PER_MM = 72.0 / MM_PER_INCH
LINE_WIDTH_MM = 0.15  # a line that scissors can follow and a rule can be laid to
EDGE_WIDTH_MM = 0.45  # of the edge that works: thick enough to tell, thin enough to file to its middle
DASH = {"today": (2.0, 1.5)}  # mm drawn and left out
GREY: dict[Style, float] = {"today": 0.35, "mark": 0.35, "cut": 0.0, "edge": 0.0, "bar": 0.0}  # drawn in this order
SVG_COLOUR: dict[Style, str] = {"cut": "#ff0000", "today": "#808080", "mark": "#0000ff", "bar": "#0000ff"}
DXF_COLOUR: dict[Style, int] = {"cut": 1, "today": 8, "mark": 5, "bar": 5}
SAVED_BY = re.compile(r"(\$LASTSAVEDBY\n *1\n)[^\n]*")


def write_templates(
    path: str | Path, gauges: Sequence[Gauge], display: Display, title: str, *, paper: str, force: bool
) -> int:
    """Write gauges to a PDF, DXF or SVG file, by its suffix, and return how many pages it has.

    Raises OutputError for another suffix and where the file cannot be written.
    """
    suffix = Path(path).suffix.lower()
    if suffix == ".pdf":
        laid = pages(gauges, display, title, paper)
        atomic_write(path, pdf(laid), force=force)
        return len(laid)
    if suffix not in (".dxf", ".svg"):
        raise OutputError(
            f"templates cannot be written as {suffix or 'a file without a suffix'}",
            file=str(path),
            hint="Name a .pdf to print, or a .dxf or .svg for a cutter",
        )
    sheet = one_sheet(gauges, display, title)
    atomic_write(path, dxf(sheet) if suffix == ".dxf" else svg(sheet), force=force)
    return 1


def pdf(laid: Sequence[Page], title: str = "Port templates, print at 100 %") -> bytes:
    """Return pages as PDF, one millimetre on the page for one of the gauge when printed at 100 %."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.collections import LineCollection
    from matplotlib.figure import Figure
    from matplotlib.patches import PathPatch, Rectangle
    from matplotlib.path import Path as Shape

    stream = io.BytesIO()
    with rc_context({"font.family": "DejaVu Sans", "pdf.compression": 6}):
        metadata = {"Title": title, "Creator": "portgeo", "Producer": None, "CreationDate": None}
        with PdfPages(stream, metadata=metadata) as book:
            for page in laid:
                figure = Figure(figsize=(page.width / MM_PER_INCH, page.height / MM_PER_INCH))
                axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
                axes.set(xlim=(0.0, page.width), ylim=(0.0, page.height))
                axes.axis("off")
                for fill in page.fills:
                    rings = [Shape(_closed(ring), closed=True) for ring in fill.rings]
                    black = (fill.grey, fill.grey, fill.grey)
                    axes.add_patch(PathPatch(Shape.make_compound_path(*rings), facecolor=black, linewidth=0.0))
                for style, grey in GREY.items():
                    lines = [_closed(s.points) if s.closed else s.points for s in page.strokes if s.style == style]
                    dash = DASH.get(style)
                    width = (EDGE_WIDTH_MM if style == "edge" else LINE_WIDTH_MM) * POINTS_PER_MM
                    drawn = LineCollection(
                        lines,
                        colors=[(grey, grey, grey)],
                        linewidths=width,
                        # Dashes are in line widths.
                        linestyles=[(0, tuple(part / LINE_WIDTH_MM for part in dash))] if dash else "solid",
                    )
                    axes.add_collection(drawn, autolim=False)
                    if page.clip is not None and style in ("cut", "edge", "today"):
                        corner, size = page.clip[0], page.clip[1] - page.clip[0]
                        drawn.set_clip_path(Rectangle(tuple(corner), *size, transform=axes.transData))
                for words in page.words:
                    axes.text(
                        words.at[0],
                        words.at[1],
                        words.text,
                        fontsize=WORD_MM * POINTS_PER_MM,
                        fontweight="bold" if words.strong else "normal",
                        va="baseline",
                        parse_math=False,
                    )
                book.savefig(figure)
    return stream.getvalue()


def _closed(points: np.ndarray) -> np.ndarray:
    return np.vstack([points, points[:1]])


def svg(page: Page) -> bytes:
    """Return a sheet as SVG in millimeters, a group for each kind of line."""
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page.width:.3f}mm" height="{page.height:.3f}mm" '
        f'viewBox="0 0 {page.width:.3f} {page.height:.3f}">',
    ]
    for style, colour in SVG_COLOUR.items():
        out.append(f'<g id="{style}" fill="none" stroke="{colour}" stroke-width="0.1">')
        for stroke in page.strokes:
            if stroke.style == style:
                places = " L ".join(f"{x:.4f} {page.height - y:.4f}" for x, y in stroke.points)
                out.append(f'<path d="M {places}{" Z" if stroke.closed else ""}"/>')
        out.append("</g>")
    out.append(f'<g id="words" fill="#0000ff" font-family="sans-serif" font-size="{WORD_MM}">')
    out += [_svg_words(words, page.height) for words in page.words]
    return "\n".join([*out, "</g>", "</svg>", ""]).encode("utf-8")


def _svg_words(words: Words, height: float) -> str:
    x, y = words.at
    weight = ' font-weight="bold"' if words.strong else ""
    return f'<text x="{x:.3f}" y="{height - y:.3f}"{weight}>{escape(words.text)}</text>'


def dxf(page: Page) -> bytes:
    """Return a sheet as DXF in millimeters, a layer for each kind of line."""
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # else the file would hold the time it was made
    try:
        drawing = ezdxf.new("R2010", units=ezdxf.units.MM)
        space = drawing.modelspace()
        for style, colour in DXF_COLOUR.items():
            drawing.layers.add(style.upper(), color=colour)
        drawing.layers.add("WORDS", color=5)
        for stroke in (stroke for stroke in page.strokes if stroke.style in DXF_COLOUR):  # an edge is cut once
            space.add_lwpolyline(
                [tuple(point) for point in stroke.points.tolist()],
                close=stroke.closed,
                dxfattribs={"layer": stroke.style.upper()},
            )
        for words in page.words:
            text = space.add_text(words.text, height=WORD_MM * 0.7, dxfattribs={"layer": "WORDS"})
            text.set_placement(tuple(words.at.tolist()))
        stream = io.StringIO()
        drawing.write(stream)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
    # The library writes its own name here as it saves, after what the header was told.
    return SAVED_BY.sub(r"\1portgeo", stream.getvalue()).encode("utf-8")
