"""The open solver on this machine: where it is, and a case run in it, watched, ended cleanly and gone on with.

A case's folder comes in; whole times on the disk go out.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from portgeo.core.errors import GeometryError, InputError
from portgeo.core.interrupts import LOOK, minded

try:
    import fcntl
except ImportError:  # not on Windows
    fcntl = None  # type: ignore[assignment]

NAME = "OpenFOAM"
DEBIAN = Path("/usr/share/openfoam")  # where Debian's package has what WM_PROJECT_DIR is to name
APPLICATION = "simpleFoam"
TIME = re.compile(rb"^Time = (\d+)", re.MULTILINE)
FOOT = b"*********"  # the end of a file that the solver has written whole
TAIL = 4096  # bytes of a log or file that are looked at
LONGEST_TIME = 1e9  # no folder of a larger number is a time
# Open MPI: cores that wait let others work, and there may be more parts than cores.
FRIENDLY = ("OMPI_MCA_mpi_yield_when_idle", "OMPI_MCA_rmaps_base_oversubscribe")
LOCK = "portgeo.lock"
END_WAIT = 10.0  # seconds that a solver that is asked to end may take


@dataclass(frozen=True)
class Solver:
    """The solver found: the environment that it runs in, and its version as it tells it."""

    environment: dict[str, str]
    version: str


def find_solver() -> Solver | None:
    """Return the solver where it is installed, None where it is not."""
    if shutil.which(APPLICATION) is None:
        return None
    environment = dict(os.environ)
    if "WM_PROJECT_DIR" not in environment:
        if not (DEBIAN / "etc" / "controlDict").is_file():
            return None
        environment["WM_PROJECT_DIR"] = str(DEBIAN)
    environment["OMP_NUM_THREADS"] = "1"
    for setting in FRIENDLY:
        environment.setdefault(setting, "1")
    if hasattr(os, "geteuid") and os.geteuid() == 0:  # in a container; Open MPI refuses its root unless it is told
        environment |= {"OMPI_ALLOW_RUN_AS_ROOT": "1", "OMPI_ALLOW_RUN_AS_ROOT_CONFIRM": "1"}
    try:
        told = subprocess.run(
            [APPLICATION, "-help"], env=environment, capture_output=True, text=True, timeout=60.0, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    version = re.search(r"OpenFOAM-?\S* \(?v?(\d[\w.]*)", told.stdout)
    return None if told.returncode else Solver(environment, version[1] if version else "unknown")


def times_of(case: Path, fields: Sequence[str]) -> list[int]:
    """Return the times of a case that are whole on the disk, in order, after the beginning."""
    found = []
    for folder in case.iterdir() if case.is_dir() else ():
        if folder.name.isascii() and folder.name.isdigit() and 0 < int(folder.name) < LONGEST_TIME:
            if all(_whole(folder / name) for name in (*fields, "phi", "wallShearStress")):
                found.append(int(folder.name))
    return sorted(found)


def drop_times(case: Path, kept: Sequence[int]) -> None:
    """Take away the times of a case that are not to be kept: half-written ones, or old ones."""
    for folder in list(case.iterdir()):
        if folder.name.isascii() and folder.name.isdigit() and int(folder.name) not in (0, *kept):
            shutil.rmtree(folder, ignore_errors=True)


def _whole(path: Path) -> bool:
    try:
        with open(path, "rb") as stream:
            stream.seek(0, os.SEEK_END)
            stream.seek(max(stream.tell() - TAIL, 0))
            return FOOT in stream.read()
    except OSError:
        return False


def run_case(
    solver: Solver,
    case: Path,
    *,
    cores: int = 1,
    hosts: Path | None = None,
    seen: Callable[[int], None] = lambda n: None,
) -> float:
    """Run a case as far as its control file says, and return the processors' time that it took, in seconds.

    seen : told each iteration as it is reached. Raises GeometryError where the solver ends with an error. Ctrl-C ends
    the solver with all its parts; the times on the disk stay.
    """
    begun = time.perf_counter()
    if cores == 1 and hosts is None:
        _run(solver, [APPLICATION], case, seen)
    else:
        try:
            _run(solver, ["decomposePar", "-force", "-latestTime"], case)
            by = ["mpirun", "-np", str(cores), *([] if hosts is None else ["--hostfile", str(hosts.resolve())])]
            _run(solver, [*by, APPLICATION, "-parallel"], case, seen)
            _run(solver, ["reconstructPar", "-latestTime"], case)
        finally:
            for part in case.glob("processor*"):
                shutil.rmtree(part, ignore_errors=True)
    return time.perf_counter() - begun


def _run(solver: Solver, words: Sequence[str], case: Path, seen: Callable[[int], None] = lambda n: None) -> None:
    log = case / f"log.{Path(words[0]).name}"
    with minded(), _alone_in(case) as lock, open(log, "wb") as stream, _plainly_named(case) as folder:
        try:
            # A session of its own: Ctrl-C in a terminal reaches us alone, and we end all its parts together.
            process = subprocess.Popen(
                list(words), cwd=folder, env=solver.environment | {"PWD": str(folder)}, pass_fds=lock,
                stdin=subprocess.DEVNULL, stdout=stream, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        except OSError as error:
            raise InputError(
                f"{words[0]} cannot be run ({error.strerror or error})",
                hint="Install the solver's package whole, or leave out --cores and --hosts",
            ) from error
        try:
            while True:
                try:
                    state = process.wait(LOOK)
                    break
                except subprocess.TimeoutExpired:
                    reached = TIME.findall(_tail(log))
                    if reached:
                        seen(int(reached[-1]))
        except BaseException:
            _end(process)
            raise
    if state != 0:
        said = [
            line for line in _tail(log).decode("ascii", "replace").splitlines() if "ERROR" in line or "error" in line
        ]
        raise GeometryError(
            f"the solver ended with an error ({said[-1].strip(' ->:') if said else f'status {state}'})",
            file=str(log),
            hint="Look at the end of that file; a sheet or scan with a wrong reading in it is the usual reason",
        )


@contextmanager
def _plainly_named(case: Path) -> Iterator[Path]:
    """Give a case's folder under a name that the solver takes: it refuses one with a space or a quote in it."""
    whole = case.resolve()
    if not re.search(r"[\s'\"]", str(whole)):
        yield whole
        return
    with tempfile.TemporaryDirectory(prefix="portgeo-case-") as place:
        link = Path(place) / "case"
        link.symlink_to(whole, target_is_directory=True)
        yield link


@contextmanager
def _alone_in(case: Path) -> Iterator[tuple[int, ...]]:
    """Have a case to oneself, and give what the solver is to hold open: killed, we may leave it at work.

    Raises InputError where a solver is at work in it.
    """
    if fcntl is None:
        yield ()
        return
    with open(case / LOCK, "ab") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise InputError(
                "a solver is still at work in this folder", file=str(case), hint="Wait until it has ended, or end it"
            ) from error
        yield (file.fileno(),)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a process with all that it began."""
    for stop in (signal.SIGTERM, getattr(signal, "SIGKILL", signal.SIGTERM)):
        try:
            if hasattr(os, "killpg"):
                os.killpg(process.pid, stop)
            else:
                process.terminate()
            process.wait(END_WAIT)
            return
        except ProcessLookupError:
            return
        except subprocess.TimeoutExpired:
            continue


def _tail(path: Path) -> bytes:
    with open(path, "rb") as stream:
        stream.seek(0, os.SEEK_END)
        stream.seek(max(stream.tell() - TAIL, 0))
        return stream.read()
