"""What a hand got wrong in a file that is not TOML: a decimal comma, a word without quotes, a fraction.

A text comes in; what it says goes out, and every slip with its line, what is wrong and how it is written. A slip is
mended as it is told, so that the rest of the file can be looked at too.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from portgeo.core.errors import InputError, Problems

LONGEST = 60  # letters of the file's own shown
MOST_MENDED = 60  # slips and fractions: past it, it is not the file that was meant
TABLE_NAME = re.compile(r"(\[{1,2}\s*[\w-]+)\s*(?:\]|$)")
PLACE = re.compile(r"at line (\d+)")
QUOTED_OR_REMARK = re.compile(r"""("[^"]*"|'[^']*'|\#.*)""")
BARE_FRACTION = re.compile(r"([=,\[]\s*)([+-]?(?:\d{1,9}[ -])?\d{1,9}/\d{1,9})(?=\s*(?:[,\]}]|$))")
NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
USUAL = "Write keys as  key = value , words between quotes, lists between [ and ]"
TWICE = ("Cannot overwrite", "Cannot declare", "Cannot mutate")


@dataclass(frozen=True)
class Slip:
    """A line that is not TOML. mended : as it was meant; None where what follows hangs on what was meant.

    bare : it is a word without quotes, which may not be what belongs there at all.
    """

    line: int | None
    what: str
    hint: str
    mended: str | None
    bare: bool = False


# What a job calls a stage of its port: the word that is written, and the one that was before and is read as well.
STAGE, STAGES = {"stage": "state"}, {"stages": "states"}
NEWER = {old: new for new, old in (STAGE | STAGES).items()}
NAMING_STAGES = {"target": STAGE, "calm": STAGE, "tool": STAGE, "walls": STAGE, "probe": STAGE, "loss": STAGES}


def in_one_word(content: dict[str, Any]) -> dict[str, Any]:
    """Return what a job says with its stages under the word that the rest of the package has, `state`."""
    said = _renamed(content, STAGE)
    return {
        name: _renamed(table, NAMING_STAGES[name]) if name in NAMING_STAGES and isinstance(table, dict) else table
        for name, table in said.items()
    }


def _renamed(table: dict[str, Any], words: dict[str, str]) -> dict[str, Any]:
    """Return a table with its keys in other words, in their order; where both words are there, as it is."""
    return {words.get(key, key) if words.get(key) not in table else key: value for key, value in table.items()}


def own_words(content: Mapping[str, Any], table: str, key: str) -> tuple[str, str]:
    """Return a table and a key of a job in the words that its file has for them.

    content : as the file has it. A file that has neither word gets the newer.
    """
    older = "state" in content
    named = "stage" if table == "state" and not older else table
    inside: Any = content.get(table) or {}
    newer = {old: new for new, old in NAMING_STAGES.get(table, {}).items()}
    if key in newer and key not in inside and (newer[key] in inside or not older):
        key = newer[key]
    return named, key


def content_of(text: str) -> tuple[dict[str, Any] | None, list[Slip]]:
    """Return what a TOML text says, and its slips; None with them where it cannot be made out.

    Fractions, which TOML has not, are texts.
    """
    slips: list[Slip] = []
    for _ in range(MOST_MENDED):
        try:
            return in_one_word(tomllib.loads(text)), slips
        except (ValueError, RecursionError) as error:  # a number of thousands of digits, brackets without end
            quoted = _with_fractions_quoted(text, str(error))
            if quoted != text:
                text = quoted
                continue
            slip = _slip(text, str(error))
            if any(slip.line == earlier.line for earlier in slips):
                return None, slips
            slips.append(slip)
            if slip.line is None or slip.mended is None:
                return None, slips
            lines = text.split("\n")
            lines[slip.line - 1] = slip.mended
            text = "\n".join(lines)
    return None, slips or [Slip(None, "too much of it is not TOML", USUAL, None)]


def tell(slips: Sequence[Slip], problems: Problems) -> None:
    """Tell slips in place of what else was found wrong with their lines.

    Of a word without quotes that has no place there, with them or not, that is told instead.
    """
    for slip in slips:
        if slip.line is not None:
            if slip.bare and problems.of_row(slip.line):
                continue
            problems.leave_out(slip.line)
        where = None if slip.line is None else f"line {slip.line}"
        problems.add(InputError(slip.what, where=where, row=slip.line, hint=slip.hint))


