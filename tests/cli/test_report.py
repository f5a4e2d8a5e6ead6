"""The commands new and report: a job from its folder to its page, killed, changed, damaged and run again."""

import csv
import hashlib
import io
import json
import os
import pickle
import random
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import openpyxl
import pytest

import portgeo as pg
from portgeo.app.cli import main
from portgeo.app.job import published
from portgeo.app.job.keep import MARK, Kept
from portgeo.app.job.results import Recorded
from portgeo.app.job.run import run_job
from portgeo.app.job.steps import steps_of
from portgeo.core.errors import InputError
from portgeo.files.toml.job import read_job
from portgeo.files.walls import read_walls
from portgeo.front.skins import Skin
from portgeo.reshape.limits import WALL_SLOPE
from tests.new_job import fill_in

# A short port with few rows, so that a whole report is quick; a round bore, so that its volume is known.
BORE_MM, LENGTH_MM, CUT_MM = 30.0, 80.0, 0.5
JOB = """title = "A bore & its <cut>"
units = "mm"
customer = "bored out"

[engine]
name = "invented"
cylinders = 2
bore = 80
stroke = 70
rpm = 6000
valve = 34
throat = 30

[metal]
density_g_cc = 3.0

[[state]]
name = "as cast"
date = 2026-01-05
port = "before.csv"
runner = "runner.csv"

[[state]]
name = "<b>bored</b> $x$"
note = "=1+1"
port = "sub/after.csv"
runner = "runner.csv"
bench_run = "bored"

[bench]
file = "bench.csv"

[tool]
head = 8
shank = 6
length = 150

[walls]
file = "walls.csv"
state = "as cast"

[templates]
at = [20.0]
"""
BENCH = "lift_mm,flow_cfm,depression_in_h2o,state\n4,60,28,as cast\n8,100,28,\n4,64,28,bored\n8,105,28,\n"
WALLS = "station_mm,clock,thickness_mm\n40,12,6\n40,3,6\n40,6,6\n40,9,6\n"
BORED = "<b>bored</b> $x$"


def bore_sheet(diameter, length=LENGTH_MM):
    """Return the sheet of a straight round bore."""
    rows = "".join(f"{s},{diameter},round,0.01\n" for s in (0, length / 2, length))
    return "station_mm,height_mm,shape,reading_error_mm\n" + rows


def write_job(folder, job=JOB):
    """Write the job's files into a folder."""
    (folder / "sub").mkdir(parents=True)
    (folder / "job.toml").write_text(job, encoding="utf-8")
    (folder / "before.csv").write_text(bore_sheet(BORE_MM))
    (folder / "sub" / "after.csv").write_text(bore_sheet(BORE_MM + 2 * CUT_MM))
    (folder / "runner.csv").write_text(bore_sheet(BORE_MM - 1.0, 60.0))
    (folder / "bench.csv").write_text(BENCH)
    (folder / "walls.csv").write_text(WALLS)
    return folder


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A job's folder with its report, and what its first run said.

    Tests that run side by side share one first run: whoever comes first makes it, the others wait and copy.
    """
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent
    shared, told = root / "report-job", root / "report-job.json"
    try:
        write_job(shared)
    except FileExistsError:
        give_up = time.monotonic() + 900.0
        while not told.exists():
            assert time.monotonic() < give_up, "the first run did not end"
            time.sleep(0.5)
    else:
        said = run_apart(shared)
        (root / "report-job.part").write_text(json.dumps(said))
        (root / "report-job.part").rename(told)
    folder = tmp_path_factory.mktemp("bench") / "job"
    shutil.copytree(shared, folder)
    return folder, json.loads(told.read_text())


def run_apart(folder):
    """Run the report in a process of its own and return what it says."""
    words = [sys.executable, "-m", "portgeo", *words_of(folder)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def words_of(folder, *more):
    """Return the words that make a folder's report."""
    return ["report", str(folder / "job.toml"), "--out", str(folder / "report"), *more]


