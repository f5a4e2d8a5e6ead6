"""A manifold's runners told apart: what each is off by, its edge, its place, the metal between, what to cut."""

import numpy as np
import pytest
import shapely

import portgeo as pg
from portgeo.app.cli import main
from portgeo.comparing.against import Against, of_figure, others_of
from portgeo.comparing.balance import Balance, Layout, balance
from portgeo.comparing.evening import advised, evenings
from portgeo.core.errors import InputError
from portgeo.measuring.flare import flare
from portgeo.present.text.balance import balance_text
from portgeo.results.balanced import Balanced
from portgeo.scan import port_from_scan
from portgeo.scan.options import ScanOptions

from .manifolds import EIGHT, PITCH, Runner

RING = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
HOLE = 19.0 * np.column_stack([np.cos(RING), np.sin(RING)])


@pytest.fixture(scope="module")
def three() -> Balance:
    runners = (Runner(), Runner(edge=4.0, shift=(0.8, -0.5)), Runner(bore=(20.0, 17.4)))
    ports = [runner.sheet() for runner in runners]
    return balance(ports, gasket=HOLE, layout=Layout(np.array([PITCH, 60.0])), readings_tried=False)


def test_edges_read_their_radius_by_the_clock(three):
    assert [edge.radius for edge in three.edges] == [pytest.approx(np.full(12, r), abs=0.002) for r in (6.0, 4.0, 6.0)]


def test_cores_shift_against_hole_and_mean(three):
    assert three.gasket_shifts == pytest.approx(np.array([[0.0, 0.0], [0.8, -0.5], [0.0, 0.0]]), abs=1e-3)
    left = [entry.shift[0] for entry in three.entries]
    assert left == pytest.approx([-0.8 / 3.0, 1.6 / 3.0, -0.8 / 3.0], abs=1e-3)


def test_dividers_are_what_the_spacing_leaves(three):
    """At the plenum the spacing less both mouths' radii, past the edges less both bores; shifts move the one."""
    first, second = three.dividers
    assert first.edge == pytest.approx(np.hypot(PITCH - 0.8, 0.5) - 26.0 - 24.0, abs=0.02)
    assert second.edge == pytest.approx(np.hypot(60.8, 0.5) - 24.0 - 26.0, abs=0.02)
    bores = [20.0 - 2.0 * (7.0 - edge) / (160.0 - edge) for edge in (6.0, 4.0)]
    # Past the edge the wall is drawn between two rows, a little off what was turned.
    assert first.past == pytest.approx(np.hypot(PITCH - 0.8, 0.5) - sum(bores), abs=0.05)
    assert first.clock == pytest.approx(3.0, abs=0.05)
    assert first.least == pytest.approx(first.edge, abs=0.02)
    assert first.least_station == pytest.approx(0.0, abs=0.1)


def test_a_spacing_under_the_runners_width_is_asked_about(three):
    """Bores of 40 mm: 38 mm from center to center cannot be, 51 can, though the rounded mouths of 52 mm meet."""
    for spacing, said in ((38.0, 1), (51.0, 0)):
        found = balance([Runner().sheet()] * 2, layout=Layout(np.array([spacing])), readings_tried=False)
        assert [w.code for w in found.warnings].count("set_spacing") == said


def test_mouths_that_meet_leave_no_divider():
    found = balance([Runner().sheet()] * 2, layout=Layout(np.array([51.0])), readings_tried=False)
    assert (found.dividers[0].edge, found.dividers[0].least) == (0.0, 0.0)
    assert found.dividers[0].past == pytest.approx(51.0 - 2.0 * (20.0 - 2.0 / 154.0), abs=0.05)


def test_edges_do_not_tell_runners_apart_by_area():
    """Runners that differ in their mouths alone are alike past them."""
    found = balance([Runner(edge=edge).sheet() for edge in (4.0, 6.0, 8.0)], readings_tried=False)
    assert found.odd is None
    assert found.spread[found.worst] < 0.01
    assert found.spread[0] > 0.3


def test_an_odd_runner_is_not_counted_in_the_mean_of_the_others():
    found = of_figure(np.array([10.0, 10.0, 10.0, 7.0]), np.full(4, 0.1), others_of(4, odd=3))
    assert found.off == pytest.approx([0.0, 0.0, 0.0, -3.0])
    assert found.off_u == pytest.approx([0.1 * np.sqrt(1.5)] * 3 + [0.1 * np.sqrt(4.0 / 3.0)])


