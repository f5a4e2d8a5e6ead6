"""A port's loss on several grids and by two turbulence models: the cases written, run where the solver is, and read.

A path, a flow and a folder come in; what each grid and model tells goes out, or where the cases lie that are to be run.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path as Folder
from typing import Any

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray
from portgeo.core.section import area_of
from portgeo.flow.gas import STANDARD, Air
from portgeo.flow.path import Path
from portgeo.viscous.begin import carried_over, ideal_velocity
from portgeo.viscous.case import FIELDS, KEPT, WRITTEN_EVERY, Model, Stream, beginning, case_files, control
from portgeo.viscous.friction import LAMINAR_TO, friction_factor
from portgeo.viscous.loss import Lost, lost_in
from portgeo.viscous.polymesh import METRES, PolyMesh, polymesh
from portgeo.viscous.solution import Solution, read_solution
from portgeo.viscous.solver import Solver, drop_times, run_case, times_of
from portgeo.viscous.tube import RUN_AFTER, RUN_BEFORE, tube_of

GRIDS = {"quick": (4, 6), "usual": (4, 6, 8), "fine": (6, 8, 12)}  # cells across the inner block, coarsest first
MAIN: Model = "kOmegaSST"  # the usual choice where air may leave the wall
OTHER: Model = "realizableKE"  # of the other family in use; what both say is no proof, but how far apart they are tells
WALL_PLUS = 40.0  # of the first cell's middle in wall units: the law of the wall holds from some 30 on
OVER_GRAINS = 1.2  # the first cell's middle, over the grains' height: the rough wall's law asks that it stands above
FIRST_RUN = KEPT * WRITTEN_EVERY  # iterations before anything is compared
MOST = 500  # iterations: what has not come to rest by then swings
SETTLED = 1e-3  # of the loss: how far apart the times may be whose mean it is
RECORD = "portgeo.json"
SPREAD = (
    "system/controlDict",
    "system/fvSolution",
    "system/decomposeParDict",
    "constant/cellDecomposition",
)  # how it is run


@dataclass(frozen=True)
class Question:
    """What is asked of a path: a flow, m3/s, the throat's station and area (mm, mm2), sand grains' height, mm.

    runs : straight, before and past the path, of the openings' sizes.
    """

    path: Path
    flow: float
    throat: tuple[float, float]
    roughness: float = 0.0
    air: Air = STANDARD
    runs: tuple[float, float] = (RUN_BEFORE, RUN_AFTER)

    @property
    def throat_speed(self) -> float:
        """Mean speed in the throat, m/s, of air that does not thin out."""
        return self.flow / (self.throat[1] * METRES**2)

    @property
    def reynolds(self) -> float:
        """Reynolds number of the throat."""
        return float(self.throat_speed * np.sqrt(4.0 * self.throat[1] / np.pi) * METRES / self.air.kinematic_viscosity)

    @property
    def models(self) -> tuple[Model, ...]:
        """The models that are compared, the main one first."""
        return ("laminar",) if self.reynolds < LAMINAR_TO else (MAIN, OTHER)

    @property
    def layer(self) -> float | None:
        """Thickness of the cells on the wall, mm; None where no law of the wall is used."""
        if self.models == ("laminar",):
            return None
        friction = self.throat_speed * float(np.sqrt(friction_factor(self.reynolds) / 8.0))
        return 2.0 * max(WALL_PLUS * self.air.kinematic_viscosity / friction / METRES, OVER_GRAINS * self.roughness)


@dataclass(frozen=True)
class Trial:
    """One grid by one model.

    block : cells across the grid's inner block. cell : their size, mm. lost : the mean of the last KEPT times' totals,
    else of the last time. moved : Pa between the greatest and the least of those. seconds : of the clock that the
    solver took, in this run.
    """

    model: Model
    block: int
    cells: int
    cell: float
    iterations: int
    moved: float
    seconds: float
    lost: Lost
    solution: Solution = field(repr=False)

    @property
    def rest_u(self) -> float:
        """Standard uncertainty of a mean over times of a solution that is not at rest, Pa: half of what they span.

        A solution that swings is steady nowhere, and times so few are no random sample: no root of their number.
        """
        return self.moved / 2.0

    @property
    def converged(self) -> bool:
        """Whether it has come to rest."""
        return self.moved <= SETTLED * abs(self.lost.total)


@dataclass(frozen=True)
class Machine:
    """What runs the cases: the solver, None where there is none, and on what."""

    solver: Solver | None
    cores: int = 1
    hosts: Folder | None = None


def asked(question: Question, grids: Sequence[int], *, compare: bool) -> list[tuple[int, Model]]:
    """Return the grids and models that are solved: all grids by the main model, the last but one by the other too."""
    models = question.models
    found = [(block, models[0]) for block in grids]
    return [*found, (grids[-2] if len(grids) > 1 else grids[0], models[1])] if compare and len(models) > 1 else found


def case_name(block: int, model: Model) -> str:
    """Return what a case's folder is called."""
    return f"{model}-{block}"


