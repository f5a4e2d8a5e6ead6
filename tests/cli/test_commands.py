"""The commands loft, measure, view and demo as a person runs them: answers, files, refusals.

The elbow of these tests is a round bore swept along two straight legs and an arc, so that Pappus's
centroid theorem gives its volume (bore area times centreline length), and its floor through the turn
is an arc of the centreline's radius less half the bore.
"""

import csv
import json
import os
import struct
import subprocess
import sys
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from portgeo.app.cli import COMMANDS, main
from portgeo.app.commands import demo
from portgeo.files.meshes.mesh import read_mesh, write_mesh
from portgeo.present.pictures import port as pictures

BORE, TURN_RADIUS, TURN, LEGS = 30.0, 40.0, np.radians(60.0), (40.0, 20.0)
PLACE = np.array([100.0, 50.0, 20.0])  # of the entry, in the sheet's own coordinates
LENGTH = LEGS[0] + TURN_RADIUS * TURN + LEGS[1]
VOLUME_CC = np.pi * BORE**2 / 4.0 * LENGTH / 1000.0

PORT_SHEET = """station_in,height_in,width_in,shape,corner_in,turn_deg
0,1.95,1.15,rect,0.22,0
1.6,1.75,1.15,rect,0.3,0
3.3,1.47,1.47,round,,75
3.8,1.47,1.47,round,,75
"""

TOP_KEYS = {
    "schema", "source", "warnings", "volume_cc", "wetted_area_mm2", "length_mm", "mean_area_mm2",
    "openings", "stations", "least_area", "short_side", "long_side", "frame",
}  # fmt: skip
STATION_KEYS = {
    "station_mm", "origin_mm", "normal", "area_mm2", "area_u_mm2", "perimeter_mm", "height_mm", "width_mm",
    "hydraulic_diameter_mm", "corner_radius_mm", "area_taper_mm2_per_mm",
}  # fmt: skip
SIDE_KEYS = {
    "radius_mm", "radius_u_mm", "least_radius_mm", "turn_deg", "station_from_mm", "station_to_mm", "apex_mm",
    "fit_rms_mm", "wall",
}  # fmt: skip


def on_the_elbow(station):
    """Return point and heading of the elbow's centreline, entry at the origin, turning to -z."""
    turned = np.clip((station - LEGS[0]) / TURN_RADIUS, 0.0, TURN)
    ahead = np.array([np.cos(turned), 0.0, -np.sin(turned)])
    arc = TURN_RADIUS * np.array([np.sin(turned), 0.0, np.cos(turned) - 1.0])
    straight = min(station, LEGS[0]) * np.array([1.0, 0.0, 0.0])
    return straight + arc + max(station - LEGS[0] - TURN_RADIUS * TURN, 0.0) * ahead, ahead


def elbow_sheet():
    """Return the sheet of the elbow, each row with its place given outright."""
    lines = ["station_mm,diameter_mm,shape,turn_deg,x_mm,y_mm,z_mm"]
    for station in np.cumsum([0.0, LEGS[0], TURN_RADIUS * TURN, LEGS[1]]):
        point, ahead = on_the_elbow(station)
        x, y, z = (repr(float(v)) for v in PLACE + point)
        turn = float(np.degrees(np.arctan2(-ahead[2], ahead[0])))
        lines.append(f"{float(station)!r},{BORE},round,{turn!r},{x},{y},{z}")
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder with two sheets, and what loft and measure make of the elbow."""
    folder = tmp_path_factory.mktemp("bench")
    (folder / "port.csv").write_text(PORT_SHEET)
    (folder / "elbow.csv").write_text(elbow_sheet())
    assert main(["measure", str(folder / "elbow.csv"), "-q", "--json", str(folder / "elbow.json")]) == 0
    assert main(["loft", str(folder / "elbow.csv"), "-q", "--stations", "41", "-o", str(folder / "elbow.stl")]) == 0
    return folder


@pytest.fixture(scope="module")
def elbow(bench):
    return json.loads((bench / "elbow.json").read_text(encoding="utf-8"))


@pytest.fixture
def sheet(tmp_path):
    """A sheet alone in a folder."""
    path = tmp_path / "port.csv"
    path.write_text(PORT_SHEET)
    return path


def words(*given):
    return [str(word) for word in given]


def listing(folder):
    """Return every file under a folder with its bytes."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


# ---- what is printed


def test_measure_gives_the_answer_first_and_writes_nothing_unasked(sheet, capsys):
    before = listing(sheet.parent)
    assert main(words("measure", sheet)) == 0
    assert listing(sheet.parent) == before
    out, err = capsys.readouterr()
    lines = out.splitlines()
    assert err == ""
    assert lines[0] == sheet.name
    assert [line.split()[0] for line in lines[1:4]] == ["volume", "min", "short"]
    assert "cc" in lines[1] and "sq in" in lines[2] and "radius" in lines[3]
    assert all(len(line) < 100 for line in lines[1:])


