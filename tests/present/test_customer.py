"""The customer's pages, the tables beside the page, and the scales of colours."""

from dataclasses import replace

import numpy as np
import pypdfium2
import pytest
from matplotlib.figure import Figure

from portgeo.app.job import published
from portgeo.core.units import Display
from portgeo.present.page.contents import compared_flows, results_tables
from portgeo.present.page.models import scales_of
from portgeo.present.page.page import write_page
from portgeo.present.paper import customer
from portgeo.present.paper.customer import _flow_chart, customer_pages
from portgeo.present.paper.sheet import Sheet
from tests.present.conftest import CAST, CUT, INCHES


@pytest.mark.parametrize(("unit", "size"), [("in", (612.0, 792.0)), ("mm", (595.4, 841.7))])
def test_two_pages_the_same_each_time(report, unit, size):
    made = customer_pages(*report, Display(unit))
    assert unit == "mm" or made == customer_pages(*report, Display(unit))
    assert b"CreationDate" not in made
    document = pypdfium2.PdfDocument(made)
    assert len(document) == 2
    assert document[0].get_size() == pytest.approx(size, abs=1.0)
    first, second = (page.get_textpage().get_text_range() for page in document)
    change = report[0]["compare"][0]["record"]
    assert f"{change['removed_cc']:.2f}" in first and "$" in first  # a name with a dollar sign is no formula
    assert "makers" in second and "Power was not estimated" in second


@pytest.mark.parametrize(
    ("title", "lines"),
    [
        ("Intake port 1", 1),
        ("Invented four-cylinder hill-climb engine: intake port 1", 1),
        ("Invented four-cylinder hill-climb engine of three litres: intake port 1", 2),
        ("Invented four-cylinder hill-climb engine of three litres, its intake ports: the first state and the last", 2),
    ],
)
def test_no_word_of_the_title_stands_alone(title, lines):
    sheet = Sheet(INCHES)
    sheet.title(title)
    written = [text.get_text() for text in sheet.figure.texts]
    assert " ".join(written) == title and len(written) == lines
    assert min(map(len, written)) > 0.6 * max(map(len, written))


def test_flows_are_compared_with_one_set_up(report):
    results = report[0]
    manifold = results["bench"][1] | {"setup": "manifold on", "flow_cfm": [40.0, 80.0, 100.0, 110.0]}
    first, last = compared_flows(results | {"bench": [*results["bench"], manifold]})
    assert (first[1], last[1]) == (130.0, 143.0)
    assert [flow[1] for flow in compared_flows(results | {"bench": [results["bench"][0], manifold]})] == [110.0]
    axes = Figure().subplots()
    _flow_chart(axes, results | {"bench": [*results["bench"], manifold]}, INCHES)
    assert [max(line.get_ydata()) for line in axes.lines] == [130.0, 143.0]


def test_bench_rows_of_a_state_that_the_job_does_not_have_are_told(report):
    results = report[0]
    states, runs = results["states"], results["bench"]
    assert list(published._unnamed_runs(states, runs)) == []
    renamed = [states[0], states[1] | {"name": "named anew"}]
    (told,) = published._unnamed_runs(renamed, runs)
    first, last = runs[1]["rows"][0], runs[1]["rows"][-1]
    assert told["message"].startswith(f"rows {first} to {last} are of a stage '{runs[1]['state']}'")
    # Whatever else was flowed, nothing is told to be the flow of a state that has none.
    assert compared_flows(results | {"states": renamed}) == []
    asked = [states[0], renamed[1] | {"bench_run": runs[1]["state"]}]
    assert list(published._unnamed_runs(asked, runs)) == []
    assert [flow[1] for flow in compared_flows(results | {"states": asked})] == [130.0, 143.0]


def test_metal_within_its_error_is_not_told_on_any_page(report):
    results, models = report
    one = results["compare"][0]
    walls = {"floor": {"mean_mm": 0.0, "max_mm": 0.0, "removed_cc": -0.03, "removed_u_cc": 0.02}}
    error = {"removed_u_cc": 0.02, "added_u_cc": 0.02}
    record = one["record"] | error | {"added_cc": 0.03, "walls": walls}

    def told(**change):
        made = results | {"compare": [one | {"record": record | change}]}
        first = pypdfium2.PdfDocument(customer_pages(made, models, INCHES))[0].get_textpage().get_text_range()
        walls = next(rows for name, _, rows in results_tables(made, INCHES) if name.startswith("walls-"))
        return write_page(made, (), INCHES), " ".join(first.split()), walls[0][-1]

    page, customer, floor = told()
    assert "as added" not in page + customer and floor == 0.0
    page, customer, floor = told(added_cc=0.05, removed_cc=0.03)
    assert all("0.05 ± 0.04 cc reads as added" in text for text in (page.replace("\u00a0", " "), customer))
    assert all(
        "no metal removed was detected (limit 0.04 cc)" in text.replace("\u00a0", " ") for text in (page, customer)
    )


