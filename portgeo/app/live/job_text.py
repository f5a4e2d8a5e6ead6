"""A job or a target open for typing: one key at a time is written, and all else in it stays, remarks included.

The file's text comes in; the text with a key or a table more, or less, goes out.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from portgeo.core.errors import InputError
from portgeo.files.toml.slips import own_words
from portgeo.files.toml.tables import place_of

DECIMAL = re.compile(r"([+-]?)0*(\d*)[.,]?(\d*)")
DATE = re.compile(r"\d{4}-\d\d-\d\d")
HEADER = re.compile(r"\s*(#\s*)?\[\[?\s*[\w.\-]+\s*\]\]?\s*(#.*)?")
OPENS = re.compile(r"\s*\[")
KEY = re.compile(r"\s*[\w\-\"]+\s*=")
REMARK_AT = 30  # column in which the remarks of a new job stand


def literal(text: str, kind: str) -> str:
    """Return what was typed into a form as TOML has it; what is no number is written as words, and told as a slip."""
    text = text.strip()
    if kind == "list":
        return "[" + ", ".join(_one(part.strip()) for part in re.split(r"[;,]", text) if part.strip()) + "]"
    if kind == "number":
        return _one(text)
    if (kind == "date" and DATE.fullmatch(text)) or (kind == "choice" and text in ("true", "false")):
        return text
    return tomlkit.item(text).as_string()


def _one(text: str) -> str:
    """Return a number's literal as it was typed, 1.950 as 1.950; words between quotes."""
    found = DECIMAL.fullmatch(text)
    if found is None or not (found[2] or found[3] or "0" in text):
        return tomlkit.item(text).as_string()
    point = "." in text or "," in text
    return f"{found[1]}{found[2] or '0'}" + (f".{found[3] or '0'}" if point else "")


def with_key(text: str, table: str, index: int, key: str, value: str | None) -> str:
    """Return a file with one key set, or taken out where the value is None.

    table : "" for the top. index : of the table, where there are several. key : one of a table in it has a dot
    (port_scan.units). value : a literal. Raises InputError where the file cannot be made out, or has no such table.
    """
    content = _content(text)
    first, _, rest = key.partition(".")
    table, first = own_words(content, table, first)
    key = f"{first}.{rest}" if rest else first
    wanted = copy.deepcopy(content)
    _set(wanted, table, index, key, None if value is None else tomllib.loads(f"v = {value}")["v"])
    if wanted == content:
        return text
    return _that_says(wanted, _ways(text, content, table, index, key, value))


def with_entry(text: str, table: str, keys: dict[str, str]) -> str:
    """Return a file with another [[table]] after the others. keys : with their literals."""
    content = _content(text)
    table, _ = own_words(content, table, "")
    wanted = copy.deepcopy(content)
    values = {key: tomllib.loads(f"v = {value}")["v"] for key, value in keys.items()}
    wanted.setdefault(table, []).append(values)
    block = [f"[[{table}]]", *(f"{key} = {value}" for key, value in keys.items())]
    lines = text.rstrip("\n").split("\n")
    after = _end_of_entries(lines, table)
    places = [] if after is None else [[*lines[:after], "", *block, *lines[after:]]]
    return _that_says(wanted, ("\n".join([*each, ""]) for each in (*places, [*lines, "", *block])))


def _that_says(wanted: dict[str, Any], ways: Iterable[str]) -> str:
    """Return the first of several texts of a file that says what is wanted. Raises InputError where none does."""
    for written in ways:
        try:
            if tomllib.loads(written) == wanted:
                return written
        except ValueError:
            continue
    raise _not_written()


def without_entry(text: str, table: str, index: int) -> str:
    """Return a file without one of its [[table]]. Raises InputError where there is no such one."""
    content = _content(text)
    table, _ = own_words(content, table, "")
    if not (isinstance(content.get(table), list) and 0 <= index < len(content[table])):
        raise InputError(f"there is no such [[{table}]]", hint="Load the page again")
    wanted = copy.deepcopy(content)
    del wanted[table][index]
    if not wanted[table]:
        del wanted[table]
    lines = text.split("\n")
    start = (place_of(text, table, index, None)[1] or 1) - 1
    own = re.compile(rf"\s*\[\[?\s*{table}\.")
    end = next((k for k in range(start + 1, len(lines)) if OPENS.match(lines[k]) and not own.match(lines[k])), None)
    kept = [line for line in lines[start + 1 : end] if not (KEY.match(line) or OPENS.match(line))]
    written = "\n".join([*lines[:start], *kept, *(lines[end:] if end is not None else [])])
    try:
        if tomllib.loads(written) == wanted:
            return written
    except ValueError:
        pass
    document: Any = tomlkit.parse(text)
    del document[table][index]
    if not document[table]:
        del document[table]
    return tomlkit.dumps(document)


def raw_texts(text: str) -> Callable[[str, int, str], str]:
    """Return what gives a number as it stands in the file: table, its number, key; "" where it stands otherwise."""
    try:
        document: Any = tomlkit.parse(text)
    except (TOMLKitError, ValueError):
        document = {}

    def raw(table: str, index: int, key: str) -> str:
        found = document
        first, _, rest = key.partition(".")
        table, first = own_words(document, table, first)
        key = f"{first}.{rest}" if rest else first
        try:
            if table:
                found = found[table]
                found = found[index] if isinstance(found, list) else found
            for part in key.split("."):
                found = found[part]
            return str(found.as_string())
        except (KeyError, IndexError, TypeError, AttributeError, TOMLKitError):
            return ""

    return raw


