"""What may reach the desk: only this machine's own page, in small bodies, with a strict policy on what it may load.

An ASGI layer outside all routes. A request is refused when its ``Host`` is not this loopback address (a foreign name
that resolves here), when its ``Origin`` is another page, when a changing request lacks an origin and our header, or
when the body is larger than the limit, however its length was declared.

Public: Guard, LIMIT, POLICY.
"""

from __future__ import annotations

import contextlib
from typing import Final

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LIMIT: Final = 21 * 1024 * 1024
"""Largest body in bytes: a score of 20 MB, the most the reader takes, and a little."""
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS: Final = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


class TooLarge(Exception):
    """The body went over the limit while it was read."""


class Guard:
    """Wraps the application.."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str] = frozenset({"127.0.0.1", "localhost", "[::1]"})) -> None:
        self.app, self.hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        status, sentence = self.refusal(scope)
        started = refused = False

        async def send_guarded(message: Message) -> None:
            nonlocal started
            if refused and started:  # the answer has been given: what the application makes of its fault is not sent
                return
            if message["type"] == "http.response.start":
                started = True
                own = {name for name, _ in HEADERS}
                kept = [(name, value) for name, value in message.get("headers", []) if name.lower() not in own]
                message = {**message, "headers": [*kept, *HEADERS]}
            await send(message)

        if status:
            await PlainTextResponse(sentence, status, {"connection": "close"})(scope, receive, send_guarded)
            return
        taken = 0

        async def receive_counted() -> Message:
            nonlocal taken, refused
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > LIMIT:
                if not started:
                    await PlainTextResponse(TOO_LARGE, 413, {"connection": "close"})(scope, receive, send_guarded)
                refused = True
                raise TooLarge
            return message

        with contextlib.suppress(TooLarge):
            await self.app(scope, receive_counted, send_guarded)

    def refusal(self, scope: Scope) -> tuple[int, str]:
        """Status and sentence where a request is refused before it is read; (0, "") where it may pass."""
        headers: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.lower(), []).append(value)
        port = (scope.get("server") or ("", 0))[1]
        allowed = {f"{host}:{port}" for host in self.hosts} | (set(self.hosts) if port == 80 else set())
        host = [value.decode("latin-1") for value in headers.get(b"host", [])]
        if len(host) != 1 or host[0].lower() not in allowed:
            return 400, "This desk answers only at its own address on this machine."
        origins = [value.decode("latin-1") for value in headers.get(b"origin", [])]
        if any(origin != f"http://{host[0]}" for origin in origins):
            return 403, "This desk answers only its own page."
        if headers.get(b"sec-fetch-site", [b"same-origin"])[0] not in (b"same-origin", b"none"):
            return 403, "This desk answers only its own page."
        if scope["method"] not in ("GET", "HEAD") and (not origins or b"x-gracewright" not in headers):
            return 403, "This desk answers only its own page."
        length = headers.get(b"content-length", [b"0"])[0]
        if not length.isdigit() or int(length) > LIMIT:
            return 413, TOO_LARGE
        return 0, ""


TOO_LARGE: Final = "That file is too large for the desk, which takes up to 20 MB."