def test_a_straight_port_has_no_short_side(tmp_path, capsys):
    path = tmp_path / "pipe.csv"
    path.write_text("station_mm,diameter_mm,shape\n0,30,round\n80,30,round\n")
    assert main(words("measure", path, "--json", tmp_path / "pipe.json")) == 0
    assert "does not turn" in capsys.readouterr().out.splitlines()[3]
    record = json.loads((tmp_path / "pipe.json").read_text(encoding="utf-8"))
    assert record["short_side"] is None
    assert record["volume_cc"] == pytest.approx(np.pi * 225.0 * 80.0 / 1000.0, rel=1e-3)


def test_units_and_stations_and_the_table(sheet, tmp_path, capsys):
    """The same schedule in inches and in millimetres, as many rows as were asked for."""
    tables = {}
    for unit in ("in", "mm"):
        path = tmp_path / f"{unit}.csv"
        assert main(words("measure", sheet, "--units", unit, "--stations", 9, "--csv", path)) == 0
        out = capsys.readouterr().out
        assert ("sq in" in out) == (unit == "in") and ("mm²" in out) == (unit == "mm")
        body = out.split("station      area")[1].splitlines()[2:]
        assert body.index("") == 9  # rows printed before the blank line
        with open(path, newline="", encoding="utf-8") as stream:
            header, *rows = csv.reader(stream)
        assert header[:2] == [f"station_{unit}", f"area_{unit}2"]
        tables[unit] = np.array(rows, dtype=float)
        assert tables[unit].shape == (9, len(header))
    assert tables["mm"][:, 0] == pytest.approx(np.linspace(0.0, 3.8 * 25.4, 9))
    assert tables["mm"][:, 0] == pytest.approx(25.4 * tables["in"][:, 0], abs=1e-4)
    assert tables["mm"][:, 1] == pytest.approx(25.4**2 * tables["in"][:, 1], rel=1e-5)


def test_quiet_prints_nothing(sheet, tmp_path, capfd):
    assert main(words("measure", sheet, "-q", "--stations", 3)) == 0
    assert main(words("loft", sheet, "-q", "--stations", 9, "-o", tmp_path / "port.stl")) == 0
    assert capfd.readouterr() == ("", "")


def test_loft_says_what_it_wrote(sheet, tmp_path, capsys):
    path = tmp_path / "port.stl"
    assert main(words("loft", sheet, "-o", path, "--stations", 9)) == 0
    out, err = capsys.readouterr()
    assert err == "" and out.startswith(f"{path}: ")
    (triangles,) = struct.unpack("<I", path.read_bytes()[80:84])
    assert f"{triangles:,} triangles" in out and "4 measured sections" in out and "3.800 in" in out


