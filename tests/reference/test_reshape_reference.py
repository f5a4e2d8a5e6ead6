"""Cut plans, reach and templates against closed forms and published formulas."""

import re

import numpy as np
import pypdfium2
import pytest
import shapely
from scipy import sparse
from scipy.optimize import minimize

from portgeo.core.port import port_from_readings, sections_at
from portgeo.core.section import Reading
from portgeo.core.units import Display
from portgeo.measuring import survey
from portgeo.measuring.sides import side_points
from portgeo.present.paper.template_pages import WORD_MM, pages
from portgeo.present.paper.templates import pdf
from portgeo.reshape.gauges import Gauge, Line, gauges
from portgeo.reshape.grid import areas_after, wall_grid
from portgeo.reshape.plan import plan_cut
from portgeo.reshape.reach import Tool, reach
from portgeo.reshape.shortside import short_side_cut
from portgeo.reshape.solve import _programme, blend_of, solve
from portgeo.reshape.target import AreaWanted, ShortSideWanted, Target


@pytest.fixture(scope="module")
def tube():
    """A straight round tube, 160 mm long, 36 mm bore."""
    return port_from_readings(
        [Reading(k + 2, s, shape="round", height=36.0, width=36.0) for k, s in enumerate((0.0, 160.0))]
    )


@pytest.fixture(scope="module")
def bend():
    """A bend of one section, 40 x 30 mm with 5 mm corners, its short side 12 mm through 90 degrees."""
    return _bend(40.0, 30.0, 5.0, (50.0, 30.0), 32.0, 90.0)


def _solve_on(port, stations, places, wanted, fade, fill=0.0, deepest=50.0):
    grid = wall_grid(port, stations, places)
    blend = blend_of(grid, np.arange(len(stations)), np.arange(0, places, 4))
    zero = np.zeros(grid.lean.shape)
    found = solve(grid, blend, zero, zero + deepest, zero - fill, wanted(grid), fade)
    return grid, found


def test_a_tube_opened_evenly_has_the_depth_of_its_annulus(tube, check):
    # Area of an annulus (any mensuration handbook): pi ((r + d)^2 - r^2).
    depth = 0.8
    gain = np.pi * ((18.0 + depth) ** 2 - 18.0**2)
    stations = np.linspace(0.0, 160.0, 41)
    _, found = _solve_on(tube, stations, 192, lambda grid: grid.areas + gain, 8.0)
    # The grid's polygon of 192 sides gains 0.02 % less than its circle.
    check("tube opened evenly: planned depth, mm", "area of an annulus", found.depth, depth, abs=0.002)


def test_one_station_opened_fades_as_a_beam_on_an_elastic_bed(tube, check):
    # M. Hetenyi, Beams on Elastic Foundation (1946), infinite beam, point load (from memory; it is the
    # solution of b^4 w'''' + w = 0 with a jump in w'''): w = w0 e^-x (cos x + sin x), x = |s| / (sqrt(2) b).
    # The tube's curvature does not enter, as the depth does not change round it. With epoxy allowed
    # the depth may change sign, as the beam's does.
    fade, stations = 8.0, np.linspace(0.0, 160.0, 161)
    middle = 80
    grid, found = _solve_on(
        tube,
        stations,
        64,
        lambda grid: np.where(np.arange(161) == middle, grid.areas + 60.0, np.nan),
        fade,
        fill=10.0,
    )
    x = np.abs(grid.stations - 80.0) / (np.sqrt(2.0) * fade)
    beam = found.depth[middle].mean() * np.exp(-x) * (np.cos(x) + np.sin(x))
    source = "Hetenyi, Beams on Elastic Foundation (1946), from memory"
    limit = round(0.01 * float(found.depth.max()), 4)
    check("one station opened: fade of the depth, mm", source, found.depth, beam[:, None], abs=limit)
    assert areas_after(grid, found.depth)[middle] - grid.areas[middle] == pytest.approx(60.0, rel=1e-4)


