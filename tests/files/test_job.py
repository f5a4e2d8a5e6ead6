"""Job files: what is refused, with which words, and that nothing outside the folder is read."""

import os
import re
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

import portgeo
from portgeo.app.cli import main
from portgeo.app.job.blanks import blank_job
from portgeo.app.job.check import check_job
from portgeo.app.job.folder import folder_files
from portgeo.app.job.steps import steps_of
from portgeo.app.live.job_text import raw_texts, with_entry, with_key, without_entry
from portgeo.core.errors import InputError
from portgeo.files.sheets.sheet import read_sheet
from portgeo.files.toml.job import job_from, read_job
from portgeo.files.toml.slips import content_of
from portgeo.files.toml.tables import place_of
from portgeo.files.toml.target import read_target, target_from
from tests.new_job import filled_in

EXAMPLE = filled_in({"job.toml": blank_job("in", "intake port 1").encode()})["job.toml"].decode()
ASSIGNED = [k for k, line in enumerate(EXAMPLE.splitlines()) if re.match(r"[a-z_]+ = ", line)]
# What may stand in place of a value: wrong kinds, sizes that cannot be, ways out, and plain nonsense.
WRONG = (
    "", '""', '" "', "[]", "[[]]", "{}", "true", "nan", "inf", "-1", "1e30", "0", "99999999999999999999", "1979-05-27",
    '"../../etc/passwd"', '"/etc/passwd"', '"C:\\\\x"', '"no-such-file.csv"', '"a\\u0000b"', '"\\u001b[2J"', "'''",
    '"<script>alert(1)</script>"', "[1, 2, 3]", '["a", 3]', "# gone", "{a = {a = {a = 1}}}", '"' + "x" * 5000 + '"',
)  # fmt: skip
LINES = (
    "[state]", "[[engine]]", "[engine]", "[unknown]", "unknown_key = 1", "= 3", "[", "]]", "title = 1", "units = 'cm'",
    "[[stage]]", '[[stage]]\nname = "as cast"\nport = "as-cast.csv"', "[target]\nfile = 3", "\x00", "[set]\nfiles = []",
    "[tool]\nhead = 0.1\nshank = 0.5\nlength = 6", '[walls]\nfile = "walls.csv"\nstate = "never"', "state = []",
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A new job's folder."""
    folder = tmp_path_factory.mktemp("job")
    for name, data in filled_in(folder_files("in", "intake port 1")).items():
        (folder / name).write_bytes(data)
    return folder


@st.composite
def broken(draw):
    """A job file with one to three things done to it that a hand, an editor or an enemy might do."""
    lines = EXAMPLE.splitlines()
    for _ in range(draw(st.integers(1, 3))):
        if not lines:
            break
        kind = draw(st.sampled_from(("value", "key", "gone", "line", "twice", "cut", "letter")))
        at = draw(st.sampled_from(ASSIGNED)) if kind in ("value", "key") else draw(st.integers(0, len(lines) - 1))
        at = min(at, len(lines) - 1)
        if kind == "value":
            lines[at] = lines[at].partition(" = ")[0] + " = " + draw(st.sampled_from(WRONG))
        elif kind == "key":
            lines[at] = draw(st.text('abcdefo_-.[ "', min_size=1, max_size=8)) + lines[at]
        elif kind == "gone":
            del lines[at]
        elif kind == "line":
            lines.insert(at, draw(st.sampled_from(LINES)))
        elif kind == "twice":
            lines.insert(at, lines[at])
        elif kind == "cut":
            del lines[at + 1 :]
        else:
            place = draw(st.integers(0, len(lines[at])))
            lines[at] = lines[at][:place] + draw(st.characters(exclude_categories=("Cs",))) + lines[at][place:]
    return "\n".join(lines)


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much])
@given(text=broken())
def test_a_broken_job_file_is_refused_with_one_message_and_nothing_is_written(folder, capsys, text):
    job = folder / "broken.toml"
    job.write_bytes(text.encode("utf-8"))
    before = sorted(folder.iterdir())
    try:
        steps_of(read_job(job))
    except InputError:
        pass
    else:
        reject()  # what was done to it left a job that is one
    capsys.readouterr()
    assert main(["report", str(job), "--out", str(folder / "out")]) == 2
    told = capsys.readouterr()
    assert told.out == "" and told.err.startswith("portgeo: ") and "broken.toml" in told.err
    assert "Traceback" not in told.err and len(told.err.strip()) < 1500
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("valve = 1.560", 'valve = "1.6"', "[engine] valve", "'1.6' is not a number"),
        ("valve = 1.560", "valv = 1.6", "[engine] valv", "Did you mean valve"),
        ("valve = 1.560", "valve = 160.0", "[engine] valve", "is not between 0.1181 and 11.81 in"),
        ("valve = 1.560", "valve = 1.6\nvalve_mm = 40.6", "[engine] valve_mm", "given twice"),
        ('units = "in"', 'units = "cm"', "units", 'Write  units = "in"'),
        ('units = "in"', 'unitz = "in"', "unitz", "Did you mean units?"),
        ('name = "as cast"', 'nmae = "as cast"', "[stage] nmae", "Did you mean name"),
        ('port = "as-cast.csv"', 'port = "ascast.csv"', "[stage] port", "there is no file 'ascast.csv'"),
        ('alloy = "aluminum"', 'alloy = "tin"', "[metal] alloy", 'Write one of "aluminum" or "iron"'),
        ("depression_in_h2o = 28", "depression_in_h2o = true", "depression_in_h2o", "is not a number"),
        ("at = [0.800, 1.600, 2.400]", 'at = "all"', "[templates] at", "is not a number"),
    ],
)
def test_a_refusal_names_the_key_its_line_and_the_mend(folder, old, new, line, says):
    assert old in EXAMPLE
    text = EXAMPLE.replace(old, new, 1)
    job = folder / "refused.toml"
    job.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        read_job(job)
    key = new.splitlines()[-1].split(" = ")[0]
    number = next(k for k, one in enumerate(text.splitlines(), 1) if one.startswith(f"{key} = "))
    assert str(refusal.value).startswith(f"{job}, line {number}, ")
    assert line in refusal.value.where and says in str(refusal.value)


