"""Ports that split: a trunk and legs as one watertight mesh, each measured as a port by itself.

Truth is closed form (prisms, Pappus's theorem), the single port that legs which never part make together, and the
union of the passages by manifold3d, which is another library.
"""

import json
import pickle

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

import portgeo as pg
from portgeo.app.cli import main
from portgeo.core.errors import PortgeoError
from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.core.split import split_port
from portgeo.files.sheets.sheet import read_sheet
from portgeo.measuring.schedule import survey
from portgeo.measuring.split import survey_split


def box(row, station, width, height=40.0, corner=0.0, **more):
    return Reading(row, station, height=height, width=width, corner_roof=corner, corner_floor=corner, **more)


def mesh_of(port):
    return trimesh.Trimesh(port.mesh.vertices, port.mesh.faces, process=False)


def elbow_legs(radius, degrees, side=14.0, width=26.0, corner=6.0):
    """Two legs with a turn of a centreline radius each, side by side past a straight trunk of 60 by 40."""
    turn = np.radians(degrees)
    trunk = [box(2, 0.0, 60.0, corner=6.0), box(3, 30.0, 60.0, corner=6.0)]
    legs = {
        name: [
            box(row, 30.0, width, corner=corner, shift=sign * side),
            box(row + 1, 30.0 + radius * turn, width, corner=corner, turn=turn),
        ]
        for name, sign, row in (("left", 1.0, 4), ("right", -1.0, 6))
    }
    return trunk, legs


def rounded(width, height, corner):
    return width * height - (4.0 - np.pi) * corner**2


def test_volume_and_areas_are_those_of_mensuration_and_pappus():
    """A rounded prism and two elbows: w h - (4 - pi) r^2 along the trunk, A R t in each leg (handbook; Pappus)."""
    trunk, legs = elbow_legs(70.0, 60.0)
    survey = survey_split(split_port(trunk, legs))
    leg = rounded(26.0, 40.0, 6.0)
    exact = rounded(60.0, 40.0, 6.0) * 30.0 + 2.0 * leg * 70.0 * np.radians(60.0)
    assert survey.volume == pytest.approx(exact, rel=5e-4)
    for each in survey.legs:
        assert each.area == pytest.approx(leg, rel=2e-4)
        assert each.short_side.radius == pytest.approx(70.0 - 20.0, rel=0.01)
    assert survey.trunk_area - survey.legs_area == pytest.approx(rounded(60.0, 40.0, 6.0) - 2.0 * leg, rel=1e-3)
    assert survey.together == pytest.approx(2.0 * leg, rel=2e-4)


def test_a_sheet_of_traced_outlines_splits_as_well(tmp_path):
    """The same elbows, their sections traced and lying anywhere on the drawing: a leg's shift says where it begins."""
    for name, half in (("trunk", 30.0), ("leg", 13.0)):
        line = shapely.box(6.0 - half, -14.0, half - 6.0, 14.0).buffer(6.0, quad_segs=64).exterior.coords
        points = np.array(line) + (37.0, 81.0)
        np.savetxt(tmp_path / f"{name}.csv", points, "%.5f", ",", header="x_mm,y_mm", comments="")
    end = 30.0 + 70.0 * np.pi / 3.0
    rows = ["0,,trunk,,", "30,,trunk,,"]
    for name, shift in (("left", 14), ("right", -14)):
        rows += [f"30,{name},leg,{shift},", f"{end},{name},leg,,60"]
    sheet = tmp_path / "twin.csv"
    lines = [row.replace(",trunk,", ",outline,trunk.csv,").replace(",leg,", ",outline,leg.csv,") for row in rows]
    sheet.write_text("station_mm,leg,shape,outline,shift_mm,turn_deg\n" + "\n".join(lines), encoding="utf-8")
    survey = survey_split(pg.read_split(sheet))
    leg = rounded(26.0, 40.0, 6.0)
    exact = rounded(60.0, 40.0, 6.0) * 30.0 + 2.0 * leg * 70.0 * np.radians(60.0)
    assert survey.volume == pytest.approx(exact, rel=5e-4)
    assert np.concatenate([each.area for each in survey.legs]) == pytest.approx(leg, rel=2e-4)


