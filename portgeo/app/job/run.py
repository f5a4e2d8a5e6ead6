"""A job run: what is kept is used again, what is not is made on all cores, and the report's files are written.

A JobFile and a folder come in; the folder holds the report when it is done, and a run that was killed
goes on from where it was.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import os
from collections.abc import Callable, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.job.keep import Kept, key_of
from portgeo.app.job.ledger import Ledger
from portgeo.app.job.loss_steps import CASES, LOSS
from portgeo.app.job.step import Step, Steps
from portgeo.app.job.steps import DRAWN, STILLS, steps_of
from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.interrupts import LOOK, result_of, workers
from portgeo.files.toml.job import JobFile

if TYPE_CHECKING:
    from portgeo.present.pictures.model import Model

MOST_WORKERS = 4  # a job has no more steps than that to make at once for long, and each takes memory
WORTH_WORKERS = 3  # steps to make: for fewer it is quicker to stay in this process
# What the steps need, and what theirs load only when it is used.
AHEAD = (*(f"portgeo.app.job.{name}" for name in ("check", "parts", "air", "cut", "paint", "drawn")), "skfem", "pyamg")
Progress = Callable[[str, float], None]
Files = list[tuple[str, bytes]]  # by name


@dataclass(frozen=True)
class JobResults:
    """What a run came to.

    results : as in results.json. files : names of the report's files. made, kept : how many steps were
    made, and how many used again. out : the folder.
    """

    results: dict[str, Any]
    files: tuple[str, ...]
    made: int
    kept: int
    out: Path

    @property
    def models(self) -> tuple[Model, ...]:
        """The models of the page, read from what is kept."""
        found = Kept(self.out).get(self.results_key)
        return tuple(found.models) if found is not None else ()

    results_key: str = ""


def run_job(job: JobFile, out: Path, progress: Progress, *, force: bool = False, with_loss: bool = False) -> JobResults:
    """Make a job's report in a folder.

    force : replace files there that no earlier report wrote. with_loss : solve what the ports lose too, where that is
    not kept. Raises PortgeoError where an input is refused
    or a file cannot be written; what is made by then is kept.
    """
    steps = steps_of(job)
    kept, ledger = Kept(out), Ledger(out)
    if with_loss:
        ledger.check(force)
    solved = _with_loss(steps, kept, progress, with_loss)
    whole = key_of("report", [(step.name, step.key) for step in steps.by_name.values()], steps.skipped, _said(steps))
    made, names = 0, ledger.whole(whole)
    if names is None:
        ledger.check(force)
        made, written = _make(steps, kept, progress)
        progress("writing the report", 1.0)
        results = _Results(steps, kept)
        drawn = [(f"pictures/{file}", data) for name in _drawn(steps) for file, data in results(name).files]
        names = ledger.write(whole, [*drawn, *written], force)
        kept.only(step.key for step in steps.by_name.values())
    results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    models = steps.by_name["models"].key
    count = len({step.key for step in steps.by_name.values()})
    return JobResults(results, names, made + solved, count - made - solved, out, models)


def _drawn(steps: Steps) -> list[str]:
    """Return the steps whose results are pictures: of a manifold's runners alone there are fewer."""
    return [name for name in (*DRAWN, STILLS) if name in steps.by_name]


def _with_loss(steps: Steps, kept: Kept, progress: Progress, wanted: bool) -> int:
    """Solve what the ports lose where it is wanted and not kept, with what that needs; return how many steps were made.

    Where it is not wanted, what is not kept is left out. It runs here, before all else: it tells how far it is, and
    what is refused of it is said at once.
    """
    step, name = steps.by_name.get(LOSS), steps.job.path.name
    if step is None:
        if wanted and steps.job.job.loss is None:
            raise InputError(
                "the job does not ask for the pressure lost", file=str(steps.job.path), hint="Write a line [loss] in it"
            )
        return 0
    if kept.has(step.key):
        return 0
    if not wanted:
        changed = "what was solved is of other readings, or was stopped: " if (kept.folder / CASES).is_dir() else ""
        steps.leave(LOSS, f"not run, since it takes minutes; {changed}portgeo report {name} --loss")
        return 0
    _check(steps.job)
    waits = {LOSS}
    for each in reversed(steps.by_name.values()):  # what needs a step comes after it
        if each.name in waits:
            waits |= {other for _, other in each.needs}
    missing = [each for each in steps.by_name.values() if each.name in waits and not kept.has(each.key)]
    for each in missing:

        def seen(what: str, share: float, title: str = each.title) -> None:
            progress(f"{title}: {what}", share)

        progress(each.title, 0.0)
        make_step(each, _needs(each, steps), str(steps.job.folder), str(kept.folder.parent), seen)
    return len(missing)


def _said(steps: Steps) -> list[Any]:
    """Return what the report says of a job besides its steps' results."""
    job = steps.job.job
    return [job.model_dump(mode="json"), sorted(steps.inputs.items())]


class _Results:
    """Kept results by their step's name, each read once."""

    def __init__(self, steps: Steps, kept: Kept) -> None:
        self.steps, self.kept, self.read = steps, kept, dict[str, Any]()

    def __call__(self, name: str) -> Any:
        step = self.steps.by_name.get(name)
        if step is None:
            return None
        if step.key not in self.read:
            self.read[step.key] = _fetched(self.kept, step.key)
        return self.read[step.key]