def test_help_loads_nothing_heavy():
    """Help of the tool and of each command comes before any of the large libraries is loaded."""
    script = (
        "import sys\nfrom portgeo.app.cli import COMMANDS, main\n"
        "for argv in [['-h'], *([c, '-h'] for c in COMMANDS)]:\n"
        "    try:\n        main(argv)\n    except SystemExit as end:\n        assert end.code == 0\n"
        "loaded = {'numpy', 'scipy', 'pyvista', 'trimesh', 'matplotlib'} & set(sys.modules)\n"
        "print('loaded:', sorted(loaded))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "loaded: []"
    assert done.stdout.count("example") >= len(COMMANDS)  # each explains itself with one


def test_wrong_words_on_the_line_are_refused(sheet, capsys):
    for argv, told in (
        (("--frob",), "COMMAND"),
        (("measure", sheet, "--stations", 1), "2 to 2000"),
        (("measure", sheet, "--entry", "1,2"), "X,Y,Z"),
        (("measure", sheet, "--scale", "nan"), "not a number"),
        (("loft", sheet), "--output"),
    ):
        assert main(words(*argv)) == 2
        out, err = capsys.readouterr()
        assert out == "" and told in err and "Traceback" not in err and err.count("\n") == 1


# ---- the record


def test_how_many_rows_are_asked_for_changes_no_answer(sheet, tmp_path):
    records = []
    for rows in (2, 11):
        path = tmp_path / f"{rows}.json"
        assert main(words("measure", sheet, "-q", "--stations", rows, "--json", path)) == 0
        records.append(json.loads(path.read_text(encoding="utf-8")))
        assert len(records[-1]["stations"]) == rows
    for answer in ("volume_cc", "volume_u_cc", "length_mm", "short_side", "most_uncertain_reading"):
        assert records[0][answer] == records[1][answer]
    # The table's own rows are looked at too, and may lie a hair lower than the planes between them.
    for part in ("area_mm2", "area_u_mm2"):
        assert records[0]["least_area"][part] == pytest.approx(records[1]["least_area"][part], rel=1e-3)


def test_the_record_has_every_promised_key(elbow):
    assert elbow["schema"] == "portgeo.measure/2"
    assert set(elbow) >= TOP_KEYS
    assert set(elbow["source"]) >= {"file", "sha256", "triangles", "units", "scale"}
    assert all(set(station) >= STATION_KEYS for station in elbow["stations"])
    assert set(elbow["short_side"]) >= SIDE_KEYS and set(elbow["long_side"]) >= SIDE_KEYS
    assert set(elbow["least_area"]) >= {"station_mm", "area_mm2"}
    assert [opening["role"] for opening in elbow["openings"]] == ["entry", "exit"]
    assert all(set(opening) >= {"origin_mm", "normal", "area_mm2"} for opening in elbow["openings"])


def test_the_record_s_numbers_agree_with_each_other_and_with_pappus(elbow):
    stations = elbow["stations"]
    along = np.array([s["station_mm"] for s in stations])
    area = np.array([s["area_mm2"] for s in stations])
    assert (np.diff(along) > 0).all()
    assert along[[0, -1]] == pytest.approx([0.0, elbow["length_mm"]])
    assert elbow["mean_area_mm2"] == pytest.approx(1000.0 * elbow["volume_cc"] / elbow["length_mm"], rel=1e-7)
    assert [o["area_mm2"] for o in elbow["openings"]] == pytest.approx(area[[0, -1]])
    assert elbow["least_area"]["area_mm2"] <= area.min() * (1.0 + 1e-9)
    for s in stations:
        assert s["hydraulic_diameter_mm"] == pytest.approx(4.0 * s["area_mm2"] / s["perimeter_mm"], rel=1e-7)
        assert np.linalg.norm(s["normal"]) == pytest.approx(1.0)
        assert s["area_u_mm2"] > 0.0
    assert elbow["length_mm"] == pytest.approx(LENGTH, rel=1e-7)
    assert elbow["volume_cc"] == pytest.approx(VOLUME_CC, rel=1e-3)
    assert area == pytest.approx(np.full(len(area), np.pi * BORE**2 / 4.0), rel=1e-3)
    assert elbow["wetted_area_mm2"] == pytest.approx(np.pi * BORE * LENGTH, rel=1e-3)
    assert elbow["short_side"]["radius_mm"] == pytest.approx(TURN_RADIUS - BORE / 2.0, rel=0.02)
    assert elbow["long_side"]["radius_mm"] == pytest.approx(TURN_RADIUS + BORE / 2.0, rel=0.02)
    assert elbow["short_side"]["turn_deg"] == pytest.approx(60.0, abs=0.5)


def check_places(record, pose, tolerance):
    """Every point and direction of an elbow's record is where the elbow has it, moved by a pose."""
    turn, shift = pose
    for s in record["stations"]:
        point, ahead = on_the_elbow(s["station_mm"])
        assert s["origin_mm"] == pytest.approx(turn @ point + shift, abs=tolerance)
        assert s["normal"] == pytest.approx(turn @ ahead, abs=tolerance / 5.0)
    for opening, station in zip(record["openings"], (0.0, LENGTH), strict=True):
        point, ahead = on_the_elbow(station)
        assert opening["origin_mm"] == pytest.approx(turn @ point + shift, abs=tolerance)
        assert opening["normal"] == pytest.approx(turn @ ahead, abs=tolerance / 5.0)
    middle, ahead = on_the_elbow(LEGS[0] + TURN_RADIUS * TURN / 2.0)
    inward = np.array([ahead[2], 0.0, -ahead[0]])
    apex = turn @ (middle + BORE / 2.0 * inward) + shift
    # Along the floor the middle of a turn is found less well than the floor itself.
    off = np.array(record["short_side"]["apex_mm"]) - apex
    assert abs(off @ (turn @ inward)) < max(tolerance, 0.05)
    assert np.linalg.norm(off) < 1.0
    frame = np.array(record["frame"])
    assert frame[:3, :3] @ frame[:3, :3].T == pytest.approx(np.eye(3), abs=1e-7)
    assert frame[:3, :3] @ turn == pytest.approx(np.eye(3), abs=tolerance / 5.0)
    assert frame[:3, :3] @ shift + frame[:3, 3] == pytest.approx(np.zeros(3), abs=tolerance)


def test_points_are_in_the_sheet_s_own_coordinates(elbow):
    check_places(elbow, (np.eye(3), PLACE), 1e-4)


def test_a_mesh_measures_as_its_sheet_in_any_pose_and_in_its_own_coordinates(bench, elbow):
    """The STL that loft wrote, and the same moved by a known pose."""
    turn = Rotation.from_euler("zyx", [130.0, -35.0, 70.0], degrees=True).as_matrix()
    shift = np.array([-210.0, 35.0, 410.0])
    mesh = read_mesh(bench / "elbow.stl")
    write_mesh(bench / "posed.stl", (mesh.vertices - PLACE) @ turn.T + shift, mesh.faces)
    for name, pose in (("elbow", (np.eye(3), PLACE)), ("posed", (turn, shift))):
        assert main(words("measure", bench / f"{name}.stl", "-q", "--json", bench / f"{name}-mesh.json")) == 0
        found = json.loads((bench / f"{name}-mesh.json").read_text(encoding="utf-8"))
        assert found["volume_cc"] == pytest.approx(elbow["volume_cc"], rel=1e-3)
        assert found["short_side"]["radius_mm"] == pytest.approx(elbow["short_side"]["radius_mm"], rel=0.02)
        assert found["least_area"]["area_mm2"] == pytest.approx(elbow["least_area"]["area_mm2"], rel=2e-3)
        assert found["length_mm"] == pytest.approx(elbow["length_mm"], abs=0.1)
        assert found["source"]["units"] == "mm" and found["source"]["scale"] == 1.0
        check_places(found, pose, 0.05)


@pytest.mark.parametrize("ending", ["ply", "obj", "3mf", "glb"])
def test_every_format_of_loft_holds_the_same_mesh(bench, ending, tmp_path):
    """Triangle by triangle the mesh of the STL, in millimetres, so that its measures are the STL's."""
    path = tmp_path / f"elbow.{ending}"
    assert main(words("loft", bench / "elbow.csv", "-q", "--stations", 41, "-o", path)) == 0
    one, other = read_mesh(bench / "elbow.stl"), read_mesh(path)
    assert other.unit is not None and other.triangles == one.triangles
    both = [m.vertices[m.faces] for m in (one, other)]
    assert both[0] == pytest.approx(both[1], abs=2e-5)  # a single float's step at 200 mm


def test_same_input_same_bytes(sheet, tmp_path):
    outputs = []
    for k in range(2):
        folder = tmp_path / str(k)
        folder.mkdir()
        made = {ending: folder / f"port.{ending}" for ending in ("json", "csv", "stl", "3mf")}
        assert main(words("measure", sheet, "-q", "--json", made["json"], "--csv", made["csv"])) == 0
        for ending in ("stl", "3mf"):
            argv = words("loft", sheet, "-q", "--stations", 9, "-o", made[ending])
            if k == 0 or ending == "stl":
                assert main(argv) == 0
            else:  # another process, with its own order of hashes
                env = os.environ | {"PYTHONHASHSEED": "7"}
                subprocess.run([sys.executable, "-m", "portgeo", *argv], check=True, env=env)
        outputs.append(listing(folder))
    assert outputs[0].keys() == {"port.json", "port.csv", "port.stl", "port.3mf"}
    assert outputs[0] == outputs[1]


# ---- what is there already, and what is stopped half-way


@pytest.mark.parametrize(
    ("taken", "argv"),
    [
        ("port.stl", ["loft", "port.csv", "-o", "port.stl"]),
        ("table.csv", ["measure", "port.csv", "--json", "new.json", "--csv", "table.csv"]),
        ("port.json", ["measure", "port.csv", "--json", "port.json", "--csv", "new.csv"]),
        ("chart.png", ["measure", "port.csv", "--json", "new.json", "--chart", "chart.png"]),
        ("port.png", ["measure", "port.csv", "--json", "new.json", "--picture", "port.png"]),
        ("port.png", ["view", "port.csv", "--picture", "port.png"]),
        ("out/air-speed.json", ["demo", "--out", "out"]),
    ],
)
def test_a_file_that_is_there_stays_and_nothing_else_is_written(sheet, taken, argv, monkeypatch, capsys):
    monkeypatch.chdir(sheet.parent)
    (sheet.parent / taken).parent.mkdir(exist_ok=True)
    (sheet.parent / taken).write_text("mine")
    before = listing(sheet.parent)
    assert main(argv) == 2
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == 1
    assert os.path.normpath(taken) in err and "--force" in err
    assert listing(sheet.parent) == before


def test_force_replaces(sheet, tmp_path):
    (tmp_path / "port.stl").write_text("mine")
    assert main(words("loft", sheet, "-q", "--force", "--stations", 9, "-o", tmp_path / "port.stl")) == 0
    assert (tmp_path / "port.stl").stat().st_size > 1000


def test_an_output_never_replaces_its_own_input(sheet, capsys):
    before = listing(sheet.parent)
    assert main(words("measure", sheet, "--csv", sheet, "--force")) == 2
    assert listing(sheet.parent) == before
    assert "would replace it" in capsys.readouterr().err


def interrupted(*_args, **_named):
    raise KeyboardInterrupt


def test_ctrl_c_while_measuring_leaves_nothing(sheet, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("portgeo.front.states.survey", interrupted)
    before = listing(tmp_path)
    assert main(words("measure", sheet, "--json", tmp_path / "a.json", "--csv", tmp_path / "a.csv")) == 130
    assert listing(tmp_path) == before
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == 1 and "stopped" in err


def test_ctrl_c_while_writing_leaves_nothing_half_written(sheet, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("portgeo.files.disk.os.replace", interrupted)
    before = listing(tmp_path)
    assert main(words("loft", sheet, "--stations", 9, "-o", tmp_path / "port.3mf")) == 130
    assert listing(tmp_path) == before
    assert len(capsys.readouterr().err.splitlines()) == 1


# ---- pictures


class BrokenPool:
    """Workers whose child dies, as where OpenGL is missing."""

    def __init__(self, *_args, **_named):
        pass

    def __enter__(self):
        return self.submit

    def __exit__(self, *_failure):
        return None

    def submit(self, *_work):
        dead = Future()
        dead.set_exception(BrokenProcessPool("the child died"))
        return dead


def test_view_draws_a_picture_or_says_why_not(sheet, tmp_path, capfd):
    picture = tmp_path / "port.png"
    status = main(words("view", sheet, "--picture", picture))
    out, err = capfd.readouterr()
    if status == 0:
        data = picture.read_bytes()
        assert data.startswith(b"\x89PNG")
        assert struct.unpack(">II", data[16:24]) == pictures.WINDOW
        assert str(picture) in out and err == ""
    else:
        assert status == 2 and out == "" and not picture.exists()
        assert len(err.splitlines()) == 1 and "OpenGL" in err


def test_view_opens_a_window_on_the_port(sheet, monkeypatch):
    shown = []
    monkeypatch.setattr(pictures, "show", lambda *scene: shown.append(scene))
    assert main(words("view", sheet, "--units", "mm")) == 0
    (((found,), display, (title,)),) = shown
    assert found.length == pytest.approx(3.8 * 25.4) and display.unit == "mm" and title == sheet.name


def test_a_picture_that_fails_costs_nothing_else(sheet, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(pictures, "workers", BrokenPool)
    made = {name: tmp_path / name for name in ("port.json", "table.csv", "chart.png")}
    argv = ["measure", sheet, "--picture", tmp_path / "port.png"]
    argv += ["--json", made["port.json"], "--csv", made["table.csv"], "--chart", made["chart.png"]]
    status = main(words(*argv))
    out, err = capsys.readouterr()
    assert status == 2
    assert out.splitlines()[1].split()[0] == "volume"
    assert len(err.splitlines()) == 1 and "OpenGL" in err and str(tmp_path / "port.png") in err
    assert all(path.stat().st_size > 0 for path in made.values())
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*made, "port.csv"])


# ---- demo


def test_demo_writes_what_it_says_and_says_what_it_could_not(tmp_path, monkeypatch, capsys):
    """Its first steps, and one that is refused; the others are commands with tests of their own."""
    refused = ("What is not there", ("measure", "no-such-sheet.csv"))
    monkeypatch.setattr(demo, "STEPS", (*demo.STEPS[:2], refused))
    folder = tmp_path / "new" / "port-demo"
    assert main(["demo", "--out", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    inputs = demo.demo_files()
    made = {"as-cast.json", "as-cast.schedule.csv", "first-cut.json"}
    assert {path.name for path in folder.iterdir()} == {*inputs, *made}
    assert all((folder / name).read_bytes() == content for name, content in inputs.items())
    assert "invented" in out.splitlines()[0]
    assert "Not everything is there: no-such-sheet.csv" in out
    record, compared = (
        json.loads((folder / name).read_text(encoding="utf-8")) for name in ("as-cast.json", "first-cut.json")
    )
    assert f"volume      {record['volume_cc']:.2f} " in out
    assert compared["removed_cc"] > 1.0 and f"{compared['removed_cc']:.2f}" in out


def test_demo_into_a_file_is_refused(sheet, capsys):
    before = listing(sheet.parent)
    assert main(words("demo", "--out", sheet)) == 2
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == 1 and str(sheet) in err
    assert listing(sheet.parent) == before


# ---- bad input

HEAD = "station_in,height_in,width_in,shape,corner_in,turn_deg,outline\n"
FIRST = "0,1.95,1.15,rect,0.22,0,\n"
LAST = "3.3,1.47,1.47,round,,75,\n"
TIGHT = "1,1.95,1.15,rect,0.22,0,\n1.5,1.95,1.15,rect,0.22,80,\n"
TRACED = HEAD + FIRST + "2,,,outline,,0,trace.csv\n" + LAST
BOW_TIE = "x_in,y_in\n0,0\n1,1\n1,0\n0,1\n0,0.02\n"
OPEN = "x_in,y_in\n0,0\n1,0\n1,1\n"


def between(row):
    """Return a sheet with a row between two good ones: the file's row 3."""
    return HEAD + FIRST + row + "\n" + LAST


BAD_SHEETS = {
    # name: (sheet, trace, what the message must name)
    "no station column": ("height_in,width_in\n1,1\n1,1\n", None, ["row 1", "station_in"]),
    "no height column": ("station_in,width_in\n0,1\n1,1\n", None, ["row 2", "column height", "micrometer"]),
    "no unit": ("station,height_in\n0,1\n1,1\n", None, ["row 1", "column station", "station_in"]),
    "unknown column": ("station_in,hieght_in\n0,1\n1,1\n", None, ["row 1", "column hieght_in", "height_in"]),
    "a word": (between("2,tall,1.15,rect,0.22,0,"), None, ["row 3", "column height_in", "'tall'", "1.625"]),
    "negative size": (between("2,-1.7,1.15,rect,0.22,0,"), None, ["row 3", "column height_in", "-1.7"]),
    "negative corner": (between("2,1.7,1.15,rect,-0.22,0,"), None, ["row 3", "column corner_in", "-0.22"]),
    "infinity": (between("2,1.7,inf,rect,0.22,0,"), None, ["row 3", "column width_in", "inf"]),
    "beyond numbers": (between("2,1.7,1e999,rect,0.22,0,"), None, ["row 3", "column width_in", "too large"]),
    "not a number": (between("nan,1.7,1.15,rect,0.22,0,"), None, ["row 3", "column station_in", "nan"]),
    "another unit": (between("2,43.2 mm,1.15,rect,0.22,0,"), None, ["row 3", "column height_in", "millimeters"]),
    "two units": ("station_in,height_in,height_mm\n0,1,25\n1,1,25\n", None, ["row 1", "column height_mm", "two units"]),
    "out of order": (HEAD + FIRST + LAST + FIRST, None, ["rows 3 and 4", "column station_in", "order"]),
    "one station twice": (HEAD + FIRST + LAST + LAST, None, ["rows 3 and 4", "column station_in", "Leave one"]),
    "corner too large": (between("2,1.7,1.15,rect,0.7,0,"), None, ["row 3", "column corner_in", "half the width"]),
    "empty size": (between("2,,1.15,rect,0.22,0,"), None, ["row 3", "column height_in", "empty"]),
    "unknown shape": (between("2,1.7,1.15,heart,0.22,0,"), None, ["row 3", "column shape", "'heart'"]),
    "crossing outline": (TRACED, BOW_TIE, ["trace.csv", "row 3", "column outline", "crosses", "Fix"]),
    "open outline": (TRACED, OPEN, ["trace.csv", "row 3", "column outline", "not closed"]),
    "no outline": (TRACED, None, ["row 3", "column outline", "no file 'trace.csv' beside this one"]),
    "too tight": (HEAD + FIRST + TIGHT, None, ["rows 3 and 4", "overlap", "turn_deg"]),
    "one row": (HEAD + FIRST, None, ["two or more"]),
    "header alone": (HEAD, None, ["two or more"]),
    "comments alone": ("# nothing yet\n", None, ["no header"]),
}


def refused(folder, argv, named, capsys):
    """The command refuses in one line that names the file and all of `named`, and writes nothing."""
    before = listing(folder)
    assert main(words(*argv)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1, err
    assert err.startswith(f"portgeo: {argv[1]}"), err
    assert "Traceback" not in err
    assert err.rstrip().endswith(".") and ". " in err, f"no hint in: {err}"
    for name in named:
        assert name in err
    assert listing(folder) == before


@pytest.mark.parametrize("fault", BAD_SHEETS)
def test_bad_sheets_are_refused(fault, tmp_path, capsys):
    text, trace, named = BAD_SHEETS[fault]
    path = tmp_path / "port.csv"
    path.write_text(text)
    if trace is not None:
        (tmp_path / "trace.csv").write_text(trace)
    refused(tmp_path, ["measure", path, "--json", tmp_path / "a.json", "--csv", tmp_path / "a.csv"], named, capsys)
    refused(tmp_path, ["loft", path, "-o", tmp_path / "port.stl"], named, capsys)
    refused(tmp_path, ["view", path, "--picture", tmp_path / "port.png"], named, capsys)


def binary():
    return np.random.default_rng(5).integers(0, 256, 4000, dtype=np.uint8).tobytes()


def one_triangle():
    return b" " * 80 + struct.pack("<I", 1) + struct.pack("<12fH", *np.arange(12.0), 0)


BAD_FILES = {
    "an empty sheet": ("port.csv", b"", "empty"),
    "a binary sheet": ("port.csv", binary(), "binary"),
    "a workbook that is none": ("port.xlsx", binary(), "not a workbook"),
    "an empty mesh": ("port.stl", b"", "empty"),
    "a binary file named stl": ("port.stl", binary(), ""),
    "an stl cut short": ("port.stl", b" " * 80 + struct.pack("<I", 900) + bytes(50), ""),
    "an stl of one triangle": ("port.stl", one_triangle(), ""),
    "a binary file named ply": ("port.ply", binary(), ""),
    "a binary file named obj": ("port.obj", binary(), ""),
    "a binary file named off": ("port.off", binary(), ""),
    "a binary file named 3mf": ("port.3mf", binary(), ""),
    "a binary file named glb": ("port.glb", binary(), ""),
    "an ending nobody knows": ("port.doc", b"words", ".doc"),
    "no ending": ("port", b"words", "nameless"),
}


@pytest.mark.parametrize("fault", BAD_FILES)
def test_bad_files_are_refused(fault, tmp_path, capsys):
    name, data, named = BAD_FILES[fault]
    path = tmp_path / name
    path.write_bytes(data)
    refused(tmp_path, ["measure", path, "--json", tmp_path / "a.json", "--csv", tmp_path / "a.csv"], [named], capsys)
    refused(tmp_path, ["loft", path, "-o", tmp_path / "new.stl"], [], capsys)


@pytest.mark.parametrize("name", ["port.csv", "port.xlsx", "port.stl", "port.3mf"])
def test_what_is_not_there_or_is_a_folder_is_refused(name, tmp_path, capsys):
    argv = ["measure", tmp_path / name, "--json", tmp_path / "a.json"]
    refused(tmp_path, argv, ["no such file"], capsys)
    (tmp_path / name).mkdir()
    refused(tmp_path, argv, ["not an ordinary file"], capsys)


def test_places_that_cannot_be_written_are_refused_first(sheet, tmp_path, monkeypatch, capsys):
    """Before any work: survey and loft are not reached."""
    monkeypatch.setattr("portgeo.front.states.survey", None)
    before = listing(tmp_path)
    missing, folder = tmp_path / "no" / "a.json", tmp_path / "folder"
    folder.mkdir()
    for argv, named in (
        (("measure", sheet, "--json", missing), "no folder"),
        (("measure", sheet, "--csv", folder), "not an ordinary file"),
        (("measure", sheet, "--json", tmp_path / "a", "--csv", tmp_path / "a"), "two results"),
        (("loft", sheet, "-o", tmp_path / "no" / "port.stl"), "no folder"),
        (("loft", sheet, "-o", tmp_path / "port.doc"), ".doc"),
    ):
        assert main(words(*argv)) == 2
        out, err = capsys.readouterr()
        assert out == "" and len(err.splitlines()) == 1 and named in err
    assert listing(tmp_path) == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "portgeo demo --out port-demo"),
        (["mesure", "port.csv"], "there is no command 'mesure'. Did you mean  portgeo measure ?"),
        (["frobnicate"], "Commands are frame, loft, measure,"),
        (["measure", "job.toml"], "job.toml: this is a job or a target, not a port. `portgeo report job.toml"),
        (["loft", "job.toml", "-o", "a.stl"], "job.toml: this is a job or a target, not a port"),
        (["report", "port.csv", "--out", "r"], "port.csv: this is a port, not a job. `portgeo measure port.csv`"),
        (["report", "target.toml", "--out", "r"], "target.toml: this is a target, not a job"),
    ],
)
def test_a_word_or_file_in_the_wrong_place_is_told_where_it_belongs(tmp_path, monkeypatch, capsys, words, says):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "target.toml").write_text('units = "in"\n[short_side]\nradius = 0.5\n')
    assert main(words) == 2
    told = capsys.readouterr()
    assert told.out == "" and says in told.err and "Traceback" not in told.err


def test_the_threads_that_a_shell_asks_for_change_no_result():
    """How many threads share a sum changes its last bits; the library reads the number once, when it is loaded."""
    script = "import sys, os, portgeo.app.cli; print('numpy' in sys.modules, os.environ['OPENBLAS_NUM_THREADS'])"
    env = os.environ | {"OPENBLAS_NUM_THREADS": "2"}
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, env=env)
    assert done.stdout.split() == ["False", "1"]