def test_the_programme_agrees_with_another_solver(check):
    # Second opinion: scipy's SLSQP on the same quadratic programme.
    rng = np.random.default_rng(5)
    factor = rng.normal(size=(12, 12))
    hessian = sparse.csc_matrix(factor @ factor.T + np.eye(12))
    jacobian = sparse.csr_matrix(rng.random((3, 12)) / 10.0)
    top = rng.uniform(0.3, 1.5, 12)
    short = jacobian @ (0.8 * top)
    x, cost, gap = _programme(hessian, jacobian, short, (top, np.zeros(12)))
    other = minimize(
        lambda v: 0.5 * v @ (hessian @ v),
        top / 2.0,
        jac=lambda v: hessian @ v,
        method="SLSQP",
        bounds=[(0.0, t) for t in top],
        constraints={"type": "eq", "fun": lambda v: jacobian @ v - short},
        options={"ftol": 1e-13, "maxiter": 500},
    )
    assert other.success and gap < 1e-6
    check("cut's programme: cost at the optimum", "scipy, SLSQP", cost, other.fun, rel=1e-6)
    apart = np.abs(x - other.x).max()
    check("cut's programme: greatest difference from the optimum", "scipy, SLSQP", apart, 0.0, abs=1e-4)


def _bend(height, width, corner, legs, radius, degrees):
    turn = np.radians(degrees)
    stations = np.cumsum([0.0, legs[0], radius * turn, legs[1]])
    rows = zip(stations, (0.0, 0.0, turn, turn), strict=True)
    return port_from_readings(
        [
            Reading(k + 2, float(s), height=height, width=width, corner_roof=corner, corner_floor=corner, turn=t)
            for k, (s, t) in enumerate(rows)
        ]
    )


@pytest.mark.parametrize(("degrees", "wanted"), [(90.0, 18.0), (60.0, 22.0)])
def test_a_short_side_is_rounded_as_a_fillet(degrees, wanted, check):
    # A fillet of radius r between two lines that turn by t leaves out, at the corner, r^2 (tan(t/2) - t/2)
    # (plane geometry: two right triangles less a sector). What lies between two fillets of a floor w wide
    # is w times their difference; the deepest of it is (R - r) (1 / cos(t/2) - 1).
    port = _bend(40.0, 30.0, 0.3, (50.0, 40.0), 32.0, degrees)
    plan = plan_cut(port, Target(short_side=ShortSideWanted(wanted), greatest_depth=5.0))
    half = np.radians(degrees) / 2.0
    removed = 30.0 * (wanted**2 - 12.0**2) * (np.tan(half) - half)
    what = f"short side from 12 to {wanted:.0f} mm through {degrees:.0f} degrees: "
    check(what + "removed, mm3", "plane geometry, fillets", plan.removed, removed, rel=0.02)
    deepest = (wanted - 12.0) * (1.0 / np.cos(half) - 1.0)
    check(what + "deepest cut, mm", "plane geometry, fillets", plan.depth.max(), deepest, rel=0.01)
    check(what + "radius reached, mm", "as wanted", survey(plan.after).short_side.radius, wanted, rel=0.02)

    # Tangent: the floor line's heading runs from 0 to the whole turn without a step of a degree.
    stations = plan.grid.stations
    plane = plan.grid.bend
    points = side_points(sections_at(plan.after, stations), plane, True)
    run = np.diff(np.column_stack([points @ plane.ahead, points @ plane.aside]), axis=0)
    heading = np.degrees(np.unwrap(np.arctan2(run[:, 1], run[:, 0])))
    length = np.linalg.norm(run, axis=1)
    at_arc = np.degrees((length[:-1] + length[1:]) / 2.0 / wanted)  # what an arc turns from chord to chord
    step = max((np.diff(heading) - at_arc).max(), 0.0)
    check(what + "heading's greatest step, degrees", "tangent arc", step, 0.0, abs=1.0)
    check(what + "headings at the ends, degrees", "as made", heading[[0, -1]], [0.0, degrees], abs=0.1)