def trial_of(
    question: Question,
    block: int,
    model: Model,
    case: Folder,
    machine: Machine,
    write: Callable[[Folder, bytes], None],
    before: Trial | None = None,
    seen: Callable[[float], None] = lambda share: None,
) -> Trial | None:
    """Return what a grid and a model tell; None where there is no solver, and the case lies in its folder to be run.

    case : its folder; what is there already of the same question is gone on with. write : a file, whole or not at all.
    before : a trial to begin from. seen : told the share done. Raises InputError where another's case is there.
    """
    tube = tube_of(question.path, block, question.layer, runs=question.runs)
    mesh = polymesh(tube.grid)
    entry = tube.sections[0]
    inlet = area_of(entry) * METRES**2
    stream = Stream(
        question.flow, inlet, float(np.sqrt(inlet)), question.air.kinematic_viscosity, entry.frame[0],
        question.roughness * METRES,
    )  # fmt: skip
    layers = len(tube.stations) - 1

    def begun() -> Mapping[str, FloatArray]:
        if before is None:
            return {"U": ideal_velocity(tube, question.flow)}
        there = before.solution
        known = {name: values for name, values in there.values.items() if name in FIELDS[model]}
        return carried_over(known, there.tube.middles, tube.middles)

    _lay_out(case, mesh, stream, model, machine.cores, layers, begun, write)
    spent, needed = 0.0, FIELDS[model]
    losses: dict[int, tuple[float, float]] = {}  # of the times that were read: whole, and in the port
    while True:
        times = times_of(case, needed)[-KEPT:]
        drop_times(case, times)
        if len(times) == KEPT:
            for time in (time for time in times if time not in losses):
                solution = read_solution(tube, case / str(time), needed, mesh)
                lost = lost_in(solution, question.flow, question.throat, question.air, question.roughness)
                losses[time] = lost.total, lost.in_port
            totals, in_port = np.array([losses[time] for time in times]).T
            mean = replace(lost, total=float(totals.mean()), in_port=float(in_port.mean()))
            trial = Trial(model, block, tube.cells, tube.cell, times[-1], float(np.ptp(totals)), spent, mean, solution)
            if trial.converged or times[-1] >= MOST or machine.solver is None:
                return trial
        if machine.solver is None:
            return None
        aim = max((times[-1] if times else 0) + WRITTEN_EVERY, FIRST_RUN)
        write(case / "system" / "controlDict", control(aim).encode("ascii"))
        spent += run_case(
            machine.solver, case, cores=machine.cores, hosts=machine.hosts,
            seen=lambda n: seen(1.0 - 0.5 ** (n / FIRST_RUN)),
        )  # fmt: skip


def _lay_out(
    case: Folder,
    mesh: PolyMesh,
    stream: Stream,
    model: Model,
    cores: int,
    layers: int,
    begun: Callable[[], Mapping[str, FloatArray]],
    write: Callable[[Folder, bytes], None],
) -> None:
    """Write a case unless the same one lies there already; how many cores solve it is no part of the question."""
    files = case_files(mesh, stream, model, cores=cores, layers=layers)
    own = {name: data for name, data in files.items() if not name.startswith(("0/", *SPREAD))}
    made_of = hashlib.sha256(b"".join(name.encode() + data for name, data in sorted(own.items()))).hexdigest()
    record = case / RECORD
    if record.is_file():
        told: dict[str, Any] = json.loads(record.read_text("utf-8"))
        if told.get("made_of") != made_of:
            raise InputError(
                "there is a case of another port, flow or version here",
                file=str(case),
                hint="Name another folder, or take this one away",
            )
        for name in files:
            if name.startswith(SPREAD):
                write(case / name, files[name])
        return
    files |= beginning(stream, model, begun())
    for name, data in files.items():
        write(case / name, data)
    # Last: a case with its record is whole.
    write(record, json.dumps({"made_of": made_of}).encode())