def test_a_leg_is_as_sure_as_the_same_rows_by_themselves():
    """Its first row's shift says where it begins, and bends nothing."""
    rows = [(30.0, 0.0), (50.0, 10.0), (80.0, 40.0)]
    trunk = [box(2, 0.0, 60.0, corner=6.0), box(3, 30.0, 60.0, corner=6.0)]

    def leg(shift):
        return [
            box(4 + k, s, 26.0, corner=6.0, shift=0.0 if k else shift, turn=np.radians(t))
            for k, (s, t) in enumerate(rows)
        ]

    one = survey_split(split_port(trunk, {"left": leg(14.0), "right": leg(-14.0)})).legs[0]
    alone = survey(port_from_readings(leg(0.0)))
    for name in ("volume", "volume_u", "area", "area_u"):
        assert getattr(one, name) == pytest.approx(getattr(alone, name), rel=1e-6)
    assert one.short_side.radius_u == pytest.approx(alone.short_side.radius_u, rel=1e-3)


def test_a_leg_that_was_kept_from_run_to_run_is_known():
    port = split_port(*elbow_legs(70.0, 60.0))
    trunk, left, right = pickle.loads(pickle.dumps([each.port for each in port.passages]))
    assert [port.leg_of(each) for each in (trunk, left, right)] == [None, *port.legs]


def test_its_mesh_is_one_watertight_solid_of_the_same_volume():
    """manifold3d, which shares no code with it, takes the mesh as sound, and the union of the passages is as large."""
    port = split_port(*elbow_legs(70.0, 60.0))
    mesh = mesh_of(port)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.body_count == 1
    assert mesh.euler_number == 2  # a ball's: two legs make no handle
    solids = [
        manifold3d.Manifold(
            manifold3d.Mesh64(each.port.to_source(each.port.vertices), each.port.faces.astype(np.uint64))
        )
        for each in port.passages
    ]
    union = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    assert mesh.volume == pytest.approx(union.volume(), rel=1e-6)


def test_mirrored_legs_measure_alike():
    survey = survey_split(split_port(*elbow_legs(70.0, 60.0)))
    left, right = survey.legs
    for name in ("volume", "least_area", "wetted_area", "length"):
        assert getattr(left, name) == pytest.approx(getattr(right, name), rel=1e-6)
    assert left.short_side.radius == pytest.approx(right.short_side.radius, rel=1e-6)


@pytest.mark.parametrize("tilt", [0.0, 40.0])
def test_legs_that_never_part_are_the_single_port(tilt):
    """Two halves of one channel, divided by a wall of no thickness: volume and areas are the whole channel's."""
    turn = np.radians(tilt)
    rows = [(0.0, 0.0), (30.0, 0.0), (90.0, turn)]
    whole = pg.survey(pg.port_from_rows([
        {"station": s, "height": 40, "width": 60, "corner": 0, "turn_deg": np.degrees(t)} for s, t in rows
    ]))  # fmt: skip
    trunk = [box(2, 0.0, 60.0), box(3, 30.0, 60.0)]
    legs = {
        name: [box(4, 30.0, 30.0, shift=sign * 15.0), box(5, 90.0, 30.0, turn=turn)]
        for name, sign in (("left", 1.0), ("right", -1.0))
    }
    port = split_port(trunk, legs)
    survey = survey_split(port)
    assert survey.volume / 1000.0 == pytest.approx(whole.volume_cc, rel=1e-6)
    assert survey.together == pytest.approx(2400.0, rel=1e-9)
    assert survey.trunk_area - survey.legs_area == pytest.approx(0.0, abs=1e-6)
    assert mesh_of(port).is_watertight


def test_a_leg_goes_on_from_the_trunks_last_plane():
    """The trunk turns and swings; a leg's first ring lies in its last plane, moved by its shift and rise there."""
    turn, swing = np.radians(30.0), np.radians(10.0)
    trunk = [box(2, 0.0, 60.0, corner=6.0), box(3, 40.0, 60.0, corner=6.0, turn=turn, swing=swing)]
    legs = {
        name: [
            box(4, 40.0, 24.0, 30.0, 6.0, turn=turn, swing=swing, shift=sign * 14.0, rise=2.0),
            box(5, 60.0, 24.0, 30.0, 6.0, turn=turn, swing=swing),
        ]
        for name, sign in (("left", 1.0), ("right", -1.0))
    }
    port = split_port(trunk, legs)
    stem, end = port.trunk, port.trunk.centreline
    origin, frame = stem.to_source(end.points[-1]), stem.direction_to_source(end.frames[-1])
    for leg, sign in zip(port.legs, (1.0, -1.0), strict=True):
        ring = leg.port.to_source(leg.port.mesh.space[0])
        across = (ring - origin) @ frame.T
        assert np.abs(across[:, 0]).max() < 1e-9
        assert (across[:, 1:].max(axis=0) + across[:, 1:].min(axis=0)) / 2.0 == pytest.approx([sign * 14.0, 2.0])
        # A straight run keeps the heading and stands off the trunk's end by its length.
        far = (leg.port.to_source(leg.port.mesh.space[-1]) - origin) @ frame.T
        assert far[:, 0] == pytest.approx(20.0)


