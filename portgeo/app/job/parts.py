"""The steps on ports and runners: read, measured, compared, matched at the joint, balanced as a set.

What each is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from portgeo.app.job.results import Compared, Given, Measured, Part, Told
from portgeo.app.job.skin import skin_of
from portgeo.comparing.comparison import DENSITY_G_CC, compare_ports
from portgeo.comparing.distance import Wall, barycentric, closest, wall_from
from portgeo.comparing.joint import match
from portgeo.comparing.register import Method
from portgeo.core.errors import PortgeoError, naming
from portgeo.core.plane import FloatArray
from portgeo.core.units import Display
from portgeo.files.drawings.outlines import read_outline
from portgeo.files.ports import ScanSettings, load_port
from portgeo.front.states import balance, survey
from portgeo.results.changed import changed
from portgeo.results.joined import joined
from portgeo.words import in_job_words

OFF_MM = 0.3  # a point of the skin farther than this from the compared wall is past its ends


def read(given: Given) -> Part:
    """Return a part as its file has it."""
    scan = dict(given.settings["scan"])
    if "with_stem" in scan:
        scan["with_stem_mm"] = scan.pop("with_stem")
    name = given.names["part"]
    try:
        port = load_port(
            str(given.paths["part"]), ScanSettings(**scan), name=name, units=given.settings["units"],
            exhaust=given.settings["exhaust"],
        )  # fmt: skip
        return Part(replace(port, display=replace(port.display, asks="key")), skin_of(port))
    except PortgeoError as refusal:
        what, mend = in_job_words(refusal.what), in_job_words(refusal.mend)
        raise type(refusal)(what, mend=mend, file=refusal.file or name, where=refusal.where) from None


def measured(given: Given) -> Measured:
    """Return the survey of a part, or of a plan's port."""
    part: Part = given.needs["plan"].part if "plan" in given.needs else given.needs["part"]
    found = survey(part.port, valve_mm=given.settings["valve"])
    return Measured(found.computed, found.to_dict())


def compared(given: Given) -> Compared:
    """Return what two states of a part differ by, and the depth on the later one's skin."""
    before, after = given.needs["before"], given.needs["after"]
    sheets = before.port.readings and after.port.readings
    method: Method = given.settings["align"] or ("none" if sheets else "auto")
    try:
        found = compare_ports(before.port, after.port, method)
    except PortgeoError as refusal:
        raise refusal.in_file(after.port.source["file"]) from None
    record = changed(found, density_of(given.settings["metal"])).to_dict()
    wall = wall_from(found.after_wedges.vertices, found.after_wedges.faces)
    depth = at_places(wall, found.alignment.moved(after.skin.vertices), found.depth.calm)
    return Compared(record, found.alignment.matrix, depth)


def density_of(metal: dict[str, object]) -> float:
    """Return the density, g/cc, of a job's metal."""
    return float(metal["density"] or DENSITY_G_CC[str(metal["alloy"])])  # type: ignore[arg-type]


def at_places(wall: Wall, points: FloatArray, values: FloatArray) -> FloatArray:
    """Return values (n,) at a wall's vertices, at points (k, 3) on it; nan where there is no wall."""
    foot, face = closest(wall, points)
    share = barycentric(wall.vertices[wall.faces[face]], foot)
    found = (share * values[wall.faces[face]]).sum(axis=1)
    return np.where(np.linalg.norm(points - foot, axis=1) <= OFF_MM, found, np.nan)


def matched(given: Given) -> Told:
    """Return how a runner meets its port, and the outlines at the flange."""
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.depth import outlines_figure

    runner, port = given.needs["upstream"].port, given.needs["downstream"].port
    display, leave, gasket = Display(given.settings["units"]), given.settings.get("leave", 0.0), None
    if "gasket" in given.paths:
        with naming(given.names["gasket"]):
            gasket = read_outline(given.paths["gasket"], given.settings["gasket_units"])
    as_drawn = given.settings.get("as_drawn", False)
    found = match(runner, port, gasket=gasket, leave=leave, gasket_as_drawn=as_drawn)
    return Told(joined(found, runner, port, leave).to_dict(), png(outlines_figure(found, display)))


def balanced(given: Given) -> Told:
    """Return how the runners of a set differ, and their schedules in one chart."""
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.depth import balance_figure

    names, display = given.settings["names"], Display(given.settings["units"], "key")
    runners = [given.needs[f"runner {k}"].port for k in range(len(names))]
    found = balance(runners, flows=given.settings["flows"])
    return Told(found.to_dict(), png(balance_figure(found.computed, names, display)))