def test_a_straight_tube_is_reached_as_far_as_the_tool_is_long(tube, check):
    # The ball touches where its centre is; its tip is half a head further: depth = free length - head / 2.
    tool = Tool(head=9.5, head_length=9.5, shank=6.35, collet=20.0, free_length=127.0)
    found = reach(tube, tool)
    for at_exit in (False, True):
        whole, places = found.deepest(at_exit)
        what = f"straight tube: reach from the {'exit' if at_exit else 'entry'}, mm"
        check(what, "free length less half the head", whole, 127.0 - 9.5 / 2.0, abs=0.01)
        assert places == pytest.approx(whole, abs=0.01)
    # Both ends see the middle 2 * 122.25 - 160 mm of 160 (less the two rims of 0.5 mm).
    assert found.share(3) == pytest.approx((2.0 * 122.25 - 160.0) / 160.0, abs=0.03)
    assert found.share(0) == 0.0
    _, longest = found.deepest()[0], np.nanmax(found.from_entry)
    assert longest == pytest.approx(159.5 + 9.5 / 2.0, abs=0.01)


def test_the_rim_of_a_flared_opening_is_reached_from_outside_it():
    # A cone that opens by 45 degrees at its mouth: a ball on its wall less than r sin(45) from the mouth has its
    # centre outside the plane (plane trigonometry), and a tool held straight out gets to it all the same.
    rows = [
        Reading(k + 2, s, shape="round", height=d, width=d) for k, (s, d) in enumerate([(0, 30), (40, 30), (50, 50)])
    ]
    found = reach(port_from_readings(rows), Tool(6.0, 6.0, 3.0, 12.0, 60.0))
    near = found.grid.stations > 50.0 - 3.0 * np.sin(np.pi / 4.0) / 2.0
    assert near.any() and np.isfinite(found.from_exit[near]).all()
    assert found.from_exit[near].max() < 6.0  # hardly more than half a head
    assert found.deepest(at_exit=True)[0] > 40.0


def test_an_elbow_is_seen_past_the_inside_of_its_turn(check):
    # A straight line that clears a circle of radius a, between points at radii p and q from its centre, spans
    # at most arccos(a / p) + arccos(a / q) (two right triangles at the point of touch). With a rod of radius s
    # and a ball of radius h: a = inside + s; at the opening p = outside - s; on the outer wall q = outside - h,
    # on the inner wall q = inside + h.
    inside, outside, ball, rod = 20.0, 60.0, 2.0, 1.0
    port = _bend_only(inside, outside, np.radians(150.0))
    middle = (inside + outside) / 2.0
    grid = wall_grid(port, np.linspace(0.5, port.centreline.length - 0.5, 160), 24)
    found = reach(port, Tool(2 * ball, 2 * ball, 2 * rod, 6.0, 500.0), grid=grid)
    for column, at in ((0, outside - ball), (12, inside + ball)):
        seen = np.isfinite(found.from_entry[:, column])
        reached = grid.stations[np.flatnonzero(seen)[-1]] / middle
        bound = np.arccos((inside + rod) / (outside - rod)) + np.arccos((inside + rod) / at)
        assert seen[: int(seen.sum())].all()
        # Rows are 0.65 mm apart, 0.9 degrees; the axis is tried at 32 points round the opening.
        what = f"elbow: reach past the turn on the {'outer' if column == 0 else 'inner'} wall, degrees"
        check(what, "two right triangles", np.degrees(reached), np.degrees(bound), abs=2.0)
        assert np.degrees(reached) < np.degrees(bound) + 0.2


def _bend_only(inside, outside, turn):
    middle = (inside + outside) / 2.0
    return port_from_readings(
        [
            Reading(2, 0.0, height=outside - inside, width=30.0, corner_roof=0.5, corner_floor=0.5),
            Reading(
                3, middle * turn, height=outside - inside, width=30.0, corner_roof=0.5, corner_floor=0.5, turn=turn
            ),
        ]
    )


DPI = 600
PIXEL_MM = 25.4 / DPI


