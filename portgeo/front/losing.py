"""Pressure lost in a port, by a viscous solution in an open solver.

Ports and a flow come in; what they lose, side by side, goes out.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import Literal

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.interrupts import minded
from portgeo.core.notices import Notice, unique
from portgeo.core.port import Port
from portgeo.core.units import M3_S_PER, PA_PER
from portgeo.files.disk import atomic_write, make_folder
from portgeo.flow.gas import STANDARD, mach_through, parting_mach
from portgeo.flow.path import path_of
from portgeo.flow.sense import check_flow, refuse_absurd, stands_in_stream
from portgeo.front.given import number_given, port_given, ports_given, word_given
from portgeo.measuring import survey
from portgeo.results.lost import OpenSolver, PortState, PressureLost
from portgeo.viscous.answer import Answer, change_between
from portgeo.viscous.run import GRIDS, Machine, Question, Trial, asked, case_name, trial_of
from portgeo.viscous.solver import APPLICATION, find_solver

ROUGHEST = 0.02  # of the throat's diameter: grains that are larger are no roughness of a wall, but its shape
MOST_CORES = 4096
INSTALL = "Install it (Debian, Ubuntu: apt install openfoam), or name a folder for the case and run it elsewhere"


def loss(
    port: Port | Sequence[Port],
    cfm: float,
    *,
    names: Sequence[str] = (),
    roughness_mm: float = 0.0,
    grid: Literal["quick", "usual", "fine"] = "usual",
    compare_models: bool = True,
    cores: int = 1,
    hosts: str | Path | None = None,
    out: str | Path | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> PressureLost:
    """Return the pressure that a port loses at a flow, and how other ports beside it differ: a viscous solution.

    It is solved in OpenFOAM, which has to be installed; it takes minutes. The ± is of two or three grids (I. B. Celik
    and others, J. Fluids Eng. 130, 2008) and of how far two turbulence models are apart.

    Parameters
    ----------
    port : from `read` or `port_from_rows`, or several: changes are against the first.
    cfm : flow, cubic feet of air at rest a minute.
    names : of the ports in the result; their files' by default.
    roughness_mm : of the wall, as the height of even sand grains; 0 for a smooth one.
    grid : how fine; "quick" has two grids, the others three.
    compare_models : whether a second turbulence model is solved beside the first.
    cores, hosts : how many cores solve it together, by mpirun, and the file that names the machines.
    out : a folder where the cases are kept, and gone on with where they were stopped. Without a solver they are
        written there, to be run elsewhere.
    progress : told what is being done, and the share of it that is.

    Raises
    ------
    InputError : for a flow that no air can make, where there is neither a solver nor a folder, where the folder holds
    another port's case. GeometryError : where no grid can be laid or the solver fails.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> port = pg.port_from_rows(bore)
    >>> pg.loss(port, cfm=-1)
    Traceback (most recent call last):
    portgeo.core.errors.InputError: a flow of -1 cfm cannot be measured. Give what the bench read, more than zero.
    """
    ports = list(ports_given(port, "port")) if isinstance(port, list | tuple) else [port_given(port)]
    number_given(cfm, "cfm")
    word_given(grid, tuple(GRIDS), "grid")
    flow = cfm * M3_S_PER["cfm"]
    check_flow(flow, 28.0 * PA_PER["in_h2o"])
    if not 1 <= cores <= MOST_CORES:
        raise InputError(f"{cores} cores cannot be used", where="cores", hint="Give how many cores the machine has")
    machine = Machine(find_solver(), cores, None if hosts is None else Path(hosts))
    if machine.hosts is not None and not machine.hosts.is_file():
        raise InputError("there is no such file", file=str(hosts), hint="Name a file with a machine a line")
    labels = _labels(ports, names)
    questions, notices = [], []
    for each, label in zip(ports, labels, strict=True):
        question, found = _question(each, flow, roughness_mm, label)
        questions.append(question)
        notices += [*each.warnings, *found]
    if machine.solver is None and out is None:
        raise InputError(f"the solver ({APPLICATION}, of OpenFOAM) is not on this machine", where="out", hint=INSTALL)
    tell = progress or (lambda what, share: None)
    with ExitStack() as stack:
        if out is None:
            stack.enter_context(minded())  # Ctrl-C at any time takes the folder away
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="portgeo-loss-")))
        else:
            folder = Path(out)
            make_folder(folder)
        answers, cases = [], []
        for k, (question, label) in enumerate(zip(questions, labels, strict=True)):

            def seen(share: float, k: int = k, label: str = label) -> None:
                tell(label, (k + share) / len(questions))

            trials, lying = _solved(question, GRIDS[grid], compare_models, folder / label, machine, seen)
            cases += [] if out is None else lying
            if trials:
                answers.append(Answer(question, trials))
    states: list[PortState] = []
    if len(answers) == len(ports):
        for answer, label, each in zip(answers, labels, ports, strict=True):
            change = None if answer is answers[0] else change_between(answers[0], answer)
            states.append(PortState.of(answer, label, each.source, change))
        if not all(trial.converged for answer in answers for trial in answer.trials):
            notices.append(Notice("loss_swings"))
    solver = None
    if states:
        solver = OpenSolver.of(answers, machine.solver.version if machine.solver else "unknown", cores)
    return PressureLost.of(
        tuple(states), solver, flow, ports[0].display, tuple(unique(notices)), ports[0].source, roughness_mm,
        tuple(str(case) for case in cases),
    )  # fmt: skip


def _question(port: Port, flow: float, roughness: float, label: str) -> tuple[Question, list[Notice]]:
    """Return what is asked of a port, and what is to be said of it beforehand."""
    surveyed = survey(port)
    least = float(surveyed.fine_area.min())
    refuse_absurd(flow, least, STANDARD, port.display)
    throat = surveyed.throat
    if not 0.0 <= roughness <= ROUGHEST * throat.diameter:
        raise InputError(
            f"a roughness of {port.display.length(roughness)} is not one of a port's wall",
            where="roughness",
            hint=f"Give the height of sand grains, at the most {port.display.length(ROUGHEST * throat.diameter)}",
        )
    notices = []
    mach = float(mach_through(flow, np.array([least * 1e-6]), STANDARD)[0])
    if mach > parting_mach():
        notices.append(Notice("loss_mach", name=label, mach=mach, limit=parting_mach()))
    if stands_in_stream(list(surveyed.sections)):
        notices.append(Notice("boss_left_out", case="air"))
    return Question(path_of(port), flow, (throat.station, throat.area), roughness), notices


def _solved(
    question: Question,
    grids: Sequence[int],
    compare: bool,
    folder: Path,
    machine: Machine,
    seen: Callable[[float], None],
) -> tuple[tuple[Trial, ...], list[Path]]:
    """Return what all grids and models tell, none where there is no solver, and where the cases lie."""
    wanted = asked(question, grids, compare=compare)
    work = [float(block) ** 3 for block, _ in wanted]
    trials: list[Trial] = []
    cases = [folder / case_name(block, model) for block, model in wanted]
    for k, ((block, model), case) in enumerate(zip(wanted, cases, strict=True)):
        before = max((t for t in trials if t.model == model), key=lambda t: t.block, default=None)
        trial = trial_of(
            question, block, model, case, machine, _write, before,
            partial(_part_seen, seen, work, k),
        )  # fmt: skip
        if trial is not None:
            trials.append(trial)
    return (tuple(trials) if len(trials) == len(wanted) else ()), cases


def _part_seen(seen: Callable[[float], None], work: Sequence[float], k: int, share: float) -> None:
    """Tell the share of all work that is done, a share of the k-th piece being so."""
    seen((sum(work[:k]) + share * work[k]) / sum(work))


def _write(path: Path, data: bytes) -> None:
    make_folder(path.parent)
    atomic_write(path, data, force=True)


def _labels(ports: Sequence[Port], names: Sequence[str]) -> list[str]:
    """Return what the ports are called, each otherwise: the names of their folders too."""
    given = names or [Path(str(port.source.get("file", f"port-{k + 1}"))).stem for k, port in enumerate(ports)]
    labels: list[str] = []
    for name in given:
        safe = "".join(sign if sign.isalnum() or sign in "-_. " else "-" for sign in name).strip(". ") or "port"
        labels.append(safe if safe not in labels else f"{safe}-{len(labels) + 1}")
    return labels