SHEET = """station_mm,leg,height_mm,width_mm,corner_mm,shift_mm,turn_deg
0,,40,60,6,0,0
30,,40,60,6,0,0
30,left,40,26,6,14,
80,left,38,26,6,0,30
30,right,40,26,6,-14,
80,right,38,25,6,0,30
"""


@pytest.fixture
def sheet(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "twin.csv"
    path.write_text(SHEET)
    return path


def test_measure_says_the_whole_and_each_passage(sheet, capsys):
    assert main(["measure", "twin.csv", "--json", "twin.json", "--csv", "all.csv"]) == 0
    out = capsys.readouterr().out
    assert "right against left" in out and "trunk" in out
    result = json.loads((sheet.parent / "twin.json").read_text())
    assert [leg["name"] for leg in result["legs"]] == ["left", "right"]
    parts = [result["trunk"]["volume_cc"], *(leg["volume_cc"] for leg in result["legs"])]
    assert result["volume_cc"] == pytest.approx(sum(parts), rel=1e-8)
    told = " ".join(out.partition("look at")[2].split())
    unsure = [(leg["name"], w["message"]) for leg in result["legs"] for w in leg["warnings"] if w["code"] == "unsure"]
    assert unsure and all(f"- {name}: {message}" in told for name, message in unsure)
    assert {row["leg"] for row in result["stations"]} == {"", "left", "right"}
    assert all(leg["short_side"] and leg["throat"] and leg["least_area"] for leg in result["legs"])
    assert [opening["role"] for opening in result["openings"]] == ["entry", "exit", "exit"]
    assert (sheet.parent / "all.csv").read_text().startswith("leg,station_mm,")


def test_a_leg_that_swings_to_the_other_side_is_asked_about(tmp_path):
    rows = "station_mm,leg,height_mm,width_mm,swing_deg,shift_mm\n0,,40,60,0,0\n30,,40,60,0,0\n"
    for swing, said in ((-5, []), (5, [("left", "left")])):
        sheet = tmp_path / "twin.csv"
        legs = f"30,left,40,26,,15\n60,left,40,20,{swing},0\n30,right,40,26,,-15\n60,right,40,20,5,0\n"
        sheet.write_text(rows + legs)
        notices = [n for n in read_sheet(sheet).warnings if n.code == "leg_swing"]
        assert [(n.values["case"], n.values["leg"]) for n in notices] == said
    swung = (rows + legs).replace("30,,40,60,0,0", "30,,40,60,4,0").replace(",20,5,0", ",20,12,0")
    sheet.write_text(swung)  # all of the port swings to the right
    assert "leg_swing" not in [n.code for n in read_sheet(sheet).warnings]


def test_one_leg_is_a_port_by_itself_to_all_commands(sheet, capsys):
    assert main(["measure", "twin.csv", "--leg", "left", "--json", "left.json"]) == 0
    assert capsys.readouterr().out.startswith("twin.csv, left\n")
    assert main(["measure", "twin.csv", "--json", "twin.json", "-q"]) == 0
    left, whole = (json.loads((sheet.parent / name).read_text()) for name in ("left.json", "twin.json"))
    assert left["volume_cc"] == whole["legs"][0]["volume_cc"]
    (sheet.parent / "cut.csv").write_text(SHEET.replace("80,left,38,26", "80,left,39,26"))
    assert main(["compare", "twin.csv", "cut.csv", "--leg", "left", "--json", "cut.json", "-q"]) == 0
    assert json.loads((sheet.parent / "cut.json").read_text())["removed_cc"] > 0.3
    capsys.readouterr()
    assert main(["calm", "twin.csv", "--cfm", "100"]) == 2
    message = capsys.readouterr().err
    assert "splits into legs left and right" in message and "--leg" in message
    assert main(["measure", "twin.csv", "--leg", "middle"]) == 2
    assert "Its passages are trunk, left, right" in capsys.readouterr().err


def test_match_enters_a_split_port_by_its_trunk(sheet, capsys):
    """A runner of 60 by 38 mm meets a trunk of 60 by 40: no lip, and a step of 1 mm at roof and floor."""
    (sheet.parent / "runner.csv").write_text("station_mm,height_mm,width_mm,corner_mm\n0,38,60,6\n60,38,60,6\n")
    assert main(["match", "runner.csv", "twin.csv", "--json", "joint.json"]) == 0
    joint = json.loads((sheet.parent / "joint.json").read_text())
    assert joint["step"]["height_mm"] == pytest.approx(1.0, abs=0.01)
    assert joint["lip"]["height_mm"] == pytest.approx(0.0, abs=0.02)
    capsys.readouterr()
    assert main(["match", "twin.csv", "runner.csv"]) == 2
    assert "splits into legs left and right" in capsys.readouterr().err


def test_loft_writes_the_whole(sheet, capsys):
    assert main(["loft", "twin.csv", "-o", "twin.stl"]) == 0
    mesh = trimesh.load("twin.stl")
    assert mesh.is_watertight
    measured = pg.survey(pg.read_split("twin.csv"))
    assert mesh.volume / 1000.0 == pytest.approx(measured.volume_cc, rel=1e-5)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("30,right", "31,right", "leg right begins at station 31.00 mm, and the trunk ends at 30.00 mm"),
        ("80,right,38,25,6,0,30\n", "", "leg right has one row"),
        (",right,", ",,", "left is the only leg"),
        ("30,left,40,26,6,14,", "30,left,40,26,6,14,20", "the leg begins at 20 degrees, and the trunk ends at 0"),
        ("80,right,", "80,rihgt,", "row 7, column leg: leg rihgt does not begin at the split. Did you mean right?"),
        ("80,right,", "80,,", "row 7, column leg: this row is past the split and names no leg. The legs here are left"),
        ("6,14,", "6,25,", "stands 8.00 mm out of the trunk's outline"),
        ("6,14,", "6,2,", "lie on each other in the plane of the split"),
        ("80,left,38,26,6,0,30", "80,left,38,26,6,-26,30", "run into each other"),
        (",left,", ",trunk,", "is not the name of a leg"),
        ("0,,40,60,6,0,0\n", "", "its trunk has no two rows"),
    ],
)
def test_a_bad_split_is_one_clear_message(sheet, capsys, old, new, says):
    text = SHEET.replace(old, new)
    if new == ",,":  # the right leg's rows out of the way
        text = "\n".join(line for line in SHEET.splitlines() if "right" not in line) + "\n"
    sheet.write_text(text)
    assert main(["measure", "twin.csv"]) == 2
    message = " ".join(capsys.readouterr().err.split())
    assert says in message and "twin.csv" in message and "Traceback" not in message


