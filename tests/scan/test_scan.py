"""What a scan measures is what the clean shape measures, whatever the scanner and the mold did to it."""

import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import least_squares

from portgeo.core.errors import GeometryError, InputError
from portgeo.core.port import Port, sections_at
from portgeo.core.section import measure_section
from portgeo.core.triangles import volume
from portgeo.measuring import Survey, survey
from portgeo.scan import ScanOptions, judge_unit, port_from_scan, scale_factor
from portgeo.scan.noise import scan_noise
from portgeo.scan.repair import surface_area
from tests.scan import make

SHAPE = make.Shape()
CONSTANT = make.Shape(legs=(45.0, 25.0), radius=44.0, height=(40.0, 40.0), width=(34.0, 30.0), square=(4.0, 2.0))


@dataclass(frozen=True)
class Measured:
    port: Port
    found: Survey
    codes: tuple[str, ...]


def measured(scan: make.Scan, **options) -> Measured:
    port = port_from_scan(scan.vertices, scan.faces, ScanOptions(**options))
    return Measured(port, survey(port), tuple(w.code for w in port.warnings))


def true_short_side(shape: make.Shape) -> float:
    """The circle through the bent part of the shape's own floor line (scipy), in closed form.

    That is where its curvature, a mean over a tenth of the height, is at least half of the greatest.
    """
    s = np.linspace(0.0, shape.length, 20001)
    points, _, ups = shape.spine(s)
    half_height = shape.size(s)[1]
    line = (points - half_height[:, None] * ups)[:, [0, 2]]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    even = np.linspace(0.0, along[-1], 20001)
    line = np.column_stack([np.interp(even, along, line[:, k]) for k in range(2)])
    slope = np.gradient(line, even, axis=0)
    heading = np.unwrap(np.arctan2(slope[:, 1], slope[:, 0]))
    mean_height = 2.0 * np.mean(half_height[(s > shape.legs[0]) & (s < shape.length - shape.legs[1])])
    half = 0.05 * mean_height
    bend = np.interp(even - half, even, heading) - np.interp(even + half, even, heading)
    top = int(np.argmax(bend))
    less = np.flatnonzero(bend < bend[top] / 2.0)
    part = line[less[less < top][-1] + 1 : less[less > top][0]]
    off = lambda c: np.linalg.norm(part - c[:2], axis=1) - c[2]  # noqa: E731
    start = [*part.mean(axis=0), half]
    return float(abs(least_squares(off, start, x_scale=10.0).x[2]))


def assert_is_the_shape(m: Measured, shape: make.Shape, volume_share: float = 3e-4, length: float = 0.02) -> None:
    """A rough scan: volume within 0.03 %, nine areas in ten within 0.15 %, none off by 0.25 %."""
    assert m.found.volume == pytest.approx(shape.volume, rel=volume_share)
    off = np.abs(m.found.area / shape.area(m.found.stations) - 1.0)
    assert np.mean(off < 0.0015) >= 0.9
    assert off.max() < 0.0025
    assert m.found.length == pytest.approx(shape.length, abs=length)


@pytest.fixture(scope="module")
def clean() -> make.Scan:
    return make.tube(SHAPE, 1.0)


@pytest.fixture(scope="module")
def rough(clean) -> make.Scan:
    return make.roughened(clean, 0.05, np.random.default_rng(4))


@pytest.fixture(scope="module")
def rough_measured(rough) -> Measured:
    return measured(rough)


def test_a_clean_shape_is_measured_within_a_thousandth():
    m = measured(make.tube(SHAPE, 0.7))
    assert m.found.volume == pytest.approx(SHAPE.volume, rel=1e-4)
    assert np.abs(m.found.area / SHAPE.area(m.found.stations) - 1.0).max() < 1e-3
    assert m.found.length == pytest.approx(SHAPE.length, rel=1e-4)
    assert m.port.noise < 0.002


def test_the_port_frame_is_at_the_entry_with_the_roof_outside_the_turn(rough):
    pose = make.random_pose(np.random.default_rng(1))
    m = measured(make.posed(rough, pose))
    entry, heading, up = (v[0] for v in SHAPE.spine(np.array([0.0])))
    assert m.port.to_source(np.zeros(3)) == pytest.approx(pose[:3, :3] @ entry + pose[:3, 3], abs=0.1)
    assert m.port.direction_to_source(np.array([1.0, 0, 0])) @ (pose[:3, :3] @ heading) > 0.9999
    assert m.port.direction_to_source(np.array([0, 0, 1.0])) @ (pose[:3, :3] @ up) > 0.9999
    assert volume(m.port.vertices, m.port.faces) > 0
    assert np.linalg.det(m.port.frame[:3, :3]) == pytest.approx(1.0)


