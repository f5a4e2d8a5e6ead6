"""A survey says what the port is, and remarks on what a good porter would."""

from dataclasses import replace

import numpy as np
import pytest

import portgeo as pg
from portgeo.comparing.comparison import compare_ports
from portgeo.comparing.reading_error import reading_errors
from portgeo.comparing.tube import walled
from portgeo.comparing.wedges import finely, wedges
from portgeo.core.plane import moments
from portgeo.core.port import port_from_readings
from portgeo.core.section import TOOLS, Reading, outline_of
from portgeo.core.units import Display
from portgeo.measuring import survey
from portgeo.measuring.bends import find_bends, inner_wall, meant_bend, port_bends
from portgeo.measuring.sense import rise_left
from portgeo.measuring.sheet_uncertainty import from_readings
from portgeo.measuring.sides import side
from portgeo.present.page.text import port_in_words
from portgeo.results.measured import Measured
from tests.conftest import elbow_readings, port_readings


def codes(found):
    return [notice.code for notice in found.warnings]


def straight(rows):
    """Round sections of given diameters at given stations."""
    return [Reading(k + 2, float(s), shape="round", height=d, width=d) for k, (s, d) in enumerate(rows)]


def test_measured_stations_have_their_own_sections_areas(port, port_survey):
    found = port_survey
    at_rows = np.isin(found.stations, port.rows)
    exact = [moments(outline_of(r)).area for r in port_readings()]
    assert found.area[at_rows] == pytest.approx(exact, rel=2e-4)


def test_station_count_is_the_user_s(port):
    assert len(survey(port, 17).stations) == 17


def test_a_survey_does_not_depend_on_where_the_sheet_begins():
    """The same port with its first row turned and lifted is the same port."""
    readings = elbow_readings(44.0, 32.0, 9.0, (58.0, 22.0), 40.0, 75.0)
    moved = [replace(r, turn=r.turn + 0.4, rise=3.0, shift=-2.0) for r in readings]
    a, b = survey(port_from_readings(readings)), survey(port_from_readings(moved))
    # A section off the centreline sweeps by its own centroid's radius (Pappus): only the turn's part changes.
    area = a.area[0]
    assert b.volume - a.volume == pytest.approx(area * 3.0 * np.radians(75.0), rel=1e-3)
    assert b.area == pytest.approx(a.area, rel=1e-4)
    assert b.port.centreline.frames[0] == pytest.approx(np.eye(3), abs=1e-12)


def test_mirrored_ports_have_mirrored_frames_and_equal_numbers():
    readings = [replace(r, swing=0.3 * r.turn, shift=1.0) for r in port_readings()]
    other = [replace(r, swing=-r.swing, shift=-r.shift) for r in readings]
    a, b = survey(port_from_readings(readings)), survey(port_from_readings(other))
    assert a.volume == pytest.approx(b.volume, rel=1e-6)
    assert a.short_side.radius == pytest.approx(b.short_side.radius, rel=1e-4)
    assert a.short_side.apex * np.array([1, -1, 1]) == pytest.approx(b.short_side.apex, abs=0.2)


@pytest.mark.parametrize(
    ("turn", "swing", "wall"), [(1, 0, "floor"), (-1, 0.3, "roof"), (0.2, 1, "right"), (0, -1, "left"), (0, 0, "floor")]
)
def test_the_inside_of_the_turn_is_on_the_wall_that_the_sheet_turns_to(turn, swing, wall):
    readings = [replace(r, turn=turn * r.turn, swing=swing * r.turn) for r in port_readings()]
    port = port_from_readings(readings)
    assert inner_wall(meant_bend(port, port_bends(port))) == wall


def test_a_sheet_that_turns_to_its_roof_has_its_short_side_there_in_all_that_is_told():
    readings = [replace(r, turn=-r.turn) for r in elbow_readings(40.0, 30.0, 6.0, (20.0, 20.0), 35.0, 60.0)]
    found = survey(port_from_readings(readings), 3, readings_tried=False)
    record = Measured.of(found, None).to_dict()
    assert found.short_side.radius == pytest.approx(35.0 - 20.0, rel=1e-3)
    assert (record["short_side"]["wall"], record["long_side"]["wall"]) == ("roof", "floor")
    assert "it turns 60° towards the roof between" in port_in_words(record, "as cast", Display("mm"))
    assert "turns_to_roof" in codes(found)