def test_power_is_an_estimate_with_its_caution(report):
    results, models = report
    demand = {"mach_index": 0.5, "power_estimate_hp": [100.0, 130.0]}
    second = pypdfium2.PdfDocument(customer_pages(results | {"demand": demand}, models, INCHES))[1]
    text = " ".join(second.get_textpage().get_text_range().split())
    assert "100 to 130 hp, an estimate" in text and "dynamometer" in text


def pages_of(results, models):
    """What the customer's two pages say."""
    document = pypdfium2.PdfDocument(customer_pages(results, models, INCHES))
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def test_a_port_that_was_only_measured_gets_no_caution_of_a_cut_or_a_flow(report):
    results, models = report
    first, second = pages_of(results, models)
    assert "inH2O, repeats to about 1%" in first and "A bench repeats" not in first
    assert all(word in second for word in ("Fuel and ignition", "Castings shift", "Bench flows are of this set-up"))
    only = results | {"states": results["states"][:1], "compare": [], "bench": [], "plan": None}
    first, second = pages_of(only, models[:1])
    assert "Figures with ±" in second
    assert not any(word in second for word in ("Fuel", "ignition", "bench flow", "gain", "Castings", "flows more"))
    assert "Fuel" not in pages_of(results | {"bench": []}, models)[1]


def test_of_a_cut_half_done_only_what_is_left_is_still_to_be_done(report):
    results, models = report
    planned = f"{results['plan']['record']['removed_cc']:.2f} cc"
    assert f"a next cut of {planned} is planned" in pages_of(results, models)[1]
    for left, told in ((0.21, True), (0.001, False)):
        second = pages_of(results | {"check": {"record": {"left_cc": left}}}, models)[1]
        assert ("0.21 cc of it is left to take" in second) == told and "is planned" not in second


@pytest.mark.parametrize(("share", "stated"), [(0.39, True), (0.41, False)])
def test_a_short_side_that_is_hardly_known_is_not_stated(report, share, stated):
    results, models = report
    *others, last = results["states"]
    side = last["port"]["short_side"]
    side = side | {"headline": side["headline"] | {"u_mm": 0.5 * share * side["headline"]["mm"]}}
    state = last | {"port": last["port"] | {"short_side": side}}
    first = pages_of(results | {"states": [*others, state]}, models)[0]
    assert ("is not known well enough to state" in first) != stated
    assert (INCHES.length(side["headline"]["mm"], label=False) in first) == stated


def test_a_long_story_stays_on_its_page(report):
    results, models = report
    states = [state | {"note": "word " * 600} for state in results["states"]]
    document = pypdfium2.PdfDocument(customer_pages(results | {"states": states}, models, INCHES))
    assert len(document) == 2
    first = document[0].get_textpage()
    places = [first.get_rect(k) for k in range(first.count_rects())]
    assert min(bottom for _, bottom, _, _ in places) > 0.0 and "…" in first.get_text_range()


def test_tables_are_the_results_in_the_users_unit(report):
    results = report[0]
    tables = {name: (keys, rows) for name, keys, rows in results_tables(results, INCHES)}
    keys, rows = tables["schedule-port-cut-1-img-src-x-onerror-window-broken-2-frac-1"]
    assert keys[:3] == ["station_in", "area_in2", "area_doubt_in2"]
    stations = results["states"][1]["port"]["stations"]
    assert results["states"][1]["name"] == CUT
    assert [row[1] for row in rows] == pytest.approx([s["area_mm2"] / 25.4**2 for s in stations])
    keys, rows = {name: (keys, rows) for name, keys, rows in results_tables(results, Display("mm"))}["cut-depth"]
    assert keys[1] == "take_12_oclock_mm"
    assert [row[1:] for row in rows] == [pytest.approx(s["take_mm"]) for s in results["plan"]["record"]["stations"]]


