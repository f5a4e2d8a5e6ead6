"""Bench runs, as read from a sheet and compared."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portgeo.app.job import air
from portgeo.app.job.blanks import bench_sheet
from portgeo.core.errors import InputError
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.files.bench import read_bench
from portgeo.flow.bench import Run, at_depression, at_valve, change, flattens, run_named, worth_comparing
from portgeo.flow.valve import Valve
from portgeo.present.text.speed import bench_text
from portgeo.results.benched import Benched
from tests.conftest import DEMO

WATER = PA_PER["in_h2o"]
SHEET = """# invented
state,setup,lift_in,flow_cfm,depression_in_h2o,swirl
as cast,clay entry,0.100,58.1,25,120
,,0.200,112.4,25,240
,,0.300,152,25,
as cast,manifold bolted on,0.100,57,28,
,,0.300,140,28,
first cut,clay entry,0.1,62,28,
,,0.3,166,28,
"""


def run_of(lift, flow, depression=28.0, swirl=None):
    lift = np.array(lift, float)
    return Run(
        "a",
        "",
        lift,
        np.array(flow, float) * M3_S_PER["cfm"],
        np.full(len(lift), depression * WATER),
        swirl,
        tuple(range(len(lift))),
    )


def sheet(tmp_path, text):
    path = tmp_path / "bench.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("row", "typed", "told"), [(3, 960, "more"), (4, 11, "less"), (5, 12, "less"), (5, 1170, "more")]
)
def test_a_slipped_flow_is_named_with_its_own_row(tmp_path, row, typed, told):
    flows = [38, 71, 96, 110, 117]
    lines = "".join(f"{2 * k},{typed if k == row else f},28\n" for k, f in enumerate(flows, start=1))
    with pytest.raises(
        InputError, match=rf"bench.csv, row {row + 1}, column flow_cfm: a flow of {typed} is far {told}"
    ):
        read_bench(sheet(tmp_path, "lift_mm,flow_cfm,depression_in_h2o\n" + lines))


def test_a_steep_start_is_no_slip(tmp_path):
    text = "lift_mm,flow_cfm,depression_in_h2o\n0.5,9,28\n5,85,28\n10,130,28\n"
    assert len(read_bench(sheet(tmp_path, text)).runs[0].lift) == 3


def test_runs_states_and_set_ups(tmp_path):
    found = read_bench(sheet(tmp_path, SHEET))
    assert [(r.state, r.setup, len(r.lift)) for r in found.runs] == [
        ("as cast", "clay entry", 3),
        ("as cast", "manifold bolted on", 2),
        ("first cut", "clay entry", 2),
    ]
    assert found.unit == "in"
    assert found.runs[0].lift[0] == pytest.approx(2.54)
    assert found.runs[0].swirl[:2].tolist() == [120.0, 240.0]
    assert np.isnan(found.runs[0].swirl[2])
    assert found.runs[1].swirl is None
    assert run_named(found.runs, "first cut") is found.runs[2]
    assert run_named(found.runs, "manifold") is found.runs[1]
    with pytest.raises(InputError, match="several runs"):
        run_named(found.runs, None)


def test_through_a_runner_the_run_with_the_manifold_on_counts(tmp_path):
    found = read_bench(sheet(tmp_path, SHEET))
    assert air.run_of(found, None, "As cast", runner=True) is found.runs[1]
    assert air.run_of(found, None, "as cast") is found.runs[0]
    assert air.run_of(found, None, "first cut", runner=True) is found.runs[2]  # the only one: its note says how


@pytest.mark.parametrize(
    ("setup", "on"),
    [
        ("clay entry; no manifold", False), ("without the runner", False), ("Manifold off", False),
        ("manifold bolted on", True), ("clay on the runner", True), ("clay entry", None), ("", None),
    ],
)  # fmt: skip
def test_a_set_up_says_whether_the_manifold_was_on(setup, on):
    run = replace(run_of([2.0, 4.0], [100.0, 150.0]), setup=setup)
    assert run.manifold_on is on


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("lift_mm;flow_m3/h;depression_kPa", "2,54;169,9011;6,97449"),
        ("Lift (in),Flow (L/s),Depression (inH2O)", "0.1,47.19474,28"),
        ("lift_in,flow_cfm,depression_mm_h2o", '"0.100""",100 cfm,711.2'),
    ],
)
def test_units_of_the_bench(tmp_path, header, row):
    run = read_bench(sheet(tmp_path, f"{header}\n{row}\n")).runs[0]
    assert run.lift[0] == pytest.approx(2.54)
    assert run.flow[0] / M3_S_PER["cfm"] == pytest.approx(100.0, rel=1e-6)
    assert run.depression[0] / WATER == pytest.approx(28.0, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("lift_in,flow_cfm\n0.1,50\n", "depression"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.1,50,\n", "row 2, column depression_in_h2o"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.1,0,28\n", "row 2, column flow_cfm"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.1,-5,28\n", "row 2, column flow_cfm"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.1,1e9,28\n", "row 2, column flow_cfm"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.2,50,28\n0.2,60,28\n", "row 3, column lift_in"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.2,50,28\n0.1,60,28\n", "does not rise"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.2,177mm,28\n", "neither a length nor an angle"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.2,fifty,28\n", "row 2, column flow_cfm"),
        ("lift_in,flow_cfm,depression_in_h2o\n0.2,50,2800\n", "depression"),
        ("lift_in,flow_cfm,flow_l_s,depression_in_h2o\n0.2,50,20,28\n", "two units"),
        ("lift_in,flow_cfm,depression_in_h2o\n", "has no rows"),
        ("lift_in,flow_cf,depression_in_h2o\n0.1,50,28\n", "Did you mean flow_cfm"),
        ("", "empty"),
    ],
)
def test_a_bad_sheet_is_refused_by_file_and_place(tmp_path, text, where):
    with pytest.raises(InputError) as refusal:
        read_bench(sheet(tmp_path, text))
    assert "bench.csv" in str(refusal.value)
    assert where in str(refusal.value)


