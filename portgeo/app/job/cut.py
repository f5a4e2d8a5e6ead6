"""The steps towards the next cut: the plan, what calms the air, the burr's reach, templates to print.

What each is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any

import numpy as np

from portgeo.app.job.results import BurrReach, Calm, Cut, LeftOut, Part, Sheets, StepInputs
from portgeo.core.errors import InputError
from portgeo.core.units import Display
from portgeo.files.disk import sha256_of
from portgeo.files.meshes.stl import write_stl
from portgeo.front.air import air_speed
from portgeo.front.cuts import check, gauges, plan, reach
from portgeo.front.skins import reached_from, skin_of
from portgeo.front.states import survey
from portgeo.present.paper.template_pages import pages
from portgeo.present.paper.templates import pdf
from portgeo.present.text.cut_sheet import plan_text
from portgeo.results.checked import Checked
from portgeo.results.planned import Planned

PLANNED_MESH, CALM_MESH = "meshes/planned.stl", "meshes/calm-cut.stl"


def planned(given: StepInputs) -> Cut:
    """Return the plan for a target."""
    part: Part = given.needs["part"]
    name = given.names["target"]
    found = plan(part.port, given.paths["target"], name=name, within=part.whole, **given.settings["metal"])
    return _cut(given, found, f"to {name}", PLANNED_MESH)


def _cut(given: StepInputs, cut: Planned, to: str, mesh_file: str) -> Cut:
    """Return a planned cut with its text and mesh. to : what it leads to, for the text's title."""
    title = f"{given.settings['state']} ({given.needs['part'].port.source['file']}{_passage(cut)}) {to}"
    text = plan_text(cut, title, _metal(given))
    after = cut.port
    mesh = write_stl(after.to_source(after.vertices), after.faces)
    source = after.source | {"file": mesh_file, "sha256": hashlib.sha256(mesh).hexdigest()}
    part = Part(replace(after, source=source, warnings=()), skin_of(after))
    return Cut(cut, text + "\n", part, mesh)


def _metal(given: StepInputs) -> str:
    return given.settings["metal"]["alloy"] or "metal"


def on_paper(given: StepInputs) -> bytes | LeftOut:
    """Return the bench sheet of a plan, or of the cut that calms the air, as PDF."""
    from portgeo.present.paper.bench_sheet import bench_sheet
    from portgeo.present.text.hours import pace_text
    from portgeo.results.hours import hours_of

    made = given.needs["cut"]
    cut: Cut | None = made.cut if isinstance(made, Calm) else made
    if not isinstance(cut, Cut):
        return LeftOut("there is no cut")
    spent = given.settings["hours"]
    timed = [(each, given.needs[f"timed {nth}"].removed_cc) for nth, each in enumerate(spent)]
    hours = hours_of(timed, cut.record["removed_cc"], given.settings["other_ports"])
    more = [] if hours is None else [("hours", pace_text(hours))]
    return bench_sheet(cut.planned, given.settings["title"] + _passage(cut.planned), _metal(given), more)


def _passage(planned: Planned) -> str:
    """Return which passage of a port that splits a plan is of, for a title."""
    whole = planned.computed.whole
    return "" if whole is None else f", {whole.name}"


def checked(given: StepInputs) -> Checked:
    """Return how far the cut of a plan has got in a later stage."""
    return check(given.needs["plan"].planned, given.needs["part"].port, align=given.settings["align"])


def calmed(given: StepInputs) -> Calm | LeftOut:
    """Return the cuts that calm the air at the flow of the state's air speed, and the one that is chosen."""
    from portgeo.front.calming import calm
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.choices import choices_figure
    from portgeo.present.pictures.speed import painted

    part, speed, settings = given.needs["part"], given.needs["speed"], given.settings
    if isinstance(speed, LeftOut):
        return speed
    limits: Any = given.paths.get("target")
    if limits is None and "walls" in given.paths:
        limits = {"units": settings["units"], "limits": {"wall_readings": str(given.paths["walls"])}}
    cfm, depression = speed.air.flow.cfm, speed.air.flow.depression_in_h2o
    found = calm(
        part.port, cfm, limits, name=given.names.get("target"), metal_cc=settings["metal_cc"],
        hold_throat=settings["hold_throat"], depression_in_h2o=depression, within=part.whole, **settings["metal"],
    )  # fmt: skip
    if found.planned is None:
        return Calm(found.to_dict())
    chosen = found.planned
    if "walls" in given.paths:
        record = {"file": given.names["walls"], "sha256": sha256_of(given.paths["walls"])}
        chosen = replace(chosen, target=record)
        found = replace(found, planned=chosen, plan=chosen)
    cut = _cut(given, chosen, "calmed", CALM_MESH)
    skin = cut.part.skin
    air = air_speed(cut.part.port, cfm, depression_in_h2o=depression)
    after = survey(cut.part.port, sure=False).computed
    area = np.interp(skin.stations, after.fine_stations, after.fine_area)
    return Calm(found.to_dict(), cut, png(choices_figure(found)), painted(air.computed, skin.vertices), area)


def reached(given: StepInputs) -> BurrReach:
    """Return where the burr gets to in a state."""
    part: Part = given.needs["part"]
    table = given.settings["tool"]
    long = table["head_length"] or table["head"]
    found = reach(
        part.port, free_length_mm=table["length"] - table["grip"], head_mm=table["head"], head_length_mm=long,
        shank_mm=table["shank"], collet_mm=table["collet"], within=part.whole,
    )  # fmt: skip
    return BurrReach(found.to_dict(), reached_from(found, part.skin.vertices))


def laid_out(given: StepInputs) -> Sheets:
    """Return the templates of the port as it will be, or as it is without a plan."""
    part: Part = given.needs["part"]
    port, display = part.port, Display(given.settings["units"])
    cut: Cut | None = given.needs.get("plan")
    try:
        made = gauges(port, given.settings["at"], planned=None if cut is None else cut.planned).computed
    except InputError as refusal:
        raise InputError(refusal.what, hint=refusal.hint, where=f"[templates] {refusal.where}") from None
    title = f"{given.settings['title']}, {'target' if cut else 'as it is'}"
    laid = pages(made, display, title, given.settings["paper"])
    return Sheets(pdf(laid), len(made), len(laid))
