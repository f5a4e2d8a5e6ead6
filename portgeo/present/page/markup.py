"""Elements of the page: text and attributes become HTML that no name in a job can break out of.

Tags, attributes and children come in; lxml elements, and their HTML, go out. Text is escaped by lxml;
nothing in the page is pasted together from strings but our own template.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import Any

from lxml import etree

Element = Any  # lxml's own class is private
Child = Any  # str, Element, None, or a list of those

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
# Marks that turn the direction of the text after them: in a file's name they make it read as another.
_TURNING = re.compile("[\u202a-\u202e\u2066-\u2069]")


def plain_text(text: object) -> str:
    """Return text with what no page may hold replaced."""
    return _TURNING.sub("\ufffd", _NOT_XML.sub("\ufffd", str(text)))


def el(tag: str, *children: Child, **attributes: Any) -> Element:
    """Return an element. An attribute's underscores are hyphens (`class_` is class); None and False leave it out."""
    made = etree.Element(tag)
    for name, value in attributes.items():
        if value is not None and value is not False:
            made.set(name.rstrip("_").replace("_", "-"), "" if value is True else plain_text(value))
    for child in _flat(children):
        if isinstance(child, str):
            _add_text(made, plain_text(child))
        else:
            made.append(child)
    return made


def _flat(children: Iterable[Child]) -> Iterable[Any]:
    for child in children:
        if isinstance(child, list | tuple):
            yield from _flat(child)
        elif child is not None:
            yield child


def _add_text(parent: Element, text: str) -> None:
    if len(parent):
        parent[-1].tail = (parent[-1].tail or "") + text
    else:
        parent.text = (parent.text or "") + text


def html(elements: Iterable[Element]) -> str:
    """Return elements as HTML."""
    return "\n".join(etree.tostring(element, method="html", encoding="unicode") for element in elements)


def json_for_script(value: Any) -> str:
    """Return JSON that may stand inside a script element: nothing in it can close the element."""
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))  # ASCII only
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