def _fetched(kept: Kept, key: str) -> Any:
    found = kept.get(key)
    if found is None:
        raise OutputError(
            "a result that was just made cannot be read again",
            file=str(kept.path(key)),
            hint="Check that nothing else writes into the report's folder, and run it again: it goes on from here",
        )
    return found


def _make(steps: Steps, kept: Kept, progress: Progress) -> tuple[int, Files]:
    """Make every step that is not kept; return how many, and the report's files but for what those of DRAWN draw.

    Raises what is refused of the job's small files, which comes before all that steps do; else the first refusal in
    the steps' order.
    """
    by_key = {step.key: step for step in steps.by_name.values()}
    missing = {key: step for key, step in by_key.items() if not kept.has(key)}
    done = set(by_key) - set(missing)
    count = min(os.cpu_count() or 1, MOST_WORKERS)
    folder = kept.folder.parent
    if count == 1 or len(missing) < WORTH_WORKERS:
        if missing:
            _check(steps.job)
        for number, step in enumerate(missing.values()):
            progress(step.title, number / len(by_key))
            make_step(step, _needs(step, steps), str(steps.job.folder), str(folder))
        return len(missing), _write_up(steps, folder)
    told = {step.key for step in by_key.values() if step.name not in DRAWN}
    written: Future[Any] | None = None
    chains = _chains(steps)
    refusals: dict[str, PortgeoError] = {}
    try:
        with workers(count, AHEAD) as submit:
            checked = submit(_apart, _check, steps.job)
            # What the longest chain of steps waits for is made first.
            waiting = dict(sorted(missing.items(), key=lambda item: -chains[item[0]]))
            running: dict[Future[Any], Step] = {}
            while (waiting and not refusals) or running:
                if told <= done and written is None:
                    written = submit(_apart, _write_up, steps, folder)  # nothing in them hangs on what is drawn
                for key, step in list(waiting.items()) if not refusals else ():
                    needs = _needs(step, steps)
                    if (len(running) < count or told <= done) and set(needs.values()) <= done:
                        folders = str(steps.job.folder), str(folder)
                        running[submit(_apart, make_step, step, needs, *folders)] = waiting.pop(key)
                progress(", ".join(step.title for step in running.values()), len(done) / len(by_key))
                for future in wait(running, LOOK, FIRST_COMPLETED).done:
                    step = running.pop(future)
                    refusal = future.result()
                    if refusal is None:
                        done.add(step.key)
                    else:
                        refusals[step.key] = refusal
                if checked.done() or refusals:
                    _unrefused(checked)
            if refusals:
                raise next(refusals[key] for key in by_key if key in refusals)
            return len(missing), _unrefused(written or submit(_apart, _write_up, steps, folder))
    except BrokenProcessPool as failure:
        raise OutputError(
            "the system ended one of the processes at work, as it does when memory runs out",
            file=str(folder),
            hint="Close other programs and run it again: it goes on from here",
        ) from failure


def _check(job: JobFile) -> None:
    """Refuse what can be told in a moment."""
    from portgeo.app.job.check import check_job

    check_job(job)


def _write_up(steps: Steps, folder: Path) -> Files:
    """Return the report's files from what is kept in its folder, but for what the steps of DRAWN draw."""
    from portgeo.app.job.published import files_of

    return list(files_of(steps, _Results(steps, Kept(folder))))


def _chains(steps: Steps) -> dict[str, int]:
    """Return for each step, by its key, how many steps the longest chain has that begins with it."""
    chains: dict[str, int] = {}
    for step in reversed(steps.by_name.values()):  # what needs a step comes after it
        chains[step.key] = max(chains.get(step.key, 0), 1)
        for key in _needs(step, steps).values():
            chains[key] = max(chains.get(key, 0), chains[step.key] + 1)
    return chains


def _needs(step: Step, steps: Steps) -> dict[str, str]:
    return {role: steps.by_name[name].key for role, name in step.needs}


def _apart(work: Callable[..., Any], *arguments: Any) -> Any:
    """Do work in a worker; a refusal is returned, so that what is done beside it ends as it would."""
    try:
        return work(*arguments)
    except PortgeoError as refusal:
        return refusal


def _unrefused(future: Future[Any]) -> Any:
    """Return what a worker made. Raises what it refused."""
    made = result_of(future)
    if isinstance(made, PortgeoError):
        raise made
    return made


def make_step(
    step: Step, needs: Mapping[str, str], folder: str, out: str, progress: Progress = lambda what, share: None
) -> None:
    """Make one step and keep its result. needs : role to key of earlier results. progress : told how far it is."""
    from portgeo.app.job.results import StepInputs

    kept = Kept(Path(out))
    module, _, function = step.work.partition(".")
    work: Callable[[StepInputs], Any] = getattr(importlib.import_module(f"portgeo.app.job.{module}"), function)
    names = {role: name for role, name, _ in step.files}
    paths = {role: Path(folder) / name for role, name in names.items()}
    earlier = {role: _fetched(kept, key) for role, key in needs.items()}
    given = StepInputs(step.settings, paths, names, earlier, kept.folder, step.on, progress)
    result = work(given)
    for role, name, sha in step.files:
        # Read again after the work: a file changed meanwhile must not be kept under its old hash.
        if hashlib.sha256(paths[role].read_bytes()).hexdigest() != sha:
            raise OutputError(
                "the file changed while the report was made", file=name, hint="Run it again: it goes on from here"
            )
    kept.put(step.key, result)
