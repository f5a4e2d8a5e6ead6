"""The steps on ports and runners: read, measured, compared, matched at the joint, balanced as a set.

What each is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from portgeo.app.job.results import Compared, Part, Recorded, Split, StepInputs
from portgeo.core.errors import InputError, PortgeoError, naming
from portgeo.core.port import Port
from portgeo.core.units import Display
from portgeo.files.ports import is_sheet
from portgeo.front.ports import ends_in_file, leg_worked_on, read_whole
from portgeo.front.ports import read as read_port
from portgeo.front.skins import depth_cut, depths_cut, skin_of, skins_of
from portgeo.front.states import balance, by_runner, compare, match, survey
from portgeo.results.measured import Measured
from portgeo.words import in_job_words


def read(given: StepInputs) -> Part:
    """Return a part as its file has it."""
    scan = dict(given.settings["scan"])
    if "with_stem" in scan:
        scan["with_stem_mm"] = scan.pop("with_stem")
    name = given.names["part"]
    try:
        if is_sheet(given.paths["part"]):
            scan = {}  # of the states that are scans
        said: dict[str, Any] = {
            "name": name, "units": given.settings["units"], "exhaust": given.settings["exhaust"],
            "units_in": scan.pop("units", None), **scan,
        }  # fmt: skip
        whole = read_whole(given.paths["part"], **said)
        leg = given.settings.get("leg")
        if not isinstance(whole, Port):
            port = leg_worked_on(whole, leg, exhaust=given.settings["exhaust"])
            split = Split(survey(whole), leg or whole.legs[0].name, skins_of(whole, port))
            return Part(shown_by_key(port), skin_of(port), split)
        if leg is not None:
            raise InputError(f"this port has no leg {leg!r}", hint="It is one passage: leave leg out of its [[stage]]")
        port, plenum = whole, given.settings.get("plenum")
        if plenum is not None and not port.readings:
            entry, exit = ends_in_file(port)
            if math.dist(exit, plenum) < math.dist(entry, plenum):
                port = read_port(given.paths["part"], **said | {"entry": exit, "exit": entry})
        return Part(shown_by_key(port), skin_of(port))
    except PortgeoError as refusal:
        what, hint = in_job_words(refusal.what), in_job_words(refusal.hint)
        raise type(refusal)(what, hint=hint, file=refusal.file or name, where=refusal.where) from None


def shown_by_key(port: Port) -> Port:
    """Return a port whose notices speak of the job file's keys."""
    return replace(port, display=replace(port.display, asks="key"))


def measured(given: StepInputs) -> Measured:
    """Return the survey of a part, or of a plan's port."""
    part: Part = given.needs["plan"].part if "plan" in given.needs else given.needs["part"]
    return survey(part.port, valve_mm=given.settings["valve"])


def compared(given: StepInputs) -> Compared:
    """Return what two states of a part differ by, and the depth on the later one's skin."""
    before, after = given.needs["before"], given.needs["after"]
    asked = {"align": given.settings["align"], **given.settings["metal"]}
    with naming(after.port.source["file"]):
        found = compare(before.port, after.port, **asked)
        depth = depth_cut(found, after.skin.vertices)
        record, matrix = found.to_dict(), found.computed.alignment.matrix
        if before.split is None or after.split is None:
            return Compared(record, matrix, depth)
        whole = compare(before.whole, after.whole, **asked)
    depths = depths_cut(whole, after.split.skins, after.port)
    return Compared(record, matrix, depth, whole.to_dict(), depths)


def matched(given: StepInputs) -> Recorded:
    """Return how a runner meets its port, and the outlines at the flange."""
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.depth import outlines_figure

    settings = given.settings
    found = match(
        given.needs["upstream"].port, given.needs["downstream"].port, gasket=given.paths.get("gasket"),
        gasket_units=settings.get("gasket_units"), gasket_as_drawn=settings.get("as_drawn", False),
        leave_mm=settings.get("leave", 0.0),
    )  # fmt: skip
    return Recorded(found.to_dict(), png(outlines_figure(found.computed, Display(settings["units"]))))


def balanced(given: StepInputs) -> Recorded:
    """Return how the runners of a set differ, and their schedules in one chart."""
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.depth import balance_figure

    settings = given.settings
    names, display = settings["names"], Display(settings["units"], "key")
    runners = [given.needs[f"runner {k}"].port for k in range(len(names))]
    found = balance(
        runners, flows=settings["flows"], gasket=given.paths.get("gasket"),
        gasket_at=settings.get("gasket_at", "entry"), spacing_mm=settings["spacing"], one_frame=settings["one_frame"],
        entry_radii_mm=by_runner(settings["entry_radii"], len(runners)),
    )  # fmt: skip
    return Recorded(found.to_dict(), png(balance_figure(found.computed, names, display)))