def test_holes_debris_and_pose(rough):
    rng = np.random.default_rng(2)
    places = SHAPE.rings(np.array([20.0, 70.0, 90.0]), 100)[[0, 1, 2], [10, 30, 80]]
    scan = make.with_debris(make.holed(rough, places, 4.0), rng)
    m = measured(make.shuffled(make.posed(scan, make.random_pose(rng)), rng))
    assert_is_the_shape(m, SHAPE)
    assert {"holes_closed", "debris_dropped"} <= set(m.codes)
    holes = next(w for w in m.port.warnings if w.code == "holes_closed")
    assert 100.0 < holes.values["made"] < 300.0  # three of radius 4 mm: 151 mm2, and their ragged rims


def test_a_scan_open_at_both_ends():
    scan = make.roughened(make.tube(SHAPE, 1.0, caps=(False, False)), 0.05, np.random.default_rng(5))
    assert_is_the_shape(measured(scan), SHAPE)


def test_a_spill_over_the_flange_is_cut_at_the_flange(clean):
    scan = make.roughened(make.with_spill(clean, SHAPE, 1.5, 18.0, 1.2), 0.05, np.random.default_rng(6))
    m = measured(scan)
    assert "spill_cut" in m.codes
    assert_is_the_shape(m, SHAPE)
    assert m.port.to_source(np.zeros(3))[0] == pytest.approx(0.0, abs=0.05)


def test_a_seat_and_a_bit_of_chamber_are_trimmed(clean):
    scan = make.roughened(make.with_seat(clean, SHAPE, 1.5, 4.0, 1.2), 0.05, np.random.default_rng(7))
    m = measured(scan)
    assert "seat_cut" in m.codes
    assert_is_the_shape(m, SHAPE, volume_share=1.5e-3, length=0.3)  # where the seat's edge begins is rough


def test_a_guide_boss_and_stem_are_taken_off(clean):
    made, taken = make.with_boss(clean, SHAPE, 12.0, 7.0, 1.2)
    m = measured(make.roughened(made, 0.03, np.random.default_rng(8)))
    assert m.found.volume == pytest.approx(SHAPE.volume - taken, rel=0.001)
    stem = np.pi / 4 * 7.0**2
    near_exit = sections_at(m.port, np.array([m.port.centreline.length - 8.0]))[0]
    assert len(near_exit.islands) == 1
    expected = SHAPE.area(np.array([SHAPE.length - 8.0]))[0] - stem
    assert measure_section(near_exit).area == pytest.approx(expected, rel=0.004)
    assert m.found.length == pytest.approx(SHAPE.length, abs=0.1)  # the line does not jump at the boss


def test_a_stem_that_the_mold_lacks_is_taken_off(rough, rough_measured):
    without, with_stem = rough_measured, measured(rough, with_stem_mm=7.0)
    section = sections_at(with_stem.port, np.array([with_stem.port.centreline.length - 3.0]))[0]
    plain = sections_at(without.port, np.array([without.port.centreline.length - 3.0]))[0]
    difference = measure_section(plain).area - measure_section(section).area
    assert difference == pytest.approx(np.pi / 4 * 49.0, rel=0.01)
    assert with_stem.found.volume < without.found.volume - np.pi / 4 * 49.0 * 30.0


def test_an_end_cut_by_hand_is_trimmed_to_the_last_whole_section(clean):
    rng = np.random.default_rng(9)
    scan = make.roughened(make.cut_by_hand(clean, SHAPE, 0.6, 1.2, rng), 0.03, rng)
    m = measured(scan)
    assert "end_trimmed" in m.codes
    assert SHAPE.length - 10.0 < m.found.length < SHAPE.length - 3.0
    off = np.abs(m.found.area / SHAPE.area(m.found.stations) - 1.0)
    assert off.max() < 0.012


@pytest.mark.parametrize(
    ("edges", "poses"), [((1.0, 0.7), 1), pytest.param((1.0, 0.8, 0.6), 2, marks=pytest.mark.nightly)]
)
def test_pose_order_and_density_change_nothing_beyond_the_noise(edges, poses):
    rng = np.random.default_rng(10)
    volumes, least, radii = [], [], []
    for edge in edges:
        scan = make.roughened(make.tube(CONSTANT, edge), 0.02, rng)
        for _ in range(poses):
            m = measured(make.shuffled(make.posed(scan, make.random_pose(rng)), rng))
            volumes.append(m.found.volume)
            least.append(m.found.least_area)
            radii.append(m.found.short_side.radius)
    assert np.ptp(volumes) / np.mean(volumes) < 1.5e-4
    assert np.ptp(least) / np.mean(least) < 8e-4
    assert np.ptp(radii) / np.mean(radii) < 0.005
    assert np.mean(radii) == pytest.approx(true_short_side(CONSTANT), rel=0.003)


