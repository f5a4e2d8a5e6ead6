"""The guide's examples: what its pages say to type, run on the demo, beside what they say is printed.

A page comes in; its examples go out, each with what it printed. In a block of ```console a line that begins with `$`
is typed, and what stands under it is printed; a block of ```text right under one of ```python is what that prints. A
line `...` stands for any lines.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

from portgeo.app import cli
from portgeo.app.commands.demo import demo_files

ROOT = Path(__file__).resolve().parent.parent
BLOCK = re.compile(r"```(console|python)\n(.*?)```\n(?:\n```text\n(.*?)```\n)?", re.DOTALL)
NUMBER = re.compile(r"-?\d[\d,]*(?:\.\d+)?")
LAST_PLACES = 2.0  # another machine's libraries may round a last digit otherwise
SHARE = 0.005
ANY = "..."


@dataclass(frozen=True)
class Example:
    """What is typed, whether it is Python, what the page shows of what it prints (None: nothing), and where."""

    typed: str
    python: bool
    shown: str | None
    place: tuple[int, int]


def pages() -> list[Path]:
    """Return the pages that have examples."""
    return [p for p in (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))) if examples(p.read_text("utf-8"))]


def tables() -> ModuleType:
    """Return docs/tables.py, which is no part of a package."""
    spec = importlib.util.spec_from_file_location("guide_tables", ROOT / "docs" / "tables.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def examples(page: str) -> list[Example]:
    """Return the examples of a page, in order."""
    found = []
    for block in BLOCK.finditer(page):
        if block[1] == "python":
            place = block.span(3) if block[3] is not None else (block.end(), block.end())
            found.append(Example(block[2], True, block[3], place))
            continue
        for typed in re.finditer(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", block[2], re.MULTILINE):
            start = block.start(2)
            found.append(Example(typed[1], False, typed[2], (start + typed.start(2), start + typed.end(2))))
    return found


def folder_of(page: Path, laid_out: Path) -> Path:
    """Return where a page's examples run: the README's in a clone, the guide's in the demo's folder."""
    if page == ROOT / "README.md":
        return ROOT
    for name, data in demo_files().items():
        (laid_out / name).write_bytes(data)
    return laid_out


def printed(page: str) -> Iterator[tuple[Example, str]]:
    """Yield each example of a page and what it prints. The working directory is `folder_of`."""
    names: dict[str, object] = {}
    for example in examples(page):
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
            if example.python:
                exec(example.typed, names)
            else:
                program, *words = shlex.split(example.typed)
                assert program == "portgeo", example.typed
                cli.main(words)
        yield example, out.getvalue()


def same(shown: str, got: str) -> bool:
    """Return whether what is shown is what was printed: lines one by one, numbers to their last places."""
    want, have = _lines(shown), _lines(got)
    if ANY not in want:
        return len(want) == len(have) and all(map(_alike, want, have))
    at = 0
    for k, part in enumerate(parts := _parts(want)):
        places = [len(have) - len(part)] if k == len(parts) - 1 else [at] if k == 0 else range(at, len(have))
        fits = (p for p in places if p >= at and p + len(part) <= len(have) and all(map(_alike, part, have[p:])))
        place = next(fits, None)
        if place is None:
            return False
        at = place + len(part)
    return True


def shown_anew(shown: str, got: str) -> str:
    """Return what a page is to show of what is printed now, left out where it was left out. Raises LookupError."""
    want, have = shown.strip("\n").splitlines(), got.strip("\n").splitlines()
    if ANY not in (line.strip() for line in want):
        return _ended(have)
    made, at = [], 0
    for line in want:
        if line.strip() == ANY:
            made.append(line)
            continue
        likes = (_alike, lambda a, b: _masked(a) == _masked(b) and NUMBER.findall(a)[:1] == NUMBER.findall(b)[:1],
                 lambda a, b: _masked(a) == _masked(b))  # fmt: skip
        at = next((k + 1 for like in likes for k in range(at, len(have)) if like(line, have[k])), 0)
        if not at:
            raise LookupError(f"no line like this is printed any more: {line}")
        made.append(have[at - 1].rstrip())
    return _ended(made)


def _ended(lines: list[str]) -> str:
    return "".join(f"{line.rstrip()}\n" for line in lines)


def _lines(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.strip("\n").splitlines()]


def _parts(lines: list[str]) -> list[list[str]]:
    parts: list[list[str]] = [[]]
    for line in lines:
        if line == ANY:
            parts.append([])
        else:
            parts[-1].append(line)
    return parts


def _masked(line: str) -> str:
    return " ".join(NUMBER.sub("#", line).split())


def _alike(shown: str, got: str) -> bool:
    if _masked(shown) != _masked(got):
        return False
    for a, b in zip(NUMBER.findall(shown), NUMBER.findall(got), strict=True):
        x, y = float(a.replace(",", "")), float(b.replace(",", ""))
        place = 10.0 ** -len(a.partition(".")[2])
        if abs(x - y) > max(LAST_PLACES * place, SHARE * abs(x)) * (1.0 + 1e-9):
            return False
    return True