@pytest.mark.parametrize(
    "name", ["../outside.csv", "/outside.csv", "sub/../../outside.csv", "C:/x.csv", "..\\x.csv", "sub"]
)
def test_a_path_that_leaves_the_folder_is_refused(folder, name):
    (folder / "sub").mkdir(exist_ok=True)
    (folder.parent / "outside.csv").write_text("station_in,height_in\n0,1\n1,1\n")
    job = folder / "out.toml"
    job.write_text(EXAMPLE.replace('port = "as-cast.csv"', f"port = '{name}'"), encoding="utf-8")
    with pytest.raises(InputError, match=r"\[stage\] port"):
        read_job(job)


def test_a_link_that_leads_out_is_refused_and_one_that_stays_is_not(folder):
    outside = folder.parent / "elsewhere.csv"
    shutil.copy(folder / "as-cast.csv", outside)
    for link, to in (("out.csv", outside), ("in.csv", folder / "as-cast.csv")):
        (folder / link).unlink(missing_ok=True)
        try:
            os.symlink(to, folder / link)
        except OSError:
            pytest.skip("this system lets nobody make links")
    job = folder / "link.toml"
    job.write_text(EXAMPLE.replace('port = "as-cast.csv"', 'port = "out.csv"'), encoding="utf-8")
    with pytest.raises(InputError, match="a link out of this file's folder"):
        read_job(job)
    job.write_text(EXAMPLE.replace('port = "as-cast.csv"', 'port = "in.csv"'), encoding="utf-8")
    assert read_job(job).job.state[0].port == "in.csv"


@pytest.mark.parametrize(
    ("file", "old", "new", "where"),
    [
        ("target.toml", 'wall_readings = "walls.csv"', 'wall_readings = "../walls.csv"', "[limits] wall_readings"),
        (
            "as-cast.csv",
            "rect,0.220,0.220,0,0.000,joint,micrometer,0.001,flange",
            "outline,,,0,0,,micrometer,0.001,flange,../x.csv",
            "row 2, column outline",
        ),
    ],
)
def test_files_named_in_files_stay_in_the_folder_too(tmp_path, file, old, new, where):
    for name, data in filled_in(folder_files("in", "intake port 1")).items():
        (tmp_path / name).write_bytes(data)
    text = (tmp_path / file).read_text()
    assert old in text
    (tmp_path / file).write_text(text.replace(old, new).replace(",note\n", ",note,outline\n"))
    with pytest.raises(InputError) as refusal:
        steps_of(read_job(tmp_path / "job.toml"))
    assert refusal.value.where == where and "leads out" in str(refusal.value)


