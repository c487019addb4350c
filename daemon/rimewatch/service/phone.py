"""A stand-in for a phone, for the demo: takes messages over real HTTP on loopback."""

import json
import threading
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Self

LARGEST_BYTES = 1_000_000

Ring = Callable[[str, str, str], None]
"""Told each message: whose phone, its title and its body."""


class Phone:
    """Listens on a free port and hands on what it is sent.

    Args:
        ring: Told each message, from a thread of the phone's.
    """

    def __init__(self, ring: Ring) -> None:
        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                length = min(int(self.headers.get("Content-Length", 0)), LARGEST_BYTES)
                message = json.loads(self.rfile.read(length))
                ring(self.path.strip("/"), message.get("title", ""), message.get("message", ""))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Say nothing: the message itself is shown."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True
        )

    def url(self, contact: str) -> str:
        """Return the Apprise URL that reaches it, for a contact."""
        return f"json://127.0.0.1:{self._server.server_address[1]}/{contact}"

    def __enter__(self) -> Self:
        """Start listening."""
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()