@pytest.mark.parametrize("count", [2, pytest.param(12, marks=pytest.mark.nightly)])
def test_stated_uncertainties_hold_the_truth(count):
    """JCGM 100: an interval of two standard uncertainties holds 95 times in 100."""
    rng = np.random.default_rng(11)
    inside = []
    for _ in range(count):
        scan = make.roughened(make.tube(CONSTANT, rng.uniform(0.7, 1.4)), rng.uniform(0.02, 0.08), rng)
        found = measured(make.posed(scan, make.random_pose(rng))).found
        inside.append(abs(found.volume - CONSTANT.volume) < 2 * found.volume_u)
        inside.append(abs(found.short_side.radius - true_short_side(CONSTANT)) < 2 * found.short_side.radius_u)
        off = np.abs(found.area - CONSTANT.area(found.stations)) / found.area_u
        inside.extend(off < 2.0)
    assert np.mean(inside) >= 0.95


@pytest.mark.parametrize(("noise", "edge"), [(0.0, 1.0), (0.01, 0.5), (0.05, 1.0), (0.1, 0.6)])
def test_noise_is_estimated_from_the_mesh_itself(noise, edge):
    scan = make.roughened(make.tube(SHAPE, edge), noise, np.random.default_rng(12))
    found = scan_noise(scan.vertices, surface_area(scan.vertices, scan.faces))
    assert found == pytest.approx(noise, rel=0.15, abs=0.002)


def test_planes_of_a_tight_bend_do_not_cross_and_the_stations_are_named():
    tight = make.Shape(legs=(40.0, 30.0), radius=24.5, turn=np.radians(90.0))  # floor radius about 2 mm
    m = measured(make.tube(tight, 1.5))
    notice = next(w for w in m.port.warnings if w.code == "planes_relaxed")
    assert 20.0 < notice.values["start"] < notice.values["end"] < tight.length
    stations = np.linspace(0.0, m.found.length, 60)
    sections = sections_at(m.port, stations)
    for one, other in itertools.pairwise(sections):
        ring = other.in_space(other.outline)
        assert ((ring - one.origin) @ one.frame[0]).min() > -0.05


def test_the_line_does_not_wiggle_near_the_ends(rough_measured):
    s = np.linspace(0.0, 12.0, 25)
    line = np.array([section.origin for section in sections_at(rough_measured.port, s)])
    assert np.abs(line[:, 1:]).max() < 0.05  # the leg is straight for 50 mm


def test_a_u_turn_is_followed_round():
    shape = make.Shape(legs=(50.0, 50.0), radius=30.0, turn=np.pi, height=(36.0, 34.0))
    m = measured(make.tube(shape, 1.2))
    assert m.found.length == pytest.approx(shape.length, abs=0.05)
    assert m.found.volume == pytest.approx(shape.volume, rel=3e-4)


def test_a_straight_runner_takes_its_roof_from_the_user():
    shape = make.Shape(legs=(60.0, 60.0), radius=1e6, turn=1e-5)
    scan = make.tube(shape, 1.5)
    assert "roof_unsure" in measured(scan).codes
    m = measured(scan, up=np.array([0.0, 1.0, 0.0]))
    assert "roof_rule" in m.codes
    assert m.port.direction_to_source(np.array([0, 0, 1.0])) == pytest.approx([0, 1, 0], abs=0.01)


def test_entry_and_exit_points_overrule_the_finder(clean):
    exit_point = SHAPE.spine(np.array([SHAPE.length]))[0][0]
    m = measured(clean, entry=exit_point)
    assert m.port.to_source(np.zeros(3)) == pytest.approx(exit_point, abs=0.1)
    short = measured(clean, entry=np.zeros(3), exit=SHAPE.spine(np.array([90.0]))[0][0])
    assert short.found.length == pytest.approx(90.0, abs=1.0)


def test_a_mesh_inside_out_or_wound_both_ways_or_unjoined_is_put_right(clean):
    mixed = clean.faces.copy()
    mixed[::7] = mixed[::7, ::-1]
    soup = make.Scan(clean.vertices[clean.faces].reshape(-1, 3), np.arange(3 * len(clean.faces)).reshape(-1, 3))
    for scan in (make.Scan(clean.vertices, clean.faces[:, ::-1]), make.Scan(clean.vertices, mixed), soup):
        port = port_from_scan(scan.vertices, scan.faces)
        assert volume(port.vertices, port.faces) == pytest.approx(SHAPE.volume, rel=5e-4)


