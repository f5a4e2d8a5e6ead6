"""Pictures of ports: two side by side, figures on the scale, and scripts that use the library."""

import random
import subprocess
import sys
from dataclasses import replace

import kiwisolver
import numpy as np
import pytest
from PIL import Image

from portgeo.app.cli import main
from portgeo.comparing.balance import balance
from portgeo.comparing.joint import edges_round, match
from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.core.units import FOOT, Display
from portgeo.flow.airspeed import air_speed
from portgeo.flow.path import path_of
from portgeo.measuring.schedule import survey
from portgeo.present.pictures import port as pictures
from portgeo.present.pictures.charts import png, schedule_figure
from portgeo.present.pictures.depth import balance_figure, outlines_figure
from portgeo.present.pictures.speed import speed_figure
from tests.conftest import port_readings


@pytest.fixture
def sheet(tmp_path):
    """A section sheet of a straight round pipe."""
    path = tmp_path / "pipe.csv"
    path.write_text("station_mm,diameter_mm,shape\n0,40,round\n50,36,round\n100,40,round\n")
    return path


def test_two_states_stand_side_by_side_turned_alike_and_at_one_scale(sheet, tmp_path, capsys):
    picture = tmp_path / "pair.png"
    status = main(["view", str(sheet), str(sheet), "--picture", str(picture)])
    if status != 0:
        pytest.skip(capsys.readouterr().err)  # no OpenGL here
    shown = np.asarray(Image.open(picture).convert("RGB"), dtype=int)
    height, width, _ = shown.shape
    assert (width, height) == pictures.WINDOW
    # The same file on both sides is the same picture, but for the scale of colours under the first.
    left, right = shown[: int(0.85 * height), : width // 2 - 2], shown[: int(0.85 * height), width // 2 + 2 :]
    found = [np.argwhere(half.min(axis=2) < 100) for half in (left, right)]
    assert len(found[0]) > 2000
    extents = [np.concatenate([places.min(axis=0), places.max(axis=0)]) for places in found]
    assert np.abs(extents[0] - extents[1]).max() <= 4


@pytest.mark.parametrize(("value", "shown"), [(1093.28, "1093"), (24.13, "24.1"), (1.6953, "1.70"), (0.0921, "0.0921")])
def test_a_scale_has_three_figures_and_no_power_of_ten(value, shown):
    assert pictures.bar_format(value) % value == shown


def test_a_script_that_draws_needs_no_guard(tmp_path):
    script = tmp_path / "mine.py"
    script.write_text(
        "import math\n"
        "from portgeo.core.interrupts import result_of, workers\n"
        "print('once')\n"
        "with workers(1) as submit:\n"
        "    print(result_of(submit(math.sqrt, 4.0), 60.0), __file__.endswith('mine.py'))\n"
    )
    done = subprocess.run([sys.executable, str(script)], capture_output=True, encoding="utf-8", check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "once\n2.0 True\n", "")


def test_the_air_speeds_of_many_states_are_a_line_each_and_named_once():
    port = port_from_readings(port_readings())
    speed = air_speed(path_of(port), 0.09, 7000.0, unknowns=2000)
    names = [f"state {k}" for k in range(6)]
    figure = speed_figure([(name, speed) for name in names], Display("in"))
    short = figure.axes[0]
    assert [text.get_text() for text in figure.legends[0].get_texts()] == names
    drawn = [line for line in short.get_lines() if line.get_label() in names]
    assert len(drawn) == 6 and len({(line.get_color(), line.get_linestyle()) for line in drawn}) == 6
    peak = max(line.get_ydata().max() for line in drawn) * FOOT  # ft/s
    assert peak == pytest.approx(speed.side_peak.speed, abs=speed.side_peak.error)


def test_a_chart_of_a_set_names_every_runner_within_its_edges():
    port = port_from_readings(port_readings())
    found = balance([port, port, port])
    figure = balance_figure(
        found, [f"a/very/long/way/to/the/folder/of/runner-{k}.csv" for k in range(3)], Display("in")
    )
    png(figure)
    (legend,) = figure.legends
    assert [text.get_text() for text in legend.get_texts()] == [f"{k + 1}: runner-{k}.csv" for k in range(3)]
    inside, whole = legend.get_window_extent(), figure.bbox
    assert whole.x0 <= inside.x0 and inside.x1 <= whole.x1 and whole.y0 <= inside.y0


def test_a_lip_too_thin_to_see_in_the_outlines_is_drawn_large_round_the_clock():
    """A bore of 40 mm into one of 39.6: a lip of 0.2 mm all round, but for both polygons' chords."""
    ports = [
        port_from_readings([Reading(k + 2, 30.0 * k, shape="round", height=d, width=d) for k in range(2)])
        for d in (40.0, 39.6)
    ]
    clock, height = edges_round(match(*ports))
    assert np.ptp(clock) == pytest.approx(12.0, abs=0.1) and height == pytest.approx(
        np.full(len(height), 0.2), abs=0.02
    )
    below = outlines_figure(match(*ports), Display("mm")).axes[1]
    assert below.get_ylim()[1] == pytest.approx(0.2, abs=0.03) and below.get_xlim() == (0.0, 12.0)


def test_a_mark_is_explained_once_though_only_some_peaks_have_a_doubt():
    speed = air_speed(path_of(port_from_readings(port_readings())), 0.09, 7000.0, unknowns=2000)
    sure = replace(speed, side_peak=replace(speed.side_peak, shape_u=3.0))
    title = speed_figure([("as cast", sure), ("planned", speed)], Display("in"))._suptitle.get_text()
    assert title.count("triangle") == 1 and "bar: its ±" in title
    assert "±" not in speed_figure([("planned", speed)], Display("in"))._suptitle.get_text()


def test_of_a_port_that_nobody_measured_no_reading_is_drawn(port):
    measured = survey(port, readings_tried=False)
    computed = replace(measured, port=replace(port, readings=()))
    dots = [
        [line.get_xdata() for line in schedule_figure([("port", one)], Display("mm")).axes[0].get_lines()
         if line.get_marker() == "o"]
        for one in (measured, computed)
    ]  # fmt: skip
    assert [np.concatenate(each).tolist() for each in dots] == [port.rows.tolist(), []]


def test_a_chart_does_not_hang_on_where_in_memory_its_parts_lie(port):
    """The layout's solver orders its unknowns by address: with the memory in pieces they come in another order."""
    result = air_speed(path_of(port), 0.1, 7000.0, unknowns=3000)
    drawn, places = set(), set()
    for seed in range(6):
        pieces = [kiwisolver.Variable(str(k)) for k in range(20000)]
        random.Random(seed).shuffle(pieces)
        del pieces[::2]
        figure = speed_figure([("as cast", result), ("first cut", result)], Display("in"))
        drawn.add(png(figure))
        places.add(tuple(axes.get_position().extents.tobytes() for axes in figure.axes))
    assert len(drawn) == len(places) == 1
    # Whatever the layout comes to, a last digit of it moves no axis: all begin and end between two pixels.
    size = np.tile(figure.get_size_inches() * figure.dpi, 2)
    pixels = np.array([axes.get_position(original=True).extents * size for axes in figure.axes])
    assert pixels == pytest.approx(np.round(pixels), abs=1e-6)