@given(st.floats(5.0, 50.0), st.floats(5.0, 50.0))
def test_correction_between_depressions_goes_there_and_back(a, b):
    run = run_of([2.0, 4.0], [100.0, 150.0], a)
    there = at_depression(run, b * WATER)
    back = at_depression(run_of([2.0, 4.0], there / M3_S_PER["cfm"], b), a * WATER)
    assert back == pytest.approx(run.flow, rel=1e-12)
    assert there / run.flow == pytest.approx(np.sqrt(b / a))


def test_where_a_curve_goes_flat_and_where_it_falls():
    flat = flattens(run_of([2, 4, 6, 8, 10, 12], [50, 100, 150, 180, 182, 183]), 28 * WATER)
    assert flat.flat_from == 10.0  # from 180 to 183 is 1.7 %, more than a bench's repeat
    assert flat.falls_from is None
    falls = flattens(run_of([2, 4, 6, 8, 10], [50, 100, 150, 160, 150]), 28 * WATER)
    assert falls.falls_from == 8.0
    assert flattens(run_of([2, 4, 6], [50, 100, 150]), 28 * WATER).flat_from is None


def test_of_one_lift_no_curve_is_told():
    text = " ".join(bench_text([run_of([10], [160])], 28 * WATER, None, Display("mm")).split())
    assert "best 160.0 cfm at its one lift of 10.00 mm, which makes no curve" in text and "flat" not in text.lower()
    assert "never goes flat" in bench_text([run_of([2, 4, 6], [50, 100, 150])], 28 * WATER, None, Display("mm"))


def test_what_a_manifold_costs():
    before, after = run_of([2, 4, 6], [50, 100, 150]), run_of([2, 6], [48, 130])
    found = change(before, after, 28 * WATER)
    cost = (found.after - found.before) / M3_S_PER["cfm"]
    assert cost[[0, 2]] == pytest.approx([-2.0, -20.0])
    assert found.read.tolist() == [True, False, True]
    with pytest.raises(InputError, match="no lift in common"):
        change(run_of([2], [50]), run_of([3], [50]), 28 * WATER)


def test_coefficients_of_a_run():
    """A run that fills its throat at the speed the depression gives has a coefficient of one."""
    valve = Valve(head=44.0, throat=38.0, stem=7.0)
    speed = np.sqrt(2.0 * 28.0 * WATER / 1.225)
    full = np.pi / 4.0 * (38.0**2 - 7.0**2) * 1e-6 * speed / M3_S_PER["cfm"]
    found = at_valve(run_of([2.0, 14.0], [20.0, full]), valve)
    assert found.on_throat[1] == pytest.approx(1.0, rel=1e-4)
    assert found.on_passage[1] == pytest.approx(1.0, rel=1e-4)
    assert found.on_curtain[1] == pytest.approx((38.0**2 - 7.0**2) / (4.0 * 44.0 * 14.0), rel=1e-4)
    assert found.limits.tolist() == [0, 2]


