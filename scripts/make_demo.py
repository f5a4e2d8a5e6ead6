"""Make the demo's data in meshes/: one intake port of an invented engine in two states, its manifold, a job.

The engine, a four-cylinder for hill climbs, is invented, and so is every number here. The shape is
written down as it would have been measured: to a thousandth of an inch, with a reader's small errors.

    python scripts/make_demo.py
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator

MESHES = Path(__file__).resolve().parent.parent / "meshes"
SEED = 71
READER_ERROR_IN = 0.0008

# The casting, along the centreline: roof and floor over it, width, corner radii. Inches.
AT = [0.0, 0.6, 1.2, 1.8, 2.4, 3.0, 3.4, 3.8]
ROOF = [0.975, 0.950, 0.925, 0.888, 0.826, 0.750, 0.735, 0.735]
FLOOR = [-0.975, -0.940, -0.893, -0.848, -0.790, -0.746, -0.735, -0.735]
WIDTH = [1.150, 1.150, 1.152, 1.172, 1.245, 1.410, 1.470, 1.470]
CORNER_ROOF = [0.220, 0.245, 0.280, 0.340, 0.450, 0.670, 0.735, 0.735]
CORNER_FLOOR = [0.220, 0.240, 0.270, 0.320, 0.430, 0.670, 0.735, 0.735]
DAM = (1.00, 0.26, 0.070)  # on the floor ahead of the turn: where, how long, how high
PUSH = (1.00, 0.30, 0.040)  # the walls pushed in for what passes beside them
TURN = (1.4, 3.4, 75.0)  # the centreline turns between the two stations, at one rate but for its ends:
TURN_EASE = 0.2  # there the rate grows and falls over so much
GUIDE_FLAT = 0.010  # how much lower the bowl's roof is by the guide
# What the first cut took off roof, floor and both walls together: all along, and at the dam.
CUT_ROOF, CUT_FLOOR, CUT_WALLS = 0.010, 0.022, 0.020
CUT_DAM, CUT_PUSH = 0.066, 0.036
UNCUT_FROM = 3.3  # the throat was left alone
STATIONS = np.round(np.arange(0.0, 3.81, 0.2), 3)
BOWL = 2.8  # the traced row's station
THROAT = 3.4  # from here on the bowl is round
TURN_ERROR_DEG = 0.2  # headings laid off on a side view with a vernier protractor
SHEET_COLUMNS = (
    "station_in,height_in,width_in,shape,corner_roof_in,corner_floor_in,turn_deg,turn_error_deg,rise_in,outline,mark,"
    "tool,reading_error_in,note"
)


def bowl_outline(height: float, width: float, corner_roof: float, corner_floor: float) -> np.ndarray:
    """Return a traced outline (n, 2) of the bowl in inches, right and up: as the rows beside it, flat by the guide."""
    angle = np.linspace(0.0, np.pi / 2.0, 13)
    arcs = []
    for k, (right, up) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        radius = corner_roof if up > 0 else corner_floor
        at = np.array([right * (width / 2.0 - radius), up * (height / 2.0 - radius)])
        turned = angle + k * np.pi / 2.0
        arcs.append(at + radius * np.column_stack([np.cos(turned), np.sin(turned)]))
    outline = np.concatenate([*arcs, arcs[0][:1]])
    outline[:, 1] -= GUIDE_FLAT * np.exp(-((outline[:, 0] / 0.3) ** 2)) * (outline[:, 1] > 0.0)
    return outline


def bump(station: float, shape: tuple[float, float, float]) -> float:
    """Return the height of a smooth bump (where, how long, how high) at a station."""
    where, long, high = shape
    return float(high * np.exp(-(((station - where) / long) ** 2)))


def turned_at(station: float) -> float:
    """Return how far the centreline has turned at a station, degrees."""
    start, end, whole = TURN
    rate = np.interp(np.linspace(0.0, station, 400), [start, start + TURN_EASE, end - TURN_EASE, end], [0, 1, 1, 0])
    return float(whole * rate.mean() * station / (end - start - TURN_EASE))


def shape_at(station: float, cut: bool) -> tuple[float, float, float, float, float]:
    """Return roof, floor, width and both corner radii at a station, as cast or after the first cut."""
    roof, floor, width, corner_roof, corner_floor = (
        float(PchipInterpolator(AT, values)(station)) for values in (ROOF, FLOOR, WIDTH, CORNER_ROOF, CORNER_FLOOR)
    )
    floor += bump(station, DAM)
    width -= bump(station, PUSH)
    if cut:
        whole = float(np.clip((UNCUT_FROM - station) / 0.8, 0.0, 1.0))
        roof += CUT_ROOF * whole
        floor -= CUT_FLOOR * whole + bump(station, (*DAM[:2], CUT_DAM))
        width += CUT_WALLS * whole + bump(station, (*PUSH[:2], CUT_PUSH))
    return roof, floor, width, corner_roof, corner_floor


def sheet(state: str, title: str, random: np.random.Generator) -> str:
    """Return one state's sheet, and write the outline that it names."""
    lines = [f"# One intake port of an invented four-cylinder hill-climb engine, {title}. All of it is invented."]
    lines.append(SHEET_COLUMNS)
    for station in STATIONS:
        roof, floor, width, corner_roof, corner_floor = shape_at(float(station), state == "first-cut")
        h, w = np.array([roof - floor, width]) + random.normal(0.0, READER_ERROR_IN, 2)
        outline = bowl_outline(roof - floor, width, corner_roof, corner_floor)
        roof -= GUIDE_FLAT if station == BOWL else 0.0
        turn = turned_at(float(station))
        place = f"{turn:.1f},{TURN_ERROR_DEG if turn else 0.0},{(roof + floor) / 2.0:.3f}"
        if station == BOWL:
            name = f"demo-bowl-{state}.csv"
            points = "\n".join(f"{x:.4f},{y:.4f}" for x, y in outline)
            (MESHES / name).write_text(f"x_in,y_in\n{points}\n", encoding="utf-8", newline="\n")
            lines.append(f"{station:.3f},,,outline,,,{place},{name},,template,0.002,traced round a card")
        elif station < THROAT:
            note = "flange" if station == 0 else "bowl" if station > BOWL else ""
            corners = f"{corner_roof:.3f},{corner_floor:.3f}"
            mark = "joint" if station == 0 else ""
            lines.append(f"{station:.3f},{h:.3f},{w:.3f},rect,{corners},{place},,{mark},micrometer,0.001,{note}")
        else:
            mark = "throat" if station == THROAT else ""
            lines.append(f"{station:.3f},{h:.3f},,round,,,{place},,{mark},micrometer,0.001,throat")
    return "\n".join(lines) + "\n"


