"""Ctrl-C at any moment: the run ends in under a second, says nothing or one line, and leaves only whole files."""

import json
import os
import random
import shlex
import shutil
import signal
import subprocess
import sys
import time

import pytest

from portgeo.io.meshes import write_mesh
from tests.conftest import DEMO
from tests.scan import make

WORKS = {
    "measure": "measure scan.stl --units-in mm --json a.json --csv a.csv",
    "picture": "measure cast.csv --json a.json --picture a.png --chart b.png",
    "many": "measure scan.stl cast.csv cut.csv demo-bowl-as-cast.csv --csv a.csv",
    "compare": "compare cast.csv cut.csv --json a.json --csv a.csv",
    "reshape": "reshape cut.csv demo-target.toml --json a.json --csv a.csv",
    "airspeed": "airspeed cut.csv --bench demo-bench.csv --run 'first cut' --json a.json --csv a.csv",
    "templates": "templates cut.csv --out a.pdf --json a.json",
    "loft": "loft cut.csv -o a.stl",
    "demo": "demo --out demo",
}
LONGEST = {"demo": 12.0, "picture": 6.0, "many": 6.0}  # seconds into the run; the others' is 4
ENDS = 1.0  # seconds from Ctrl-C
WINDOWS = os.name == "nt"
# The line tells that the interpreter is up: before that nothing of ours runs that could answer.
# It says that it is up when the command has taken Ctrl-C over: what comes before is Python's own.
PROGRAM = """
import signal, sys
from portgeo.cli import main
own = signal.signal
def told(*words):
    signal.signal = own
    own(*words)
    print("up", flush=True)
signal.signal = told
sys.exit(main())
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder with a scan and the demo's sheets."""
    folder = tmp_path_factory.mktemp("bench")
    scan = make.tube(make.Shape(), 0.8)
    write_mesh(folder / "scan.stl", scan.vertices, scan.faces)
    for file in DEMO.glob("demo-*"):
        shutil.copy(file, folder)
    (folder / "demo-as-cast.csv").rename(folder / "cast.csv")
    (folder / "demo-first-cut.csv").rename(folder / "cut.csv")
    return folder


def stop(process, group):
    """Press Ctrl-C: to all processes of the terminal, or to the command alone."""
    if WINDOWS:
        process.send_signal(signal.CTRL_BREAK_EVENT)
    elif group:
        os.killpg(process.pid, signal.SIGINT)
    else:
        process.send_signal(signal.SIGINT)


def interrupted(words, folder, moment, group):
    """Run a command, stop it after `moment` seconds; return its status, error text and how long it took to end."""
    flags = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP} if WINDOWS else {"start_new_session": True}
    pipe = subprocess.PIPE
    process = subprocess.Popen([sys.executable, "-c", PROGRAM, *words], cwd=folder, stdout=pipe, stderr=pipe, **flags)
    assert process.stdout.readline().strip() == b"up"
    time.sleep(moment)
    stop(process, group)
    start = time.perf_counter()
    _, errors = process.communicate(timeout=60)
    return process, errors.decode(), time.perf_counter() - start


def check_whole(path):
    """A file that is there is whole."""
    data = path.read_bytes()
    if path.suffix == ".json":
        json.loads(data)
    elif path.suffix == ".csv":
        assert data.endswith(b"\n")
    elif path.suffix == ".png":
        assert data.startswith(b"\x89PNG") and b"IEND" in data[-12:]
    elif path.suffix == ".pdf":
        assert data.rstrip().endswith(b"%%EOF")
    elif path.suffix == ".stl":
        assert len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")


def check(work, bench, moment, group):
    folder = bench / "run"
    folder.mkdir()
    try:
        for file in bench.iterdir():
            if file.is_file():
                os.link(file, folder / file.name)
        inputs = {p.name for p in folder.iterdir()}
        process, errors, took = interrupted(shlex.split(WORKS[work]), folder, moment, group)
        label = f"{work} after {moment:.3f} s, {'all' if group else 'alone'}: {process.returncode} {errors}"
        assert process.returncode in (0, 130, -2, 0xC000013A), label
        if process.returncode:
            assert took < ENDS, f"{label} took {took:.2f} s"
            assert errors.count("\n") <= 1 and "Traceback" not in errors, label
        for path in folder.rglob("*"):
            if path.is_file() and path.name not in inputs:
                assert not path.name.startswith("."), label
                check_whole(path)
        if not WINDOWS:
            assert not left_of(process.pid), label
    finally:
        shutil.rmtree(folder)


def left_of(group):
    """Tell whether processes of a group are still at work, a moment being left to the dying."""
    for _ in range(20):
        states = subprocess.run(["ps", "-A", "-o", "pgid=,stat="], capture_output=True, text=True).stdout.splitlines()
        if not [s for s in states if s.split()[0] == str(group) and not s.split()[1].startswith("Z")]:
            return False
        time.sleep(0.1)
    return True


@pytest.mark.parametrize("work", WORKS)
def test_ctrl_c_ends_a_run_at_once_and_leaves_nothing_half_done(work, bench):
    moments = random.Random(work)
    check(work, bench, moments.uniform(0.3, LONGEST.get(work, 4.0)), group=True)


@pytest.mark.parametrize("work", ["demo", "many", "picture"])
def test_a_command_stopped_alone_stops_what_it_set_to_work(work, bench):
    check(work, bench, LONGEST[work] / 3.0, group=False)


def test_ctrl_c_during_imports_ends_without_a_traceback(bench):
    for moment in (0.0, 0.02, 0.1, 0.25):
        check("measure", bench, moment, group=True)


@pytest.mark.nightly
@pytest.mark.parametrize("work", WORKS)
def test_ctrl_c_at_many_moments(work, bench):
    for seed in range(12):
        moments = random.Random(f"{work} {seed}")
        check(work, bench, moments.uniform(0.0, LONGEST.get(work, 4.0)), group=seed % 2 == 0)
