"""The steps towards the next cut: the plan, the burr's reach, templates to print.

What each is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace

from portgeo.app.job.results import Cut, Given, Part, Reached, Sheets
from portgeo.core.errors import InputError
from portgeo.core.units import Display
from portgeo.files.meshes.stl import write_stl
from portgeo.front.cuts import gauges, plan, reach
from portgeo.front.skins import reached_from, skin_of
from portgeo.present.paper.template_pages import pages
from portgeo.present.paper.templates import pdf
from portgeo.present.text.cut_sheet import plan_text

PLANNED_MESH = "meshes/planned.stl"


def planned(given: Given) -> Cut:
    """Return the plan for a target."""
    part: Part = given.needs["part"]
    port, metal, name = part.port, given.settings["metal"], given.names["target"]
    cut = plan(port, given.paths["target"], name=name, **metal)
    text = plan_text(cut, f"{given.settings['state']} ({port.source['file']}) to {name}", metal["alloy"] or "metal")
    after = cut.port
    mesh = write_stl(after.to_source(after.vertices), after.faces)
    source = after.source | {"file": PLANNED_MESH, "sha256": hashlib.sha256(mesh).hexdigest()}
    part = Part(replace(after, source=source, warnings=()), skin_of(after))
    return Cut(cut, text + "\n", part, mesh)


def reached(given: Given) -> Reached:
    """Return where the burr gets to in a state."""
    part: Part = given.needs["part"]
    table = given.settings["tool"]
    long = table["head_length"] or table["head"]
    found = reach(
        part.port, free_length_mm=table["length"] - table["grip"], head_mm=table["head"], head_length_mm=long,
        shank_mm=table["shank"], collet_mm=table["collet"],
    )  # fmt: skip
    return Reached(found.to_dict(), reached_from(found, part.skin.vertices))


def laid_out(given: Given) -> Sheets:
    """Return the templates of the port as it will be, or as it is without a plan."""
    part: Part = given.needs["part"]
    port, display = part.port, Display(given.settings["units"])
    cut: Cut | None = given.needs.get("plan")
    try:
        made = gauges(port, given.settings["at"], planned=None if cut is None else cut.planned).computed
    except InputError as refusal:
        raise InputError(refusal.what, mend=refusal.mend, where=f"[templates] {refusal.where}") from None
    title = f"{given.settings['title']}, {'target' if cut else 'as it is'}"
    laid = pages(made, display, title, given.settings["paper"])
    return Sheets(pdf(laid), len(made), len(laid))
