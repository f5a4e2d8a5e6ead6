"""The server of the page: routes under a token, for one person on this machine.

Requests come in, checked for where they come from and how large they are; JSON, the page and its parts go out.
"""

from __future__ import annotations

import asyncio
import hmac
import json
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import Message, Receive, Scope, Send

from portgeo.app.live.asking import long_answer
from portgeo.app.live.desk import Changed, Desk, NotNewest
from portgeo.app.live.folder import OUT, given_out, taken_in
from portgeo.app.live.hub import Hub
from portgeo.app.live.photographs import LARGEST, PHOTOGRAPHS, picture_path, waiting_place
from portgeo.core.errors import InputError, PortgeoError
from portgeo.present.page.live import ASSETS, asset, live_page
from portgeo.results.figures import plain

BODY = 4_000_000  # bytes of a request in JSON: a paste of thousands of rows
ALIVE = 15.0  # seconds between two signs of life to a tab: a proxy or a phone that sleeps closes silent ones
TYPES = {"js": "text/javascript", "css": "text/css"}
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# Of a report that is looked at: its own script and style run, apart from this page, and nothing is asked of anybody.
REPORT_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src 'self' data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'; sandbox allow-scripts allow-popups allow-downloads allow-modals"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class Guard:
    """Lets through what this person's own browser asks of this page, and nothing else."""

    def __init__(self, page: Page, token: str, port: int) -> None:
        self.page, self.app, self.prefix = page, page.app(), f"/{token}/"
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no socket is spoken here

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                extra = [(n.encode(), v.encode()) for n, v in HEADERS.items() if n.encode() not in given]
                message["headers"] = [*message["headers"], *extra]
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await Response(status_code=refusal)(scope, receive, with_headers)
            return
        inner = dict(scope) | {"path": "/" + scope["path"].removeprefix(self.prefix), "raw_path": None}
        await self.app(inner, receive, with_headers)

    def _refusal(self, scope: Scope) -> int | None:
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        if len(headers.get("host", [])) != 1 or headers["host"][0] not in self.hosts:
            return 403
        path = scope["path"].encode("utf-8", "replace")
        if not hmac.compare_digest(path[: len(self.prefix)], self.prefix.encode()):
            return 404
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405
        site, mode = headers.get("sec-fetch-site", ["none"]), headers.get("sec-fetch-mode", [""])
        opened = scope["method"] != "POST" and mode == ["navigate"]  # a link from a report that was opened
        if site not in (["none"], ["same-origin"]) and not opened:
            return 403
        origins = {f"http://{host}" for host in self.hosts}
        if any(origin not in origins for origin in headers.get("origin", [])):
            return 403
        return None


def make_app(desk: Desk, token: str, port: int) -> Guard:
    """Return the server's application. token : the first part of every address. port : that it listens on."""
    return Guard(Page(desk), token, port)