def test_a_name_with_a_slip_in_its_ending_gets_the_nearest_there_is(tmp_path, capsys):
    (tmp_path / "as-cast.csv").write_text("station_in,diameter_in\n0,1\n1,1\n")
    assert main(["measure", str(tmp_path / "as-cast.cvs")]) == 2
    assert capsys.readouterr().err.endswith("as-cast.cvs: there is no such file. Did you mean as-cast.csv?\n")
    assert main(["measure", str(tmp_path / "nothing-like-it.stl")]) == 2
    assert capsys.readouterr().err.endswith("there is no such file. Check the name and the folder.\n")


def test_a_bench_sheet_in_place_of_a_section_sheet_is_named_as_one(tmp_path, capsys):
    sheet = tmp_path / "bench.csv"
    sheet.write_text("lift_in,flow_cfm,depression_in_h2o\n0.1,50,28\n")
    assert main(["measure", str(sheet)]) == 2
    assert "this is a bench sheet, not a section sheet: it has columns for lift and flow" in capsys.readouterr().err
    sheet.write_text("station_in,clock,thickness_in\n1.0,6,0.150\n")
    assert main(["measure", str(sheet)]) == 2
    said = capsys.readouterr().err
    assert "this is a sheet of wall readings, not a section sheet" in said
    assert "this one goes into a target, as wall_readings under [limits]" in said


