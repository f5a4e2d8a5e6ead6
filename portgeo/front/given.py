"""What a caller gives a function of the library: that it is what the function works on.

Values come in; they go out again as they are, or an InputError that names the parameter and says what to give.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from numbers import Integral, Real
from typing import Any, TypeVar

from portgeo.comparing.comparison import DENSITY_G_CC
from portgeo.core.errors import InputError
from portgeo.core.port import Port
from portgeo.core.split import SplitPort

Given = TypeVar("Given")

MAKES = {  # what makes each thing that functions take
    "a port": "pg.read(path) makes one",
    "a plan": "pg.plan(port, ...) makes one",
}
SHOWN = 40  # characters of a value in a message


def port_given(port: object, where: str = "port") -> Port:
    """Return what is one port. Raises InputError for anything else, a port that splits too."""
    if isinstance(port, SplitPort):
        name = port.legs[0].name
        raise InputError(
            "this port splits, and one passage is worked on at a time",
            where=where, hint=f"Give one of them: split.passage({name!r})",
        )  # fmt: skip
    return made_by(port, Port, "a port", where)


def of_one_passage(settings: Mapping[str, Any], function: str) -> None:
    """Raise InputError where a setting of one passage is given, not None, for a port that splits."""
    for name, value in settings.items():
        if value is not None:
            raise InputError(
                "this port splits, and this is for one passage", where=name,
                hint=f"Leave it out, or take one passage: {function}(split.passage(name), ...)",
            )  # fmt: skip


def ports_given(ports: object, where: str = "ports") -> Sequence[Port]:
    """Return what are several ports. Raises InputError where one of them is none."""
    if isinstance(ports, str) or not isinstance(ports, Iterable):
        raise InputError(f"{shown(ports)} is not a row of ports", where=where, hint="Give a list: [port, other]")
    return [port_given(port, f"{where}[{k}]") for k, port in enumerate(ports)]


def made_by(value: object, kind: type[Given], what: str, where: str) -> Given:
    """Return what is of a kind. what : as MAKES has it. Raises InputError for anything else."""
    if not isinstance(value, kind):
        raise InputError(f"{shown(value)} is not {what}", where=where, hint=f"Give {what}: {MAKES[what]}")
    return value


def shown(value: object) -> str:
    """Return a value as a message names it: text and plain numbers themselves, anything else by its kind."""
    if value is None or isinstance(value, str | bool | Real):
        text = repr(value)
        return text if len(text) <= SHOWN else f"{text[:SHOWN]}..."
    return f"a {type(value).__name__}"


def word_given(word: Any, known: Sequence[str], where: str) -> None:
    """Raise InputError where a word is none of those known."""
    if not isinstance(word, str) or word not in known:
        raise InputError(f"{shown(word)} is not known", where=where, hint=f"Give one of {', '.join(known)}")


def number_given(value: Any, where: str) -> None:
    """Raise InputError where a value is no finite number."""
    if isinstance(value, bool) or not isinstance(value, Real) or not math.isfinite(value):
        raise InputError(f"{shown(value)} is not a number", where=where, hint="Give a number such as 25.4")


def size_given(value: Any, where: str) -> None:
    """Raise InputError where a value is no number over zero; None is one that was not given."""
    if value is None:
        return
    number_given(value, where)
    if value <= 0.0:
        raise InputError(f"{value:g} is not more than zero", where=where, hint="Give a size over zero")


def count_given(value: Any, least: int, where: str) -> None:
    """Raise InputError where a value is no whole number, or too small; None is one that was not given."""
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, Integral) or value < least:
        raise InputError(f"{shown(value)} is too few", where=where, hint=f"Give a whole number, at least {least}")


def density_of(alloy: str | None, density_g_cc: float | None) -> float:
    """Return the density of a metal, g/cc: as it is given, else its alloy's. Raises InputError where neither is one."""
    if density_g_cc is not None:
        size_given(density_g_cc, "density_g_cc")
        return density_g_cc
    word_given(alloy, tuple(DENSITY_G_CC), "alloy")
    return DENSITY_G_CC[str(alloy)]