# The bench: what the valve's seat alone would pass, cfm an inch of lift, and the port alone in each state, cfm.
SEAT_FLOW = 480.0
PORT_FLOW = {"as cast": 203.0, "first cut": 218.0}
SERIES = 4.0  # how sharply the flow goes over from the seat's to the port's
BENCH_REPEATS = 0.003  # of a flow: what two pulls differ by
READ_TO = 0.5  # cfm: as a person reads the bench's column


def bench(random: np.random.Generator) -> str:
    """Return the bench sheet: at low lift the seat holds the flow back in both states, at high lift the port."""
    lines = [
        "# Flow bench, the same invented port. All values are invented.",
        "lift_in,flow_cfm,depression_in_h2o,stage,setup",
    ]
    for state, port in PORT_FLOW.items():
        for lift in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7):
            flow = ((SEAT_FLOW * lift) ** -SERIES + port**-SERIES) ** (-1.0 / SERIES)
            flow = READ_TO * round(flow * (1.0 + random.normal(0.0, BENCH_REPEATS)) / READ_TO)
            first = lift == 0.1
            setup = "clay entry; no manifold" if first else ""
            lines.append(f"{lift:.3f},{flow:.1f},28,{state if first else ''},{setup}")
    return "\n".join(lines) + "\n"


# The manifold's runners, plenum to flange: height, width and corner over the station. Inches.
RUNNER_AT = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
RUNNER_HEIGHT = [2.180, 2.110, 2.060, 2.025, 1.990, 1.968]
RUNNER_WIDTH = [1.420, 1.330, 1.265, 1.215, 1.180, 1.158]
RUNNER_CORNER = [0.400, 0.360, 0.320, 0.290, 0.260, 0.235]
RUNNER_TURN = [0.0, 0.0, 5.0, 12.0, 16.0, 16.0]
RUNNERS = 4
NARROW = (4, 2.5, 0.8, 0.060)  # one of them is narrow: which, where, how long, by how much
RUNNER_FLOWS = (238.0, 236.5, 237.2, 229.4)
GASKET_HALF, GASKET_CORNER = (0.605, 1.015), 0.24  # half width and height of its opening


def runner(number: int, random: np.random.Generator) -> str:
    """Return the sheet of one runner of the manifold."""
    lines = [
        f"# Runner {number} of the invented engine's manifold, plenum to flange. All of it is invented.",
        "station_in,height_in,width_in,shape,corner_in,turn_deg,tool,note",
    ]
    which, *narrow = NARROW
    for k, station in enumerate(RUNNER_AT):
        h, w = np.array([RUNNER_HEIGHT[k], RUNNER_WIDTH[k]]) + random.normal(0.0, READER_ERROR_IN, 2)
        if number == which:
            w -= bump(station, (narrow[0], narrow[1], narrow[2]))
        note = {0: "plenum", len(RUNNER_AT) - 1: "flange"}.get(k, "")
        sizes = f"{h:.3f},{w:.3f},rect,{RUNNER_CORNER[k]:.3f},{RUNNER_TURN[k]:.1f}"
        lines.append(f"{station:.3f},{sizes},micrometer,{note}")
    return "\n".join(lines) + "\n"