def test_least_radius_is_that_of_the_tighter_part():
    """A turn of 40 mm centreline radius that tightens to 30: heights of 24 leave 28 and 18 at the floor."""
    turns = np.radians([0.0, 0.0, 45.0, 90.0, 90.0])
    stations = np.cumsum([0.0, 30.0, 40.0 * np.pi / 4, 30.0 * np.pi / 4, 30.0])
    readings = [
        Reading(k + 2, s, height=24.0, width=24.0, corner_roof=4.0, corner_floor=4.0, turn=t)
        for k, (s, t) in enumerate(zip(stations, turns, strict=True))
    ]
    found = survey(port_from_readings(readings)).short_side
    assert found.least_radius == pytest.approx(18.0, rel=0.02)
    assert 18.0 < found.radius < 28.0


def test_the_bent_part_is_told_from_five_to_ninety_five_percent_of_its_heading():
    angle = np.radians(np.concatenate([np.zeros(60), np.linspace(0, 80, 120), np.full(60, 80.0)]))
    line = np.cumsum(np.column_stack([np.cos(angle), np.zeros_like(angle), -np.sin(angle)]), axis=0)
    ahead = np.column_stack([np.cos(angle), np.zeros_like(angle), -np.sin(angle)])
    left = np.tile([0.0, 1.0, 0.0], (240, 1))
    frames = np.stack([ahead, left, np.cross(ahead, left)], axis=1)
    (bend,) = find_bends(np.arange(240.0), frames, 40.0)
    short = side(np.arange(240.0), line, bend, 40.0)
    radius = 119.0 / np.radians(80.0)
    assert short.station_to - short.station_from == pytest.approx(0.9 * 119.0, abs=2.0)
    assert short.radius == pytest.approx(radius, rel=2e-3)


def test_a_port_that_hardly_turns_has_no_short_side():
    readings = straight([(0, 40), (60, 40)])
    assert survey(port_from_readings([readings[0], replace(readings[1], turn=np.radians(2.0))])).short_side is None


def test_a_pinch_is_named_with_its_station_and_size():
    found = survey(port_from_readings(straight([(0, 40), (30, 38), (45, 36), (60, 38), (90, 37.5)])))
    (notice,) = [n for n in found.warnings if n.code == "pinch"]
    assert notice.values["station"] == pytest.approx(45.0, abs=0.5)
    assert notice.values["area"] == pytest.approx(np.pi * 18.0**2, rel=1e-3)
    assert notice.values["share"] == pytest.approx(1.0 - (36.0 / 38.0) ** 2, abs=0.001)


def test_a_reversing_taper_is_named():
    found = survey(port_from_readings(straight([(0, 36), (50, 40), (100, 37)])))
    (notice,) = [n for n in found.warnings if n.code == "taper_reverses"]
    assert notice.values["station"] == pytest.approx(50.0, abs=0.5)


def test_a_plain_taper_draws_no_remark():
    assert codes(survey(port_from_readings(straight([(0, 40), (50, 39), (100, 38)])))) == []


def test_a_cone_of_more_than_seven_degrees_is_sudden():
    half = np.tan(np.radians([6.0, 8.0]))
    calm, sudden = (survey(port_from_readings(straight([(0, 30), (60, 30 + 2 * 60 * t)]))) for t in half)
    assert "sudden_change" not in codes(calm)
    assert "sudden_change" in codes(sudden)


def test_a_dam_on_the_floor_is_named_with_its_height():
    readings = []
    for k, s in enumerate(np.linspace(0, 60, 13)):
        hump = 2.5 * np.exp(-(((s - 35.0) / 8.0) ** 2))
        readings.append(
            Reading(k + 2, float(s), height=44 - hump, width=32, corner_roof=6, corner_floor=6, rise=hump / 2)
        )
    turn = np.radians(70.0)
    end = replace(readings[-1], row=15, station=60 + 45 * turn, turn=turn)
    (notice,) = [n for n in survey(port_from_readings([*readings, end])).warnings if n.code == "dam"]
    assert notice.values["station"] == pytest.approx(35.0, abs=2.0)
    assert notice.values["height"] == pytest.approx(2.5, abs=0.3)


