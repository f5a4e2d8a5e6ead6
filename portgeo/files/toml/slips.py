"""What a hand got wrong in a file that is not TOML: a decimal comma, a word without quotes, a fraction.

The text and the reader's complaint come in; a refusal with the line, what is wrong and how it is
written goes out.
"""

from __future__ import annotations

import re

from portgeo.core.errors import InputError

LONGEST = 60  # letters of the file's own shown
PLACE = re.compile(r"at line (\d+)")
QUOTED_OR_REMARK = re.compile(r"""("[^"]*"|'[^']*'|\#.*)""")
BARE_FRACTION = re.compile(r"([=,\[]\s*)([+-]?(?:\d{1,9}[ -])?\d{1,9}/\d{1,9})(?=\s*(?:[,\]}]|$))")
NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
USUAL = "Write keys as  key = value , words between quotes, lists between [ and ]"
TWICE = ("Cannot overwrite", "Cannot declare", "Cannot mutate")


def slip(text: str, complaint: str) -> InputError:
    """Return the refusal of a text that is not TOML. complaint : the reader's own words."""
    lines = text.rstrip().split("\n")
    found = PLACE.search(complaint)
    if not found and "end of document" not in complaint:
        what = "a number has thousands of digits" if "digits" in complaint else f"this is not TOML: {complaint}"
        return InputError(what, mend=USUAL)
    at = min(int(found[1]), len(lines)) if found else len(lines)
    line = lines[at - 1].strip()
    what, mend = _said(line, complaint)
    return InputError(what, where=f"line {at}", mend=mend)


def with_fractions_quoted(text: str, complaint: str) -> str:
    """Return a text with the fractions of its bad line between quotes. complaint : the reader's own words."""
    found = PLACE.search(complaint)
    lines = text.split("\n")
    if not found or int(found[1]) > len(lines):
        return text
    at = int(found[1]) - 1
    parts = QUOTED_OR_REMARK.split(lines[at])  # every second one is left as it is
    lines[at] = "".join(part if k % 2 else BARE_FRACTION.sub(r'\1"\2"', part) for k, part in enumerate(parts))
    return "\n".join(lines)


def _said(line: str, complaint: str) -> tuple[str, str]:
    """Return what is wrong with a line, and the mend."""
    if complaint.startswith(TWICE):
        return f"{short(line.partition('=')[0])} comes twice", "Leave one of the two"
    if line.startswith("["):
        return "the line does not name a table", "Write the table's name between brackets, such as  [engine]"
    key, equals, value = (part.strip() for part in line.partition("="))
    if not equals:
        colon = re.match(r"([\w-]+)\s*:\s*(.+)", line)
        if colon:
            return "there is a colon where = belongs", f"Write  {colon[1]} = {short(colon[2])}  in its place"
        return f"the line '{short(line)}' is no key and no table", "Write  key = value , or # before a remark"
    value = value if value.startswith(('"', "'")) else value.partition("#")[0].strip()
    return _of_value(short(key), value) or (f"this is not TOML: {complaint}", USUAL)


def _of_value(key: str, value: str) -> tuple[str, str] | None:
    """Return what is wrong with a key's value, and the mend; None where it is none of the usual slips."""
    said = short(value)
    if not value:
        return f"{key} has no value", f"Write it after the = , or # before {key} to leave it out"
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        return f"{said} has a decimal comma", f"Write  {key} = {value.replace(',', '.')}  with a point"
    measured = re.fullmatch(rf"({NUMBER})\s*(in|inch|inches|mm|\")", value)
    if measured:
        unit = "mm" if measured[2] == "mm" else "in"
        named = f"{_bare(key)}_{unit} = {_plain(measured[1])}"
        return f"{said} has its unit beside the number", f"Write  {named}  with the unit in the key"
    if re.fullmatch(NUMBER, value) and _plain(value) != value:
        return f"{said} is not how a number is written here", f"Write  {key} = {_plain(value)}  in its place"
    if value.lower() in ("true", "false"):
        return f"{said} is written with small letters", f"Write  {key} = {value.lower()}  in its place"
    if value.startswith('"') and "\\" in value:
        return "there is a backslash in the text", f"Write  {key} = {short(value.replace(chr(92), '/'))}  with /"
    if value.startswith(('"', "'")) and value.count(value[0]) == 1:
        written = short(value.partition(" #")[0])
        return "the text has no closing quote", f"Write  {key} = {written}{value[0]}  with one at both ends"
    if re.match(r"[^\W\d_]", value) and '"' not in value:
        return f"{said} stands without quotes", f'Write  {key} = "{said}"  with them'
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