def _content(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            "the file cannot be made out, so that nothing is written into it",
            hint="Fix the line that is marked in a text editor first, or bring an earlier version back",
        ) from error


def _set(content: dict[str, Any], table: str, index: int, key: str, value: Any) -> None:
    """Set a key in what a file says; None takes it out, and with the last key of a table the table."""
    found: Any = content
    if table:
        if table not in content and value is not None:
            content[table] = {}
        found = content.get(table, {})
        if isinstance(found, list):
            if not 0 <= index < len(found):
                raise InputError(f"there is no such [[{table}]]", hint="Load the page again")
            found = found[index]
    first, _, rest = key.partition(".")
    if rest:
        inner = found.setdefault(first, {}) if value is not None else found.get(first, {})
        _put(inner, rest, value)
        if not inner:
            found.pop(first, None)
    else:
        _put(found, first, value)
    if table and not found and isinstance(content.get(table), dict):
        content.pop(table)


def _put(table: Any, key: str, value: Any) -> None:
    if not isinstance(table, dict):
        raise _not_written()
    if value is None:
        table.pop(key, None)
    else:
        table[key] = value


def _ways(text: str, content: dict[str, Any], table: str, index: int, key: str, value: str | None) -> Iterator[str]:
    """Yield the ways of writing a key, that which a person would choose first."""
    found: Any = content.get(table, {}) if table else content
    found = found[index] if isinstance(found, list) else found
    first, _, rest = key.partition(".")
    if value is not None and first not in found:
        line = f"{first} = {value}" if not rest else f"{first} = {{ {rest} = {value} }}"
        if table and table not in content:
            yield from _in_new_table(text, table, first, line)
        else:
            yield from _among_keys(text, table, index, first, line)
    if value is None and table and isinstance(content.get(table), dict):
        yield _as_remark(text, table)
    document: Any = tomlkit.parse(text)
    try:
        inside = document[table] if table else document
        inside = inside[index] if isinstance(inside, list) else inside
        if value is None:
            _take_out(document, inside, table, first, rest)
        else:
            item = tomlkit.parse(f"v = {value}")["v"]
            if rest and first in inside:
                inside[first][rest] = item
            elif not rest:
                inside[first] = item
    except (KeyError, IndexError, TypeError, TOMLKitError):
        return
    yield tomlkit.dumps(document)


def _take_out(document: Any, inside: Any, table: str, first: str, rest: str) -> None:
    if rest:
        del inside[first][rest]
        if not inside[first]:
            del inside[first]
    else:
        del inside[first]
    if table and not inside and not isinstance(document[table], list):
        del document[table]


def _as_remark(text: str, table: str) -> str:
    """Return a text with a table's header as a remark, and its keys out: for one that loses its last key."""
    lines = text.split("\n")
    start = (place_of(text, table, 0, None)[1] or 1) - 1
    end = next((k for k in range(start + 1, len(lines)) if HEADER.fullmatch(lines[k])), len(lines))
    kept = [line for line in lines[start + 1 : end] if not KEY.match(line)]
    return "\n".join([*lines[:start], f"# {lines[start]}", *kept, *lines[end:]])


def _in_new_table(text: str, table: str, key: str, line: str) -> Iterator[str]:
    """Yield a text with a table more: where it stands as a remark the remark becomes the table, else at the end."""
    lines = text.split("\n")
    remark = re.compile(rf"\s*#\s*\[{re.escape(table)}\]\s*")
    at = next((k for k, each in enumerate(lines) if remark.fullmatch(each)), None)
    if at is not None:
        lines[at] = f"[{table}]"
        yield from _among_keys("\n".join(lines), table, 0, key, line)
    end = "" if text.endswith("\n") or not text else "\n"
    yield f"{text}{end}\n[{table}]\n{line}\n"


def _among_keys(text: str, table: str, index: int, key: str, line: str) -> Iterator[str]:
    """Yield a text with a key more: in place of the remark that shows it, after the last key, under the header."""
    lines = text.split("\n")
    start = 0
    if table:
        number = place_of(text, table, index, None)[1]
        if number is None:
            return
        start = number
    end = next((k for k in range(start, len(lines)) if HEADER.fullmatch(lines[k])), len(lines))
    shown = re.compile(rf"\s*#\s*{re.escape(key)}\s*=[^#]*(#.*)?")
    for k in range(start, end):
        found = shown.fullmatch(lines[k])
        if found:
            written = f"{line + '  ':<{REMARK_AT}}{found[1]}" if found[1] else line
            yield "\n".join([*lines[:k], written, *lines[k + 1 :]])
            break
    keys = [k for k in range(start, end) if KEY.match(lines[k])]
    for place in dict.fromkeys((_past_remark(lines, keys[-1] + 1) if keys else start, start)):
        yield "\n".join([*lines[:place], line, *lines[place:]])


def _past_remark(lines: list[str], k: int) -> int:
    """Return the line after the remark that goes on under a key."""
    while k < len(lines) and re.match(r"\s+#", lines[k]):
        k += 1
    return k


def _end_of_entries(lines: list[str], table: str) -> int | None:
    """Return the line after the last key of the last [[table]], and of the remarks under it."""
    last, inside = None, False
    for k, line in enumerate(lines):
        if re.match(r"\s*\[", line):
            inside = bool(re.match(rf"\s*\[\[?\s*{table}[\s.\]]", line))
        if inside and (KEY.match(line) or re.match(r"\s*\[", line)):
            last = k + 1
    while last is not None and last < len(lines) and re.match(r"\s*#", lines[last]):
        last += 1
    return last


def _not_written() -> InputError:
    return InputError(
        "this cannot be written into the file as it stands", hint="Write it there in a text editor: it is open text"
    )