def _pair(clean: make.Scan) -> make.Scan:
    return make.Scan(
        np.vstack([clean.vertices, clean.vertices + [0, 120, 0]]),
        np.vstack([clean.faces, clean.faces + len(clean.vertices)]),
    )


def test_two_molds_in_one_file_are_told_apart_by_a_point(clean):
    two = _pair(clean)
    with pytest.raises(GeometryError, match="2 separate bodies"):
        port_from_scan(two.vertices, two.faces)
    m = measured(two, entry=np.array([0.0, 120.0, 0.0]))
    assert m.found.volume == pytest.approx(SHAPE.volume, rel=5e-4)


def test_a_siamesed_runner_is_no_one_passage():
    """Named ends do not make it one: where one leg ends and the other begins nobody has said."""
    leg = make.Shape(legs=(70.0, 40.0), radius=60.0, turn=np.radians(45.0), width=(32.0, 30.0), height=(36.0, 32.0))
    scan = make.siamesed(leg, 1.8)
    named = {"entry": np.zeros(3), "exit": leg.spine(np.array([leg.length]))[0][0]}
    for options, hint in (({}, "--leg"), (named, "Leave --exit out")):
        with pytest.raises(GeometryError, match="splits") as refusal:
            port_from_scan(scan.vertices, scan.faces, ScanOptions(**options))
        assert hint in refusal.value.hint


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("torus", "closed ring"),
        ("sphere", "no opening|lump"),
        ("sheet", "sheet"),
        ("plate", "no inside"),
        ("nan", "not a number"),
        ("shreds", "do not join"),
        ("few", "only 4 triangles"),
        ("stray", "vertex that is not there"),
    ],
)
def test_what_is_no_port_is_refused_with_a_reason_and_a_mend(name, reason, clean):
    vertices, faces = make.no_port(name, clean)
    with pytest.raises(GeometryError, match=reason) as refusal:
        port_from_scan(vertices, faces)
    assert refusal.value.hint


def test_a_hole_too_large_to_close_is_refused(clean):
    scan = make.holed(clean, SHAPE.rings(np.array([40.0]), 100)[0, [10]], 16.0)
    with pytest.raises(GeometryError, match="hole"):
        port_from_scan(scan.vertices, scan.faces)


def test_the_unit_is_judged_by_size_and_asked_for_where_both_fit():
    box = np.array([[0.0, 0, 0], [1.0, 0.4, 0.4]])
    assert judge_unit(box * 130.0)[0] == "mm"
    unit, notice = judge_unit(box * 5.1)
    assert unit == "in"
    assert notice.values["as_inches"] == pytest.approx(129.54)
    assert str(judge_unit(box * 130.0, "port 3.stl")[1]).startswith("port 3.stl does not give its unit")
    with pytest.raises(InputError, match="fits both"):
        judge_unit(box * 28.0)
    with pytest.raises(InputError, match="fits neither"):
        judge_unit(box * 5000.0)


def test_shrinkage_enlarges_and_scale_multiplies():
    assert scale_factor(shrink_percent=0.5) == pytest.approx(1.0 / 0.995)
    assert scale_factor(2.0) == 2.0
    assert scale_factor() == 1.0
    for bad in (
        {"scale": 0.0},
        {"scale": float("nan")},
        {"shrink_percent": 40.0},
        {"scale": 1.0, "shrink_percent": 1.0},
    ):
        with pytest.raises(InputError):
            scale_factor(**bad)


def test_the_same_scan_gives_the_same_port_to_the_last_bit(rough, rough_measured):
    one, other = rough_measured.port, port_from_scan(rough.vertices, rough.faces)
    assert one.vertices.tobytes() == other.vertices.tobytes()
    assert one.centreline.points.tobytes() == other.centreline.points.tobytes()


def test_a_wall_that_passes_through_itself_is_told_of_where_it_does():
    scan = make.tube(make.Shape(), 1.0)
    assert not [n for n in survey(port_from_scan(scan.vertices, scan.faces)).warnings if n.code == "cuts_itself"]
    place = np.array([25.0, 16.0, 0.0])  # a dent in the left wall that comes out through the right one
    off = np.linalg.norm(scan.vertices - place, axis=1)
    dent = 40.0 * np.clip(1.0 - off / 7.0, 0.0, 1.0)[:, None] * np.array([0.0, -1.0, 0.0])
    found = [n for n in survey(port_from_scan(scan.vertices + dent, scan.faces)).warnings if n.code == "cuts_itself"]
    assert len(found) == 1
    assert 20.0 < found[0].values["start"] < 25.0 < found[0].values["end"] < 30.0