def gasket() -> str:
    """Return the opening of the intake gasket, right and up, in inches."""
    angle = np.linspace(0.0, np.pi / 2.0, 9)
    x = GASKET_HALF[0] - GASKET_CORNER * (1.0 - np.cos(angle))
    y = GASKET_HALF[1] - GASKET_CORNER * (1.0 - np.sin(angle))
    quarter = np.column_stack([x, y])
    outline = np.concatenate(
        [quarter, (quarter * [-1, 1])[::-1], quarter * [-1, -1], (quarter * [1, -1])[::-1], quarter[:1]]
    )
    return "x_in,y_in\n" + "".join(f"{px:.4f},{py:.4f}\n" for px, py in outline)


# The engine's sizes agree with each other and with no maker's: the throat is 87.5 % of the valve, the valve 49 % of
# the bore, the rod 1.68 strokes, the greatest lift 0.29 of the valve. Common practice for such an engine, no source.
JOB = f"""\
# The whole of the demo in one job: portgeo report demo-job.toml --out report
# One intake port of an engine that is invented, and so is every number of it.
title = "Invented four-cylinder hill-climb engine: intake port 1"
units = "in"
customer = "First cut done and flowed; the second cut is planned. All of it is invented."

[engine]
name = "an invented four-cylinder for hill climbs"
cylinders = 4
bore = 3.440
stroke = 3.060
rod = 5.140
rpm = 7800
valve = 1.680
throat = 1.470
stem_mm = 7.0
max_lift = 0.480

[metal]
alloy = "aluminum"

[[stage]]
name = "as cast"
date = 2026-02-14
port = "demo-as-cast.csv"
runner = "demo-runner-1.csv"

[[stage]]
name = "first cut"
date = 2026-02-28
note = "dam and pinch at 1.0 in taken down; the throat left alone"
port = "demo-first-cut.csv"
runner = "demo-runner-1.csv"

[bench]
file = "demo-bench.csv"
depression_in_h2o = 28

[target]
file = "demo-target.toml"
stage = "first cut"

# [calm]  # without the first # of this line: the cut that slows the air where it is fastest; half a minute

[walls]
file = "demo-walls.csv"
stage = "first cut"

[gasket]
file = "demo-gasket.csv"
leave = 0.010

[set]
files = [{", ".join(f'"demo-runner-{k}.csv"' for k in range(1, RUNNERS + 1))}]
flows = [{", ".join(f"{flow:.1f}" for flow in RUNNER_FLOWS)}]

[tool]
head = 0.375
shank = 0.250
length = 6.0
grip = 1.0
collet = 0.750

[templates]
at = [1.6, 2.0, 2.4, 2.8]
"""

TARGET = """\
# What the second cut should do to the invented port: lay the short side back, keep the throat.
units = "in"
greatest_depth = 0.100
blend = 0.300
symmetric = true
cut_from = 0.300
cut_to = 3.600

[[area]]
station = 2.000
area = 2.035

[short_side]
radius = 0.575
from = 1.700
to = 3.600

[limits]
least_wall = 0.100
wall_readings = "demo-walls.csv"
"""
WALLS = """\
# Sonic-tester readings on the invented casting. All values are invented.
station_in,clock,thickness_in
1.0,6,0.210
1.6,6,0.190
2.0,6,0.175
2.4,6,0.160
2.8,6,0.170
3.2,6,0.200
"""


def main() -> None:
    """Write the port's two sheets and their outlines, runners, bench, gasket, target, walls and the job."""
    random = np.random.default_rng(SEED)
    for state, title in (("as-cast", "as cast"), ("first-cut", "after the first cut")):
        path = MESHES / f"demo-{state}.csv"
        path.write_text(sheet(state, title, random), encoding="utf-8", newline="\n")
        print(f"meshes/{path.name}")
    texts = {f"demo-runner-{k}.csv": runner(k, random) for k in range(1, RUNNERS + 1)}
    texts |= {"demo-bench.csv": bench(random), "demo-gasket.csv": gasket(), "demo-target.toml": TARGET}
    texts |= {"demo-walls.csv": WALLS, "demo-job.toml": JOB}
    for name, text in texts.items():
        (MESHES / name).write_text(text, encoding="utf-8", newline="\n")
        print(f"meshes/{name}")


if __name__ == "__main__":
    main()
