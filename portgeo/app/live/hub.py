"""Who listens, and what they are told: figures as they are ready, the newest first, and what changed.

A Desk comes in; events for every open tab go out. Nothing here waits in the server's own loop: the quick figures are
worked out in a thread, their ± and the model in a process of its own.
"""

from __future__ import annotations

import asyncio
import traceback
from collections.abc import Callable
from typing import Any

from portgeo.app.live.desk import Desk
from portgeo.app.live.figures import Readings, figures_of, model_of, warm
from portgeo.app.live.worker import Ended, Worker

WATCH = 1.0  # seconds between two looks whether something else changed a file
MOST_WAITING = 200  # events for a tab that does not read: past it, it has gone

Event = dict[str, Any]


class Hub:
    """The open tabs, and the figures that they see."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.tabs: set[asyncio.Queue[Event | None]] = set()
        self.closed = False
        self._quick = asyncio.Lock()
        self._turn = 0
        self._shown: tuple[str | None, str] = (None, "port")
        self._tasks: set[asyncio.Task[Any]] = set()
        self._slow: asyncio.Queue[tuple[int, int, Readings]] = asyncio.Queue()
        self._worker = Worker()

    def start(self) -> None:
        """Begin to watch the disk, and have everything loaded before the first reading is typed."""
        for work in (self._watch(), self._slowly(), asyncio.to_thread(warm), self._worked(self._turn, warm)):
            self.spawn(work)

    async def stop(self) -> None:
        """Tell every tab that it is over, and end what is at work."""
        self.closed = True
        for tab in self.tabs:
            tab.put_nowait(None)
        for task in self._tasks:
            task.cancel()
        self._worker.stop()

    def spawn(self, work: Any) -> None:
        """Run a coroutine beside what is going on."""
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._ended)

    def _ended(self, task: asyncio.Task[Any]) -> None:
        self._tasks.discard(task)
        if not task.cancelled() and task.exception() is not None and not self.closed:
            traceback.print_exception(task.exception())  # a defect of ours: in the terminal, and not in silence

    # Tabs

    def listen(self) -> asyncio.Queue[Event | None]:
        """Return the events of a new tab."""
        tab: asyncio.Queue[Event | None] = asyncio.Queue(MOST_WAITING)
        self.tabs.add(tab)
        self.tell({"type": "tabs", "count": len(self.tabs)})
        self.ask(*self._shown)
        return tab

    def leave(self, tab: asyncio.Queue[Event | None]) -> None:
        """Forget a tab that has gone."""
        self.tabs.discard(tab)
        self.tell({"type": "tabs", "count": len(self.tabs)})

    def tell(self, event: Event) -> None:
        """Tell every tab."""
        for tab in list(self.tabs):
            if tab.full():
                self.tabs.discard(tab)
            else:
                tab.put_nowait(event)

    # Figures

    def ask_of(self, files: tuple[str, ...]) -> None:
        """Work out the figures of the stage that holds one of these files; else those that are shown already."""
        for stage in self.desk.stages():
            for part in ("port", "runner"):
                if getattr(stage, part) in files:
                    self.ask(stage.name, part)
                    return
        self.ask(*self._shown)

    def ask(self, stage: str | None, part: str = "port") -> None:
        """Work out the figures of a stage; what was asked for before and is not done yet is dropped."""
        self._turn += 1
        self._shown = (stage, part)
        self.spawn(self._figure(self._turn, stage, part))

    async def _figure(self, turn: int, stage: str | None, part: str) -> None:
        async with self._quick:
            if turn != self._turn or self.desk.first:
                return
            version = self.desk.version
            readings = await asyncio.to_thread(self.desk.readings, stage, part)
            if readings is None:
                return
            found = await asyncio.to_thread(figures_of, readings, sure=False)
        self.tell({"type": "figures", "version": version} | found)
        if found["figures"] is not None and turn == self._turn:
            self._slow.put_nowait((turn, version, readings))

    async def _slowly(self) -> None:
        """Work out the model and the ± of what was asked for last."""
        while True:
            turn, version, readings = await self._slow.get()
            model = await self._worked(turn, model_of, readings)
            if model is not None:
                self.tell({"type": "model", "version": version, "stage": readings.stage, "data": model})
            figures = await self._worked(turn, figures_of, readings, True)
            if figures is not None:
                self.tell({"type": "figures", "version": version} | figures)

    async def _worked(self, turn: int, function: Callable[..., Any], *arguments: Any) -> Any:
        """Return what a function comes to in the worker; None where something newer was asked for."""
        if turn != self._turn:
            return None
        try:
            found = await asyncio.to_thread(self._worker.work, function, *arguments)
        except Ended:
            return None  # the system ended it, or this is the end
        return found if turn == self._turn else None

    # The disk

    async def _watch(self) -> None:
        """Look every second whether something else changed an open file, and ask about it once."""
        asked: tuple[str, ...] = ()
        while True:
            await asyncio.sleep(WATCH)
            changed = await asyncio.to_thread(self.desk.look_at_disk)
            if changed and changed != asked:
                self.tell({"type": "disk", "files": list(changed)})
            asked = changed
