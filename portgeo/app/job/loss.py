"""The step that solves what the ports lose: its cases kept in the report's folder, so that a stop goes on.

What it is made of comes in; a result to keep goes out.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.job.loss_steps import CASES
from portgeo.app.job.results import Calm, Cut, LeftOut, Part, PortsLost, StepInputs
from portgeo.core.errors import InputError
from portgeo.core.port import Port
from portgeo.core.units import Display
from portgeo.front.losing import loss
from portgeo.present.page.contents import slug

if TYPE_CHECKING:
    from portgeo.results.lost import PressureLost


def lost(given: StepInputs) -> PortsLost | LeftOut:
    """Return what the ports lose at one flow. Raises InputError without a solver: the cases are then written."""
    from portgeo.present.pictures.charts import png
    from portgeo.present.pictures.flow import sections_figure, shear_png

    settings, cfm = given.settings, given.settings["cfm"]
    if cfm is None:
        speed = given.needs["speed"]
        if isinstance(speed, LeftOut):
            return LeftOut(f"there is no flow: {speed.why}")
        cfm = speed.air.flow.cfm
    ports, names = [], []
    for k, name in enumerate(settings["names"]):
        port = _port(given.needs[f"port {k}"])
        if port is not None:
            ports.append(port)
            names.append(name)
    if not ports:
        return LeftOut("there is no cut that calms the air")
    found = solved(
        ports, cfm, names, given.kept / CASES, roughness_mm=settings["roughness"], grid=settings["grid"],
        cores=given.on["cores"], progress=given.progress,
    )  # fmt: skip
    pictures, d = [], Display(settings["units"])
    for k, state in enumerate(found.states, 1):
        name = f"loss-{k}-{slug(state.name)}"
        wall, sections = f"drag of the air on the wall, {state.name}", f"speed in three sections, {state.name}"
        pictures.append((f"{name}-wall.png", wall, shear_png(state, d)))
        pictures.append((f"{name}-sections.png", sections, png(sections_figure(state, d))))
    return PortsLost(found.to_dict(), tuple(pictures))


def _port(part: Part | Cut | Calm | LeftOut) -> Port | None:
    """Return the port of an earlier step's result; None where calm has no cut to offer."""
    if isinstance(part, Calm):
        return None if part.cut is None else part.cut.part.port
    if isinstance(part, Cut):
        return part.part.port
    return part.port if isinstance(part, Part) else None


def solved(
    ports: Sequence[Port], cfm: float, names: Sequence[str], folder: Path, *, progress: Callable[..., Any], **asked: Any
) -> PressureLost:
    """Return what ports lose, their cases in a folder: gone on with, but for those of an earlier shape or flow.

    Raises InputError with what to run where there is no solver; its cases are then written.
    """
    while True:
        try:
            found = loss(ports, cfm, names=names, out=folder, progress=progress, **asked)
            break
        except InputError as refusal:
            stale = Path(refusal.file or "")
            if not (refusal.file and stale.is_dir() and stale.resolve().is_relative_to(folder.resolve())):
                raise
            shutil.rmtree(stale)  # its readings or its flow are no more
    if not found.states:
        raise InputError(
            "OpenFOAM is not on this machine, and pressure lost is solved in it; the cases are written",
            file=str(folder),
            hint="Install it (Debian, Ubuntu: apt install openfoam) and ask again; or, of each case where it is "
            f"installed, run  checkMesh -case CASE  and  simpleFoam -case CASE  ({len(found.cases)} cases, such as "
            f"{Path(found.cases[0]).relative_to(folder).as_posix()}), bring the folder back, and ask again",
        )
    return found