def test_markup_and_formulas_in_names_are_text(folder):
    name = "<img src=x onerror=alert(1)> $\\frac{1}{0}$ =1+1 {what}"
    job = folder / "names.toml"
    job.write_text(EXAMPLE.replace('name = "as cast"', f"name = '{name}'"), encoding="utf-8")
    assert read_job(job).job.state[0].name == name


TWO = EXAMPLE.replace("[bench]", '[[stage]]\nname = "first cut"\nport = "as-cast.csv"\n\n[bench]', 1)
FIRST_CUT = 'file = "target.toml"\nstate = "first cut"'
READ = '\n[walls]\nfile = "walls.csv"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TWO, "[target] does not say which stage its cut starts from"),
        (TWO.replace('file = "target.toml"', FIRST_CUT), "nothing says in which stage they were taken"),
        (
            TWO.replace('file = "target.toml"', FIRST_CUT) + READ.replace("[walls]", "[probe]"),
            "[probe] does not say in which",
        ),
        (TWO.replace('file = "target.toml"', FIRST_CUT) + READ, "[walls] does not say in which stage"),
        (
            TWO.replace('file = "target.toml"', FIRST_CUT) + READ + 'state = "as cast"',
            "the cut starts from 'first cut', and the wall was read in 'as cast'",
        ),
        (
            TWO.replace('file = "target.toml"', FIRST_CUT) + '\n[walls]\nfile = "bench.csv"\nstate = "first cut"',
            "nothing says in which stage they were taken",  # readings of another file do not stand for the target's
        ),
    ],
)
def test_a_wall_is_never_taken_to_be_of_a_state_nobody_named(folder, text, says):
    job = folder / "two.toml"
    job.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        steps_of(read_job(job))
    told = str(refusal.value)
    assert says in told and "first cut" in told
    assert re.search(r"two.toml, line \d+", told)


def test_a_wall_read_in_the_state_that_the_cut_starts_from_is_taken(folder):
    job = folder / "two.toml"
    text = TWO.replace('file = "target.toml"', FIRST_CUT) + READ + 'state = "First Cut"'
    job.write_text(text, encoding="utf-8")
    steps = steps_of(read_job(job)).by_name
    assert "plan" in steps and steps["models"].settings["walls"] == 1


