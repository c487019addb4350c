"""Serves the pages in a thread of their own; the service lives without them.

The socket is bound by whoever starts the server, so a port that is taken is an error with
its reason and not a thread that ends in silence. Signals stay with the main thread.
"""

import socket
import threading
from functools import partial
from typing import Final

import anyio.to_thread
import uvicorn
from starlette.types import ASGIApp

from rimewatch.web.connections import BoundedProtocol, Crowd

STARTS_WITHIN_S: Final = 10.0
ENDS_WITHIN_S: Final = 5.0
KEEPS_OPEN_S: Final = 75
"""How long an idle connection stays open: longer than the minute after which proxies usually let
it go (common practice, no source). Whoever closes first, the other's next request is lost."""
MOST_WAITING: Final = 32
"""How many connections the system holds that are not taken yet, and how many are taken at a time:
taken in hundreds, they would have all handles before the first of them could be closed."""
MOST_READERS: Final = 12
"""Threads that read for the pages at once; each may have the journal's files open."""
_LOOK_S: Final = 0.02


class PageServerError(ValueError):
    """The pages cannot be served; the text says why."""


def bound(host: str, port: int) -> socket.socket:
    """Return a socket that listens on an address.

    Raises:
        PageServerError: If it cannot be bound.
    """
    try:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        listening = socket.create_server((host, port), family=family, backlog=MOST_WAITING)
        # Those it accepts inherit this. Without it an answer's second part waits for the
        # other side's delayed acknowledgement of the first: 40 ms a page.
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    except OSError as error:
        raise PageServerError(
            f"the pages cannot be served on {host}:{port} ({error.strerror or error}); "
            "choose another [web] listen, or end what has the port"
        ) from None
    return listening


class _Server(uvicorn.Server):
    """The server, with few threads for what waits."""

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        anyio.to_thread.current_default_thread_limiter().total_tokens = MOST_READERS
        await super().startup(sockets)


class PageServer:
    """Serves one application on one address.

    Args:
        app: The application.
        host: Where to listen, such as ``127.0.0.1``.
        port: 0 takes any that is free; see :attr:`port`.
        crowd: Bounds its connections; None: as a shop's are.
    """

    def __init__(self, app: ASGIApp, host: str, port: int, crowd: Crowd | None = None) -> None:
        self._host = host
        self.port = port
        crowd = Crowd() if crowd is None else crowd
        self._server = _Server(
            uvicorn.Config(
                app,
                access_log=False,
                backlog=MOST_WAITING,
                http=partial(BoundedProtocol, crowd=crowd),  # type: ignore[arg-type]
                lifespan="off",
                log_config=None,
                loop="asyncio",
                proxy_headers=False,
                server_header=False,
                timeout_keep_alive=KEEPS_OPEN_S,
                timeout_graceful_shutdown=round(ENDS_WITHIN_S / 2),
                ws="none",
            )
        )
        self._socket: socket.socket | None = None
        self._thread = threading.Thread(target=self._run, name="rimewatch-pages", daemon=True)

    @property
    def alive(self) -> bool:
        """Whether the pages are being served."""
        return self._thread.is_alive() and self._server.started

    def start(self) -> None:
        """Bind the address and serve; returns once requests are answered.

        Raises:
            PageServerError: If the address cannot be bound, or nothing is served in time.
        """
        self._socket = bound(self._host, self.port)
        self.port = self._socket.getsockname()[1]
        self._thread.start()
        waited_s = 0.0
        while not self._server.started:
            self._thread.join(_LOOK_S)
            waited_s += _LOOK_S
            if not self._thread.is_alive() or waited_s > STARTS_WITHIN_S:
                self.stop()
                raise PageServerError(
                    f"the pages on {self._host}:{self.port} did not start within "
                    f"{STARTS_WITHIN_S:.0f} s"
                )

    def stop(self) -> bool:
        """End it; return whether its thread has ended. May be called again, or too early."""
        self._server.should_exit = True
        if self._thread.ident is not None:
            self._thread.join(ENDS_WITHIN_S)
        if self._socket is not None:
            self._socket.close()
        return not self._thread.is_alive()

    def _run(self) -> None:
        assert self._socket is not None, "start() binds before it serves"
        self._server.run(sockets=[self._socket])
