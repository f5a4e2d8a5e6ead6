"""The frame that a mold or a slice is photographed on: which marks stand where on the paper.

The name of a paper comes in; marks, field, bars, greys and places for blocks go out, in mm from the paper's lower left
corner as it is read, its long side across. The marks are of the AprilTag family 36h11 (E. Olson, ICRA 2011), as
OpenCV has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.units import MM_PER_INCH

PAPERS_MM: dict[str, tuple[float, float]] = {"a4": (297.0, 210.0), "letter": (11.0 * MM_PER_INCH, 8.5 * MM_PER_INCH)}
FIRST_ID = {"a4": 0, "letter": 100}  # of a paper's marks: the marks say which paper it is
BLOCK_IDS = (200, 201, 202, 203)  # of the marks that are cut out and stand on blocks as high as the slice
CELLS = 8  # of a mark's side: six of its code and a black one at either end
MARK_MM = 14.4  # side of a mark: a cell is 1.8 mm, 6 pixels where the page fills a picture 1,600 pixels wide
CUT_MM = 20.0  # side of a mark on its block, with the white round it that it is known by
MARGIN_MM = 12.0  # what common printers cannot reach, and a little more
HEAD_MM = 6.0  # for the title over the marks
FOOT_MM = 14.0  # for the bar and the greys under them
SIDE_MM = 6.0  # for the upright bar left of them
FREE_MM = 3.0  # white between marks and field
ACROSS, UP = 10, 6  # marks along a side, even, so that there is a gap in its middle for an arrow
BAR_MM = 150.0  # as much as a 6 in caliper opens
BLOCK_MM = 22.0  # side of the place of a block in the field's corners
GREYS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)  # of the grey scale, black to white, as a printer is told them
GREY_MM = 8.0


@dataclass(frozen=True)
class Frame:
    """A printed frame.

    paper : a name in PAPERS_MM. size (2,) : of the paper. marks : the middle (2,) of each, by its number. field (2, 2)
    : lower left and upper right corner. across, up (2, 2) : ends of the two bars. greys (n, 2) : middles of the grey
    squares. blocks (4, 2) : middles of the blocks' places.
    """

    paper: str
    size: FloatArray
    marks: dict[int, FloatArray]
    field: FloatArray
    across: FloatArray
    up: FloatArray
    greys: FloatArray
    blocks: FloatArray


@cache
def frame_on(paper: str) -> Frame:
    """Return the frame on a paper of PAPERS_MM."""
    size = np.array(PAPERS_MM[paper])
    low = np.array([MARGIN_MM + SIDE_MM, MARGIN_MM + FOOT_MM])
    high = size - [MARGIN_MM, MARGIN_MM + HEAD_MM]
    x = np.linspace(low[0], high[0] - MARK_MM, ACROSS) + MARK_MM / 2.0
    y = np.linspace(low[1], high[1] - MARK_MM, UP) + MARK_MM / 2.0
    ring = [(a, y[-1]) for a in x] + [(x[-1], b) for b in y[-2:0:-1]] + [(a, y[0]) for a in x[::-1]]
    ring += [(x[0], b) for b in y[1:-1]]
    field = np.array([low + MARK_MM + FREE_MM, high - MARK_MM - FREE_MM])
    inner = np.array([field[0] + BLOCK_MM / 2.0, field[1] - BLOCK_MM / 2.0])
    grey_x = high[0] - (len(GREYS) - 0.5 - np.arange(len(GREYS))) * GREY_MM
    return Frame(
        paper,
        size,
        {FIRST_ID[paper] + k: np.array(place) for k, place in enumerate(ring)},
        field,
        np.array([[low[0], MARGIN_MM + 2.0], [low[0] + BAR_MM, MARGIN_MM + 2.0]]),
        np.array([[MARGIN_MM + 2.0, low[1]], [MARGIN_MM + 2.0, low[1] + BAR_MM]]),
        np.column_stack([grey_x, np.full(len(GREYS), MARGIN_MM + GREY_MM / 2.0)]),
        np.array([[inner[i, 0], inner[j, 1]] for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))]),
    )


def corners_of(middle: FloatArray, side: float = MARK_MM) -> FloatArray:
    """Return a mark's corners (4, 2): upper left, upper right, lower right, lower left."""
    return middle + side / 2.0 * np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])


def cells_of(mark: int) -> np.ndarray:
    """Return which cells (8, 8) of a mark are black, from its upper left."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, mark, CELLS) == 0)