CALM = TWO.replace('file = "target.toml"', FIRST_CUT) + READ + 'state = "first cut"\n\n[calm]\n'


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ('state = "third cut"', "[calm] names the stage 'third cut', and there is none"),
        ('state = "as cast"', "[calm] starts from 'as cast', and what limits it, the target, is of 'first cut'"),
        ('limits = "../target.toml"', "leads out of"),
        ("metal_cc = 0", "0 is not more than 0"),
        ("metal = 1", "Did you mean metal_cc?"),
        ('state = "as cast"\nlimits = "target.toml"', "the wall was read in 'first cut'"),
    ],
)
def test_what_calms_the_air_is_limited_by_what_is_of_its_own_state(folder, keys, says):
    job = folder / "two.toml"
    job.write_text(CALM + keys, encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        steps_of(read_job(job))
    assert says in str(refusal.value)


def test_what_calms_the_air_is_asked_for_by_its_table_alone(folder):
    job = folder / "two.toml"
    job.write_text(CALM, encoding="utf-8")
    step = steps_of(read_job(job)).by_name["calm"]
    assert step.settings["state"] == "first cut" and step.settings["metal_cc"] is None
    assert [name for _, name, _ in step.files] == ["target.toml", "walls.csv"]
    assert dict(step.needs) == {"part": "port 1", "speed": "speed 1"}
    job.write_text(CALM.replace("[calm]\n", ""), encoding="utf-8")
    assert "calm" not in steps_of(read_job(job)).by_name
    job.write_text(CALM.replace('"first cut"\nport', '"calm cut"\nport').replace('= "first cut"', '= "calm cut"'))
    with pytest.raises(InputError, match="which is what the port that"):
        read_job(job)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("valve = 1.560", "valve = 1,6", "1,6 has a decimal comma. Write  valve = 1.6  with a point"),
        ("valve = 1.560", "valve_mm = 1 5/8", "1 5/8 is a fraction, of millimeters. Write a decimal, or name the key"),
        (
            "valve = 1.560",
            "valve = 1 34/46",
            "'1 34/46' is a fraction, and no rule has an inch in 46 parts. Look for a",
        ),
        ("valve = 1.560", "valve = 41 mm", "41 mm has its unit beside the number. Write  valve_mm = 41"),
        ("valve = 1.560", "valve = .6", "Write  valve = 0.6  in its place"),
        ("valve = 1.560", "valve = ", "valve has no value"),
        ("valve = 1.560", "valve = 1.560\nvalve = 1.5", "valve comes twice"),
        ('name = "as cast"', "name = as cast", 'as cast stands without quotes. Write  name = "as cast"'),
        ('name = "as cast"', 'name = "as cast', 'no closing quote. Write  name = "as cast"'),
        (
            'file = "bench.csv"',
            'file = "c:\\port\\bench.csv"',
            'backslash in the text. Write  file = "c:/port/bench.csv"',
        ),
        ('file = "bench.csv"', 'file: "bench.csv"', 'a colon where = belongs. Write  file = "bench.csv"'),
        ("[engine]", "[engine", "the line does not name a table"),
    ],
)
def test_a_slip_of_the_hand_is_told_with_its_line_and_how_it_is_written(folder, old, new, says):
    assert old in EXAMPLE
    text = EXAMPLE.replace(old, new, 1)
    job = folder / "slip.toml"
    job.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        read_job(job)
    wrong = text[: text.index(new)].count("\n") + new.count("\n") + 1
    assert re.search(f"slip.toml, line {wrong}[:,] ", str(refusal.value)) and says in str(refusal.value)


@pytest.mark.parametrize("written", ["1 5/8", "1-5/8", '"1 5/8"', "'1 5/8'", '"1 5/8 in"', "1 5/8  # by the caliper"])
def test_a_fraction_is_a_length_as_it_is_in_a_sheet(folder, written):
    job = folder / "parts.toml"
    text = EXAMPLE.replace("valve = 1.560", f"valve = {written}", 1)
    job.write_text(re.sub(r"(?m)^at = .*?\]", "at = [1/2, 1.25, 2 1/4]", text), encoding="utf-8")
    read = read_job(job).job
    assert read.engine.valve == pytest.approx(1.625 * 25.4)
    assert read.templates.at == pytest.approx([12.7, 31.75, 57.15])


def test_a_target_takes_fractions_and_its_files_are_still_known_to_its_job(folder):
    target = folder / "target.toml"
    text = target.read_text(encoding="utf-8")
    assert "least_wall = 0.100" in text and "radius = " in text
    target.write_text(text.replace("least_wall = 0.100", "least_wall = 7/64"), encoding="utf-8")
    assert read_target(target).least_wall == pytest.approx(7.0 / 64.0 * 25.4)
    steps = steps_of(read_job(folder / "job.toml"))
    assert any(what.startswith("wall readings") for _, what in steps.inputs.values())


@pytest.mark.parametrize("digits", [299, 308, 309, 310, 400])
@pytest.mark.parametrize("key", ["stroke", "cylinders", "rpm", "seat_angle_deg", "flow_cfm", "density_g_cc", "at"])
def test_a_number_of_hundreds_of_digits_is_refused(folder, key, digits):
    tables = {"flow_cfm": "bench", "density_g_cc": "metal", "at": "templates"}
    job, number = folder / "digits.toml", "9" * digits
    lines = [line for line in EXAMPLE.splitlines() if not re.match(rf"\s*{key}(_in|_mm)? *=", line)]
    table = f"[{tables.get(key, 'engine')}]"
    lines = lines if table in lines else [*lines, table]
    lines.insert(lines.index(table) + 1, f"{key} = {f'[{number}]' if key == 'at' else number}")
    job.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        read_job(job)
    assert re.search(rf"digits.toml, line \d+, .*{key}: ", str(refusal.value)) and len(str(refusal.value)) < 400