@pytest.mark.parametrize(("over", "wall"), [(1.0, "floor"), (-1.0, "roof")])
def test_a_hollow_in_a_level_floor_rises_by_its_own_depth(over, wall):
    """A sheet turned over, whose port turns towards its roof, has the dam of the same height on the roof."""
    rows = ((0, 0.0), (10, 0.0), (20, 2.5), (30, 2.5), (40, 0.0), (50, 0.0))
    readings = [
        Reading(k + 2, float(s), height=40 + deep, width=30, corner_roof=8, corner_floor=8, rise=-over * deep / 2)
        for k, (s, deep) in enumerate(rows)
    ]
    end = replace(readings[-1], row=8, station=90.0, turn=over * np.radians(50.0))
    found = survey(port_from_readings([*readings, end]), readings_tried=False)
    (notice,) = [n for n in found.warnings if n.code == "dam"]
    assert notice.values["height"] == pytest.approx(2.5, abs=0.05)
    assert notice.values["wall"] == wall


def test_the_doubtful_reading_is_blamed():
    """One row was read ten times worse than the rest; its width moves its area most."""
    readings = [
        replace(r, error=0.25 if r.row == 4 else 0.025)
        for r in (
            Reading(k + 2, 30.0 * k, height=50 - 4 * k, width=30, corner_roof=5, corner_floor=5) for k in range(4)
        )
    ]
    readings[3] = replace(readings[3], height=60.0)
    found = survey(port_from_readings(readings))
    assert found.blame.least_area[:2] == (4, "width")
    assert found.blame.volume[:2] == (4, "width")


def test_of_two_places_as_small_one_is_blamed_for_the_least_area_and_none_beside_them():
    """A reading there makes the least area smaller, though larger it would leave it to the other."""
    sizes = (40.0, 36.0, 38.0, 36.0, 40.0)
    readings = [Reading(k + 2, 20.0 * k, shape="round", height=d, width=d, error=0.025) for k, d in enumerate(sizes)]
    row, name, _ = survey(port_from_readings(readings)).blame.least_area
    assert row in (3, 5) and name == "height"


def budget_of(found, quantity):
    return {share.source: share.u for share in found.budget[quantity]}


def test_a_short_side_that_is_not_sure_says_what_to_measure_again():
    """Headings read badly are most of its doubt; one bad among good ones does nothing, for the rows beside it tell."""
    stations = np.array([0.0, 25.0, *np.linspace(50.0, 110.0, 13), 125.0])
    turns = np.interp(stations, [50.0, 110.0], [0.0, np.radians(75.0)])

    def surveyed(*errors):
        rows = zip(stations, turns, errors, strict=True)
        return survey(
            port_from_readings(
                [
                    Reading(k + 2, s, "round", 40.0, 40.0, turn=a, turn_error=np.radians(u))
                    for k, (s, a, u) in enumerate(rows)
                ]
            ),
            5,
        )

    found = surveyed(*[4.0] * 16)
    side, heading = found.short_side, budget_of(found, "short_side")["headings"]
    unsure = next(n for n in found.warnings if n.code == "unsure" and n.values["quantity"] == "short side")
    assert 2.0 * side.radius_u > 0.15 * side.radius
    assert unsure.values["share"] == pytest.approx(2.0 * side.radius_u / side.radius)
    advice = unsure.values["advice"]
    assert advice.values["case"] == "angles" and advice.values["measure"] == "turn" and advice.values["share"] > 0.5
    assert advice.values["error"] == pytest.approx(np.radians(4.0))
    assert str(unsure).startswith("short side: good only to ±") and str(advice) in str(unsure)
    for well in (surveyed(*[0.1] * 16), surveyed(*[0.1] * 9, 6.0, *[0.1] * 6)):
        assert budget_of(well, "short_side")["headings"] < 0.1 * heading
        assert well.short_side.radius == pytest.approx(60.0 / np.radians(75.0) - 20.0, rel=0.01)


def test_the_gap_where_a_row_helps_most_is_told():
    """Rows close together and then one far away: what lies in the long gap is most of the volume's doubt."""
    rows = [(0.0, 40.0), (10.0, 42.0), (20.0, 38.0), (30.0, 43.0), (95.0, 37.0), (105.0, 41.0)]
    found = survey(port_from_readings([replace(r, error=0.005) for r in straight(rows)]))
    advice = found.advice["volume"]
    assert (advice.values["case"], advice.values["start"], advice.values["end"]) == ("gap", 30.0, 95.0)
    assert advice.values["share"] > 0.5


