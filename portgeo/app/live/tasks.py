"""Long answers at work: each in a process of its own, with its progress, and ended when it is not wanted any more.

What is asked comes in; events for the page go out.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import multiprocessing.process
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from portgeo.app.live.answer_parts import PRINTED, REPORT, Asked, of_stages
from portgeo.app.live.answers import LABELS, answer
from portgeo.app.live.half_written import swept
from portgeo.core.errors import PortgeoError
from portgeo.core.interrupts import started

LOOK = 0.1  # seconds between two looks for progress
PATIENCE = 3.0  # seconds that a cancelled answer has to put right what it has begun


@dataclass
class Task:
    """An answer at work."""

    id: str
    asked: Asked
    process: multiprocessing.process.BaseProcess
    pipe: Connection
    cancelled: bool = False


class Tasks:
    """The answers at work, one of a kind at a time."""

    def __init__(self, tell: Callable[[dict[str, Any]], None], keep: Callable[[Asked, Any, Any], str]) -> None:
        """tell : takes every event. keep : takes every answer and its model, and returns when it was made."""
        self._tell, self._keep, self._count = tell, keep, 0
        self._running: dict[str, Task] = {}

    def start(self, asked: Asked) -> str:
        """Begin an answer and return its name; one of its kind that is at work is ended."""
        for task in list(self._running.values()):
            if task.asked.kind == asked.kind:
                self.cancel(task.id)
        self._count += 1
        here, there = multiprocessing.Pipe(duplex=False)
        process = started(_work, asked, there)
        there.close()
        task = Task(f"t{self._count}", asked, process, here)
        self._running[task.id] = task
        self._event(task, "begins", None)
        return task.id

    def cancel(self, name: str) -> bool:
        """End an answer that is not wanted any more; return whether there was one."""
        task = self._running.get(name)
        if task is None:
            return False
        task.cancelled = True
        task.process.terminate()
        return True

    def stop(self) -> None:
        """End them all."""
        for task in self._running.values():
            task.cancelled = True
            task.process.terminate()
        for task in self._running.values():
            task.process.join(PATIENCE)
            if task.process.is_alive():
                task.process.kill()
                task.process.join(PATIENCE)
            _sweep(Path(task.asked.folder))

    async def follow(self, name: str) -> None:
        """Tell the page of an answer's progress until it is done."""
        task = self._running[name]
        found: tuple[str, Any] | None = None
        while found is None:
            try:
                while found is None and task.pipe.poll():
                    kind, value = task.pipe.recv()
                    if kind == "progress":
                        self._event(task, *value)
                    else:
                        found = kind, value
            except (EOFError, OSError):
                break
            if found is None:
                if not task.process.is_alive() and not task.pipe.poll():
                    break
                await asyncio.sleep(LOOK)
        await asyncio.to_thread(self._end, task)
        self._running.pop(name, None)
        refusal: dict[str, str] | None = None
        if task.cancelled:
            refusal = {"what": "cancelled", "hint": ""}
        elif found is None:
            refusal = {"what": "the system ended it, as it does when memory runs out", "hint": "Try it again"}
        elif found[0] == "refused":
            refusal = found[1]
        result = found[1] if found is not None and found[0] == "done" and refusal is None else None
        model = result.pop("model", None) if result is not None else None
        when = None if result is None else await asyncio.to_thread(self._keep, task.asked, result, model)
        self._event(task, "done", 1.0, done=True, refusal=refusal, result=result, when=when)
        if model is not None and result is not None:
            self._tell(
                {"type": "model", "version": None, "stage": result["stage"], "task": task.id, "data": model}
                | {"kind": task.asked.kind, "of": of_stages(task.asked)}
            )

    def _end(self, task: Task) -> None:
        """See an answer's process off; what it was writing when it was killed goes."""
        task.process.join(PATIENCE)
        if task.process.is_alive():
            task.process.kill()
            task.process.join(PATIENCE)
        task.pipe.close()
        if task.cancelled:
            _sweep(Path(task.asked.folder))

    def _event(
        self, task: Task, at: str, share: float | None, *, done: bool = False, refusal: Any = None, result: Any = None,
        when: str | None = None,
    ) -> None:  # fmt: skip
        label = LABELS[task.asked.kind]
        self._tell(
            {
                "type": "task", "id": task.id, "kind": task.asked.kind, "label": label, "share": share, "at": at,
                "done": done, "refusal": refusal, "result": result, "when": when,
                "of": of_stages(task.asked),
            }
        )  # fmt: skip


def _sweep(folder: Path) -> None:
    """Take away half-written files of an answer that was killed."""
    for place in (folder / REPORT, folder / PRINTED):
        for inside in (place, *place.rglob("*/")) if place.is_dir() else ():
            swept(inside, 0.0)


def _work(asked: Asked, pipe: Connection) -> None:
    """Work an answer out in a process of its own, and say so."""

    def progress(what: str, share: float | None) -> None:
        pipe.send(("progress", (what, share)))

    try:
        found = "done", answer(asked, progress)
    except PortgeoError as refusal:
        where = ", ".join(part for part in (refusal.file, refusal.where) if part)
        what = f"{where}: {refusal.what}" if where else refusal.what
        found = "refused", {"what": what, "hint": refusal.hint}
    except KeyboardInterrupt:
        return  # cancelled, and what it had set to work is ended
    pipe.send(found)