def contents(folder):
    """Return the hash of every file of a report by name, what is kept left out."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".kept" not in path.parts
    }


def results_of(folder):
    return json.loads((folder / "report" / "results.json").read_text(encoding="utf-8"))


def test_a_report_has_all_its_files_and_the_figures_are_the_bores(made):
    folder, _ = made
    report, results = folder / "report", results_of(folder)
    for name in ("report.html", "customer.pdf", "results.json", "tables.xlsx", "templates.pdf"):
        assert (report / name).stat().st_size > 1000
    assert (report / "customer.pdf").read_bytes().startswith(b"%PDF")
    assert {path.name for path in (report / "meshes").iterdir()} == {
        "as-cast.stl", "as-cast-runner.stl", "b-bored-b-x.stl", "b-bored-b-x-runner.stl",
    }  # fmt: skip
    assert results["schema"] == "portgeo.report/2" and len(results["source"]) == 6
    by_hand = np.pi / 4.0 * LENGTH_MM * np.array([BORE_MM**2, (BORE_MM + 2 * CUT_MM) ** 2]) / 1000.0
    ports = [state["port"] for state in results["states"]]
    assert [port["volume_cc"] for port in ports] == pytest.approx(by_hand, rel=5e-4)
    change = results["compare"][0]["record"]
    assert (results["compare"][0]["before"], results["compare"][0]["after"]) == ("as cast", BORED)
    assert change["removed_cc"] == pytest.approx(by_hand[1] - by_hand[0], rel=5e-3)
    assert change["removed_g"] == pytest.approx(3.0 * change["removed_cc"])
    assert results["states"][1]["airspeed"]["flow"]["cfm"] == pytest.approx(105.0)
    assert "105.0 cfm at 28 inH2O: bench run 'bored'" in results["states"][1]["flow_note"]
    assert results["demand"]["power_estimate_hp"][0] == pytest.approx(0.2 * 105.0 * 2)
    told = {one["step"] for one in results["skipped"]}
    assert {"cut plan", "balance of the set"} < told and any("comparison of the runner" in one for one in told)
    for name in results["files"].values():
        assert (report / name).exists()


def test_the_record_of_each_step_is_what_its_command_writes(made, tmp_path):
    folder, _ = made
    os.chdir(folder)
    assert main(["measure", "before.csv", "-q", "--json", str(tmp_path / "m.json")]) == 0
    assert (
        main(["compare", "before.csv", "sub/after.csv", "-q", "--density", "3", "--json", str(tmp_path / "c.json")])
        == 0
    )
    results = results_of(folder)
    measured = json.loads((tmp_path / "m.json").read_text())
    # The job knows the valve besides.
    assert measured["throat"]["percent_of_valve"] is None
    measured["throat"]["percent_of_valve"] = pytest.approx(100.0 * BORE_MM / 34.0, rel=1e-3)
    assert results["states"][0]["port"] == measured
    assert results["compare"][0]["record"] == json.loads((tmp_path / "c.json").read_text())


PROBE_JOB = """title = "probed"
units = "mm"

[[state]]
name = "as cast"
port = "before.csv"

[bench]
file = "bench.csv"

