"""A sheet of paper that is written from the top down: titles, lines broken to fit, headings, room for drawings.

Text comes in; a matplotlib figure of one page goes out, with fonts that ship with matplotlib.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.textpath import text_to_path

from portgeo.core.units import Display
from portgeo.present.pictures.charts import INK

PAPER = {"in": (8.5, 11.0), "mm": (8.27, 11.69)}  # inches: Letter where inches are read, else A4
MARGIN = 0.85  # inches
SERIF = ("STIXGeneral", "DejaVu Sans")  # both ship with matplotlib; the second has letters the first lacks
TEXT, LARGE, TITLE = 11.5, 16.0, 23.0  # points
LEAST_TITLE = 19.0  # points: as small as a title is set to stand on one line
LETTER = 0.45  # of the size of the type: the mean width of a letter, about
LONGEST_WORD = 40  # letters: fits a line of the largest text
LINE = 1.32  # of the letters' height
SOFT = "#54595e"


class Sheet:
    """A page that is written from the top down, in inches."""

    def __init__(self, display: Display, margin: float = MARGIN) -> None:
        self.width, self.height = PAPER[display.unit]
        self.figure = Figure(figsize=(self.width, self.height))
        self.margin = self.down = margin
        self.room = self.width - 2 * margin
        self.kept_free, self.full = 0.0, False
        self.is_cut = False  # whether anything was left off
        self._last_line: Any = None

    def keep_free(self, inches: float) -> None:
        """Leave so much of the page to what comes after; from here on there is room again up to there."""
        self.kept_free, self.full = inches, False

    def write(
        self, text: str, size: float = TEXT, *, bold: bool = False, indent: float = 0.0, colour: str = INK
    ) -> None:
        """Write text broken into lines; what has no room on the page is left off, and a mark says so."""
        weight = "bold" if bold else "normal"
        for line in broken(str(text), self.room - indent, size, weight):
            if self.full:
                self._cut()
                return
            self.full = self.down + 2.0 * size * LINE / 72.0 > self.height - self.margin - self.kept_free
            self._last_line = self.figure.text(
                (self.margin + indent) / self.width, 1.0 - self.down / self.height, line, fontsize=size,
                color=colour, fontweight=weight, va="top",
            )  # fmt: skip
            self.down += size * LINE / 72.0

    def _cut(self) -> None:
        """Mark the last line that had room as not the last that there is."""
        if self._last_line is not None and not self._last_line.get_text().endswith("…"):
            self._last_line.set_text(self._last_line.get_text() + " …")
        self.is_cut = True

    def title(self, text: str) -> None:
        """Write the title on one line where it goes, else on lines of about one length."""
        for size in np.arange(TITLE, LEAST_TITLE - 0.25, -0.5):
            if len(broken(text, self.room, float(size), "normal")) <= 1:
                self.write(text, float(size))
                return
        lines = broken(text, self.room, TITLE, "normal")
        for room in np.arange(self.room / 2.0, self.room, 0.1):
            narrower = broken(text, float(room), TITLE, "normal")
            if len(narrower) == len(lines):
                lines = narrower
                break
        self.write("\n".join(lines), TITLE)

    def point(self, text: str) -> None:
        """Write a point of a list."""
        if self.full:
            self._cut()
            return
        self.figure.text(
            self.margin / self.width, 1.0 - self.down / self.height, "–", fontsize=TEXT, color=INK, va="top"
        )
        self.write(text, indent=0.22)
        self.down += 0.05

    def heading(self, text: str) -> None:
        """Write a heading with a rule over it."""
        if self.full:
            self._cut()
            return
        self.down += 0.12
        y = 1.0 - self.down / self.height
        self.figure.add_artist(
            Line2D([self.margin / self.width, 1.0 - self.margin / self.width], [y, y], color=INK, linewidth=0.7)
        )
        self.down += 0.1
        self.write(text, LARGE)
        self.down += 0.06

    def axes(self, left: float, width: float, height: float, below: float = 0.0) -> Any:
        """Return axes from here down: left and width of the room, 0 to 1; height and below in inches."""
        top = self.down + below
        return self.figure.add_axes(
            (
                (self.margin + left * self.room) / self.width,
                1.0 - (top + height) / self.height,
                width * self.room / self.width,
                height / self.height,
            )
        )


def printed(draw: Callable[[], Sequence[Figure]], title: str) -> bytes:
    """Return the pages that a function draws as PDF, the same on every machine and day."""
    settings: Any = {
        "font.family": list(SERIF),
        "pdf.fonttype": 42,
        "text.parse_math": False,
        "axes.unicode_minus": True,
    }
    stream = io.BytesIO()
    with matplotlib.rc_context(settings):
        metadata = {"CreationDate": None, "Creator": "portgeo", "Producer": None, "Title": title}
        with PdfPages(stream, metadata=metadata) as pages:
            for figure in draw():
                pages.savefig(figure)
    return stream.getvalue()


def broken(text: str, room: float, size: float, weight: str) -> list[str]:
    """Return text in lines no wider than room, inches."""
    font = FontProperties(family=list(SERIF), size=size, weight=weight)

    def wide(line: str) -> bool:
        return bool(text_to_path.get_text_width_height_descent(line, font, ismath=False)[0] > room * 72.0)

    lines = []
    for paragraph in text.splitlines():
        words = [w if len(w) <= LONGEST_WORD else w[: LONGEST_WORD - 1] + "…" for w in paragraph.split()]
        line = " ".join(words)
        while words:
            # About as many words as go on a line, then one more or one less: to measure a line takes a millisecond.
            most = int(room * 72.0 / (LETTER * size))
            count = max(1, line[: most + 1].count(" "))
            while count < len(words) and not wide(" ".join(words[: count + 1])):
                count += 1
            while count > 1 and wide(" ".join(words[:count])):
                count -= 1
            lines.append(" ".join(words[:count]))
            words = words[count:]
            line = " ".join(words)
        lines += [] if paragraph.split() else [""]
    return lines