def test_a_tool_s_zero_moves_all_rows_together():
    """Of a straight round bore d the zero z moves the area by pi / 2 d z, in every row alike, and the volume so."""
    rows = [replace(r, tool="caliper") for r in straight([(0.0, 40.0), (30.0, 40.0), (60.0, 40.0)])]
    found = survey(port_from_readings(rows))
    zero = np.pi / 2.0 * 40.0 * TOOLS["caliper"][1]
    assert budget_of(found, "least_area")["tool_zero"] == pytest.approx(zero, rel=0.15)
    assert budget_of(found, "volume")["tool_zero"] == pytest.approx(60.0 * zero, rel=0.15)


def test_uncertainties_by_source_make_the_whole(rect_elbow_survey):
    found = rect_elbow_survey
    for quantity, whole in (("volume", found.volume_u), ("least_area", found.least_area_u)):
        assert np.sqrt(sum(u**2 for u in budget_of(found, quantity).values())) == pytest.approx(whole)
    assert np.sqrt(sum(u**2 for u in budget_of(found, "short_side").values())) == pytest.approx(
        found.short_side.radius_u
    )


def test_uncertainty_grows_with_the_reading_error(rect_elbow, rect_elbow_survey):
    worse = survey(port_from_readings([replace(r, error=0.25) for r in rect_elbow.readings]))
    a, b = (budget_of(found, "least_area")["readings"] for found in (rect_elbow_survey, worse))
    assert 2.0 * a < b < 10.5 * a  # its corners are read by template, whatever the micrometer


def test_a_reading_error_as_large_as_a_gap_of_stations_gives_its_large_doubt():
    rows = straight([(0.0, 40.0), (30.0, 36.0), (30.05, 36.0), (60.0, 38.0)])
    large = from_readings([replace(r, error=1.0) for r in rows], np.array([0.0, 60.0]))
    # A round section's area goes with its diameter: pi / 2 d u.
    assert large.area == pytest.approx(np.pi / 2.0 * np.array([40.0, 38.0]), rel=0.2)


def test_the_same_readings_give_the_same_survey(port_survey):
    a, b = port_survey, survey(port_from_readings(port_readings()))
    assert (a.area_u == b.area_u).all()
    assert a.volume_u == b.volume_u


@pytest.mark.parametrize("beside", ["first", "last"])
def test_a_swapped_row_beside_an_end_does_not_accuse_the_end(beside):
    rows = list(elbow_readings(44.0, 30.0, 8.0, (20.0, 20.0), 40.0, 40.0))
    k = 1 if beside == "first" else len(rows) - 2
    rows[k] = replace(rows[k], height=rows[k].width, width=rows[k].height)
    told = [n for n in survey(port_from_readings(rows), readings_tried=False).warnings if n.code == "swapped"]
    assert [n.values["row"] for n in told] == [rows[k].row]


def test_height_and_width_swapped_in_one_row_are_asked_about():
    rows = list(port_readings())
    k = 2
    rows[k] = replace(rows[k], height=rows[k].width, width=rows[k].height)
    assert rows[k].height < rows[k].width - 5.0
    found = survey(port_from_readings(rows), readings_tried=False)
    told = [n.message(Display("mm")) for n in found.warnings if n.code == "swapped"]
    assert len(told) == 1 and told[0].startswith(f"row {rows[k].row} at {rows[k].station:.2f} mm: height and width")
    assert "swapped" not in codes(survey(port_from_readings(port_readings()), readings_tried=False))


def test_stations_along_the_roof_are_asked_about():
    """A quarter turn of radius 60: places on the middle, stations on the roof 20 mm farther out."""
    angles = np.radians(np.linspace(0.0, 90.0, 5))
    places = 60.0 * np.column_stack([np.sin(angles), 0.0 * angles, np.cos(angles) - 1.0])

    def port(radius):
        return port_from_readings(
            [
                Reading(k + 2, radius * a, "round", 40.0, 40.0, turn=a, place=p)
                for k, (a, p) in enumerate(zip(angles, places, strict=True))
            ]
        )

    told = [n for n in survey(port(80.0), readings_tried=False).warnings if n.code == "along_the_roof"]
    assert told[0].values == pytest.approx(
        {"last": 80.0 * np.pi / 2.0, "roof": 80.0 * np.pi / 2.0, "middle": 60.0 * np.pi / 2.0}, rel=1e-3
    )
    assert "along_the_roof" not in codes(survey(port(60.0), readings_tried=False))