def test_heights_in_another_unit_than_widths_are_told_once(tmp_path, capsys):
    sheet = tmp_path / "port.csv"
    sheet.write_text("station_in,height_mm,width_in,corner_in\n0,1.62,2.3,0.3\n1,1.59,2.2,0.3\n2,1.55,2.2,0.3\n")
    assert main(["measure", str(sheet)]) == 2
    message = capsys.readouterr().err
    assert "row 2, column height_mm: heights are 1.62 mm and such beside widths of 2.3 in, all along" in message
    assert message.count("\n") == 1


def test_a_third_port_is_a_sets(tmp_path, capsys):
    assert main(["compare", "a.csv", "b.csv", "c.csv"]) == 2
    assert "3 ports are named. Put --set before them" in capsys.readouterr().err


def test_an_option_with_nothing_after_it_says_what_to_write(capsys):
    assert main(["measure", "port.csv", "--json"]) == 2
    assert capsys.readouterr().err.strip() == (
        "portgeo: --json: nothing stands after it. Write --json FILE: write the full result here."
    )
    assert main(["measure", "port.csv", "--units", "--force"]) == 2
    assert "Write --units in or mm" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["measure", "port.csv", "--untis", "in"], "portgeo measure has no option --untis. Did you mean --units?"),
        (["loft", "port.csv", "--ouptut=a.stl"], "portgeo loft has no option --ouptut. Did you mean"),
        (["measure", "port.csv", "--qqqqqq"], "portgeo measure has no option --qqqqqq. `portgeo measure -h` shows"),
        (["measure", "port.csv", "--units", "cm"], "--units: invalid choice: 'cm'"),
        (["measure", "port.csv", "--stations", "many"], "--stations: "),
        (["loft", "a.csv", "b.csv", "-o", "c.stl"], "'b.csv' is one word too many. "),
        (["loft"], "no SHEET and no -o/--output is given. For example `portgeo loft port.csv -o port.stl`."),
        (["reshape"], "no PORT and no TARGET is given. For example `portgeo reshape port.csv wanted.toml`."),
        (["measure", "port.csv", "--unit", "in"], "--unit may mean "),
        (["measure", "port.csv", "--picture", "p.jpg"], "p.jpg: pictures are written as .png. Name it p.png."),
        (["reshape", "wanted.toml", "port.csv"], "the port goes first, then the target. Write `portgeo reshape port.c"),
    ],
)
def test_a_misspelt_option_is_refused_in_one_message(argv, said, capsys):
    assert main(argv) == 2
    told = capsys.readouterr()
    assert told.out == "" and told.err.startswith(f"portgeo: {said}") and told.err.count("\n") == 1