[probe]
file = "probe.csv"
"""


def test_a_probes_readings_stand_beside_the_computed_air_of_their_state(tmp_path):
    folder = write_job(tmp_path / "job", PROBE_JOB)
    # 4 mm of lift: 60 cfm; a bore has flow over area everywhere, thinned out by little at such a speed.
    mean = 60.0 * 4.71947443e-4 / (np.pi / 4.0 * (BORE_MM / 1000.0) ** 2)
    rows = f"40,3,12,{mean:.3f},4\n60,12,12,{mean / 2.0:.3f},4\n60,12,0.1,20,4\n"
    (folder / "probe.csv").write_text("station_mm,clock,off_wall_mm,speed_m_s,lift_mm\n" + rows)
    done = run_job(read_job(folder / "job.toml"), folder / "report", lambda what, share: None)
    probe = done.results["probe"]
    assert (probe["state"], probe["record"]["source"]) == ("as cast", {"file": "probe.csv"})
    places = probe["record"]["places"]
    assert [place["ratio"] for place in places[:2]] == pytest.approx([1.0, 0.5], rel=0.02)
    assert places[2]["in_layer"] and "pictures/probe.png" in done.files
    table = list(csv.reader(io.StringIO((folder / "report/tables/probe.csv").read_text(encoding="utf-8"))))
    assert [row[-1] for row in table[1:]] == ["", "", "by the wall"]
    page = (folder / "report" / "report.html").read_text(encoding="utf-8")
    assert "That is computed; the probe’s fastest reading is" in page and "What the probe read</h2>" in page
    (folder / "probe.csv").write_text("station_mm,clock,off_wall_mm,speed_m_s\n400,3,12,20\n")
    with pytest.raises(InputError, match=r"probe\.csv") as refusal:
        run_job(read_job(folder / "job.toml"), folder / "report", lambda what, share: None)
    assert str(tmp_path) not in str(refusal.value)


CALM_JOB = """title = "calm"
units = "mm"

[[state]]
name = "as cast"
port = "before.csv"

[bench]
flow_cfm = 80

[walls]
file = "walls.csv"

