"""Make the demo's measured sheets in meshes/: one intake port of an invented engine, in two states.

The engine, a four-cylinder for hill climbs, is invented, and so is every number here. The shape is
written down as it would have been measured: to a thousandth of an inch, with a reader's small errors.

    python scripts/make_demo.py
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

MESHES = Path(__file__).resolve().parent.parent / "meshes"
SEED = 71
READER_ERROR_IN = 0.0008

# station, roof, floor, width, corner roof, corner floor, turn: inches and degrees; roof and floor are
# heights over the centreline. The floor of the casting has a dam ahead of the turn.
AS_CAST = [
    (0.000, 0.975, -0.975, 1.150, 0.220, 0.220, 0.0),
    (0.450, 0.955, -0.945, 1.150, 0.240, 0.240, 0.0),
    (0.900, 0.935, -0.885, 1.122, 0.260, 0.260, 0.0),
    (1.300, 0.920, -0.795, 1.104, 0.290, 0.280, 0.0),
    (1.600, 0.903, -0.815, 1.150, 0.320, 0.300, 3.0),
    (1.900, 0.880, -0.800, 1.185, 0.350, 0.330, 15.0),
    (2.200, 0.850, -0.780, 1.215, 0.400, 0.380, 29.0),
    (2.500, 0.812, -0.762, 1.265, 0.470, 0.450, 44.0),
    (2.800, 0.766, -0.754, 1.345, 0.000, 0.000, 58.0),
    (3.100, 0.742, -0.742, 1.445, 0.000, 0.000, 70.0),
    (3.400, 0.735, -0.735, 1.470, 0.000, 0.000, 75.0),
    (3.700, 0.735, -0.735, 1.470, 0.000, 0.000, 75.0),
]
# What the first cut took off roof, floor and both walls together.
FIRST_CUT = {
    0.000: (0.010, 0.010, 0.020),
    0.450: (0.010, 0.020, 0.020),
    0.900: (0.010, 0.040, 0.044),
    1.300: (0.012, 0.100, 0.064),
    1.600: (0.012, 0.060, 0.036),
    1.900: (0.010, 0.044, 0.024),
    2.200: (0.008, 0.032, 0.022),
    2.500: (0.006, 0.022, 0.020),
    2.800: (0.006, 0.014, 0.020),
    3.100: (0.005, 0.005, 0.012),
    3.400: (0.000, 0.000, 0.000),
    3.700: (0.000, 0.000, 0.000),
}
BOWL = 2.800  # the traced row's station
THROAT = 3.400  # from here on the bowl is round
SHEET_COLUMNS = (
    "station_in,height_in,width_in,shape,corner_roof_in,corner_floor_in,turn_deg,rise_in,outline,"
    "reading_error_in,note"
)


def bowl_outline(height: float, width: float) -> np.ndarray:
    """Return a traced outline (n, 2) of the bowl in inches, right and up, with a flat by the guide."""
    angle = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    power = 2.0 / 2.6
    x = np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** power * width / 2.0
    y = np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** power * height / 2.0
    y -= 0.03 * np.exp(-((angle - np.pi / 2.0) ** 2) / 0.05)
    return np.column_stack([x, y])


def sheet(state: str, title: str, random: np.random.Generator) -> str:
    """Return one state's sheet, and write the outline that it names."""
    lines = [
        f"# One intake port of an invented four-cylinder hill-climb engine, {title}. All values are invented.",
        SHEET_COLUMNS,
    ]
    for station, roof, floor, width, corner_roof, corner_floor, turn in AS_CAST:
        off_roof, off_floor, off_walls = FIRST_CUT[station] if state == "first-cut" else (0.0, 0.0, 0.0)
        top, bottom = roof + off_roof, floor - off_floor
        h, w = np.array([top - bottom, width + off_walls]) + random.normal(0.0, READER_ERROR_IN, 2)
        place = f"{turn:g},{(top + bottom) / 2.0:.3f}"
        if station < BOWL:
            note = "flange" if station == 0 else ""
            lines.append(
                f"{station:.3f},{h:.3f},{w:.3f},rect,{corner_roof:.3f},{corner_floor:.3f},{place},,0.001,{note}"
            )
        elif station == BOWL:
            name = f"demo-bowl-{state}.csv"
            points = "\n".join(f"{x:.4f},{y:.4f}" for x, y in bowl_outline(top - bottom, width + off_walls))
            (MESHES / name).write_text(f"x_in,y_in\n{points}\n", encoding="utf-8", newline="\n")
            lines.append(f"{station:.3f},,,outline,,,{place},{name},0.002,traced round a card")
        elif station < THROAT:
            lines.append(f"{station:.3f},{h:.3f},{w:.3f},oval,,,{place},,0.001,bowl")
        else:
            lines.append(f"{station:.3f},{h:.3f},,round,,,{place},,0.001,throat")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write the two sheets and the outlines they name."""
    random = np.random.default_rng(SEED)
    for state, title in (("as-cast", "as cast"), ("first-cut", "after the first cut")):
        path = MESHES / f"demo-{state}.csv"
        path.write_text(sheet(state, title, random), encoding="utf-8", newline="\n")
        print(f"meshes/{path.name}")


if __name__ == "__main__":
    main()
