"""A small reverse proxy of a host that has more than the pages on it. For tests."""

import contextlib
import http.client
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Self

HOP_BY_HOP = {"connection", "keep-alive", "transfer-encoding"}
"""RFC 9110, 7.6.1: between two neighbours alone."""
LONGEST_S = 30.0


class PathProxy:
    """Passes what comes below a path on to the pages, streams too; nothing else is here.

    ``behind`` is the port of the pages; it may be set once they are served.
    """

    def __init__(self, below: str) -> None:
        self.below = below
        self.behind: int | None = None
        self._server = _Server(("127.0.0.1", 0), type("Handler", (_Handler,), {"proxy": self}))
        self.port: int = self._server.server_address[1]
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
        )

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False

    def handle_error(self, *_: object) -> None:
        """Say nothing: a browser that has gone is no fault."""


class _Handler(BaseHTTPRequestHandler):
    proxy: PathProxy

    def do_GET(self) -> None:
        path = self.path.partition("?")[0]
        if path != self.proxy.below and not path.startswith(f"{self.proxy.below}/"):
            self.send_error(404, "another program's")
            return
        assert self.proxy.behind is not None, "set once the pages are served"
        pages = http.client.HTTPConnection("127.0.0.1", self.proxy.behind, timeout=LONGEST_S)
        with contextlib.closing(pages), contextlib.suppress(OSError):
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            pages.request(self.command, self.path, body, dict(self.headers))
            answer = pages.getresponse()
            self.send_response_only(answer.status)
            for name, value in answer.getheaders():
                if name.lower() not in HOP_BY_HOP:
                    self.send_header(name, value)
            self.end_headers()
            while part := answer.read1():
                self.wfile.write(part)

    do_POST = do_GET  # noqa: N815 (the name that the server calls)

    def log_message(self, *_: object) -> None:
        """Keep the tests' output clean."""
