"""demo: the whole work on one port of an invented engine, command by command."""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from portgeo.core.interrupts import minded, result_of

HELP = "run the whole work on the demo: one port of an invented engine, as cast and after its first cut"
EXAMPLE = """example:
  portgeo demo --out port-demo"""

STOPPING = 0.5  # seconds that a stopped step has to put away a file it was writing
CAST, CUT = "demo-as-cast.csv", "demo-first-cut.csv"
# What is shown, the command (words in capitals are files in the demo's folder), what it writes.
STEPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "The casting: its area schedule, and what to look at",
        ("measure", CAST, "--json", "as-cast.json", "--csv", "as-cast.schedule.csv"),
    ),
    ("What the first cut took, and where", ("compare", CAST, CUT, "--json", "first-cut.json")),
    (
        "Where the wall drives the air fast, at the bench's best flow after the first cut",
        ("airspeed", CUT, "--bench", "demo-bench.csv", "--run", "first cut", "--json", "air-speed.json"),
    ),
    (
        "The next cut: the short side laid back, within the wall",
        ("reshape", CUT, "demo-target.toml", "--json", "plan.json", "--csv", "cut-sheet.csv"),
    ),
    (
        "All of it as one job: a page to look at, meshes, pictures, gauges at 1:1, every table",
        ("report", "demo-job.toml", "--out", "report"),
    ),
)
SHARES = slice(-1, None), slice(None, -1)  # of the steps: each in one process, one after the other


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of demo."""
    parser.add_argument("--out", metavar="DIR", required=True, help="folder to write into (made if it is not there)")
    parser.add_argument("--force", action="store_true", help="overwrite files that are there already")


def run(args: argparse.Namespace) -> None:
    """Run the demo's commands in its folder, saying each before its answer."""
    from portgeo.files.disk import atomic_write, check_free, make_folder

    out = Path(args.out)
    inputs = demo_files()
    make_folder(out)
    written = [word for _, command in STEPS for word in command if _is_output(word, inputs)]
    check_free([out / name for name in (*inputs, *written)], force=args.force)
    print(f"One port of an engine that is invented, and so is every number of it. In {out}:")
    for name, content in inputs.items():
        atomic_write(out / name, content, force=args.force)
    unwritten = ""
    # Each step is the command as it would be typed; the last, the longest, in a process beside the others'.
    with _steps(out, args.force) as runs:
        for (what, command), done in zip(STEPS, runs, strict=True):
            answer, refusal = result_of(done)
            print(
                f"\n== {what}\n$ portgeo {' '.join(_quoted(word) for word in command)}\n\n{answer}", end="", flush=True
            )
            if refusal:
                unwritten = refusal
                print(f"  not written: {refusal}")
    print("\n" + _written(out, unwritten))


@contextmanager
def _steps(folder: Path, force: bool) -> Iterator[list[Future[tuple[str, str]]]]:
    """Run all steps' commands in a folder; give what each printed and refused, in time.

    What still runs when the block is left by an exception is stopped as Ctrl-C stops it, and waited for.
    """
    running: list[subprocess.Popen[str]] = []
    starting = threading.Lock()
    stopped = False
    answers = [Future[tuple[str, str]]() for _ in STEPS]

    def run_share(share: slice) -> None:
        commands = [[*command, *(["--force"] if force else [])] for _, command in STEPS[share]]
        words = [sys.executable, "-m", "portgeo.app.in_turn", json.dumps(commands)]
        with starting:
            if stopped:
                return
            pipe = subprocess.PIPE
            process = subprocess.Popen(words, cwd=folder, stdout=pipe, stderr=pipe, encoding="utf-8")
            running.append(process)
        assert process.stdout is not None
        for answer, line in zip(answers[share], process.stdout, strict=False):
            status, printed, refused = json.loads(line)
            if status in (0, 2):
                answer.set_result((printed, refused.strip().removeprefix("portgeo: ")))
        failure = process.communicate()[1]
        for answer in answers[share]:
            if not answer.done():
                answer.set_exception(RuntimeError(failure))

    with minded(), ThreadPoolExecutor(len(SHARES)) as pool:
        try:
            for share in SHARES:
                pool.submit(run_share, share)
            yield answers
        except BaseException:
            with starting:
                stopped = True
            for step in running:
                if os.name == "posix":  # elsewhere Ctrl-C has reached it already
                    step.send_signal(signal.SIGINT)
            for step in running:
                try:
                    step.wait(STOPPING)
                except subprocess.TimeoutExpired:
                    step.kill()
            raise


def _is_output(word: str, inputs: dict[str, bytes]) -> bool:
    return word not in inputs and Path(word).suffix in (".json", ".csv", ".png", ".stl", ".pdf")


def _quoted(word: str) -> str:
    return f'"{word}"' if " " in word else word


def demo_files() -> dict[str, bytes]:
    """Return the demo's input files by name, from the installed package or the checkout."""
    from importlib.resources import files

    installed = files("portgeo") / "meshes"
    folder = installed if installed.is_dir() else Path(str(files("portgeo"))).parent / "meshes"
    return {
        item.name: item.read_bytes()
        for item in sorted(folder.iterdir(), key=lambda item: item.name)
        if item.name.startswith("demo-")
    }


def _written(out: Path, unwritten: str) -> str:
    """Return what was written, and plainly what was not."""
    lines = [
        f"written to {out}",
        "  report/report.html      the page: open it in a browser, it needs no network",
        "  report/bench-sheet.pdf  one printed side: what to take, and what the micrometer should read",
        "  report/customer.pdf     two pages for the customer",
        "  report/templates.pdf    gauges for the planned cut, to print at 100 %",
        "  report/cut-sheet.txt    the same as text, every station",
        "  report/                 meshes, pictures and every table",
        "  *.json, *.csv           the four answers above, each number with its unit in its name",
        "  demo-*                  the measured sheets, a traced outline, bench, wall, target and job: copy them",
    ]
    if unwritten:
        lines.append(f"Not everything is there: {unwritten}")
    return "\n".join([*lines, "", "Next: portgeo new MY-PORT makes a folder for your own, or portgeo measure -h"])