@pytest.mark.parametrize("port", ["intake", "exhaust"])
def test_an_exhaust_is_not_told_by_the_rules_of_intakes(folder, port):
    rest = "bore = 3.5\nstroke = 3.2\nrpm = 7000\ncylinders = 4"
    (folder / "side.toml").write_text(EXAMPLE.replace("[engine]", f'[engine]\nport = "{port}"\n{rest}'), "utf-8")
    steps = steps_of(read_job(folder / "side.toml"))
    left_out = [one for one in steps.skipped if "rules for intakes" in one["why"]]
    assert ("demand" in steps.by_name) == (port == "intake") == (not left_out)
    assert "speed 0" in steps.by_name


def told(job, text):
    """Return what is told of a job file's text: (line, key) and what is wrong, in order."""
    with pytest.raises(InputError) as refusal:
        job_from(text.encode(), job)
    return [((problem.row, problem.column), problem.what) for problem in refusal.value.problems]


def line_of(text, start):
    return next(k for k, line in enumerate(text.splitlines(), 1) if line.startswith(start))


def test_all_slips_of_a_job_are_told_at_once_each_at_its_line(folder):
    changes = {
        'units = "in"': "units = in",  # not TOML, and what is meant is plain
        "valve = 1.560": "valve = 1,6\nvalv_lift = 0.5\nrpm = seven",
        'alloy = "aluminum"': 'alloy = "tin"',
        'name = "as cast"': 'name = ""',
        "depression_in_h2o = 28": "depression_in_h2o = 2800",
        'file = "target.toml"': 'file = "../target.toml"',
    }
    text = EXAMPLE
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new, 1)
    lines = text.splitlines()
    found = told(folder / "job.toml", text)
    wanted = [
        "units = in",
        "valve = 1,6",
        "valv_lift",
        "rpm = seven",
        "alloy",
        'name = ""',
        "depression_in_h2o",
        'file = "../',
    ]
    assert [lines[row - 1].split(" =")[0] for (row, _), _ in found] == [one.split(" =")[0] for one in wanted]
    assert [row for (row, _), _ in found] == sorted(line_of(text, one) for one in wanted)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("rpm = seven", "'seven' is not a number"),  # with quotes it would be no number either
        ("port = exhaust", "exhaust stands without quotes"),
        ("port = outlet", "'outlet' is not known here"),
        ("rpm = 70,5", "70,5 has a decimal comma"),
    ],
)
def test_a_word_is_told_to_need_quotes_only_where_a_word_belongs(folder, written, says):
    text = EXAMPLE.replace("[engine]", f"[engine]\n{written}", 1)
    assert [what for _, what in told(folder / "job.toml", text)] == [says]


def test_a_line_that_cannot_be_made_out_brings_nothing_in_its_train(folder):
    text = EXAMPLE.replace("at = [0.800, 1.600, 2.400]", "at = [0.800, 1.600", 1)
    assert len(told(folder / "job.toml", text)) == 1
    assert len(told(folder / "job.toml", EXAMPLE.replace("[bench]", "[bench", 1))) == 1
    assert len(told(folder / "job.toml", EXAMPLE.replace("[bench]", "[engine]", 1))) == 1


@pytest.mark.parametrize("keys", [("title", "units"), ("name", "port")])
def test_a_key_that_is_misspelt_is_not_missing_too(folder, keys):
    text = EXAMPLE
    for key in keys:
        text = re.sub(rf"(?m)^{key} = ", f"{key}z = ", text, count=1)
    assert [place[1] for place, _ in told(folder / "job.toml", text)] == [f"{key}z" for key in keys]


def test_states_are_checked_against_each_other_though_other_keys_are_wrong(folder):
    text = TWO.replace('name = "first cut"', 'name = "As Cast"').replace("valve = 1.560", 'valve = "wide"')
    text = text.replace('file = "target.toml"', 'file = "target.toml"\nstate = "planned"', 1)
    assert [key for (_, key), _ in told(folder / "job.toml", text)] == ["valve", "name", "state"]


def test_all_slips_of_a_target_are_told_at_once(tmp_path):
    text = """units = "in"
greatest_depth = 90
symmetric = yes
[short_side]
radus = 0.6
[[area]]
station = 1,5
area = 2.1
percent = 30
[[area]]
station = 2
aera = "big"
[[taper]]
from = 3
to = 2
area_from = wide
area_to = 2
[limits]
least_wall = 0.1
gasket_at = "middle"
[[keep]]
from = 1
to = 2
clock_from = 13
"""
    with pytest.raises(InputError) as refusal:
        target_from(text.encode(), "target.toml", tmp_path)
    assert [problem.row for problem in refusal.value.problems] == [2, 3, 5, 7, 8, 12, 15, 16, 20, 24]
    assert "'yes' is not true or false" in str(refusal.value) and "'wide' is not a number" in str(refusal.value)


