"""Print every sentence that the program can print, to be read as a person reads it.

python scripts/sentences.py            every notice's sentence, with example values in inches and in millimeters
python scripts/sentences.py dam pinch  those of these codes
python scripts/sentences.py --code     all others, by file and line: pages, paper, commands, errors and their hints
"""

from __future__ import annotations

import ast
import string
import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.units import Display
from portgeo.words import SENTENCES, sentences_of

WIDTH = 100
# A likely value of each kind, and of what a Python format or a plain word stands for.
OF_KIND: dict[str, Any] = {
    "length": 12.7,
    "plain_length": 11.3,
    "area": 1150.0,
    "plain_area": 1080.0,
    "volume": 640.0,
    "speed": 142.0,
    "pressure": 28.0 * 249.08891,
    "angle": np.radians(7.4),
    "clock": 6.0,
    "place": (41.2, -3.5, 18.0),
    "wall": "floor",
    "rows": (3, 4, 7),
    "stations": (12.7, 25.4, 63.5),
    "unit": "in",
    "either": ("micrometer", "caliper", "rule"),
    "listed": ("micrometer", "template"),
    "shares": (("wall", 0.031), ("greatest depth", 0.012)),
}
OF_NAME: dict[str, Any] = {
    "advice": Notice("advice", case="reading", measure="height", station=86.36, share=0.72),
    "as_inches": 3505.2,
    "as_mm": 138.0,
    "count": 3,
    "counts": "[engine] throat",
    "end": "exit",
    "file": "mold.stl",
    "first": 2,
    "last": 9,
    "leg": "left",
    "limit": "greatest depth",
    "mach": 0.53,
    "measure": "height",
    "name": "first cut",
    "other": "right",
    "quantity": "minimum area",
    "row": 4,
    "rows": 2,
    "seen": 21,
    "station": 50.8,
    "stop": Notice("stop", case="depth", limit="wall", depth=1.27),
    "thickness": 2.2,
    "triangles": 214,
}


def example(code: str, case: str) -> Notice:
    """Return a notice of a code and a case with a likely value for each field of its sentence."""
    values = {
        name: _value(name, spec or "")
        for _, name, spec, _ in string.Formatter().parse(sentences_of(code)[case])
        if name is not None
    }
    return Notice(code, **values, **({"case": case} if case else {}))


def _value(name: str, spec: str) -> Any:
    if spec in OF_KIND:
        return OF_NAME[name] if name in ("station", "thickness") else OF_KIND[spec]
    if spec.endswith(("%", "f", "g")):
        return OF_NAME.get(name, 0.043) if name != "limit" else 0.5 if spec == "g" else 0.01
    return OF_NAME[name]


LEAST_LETTERS = 5  # of a text with a space in it: less is a separator
FIELD = 30  # letters of what stands in a sentence's field


def texts_in(source: str) -> Iterator[tuple[int, str]]:
    """Yield line and text of each text in a module that may be a sentence: one with a space, docstrings left out."""
    tree = ast.parse(source)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }

    def visit(node: ast.AST) -> Iterator[tuple[int, str]]:
        text = None if id(node) in docstrings else _text(node)
        if text is not None and " " in text.strip() and sum(map(str.isalpha, text)) >= LEAST_LETTERS:
            yield node.lineno, " ".join(text.split())  # type: ignore[attr-defined]  # a text has a line
        if text is None or isinstance(node, ast.JoinedStr):
            inside = [part.value for part in node.values if isinstance(part, ast.FormattedValue)] if text else None
            for child in inside or ([] if text else ast.iter_child_nodes(node)):
                yield from visit(child)

    return visit(tree)


def _text(node: ast.AST) -> str | None:
    """Return the text that an expression is, its fields in braces; None where it is none."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        parts = [
            str(part.value) if isinstance(part, ast.Constant) else "{" + ast.unparse(part.value)[:FIELD] + "}"
            for part in node.values
        ]
        return "".join(parts)
    return None


def in_code() -> None:
    """Print the texts of every module but the notices' own."""
    package = Path(__file__).resolve().parent.parent / "portgeo"
    for path in sorted(package.rglob("*.py")):
        found = [] if path.name == "words.py" else list(texts_in(path.read_text("utf-8")))
        for line, text in found:
            print(textwrap.fill(f"{path.relative_to(package)}:{line}: {text}", WIDTH, subsequent_indent="    "))


def main(codes: list[str]) -> None:
    """Print the sentences of these codes, of all where none is given."""
    if codes == ["--code"]:
        in_code()
        return
    for code in codes or SENTENCES:
        for case in sentences_of(code):
            print(f"{code}{f' ({case})' if case else ''}")
            messages = dict.fromkeys(example(code, case).message(Display(unit)) for unit in ("in", "mm"))
            for message in messages:
                print(textwrap.fill(message, WIDTH, initial_indent="  - ", subsequent_indent="    "))


if __name__ == "__main__":
    main(sys.argv[1:])
