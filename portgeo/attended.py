"""A person's last word on a terminal: what Ctrl-C came to, though it ends a run within a library's loop.

Nothing of ours can speak in a process that the system ends then and there. So on a terminal the work is
done in a child, and its parent waits, says the line, and ends as the child did.
"""

from __future__ import annotations

import os
import signal
import sys
from typing import Any

STOPPED = "portgeo: stopped; nothing half-written is left behind"


def attended() -> None:
    """Go on in a child process where a person looks on; the parent never returns.

    Where a system cannot split a process (Windows), or does not bear it with windows on the screen
    (macOS), or stderr is no terminal, nothing is split and Ctrl-C ends the run without a word.
    """
    if sys.platform in ("win32", "darwin") or not sys.stderr.isatty():
        return
    alive, held = os.pipe()  # closed at the parent's end by whatever ends it
    child = os.fork()
    if child == 0:
        os.close(held)
        _leave_with_parent(alive)
        return
    os.close(alive)

    def pass_on(number: int, _frame: Any) -> None:
        os.kill(child, number)  # not yet waited for, so the number is still the child's

    # Ctrl-C on the terminal reaches the child by itself; one that is sent to this process alone does not.
    for each in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        if signal.getsignal(each) is not signal.SIG_IGN:
            signal.signal(each, pass_on)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        os._exit(os.WEXITSTATUS(status))
    number = os.WTERMSIG(status)
    if number == signal.SIGINT:
        os.write(2, f"\n{STOPPED}\n".encode())
    if number != signal.SIGKILL:
        signal.signal(number, signal.SIG_DFL)
    os.kill(os.getpid(), number)
    os._exit(128 + number)


def _leave_with_parent(alive: int) -> None:
    """End this process when its parent is gone, however that was ended."""
    import threading

    def leave() -> None:
        os.read(alive, 1)  # nothing is ever written: it returns when the other end is closed
        os._exit(1)

    threading.Thread(target=leave, daemon=True).start()