def test_each_run_goes_beside_those_it_shares_a_state_or_a_set_up_with():
    """Two states, each with and without the manifold: two costs of the manifold, two gains of the cut."""
    lift = np.array([5.0])

    def run(state, setup):
        return Run(state, setup, lift, np.array([0.1]), np.array([7000.0]), None, (2,))

    runs = [run(*words) for words in (("cast", "clay"), ("cast", "manifold"), ("cut", "clay"), ("cut", "manifold"))]
    assert worth_comparing(runs) == [(0, 1, "setup"), (0, 2, "state"), (1, 3, "state"), (2, 3, "setup")]
    assert worth_comparing([run("cast", "clay"), run("cut", "spacer")]) == [(0, 1, "both")]


def test_two_valves_alike_have_twice_the_area_of_one():
    """The same flow past two valves is half as much a valve: each coefficient is half."""
    run = run_of([2.0, 8.0, 14.0], [20.0, 80.0, 90.0])
    one, two = (at_valve(run, Valve(head=34.0, throat=29.0, stem=6.0, count=count)) for count in (1, 2))
    for name in ("on_curtain", "on_throat", "on_passage"):
        assert getattr(two, name) == pytest.approx(getattr(one, name) / 2.0, rel=1e-12)
    assert two.passage == pytest.approx(2.0 * one.passage, rel=1e-12)
    assert two.limits.tolist() == one.limits.tolist()
    told = bench_text([run], 28 * WATER, Valve(head=34.0, throat=29.0, stem=6.0, count=2), Display("mm"))
    assert "All 2 valves are counted together" in " ".join(told.split())


def test_a_change_is_from_a_run_of_the_same_set_up(tmp_path):
    """Cast to cut on clay is +7 %; the manifold's loss is no part of a change, and is told for itself."""
    runs = read_bench(sheet(tmp_path, SHEET)).runs
    told = Benched.of(runs, 28 * WATER, [None] * len(runs), {}, Display("in")).bench
    assert [run.change_from_first is not None for run in told] == [False, False, True]
    change_of, factor = told[2].change_from_first, np.sqrt(28.0 / 25.0)
    assert change_of.from_run == 1
    ends = change_of.change_cfm[[0, -1]]
    assert ends == pytest.approx([62.0 - 58.1 * factor, 166.0 - 152.0 * factor])
    assert {pair.differs for pair in told[1].changes} == {"setup"}


def test_the_demo_and_the_example_flow_no_more_than_their_valves_let_by(tmp_path):
    (tmp_path / "bench.csv").write_text("\n".join(bench_sheet("in").replace("# ", "").splitlines()[2:-1]))
    example, demo = (Valve(head * 25.4, throat * 25.4, 7.0) for head, throat in ((1.56, 1.36), (1.68, 1.47)))
    for file, valve in ((DEMO / "demo-bench.csv", demo), (tmp_path / "bench.csv", example)):
        for run in read_bench(file).runs:
            assert 0.6 < at_valve(run, valve).on_passage.min() and at_valve(run, valve).on_passage.max() < 1.0


def test_swirl_has_its_own_unit_in_every_heading(tmp_path):
    """The dial's word, once for a run; a ratio keeps its decimals."""
    lines = SHEET.splitlines()
    text = "\n".join([lines[1] + ",swirl_unit", lines[2] + ",ratio", *(line + "," for line in lines[3:])])
    runs = read_bench(sheet(tmp_path, text.replace("120", "1.25") + "\n")).runs
    assert runs[0].swirl_unit == "ratio"
    told = bench_text(runs, 25 * WATER, None, Display("in"))
    assert "swirl, ratio" in told and "1.25" in told
    assert Benched.of(runs, 28 * WATER, [None] * len(runs), {}, Display("in")).bench[0].swirl_unit == "ratio"
    with pytest.raises(InputError, match="swirl_unit"):
        read_bench(sheet(tmp_path, text.replace(",ratio", "," + "far too long to be the unit of a dial")))


def test_swirl_says_at_which_depression_it_was_read(tmp_path):
    """Swirl is not corrected: under a heading of 28 inH2O it stands as read at 25."""
    runs = read_bench(sheet(tmp_path, SHEET)).runs
    told = bench_text(runs, 28 * WATER, None, Display("in"))
    assert "swirl, as read at 25 inH2O" in told
    assert "as read" not in bench_text(runs, 25 * WATER, None, Display("in"))
    told = Benched.of(runs, 28 * WATER, [None] * len(runs), {}, Display("in"))
    assert told.bench[0].read_at_in_h2o == pytest.approx([25.0] * 3)
