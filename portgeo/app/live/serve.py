"""The server of the page, from the command's words to Ctrl-C.

What is to be opened comes in; the address is printed, the browser opened on it, and the page served.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import signal
import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import uvicorn

from portgeo.app.live.desk import Desk
from portgeo.app.live.server import Guard, make_app
from portgeo.app.live.stages import JOB, job_content, stages_of
from portgeo.core.errors import InputError
from portgeo.files.sheets.tables import SHEET_TYPES

HOST = "127.0.0.1"
USUAL_PORT = 8642  # where it is free: the address then differs by its token alone
PATIENCE = 2  # seconds that an answer under way has at the end
TOKEN_BYTES = 18
TOKEN = re.compile(r"[\w-]{24}")  # of so many bytes
ADDRESS = "address.json"


def serve(what: str | None, port: int | None, *, browser: bool) -> None:
    """Serve the page of a sheet, a job or a folder until Ctrl-C.

    Raises InputError where there is nothing to open, or the port that was asked for is taken.
    """
    desk = desk_of(what)
    before, token = _kept(desk)
    with listening(port, before) as at:
        number = at.getsockname()[1]
        _keep(desk, number, token)
        address = f"http://{HOST}:{number}/{token}/"
        app = make_app(desk, token, number)
        server = PageServer(app)
        print(f"portgeo: {address}  (Ctrl-C ends it)", flush=True)
        if browser:
            threading.Thread(target=_show, args=(address,), daemon=True).start()
        server.run(sockets=[at])


def _kept(desk: Desk) -> tuple[int | None, str]:
    """Return the port and the token that this folder had before: a page that is still open goes on with them.

    Only what this machine wrote into this very file counts: a folder that was copied, or that somebody sent, may hold
    a token that others know.
    """
    new = secrets.token_urlsafe(TOKEN_BYTES)
    try:
        with open(desk.versions.folder / ADDRESS, encoding="utf-8") as file:
            said = json.load(file)
            own = _identity(file.fileno())
        port, token = int(said["port"]), str(said["token"])
    except (OSError, ValueError, KeyError, TypeError):
        return None, new
    good = said.get("of") == own and TOKEN.fullmatch(token) and 1 <= port <= 65535
    return (port, token) if good else (None, new)


def _keep(desk: Desk, port: int, token: str) -> None:
    """Keep the address for the next time, for its owner alone to read."""
    if desk.first:
        return
    path = desk.versions.folder / ADDRESS
    with suppress(OSError):  # without it the next address is another
        path.unlink(missing_ok=True)
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            json.dump({"port": port, "token": token, "of": _identity(file.fileno())}, file)


def _identity(file: int) -> list[int]:
    """Return what a file is on this machine and nowhere else: its disk, its number there, and whose it is."""
    found = os.fstat(file)
    return [found.st_dev, found.st_ino, found.st_uid]


def desk_of(what: str | None) -> Desk:
    """Return the desk with a sheet, a job or a folder on it. Raises InputError where it is none of them."""
    if what is None:
        return _of_folder(Path.cwd())
    path = Path(what)
    if path.is_dir():
        return _of_folder(path, in_folder=True)
    if not path.is_file():
        raise InputError("there is no such file", file=what, hint="Check the name; `portgeo open` alone starts over")
    if path.suffix.lower() == ".toml":
        return Desk(path.parent, job=path.name)
    if path.suffix.lower() in SHEET_TYPES:
        return _of_sheet(path)
    raise InputError(
        "this is neither a section sheet nor a job", file=what, hint="Open a csv, xlsx or toml file, or a job's folder"
    )


def _of_folder(folder: Path, *, in_folder: bool = False) -> Desk:
    return Desk(folder, job=JOB) if (folder / JOB).is_file() else Desk(folder, in_folder=in_folder)


def _of_sheet(path: Path) -> Desk:
    """Return the desk with a sheet on it, or with the job beside it that names it as a stage of a port."""
    for name in (JOB, f"{path.stem}.toml"):
        try:
            content = job_content((path.parent / name).read_bytes())
        except OSError:
            continue
        if any(path.name in (stage.port, stage.runner) for stage in stages_of(content)):
            return Desk(path.parent, job=name)
    return Desk(path.parent, sheet=path.name)


@contextmanager
def listening(port: int | None, before: int | None = None) -> Iterator[socket.socket]:
    """Give a socket that listens on this machine alone. Raises InputError where the port is taken.

    port : that was asked for. before : that is tried first where none was.
    """
    for number in (port,) if port is not None else (before or USUAL_PORT, 0):
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":
            # A server that ended a moment ago does not hold the port; elsewhere this would let two share it.
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((HOST, number))
            found.listen(128)
        except OSError:
            found.close()
            continue
        with found:
            yield found
        return
    raise InputError(
        f"port {port} is taken, or may not be used", where="--port", hint="Leave --port out, or name another"
    )


class PageServer(uvicorn.Server):
    """A server that Ctrl-C ends quietly, on every system, whatever tabs are open."""

    def __init__(self, app: Guard) -> None:
        """app : from `make_app`."""
        self._page = app.page
        super().__init__(
            uvicorn.Config(
                app, log_level="error", access_log=False, lifespan="on", http="h11", ws="none", server_header=False,
                timeout_graceful_shutdown=PATIENCE,
            )
        )  # fmt: skip

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Tell the tabs that it is over, so that none is waited for."""
        await self._page.hub.stop()
        await super().shutdown(sockets)

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """End at the first Ctrl-C; at the second, at once."""

        def stop(number: int, _frame: object) -> None:
            self.force_exit = self.should_exit
            self.should_exit = True

        names = ("SIGINT", "SIGTERM", "SIGBREAK", "SIGHUP")
        stops = [getattr(signal, name) for name in names if hasattr(signal, name)]
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {each: signal.signal(each, stop) for each in stops}
        try:
            yield
        finally:
            for each, handler in before.items():
                signal.signal(each, handler)


def _show(address: str) -> None:
    """Open the browser, where there is a screen to open it on."""
    import webbrowser

    if sys.platform in ("win32", "darwin") or os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"):
        webbrowser.open(address)