[calm]
"""


def test_a_straight_bore_has_nothing_to_cut_for_the_air_and_the_report_says_so(tmp_path):
    folder = write_job(tmp_path / "job", CALM_JOB)
    done = run_job(read_job(folder / "job.toml"), folder / "report", lambda what, share: None)
    calm = done.results["calm"]
    assert (calm["state"], calm["record"]["chosen"], calm["record"]["flow"]["cfm"]) == ("as cast", None, 80.0)
    assert "calm_already" in [warning["code"] for warning in done.results["warnings"]]
    page = (folder / "report" / "report.html").read_text(encoding="utf-8")
    assert "As cast: nothing to cut for the air." in page and "within the" in page[page.index('id="calm"') :]
    assert [model.state for model in done.models] == ["as cast"] and not list(folder.glob("report/calm*"))
    again = run_job(read_job(folder / "job.toml"), folder / "report", lambda what, share: None)
    assert again.made == 0


@pytest.mark.nightly
def test_the_report_of_the_demo_gives_the_librarys_cut_that_calms_the_air(tmp_path):
    for path in (Path(__file__).parents[2] / "meshes").glob("demo-*"):
        shutil.copy(path, tmp_path)
    job = tmp_path / "demo-job.toml"
    job.write_text(re.sub(r"(?m)^# (?=\[calm\])", "", job.read_text(encoding="utf-8")), encoding="utf-8")
    done = run_job(read_job(job), tmp_path / "report", lambda what, share: None)
    record = done.results["calm"]["record"]
    cut = tmp_path / "demo-first-cut.csv"
    found = pg.calm(pg.read(cut), record["flow"]["cfm"], tmp_path / "demo-target.toml").to_dict()
    assert record["choices"] == found["choices"] and record["chosen"] == found["choices"][record["knee"]]
    for name in ("calm-cut-sheet.txt", "calm-cut-sheet.csv", "meshes/calm-cut.stl", "pictures/calm-choices.png"):
        assert name in done.files
    calm = done.models[-1]
    assert (calm.state, calm.computed) == ("calm cut", True)
    take = next(paint.values for paint in calm.paints if paint.name == "depth to take")
    assert take.max() == pytest.approx(record["chosen"]["deepest_mm"], abs=0.05)


def test_models_lie_on_the_wall_and_are_painted_with_what_is_known(made):
    folder, _ = made
    done = run_job(read_job(folder / "job.toml"), folder / "report", lambda what, share: None)
    assert done.made == 0
    cast, cast_runner, bored, _ = done.models
    paints = {paint.name: paint for paint in bored.paints}
    assert set(paints) == {"area", "depth", "speed", "wall left", "reach"}
    assert len(cast.faces) <= 15000 and cast_runner.part == "runner"
    radius = np.hypot(*bored.vertices[:, 1:].T)
    assert radius == pytest.approx(np.full(len(radius), BORE_MM / 2 + CUT_MM), abs=0.02)
    assert bored.stations == pytest.approx(bored.vertices[:, 0], abs=1e-6)
    # The runner stands before the port: it ends where the port begins.
    assert cast_runner.vertices[:, 0].max() == pytest.approx(0.0, abs=1e-6)
    corners = bored.vertices[bored.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (np.einsum("ij,ij->i", normal[:, 1:], corners.mean(axis=1)[:, 1:]) > 0.0).all()  # outward
    assert np.nanmedian(paints["depth"].values) == pytest.approx(CUT_MM, abs=0.01)
    assert paints["speed"].values[bored.stations > BORE_MM] == pytest.approx(1.0, abs=0.01)  # a straight duct
    # What a reading vouches for falls off by WALL_SLOPE for each mm away; the skin's rows are a millimetre apart.
    middle = np.abs(bored.stations - LENGTH_MM / 2) < 1.0
    assert np.nanmax(paints["wall left"].values[middle]) == pytest.approx(6.0 - CUT_MM, abs=WALL_SLOPE)
    assert set(np.unique(paints["reach"].values)) <= {0.0, 1.0, 2.0, 3.0}
    roof = bored.vertices[:, 2] > 0.9 * radius
    assert (np.minimum(bored.clocks, 12.0 - bored.clocks)[roof] < 1.0).all()


def test_names_are_text_in_page_tables_and_workbook(made):
    folder, _ = made
    page = (folder / "report" / "report.html").read_text(encoding="utf-8")
    assert "<b>bored</b>" not in page and "<cut>" not in page and "&lt;b&gt;bored&lt;/b&gt;" in page
    for path in (folder / "report" / "tables").iterdir():
        with open(path, newline="", encoding="utf-8") as stream:
            for row in csv.reader(stream):
                assert not any(cell.startswith(("=", "+", "@")) for cell in row)
    book = openpyxl.load_workbook(folder / "report" / "tables.xlsx")
    assert all(cell.data_type != "f" for sheet in book for row in sheet.iter_rows() for cell in row)


def test_a_second_run_makes_no_step_again_and_changes_nothing(made, capsys):
    folder, first = made
    steps = len(
        {step.key for step in steps_of(read_job(folder / "job.toml")).by_name.values()}
    )  # one, though two need it
    before, kept = contents(folder / "report"), kept_in(folder)
    assert f"{steps} results made, 0 used again" in first
    assert main(words_of(folder)) == 0
    assert f"nothing had changed, all {steps} results were used again" in capsys.readouterr().out
    assert contents(folder / "report") == before and kept_in(folder) == kept


def kept_in(folder):
    """Return when each kept result was written, by its name."""
    return {path.name: path.stat().st_mtime_ns for path in (folder / "report" / ".kept").glob("*.kept")}


def test_only_what_a_change_touches_is_made_again(made, tmp_path):
    steps = steps_of(read_job(made[0] / "job.toml")).by_name
    folder = write_job(
        tmp_path / "job",
        JOB.replace('name = "as cast"', 'name = "stock"').replace('[walls]\nfile = "walls.csv"\nstate = "as cast"', ""),
    )
    (folder / "sub" / "after.csv").write_text(bore_sheet(BORE_MM + 1.2))
    changed = steps_of(read_job(folder / "job.toml")).by_name
    same = {name for name in steps if name in changed and steps[name].key == changed[name].key}
    # A new name of a state and other bytes of another touch neither what was read nor measured of the first.
    assert {"port 0", "runner 0", "survey port 0", "survey runner 0", "match 0"} <= same
    # A run's coefficients are on the throat of the state that was flowed: the bench hangs on what states are called.
    assert not {"port 1", "survey port 1", "compare port 0 1", "speed 1", "models", "reach", "bench"} & same
    no_valve = JOB.replace("valve = 34\nthroat = 30\n", "")
    benches = []
    for name in ("as cast", "stock"):
        (folder / "job.toml").write_text(no_valve.replace('"as cast"', f'"{name}"'), encoding="utf-8")
        benches.append(steps_of(read_job(folder / "job.toml")).by_name["bench"].key)
    assert benches[0] == benches[1]


def test_a_damaged_result_is_made_again(made):
    folder, _ = made
    before = contents(folder / "report")
    kept = Kept(folder / "report")
    steps = steps_of(read_job(folder / "job.toml")).by_name
    path = kept.path(steps["match 0"].key)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    (folder / "report" / "meshes" / "as-cast.stl").unlink()
    assert not kept.has(steps["match 0"].key)
    assert main(["report", str(folder / "job.toml"), "--out", str(folder / "report"), "-q"]) == 0
    assert contents(folder / "report") == before and kept.has(steps["match 0"].key)


def test_a_kept_file_cannot_have_anything_run(tmp_path):
    kept, ran = Kept(tmp_path), tmp_path / "ran"

    class Bad:
        def __reduce__(self):
            return os.mkdir, (str(ran),)

    def stored(tree, **arrays):
        stream = io.BytesIO()
        np.savez(stream, tree=np.frombuffer(json.dumps(tree).encode(), dtype=np.uint8), **arrays)
        return stream.getvalue()

    with pytest.raises(TypeError):
        kept.put("k", Bad())
    # A stranger can make the hash right: what is in the file must be harmless all the same.
    for payload in (
        pickle.dumps(Bad()),
        stored({"array": 0}, **{"0": np.array([Bad()], dtype=object)}),
        stored({"class": ["os", "mkdir"], "fields": {}}),
        stored({"class": ["portgeo.app.job.results", "Recorded"], "fields": {}}),
        stored({"class": ["portgeo.app.job.keep", "Path"], "fields": {}}),
    ):
        head = MARK + hashlib.sha256(b"k" + payload).hexdigest().encode() + b"\n"
        kept.folder.mkdir(exist_ok=True)
        kept.path("k").write_bytes(head + payload)
        assert kept.has("k")
        assert kept.get("k") is None and not ran.exists() and not kept.has("k")


def test_a_kept_result_comes_back_as_it_was(tmp_path):
    array = np.arange(6.0).reshape(2, 3).T
    record = {"a": [1, 2.5, None, float("inf")], 3: ("b", True), "c": np.float32(0.1), "d": array[0]}
    kept = Kept(tmp_path)
    kept.put("k", Skin(array, array, array[:, 0], array[:, 1]))
    kept.put("r", Recorded(record, b"\x89PNG\0"))
    skin, told = kept.get("k"), kept.get("r")
    assert isinstance(skin, Skin) and np.array_equal(skin.vertices, array) and skin.faces is skin.vertices
    assert told.chart == b"\x89PNG\0" and repr(told.record) == repr(record)
    first = kept.path("r").read_bytes()
    kept.put("r", Recorded(record, b"\x89PNG\0"))
    assert kept.path("r").read_bytes() == first


def test_files_that_no_report_wrote_are_left_alone(made, tmp_path, capsys):
    folder, _ = made
    sheet = folder / "report" / "tables.xlsx"
    whole = sheet.read_bytes()
    sheet.write_bytes(whole + b"notes of mine")
    words = ["report", str(folder / "job.toml"), "--out", str(folder / "report"), "-q"]
    assert main(words) == 2
    assert "changed since the report wrote it" in capsys.readouterr().err
    assert sheet.read_bytes() == whole + b"notes of mine"
    assert main([*words, "--force"]) == 0 and sheet.read_bytes() == whole
    other = tmp_path / "other"
    other.mkdir()
    (other / "report.html").write_text("mine")
    assert main([*words[:3], str(other)]) == 2
    assert "no report wrote it" in capsys.readouterr().err
    assert [path.name for path in other.iterdir()] == ["report.html"]


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("bench.csv", "8,100", "3,100", "does not rise"),
        ("sub/after.csv", "0,31.0", "0,x", "row 2, column height_mm"),
        ("job.toml", 'bench_run = "bored"', 'bench_run = "ported"', "line 28, [state] bench_run"),
        ("job.toml", "at = [20.0]", "at = [200.0]", "outside the port"),
        ("job.toml", "throat = 30", "throat = 40", "[engine]: the throat"),
    ],
)
def test_what_a_job_names_is_refused_with_its_place(tmp_path, capsys, file, old, new, says):
    folder = write_job(tmp_path / "job")
    text = (folder / file).read_text()
    assert old in text
    (folder / file).write_text(text.replace(old, new))
    assert main(["report", str(folder / "job.toml"), "--out", str(folder / "report")]) == 2
    told = capsys.readouterr().err
    assert says in told and "Traceback" not in told
    assert not (folder / "report" / "report.html").exists()


# A run ends itself, as if it were killed, at a moment told by what it has done: the same on any machine under any
# load. It is after so many steps set to work, some of which are then half made, or at the so-manieth file that it
# opens to write.
KILLED = 9
PROGRAM = """
import os, sys
from portgeo.app.cli import main
kind, number, seen = sys.argv.pop(1), int(sys.argv.pop(1)), 0

