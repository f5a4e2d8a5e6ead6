"""Files and places that are not what they should be: one message, exit 2, nothing lost and nothing begun."""

import os
import shutil
import sys

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from portgeo.files.meshes.mesh import write_mesh
from tests.conftest import DEMO
from tests.scan import make
from tests.torture import judge

SHEET = "station_mm,height_mm,width_mm,corner_mm\n0,44,32,8\n30,40,33,9\n"
posix = pytest.mark.skipif(os.name != "posix", reason="the system has no such files")


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "a.csv").write_text(SHEET)
    (tmp_path / "b.csv").write_text(SHEET.replace("44", "45"))
    for name in ("demo-target.toml", "demo-bench.csv"):
        shutil.copy(DEMO / name, tmp_path)
    return tmp_path


def refused(words, folder, named):
    """Run a command that must be refused; return its message. Every file stays as it is."""
    before = {p: p.read_bytes() for p in folder.iterdir() if p.is_file()}
    done = judge.run([str(w) for w in words], folder, str(named), set())
    assert done.status == 2
    assert {p: p.read_bytes() for p in folder.iterdir() if p.is_file()} == before
    return done.message


COMMANDS = {
    "measure": "measure {} -q",
    "loft": "loft {} -o {out} -q",
    "before": "compare {} {a} -q",
    "after": "compare {a} {} -q",
    "match": "match {} {a} -q",
    "reshape": "reshape {} {target} -q",
    "target": "reshape {a} {} -q",
    "reach": "reach {} -q",
    "airspeed": "airspeed {} --cfm 200 -q",
    "bench": "airspeed {a} --bench {} -q",
    "templates": "templates {} --out {out} -q",
}


def words_of(command, bad, folder):
    names = {"a": folder / "a.csv", "out": folder / ("out.pdf" if command == "templates" else "out.stl")}
    names["target"] = folder / "demo-target.toml"
    return [word.format(bad, **names) for word in COMMANDS[command].split()]


@pytest.mark.parametrize("command", COMMANDS)
def test_an_input_that_is_no_file_to_read_is_refused(command, folder):
    suffix = ".toml" if command == "target" else ".csv"
    inputs = [folder / f"none{suffix}", folder, folder / f"empty{suffix}", folder / f"binary{suffix}"]
    (folder / f"empty{suffix}").write_bytes(b"")
    (folder / f"binary{suffix}").write_bytes(bytes(range(256)) * 9)
    if os.name == "posix":
        os.mkfifo(folder / f"pipe{suffix}")
        inputs += ["/dev/null", "/dev/zero", folder / f"pipe{suffix}"]
        (folder / f"device{suffix}").symlink_to("/dev/zero")
        (folder / f"round{suffix}").symlink_to(folder / f"round{suffix}")
        inputs += [folder / f"device{suffix}", folder / f"round{suffix}"]
    for bad in inputs:
        refused(words_of(command, bad, folder), folder, bad)


@posix
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="the superuser may read and write all")
def test_what_may_not_be_read_or_written_is_refused(folder):
    (folder / "a.csv").chmod(0)
    refused(["measure", folder / "a.csv"], folder, folder / "a.csv")
    (folder / "a.csv").chmod(0o600)
    locked = folder / "locked"
    locked.mkdir(0o500)
    refused(["loft", folder / "a.csv", "-o", locked / "a.stl"], folder, locked / "a.stl")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs a system that says that the disk is full")
def test_a_full_disk_loses_nothing(folder, monkeypatch):
    scan = make.tube(make.Shape(), 4.0)
    write_mesh(folder / "old.stl", scan.vertices, scan.faces)
    import builtins

    plain = builtins.open

    def full(name, mode="r", *rest, **more):
        return plain("/dev/full" if mode == "xb" else name, "wb" if mode == "xb" else mode, *rest, **more)

    monkeypatch.setattr("builtins.open", full)
    message = refused(["loft", folder / "a.csv", "-o", folder / "old.stl", "--force"], folder, folder / "old.stl")
    assert "No space left" in message


@pytest.mark.parametrize(
    "words",
    [
        "measure {a} --json {x} --csv {x}",
        "measure {a} --json {x} --picture {y}/./x",
        "measure {a} --json {a} --force",
        "measure {a} --csv {a} --force",
        "measure {a} {b} --csv {b} --force",
        "loft {a} -o {a} --force",
        "loft {a} -o {dir}/a.csv --force",
        "compare {a} {b} --json {b} --force",
        "compare {a} {b} --csv {a} --force",
        "match {a} {b} --json {b} --force",
        "reshape {a} {target} --json {target} --force",
        "reshape {a} {target} --csv {a} --force",
        "airspeed {a} --cfm 200 --json {a} --force",
        "airspeed {a} --bench {bench} --json {bench} --force",
        "templates {a} --out {a} --force",
        "templates {a} --out {pdf} --json {a} --force",
        "view {a} --picture {a} --force",
        "new target {dir}",
        "new target {a}",
        "reshape {a} {target} --out {a}",
        "reach {a} --csv {a} --force",
        "loft {a} -o {dir}/none/a.stl",
        "loft {a} -o {dir}",
        "measure {a} --csv {dir}",
        "measure {a} {b} --csv {dir}",
        "demo --out {a}",
        "demo --out {a}/demo",
    ],
)
def test_an_output_that_would_cost_a_file_is_refused_before_any_work(words, folder):
    names = {"a": folder / "a.csv", "b": folder / "b.csv", "x": folder / "x", "y": folder, "dir": folder}
    names |= {"target": folder / "demo-target.toml", "bench": folder / "demo-bench.csv", "pdf": folder / "x.pdf"}
    refused([word.format(**names) for word in words.split()], folder, "")


names = st.text(st.characters(codec="utf-8"), min_size=1, max_size=20)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(names, names)
def test_any_name_ends_in_a_message(tmp_path, one, other):
    os.chdir(tmp_path)
    if one.startswith("-") or other.startswith("-"):
        return
    assert judge.run(["measure", f"{one}.csv"], tmp_path, "", set()).status == 2
    (tmp_path / "a.csv").write_text(SHEET)
    judge.run(["new", "target", f"{other}/x.toml"], tmp_path, "", set())


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e300, 3.4e38])
@pytest.mark.parametrize("suffix", [".stl", ".ply", ".obj", ".off", ".3mf"])
def test_a_coordinate_that_is_no_number_is_refused(bad, suffix, folder):
    from tests.torture.cases import file_of

    scan = make.tube(make.Shape(), 6.0)
    vertices = scan.vertices.copy()
    vertices[7, 1] = bad
    with np.errstate(all="ignore"):
        (folder / f"scan{suffix}").write_bytes(file_of(vertices, scan.faces, suffix))
    refused(["measure", folder / f"scan{suffix}", "--units-in", "mm"], folder, folder / f"scan{suffix}")


def test_a_unit_that_the_file_contradicts_is_told(folder, capsys):
    from portgeo.app.cli import main

    scan = make.tube(make.Shape(), 4.0)
    write_mesh(folder / "scan.stl", scan.vertices / 25.4, scan.faces)  # its header says millimetres
    assert main(["measure", str(folder / "scan.stl"), "--units-in", "in"]) == 0
    assert "the file says its numbers are in mm; taken as in" in capsys.readouterr().out
