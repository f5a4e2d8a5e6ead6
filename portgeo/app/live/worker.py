"""A process of its own that works out one thing after the other, so that typing never waits for it.

Functions of modules with what they take come in; what they come to goes out.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.process
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from portgeo.core.interrupts import started


class Ended(Exception):
    """The process was ended: by the system, or because this is the end."""


class Worker:
    """One process, begun anew where the system ended it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None
        self._over = False

    def start(self) -> None:
        """Begin the process, which takes a second or two, unless it is there."""
        with self._lock:
            self._begin()

    def _begin(self) -> Connection:
        if self._over:
            raise Ended
        if self._process is None or self._pipe is None or not self._process.is_alive():
            self._pipe, other = multiprocessing.Pipe()
            self._process = started(_working, other)
            other.close()
        return self._pipe

    def work(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """Return what a function comes to in the process. Raises Ended, and what the function raises."""
        with self._lock:
            pipe = self._begin()
            try:
                pipe.send((function, arguments))
                good, found = pipe.recv()
            except (EOFError, OSError) as error:
                self._process = self._pipe = None
                raise Ended from error
        if not good:
            raise found
        return found

    def stop(self) -> None:
        """End the process for good, whatever it is doing."""
        self._over = True
        if self._process is not None:
            self._process.kill()


def _working(pipe: Connection) -> None:
    while True:
        try:
            function, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer = True, function(*arguments)
        except Exception as error:
            answer = False, error
        pipe.send(answer)
