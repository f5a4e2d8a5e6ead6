"""The steps towards the next cut: the plan, the burr's reach, templates to print.

What each is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from scipy.spatial import cKDTree

from portgeo.app.job.parts import density_of
from portgeo.app.job.results import Cut, Given, Part, Reached, Sheets
from portgeo.app.job.skin import skin_of
from portgeo.core.errors import naming
from portgeo.core.port import Port
from portgeo.core.units import Display
from portgeo.files.meshes.stl import write_stl
from portgeo.files.ports import load_port
from portgeo.files.toml.target import read_target
from portgeo.planning import plan_wanted
from portgeo.present.paper.template_pages import pages
from portgeo.present.paper.templates import pdf
from portgeo.present.text.cut_sheet import plan_record, plan_table, plan_text
from portgeo.reshape.gauges import gauge_stations, gauges
from portgeo.reshape.reach import Tool, reach
from portgeo.results.reached import reached as reach_result

PLANNED_MESH = "meshes/planned.stl"


def planned(given: Given) -> Cut:
    """Return the plan for a target."""
    part: Part = given.needs["part"]
    port, display, metal = part.port, Display(given.settings["units"], "key"), given.settings["metal"]
    name = given.names["target"]
    with naming(name):
        wanted = read_target(given.paths["target"])

    def load(path: Path) -> Port:
        return load_port(str(path))

    plan = plan_wanted(port, wanted, name, load)
    density = density_of(metal)
    warnings = (*port.warnings, *plan.warnings)
    target = {"file": name, "sha256": wanted.sha256}
    title = f"{given.settings['state']} ({port.source['file']}) to {name}"
    text = plan_text(plan, title, metal["alloy"] or "metal", density, warnings, display)
    record = plan_record(plan, port.source, target, density, warnings, display)
    after = plan.after
    mesh = write_stl(after.to_source(after.vertices), after.faces)
    source = {"file": PLANNED_MESH, "sha256": hashlib.sha256(mesh).hexdigest(), "triangles": len(after.faces)}
    source |= {"units": "mm", "scale": 1.0}
    part = Part(replace(after, source=source, display=display, warnings=()), skin_of(after))
    return Cut(plan, record, text + "\n", plan_table(plan, display), part, mesh)


def reached(given: Given) -> Reached:
    """Return where the burr gets to in a state."""
    part: Part = given.needs["part"]
    table = given.settings["tool"]
    long = table["head_length"] or table["head"]
    tool = Tool(table["head"], long, table["shank"], table["collet"], table["length"] - table["grip"])
    with naming(part.port.source["file"]):
        found = reach(part.port, tool)
    _, place = cKDTree(found.grid.points.reshape(-1, 3)).query(part.skin.vertices)
    return Reached(reach_result(found, part.port).to_dict(), found.reached.ravel()[place].astype(float))


def laid_out(given: Given) -> Sheets:
    """Return the templates of the port as it will be, or as it is without a plan."""
    part: Part = given.needs["part"]
    port, display = part.port, Display(given.settings["units"])
    plan: Cut | None = given.needs.get("plan")
    planned = None if plan is None else plan.plan
    stations = gauge_stations(port, given.settings["at"], display, "[templates] at", planned)
    made = gauges(port, stations, planned)
    title = f"{given.settings['title']}, {'target' if plan else 'as it is'}"
    laid = pages(made, display, title, given.settings["paper"])
    return Sheets(pdf(laid), len(made), len(laid))
