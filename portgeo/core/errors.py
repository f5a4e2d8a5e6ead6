"""What can go wrong with a user's input: one message that says where it is and what to do.

Everything the package refuses is raised as a PortgeoError; the command line prints it and exits
with status 2. Any other exception is a defect of ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class PortgeoError(Exception):
    """A refusal that the user can mend.

    Parameters
    ----------
    what : str
        What is wrong, a clause without a full stop: ``"'abc' is not a number"``.
    mend : str
        What to do about it, a sentence without a full stop: ``"Write a number such as 1.625"``; or a question.
    file : str or None
        The file it is in, as the user named it.
    where : str or None
        The place in the file: ``"row 5, column height_in"``.
    """

    def __init__(self, what: str, *, mend: str, file: str | None = None, where: str | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend
        self.file = file
        self.where = where

    def in_file(self, file: str) -> PortgeoError:
        """Return the same refusal with `file` named, where it names none yet."""
        return type(self)(self.what, mend=self.mend, file=self.file or file, where=self.where)

    def __reduce__(self) -> tuple[Any, ...]:
        """Come whole out of a worker process: what an exception does by itself drops the keywords."""
        return _refused, (type(self), self.what, self.mend, self.file, self.where)

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.where) if part)
        text = f"{place + ': ' if place else ''}{self.what}. {self.mend}{'' if self.mend.endswith('?') else '.'}"
        # One line, whatever signs a file's name or its text has in it.
        return "".join(sign if sign.isprintable() else "?" for sign in text)


def _refused(kind: type[PortgeoError], what: str, mend: str, file: str | None, where: str | None) -> PortgeoError:
    return kind(what, mend=mend, file=file, where=where)


class InputError(PortgeoError):
    """A file or a value that cannot be read as what it should be."""


class GeometryError(PortgeoError):
    """Readings or a mesh that do not make a port."""


class OutputError(PortgeoError):
    """A result that cannot be written where the user wants it."""


@contextmanager
def naming(file: str) -> Iterator[None]:
    """Name the file in a refusal that does not."""
    try:
        yield
    except PortgeoError as refusal:
        raise refusal.in_file(file) from None
