"""What one connection may hold of the pages: half-sent, unread, too many."""

import resource
import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from rimewatch.web.connections import Crowd, _has_spare_handles
from rimewatch.web.server import PageServer

DEADLINE_S = 0.5
PATIENCE_S = 30.0
MOST = 3
GET = b"GET /small HTTP/1.1\r\nHost: here\r\n\r\n"


async def small(request: Request) -> Response:
    """Answer in one word, once the request is whole."""
    await request.body()
    return PlainTextResponse("here")


async def large(_: Request) -> Response:
    """Answer with more than any buffer holds."""
    return PlainTextResponse("x" * 20_000_000)


async def stream(_: Request) -> Response:
    """Answer with a word, and then with nothing until the end of the test."""

    async def words() -> "Iterator[str]":  # type: ignore[misc]  # asynchronous
        import asyncio

        yield "begun"
        await asyncio.Event().wait()

    return StreamingResponse(words())  # type: ignore[arg-type]


@pytest.fixture
def port() -> Iterator[int]:
    """Return the port of a server that takes three connections and is quickly out of patience."""
    routes = [
        Route("/small", small, methods=["GET", "POST"]),
        Route("/large", large),
        Route("/stream", stream),
    ]
    server = PageServer(Starlette(routes=routes), "127.0.0.1", 0, Crowd(MOST, DEADLINE_S))
    server.start()
    yield server.port
    assert server.stop()


@pytest.fixture
def visits(port: int) -> Iterator["Visits"]:
    """Open connections that are closed in the end."""
    with ExitStack() as stack:
        yield Visits(port, stack)


class Visits:
    """Opens connections."""

    def __init__(self, port: int, stack: ExitStack) -> None:
        self._port = port
        self._stack = stack

    def begin(self, sent: bytes) -> socket.socket:
        """Open one and send something."""
        one = self._stack.enter_context(
            socket.create_connection(("127.0.0.1", self._port), PATIENCE_S)
        )
        one.sendall(sent)
        return one

    def answered(self, sent: bytes) -> socket.socket:
        """Open one, and have an answer begun."""
        one = self.begin(sent)
        assert is_answered(one)
        return one


def is_answered(one: socket.socket) -> bool:
    """Return whether an answer comes, read to the word that it ends or begins with."""
    got = b""
    while not got.endswith((b"here", b"begun\r\n")):
        piece = one.recv(4096)
        if not piece:
            return False
        got += piece
    return got.startswith(b"HTTP/1.1 200")


def is_closed(one: socket.socket) -> bool:
    """Return whether the other side has closed it, at the latest in the end."""
    try:
        while one.recv(1 << 20):
            pass
    except ConnectionResetError:
        pass
    except TimeoutError:
        return False
    return True


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET / HT",
        b"GET / HTTP/1.1\r\nHost: here\r\n",
        b"POST /small HTTP/1.1\r\nHost: here\r\nContent-Length: 100\r\n\r\nhalf",
        GET + b"GET /small HT",
    ],
)
def test_half_sent_request_is_closed_at_its_deadline(visits: Visits, sent: bytes) -> None:
    """Nothing sent, half a header, half a body, half a second request."""
    assert is_closed(visits.begin(sent))


def test_bytes_one_by_one_are_no_reason_to_wait(visits: Visits) -> None:
    """The deadline is the request's, not the next byte's."""
    one = visits.begin(b"GET / HTTP/1.1\r\nX: ")
    pause = threading.Event()
    for _ in range(200):
        pause.wait(0.05)
        try:
            one.sendall(b"x")
        except OSError:
            return
    raise AssertionError("it was never closed")


def test_answer_that_nobody_reads_is_given_up(port: int) -> None:
    """Twenty megabytes of which nothing is read; the other side is free for others."""
    one = socket.socket()
    with one:
        one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        one.settimeout(PATIENCE_S)
        one.connect(("127.0.0.1", port))
        one.sendall(b"GET /large HTTP/1.1\r\nHost: here\r\n\r\n")
        threading.Event().wait(DEADLINE_S + 2.5)
        assert is_closed(one)


def test_idle_connection_stays_and_is_used_again(visits: Visits) -> None:
    """A browser's, between two pages, beyond the deadline of a request."""
    one = visits.answered(GET)
    threading.Event().wait(DEADLINE_S + 1.5)
    one.sendall(GET)
    assert is_answered(one)


def test_of_too_many_the_oldest_half_sent_goes_and_streams_stay(visits: Visits) -> None:
    """Whoever has asked for something in full goes before whoever has not."""
    live = visits.answered(b"GET /stream HTTP/1.1\r\nHost: here\r\n\r\n")
    idle = visits.answered(GET)
    first = visits.begin(b"GET / HT")
    visits.answered(GET)

    assert is_closed(first)
    idle.sendall(GET)
    assert is_answered(idle)
    live.settimeout(0.2)
    assert not is_closed(live)


def test_some_handles_are_never_a_connections() -> None:
    """The highest numbers are kept: a message needs some."""
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[0]

    assert _has_spare_handles(most // 2 - 1)
    assert not _has_spare_handles(most - 1)
