"""What a terminal shows, what a pipe gets, and what a shell completes."""

import io
import os
import subprocess
import sys

import pytest

from portgeo.app.terminal import styled

TEXT = "port.csv\n  volume      118.90 ± 0.44 cc\n\nlook at\n  - a pinch\n 0.100   1.200\nthe end"


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture(autouse=True)
def plain_environment(monkeypatch):
    for name in ("NO_COLOR", "FORCE_COLOR", "TTY_COMPATIBLE", "COLORTERM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm")


def shown(stream):
    with styled(stream):
        print(TEXT[:20], end="")
        print(TEXT[20:], end="", flush=True)
    return stream.getvalue()


def test_a_pipe_gets_the_text_as_it_is(capsys):
    assert shown(io.StringIO()) == "" and capsys.readouterr().out == TEXT


def test_on_a_terminal_headings_stand_out_and_no_letter_is_lost():
    seen = shown(Terminal())
    assert "\x1b[1mport.csv\x1b[0m" in seen and "\x1b[1;31mlook at\x1b[0m" in seen and "\x1b[2m± 0.44\x1b[0m" in seen
    assert "\x1b" not in next(line for line in seen.splitlines() if "0.100" in line)
    for code in ("\x1b[0m", "\x1b[1m", "\x1b[1;31m", "\x1b[2m"):
        seen = seen.replace(code, "")
    assert seen == TEXT


def test_who_wants_no_color_gets_none(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[1;31m" not in shown(Terminal())


def test_a_shell_completes_commands_and_options(tmp_path):
    def completed(line):
        words = tmp_path / "words"
        asked = {"COMP_LINE": line, "COMP_POINT": str(len(line)), "_ARGCOMPLETE": "1"}
        asked["_ARGCOMPLETE_STDOUT_FILENAME"] = str(words)
        subprocess.run([sys.executable, "-m", "portgeo"], env=os.environ | asked, timeout=120)
        return {word.strip() for word in words.read_text().split("\x0b")}

    assert completed("portgeo mea") == {"measure"}
    assert "--stations" in completed("portgeo measure port.csv --st")