def _dark(data, page):
    bitmap = pypdfium2.PdfDocument(data)[page].render(scale=DPI / 72.0, grayscale=True)
    return bitmap.to_numpy()[..., 0] < 128 if bitmap.to_numpy().ndim == 3 else bitmap.to_numpy() < 128


def _runs(line):
    """Return (start, end) of runs of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], line, [False]]).astype(int)))
    return edge.reshape(-1, 2)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_printed_template_measures_its_bars_and_a_sections_height(bend, paper, check):
    made = [g for g in gauges(bend, np.array([20.0])) if g.name == "section"]
    laid = pages(made, Display("mm"), "bend", paper)
    image = _dark(pdf(laid), 0)
    what, source = f"template on {paper}, rasterised at {DPI} dpi: ", "pypdfium2"
    size = 210.0 if paper == "A4" else 215.9
    check(what + "width of the page, mm", source, image.shape[1] * PIXEL_MM, size, abs=0.1)
    # Bars: the long rows of dark; their length is from the middle of one tick to the middle of the other.
    bars = []
    for row in range(image.shape[0]):
        for start, end in _runs(image[row]):
            if (end - start) * PIXEL_MM > 45.0:
                bars.append((row, start, end))
    lengths = {}
    for row, start, end in bars:
        above = _runs(image[row - 20, max(start - 4, 0) : end + 4])
        if len(above) == 2:
            lengths[round((end - start) * PIXEL_MM)] = np.diff(above.mean(axis=1))[0] * PIXEL_MM
    check(what + "50 mm bar, mm", source, lengths[50], 50.0, abs=0.1)
    check(what + "2 in bar, mm", source, lengths[51], 50.8, abs=0.1)
    # Height: down a column a third in from the section's left wall, the middles of roof and floor line.
    corner = next(s for s in laid[0].strokes if s.style == "cut").points.min(axis=0)
    top = round((laid[0].height - corner[1] - 42.0) / PIXEL_MM)
    lines = _runs(image[top : top + round(44.0 / PIXEL_MM), round((corner[0] + 10.0) / PIXEL_MM)])
    height = (lines[-1].mean() - lines[0].mean()) * PIXEL_MM  # between them are the section's own words
    check(what + "height of a 40 mm section, mm", source, height, 40.0, abs=0.1)


def _boxes(page):
    """Return a box round each gauge of a page, and one for each line of words, as long as its letters."""
    lines = [s.points for s in page.strokes if s.style == "cut"]
    words = [shapely.box(*w.at, w.at[0] + len(w.text) * WORD_MM * 0.5, w.at[1] + WORD_MM * 0.7) for w in page.words]
    return [shapely.Polygon(points) for points in lines], words


FEWEST_PAGES = 2  # of 29 gauges of a 30 by 40 mm bend


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_pages_of_gauges_are_full_numbered_and_nothing_on_them_overlaps(bend, paper):
    made = gauges(bend, np.linspace(5.0, 125.0, 9))
    laid = pages(made, Display("mm"), "bend", paper)
    assert sum(s.style == "cut" for page in laid for s in page.strokes) == len(made)
    for k, page in enumerate(laid):
        texts = [w.text for w in page.words]
        assert f"bend: page {k + 1} of {len(laid)}" in texts
        assert sum(s.style == "bar" for s in page.strokes) == 6  # one pair of bars
        plates, words = _boxes(page)
        assert shapely.union_all(plates).area == pytest.approx(sum(plate.area for plate in plates), rel=1e-6)
        assert shapely.union_all(words).area == pytest.approx(sum(word.area for word in words), rel=1e-6)
        # A word stands wholly in a gauge, off what is marked on it, or off all of them.
        marks = shapely.MultiLineString([s.points for s in page.strokes if s.style in ("mark", "today")])
        assert all(
            any(plate.contains(word) for plate in plates) or not word.intersects(shapely.union_all(plates))
            for word in words
        )
        assert not any(word.intersects(marks) for word in words)
        together = shapely.union_all([*plates, *words])
        assert shapely.box(12.0, 12.0, page.width - 12.0, page.height - 12.0).buffer(1e-6).contains(together)
        if k + 1 < len(laid):
            # No third of the page is empty: its lowest gauges come down to the foot, and with their gaps they fill it.
            assert min(s.points[:, 1].min() for s in page.strokes if s.style == "cut") < page.height / 3.0
            assert shapely.union_all([shapely.box(*plate.bounds) for plate in plates]).area > 0.35 * (
                page.width - 24.0
            ) * (page.height - 24.0)
    assert len(laid) <= FEWEST_PAGES


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_templates_come_page_by_page_in_the_order_of_the_port(bend, paper):
    """Who cuts them out has a station's outline, height and width on one page or the next, stations rising."""
    laid = pages(gauges(bend, np.linspace(5.0, 125.0, 9)), Display("mm"), "bend", paper)
    named = [re.match(r"at ([\d.]+) mm", w.text) for page in laid for w in page.words]
    stations = [float(name[1]) for name in named if name]
    assert stations == sorted(stations) and len(stations) == 27


