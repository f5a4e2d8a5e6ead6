"""The frame on paper: a page to lay a mold or slices on, and one of marks for blocks, as PDF at 1:1.

The name of a paper comes in; the PDF's bytes go out, with bars to check the print by.
"""

from __future__ import annotations

import numpy as np
import shapely

from portgeo.core.plane import FloatArray
from portgeo.core.units import MM_PER_INCH
from portgeo.photos.frame import (
    BAR_MM,
    BLOCK_IDS,
    BLOCK_MM,
    CELLS,
    CUT_MM,
    GREY_MM,
    GREYS,
    MARGIN_MM,
    MARK_MM,
    Frame,
    cells_of,
    corners_of,
    frame_on,
)
from portgeo.present.paper.template_pages import BAR_TICK_MM, LINE_MM, WORD_MM, Fill, Page, Stroke, Words
from portgeo.present.paper.templates import pdf

TITLE = "Print at 100 % (actual size). Measure both bars with a caliper and give them to portgeo trace as --bar-mm."
BAR_NAME = f"{BAR_MM:.0f} mm ({BAR_MM / MM_PER_INCH:.3f} in)"
BLOCK_TITLE = "Marks for blocks: for a slice thicker than 1/8 in (3 mm)"
BLOCK_USE = (
    "Cut along the lines. Glue each on a block as thick as the slice; offcuts of the same slice will do.",
    "Stand the four blocks on the places in the corners of the field, marks up, any way round.",
    "They show how much nearer to the camera the slice's upper face is than the paper.",
)
ARROW_MM = 8.0
CORNER_MM = 6.0  # arms of the lines that show a place for a block


def frame_pdf(paper: str) -> bytes:
    """Return the frame and its marks for blocks on paper (a name in photos.frame.PAPERS_MM), as PDF."""
    frame = frame_on(paper)
    return pdf([_field_page(frame), _block_page(frame)], "Frame to photograph on, print at 100 %")


def _field_page(frame: Frame) -> Page:
    fills = [fill for mark, middle in frame.marks.items() for fill in _mark(mark, middle)]
    square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * GREY_MM / 2.0
    fills += [Fill((place + square,), grey) for place, grey in zip(frame.greys, GREYS, strict=True)]
    around = np.concatenate([frame.greys[[0, -1]] - [[GREY_MM / 2.0], [-GREY_MM / 2.0]] * np.array([1.0, 1.0])])
    box = np.array([around[0], [around[1, 0], around[0, 1]], around[1], [around[0, 0], around[1, 1]]])
    strokes = [Stroke(box, True, "bar"), *_bar(frame.across), *_bar(frame.up)]
    strokes += [line for place in frame.blocks for line in _place(place, frame)]
    words = [
        Words(np.array([frame.across[0, 0], frame.size[1] - MARGIN_MM - WORD_MM]), TITLE, strong=True),
        Words(frame.across[1] + [2.0, -WORD_MM / 3.0], BAR_NAME),
        Words(frame.up[1] + [-2.0, 2.0], BAR_NAME.split(" (")[0]),
    ]
    middles = np.array(list(frame.marks.values()))
    centre, top, left = frame.field.mean(axis=0), float(middles[:, 1].max()), float(middles[:, 0].min())
    for at, way, name in (
        (np.array([centre[0], top]), np.array([0.0, 1.0]), "UP"),
        (np.array([left, centre[1]]), np.array([-1.0, 0.0]), "LEFT"),
    ):
        strokes += _arrow(at, way)
        foot = abs(way[1]) * ARROW_MM / 2.0 + abs(way[0]) * ARROW_MM / 5.0
        words.append(Words(at + [-WORD_MM, -foot - WORD_MM - 0.5], name, strong=True))
    return Page(frame.size[0], frame.size[1], tuple(strokes), tuple(words), fills=tuple(fills))


def _block_page(frame: Frame) -> Page:
    top = frame.size[1] - MARGIN_MM - WORD_MM
    words = [
        Words(np.array([MARGIN_MM, top - k * LINE_MM]), text, strong=k == 0)
        for k, text in enumerate((BLOCK_TITLE, *BLOCK_USE))
    ]
    fills, strokes = [], []
    for k, mark in enumerate(BLOCK_IDS):
        middle = np.array([MARGIN_MM + CUT_MM / 2.0 + k * (CUT_MM + LINE_MM), top - 5.0 * LINE_MM - CUT_MM / 2.0])
        fills += _mark(mark, middle)
        strokes.append(Stroke(corners_of(middle, CUT_MM), True, "cut"))
    return Page(frame.size[0], frame.size[1], tuple(strokes), tuple(words), fills=tuple(fills))


def _mark(mark: int, middle: FloatArray) -> list[Fill]:
    """Return a mark's black, cells that touch as one shape: no viewer draws a seam through it."""
    cell = MARK_MM / CELLS
    left, top = corners_of(middle)[0]
    boxes = [
        shapely.box(left + column * cell, top - (row + 1) * cell, left + (column + 1) * cell, top - row * cell)
        for row, column in np.argwhere(cells_of(mark))
    ]
    joined = shapely.get_parts(shapely.unary_union(boxes))
    return [
        Fill(tuple(np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)), 0.0)
        for part in map(shapely.geometry.polygon.orient, joined)
    ]


def _bar(ends: FloatArray) -> list[Stroke]:
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    tick = BAR_TICK_MM / 2.0 * np.array([-along[1], along[0]])
    return [Stroke(ends, False, "bar"), *(Stroke(np.array([e - tick, e + tick]), False, "bar") for e in ends)]


def _place(middle: FloatArray, frame: Frame) -> list[Stroke]:
    """Return the place of a block: a short line at the corner that looks to the field's middle."""
    inward = np.sign(frame.field.mean(axis=0) - middle)
    corner = middle + inward * BLOCK_MM / 2.0
    arms = np.array([corner - [inward[0] * CORNER_MM, 0.0], corner, corner - [0.0, inward[1] * CORNER_MM]])
    return [Stroke(arms, False, "today")]


def _arrow(at: FloatArray, way: FloatArray) -> list[Stroke]:
    across = np.array([-way[1], way[0]]) * ARROW_MM / 5.0
    tip, foot = at + way * ARROW_MM / 2.0, at - way * ARROW_MM / 2.0
    neck = tip - way * ARROW_MM / 3.0
    head = np.array([neck + across, tip, neck - across])
    return [Stroke(np.array([foot, tip]), False, "edge"), Stroke(head, False, "edge")]