def cylinders(*areas: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stations, areas and perimeters of straight bores of 100 mm."""
    stations = np.linspace(0.0, 100.0, 11)
    flat = np.repeat(np.array(areas)[:, None], 11, axis=1)
    return stations, flat, 2.0 * np.sqrt(np.pi * flat)


def test_what_to_cut_the_least_metal_first():
    stations, areas, around = cylinders(1000.0, 990.0, 950.0, 1010.0)
    choices = evenings(stations, areas, around, np.zeros_like(areas), None)
    assert [choice.to for choice in choices] == ["median", "largest"]
    assert choices[0].metal == pytest.approx([0.0, 500.0, 4500.0, 0.0])  # to 995, over 100 mm
    assert choices[1].metal == pytest.approx([1000.0, 2000.0, 6000.0, 0.0])
    assert choices[1].spread == 0.0
    assert choices[1].deepest[2] == pytest.approx(60.0 / (2.0 * np.sqrt(np.pi * 950.0)))
    assert choices[0].spread == pytest.approx(15.0 / np.mean([1000.0, 995.0, 995.0, 1010.0]))
    assert advised(choices, 0.0, areas) == 0


def test_nobody_is_cut_to_an_odd_runner_that_is_larger():
    stations, areas, around = cylinders(1000.0, 990.0, 1150.0, 1005.0)
    choices = evenings(stations, areas, around, np.zeros_like(areas), 2)
    assert [choice.to for choice in choices] == ["median", "largest_but_odd", "largest"]
    assert choices[1].metal == pytest.approx([500.0, 1500.0, 0.0, 0.0])
    assert choices[1].left_out == (2,)
    assert choices[advised(choices, 0.0, areas)].left_out == (2,)


def test_nothing_is_cut_that_the_readings_cannot_tell():
    stations, areas, around = cylinders(1000.0, 996.0, 950.0)
    choices = evenings(stations, areas, around, np.full_like(areas, 2.0), None)
    assert choices[-1].metal == pytest.approx([0.0, 0.0, 5000.0])


def straight(middle, rows=(0.0, 60.0, 120.0)):
    sizes = (40.0, middle, 40.0)
    return pg.port_from_rows(
        [{"station": s, "shape": "round", "diameter": d} for s, d in zip(rows, sizes, strict=True)]
    )


def test_a_runner_whose_volume_is_surely_less_is_odd_though_rows_are_few():
    """By three rows single areas are hardly known, the volume is: of a bore 1.4 mm less, from row to row a curve."""
    found = pg.balance([straight(middle) for middle in (40.0, 40.02, 38.6, 39.98)])
    assert found.odd_one_out == 3
    assert found.runners[2].off_others.volume_cc < -2.0 * found.runners[2].off_others.volume_u_cc


def test_no_cut_is_advised_that_brings_nobody_nearer():
    stations, areas, around = cylinders(1000.0, 996.0, 985.0)
    choices = evenings(stations, areas, around, np.full_like(areas, 20.0), None)
    assert advised(choices, 0.0, areas) is None
    found = pg.balance([straight(middle, (0.0, 100.0, 200.0)) for middle in (40.0, 40.0, 39.0, 39.0)])
    assert found.advised is None
    text = balance_text(found, [f"{k}.csv" for k in (1, 2, 3, 4)])
    assert "no cut that the readings can tell" in text
    assert "too few rows to tell which is odd" in text.splitlines()[0] and "none stands out" not in text
    assert "which hides how the runners differ: add rows between" in " ".join(w.message for w in found.warnings)


def test_one_file_twice_is_an_error_and_a_copied_one_a_warning(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for name in ("1.csv", "2.csv"):
        (tmp_path / name).write_text("station_mm,shape,diameter_mm\n0,round,40\n60,round,40\n")
    (tmp_path / "3.csv").write_text("station_mm,shape,diameter_mm,note\n0,round,40,third\n60,round,40,\n")
    (tmp_path / "4.csv").write_text("station_mm,shape,diameter_mm\n0,round,40\n60,round,40.1\n")
    found = pg.balance([pg.read(f"{k}.csv") for k in (1, 2, 3, 4)], sure=False)
    (told,) = (w.message for w in found.warnings if w.code == "set_copy")
    assert "runners 1, 2 and 3 hold the same" in told
    assert main(["compare", "--set", "1.csv", "2.csv", "./1.csv"]) == 2
    assert "runners 1 and 3 are one file" in capsys.readouterr().err
    (tmp_path / "job.toml").write_text('title = "x"\nunits = "mm"\n[set]\nfiles = ["1.csv", "2.csv", "./1.csv"]\n')
    assert main(["report", "job.toml", "--out", "out"]) == 2
    assert "[set] files: runners 1 and 3 are one file, './1.csv'" in capsys.readouterr().err


def test_of_runners_evenly_graded_none_is_odd():
    for diameters in ((40.0, 39.5, 39.0), (39.0, 39.5, 40.0), (38.5, 39.0, 39.5, 40.0)):
        rows = [[{"station": s, "shape": "round", "diameter": d} for s in (0.0, 30.0, 60.0)] for d in diameters]
        assert pg.balance([pg.port_from_rows(each) for each in rows]).odd_one_out is None


def test_text_says_what_to_cut(three):
    ports = [Runner().sheet()] * 3
    text = balance_text(Balanced.of(three, ports), ["1.csv", "2.csv", "3.csv"])
    assert "runner 3 is the odd one out" in text.splitlines()[0]
    assert "to the middle one" in text
    assert "1-2" in text
    assert "4.00 at" in text


def test_the_library_takes_spacing_and_radii():
    ports = [Runner().sheet(), Runner().sheet()]
    found = pg.balance(ports, spacing_mm=PITCH, entry_radii_mm=[5.0, (4.0, 4.5, 5.0, 4.5)], sure=False)
    assert found.runners[1].entry_edge.least_mm == 4.0
    assert found.runners[1].entry_edge.least_clock == 12
    assert found.dividers[0].runners == (1, 2)
    with pytest.raises(InputError, match="3 spacings for 2 runners"):
        pg.balance(ports, spacing_mm=[1.0, 2.0, 3.0])
    with pytest.raises(InputError, match="entry radii of 2 runners"):
        pg.balance(ports, entry_radii_mm=[1.0, 2.0, 3.0])


@pytest.mark.nightly
def test_eight_sheets_are_told_apart_within_their_doubt():
    """Each runner's readings with errors of their own, and one zero in all: differences and edges within ±."""
    rng = np.random.default_rng(20)
    misses: dict[str, list[float]] = {"volume": [], "area": [], "edge": []}
    for _ in range(12):
        zero = rng.normal(0.0, 0.02)
        found = balance([runner.sheet(rng, zero) for runner in EIGHT])
        assert found.odd == 3
        others = others_of(8, 3)
        for key, against, true in (
            ("volume", found.volume, np.array([r.volume for r in EIGHT])),
            ("area", found.least_area, np.array([r.least_area for r in EIGHT])),
        ):
            misses[key] += list((against.off - (true - others @ true)) / against.off_u)
    # An edge is read in a moment, and a hundred of them would swing by 3 % with the draw.
    for _ in range(50):
        zero = rng.normal(0.0, 0.02)
        for runner in EIGHT:
            edge = flare(runner.sheet(rng, zero))
            misses["edge"].append(float((edge.radius[0] - runner.edge) / edge.radius_u[0]))
    for key, missed in misses.items():
        within = np.mean(np.abs(missed) <= 2.0)
        print(key, f"within 2 u {within:.0%}, bias {np.mean(missed):+.2f} u, worst {np.abs(missed).max():.1f} u")
        assert within >= 0.9, key


def scanned(runner: Runner, rng: np.random.Generator, place: float, noise: float = 0.02):
    mesh = runner.mesh()
    points = mesh.vertices + noise * rng.standard_normal((len(mesh.vertices), 1)) * mesh.vertex_normals
    points = points + np.array([0.0, place, 0.0])
    return port_from_scan(points, mesh.faces, ScanOptions(entry=(0.0, place, 0.0), up=(0.0, 0.0, 1.0)))


@pytest.mark.nightly
def test_eight_scans_in_one_frame_are_told_apart_within_their_doubt():
    rng = np.random.default_rng(5)
    ports = [scanned(runner, rng, -PITCH * k) for k, runner in enumerate(EIGHT)]
    found = balance(ports, gasket=HOLE, layout=Layout(np.full(7, PITCH), one_frame=True))
    assert found.odd == 3
    others = others_of(8, 3)

    def missed(against: Against, true: np.ndarray) -> np.ndarray:
        return (against.off - (true - others @ true)) / against.off_u

    for name, missing in (
        ("volume", missed(found.volume, np.array([r.volume for r in EIGHT]))),
        ("area", missed(found.least_area, np.array([r.least_area for r in EIGHT]))),
        ("edge", np.concatenate([(e.radius - r.edge) / e.radius_u for e, r in zip(found.edges, EIGHT, strict=True)])),
    ):
        within = np.mean(np.abs(missing) <= 2.0)
        print(name, f"within 2 u {within:.0%}, bias {missing.mean():+.2f} u, worst {np.abs(missing).max():.1f} u")
        assert within >= 0.85, name
    shifts = np.array([r.shift for r in EIGHT])
    print("shift", np.abs(found.gasket_shifts - shifts).max())
    assert found.gasket_shifts == pytest.approx(shifts, abs=0.03)
    entries = np.array([opening.shift for opening in found.entries])
    assert entries == pytest.approx(shifts - shifts.mean(axis=0), abs=0.03)
    for divider, one, other, k in zip(found.dividers, EIGHT[:-1], EIGHT[1:], range(7), strict=True):

        def mouth(runner: Runner, place: int) -> shapely.Polygon:
            size = runner.bore[0] + runner.edge
            return shapely.Point(runner.shift[0] - place * PITCH, runner.shift[1]).buffer(size, 256)

        true = mouth(one, k).distance(mouth(other, k + 1))
        print(f"divider {k + 1} {divider.edge:.2f} ± {2.0 * divider.edge_u:.2f} mm, true {true:.2f}")
        assert abs(divider.edge - true) <= 2.0 * divider.edge_u + 0.05
        assert divider.past == pytest.approx(true + one.edge + other.edge, abs=0.35)


def test_one_frame_needs_the_spacing_for_the_gasket():
    ports = [Runner().sheet()] * 2
    with pytest.raises(InputError, match="in one frame"):
        balance(ports, gasket=HOLE, layout=Layout(None, one_frame=True))
