"""What is printed, set off on a terminal: headings, what to look at, and the ± that stands beside a figure.

Lines come in as commands print them; on a terminal they go out styled, in a pipe or a file as they are.
"""

from __future__ import annotations

import io
from contextlib import AbstractContextManager, nullcontext, redirect_stdout
from typing import ClassVar, TextIO

MIND = ("look at", "cautions", "what limits the cut")  # headings of what must not be missed


class _Styled(io.TextIOBase):
    """A stream that styles whole lines on their way to a terminal."""

    def __init__(self, terminal: TextIO) -> None:
        from rich.console import Console
        from rich.highlighter import RegexHighlighter
        from rich.theme import Theme

        class Lines(RegexHighlighter):
            highlights: ClassVar = [
                rf"^(?P<mind>{'|'.join(MIND)})$",
                r"^(?P<heading>(?!\d)\S.*)$",
                r"(?P<doubt>± \d[\d.]*)",
            ]

        self._terminal, self._begun = terminal, ""
        self._console = Console(file=terminal, theme=Theme({"mind": "bold red", "heading": "bold", "doubt": "dim"}))
        self._style = Lines()

    def fileno(self) -> int:
        return self._terminal.fileno()

    def isatty(self) -> bool:
        return True

    def writable(self) -> bool:
        return True

    def write(self, text: str) -> int:
        *whole, self._begun = (self._begun + text).split("\n")
        for line in whole:
            self._console.print(self._style(line), soft_wrap=True, highlight=False)
        return len(text)

    def flush(self) -> None:
        if self._begun:
            self._terminal.write(self._begun)
            self._begun = ""
        self._terminal.flush()


def styled(stream: TextIO) -> AbstractContextManager[object]:
    """Return a context in which what is printed is styled, where a stream is a terminal that shows it."""
    return redirect_stdout(_Styled(stream)) if stream.isatty() else nullcontext()
