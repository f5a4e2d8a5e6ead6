"""Who listens, and what they are told: figures as they are ready, the newest first, and what changed.

A Desk comes in; events for every open tab go out. Nothing here waits in the server's own loop: the quick figures are
worked out in a thread, their ± and the model in a process of its own.
"""

from __future__ import annotations

import asyncio
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from portgeo.app.live.answer_parts import Scan
from portgeo.app.live.answers import change_of, scan_figures
from portgeo.app.live.asking import made_of, made_of_before
from portgeo.app.live.desk import Desk
from portgeo.app.live.figures import Readings, figures_of, model_of, warm
from portgeo.app.live.kept_answers import KeptAnswers
from portgeo.app.live.row_numbers import of_page
from portgeo.app.live.tasks import Tasks
from portgeo.app.live.worker import Ended, Worker
from portgeo.core.errors import PortgeoError

WATCH = 1.0  # seconds between two looks whether something else changed a file
HURRY = 1.0  # seconds between two readings, below which a third is likely to follow as soon
QUIET = 0.3  # seconds without a reading, that end such a run of them: what takes longer is begun then
MOST_SCANS = 6  # whose figures are kept: those that are looked at in turn
MOST_WAITING = 200  # events for a tab that does not read: past it, it has gone

Event = dict[str, Any]


def _numbered(told: Event, of: Readings | Scan | None) -> Event:
    """Return figures with the page's own numbers of rows."""
    return of_page(told, [row for row, _ in of.rows], told["left_out"]) if isinstance(of, Readings) else told


@dataclass(frozen=True)
class _Wanted:
    """Whose model and ± are wanted: the turn, the version, the stage and the one before it."""

    turn: int
    version: int
    of: Readings | Scan
    before: Readings | None


class Hub:
    """The open tabs, and the figures that they see."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.tabs: set[asyncio.Queue[Event | None]] = set()
        self.closed = self._warmed = False
        self._quick = asyncio.Lock()
        self._turn = 0
        self._typed, self._hurried = -HURRY, False  # when a reading was typed last, and whether soon after another
        self._shown: tuple[str | None, str] = (None, "port")
        self._tasks: set[asyncio.Task[Any]] = set()
        self._slow: asyncio.Queue[_Wanted] = asyncio.Queue()
        self._scans: dict[Scan, dict[str, Any]] = {}
        self.kept = KeptAnswers(desk)
        self.tasks = Tasks(self.tell, self.kept.keep)
        self._worker, self._comparer, self._aside = Worker(), Worker(), asyncio.Lock()

    def start(self) -> None:
        """Begin to watch the disk, and have everything loaded before the first reading is typed."""
        for work in (self._watch(), self._slowly(), asyncio.to_thread(warm)):
            self.spawn(work)

    async def stop(self) -> None:
        """Tell every tab that it is over, and end what is at work."""
        self.closed = True
        for tab in self.tabs:
            tab.put_nowait(None)
        for task in self._tasks:
            task.cancel()
        self._worker.stop()
        self._comparer.stop()
        await asyncio.to_thread(self.tasks.stop)

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
        if not self._warmed:
            self._warmed = True
            self.spawn(self._worked(self._turn, warm))  # the worker is ready when it is asked
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
                while not tab.empty():
                    tab.get_nowait()
                tab.put_nowait(None)  # it is let go, and asks anew when it wakes
            else:
                tab.put_nowait(event)

    # Figures

    def ask_of(self, files: tuple[str, ...]) -> None:
        """Work out the figures of the stage that holds one of these files, which was typed into; else those shown."""
        now = time.monotonic()
        self._typed, self._hurried = now, now - self._typed < HURRY
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
        if not self.tabs:
            return  # nobody looks; the next tab asks
        self.spawn(self._figure(self._turn, stage, part))

    async def _figure(self, turn: int, stage: str | None, part: str) -> None:
        async with self._quick:
            if turn != self._turn or self.desk.first:
                return
            version = self.desk.version
            of = await asyncio.to_thread(made_of, self.desk, stage, part)
            before = await asyncio.to_thread(made_of_before, self.desk, stage, part)
            ghost = before if isinstance(before, Readings) else None
            found = await asyncio.to_thread(figures_of, of, False, ghost) if isinstance(of, Readings) else None
        if found is not None:
            self.tell({"type": "figures", "version": version} | _numbered(found, of))
        self.tell({"type": "answers", "changed": await asyncio.to_thread(self.kept.changed)})
        if turn == self._turn and of is not None and (found is None or found["figures"] is not None):
            self._slow.put_nowait(_Wanted(turn, version, of, ghost))

    async def _slowly(self) -> None:
        """Work out the model and the ± of what was asked for last, then what was cut since the stage before."""
        while True:
            wanted = await self._slow.get()
            if not await self._quiet(wanted.turn, QUIET if self._hurried else 0.0):
                continue
            of = wanted.of
            if isinstance(of, Scan):
                await self._scanned(wanted, of)
                continue
            model = await self._worked(wanted.turn, model_of, of)
            if model is not None:
                self.tell({"type": "model", "version": wanted.version, "stage": of.stage, "data": model})
            figures = await self._worked(wanted.turn, figures_of, of, True, wanted.before)
            if figures is not None:
                self.tell({"type": "figures", "version": wanted.version} | _numbered(figures, of))
            if wanted.before is not None and wanted.turn == self._turn:
                self.spawn(self._changed(wanted, wanted.before, of))

    async def _quiet(self, turn: int, seconds: float) -> bool:
        """Wait until so long nothing was typed, so that the quick figures have the machine; False once newer is."""
        while turn == self._turn and (left := self._typed + seconds - time.monotonic()) > 0.0:
            await asyncio.sleep(min(left, QUIET))
        return turn == self._turn

    async def _changed(self, wanted: _Wanted, before: Readings, of: Readings) -> None:
        """Tell what was cut since the stage before: in a process of its own, since it takes seconds."""
        if not await self._quiet(wanted.turn, HURRY):
            return
        async with self._aside:
            change = await self._worked(wanted.turn, change_of, before, of, worker=self._comparer)
        if change is not None:
            self.tell({"type": "change", "version": wanted.version} | change)

    async def _scanned(self, wanted: _Wanted, of: Scan) -> None:
        """Tell the figures of a scan, worked out once as long as its file and what is said of it stay as they are."""
        kept = self._scans.get(of)
        if kept is None:
            kept = await self._worked(wanted.turn, scan_figures, of)
            if kept is None:
                return
            self._scans = dict([*self._scans.items()][-MOST_SCANS:]) | {of: kept}
        figures = dict(kept)
        model = figures.pop("model")
        self.tell({"type": "figures", "version": wanted.version} | figures)
        if model is not None:
            self.tell({"type": "model", "version": wanted.version, "stage": of.stage, "data": model})

    async def _worked(
        self, turn: int, function: Callable[..., Any], *arguments: Any, worker: Worker | None = None
    ) -> Any:
        """Return what a function comes to in the worker; None where something newer was asked for, or it is refused."""
        if turn != self._turn:
            return None
        try:
            found = await asyncio.to_thread((worker or self._worker).work, function, *arguments)
        except (Ended, PortgeoError):
            return None  # the system ended it, or this is the end; a refusal is told with the figures
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
