"""The checks against sources outside the project, as rows of one table.

A test in tests/reference asks for the fixture `check` and states what it found beside what the source
says; the row fails the test where it is out. docs/validation.md holds the rows of the last whole run,
and a run that no longer agrees with it fails: the page is stale.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import pytest

PAGE = Path(__file__).resolve().parent.parent / "docs" / "validation.md"
WRITE = "python scripts/validate.py --write"
FOLDER = "tests/reference/"
ROWS = "## The rows"
DRIFT = 0.1  # of a row's limit: another machine's last digits move a result by less, a change of ours by more
HEAD = ("quantity", "source", "expected", "got", "error", "limit")


@dataclass(frozen=True)
class Row:
    """One check: what was looked at, who says what it is, what it is, what was found.

    limit : greatest allowed |got - expected|, over |expected| where `relative`.
    """

    quantity: str
    source: str
    expected: float
    got: float
    limit: float
    relative: bool

    @property
    def error(self) -> float:
        """Signed, over |expected| where the limit is."""
        return (self.got - self.expected) / (abs(self.expected) if self.relative else 1.0)


Check = Callable[..., None]


@pytest.fixture
def check(request: pytest.FixtureRequest) -> Check:
    """Return check(quantity, source, got, expected, rel=... or abs=...), which records a row and asserts it.

    Of arrays the element that is farthest out is the row's.
    """

    def stated(
        quantity: str, source: str, got: object, expected: object, *, rel: float = 0.0, abs: float = 0.0
    ) -> None:
        assert (rel > 0.0) != (abs > 0.0), "a check has one limit"
        both = np.broadcast_arrays(np.asarray(got, dtype=float), np.asarray(expected, dtype=float))
        got, expected = (values.ravel() for values in both)
        error = np.abs(got - expected) / (np.abs(expected) if rel else 1.0)
        worst = int(np.argmax(np.where(np.isnan(error), np.inf, error)))
        row = Row(quantity, source, float(expected[worst]), float(got[worst]), rel or abs, bool(rel))
        request.node.user_properties.append(("row", asdict(row)))
        assert np.abs(row.error) <= row.limit, f"{quantity}: {row.got:.9g}, and {source} says {row.expected:.9g}"

    return stated


class Collected:
    """The rows that this run's tests reported, and which test files they came from."""

    def __init__(self, config: pytest.Config) -> None:
        self.config = config
        self.rows: list[Row] = []
        self.files: set[str] = set()
        self.failed = False

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if FOLDER not in report.nodeid:
            return
        self.failed |= report.failed
        if report.when == "call":
            self.files.add(report.nodeid.split("::")[0].rsplit("/", 1)[-1])
            self.rows += [Row(**value) for name, value in report.user_properties if name == "row"]

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        if hasattr(self.config, "workerinput") or not self.rows or self.failed:
            return
        target = self.config.getoption("--rows")
        if target:
            Path(target).write_text(json.dumps([asdict(row) for row in self.rows]), encoding="utf-8")
            return
        chosen = self.config.getoption("keyword") or any("::" in word for word in self.config.args)
        everything = {path.name for path in (Path(__file__).parent / "reference").glob("test_*.py")} == self.files
        faults = stale(self.rows, PAGE.read_text(encoding="utf-8"), whole=everything and not chosen)
        if faults:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED
            print(f"\ndocs/validation.md is stale; write it anew with: {WRITE}")
            print("\n".join(f"  {fault}" for fault in faults))


def cells(row: Row) -> tuple[str, ...]:
    """Return a row as it stands on the page."""
    if row.relative:
        error, limit = f"{100.0 * row.error:+.2g} %", f"{100.0 * row.limit:g} %"
    else:
        error, limit = f"{row.error:+.2g}", f"{row.limit:g}"
    return (row.quantity, row.source, f"{row.expected:.6g}", f"{row.got:.6g}", error, limit)


def table(rows: Sequence[Row]) -> list[str]:
    """Return the lines of the table, in the order of quantity and source."""
    lines = ["| " + " | ".join(HEAD) + " |", "|---|---|---:|---:|---:|---:|"]
    for row in sorted(rows, key=lambda row: (row.quantity, row.source)):
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells(row)) + " |")
    return lines


def stale(rows: Sequence[Row], page: str, whole: bool) -> list[str]:
    """Return where the page differs from the rows; whole : the rows are all that there are."""
    held = {}
    for line in section(page, ROWS):
        parts = [part.strip() for part in line.strip().strip("|").split(" | ")]
        if len(parts) == len(HEAD) and parts[0] != HEAD[0]:
            held[parts[0], parts[1]] = parts
    faults, seen = [], set()
    for row in rows:
        name = row.quantity, row.source
        if name in seen:
            faults.append(f"stands twice: {row.quantity} ({row.source})")
        seen.add(name)
        if name not in held:
            faults.append(f"not on the page: {row.quantity} ({row.source})")
            continue
        size = abs(row.expected) if row.relative else 1.0
        limit = float(held[name][5].removesuffix(" %")) / (100.0 if row.relative else 1.0)
        for what, now, then, drift in (
            ("expected", row.expected, float(held[name][2]), DRIFT * row.limit * size),
            ("got", row.got, float(held[name][3]), DRIFT * row.limit * size),
            ("limit", row.limit, limit, DRIFT * row.limit),
        ):
            # What the page rounds away is no change.
            if abs(then - now) > drift + 1e-5 * abs(now):
                faults.append(f"{row.quantity}: {what} {now:.6g}, on the page {then:.6g}")
    if whole:
        faults += [f"no longer checked: {quantity} ({source})" for quantity, source in held.keys() - seen]
    return faults


def section(page: str, heading: str) -> list[str]:
    """Return the lines under a heading, up to the next of its kind."""
    found, inside = [], False
    for line in page.splitlines():
        if line.startswith("## "):
            inside = line == heading
        elif inside:
            found.append(line)
    return found


def with_section(page: str, heading: str, body: Sequence[str]) -> str:
    """Return the page with the lines under a heading replaced, or the heading and they added at its end."""
    lines = page.splitlines()
    if heading not in lines:
        lines += ["", heading]
    start = lines.index(heading)
    end = next((k for k in range(start + 1, len(lines)) if lines[k].startswith("## ")), len(lines))
    after = lines[end:]
    lines[start + 1 :] = ["", *body, *([""] if after else []), *after]
    return "\n".join(lines) + "\n"


def publish(heading: str, lines: Sequence[str], write: bool, above: Sequence[str] = ()) -> None:
    """Print a section of the page, and write it there if asked. above : lines that the page alone has before it."""
    print("\n".join(lines))
    if write:
        page = PAGE.read_text(encoding="utf-8") if PAGE.exists() else "# Validation\n"
        PAGE.write_text(with_section(page, heading, [*above, *lines]), encoding="utf-8", newline="\n")
