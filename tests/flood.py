"""Floods a page server from one thread with connections that never finish. For tests.

What a device on the shop's network can do without a login, and with one: headers or bodies sent a
byte at a time, answers that nobody reads, live streams, sign-ins. A connection that the other side
closes is opened anew at once.
"""

import errno
import select
import socket
import threading
from dataclasses import dataclass, field
from enum import StrEnum
from types import TracebackType
from typing import Final, Self

ROUND_S: Final = 0.2
PATIENCE_S: Final = 60.0
_SMALL_BUFFER: Final = 2048


class Flood(StrEnum):
    """What each connection does."""

    SLOW_HEADERS = "headers a byte at a time"
    SLOW_BODIES = "bodies a byte at a time"
    SLOW_READERS = "answers that nobody reads"
    STREAMS = "live streams"
    SIGN_INS = "sign-ins with a wrong password"


def _first_bytes(kind: Flood, cookie: str) -> bytes:
    if kind is Flood.SLOW_HEADERS:
        return b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: "
    if kind is Flood.SLOW_BODIES:
        return (
            b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 19000\r\n"
            b"Content-Type: application/x-www-form-urlencoded\r\n\r\nname="
        )
    if kind is Flood.SLOW_READERS:
        return b"GET /static/style.css HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n" * 50
    if kind is Flood.STREAMS:
        return (
            f"GET /now/stream HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: rimewatch={cookie}\r\n\r\n"
        ).encode()
    body = b"name=Ana&password=wrong+wrong+wrong"
    return (
        b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        b"Content-Type: application/x-www-form-urlencoded\r\n"
        b"Content-Length: " + str(len(body)).encode() + b"\r\nConnection: close\r\n\r\n" + body
    )


@dataclass
class Flooder:
    """Keeps so many connections of one kind open, between ``__enter__`` and ``__exit__``."""

    port: int
    kind: Flood
    count: int
    cookie: str = ""
    opened: int = 0
    """How many connections were ever opened."""
    _sockets: list[socket.socket] = field(default_factory=list)
    _full: threading.Event = field(default_factory=threading.Event)
    _ends: threading.Event = field(default_factory=threading.Event)

    def __enter__(self) -> Self:
        self._thread = threading.Thread(target=self._run, name="flood")
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._ends.set()
        self._thread.join(PATIENCE_S)
        for one in self._sockets:
            one.close()

    def wait_until_full(self) -> None:
        """Wait until as many connections were opened as there are to be."""
        assert self._full.wait(PATIENCE_S), f"only {self.opened} connections were opened"

    def _run(self) -> None:
        first = _first_bytes(self.kind, self.cookie)
        while not self._ends.wait(ROUND_S):
            self._sockets = [one for one in self._sockets if self._is_open(one)]
            while len(self._sockets) < self.count and not self._ends.is_set():
                try:
                    self._sockets.append(self._opened(first))
                except OSError:
                    break  # the other side's queue is full: next round
                self.opened += 1
            if self.opened >= self.count:
                self._full.set()

    def _opened(self, first: bytes) -> socket.socket:
        one = socket.socket()
        try:
            if self.kind is Flood.SLOW_READERS:
                one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _SMALL_BUFFER)
            one.settimeout(ROUND_S)
            one.connect(("127.0.0.1", self.port))
            one.sendall(first)
            one.setblocking(False)
        except OSError:
            one.close()
            raise
        return one

    def _is_open(self, one: socket.socket) -> bool:
        """Return whether a connection goes on, with its next byte sent where it has one."""
        try:
            if self.kind in (Flood.SLOW_HEADERS, Flood.SLOW_BODIES):
                one.send(b"x")
            if self.kind is not Flood.SLOW_READERS and one.recv(65536) == b"":
                one.close()
                return False
            if self.kind is Flood.SLOW_READERS and _is_hung_up(one):
                one.close()
                return False
        except OSError as error:
            if error.errno in (errno.EAGAIN, errno.EWOULDBLOCK):
                return True
            one.close()
            return False
        return True


def _is_hung_up(one: socket.socket) -> bool:
    looker = select.poll()
    looker.register(one, select.POLLHUP | select.POLLERR)
    return bool(looker.poll(0))