class Page:
    """What the page asks for."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.hub = desk, Hub(desk)

    def app(self) -> Starlette:
        """Return the routes."""

        @asynccontextmanager
        async def running(_: Starlette) -> AsyncIterator[None]:
            self.hub.start()
            yield

        get, post = ["GET"], ["POST"]
        routes = [
            Route("/", self.page, methods=get),
            Route("/assets/{name}", self.asset, methods=get),
            Route("/state", self.state, methods=get),
            Route("/figures", self.figures, methods=get),
            Route("/events", self.events, methods=get),
            Route("/versions", self.versions, methods=get),
            Route("/answers", self.answers, methods=get),
            Route("/edit", self.edit, methods=post),
            Route("/undo", self.undo, methods=post),
            Route("/redo", self.redo, methods=post),
            Route("/restore", self.restore, methods=post),
            Route("/disk", self.disk, methods=post),
            Route("/upload", self.upload, methods=post),
            Route("/task", self.task, methods=post),
            Route("/task/{name}/cancel", self.cancel, methods=post),
            Route("/out/{name:path}", self.out, methods=get),
            Route("/traced/{name}/{picture}", self.traced, methods=get),
        ]
        return Starlette(routes=routes, lifespan=running)

    # The page and its parts

    async def page(self, _: Request) -> Response:
        return Response(live_page(), media_type="text/html")

    async def asset(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in ASSETS:
            return Response(status_code=404)
        return Response(asset(name), media_type=TYPES[name.rpartition(".")[2]])

    # What is open

    async def state(self, _: Request) -> Response:
        return JSONResponse(await asyncio.to_thread(self.desk.state))

    async def figures(self, request: Request) -> Response:
        self.hub.ask(request.query_params.get("stage"), request.query_params.get("part", "port"))
        return JSONResponse({})

    async def versions(self, _: Request) -> Response:
        return JSONResponse(await asyncio.to_thread(self.desk.listed))

    async def answers(self, _: Request) -> Response:
        """Give the last answer of each kind, with what has changed since it was made."""
        kept = [] if self.desk.first else await asyncio.to_thread(self.hub.kept.all)
        return Response(_text(kept), media_type="application/json")

    async def events(self, _: Request) -> Response:
        tab = self.hub.listen()

        async def told() -> AsyncIterator[str]:
            try:
                while True:
                    try:
                        event = await asyncio.wait_for(tab.get(), ALIVE)
                    except TimeoutError:
                        yield ": alive\n\n"
                        continue
                    if event is None:
                        return  # it is over
                    yield f"data: {_text(event)}\n\n"
            finally:
                self.hub.leave(tab)

        return StreamingResponse(told(), media_type="text/event-stream")

    # What is typed

    async def edit(self, request: Request) -> Response:
        return await self._changing(request, lambda said: self.desk.edit(_version(said), _list(said, "edits")))

    async def undo(self, request: Request) -> Response:
        return await self._changing(request, lambda said: self.desk.undo(_version(said)))

    async def redo(self, request: Request) -> Response:
        return await self._changing(request, lambda said: self.desk.redo(_version(said)))

    async def restore(self, request: Request) -> Response:
        return await self._changing(request, lambda said: self.desk.restore(_version(said), int(said["to"])))

    async def disk(self, request: Request) -> Response:
        def settle(said: Mapping[str, Any]) -> Changed:
            if said.get("keep") not in ("mine", "disk"):
                raise InputError("the answer is mine or disk", hint="Load the page again")
            return self.desk.settle(str(said["keep"]))

        return await self._changing(request, settle)

    # Files and long answers

    async def upload(self, request: Request) -> Response:
        """Take a file into the job's folder: a scan, an outline, a sheet; never over another.

        With a tracing named it is a photograph, which waits aside to be traced.
        """
        name, tracing = (request.query_params.get(key) for key in ("name", "trace"))
        try:
            if tracing is None:
                name = await taken_in(self.desk.folder, name or "", request.stream())
            else:
                place = waiting_place(self.desk.folder, tracing)
                name = await taken_in(place, name or "", request.stream(), PHOTOGRAPHS, LARGEST)
        except PortgeoError as refusal:
            return _refused(refusal)
        return JSONResponse({"file": name})

    async def task(self, request: Request) -> Response:
        try:
            asked = await asyncio.to_thread(long_answer, self.desk, await _json(request))
        except PortgeoError as refusal:
            return _refused(refusal)
        name = await asyncio.to_thread(self.hub.tasks.start, asked)
        self.hub.spawn(self.hub.tasks.follow(name))
        return JSONResponse({"task": name})

    async def cancel(self, request: Request) -> Response:
        there = self.hub.tasks.cancel(request.path_params["name"])
        return JSONResponse({}, status_code=200 if there else 404)

    async def out(self, request: Request) -> Response:
        """Give a file out that a long answer made."""
        path = given_out(self.desk.folder, request.path_params["name"])
        if path is None:
            return Response(status_code=404)
        headers = {"content-security-policy": REPORT_POLICY} if path.suffix == ".html" else {}
        return FileResponse(path, headers=headers, media_type=OUT[path.suffix.lower()])

    async def traced(self, request: Request) -> Response:
        """Give a picture of what was traced out."""
        path = picture_path(self.desk.folder, request.path_params["name"], request.path_params["picture"])
        return Response(status_code=404) if path is None else FileResponse(path, media_type="image/jpeg")

    async def _changing(self, request: Request, change: Callable[[Mapping[str, Any]], Changed]) -> Response:
        """Make a change and answer with what it came to; the figures follow."""
        try:
            said = await _json(request)
            changed = await asyncio.to_thread(change, said)
        except NotNewest:
            return await self._not_newest()
        except PortgeoError as refusal:
            return _refused(refusal)
        except (KeyError, TypeError, ValueError):
            return _refused(InputError("the request cannot be read", hint="Load the page again"))
        self.hub.ask_of(changed.files)
        self.hub.tell({"type": "versions", "version": changed.version})
        state = await asyncio.to_thread(self.desk.state)
        return JSONResponse(
            {
                "version": changed.version,
                "changed": {
                    "tables": {name: table for name, table in state["tables"].items() if name in changed.files},
                    "files": list(state["tables"]),
                    **{key: state[key] for key in ("title", "units", "job", "stages", "forms", "flows", "first")},
                },
                "can_undo": state["can_undo"],
                "can_redo": state["can_redo"],
            }
        )

    async def _not_newest(self) -> Response:
        state = await asyncio.to_thread(self.desk.state)
        if state["on_disk"]:
            what = f"{', '.join(state['on_disk'])} was changed by something else"
            hint = "Say which is to stay: yours, as typed here, or the one on the disk"
        else:
            what = "this was typed into an older version: another tab was quicker"
            hint = "Look at what it says now, and type it again where it is still wanted"
        return JSONResponse({"what": what, "hint": hint, "state": state}, status_code=409)


def _text(event: Any) -> str:
    try:
        return json.dumps(event, ensure_ascii=False, allow_nan=False)
    except ValueError:  # a figure that is not known
        return json.dumps(plain(event), ensure_ascii=False)


async def _json(request: Request, limit: int = BODY) -> Mapping[str, Any]:
    """Return the JSON object in a request's body. Raises InputError where it is none, or too large."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise InputError("the request is not JSON", hint="Load the page again")
    data = bytearray()
    async for chunk in request.stream():
        data += chunk
        if len(data) > limit:
            raise InputError("this is too much at a time", hint="Paste less")
    try:
        said = json.loads(bytes(data))
    except (ValueError, RecursionError):
        raise InputError("the request is not JSON", hint="Load the page again") from None
    if not isinstance(said, dict):
        raise InputError("the request says nothing", hint="Load the page again")
    return said


def _version(said: Mapping[str, Any]) -> int:
    version = said["version"]
    if not isinstance(version, int):
        raise InputError("the request names no version", hint="Load the page again")
    return version


def _list(said: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    found = said[key]
    if not isinstance(found, list) or any(not isinstance(each, dict) for each in found):
        raise InputError("the request cannot be read", hint="Load the page again")
    return found


def _refused(refusal: PortgeoError) -> Response:
    return JSONResponse({"what": refusal.what, "hint": refusal.hint, "where": refusal.where}, status_code=400)