def test_a_gauge_larger_than_paper_is_paged_and_every_page_has_its_bars():
    long = Gauge(
        "rule", None, (Line(np.array([[0.0, 0.0], [500.0, 0.0], [500.0, 300.0], [0.0, 300.0]]), True, "cut"),), {}
    )
    laid = pages([long], Display("mm"), "long", "A4")
    assert len(laid) > 4
    # Every millimetre of the outline is on some page: their windows, moved back, cover it.
    shown = []
    for page in laid:
        stroke = next(s for s in page.strokes if s.style == "cut")
        shown.append(shapely.box(*(page.clip - stroke.points.min(axis=0)).ravel()))
        assert sum(s.style == "bar" for s in page.strokes) >= 6
    # It is turned a quarter where that takes fewer pages.
    outline = shapely.LinearRing(stroke.points - stroke.points.min(axis=0))
    assert outline.length == pytest.approx(1600.0)
    assert shapely.union_all(shown).buffer(1e-6).contains(outline)


def test_known_cut_all_round_is_recovered_from_its_areas(check):
    # The cut is known because it was made: a bore opened by a raised cosine along it, even all round.
    # Smallness and smoothness leave no other answer, so areas alone give its depth back.
    grid, depth, port = _opened_tube()
    wanted = areas_after(grid, depth)
    areas = tuple(
        AreaWanted(float(s), float(s), float(a), float(a)) for s, a in zip(grid.stations, wanted, strict=True)
    )
    plan = plan_cut(port, Target(areas=areas))
    back = np.array([np.interp(plan.grid.stations, grid.stations, depth[:, 0])]).T
    off = np.sqrt(np.mean((plan.depth - back) ** 2))
    check("known cut from its areas: depth, root mean square off, mm", "as made", off, 0.0, abs=0.05)
    asked = ~np.isnan(plan.wanted)
    own, wanted = plan.area_after[asked], plan.wanted[asked]
    check("known cut from its areas: area at every station, mm2", "as made", own, wanted, rel=0.002)


def _opened_tube():
    port = port_from_readings(
        [Reading(k + 2, s, shape="round", height=34.0, width=34.0) for k, s in enumerate((0.0, 120.0))]
    )
    grid = wall_grid(port, np.linspace(0.0, 120.0, 49), 96)
    bump = np.where(np.abs(grid.stations - 60.0) < 40.0, 0.5 + 0.5 * np.cos((grid.stations - 60.0) * np.pi / 40.0), 0.0)
    return grid, 1.5 * np.repeat(bump[:, None], 96, axis=1), port


def test_short_side_that_is_round_enough_is_left_alone(bend):
    grid = wall_grid(bend, np.linspace(0.0, bend.centreline.length, 120), 96)
    cut = short_side_cut(grid, ShortSideWanted(11.5), np.full(grid.lean.shape, 9.0))
    assert cut.depth.max() < 0.01
