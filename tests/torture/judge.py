"""One command run in this process, watched: how it ended, what it said and wrote.

A command's words come in; an Outcome goes out, once what every run must keep to has been checked.
"""

from __future__ import annotations

import contextlib
import faulthandler
import io
import re
import sys
import warnings
from dataclasses import dataclass
from pathlib import Path

from portgeo.app.cli import main

STUCK = 600.0  # seconds, after which a run that would never end is ended with its stack; no run is timed otherwise
MOST_BYTES = 2_000_000_000


@dataclass(frozen=True)
class Outcome:
    """status : 0 or 2. message : what stood on the error stream. wrote : names of new files."""

    status: int
    message: str
    wrote: tuple[str, ...]


def run(words: list[str], folder: Path, named: str, may_write: set[str]) -> Outcome:
    """Run a command and check that it ended as promised.

    folder : where nothing but `may_write` may appear. named : the file that a refusal must name.
    Fails on a traceback, a remark of a library, a message without place or hint, a file half
    written, or memory past MOST_BYTES; a run that does not end is ended with its stack.
    """
    before = {p.name for p in folder.iterdir()}
    forget_peak()
    held = peak_bytes()  # by what ran before in this process
    out, err = io.StringIO(), io.StringIO()
    faulthandler.dump_traceback_later(STUCK, exit=True, file=sys.__stderr__)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                status = main(words)
            except SystemExit as leaving:  # argparse
                status = leaving.code
    finally:
        faulthandler.cancel_dump_traceback_later()
    message = err.getvalue()
    wrote = {p.name for p in folder.iterdir()} - before
    assert peak_bytes() - held < MOST_BYTES
    assert status in (0, 2), status
    if status == 2:
        assert wrote == set(), f"refused, and yet wrote {wrote}"
        check_told(message)
        assert named in message, message
        assert message.removeprefix("portgeo: ").count(". ") >= 1, f"no hint: {message}"
        own = re.sub(r"'[^']*'", "", message)  # without what is quoted from the file
        assert not re.search(r"Traceback|Error|\bnan\b|\bNone\b|[Ee]rrno", own), message
        assert out.getvalue() == ""
    else:
        assert message == "", message
        assert wrote <= may_write, wrote
    return Outcome(int(status), message, tuple(sorted(wrote)))


def check_told(message: str) -> None:
    """Check that a refusal is one message: a line, or a head and under it a line a problem, at most some twenty."""
    head, *listed = message.removesuffix("\n").split("\n")
    *told, last = listed or [head]
    more = re.fullmatch(r"  and \d+ more", last)
    ends = [*told, *([] if more else [last])]
    assert head.startswith("portgeo: ") and all(line.endswith((".", "?")) for line in ends), message
    assert not listed or (head.endswith(" problems") and all(line.startswith("  ") for line in listed)), message
    assert len(listed) <= 21, message


def forget_peak() -> None:
    """Begin the process's peak of memory anew, where the system can (Linux: proc(5), clear_refs)."""
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def peak_bytes() -> int:
    """Return the most memory this process has had, 0 where the system does not tell."""
    status = Path("/proc/self/status")
    if status.exists():  # what `resource` tells on Linux is the parent's where that has had more
        return 1024 * int(re.search(r"VmHWM:\s*(\d+) kB", status.read_text())[1])
    try:
        import resource
    except ImportError:
        return 0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else 1024 * peak
