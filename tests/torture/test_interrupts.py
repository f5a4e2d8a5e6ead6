"""Ctrl-C at any moment: the run ends there, says nothing or one line, and leaves only whole files."""

import json
import os
import random
import shlex
import shutil
import subprocess
import sys
import time

import pytest

from portgeo.files.meshes.mesh import write_mesh
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
WINDOWS = os.name == "nt"
# Moments are told by what the run has done, so that they are the same on any machine under any load: after so
# many calls, at the so-manieth file that it opens to write, or once it has set another process to work.
CALLS = (1, 300_000)  # of a run of any of these: each has more
# The run presses Ctrl-C itself: in the whole terminal, which is its group of processes, or alone.
PROGRAM = """
import os, signal, sys
from portgeo.app.cli import main
kind, number, group = sys.argv.pop(1), int(sys.argv.pop(1)), sys.argv.pop(1) == "True"
seen, pressed = 0, []

def press():
    global seen
    seen += 1
    if seen < number or pressed:
        return
    pressed.append(True)
    sys.setprofile(None)
    print("pressed", flush=True)
    if group and hasattr(os, "killpg"):
        os.killpg(os.getpgid(0), signal.SIGINT)
    else:
        signal.raise_signal(signal.SIGINT)

def on_event(frame, event, argument):
    if kind == "calls" or (event == "return" and frame.f_code.co_name == "submit"):
        press()

def on_audit(event, arguments):
    if event == "open" and arguments[2] & (os.O_WRONLY | os.O_RDWR) and os.getcwd() in os.path.abspath(arguments[0]):
        press()

# Before the command has taken Ctrl-C over it is Python's own, and nothing of ours could answer.
own = signal.signal
def taken(*words):
    signal.signal = own
    own(*words)
    if kind == "write":
        sys.addaudithook(on_audit)
    else:
        sys.setprofile(on_event)
signal.signal = taken
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


def interrupted(words, folder, moment, group):
    """Run a command that stops itself at a moment; return the process, whether it did, and its error text."""
    flags = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP} if WINDOWS else {"start_new_session": True}
    pipe, told = subprocess.PIPE, [*map(str, moment), str(group)]
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *told, *words], cwd=folder, stdout=pipe, stderr=pipe, **flags
    )
    out, errors = process.communicate(timeout=600)
    return process, b"pressed" in out, errors.decode()


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
        process, pressed, errors = interrupted(shlex.split(WORKS[work]), folder, moment, group)
        label = f"{work} at {moment}, {'all' if group else 'alone'}: {process.returncode} {errors}"
        assert pressed, label
        assert process.returncode in (130, -2, 0xC000013A), label  # it did not go on to its end
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
    for _ in range(300):
        states = subprocess.run(["ps", "-A", "-o", "pgid=,stat="], capture_output=True, text=True).stdout.splitlines()
        if not [s for s in states if s.split()[0] == str(group) and not s.split()[1].startswith("Z")]:
            return False
        time.sleep(0.1)
    return True


# What stops a run is the same for all; these read, work and write in all the ways there are.
DAILY = ("measure", "many", "compare", "reshape", "demo")


@pytest.mark.parametrize(
    "work", [work if work in DAILY else pytest.param(work, marks=pytest.mark.nightly) for work in WORKS]
)
def test_ctrl_c_ends_a_run_and_leaves_nothing_half_done(work, bench):
    check(work, bench, ("calls", random.Random(work).randint(*CALLS)), group=True)


@pytest.mark.parametrize("work", ["measure", "loft", "templates"])
def test_ctrl_c_while_a_file_is_written_leaves_it_whole_or_not_at_all(work, bench):
    check(work, bench, ("write", 1), group=True)


@pytest.mark.parametrize(("work", "nth"), [("demo", 2), ("many", 1), ("picture", 1)])
def test_a_command_stopped_alone_stops_what_it_set_to_work(work, nth, bench):
    check(work, bench, ("submit", nth), group=False)


def test_ctrl_c_during_imports_ends_without_a_traceback(bench):
    for calls in (1, 100, 5_000, 50_000):
        check("measure", bench, ("calls", calls), group=True)


@pytest.mark.nightly
@pytest.mark.parametrize("work", WORKS)
def test_ctrl_c_at_many_moments(work, bench):
    for seed in range(12):
        moment = ("calls", random.Random(f"{work} {seed}").randint(*CALLS))
        check(work, bench, moment, group=seed % 2 == 0)
