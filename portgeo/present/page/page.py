"""The report as one page that opens anywhere: no request leaves it, nothing but its own script runs.

Results and models come in; HTML text goes out. The style and the scripts are files in assets/.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from html import escape
from string import Template
from typing import Any

from portgeo.core.units import Display
from portgeo.present.page.contents import tables_of
from portgeo.present.page.headline import answer, set_texts
from portgeo.present.page.losing import SECTION, loss_pictures
from portgeo.present.page.markup import Element, el, html, json_for_script, plain_text
from portgeo.present.page.models import first_shown, scales_of, view_data
from portgeo.present.page.pieces import PIECES, asset
from portgeo.present.page.sections import SECTIONS
from portgeo.present.page.split import split_headline
from portgeo.present.page.tables import table_element
from portgeo.present.page.text import engine_text, tied
from portgeo.present.page.view import view_section
from portgeo.present.pictures.model import Model

SCRIPTS = (*PIECES, "page.js")  # in assets/, one after the other
STYLES = ("pieces.css", "page.css")


def write_page(
    results: Mapping[str, Any], models: Sequence[Model], display: Display, stills: Sequence[bytes] = (),
    lost: Sequence[tuple[str, bytes]] = (),
) -> str:  # fmt: skip
    """Return the report's page.

    results : as in results.json. models : decimated, those of computed ports last. stills : of them, as
    `view.stills_of` draws them. lost : pictures of the pressure lost, what each shows and PNG.
    """
    tables = tables_of(results)
    sections = [
        (
            "answer",
            "The answer",
            "answer",
            [el("p", tied(text)) for text in _answer(results, display)],
        )
    ]
    if models:
        heading = "The port in 3D" if results["states"] else "The runners in 3D"
        sections.append(("port", heading, "3D", view_section(results, models, stills, display)))
    if results["states"]:
        sections.append(("figures", "All stages in figures", "figures", _figures(results, tables, display)))
    for key, heading, short, make in SECTIONS:
        inside = make(results, tables, display)
        if inside is not None and key == SECTION and lost:
            inside.append(loss_pictures(lost))
        if inside is not None:
            sections.append((key, heading, short, inside))
    main = el("main", [_section(*one) for one in sections], id="main")
    body = [el("a", "To the answer", href="#main", class_="skip"), _header(results, sections), main, _footer(results)]
    style, script = ("\n".join(map(asset, names)) for names in (STYLES, SCRIPTS))
    data = ""
    if models:
        value = view_data(models, scales_of(models, display), first_shown(models), display)
        data = f'<script type="application/json" id="view-data">{json_for_script(value)}</script>'
    return Template(asset("page.html")).substitute(
        policy=_policy(style, script),
        title=escape(plain_text(results["title"])),
        style=style,
        body=html(body),
        data=data,
        script=script,
    )


def _answer(results: Mapping[str, Any], d: Display) -> list[str]:
    """Return the page's first words: what comes next, all of a port that splits, the port, a set."""
    told = answer(results, d)
    return [*told[:1], *split_headline(results, d), *told[1:], *set_texts(results, d)]


def _policy(style: str, script: str) -> str:
    """Return the content security policy: our own style and script by their hashes, pictures of the page, no more."""
    hashes = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (style, script)]
    return (
        f"default-src 'none'; script-src 'sha256-{hashes[1]}'; style-src 'sha256-{hashes[0]}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _section(key: str, heading: str, _short: str, inside: list[Element]) -> Element:
    hidden = {"answer": "answer", "bench": "bench cut"}
    title = [] if key == "answer" else [el("h2", heading, id=f"{key}-heading")]
    named = {"aria_label": heading} if key == "answer" else {"aria_labelledby": f"{key}-heading"}
    return el("section", title, inside, id=key, class_=hidden.get(key), **named)


def _header(results: Mapping[str, Any], sections: Sequence[tuple[str, str, str, list[Element]]]) -> Element:
    links = [el("li", el("a", short, href=f"#{key}")) for key, _, short, _ in sections]
    return el(
        "header",
        el("h1", results["title"]),
        el("p", engine_text(results), class_="about") if engine_text(results) else None,
        el("nav", el("ul", links), aria_label="Parts of this report"),
    )


def _figures(results: Mapping[str, Any], tables: Mapping[str, Any], d: Display) -> list[Element]:
    notes = [
        el("p", el("strong", f"{state['name']}: "), state["note"]) for state in results["states"] if state.get("note")
    ]
    return [table_element(tables["states"], d), *notes]


def _footer(results: Mapping[str, Any]) -> Element:
    left_out = "; ".join(f"{one['step']} ({one['why']})" for one in results["skipped"])
    return el("footer", el("p", f"Left out: {left_out}." if left_out else "Nothing was left out.", class_="note"))
