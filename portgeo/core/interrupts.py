"""Ctrl-C: a run ends at once, or as soon as what it has begun is put right.

Python shows a Ctrl-C to the program only between two of its own instructions, which is seconds late
inside a library's loop. So the command line (cli.main) gives it back to the system, which ends the
process then and there (a shell tells status 130), and what is here takes it in hand only where something
would stay behind: a file half put in its place, or other processes at work.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.context
import multiprocessing.process
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from typing import Any, TypeVar

T = TypeVar("T")

STOPS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name))
LOOK = 0.2  # seconds between two looks for a Ctrl-C, which on Windows does not end a wait


@contextmanager
def _handled(handler: Callable[[int, Any], None]) -> Iterator[None]:
    """Give the signals that end a run to a handler (in the main thread, which alone may)."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {stop: signal.getsignal(stop) for stop in STOPS}
    # One that is ignored (nohup) or that Python did not set stays as it is.
    before = {stop: old for stop, old in before.items() if old is not None and old is not signal.SIG_IGN}
    for stop in before:
        signal.signal(stop, handler)
    try:
        yield
    finally:
        for stop, old in before.items():
            signal.signal(stop, old)


@contextmanager
def held() -> Iterator[Callable[[], None]]:
    """Hold Ctrl-C off until the block is done, and let it come through then.

    Gives a function to call within a long block, at places that can be left: it raises
    KeyboardInterrupt where a Ctrl-C waits.
    """
    caught: list[int] = []

    def look() -> None:
        if caught:
            raise KeyboardInterrupt

    try:
        with _handled(lambda number, _frame: caught.append(number)):
            yield look
    finally:
        if caught:
            signal.raise_signal(caught[0])


@contextmanager
def minded() -> Iterator[None]:
    """Have Ctrl-C raise KeyboardInterrupt within the block, which then ends what it has set to work."""

    def stop(number: int, _frame: Any) -> None:
        for each in STOPS:
            signal.signal(each, signal.SIG_IGN)  # the second Ctrl-C must not disturb the clearing up
        raise KeyboardInterrupt

    with _handled(stop):
        yield


@contextmanager
def workers(count: int, ahead: Sequence[str] = ()) -> Iterator[Callable[..., Future[Any]]]:
    """Give a `submit(function, *arguments)` that runs functions in `count` other processes.

    ahead : modules that what is submitted needs; loaded once for all of these processes, where the system can do that.

    Ctrl-C in a terminal goes to all of its processes: these do not hear it. They are ended when the
    block is left, whatever they are doing if it is left by an exception, and end themselves when this process is
    gone, however that was ended.
    """
    others = set(multiprocessing.active_children())
    with minded():
        pool = ProcessPoolExecutor(count, mp_context=_context(ahead), initializer=_begin_worker)

        def submit(function: Callable[..., Any], *arguments: Any) -> Future[Any]:
            with _deaf_children(), _main_left_alone():
                return pool.submit(function, *arguments)

        try:
            yield submit
        except BaseException:
            for child in set(multiprocessing.active_children()) - others:
                child.kill()
            pool.shutdown(wait=False, cancel_futures=True)
            raise
        pool.shutdown()


def started(function: Callable[..., None], *arguments: Any) -> multiprocessing.process.BaseProcess:
    """Return a process of its own that runs a function of a module.

    It does not hear Ctrl-C, and ends itself when this process is gone, however that was ended. `terminate` lets it put
    right what it has begun, where the system can do that.
    """
    with _deaf_children(), _main_left_alone():
        process = multiprocessing.get_context("spawn").Process(target=_run_apart, args=(function, arguments))
        process.start()
    return process


def _run_apart(function: Callable[..., None], arguments: Sequence[Any]) -> None:
    _begin_worker()
    function(*arguments)


def _context(ahead: Sequence[str]) -> multiprocessing.context.BaseContext:
    """Return how processes are begun: each from nothing, or as a copy of one that has loaded these modules."""
    if not ahead or sys.platform != "linux":  # macOS lets no process be copied safely, Windows none at all
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(ahead))
    return context


@contextmanager
def _main_left_alone() -> Iterator[None]:
    """Start processes that do not run the user's own script again, which they would by default.

    A script that uses the library needs no `if __name__ == "__main__"` then: what is submitted here is
    always a function of a module.
    """
    main = sys.modules["__main__"]
    kept = {name: getattr(main, name) for name in ("__spec__", "__file__") if hasattr(main, name)}
    main.__spec__ = None
    if "__file__" in kept:
        del main.__file__
    try:
        yield
    finally:
        for name, value in kept.items():
            setattr(main, name, value)


def _begin_worker() -> None:
    """Have this worker hear no Ctrl-C, and end it with the process that set it to work.

    Left alone it would wait for ever for work that nobody can give it.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def leave() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=leave, daemon=True).start()


@contextmanager
def _deaf_children() -> Iterator[None]:
    """Start processes that do not hear Ctrl-C from their first instruction, where the system can do that.

    What a thread holds off its children hold off too; a Ctrl-C that comes meanwhile is not lost.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # when it starts it lets Ctrl-C through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def as_they_come(futures: Iterable[Future[T]]) -> Iterator[Future[T]]:
    """Yield futures as they are done; a Ctrl-C is seen meanwhile on every system."""
    waiting = set(futures)
    while waiting:
        done, waiting = wait(waiting, LOOK, FIRST_COMPLETED)
        yield from done


def result_of(future: Future[T], seconds: float = float("inf")) -> T:
    """Return a future's result; a Ctrl-C is seen meanwhile. Raises TimeoutError after `seconds`."""
    left = seconds
    while not wait([future], min(LOOK, left)).done:
        left -= LOOK
        if left <= 0.0:
            raise TimeoutError
    return future.result()
