"""The service's pages as one application: each part brings its routes.

A part is a module with a function that returns routes; a further part is added where
:func:`make_app` is called. What every answer has in common (no caching, nothing loaded
from elsewhere, no frame around it) is said here, once.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from starlette.applications import Starlette
from starlette.datastructures import MutableHeaders
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADERS: Final = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "Referrer-Policy": "no-referrer",  # an address may hold a link's code
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex, nofollow",
}
"""Sent with every answer, unless a part has set its own."""


def make_app(
    routes: Sequence[BaseRoute],
    handlers: Mapping[Any, Callable[[Request, Exception], Any]] | None = None,
    path: str = "",
) -> Starlette:
    """Return the application of some routes, in their order.

    Args:
        routes: What the parts bring; each part's own first.
        handlers: Who answers which exception, besides the usual; None: nobody does.
        path: Below which path a proxy serves the pages, such as ``/rimewatch``; empty: at
            the root.
    """
    return Starlette(
        routes=routes,
        middleware=[Middleware(_Below, path=path), Middleware(_Headers)],
        exception_handlers={404: _nothing_here, 500: _our_fault, **(handlers or {})},
    )


class _Headers:
    """Adds the headers that every answer has; streams pass through untouched."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self._app(scope, receive, send_with_headers)


class _Below:
    """Serves the pages below a path, whether the proxy passes it on or takes it away.

    Inside, paths are always those at the root; on the way out, redirections get the path.
    """

    def __init__(self, app: ASGIApp, path: str) -> None:
        self._app = app
        self._path = path

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if not self._path or scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_below(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                if headers.get("location", "").startswith("/"):
                    headers["location"] = self._path + headers["location"]
            await send(message)

        asked: str = scope["path"]
        if asked == self._path or asked.startswith(f"{self._path}/"):
            scope = {**scope, "path": asked.removeprefix(self._path) or "/"}
        await self._app(scope, receive, send_below)


def _nothing_here(_: Request, __: Exception) -> Response:
    return PlainTextResponse("There is nothing here.\n", status_code=404)


def _our_fault(_: Request, __: Exception) -> Response:
    return PlainTextResponse(
        "Something went wrong in the service; nothing was changed.\n", status_code=500
    )