def count():
    global seen
    seen += 1
    if seen == number:
        os._exit(9)

def on_event(frame, event, argument):
    if event == "return" and frame.f_code.co_name in ("submit", "make_step"):
        count()

def on_audit(event, arguments):
    if event == "open" and arguments[2] & (os.O_WRONLY | os.O_RDWR) and "report" in str(arguments[0]):
        count()

if __name__ == "__main__":
    if kind == "step":
        sys.setprofile(on_event)
    else:
        sys.addaudithook(on_audit)
    sys.exit(main())
"""


def kill_and_finish(folder, moments):
    """Kill runs at moments (kind, number); return how they ended, and the report that a last one makes."""
    program = folder / "killed.py"
    program.write_text(PROGRAM, encoding="utf-8")
    known, ends = {}, []
    for kind, number in moments:
        words = [sys.executable, str(program), kind, str(number), *words_of(folder, "-q")]
        # It has to have ended as a whole: a process that it set to work would hold the pipe open, for ever.
        ends.append(subprocess.run(words, stdout=subprocess.PIPE, check=False).returncode)
        kept = {path: path.read_bytes() for path in (folder / "report").glob(".kept/*.kept")}
        for path, data in known.items():
            if path.name[0] != "." and path in kept:
                assert kept[path] == data  # no earlier result is damaged
        known = kept
    assert main(words_of(folder, "-q")) == 0
    return ends, contents(folder / "report")


def test_killed_at_any_moment_a_run_goes_on_and_ends_the_same(made, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(made[0], folder)
    whole = contents(folder / "report")
    # A third of what is kept is gone, and so are the report's files: work for the kills to fall in.
    for path in sorted((folder / "report" / ".kept").glob("*.kept"))[::3]:
        path.unlink()
    for name in whole:
        (folder / "report" / name).unlink()
    ends, again = kill_and_finish(folder, [("step", 3), ("write", 7)])
    assert ends == [KILLED] * 2 and again == whole
    assert not [path for path in (folder / "report").rglob(".*") if re.fullmatch(r"\.[0-9a-f]{16}.*", path.name)]


@pytest.mark.nightly
def test_killed_twenty_times(made, tmp_path):
    folder = write_job(tmp_path / "job")
    draw = random.Random(20)
    moments = [(draw.choice(("step", "write")), draw.randint(1, 12)) for _ in range(20)]
    ends, whole = kill_and_finish(folder, moments)
    assert KILLED in ends and set(ends) <= {0, KILLED} and whole == contents(made[0] / "report")


@pytest.mark.nightly
def test_the_demos_job_shows_everything(tmp_path):
    meshes = Path(__file__).resolve().parents[2] / "meshes"
    assert main(["report", str(meshes / "demo-job.toml"), "--out", str(tmp_path / "report"), "-q"]) == 0
    results = json.loads((tmp_path / "report" / "results.json").read_text(encoding="utf-8"))
    for key in ("bench", "demand", "plan", "reach", "balance", "match", "compare", "engine"):
        assert results[key], key
    assert results["plan"]["beside"]["removed_cc"] > 0.0 and results["balance"]["odd_one_out"] == 4
    assert (tmp_path / "report" / "cut-sheet.txt").read_text(encoding="utf-8").startswith("first cut")


def test_new_makes_a_folder_that_runs_once_filled_in_and_overwrites_nothing(tmp_path, capsys):
    folder = tmp_path / "my port"
    assert main(["new", str(folder), "-q"]) == 0
    made = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert {"job.toml", "as-cast.csv", "bench.csv", "walls.csv", "target.toml"} < set(made)
    # Readings may stand in what is there: it is not replaced, whatever is asked.
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    for words in (["new", str(folder)], ["new", str(folder), "--force", "--units", "mm"]):
        assert main(words) == 2 and "another folder" in capsys.readouterr().err
    assert before == {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    folder = tmp_path / "in-mm"
    assert main(["new", str(folder), "-q", "--units", "mm"]) == 0
    assert (folder / "as-cast.csv").read_bytes() != made["as-cast.csv"]
    assert {path.name for path in tmp_path.iterdir()} == {"my port", "in-mm"}
    for unit in ("in", "mm"):
        steps = steps_of(read_job(fill_in(_new(tmp_path / unit, unit)) / "job.toml"))
        assert {"port 0", "bench", "speed 0", "plan", "planned speed", "templates", "models"} < set(steps.by_name)


def _new(folder, unit, *more):
    assert main(["new", str(folder), "-q", "--units", unit, *more]) == 0
    return folder


def test_a_new_folder_has_one_section_sheet_the_one_its_job_names_and_the_job_can_be_planned(tmp_path):
    from portgeo.core.port import port_from_readings
    from portgeo.files.sheets.sheet import read_sheet
    from portgeo.front.cuts import plan

    folder = fill_in(_new(tmp_path / "job", "in"))
    book = _new(tmp_path / "book", "in", "--xlsx")
    filled = openpyxl.load_workbook(book / "as-cast.xlsx")
    assert filled.worksheets[0].data_validations.dataValidation[0].type == "list"
    for row in filled["example"].iter_rows(min_row=3, values_only=True):
        filled.worksheets[0].append(row)
    filled.save(book / "as-cast.xlsx")
    sheets = []
    for kind, where in (("csv", folder), ("xlsx", book)):
        assert [path.name for path in where.glob("as-cast.*")] == [f"as-cast.{kind}"]
        assert read_job(where / "job.toml").job.state[0].port == f"as-cast.{kind}"
        sheets.append(read_sheet(where / f"as-cast.{kind}"))
    for one, other in zip(sheets[0].readings, sheets[1].readings, strict=True):
        assert (one.station, one.height, one.width, one.turn) == pytest.approx(
            (other.station, other.height, other.width, other.turn), nan_ok=True
        )
    port = port_from_readings(sheets[0].readings)
    assert plan(port, folder / "target.toml").removed_cc > 0.1  # the example wants something


def test_new_still_writes_a_blank_target(tmp_path, capsys):
    assert main(["new", "target", str(tmp_path / "t.toml")]) == 0
    assert (tmp_path / "t.toml").read_text(encoding="utf-8").startswith("# What is wanted of a port")
    assert main(["new", "target"]) == 2 and "new target FILE.toml" in capsys.readouterr().err
    assert main(["new", "one", "two"]) == 2


def test_a_sheet_beside_the_one_that_is_read_is_told_of(made, capsys):
    folder, _ = made
    (folder / "before.xlsx").write_bytes(b"readings may stand in it")
    try:
        assert main(["report", str(folder / "job.toml"), "--out", str(folder / "report")]) == 0
        assert "not read: before.xlsx (before.csv is what job.toml names)" in capsys.readouterr().out
    finally:
        (folder / "before.xlsx").unlink()


@pytest.mark.parametrize("more", [(), ("--xlsx",), ("--units", "mm")])
def test_of_a_new_folder_nothing_is_read_that_nobody_typed(tmp_path, capsys, more):
    assert main(["new", str(tmp_path / "my port"), *more]) == 0
    assert "are not read" in capsys.readouterr().out
    folder = tmp_path / "my port"
    job = read_job(folder / "job.toml").job
    given = job.model_dump(exclude_unset=True)
    assert given.pop("title") == "my port" and given.pop("units") == ("mm" if "mm" in more else "in")
    assert [set(state) for state in given.pop("state")] == [{"name", "port"}]
    assert not any(given.values())  # empty tables: no value of the engine, the metal or the templates
    assert main(["report", str(folder / "job.toml"), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr()
    assert "as-cast" in told.err and "0 row(s)" in told.err and "are not read" in told.err
    assert not (tmp_path / "out").exists() and not told.out


@pytest.mark.parametrize("file", ["bench.csv", "target.toml"])
def test_a_blank_sheet_that_a_job_names_is_refused_and_not_read_from_its_example(tmp_path, capsys, file):
    folder = _new(tmp_path / "job", "in")
    blank = (folder / file).read_bytes()
    (fill_in(folder) / file).write_bytes(blank)
    assert main(["report", str(folder / "job.toml"), "--out", str(tmp_path / "out"), "-q"]) == 2
    assert file in capsys.readouterr().err
    with pytest.raises(InputError, match="has no rows"):
        read_walls(_new(tmp_path / "blank", "in") / "walls.csv")


def test_a_key_taken_out_of_its_comment_without_its_table_is_told_where_it_belongs(tmp_path):
    path = _new(tmp_path / "job", "in") / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('# file = "bench.csv"', 'file = "bench.csv"'), "utf-8")
    with pytest.raises(InputError, match=r"\[bench\].* is there a # before that line"):
        read_job(path)


def test_a_throat_that_is_in_no_state_is_told_of(made):
    folder, _ = made
    states = results_of(folder)["states"]
    for throat, told in ((30, False), (31.5, False), (27, True), (33, True)):
        (folder / "throat.toml").write_text(JOB.replace("throat = 30", f"throat = {throat}"), encoding="utf-8")
        found = list(published._throat(steps_of(read_job(folder / "throat.toml")), states))
        assert len(found) == told
        assert not told or f"given as {throat:.2f} mm, but the port measures 31.00 mm" in found[0]["message"]


def test_a_state_that_is_named_anew_is_not_silently_without_its_bench_run(tmp_path):
    """The bench sheet still says "as cast": its rows are told of, in the results and on the page."""
    job = """title = "A bore"
units = "mm"
[[state]]
name = "raw casting"
port = "before.csv"
[bench]
file = "bench.csv"
"""
    folder = write_job(tmp_path / "job", job)
    assert main(words_of(folder, "-q")) == 0
    told = [each["message"] for each in results_of(folder)["warnings"] if each["code"] == "bench_state_unknown"]
    assert told[0].startswith("rows 2 to 3 are of a stage 'as cast', and no [[stage]] has that name")
    assert 'bench_run = "as cast"' in told[0] and 'bench_run = "bored"' in told[1]
    assert "no [[stage]] has that name" in (folder / "report" / "report.html").read_text(encoding="utf-8")