def test_a_depths_colours_part_at_zero_and_one_scale_holds_for_all_states(report):
    scales = scales_of(report[1], INCHES)
    depth = scales["port", "depth"]
    known = np.concatenate([p.values for m in report[1] for p in m.paints if (m.part, p.name) == ("port", "depth")])
    assert depth.low <= np.nanmin(known) < 0.0 and np.nanmax(known) <= depth.high
    middle, taken, added = depth.colour(np.array([0.0, 0.5, -0.5]))
    assert middle.min() > 0.9  # no cut is nearly white
    assert taken[2] > taken[0] and added[0] > added[2]  # purple: removed, orange: added
    # A light cut that is planned has a scale of its own: half of what it asks for is seen.
    *others, planned = report[1]
    ahead = replace(planned.paints[0], name="depth to take", values=0.1 * planned.paints[0].values)
    own = scales_of([*others, replace(planned, paints=(ahead,))], INCHES)["port", "depth to take"]
    deepest = float(np.nanmax(ahead.values))
    assert deepest <= own.high <= 2.0 * deepest
    assert own.colour(np.array([deepest / 2.0])).min() < 0.8
    # Where nothing was added but what scatters about nothing, the whole scale is for what was taken.
    cut = replace(ahead, values=np.maximum(ahead.values, -0.01 * deepest))
    alone = scales_of([replace(planned, paints=(cut,))], INCHES)["port", "depth to take"]
    assert alone.low == 0.0 and alone.shades[0].min() > 0.9 * 255 and alone.shades[-1].max() < 0.5 * 255
    area = scales["port", "area"]
    every = np.concatenate([model.paints[-1].values for model in report[1]])
    assert area.low <= every.min() and area.high >= every.max()
    lightness = area.shades @ np.array([0.2126, 0.7152, 0.0722])
    assert (np.diff(lightness) > -1.0).all()  # lighter is more, in grey too


def test_flows_stand_by_lift_with_what_was_gained_and_the_port_before_and_now_by_one_scale(report, monkeypatch):
    results, models = report
    drawn, scales = [], []
    monkeypatch.setattr(customer, "draw_model", lambda axes, model, scale, d, raster: drawn.append((model, scale)))
    monkeypatch.setattr(customer, "draw_scale", lambda axes, scale, d: scales.append(scale))
    first = pypdfium2.PdfDocument(customer_pages(results, models, INCHES))[0].get_textpage().get_text_range()
    was, now = (run["flow_cfm"] for run in results["bench"])
    assert (
        all(f"{flow:.1f}" in first for flow in (*was, *now)) and f"{100.0 * (now[-1] / was[-1] - 1.0):+.1f} %" in first
    )
    names = [(model.state, scale.paint.name) for model, scale in drawn]
    assert names == [(CAST, "area"), (CUT, "area"), (CUT, "depth")]
    assert drawn[0][1] is drawn[1][1] is scales[0] and len(scales) == 2


@pytest.mark.parametrize(("title", "story", "alone"), [("Port 1", "", True), ("Port 1", "A long story. " * 30, False)])
def test_of_a_cut_with_nothing_flowed_neither_page_is_half_empty_nor_cut_off(report, title, story, alone):
    """The pictures have the first page, two to a row, where the text leaves them the room; else three."""
    results, models = report
    told = results | {"bench": [], "demand": None, "title": title, "customer": story}
    document = pypdfium2.PdfDocument(customer_pages(told, models, INCHES))
    first, second = (page.get_textpage().get_text_range() for page in document)
    assert ("What changed" in second) == alone != ("What changed" in first) and "where metal came out" in first
    assert " …" not in first + second and " ".join(first.split()).count("A long story.") == story.count("A long story.")
    for page in document:
        dark = np.asarray(page.render(scale=1.0, grayscale=True).to_numpy()) < 200
        rows = np.flatnonzero(dark.reshape(len(dark), -1).any(axis=1)) / len(dark)
        assert rows[rows < 0.93].max() > 0.65  # the line of who measured it stands at 0.95


def test_of_a_port_that_splits_all_passages_are_shown_and_figures_name_their_leg(report):
    results, models = report
    split = {"volume_cc": 111.1, "volume_u_cc": 0.4}
    states = [state | {"leg": "left", "split": split} for state in results["states"]]
    changed = [one | {"whole": None} for one in results["compare"]]
    wholes = [replace(model, part="whole") for model in models if not model.computed]
    drawn = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(customer, "draw_model", lambda axes, model, scale, d, raster: drawn.append(model))
        first, second = pages_of(results | {"states": states, "compare": changed}, [*models, *wholes])
    assert {model.part for model in drawn} == {"whole"} and {model.state for model in drawn} == {CAST, CUT}
    assert "The area in left" in first and "inimum area in left" in first and "Area along left" in second
    assert "111.10 ± 0.80 cc" in first
