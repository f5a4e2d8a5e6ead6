"""What can go wrong with a user's input: one message that says where it is and what to do.

Everything the package refuses is raised as a PortgeoError; the command line prints it and exits
with status 2. Any other exception is a defect of ours. A refusal of a file tells all that is wrong
with it, each problem with its place, so that a person mends it in one go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any, Self

MOST_SHOWN = 20  # problems in a message, as many as a screen holds; the rest are counted
MOST_GATHERED = 1000  # problems of one file: past it, it is not the file that was meant


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, in the words for a person and as the place that a page can mark.

    what : a clause without a full stop: ``"'abc' is not a number"``. hint : what to do about it, a sentence
    without a full stop: ``"Write a number such as 1.625"``; or a question. file : as the user named it.
    where : the place in it, in words: ``"row 5, column height_in"``. row, column : the same, where it is one
    cell: the row as the file counts it (of a job or a target the line) and the column (the key) as it is named there.
    """

    what: str
    hint: str
    file: str | None = None
    where: str | None = None
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.where) if part)
        text = f"{place + ': ' if place else ''}{self.what}. {self.hint}{'' if self.hint.endswith('?') else '.'}"
        # One line, whatever signs a file's name or its text has in it.
        return "".join(sign if sign.isprintable() else "?" for sign in text)


class PortgeoError(Exception):
    """An error that the user can fix: one problem, or several of one file.

    Parameters
    ----------
    what, hint, file, where, row, column : as in `Problem`; `where` is made of row and column where it is not given.

    Attributes
    ----------
    problems : tuple of Problem, in the order of the file.
    """

    def __init__(
        self,
        what: str,
        *,
        hint: str,
        file: str | None = None,
        where: str | None = None,
        row: int | None = None,
        column: str | None = None,
    ) -> None:
        super().__init__(what)
        if where is None and row is not None:
            where = f"row {row}" + (f", column {column}" if column is not None else "")
        self.problems: tuple[Problem, ...] = (Problem(what, hint, file, where, row, column),)

    @classmethod
    def of(cls, problems: Sequence[Problem]) -> Self:
        """Return a refusal of several problems, of one at the least."""
        refusal = cls(problems[0].what, hint=problems[0].hint)
        refusal.problems = tuple(problems)
        return refusal

    @property
    def what(self) -> str:
        """What is wrong, of several the first."""
        return self.problems[0].what

    @property
    def hint(self) -> str:
        """What to do about it."""
        return self.problems[0].hint

    @property
    def file(self) -> str | None:
        """The file it is in."""
        return self.problems[0].file

    @property
    def where(self) -> str | None:
        """The place in the file."""
        return self.problems[0].where

    def in_file(self, file: str) -> Self:
        """Return the same refusal with `file` named, where it names none yet."""
        return self.of([replace(problem, file=problem.file or file) for problem in self.problems])

    def at(self, *, where: str | None = None, row: int | None = None, column: str | None = None) -> Self:
        """Return the same refusal with a place named, where it names none yet."""
        place = type(self)("", hint="", where=where, row=row, column=column).problems[0]
        return self.of(
            [
                problem if problem.where else replace(place, what=problem.what, hint=problem.hint, file=problem.file)
                for problem in self.problems
            ]
        )

    def __reduce__(self) -> tuple[Any, ...]:
        """Come whole out of a worker process: what an exception does by itself drops the keywords."""
        return type(self).of, (self.problems,)

    def __str__(self) -> str:
        if len(self.problems) == 1:
            return str(self.problems[0])
        shown, rest = self.problems[:MOST_SHOWN], len(self.problems) - MOST_SHOWN
        one_file = self.file if len({problem.file for problem in self.problems}) == 1 else None
        if one_file is not None:
            shown = tuple(replace(problem, file=None) for problem in shown)
        head = str(Problem(f"{len(self.problems)} problems", "", one_file)).removesuffix(". .")
        lines = [head, *map(str, shown), *([f"and {rest} more"] if rest > 0 else [])]
        return "\n  ".join(lines)


class InputError(PortgeoError):
    """A file or a value that cannot be read as what it should be."""


class GeometryError(PortgeoError):
    """Readings or a mesh that do not make a port."""


class OutputError(PortgeoError):
    """A result that cannot be written where the user wants it."""


class Problems:
    """What is wrong with a file, or with several, gathered while they are read and told in their order at the end.

    columns : the names of its columns, in their order.
    """

    def __init__(self, problems: Sequence[Problem] = (), columns: Sequence[str] = ()) -> None:
        self._gathered: list[tuple[type[PortgeoError], Problem]] = [(InputError, problem) for problem in problems]
        self.columns = columns

    def __len__(self) -> int:
        return len(self._gathered)

    def add(self, refusal: PortgeoError) -> None:
        """Take the problems of a refusal. Raises all of them where they have become too many."""
        self._gathered += [(type(refusal), problem) for problem in refusal.problems]
        if len(self) >= MOST_GATHERED:
            self.refuse()

    def of_row(self, row: int) -> bool:
        """Return whether anything was told of a row."""
        return any(problem.row == row for _, problem in self._gathered)

    def leave_out(self, row: int) -> None:
        """Forget what was told of a row: it follows from something else."""
        self._gathered = [gathered for gathered in self._gathered if gathered[1].row != row]

    @contextmanager
    def gathering(self) -> Iterator[None]:
        """Take what is refused within, and go on after it."""
        try:
            yield
        except PortgeoError as refusal:
            self.add(refusal)

    def refuse(self) -> None:
        """Raise what was gathered, if anything was: InputError, or the one kind that all of it is of."""
        if not self._gathered:
            return
        kinds = {kind for kind, _ in self._gathered}
        kind = kinds.pop() if len(kinds) == 1 else InputError
        # Two states of a job may name one file.
        problems = dict.fromkeys(problem for _, problem in self._gathered)
        raise kind.of(sorted(problems, key=self._place))

    def _place(self, problem: Problem) -> tuple[int, int, int]:
        file = [other.file for _, other in self._gathered].index(problem.file)
        if problem.column is None:  # of a whole row
            return file, problem.row or 0, -1
        there = problem.column in self.columns
        return file, problem.row or 0, self.columns.index(problem.column) if there else len(self.columns)


@contextmanager
def naming(file: str) -> Iterator[None]:
    """Name the file in a refusal that does not."""
    try:
        yield
    except PortgeoError as refusal:
        raise refusal.in_file(file) from None


@contextmanager
def placing(*, where: str | None = None, row: int | None = None, column: str | None = None) -> Iterator[None]:
    """Name the place in a refusal that does not."""
    try:
        yield
    except PortgeoError as refusal:
        raise refusal.at(where=where, row=row, column=column) from None