def _slip(text: str, complaint: str) -> Slip:
    """Return the slip that a reader stumbled over. complaint : the reader's own words."""
    lines = text.rstrip().split("\n")
    place = PLACE.search(complaint)
    if not place and "end of document" not in complaint:
        what = "a number has thousands of digits" if "digits" in complaint else f"this is not TOML: {complaint}"
        return Slip(None, what, USUAL, None)
    at = min(int(place[1]), len(lines)) if place else len(lines)
    return replace(_said(lines[at - 1].strip(), complaint), line=at)


def _with_fractions_quoted(text: str, complaint: str) -> str:
    """Return a text with the fractions of its bad line between quotes. complaint : the reader's own words."""
    found = PLACE.search(complaint)
    lines = text.split("\n")
    if not found or int(found[1]) > len(lines):
        return text
    at = int(found[1]) - 1
    parts = QUOTED_OR_REMARK.split(lines[at])  # every second one is left as it is
    lines[at] = "".join(part if k % 2 else BARE_FRACTION.sub(r'\1"\2"', part) for k, part in enumerate(parts))
    return "\n".join(lines)


def _said(line: str, complaint: str) -> Slip:
    """Return what is wrong with a line, with the hint."""
    if complaint.startswith(TWICE):
        what = f"{short(line.partition('=')[0])} comes twice"
        return Slip(None, what, "Leave one of the two", None if line.startswith("[") else "")
    if line.startswith("["):
        hint = "Write the table's name between brackets, such as  [engine]"
        name = TABLE_NAME.match(line)
        opened = name[1].count("[") if name else 0
        return Slip(None, "the line does not name a table", hint, name[1] + "]" * opened if name else None)
    key, equals, value = (part.strip() for part in line.partition("="))
    if not equals:
        colon = re.match(r"([\w-]+)\s*:\s*(.+)", line)
        if colon:
            mended = f"{colon[1]} = {colon[2]}"
            hint = f"Write  {colon[1]} = {short(colon[2])}  in its place"
            return Slip(None, "there is a colon where = belongs", hint, mended)
        what = f"the line '{short(line)}' is neither a key nor a table"
        return Slip(None, what, "Write  key = value , or # before a remark", "")
    value = value if value.startswith(('"', "'")) else value.partition("#")[0].strip()
    return _of_value(key, value) or Slip(None, f"this is not TOML: {complaint}", USUAL, f'{key} = ""')


def _of_value(key: str, value: str) -> Slip | None:
    """Return what is wrong with a key's value, with the hint; None where it is none of the usual slips."""
    said, named = short(value), short(key)

    def written(what: str, mended: str, why: str, bare: bool = False) -> Slip:
        return Slip(None, what, f"Write  {named} = {short(mended)}  {why}", f"{key} = {mended}", bare)

    if not value:
        hint = f"Write it after the = , or # before {named} to leave it out"
        return Slip(None, f"{named} has no value", hint, f'{key} = ""')
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        return written(f"{said} has a decimal comma", value.replace(",", "."), "with a point")
    measured = re.fullmatch(rf"({NUMBER})\s*(in|inch|inches|mm|\")", value)
    if measured:
        unit = "mm" if measured[2] == "mm" else "in"
        own = f"{_bare(key)}_{unit} = {_plain(measured[1])}"
        return Slip(None, f"{said} has its unit beside the number", f"Write  {own}  with the unit in the key", own)
    if re.fullmatch(NUMBER, value) and _plain(value) != value:
        return written(f"{said} is not how a number is written here", _plain(value), "in its place")
    if value.lower() in ("true", "false"):
        return written(f"{said} is written with small letters", value.lower(), "in its place")
    if value.startswith('"') and "\\" in value:
        return written("there is a backslash in the text", value.replace("\\", "/"), "with /")
    if value.startswith(('"', "'")) and value.count(value[0]) == 1:
        closed = value.partition(" #")[0]
        hint = f"Write  {named} = {short(closed)}{value[0]}  with one at both ends"
        return Slip(None, "the text has no closing quote", hint, f"{key} = {closed}{value[0]}")
    if re.match(r"[^\W\d_]", value) and '"' not in value:
        hint = f'Write  {named} = "{said}"  with them'
        return Slip(None, f"{said} stands without quotes", hint, f'{key} = "{value}"', bare=True)
    return None


def _plain(number: str) -> str:
    """Return a number with digits on both sides of its point and no leading zeros."""
    sign, digits = ("-", number[1:]) if number[0] == "-" else ("", number.lstrip("+"))
    whole, point, part = digits.partition(".")
    return f"{sign}{whole.lstrip('0') or '0'}" + (f".{part or '0'}" if point else "")


def _bare(key: str) -> str:
    return key.removesuffix("_in").removesuffix("_mm")


def short(text: str) -> str:
    """Return what was written, for a message: its first letters where it is long."""
    text = text.strip()
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "..."
