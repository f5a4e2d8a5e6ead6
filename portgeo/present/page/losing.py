"""Pressure lost, on the page: the ports side by side with their ±, where it is lost, where air leaves the wall.

Results and their tables come in; a section and its pictures go out, None for a job that did not ask.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

from portgeo.core.units import Display
from portgeo.present.page.charts import loss_chart
from portgeo.present.page.loss_rows import loss_texts
from portgeo.present.page.markup import Element, el
from portgeo.present.page.tables import Table, table_element
from portgeo.present.page.text import tied
from portgeo.results.lost import LOSS_IS

SECTION = "loss"
HOW_SURE = (
    "The ± is of the grids and of how far two turbulence models are apart; a change within its ± is no change. "
    "At 28 inH2O is the flow through the port alone, with no valve in it."
)


def loss_section(results: Mapping[str, Any], tables: Mapping[str, Table], d: Display) -> list[Element] | None:
    """Return the pressure lost in the ports, None where it was not solved."""
    if not results.get("loss"):
        return None
    record = results["loss"]
    own = [w["message"] for w in record["warnings"] if w["code"].startswith("loss_")]
    solver, cfm = record["solver"], record["flow"]["cfm"]
    rough = (
        f"sand grains of {d.length(record['roughness_mm'])} on the wall" if record["roughness_mm"] else "smooth walls"
    )
    grids = len({grid["cells"] for grid in record["states"][0]["grids"]})
    by = f"At {cfm:.1f} cfm, {rough}; {grids} grids in {solver['name']} {solver['version']}."
    return [
        el("ul", [el("li", tied(text)) for text in loss_texts(record, d)]),
        *(el("p", el("strong", "Mind: "), tied(text) + ".") for text in own),
        loss_chart(record, d),
        table_element(tables["loss"], d),
        el("p", tied(f"{by} {HOW_SURE} {LOSS_IS}"), class_="note"),
    ]


def loss_pictures(pictures: Sequence[tuple[str, bytes]]) -> Element:
    """Return pictures of the solution, each with what it shows. pictures : what each shows, and PNG."""
    return el(
        "div",
        [
            el(
                "figure",
                el("img", src=f"data:image/png;base64,{base64.b64encode(data).decode('ascii')}", alt=shows),
                el("figcaption", shows),
            )
            for shows, data in pictures
        ],
        class_="shown",
    )