@st.composite
def splits(draw):
    """Rows of a trunk and two or three legs such as a person may write, most of them sound."""
    number = lambda low, high: draw(st.floats(low, high))  # noqa: E731
    width, height = number(50.0, 80.0), number(30.0, 50.0)
    count = draw(st.integers(2, 3))
    turn = np.radians(number(0.0, 25.0))
    trunk = [box(2, 0.0, width, height, 5.0), box(3, number(20.0, 60.0), width, height, 5.0, turn=turn)]
    room = width / count
    legs = {}
    for k in range(count):
        begin = trunk[-1].station
        own = room - number(0.0, 8.0)
        shift = (k - (count - 1) / 2.0) * room
        out = np.radians(number(0.0, 12.0)) * -np.sign(shift)
        more = {"turn": turn + np.radians(number(0.0, 50.0)), "swing": float(out)}
        legs[str(k)] = [
            box(4, begin, own, height - number(0.0, 6.0), 4.0, turn=turn, shift=shift),
            box(5, begin + number(30.0, 70.0), own * number(0.8, 1.1), height * number(0.8, 1.0), 4.0, **more),
        ]
    return trunk, legs


def sound_or_refused(rows):
    try:
        port = split_port(*rows)
    except PortgeoError as refusal:
        assert refusal.what and refusal.hint
        return
    mesh = mesh_of(port)
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(sum(each.port.mesh.volume for each in port.passages), rel=1e-9)


@settings(max_examples=12)
@given(splits())
def test_random_splits_are_sound_or_refused(rows):
    sound_or_refused(rows)


@pytest.mark.nightly
@settings(max_examples=300)
@given(splits())
def test_three_hundred_random_splits_are_sound_or_refused(rows):
    sound_or_refused(rows)