def test_without_a_unit_what_can_be_seen_is_told_all_the_same(folder, tmp_path):
    text = re.sub(r"(?m)^units = .*$", "", EXAMPLE, count=1).replace("valve = 1.560", "valve = 900\nstroke = true", 1)
    assert [what for _, what in told(folder / "job.toml", text)] == ["units is missing", "True is not a number"]
    with pytest.raises(InputError) as refusal:
        target_from(b"greatest_depth = 5000\n[short_side]\nradius = 'a'\n", "target.toml", tmp_path)
    assert {problem.what for problem in refusal.value.problems} == {"units is missing", "'a' is not a number"}


def test_a_filled_in_sheet_and_the_demos_say_what_they_were_read_with(folder):
    demo = Path(portgeo.__file__).parent.parent / "meshes"
    names = ("as-cast", "first-cut", *(f"runner-{k}" for k in range(1, 5)))
    for sheet in (folder / "as-cast.csv", *(demo / f"demo-{name}.csv" for name in names)):
        assert "tool_rule" not in [notice.code for notice in read_sheet(sheet).warnings], sheet.name


def test_the_files_of_a_job_are_told_all_at_once(tmp_path):
    for name, data in filled_in(folder_files("in", "intake port 1")).items():
        (tmp_path / name).write_bytes(data)
    sheet, target = tmp_path / "as-cast.csv", tmp_path / "target.toml"
    sheet.write_text(sheet.read_text().replace("joint,micrometer,0.001", "joynt,micrometer,-0.001", 1))
    target.write_text(target.read_text().replace("least_wall = ", "least_wal = ", 1))
    with pytest.raises(InputError) as refusal:
        check_job(read_job(tmp_path / "job.toml"))
    files = [problem.file for problem in refusal.value.problems]
    assert files == [str(sheet), str(sheet), str(target)]


def test_aluminium_is_aluminum(folder):
    job = folder / "job.toml"
    job.write_text(EXAMPLE.replace('alloy = "aluminum"', 'alloy = "aluminium"'), encoding="utf-8")
    assert read_job(job).job.metal.alloy == "aluminum"


def test_a_job_that_says_state_for_stage_is_read_as_before():
    """Files of earlier versions: the table, the keys that name one, and the list of the loss."""
    newer = 'title = "t"\nunits = "mm"\n[[stage]]\nname = "as cast"\nport = "a.csv"\n[target]\nfile = "t.toml"\n'
    newer += 'stage = "as cast"\n[loss]\nstages = ["as cast"]\n'
    older = newer.replace("[[stage]]", "[[state]]").replace("stage =", "state =").replace("stages =", "states =")
    (content, _), (before, _) = content_of(newer), content_of(older)
    assert content == before and content["state"][0]["name"] == "as cast" and content["target"]["state"] == "as cast"
    for text, word in ((newer, "stage"), (older, "state")):
        assert place_of(text, "state", 0, "port") == (f"line 5, [{word}] port", 5)
        assert place_of(text, "target", 0, "state") == (f"line 8, [target] {word}", 8)
        assert place_of(text, "loss", 0, "states")[1] == 10


@pytest.mark.parametrize("word", ["state", "stage"])
def test_the_page_writes_into_a_job_in_the_words_that_its_file_has(word):
    text = f'title = "t"\nunits = "mm"\n[[{word}]]\nname = "as cast"\nport = "a.csv"\n[target]\nfile = "t.toml"\n'
    more = with_entry(text, "state", {"name": '"first cut"', "port": '"b.csv"'})
    assert more.count(f"[[{word}]]") == 2
    named = with_key(more, "target", 0, "state", '"first cut"')
    assert f'{word} = "first cut"' in named
    assert 'name = "cut"' in with_key(named, "state", 1, "name", '"cut"')
    assert without_entry(named, "state", 1).count(f"[[{word}]]") == 1
    assert raw_texts(named)("state", 0, "name") == '"as cast"'
