"""The command: its one line, its port, its end, and what it is given to open."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from portgeo.app.cli import main
from portgeo.app.live.serve import desk_of
from tests.live.conftest import PATIENCE, SHEET

LINE = r"portgeo: (http://127\.0\.0\.1:(\d+)/[\w-]{24}/)  \(Ctrl-C ends it\)\n"


def command(*words):
    flags = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP} if sys.platform == "win32" else {}
    return subprocess.Popen(
        [sys.executable, "-m", "portgeo", "open", *map(str, words)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2], **flags,
    )  # fmt: skip


def interrupt(process):
    process.send_signal(signal.CTRL_BREAK_EVENT if sys.platform == "win32" else signal.SIGINT)


def test_one_line_with_the_address_is_printed_and_an_interrupt_ends_it_quietly_with_a_tab_open(folder):
    process = command(folder / SHEET, "--no-browser")
    try:
        address = re.fullmatch(LINE, process.stdout.readline())[1]
        with httpx.Client(base_url=address, timeout=PATIENCE) as http:
            assert http.get("state").json()["version"] == 1
            with http.stream("GET", "events") as events:
                lines = events.iter_lines()
                assert next(lines).startswith("data: ")
                interrupt(process)
                more, complaints = process.communicate(timeout=PATIENCE)
        assert process.returncode == 0 and not more and not complaints
    finally:
        process.kill()


def test_a_port_that_is_taken_is_refused_where_it_was_asked_for_and_else_another_is_found(folder, capsys):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        number = taken.getsockname()[1]
        assert main(["open", str(folder / SHEET), "--no-browser", "--port", str(number)]) == 2
        told = capsys.readouterr().err
        assert f"port {number} is taken" in told and "--port" in told and "Traceback" not in told
        from portgeo.app.live.serve import listening

        with listening(None, number) as at:
            assert at.getsockname()[1] not in (0, number)


@pytest.mark.parametrize("port", ["0", "-1", "65536", "x", "1.5"])
def test_what_is_no_port_is_refused(folder, capsys, port):
    assert main(["open", str(folder / SHEET), "--no-browser", f"--port={port}"]) == 2
    assert "is not a port" in capsys.readouterr().err


def test_what_cannot_be_opened_is_refused_with_the_mend(tmp_path, capsys):
    (tmp_path / "empty.csv").write_bytes(b"")
    (tmp_path / "scan.stl").write_bytes(b"solid")
    for name in ("nothing.csv", "empty.csv", "scan.stl"):
        assert main(["open", str(tmp_path / name), "--no-browser"]) == 2
        told = capsys.readouterr().err
        assert name in told and told.count("\n") == 1


@pytest.mark.parametrize("data", [b"\x00\x01\x02", b'station_in,"height\n1,2\n', b"PK\x03\x04rubbish", b"hello"])
def test_a_sheet_that_cannot_be_read_is_shown_with_what_is_wrong_and_stays_as_it_is(tmp_path, data):
    for name in ("bad.csv", "bad.xlsx"):
        (tmp_path / name).write_bytes(data)
        desk = desk_of(str(tmp_path / name))
        table = desk.state()["tables"][name]
        assert table["problems"] or not table["rows"]
        assert (tmp_path / name).read_bytes() == data


def test_a_job_that_cannot_be_made_out_is_shown_with_what_is_wrong_and_stays_as_it_is(tmp_path):
    data = b'title = "x\nunits = in\n[[state]\nname = 1\n'
    (tmp_path / "job.toml").write_bytes(data)
    desk = desk_of(str(tmp_path))
    assert any(form["problems"] for form in desk.state()["forms"])
    with pytest.raises(Exception, match="cannot be made out"):
        desk.edit(desk.version, [{"op": "key", "table": "engine", "key": "bore", "text": "3"}])
    assert (tmp_path / "job.toml").read_bytes() == data


def test_the_kept_address_is_for_its_owner_alone_and_counts_in_no_copy(folder, tmp_path_factory):
    def address(sheet):
        process = command(sheet, "--no-browser")
        try:
            return re.fullmatch(LINE, process.stdout.readline())[1]
        finally:
            process.kill()
            process.communicate()

    first = address(folder / SHEET)
    kept = folder / ".portgeo-versions" / "address.json"
    assert os.name != "posix" or kept.stat().st_mode & 0o077 == 0
    assert address(folder / SHEET) == first
    copied = tmp_path_factory.mktemp("copied") / "job"
    shutil.copytree(folder, copied)
    assert address(copied / SHEET).split("/")[3] != first.split("/")[3]


def test_the_command_listens_before_anything_heavy_is_loaded():
    heavy = ("scipy", "matplotlib", "pyvista", "trimesh", "skfem")
    code = f"import sys; from portgeo.app.live import serve; print([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=PATIENCE)
    assert done.stdout.strip() == "[]", done.stdout + done.stderr
