"""A real HTTP server that takes messages as a push service would, or fails in the ways those do."""

import contextlib
import json
import socket
import struct
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

WAIT_LIMIT_S = 60.0
"""Only a run that fails takes so long: the machine may be very busy."""


class Answer(Enum):
    """What the server does with a request it has read."""

    TAKE = "takes it and says so"
    REFUSE = "answers 500"
    HANG = "takes it and says nothing until it is let go"
    TRICKLE = "takes it and sends its answer byte by byte until it is let go"
    LOSE = "takes it and closes without an answer"
    WORDS_ONLY = "takes what has no attachment, answers 500 to the rest"
    RESET = "resets the connection"
    MOVED = "answers 302, to where any GET is answered with success"
    TOO_MANY = "answers 429"
    AWAY = "answers 503"


_TAKES_NOTHING = (Answer.REFUSE, Answer.RESET, Answer.MOVED, Answer.TOO_MANY, Answer.AWAY)


@dataclass
class Receiver:
    """One server on a port of its own; ``answer`` may be changed at any time."""

    answer: Answer = Answer.TAKE
    got: list[dict[str, Any]] = field(default_factory=list)
    """The JSON of every message it took."""
    retry_after: str = ""
    """What it says beside 429 and 503 of when to come back; empty: nothing."""
    requests: int = 0
    fetched: list[str] = field(default_factory=list)
    """The paths that were fetched without words."""

    def __post_init__(self) -> None:
        self._changed = threading.Condition()
        self._let_go = threading.Event()
        self._server = _Server(("127.0.0.1", 0), type("Handler", (_Handler,), {"receiver": self}))
        self.port: int = self._server.server_address[1]
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
        )
        self._thread.start()

    def url(self, path: str = "", *, login: str = "", query: str = "") -> str:
        """Give its address as a contact's configuration names it."""
        at = f"{login}@" if login else ""
        return f"json://{at}127.0.0.1:{self.port}/{path}" + (f"?{query}" if query else "")

    def let_go(self) -> None:
        """Answer those that hang, with success."""
        self._let_go.set()

    def wait_for(
        self, condition: Callable[["Receiver"], bool], what: str, limit_s: float = WAIT_LIMIT_S
    ) -> None:
        """Wait until a condition on what it got holds; fail after a while."""
        with self._changed:
            held = self._changed.wait_for(lambda: condition(self), limit_s)
        assert held, f"waited {limit_s} s for {what}; got {self.requests} requests: {self.got}"

    def poll(
        self, condition: Callable[["Receiver"], bool], what: str, limit_s: float = WAIT_LIMIT_S
    ) -> None:
        """Wait until something holds that happens elsewhere, looking often; fail after a while."""
        end_s = time.monotonic() + limit_s
        while not condition(self):
            assert time.monotonic() < end_s, f"waited {limit_s} s for {what}; got {self.got}"
            with self._changed:
                self._changed.wait(0.02)

    def wait_for_requests(self, count: int) -> None:
        """Wait until so many requests have arrived."""
        self.wait_for(lambda r: r.requests >= count, f"{count} requests")

    def titles(self) -> list[str]:
        """Give the titles of what it took, in order."""
        with self._changed:
            return [str(message["title"]) for message in self.got]

    def close(self) -> None:
        """End it; from then on its port refuses connections."""
        self._let_go.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(WAIT_LIMIT_S)

    def take(self, body: bytes) -> Answer:
        """Note a request; say what is to be done with it."""
        with self._changed:
            self.requests += 1
            if self.answer is Answer.WORDS_ONLY:
                message = json.loads(body)
                if message.get("attachments"):
                    return Answer.REFUSE
                self.got.append(message)
                self._changed.notify_all()
                return Answer.TAKE
            if self.answer not in _TAKES_NOTHING:
                self.got.append(json.loads(body))
            self._changed.notify_all()
            return self.answer

    def hold(self, limit_s: float = WAIT_LIMIT_S) -> bool:
        """Wait to be let go; return whether that has come."""
        return self._let_go.wait(limit_s)


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    request_queue_size = 128

    def handle_error(self, *_: object) -> None:
        """Say nothing: connections that break are what these tests are about."""


class _Handler(BaseHTTPRequestHandler):
    receiver: Receiver

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.close_connection = True
        answer = self.receiver.take(body)
        if answer is Answer.HANG:
            self.receiver.hold()
        if answer in (Answer.TAKE, Answer.HANG):
            self._say(200)
        elif answer is Answer.REFUSE:
            self._say(500)
        elif answer is Answer.TOO_MANY:
            self._say(429)
        elif answer is Answer.AWAY:
            self._say(503)
        elif answer is Answer.MOVED:
            self._say(302)
        elif answer is Answer.TRICKLE:
            self._trickle()
        elif answer is Answer.RESET:
            linger_no_time = struct.pack("ii", 1, 0)
            self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger_no_time)

    def do_GET(self) -> None:
        with self.receiver._changed:
            self.receiver.fetched.append(self.path)
        self._say(200)

    def _say(self, code: int) -> None:
        with contextlib.suppress(OSError):  # whoever asked may have gone
            self.send_response(code)
            if code == 302:
                self.send_header("Location", f"http://127.0.0.1:{self.receiver.port}/elsewhere")
            if code in (429, 503) and self.receiver.retry_after:
                self.send_header("Retry-After", self.receiver.retry_after)
            self.send_header("Content-Length", "0")
            self.end_headers()

    def _trickle(self) -> None:
        """Keep the connection busy: no pause is long enough for a read's time-out."""
        end_s = time.monotonic() + WAIT_LIMIT_S
        with contextlib.suppress(OSError):
            self.send_response(200)
            self.end_headers()
            while not self.receiver.hold(0.05) and time.monotonic() < end_s:
                self.wfile.write(b".")
                self.wfile.flush()

    def log_message(self, *_: object) -> None:
        """Keep the tests' output clean."""