def test_a_cut_with_the_rise_left_is_asked_about():
    rows = port_readings()
    cut = [replace(r, height=r.height + (1.0 if k == 2 else 0.0)) for k, r in enumerate(rows)]
    (notice,) = rise_left(port_from_readings(rows), port_from_readings(cut))
    assert notice.values == pytest.approx({"rows": 1, "grown": 1.0, "station": rows[2].station})
    floor = [replace(r, rise=r.rise - 0.5) if k == 2 else r for k, r in enumerate(cut)]
    assert rise_left(port_from_readings(rows), port_from_readings(floor)) == ()
    assert rise_left(port_from_readings(rows), port_from_readings(rows)) == ()


def test_one_micrometer_s_zero_leaves_a_difference():
    """Cut all round by 0.5 mm from 40: one zero moves both volumes alike, but for the girth that was gained.

    A reading off by e makes a bore of diameter d and length L larger by pi d e L / 2.
    """
    before, after = ([replace(r, error=1e-6) for r in straight([(0.0, d), (60.0, d)])] for d in (40.0, 41.0))
    zero = TOOLS["micrometer"][1]
    anew = [replace(r, tool="caliper") for r in after]
    same, other = (volume_read_u(*map(port_from_readings, (before, rows))) for rows in (after, anew))
    assert same == pytest.approx(zero * 60.0 * np.pi / 2.0, rel=0.01)
    assert other == pytest.approx(30.0 * np.pi * np.hypot(40.0 * zero, 41.0 * TOOLS["caliper"][1]), rel=0.01)


def volume_read_u(before, after):
    """What readings leave unsure of the volume between two sheets' walls, mm3."""
    found, known = compare_ports(before, after, "none"), finely(walled(before))
    wall, other = (
        wedges(known.tube, known.port.vertices, known.port.faces[known.is_wall], found.stretch),
        found.after_wedges,
    )
    depths = reading_errors((before, after), known.tube, found.map, (wall, other))
    return float(np.linalg.norm((depths * found.map.spread(other.areas, other.where)).sum(axis=(1, 2))))


TALL = [{"station": s, "height": 45.0 - s / 10.0, "width": 28.0 + s / 20.0, "corner": 6.0} for s in (0, 30, 60, 90)]


def _flat(rows):
    return [row | {"height": row["width"], "width": row["height"]} for row in rows]


def test_a_sheet_whose_heights_are_anothers_widths_is_asked_about():
    cast, cut = pg.port_from_rows(TALL), pg.port_from_rows([row | {"height": row["height"] + 1.0} for row in TALL])
    flat = pg.port_from_rows(_flat(TALL))
    (told,) = [w.message for w in pg.compare(cut, flat).warnings if w.code == "exchanged"]
    assert "BEFORE reads 46.00 mm high and 28.00 mm wide, AFTER 28.00 mm high and 45.00 mm wide" in told
    assert not [w for w in pg.compare(cast, cut).warnings if w.code == "exchanged"]
    square = pg.port_from_rows([row | {"height": 40.0, "width": 40.0} for row in TALL])
    assert not [w for w in pg.compare(square, square).warnings if w.code == "exchanged"]


@pytest.mark.parametrize(("rows", "told"), [(TALL, 0), (_flat(TALL), 1)])
def test_a_gasket_tells_that_heights_and_widths_of_the_sheet_are_exchanged(tmp_path, rows, told):
    hole = tmp_path / "hole.csv"
    hole.write_text("x_mm,y_mm\n-14.5,-23\n14.5,-23\n14.5,23\n-14.5,23\n-14.5,-23\n", encoding="utf-8")
    wanted = {"units": "mm", "area": [{"station": 60.0, "area": 1200.0}], "limits": {"gasket": str(hole)}}
    said = [w.message for w in pg.plan(pg.port_from_rows(rows), wanted).warnings if w.code == "exchanged"]
    assert len(said) == told and all("the port's entry is 28.00 mm high and 45.00 mm wide" in text for text in said)