def test_airspeed_of_a_port_that_splits(tmp_path, capsys, pytestconfig):
    """All passages at once, shares as typed; what is of one passage is an error that says what to do."""
    head, *rows = (pytestconfig.rootpath / "meshes/demo-two-valves.csv").read_text().splitlines()[2:]
    sheet = str(tmp_path / "port.csv")
    noses = (",0.060" if "nose of the divider" in row else "," for row in rows)
    lines = [f"{head},nose_radius_in", *(row + nose for row, nose in zip(rows, noses, strict=True))]
    (tmp_path / "port.csv").write_text("\n".join(lines))
    table, record = tmp_path / "air.csv", tmp_path / "air.json"
    typed = ["airspeed", sheet, "--cfm", "210", "--points", "1000", "--shares", "left=55%"]
    assert main([*typed, "--csv", str(table), "--json", str(record)]) == 0
    shown = capsys.readouterr().out
    assert "left 55.0% (115.5 cfm), right 45.0% (94.5 cfm); as given" in shown
    assert "your edge is rounded 0.060 in" in " ".join(shown.split()) and "round it" not in shown
    result = json.loads(record.read_text())
    assert [leg["share"] for leg in result["legs"]] == [0.55, 0.45]
    with table.open() as file:
        assert {row["leg"] for row in csv.DictReader(file)} == {"", "left", "right"}
    engine = ["--bore", "86mm", "--stroke", "86mm", "--rpm", "7000", "--valve", "33mm"]
    assert main([*typed, *engine, "--valves", "2", "--cylinders", "4", "--json", str(record), "--force"]) == 0
    speed, area = 2.0 * 0.086 * 7000.0 / 60.0, np.pi / 4.0 * 0.086**2  # mean piston speed, piston
    index = area * speed / (2.0 * np.pi / 4.0 * 0.033**2 * 0.35 * 340.294)  # Taylor's, as docs/validation.md has it
    demand = json.loads(record.read_text())["demand"]
    assert demand["mach_index"] == pytest.approx(index, rel=1e-4)
    assert demand["power_estimate_hp"] == pytest.approx([0.20 * 4 * 210.0, 0.26 * 4 * 210.0], rel=1e-6)
    assert "ESTIMATE" in capsys.readouterr().out.upper()
    for more, said in (
        (engine, "the port has 2 legs, and the engine's valves to a cylinder are 1"),
        (["--valve", "1.3in"], "--valve: this port splits, and this is for one passage. Name the passage with --leg"),
        (["--exhaust"], "comes out of the legs"),
    ):
        assert main([*typed, *more]) == 2
        assert said in capsys.readouterr().err
    assert main([*typed[:-1], "left=half"]) == 2
    assert "--shares: 'left=half' is no leg's share" in capsys.readouterr().err
