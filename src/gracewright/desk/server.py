"""The desk's server: routes only; what they answer is made in the modules beside.

Everything lies below a key in the address (``http://127.0.0.1:PORT/KEY/``), known only to this user; the guard refuses
the rest. Work is done in threads, one change at a time.

Public: make_app, serve.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, Final

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from gracewright.desk.answers import Desk
from gracewright.desk.guard import Guard
from gracewright.desk.session import Stale
from gracewright.errors import BadInput, GracewrightError
from gracewright.sheet.fonts import text_fonts, web_fonts

STATIC: Final = Path(__file__).with_name("static")
Answer = Callable[[Request], Awaitable[Response]]


def make_app(desk: Desk, key: str) -> ASGIApp:
    """The application, to be served or tested. ``key`` is the first part of every path."""
    routes = [
        Route("/", page),
        Route("/api/state", asked(desk.state)),
        Route("/api/card", asked(desk.card)),
        Route("/api/remarks", asked(desk.remarks)),
        Route("/api/played", asked(desk.played)),
        Route("/api/system", asked(desk.system)),
        Route("/api/hear", asked(desk.hear)),
        Route("/api/sound", asked(desk.sound)),
        Route("/api/take/{name}", asked(desk.take)),
        Route("/api/recent", asked(desk.recent)),
        Route("/api/turn", told(desk.turn), methods=["POST"]),
        Route("/api/decide", told(desk.decide), methods=["POST"]),
        Route("/api/undo", told(desk.undo), methods=["POST"]),
        Route("/api/redo", told(desk.redo), methods=["POST"]),
        Route("/api/resume", told(desk.resume), methods=["POST"]),
        Route("/faces/{name}", face),
        Route("/api/bring", bringing(desk), methods=["POST"]),
        Mount("/static", StaticFiles(directory=STATIC)),
    ]
    handlers: dict[Any, Any] = {
        Stale: lambda _, fault: sentence(fault, 409),
        BadInput: lambda _, fault: sentence(fault, 422),
        GracewrightError: lambda _, fault: sentence(fault, 500),
        HTTPException: lambda _, fault: PlainTextResponse("There is nothing here.", fault.status_code),
    }
    inner = Starlette(routes=routes, exception_handlers=handlers)
    outer = Starlette(
        routes=[
            Route(f"/{key}", lambda _: RedirectResponse(f"/{key}/")),
            Route("/favicon.ico", lambda _: Response(status_code=204)),
            Mount(f"/{key}", inner),
        ],
        exception_handlers=handlers,
    )
    return Guard(outer)


async def page(_: Request) -> Response:
    return Response((STATIC / "index.html").read_bytes(), media_type="text/html; charset=utf-8")


async def face(request: Request) -> Response:
    """A font of the engraved music or of the texts."""
    name = request.path_params["name"]
    found = text_fonts().get(name) or web_fonts().get(name)
    if found is None:
        raise HTTPException(404)
    kind = "font/ttf" if name in text_fonts() else "font/woff2"
    return Response(found, media_type=kind, headers={"cache-control": "max-age=86400"})


def sentence(fault: Exception, status: int) -> Response:
    return JSONResponse({"fault": str(fault)}, status)


def asked(answer: Callable[[dict[str, str]], Response]) -> Answer:
    """A route that reads: the query becomes a dict of strings."""

    async def route(request: Request) -> Response:
        return await run_in_threadpool(answer, {**dict(request.query_params), **request.path_params})

    return route


def told(answer: Callable[[dict[str, Any]], Response]) -> Answer:
    """A route that changes: the body is a JSON object."""

    async def route(request: Request) -> Response:
        try:
            body = await request.json()
        except (ValueError, RecursionError):
            body = None
        if not isinstance(body, dict):
            raise BadInput("the page sent something that is not JSON")
        return await run_in_threadpool(answer, body)

    return route


def bringing(desk: Desk) -> Answer:
    """A score as the raw body, its name in the query."""

    async def route(request: Request) -> Response:
        name = Path(request.query_params.get("name", "").replace("\\", "/")).name
        data = await request.body()
        return await run_in_threadpool(desk.bring, name, data, request.query_params.get("width", ""))

    return route


def listening(port: int, wanted: bool) -> socket.socket:
    """A loopback socket. A port asked for on purpose must be free; a remembered one may be replaced by another."""
    for attempt in dict.fromkeys((port, port if wanted else 0)):
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            bound.bind(("127.0.0.1", attempt))
            return bound
        except OSError:
            bound.close()
    raise BadInput(f"port {port} is in use", remedy="choose another with --port, or leave it out")


def serve(desk: Desk, *, port: int = 0, said: Callable[[str], None] = print) -> None:
    """Serve until interrupted. ``said`` gets the address once the server listens."""
    remembered, key = desk.keeping.address()
    bound = listening(port or remembered, bool(port))
    actual = bound.getsockname()[1]
    desk.keeping.remember(port=actual)
    config = uvicorn.Config(make_app(desk, key), log_level="warning", access_log=False, lifespan="off",
                            server_header=False, date_header=False, timeout_graceful_shutdown=2)  # fmt: skip
    server = uvicorn.Server(config)
    threading.Thread(target=desk.warm, daemon=True).start()
    said(f"http://127.0.0.1:{actual}/{key}/")
    server.run(sockets=[bound])
    desk.close()
