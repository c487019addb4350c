"""Bounds what connections to the pages may hold: how many, for how long, and how many handles.

The server library waits for ever for the rest of a request, and for a reader who does not read. A
few hundred such connections take every file handle of the process, and then no message leaves: the
alarms depend on what anybody on the shop's network does. So a request has to arrive within a
deadline, an answer has to be read, and of too many connections one is closed: first those that are
unfinished, the oldest of them first. Some handles are never given to connections.

What an honest visitor may notice: a connection that was opened and not used is closed after ten
seconds, and under a flood one that idles may be. Browsers open another.

Times in seconds of the loop's clock.

References:
    [1] uvicorn, ``H11Protocol`` and ``RequestResponseCycle``: inner names, so its minor version
        is pinned.
"""

import asyncio
import resource
from enum import IntEnum
from typing import Any, Final

import h11
from uvicorn.config import Config
from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle
from uvicorn.server import ServerState

MOST_CONNECTIONS: Final = 100
"""Open at once (our choice): a browser keeps six to a host (common practice, no source)."""
REQUEST_WITHIN_S: Final = 10.0
"""Until when a request has arrived, header and body, and an answer goes on being read."""
SLOWEST_BODY_BYTES_PER_S: Final = 20_000
"""A large body, such as a photograph over a poor radio link, has a second more for each so many
bytes that did arrive (our choice)."""
LOOK_EVERY_S: Final = 1.0
RESERVED_HANDLES: Final = 96
"""Numbers of file handles, at the top, that no connection is given: for the journal, the readers of
the pages, the broker and the senders. At most half of what the process may have."""


class Stage(IntEnum):
    """What a connection is at; of too many, those of the lowest stage go first."""

    HALF_SENT = 0
    """A request has not fully arrived, or none has yet."""
    UNREAD = 1
    """The other side does not read its answer."""
    IDLE = 2
    """An answer was read; the next request may come."""
    ANSWERING = 3
    """The pages are at work for it, or it is a live stream that is read."""


class Crowd:
    """The connections of one server. Belongs to the thread of its loop.

    Args:
        most: How many may be open at once.
        request_within_s: The deadline of a request, and of a reader who stands still.
    """

    def __init__(
        self, most: int = MOST_CONNECTIONS, request_within_s: float = REQUEST_WITHIN_S
    ) -> None:
        self._most = most
        self.request_within_s = request_within_s
        self._members: dict[BoundedProtocol, None] = {}
        self._looks: asyncio.TimerHandle | None = None

    def __len__(self) -> int:
        return len(self._members)

    def enter(self, member: "BoundedProtocol") -> None:
        """Take a connection in; where there are too many, close one, perhaps this one."""
        self._members[member] = None
        if len(self._members) > self._most or not _has_spare_handles(member.handle):
            # Out at once, not when the loop has closed it: many may come before that.
            worst = min(self._members, key=lambda m: (m.stage, m.since_s))
            self.leave(worst)
            worst.give_up()
        if self._looks is None:
            self._looks = member.loop.call_later(LOOK_EVERY_S, self._look, member.loop)

    def leave(self, member: "BoundedProtocol") -> None:
        """Forget a connection that is closed."""
        self._members.pop(member, None)

    def _look(self, loop: asyncio.AbstractEventLoop) -> None:
        """Close those that are over their deadline; look again while there are any."""
        now_s = loop.time()
        for member in list(self._members):
            if member.is_overdue(now_s):
                member.give_up()
        self._looks = loop.call_later(LOOK_EVERY_S, self._look, loop) if self._members else None


class BoundedProtocol(H11Protocol):
    """One connection, with a deadline for what the other side has to do.

    Args:
        crowd: Where it counts.
        config: As the server library gives it to each connection.
        server_state: Likewise.
        app_state: Likewise.
        _loop: Likewise, under this name.
    """

    def __init__(
        self,
        *,
        crowd: Crowd,
        config: Config,
        server_state: ServerState,
        app_state: dict[str, Any],
        _loop: asyncio.AbstractEventLoop | None = None,
    ) -> None:
        super().__init__(config, server_state, app_state, _loop)
        self._crowd = crowd
        self._half_sent = True
        self._came_bytes = 0
        self.since_s = self.loop.time()
        """Since when it is at its stage."""

    # --- what the loop tells ----------------------------------------------------------------

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin; the request's deadline runs from here."""
        super().connection_made(transport)
        self._crowd.enter(self)

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        self._crowd.leave(self)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what has come."""
        self._came_bytes += len(data)
        super().data_received(data)
        self._note_request()

    def pause_writing(self) -> None:
        """Note that the other side does not read what is there for it."""
        super().pause_writing()
        if self.stage is Stage.UNREAD:
            self.since_s = self.loop.time()

    def on_response_complete(self) -> None:
        """Note that the answer is made; what is not read yet has its deadline from here."""
        self.since_s = self.loop.time()
        super().on_response_complete()
        self._note_request()

    def timeout_keep_alive_handler(self) -> None:
        """Close an idle connection, also one whose last answer was never read."""
        super().timeout_keep_alive_handler()
        if self.transport.get_write_buffer_size():
            self.give_up()

    # --- what the crowd asks ----------------------------------------------------------------

    @property
    def handle(self) -> int:
        """The number of its file handle; −1: it is closed."""
        its_socket = self.transport.get_extra_info("socket")
        return -1 if its_socket is None else its_socket.fileno()

    @property
    def stage(self) -> Stage:
        """What it is at."""
        if self._half_sent:
            return Stage.HALF_SENT
        cycle: RequestResponseCycle | None = self.cycle
        is_answered = cycle is None or cycle.response_complete
        if self.flow.write_paused or (is_answered and self.transport.get_write_buffer_size()):
            return Stage.UNREAD
        return Stage.IDLE if is_answered else Stage.ANSWERING

    def is_overdue(self, now_s: float) -> bool:
        """Return whether the other side had time enough. Idle connections have another limit."""
        within_s = self._crowd.request_within_s
        stage = self.stage
        if stage is Stage.HALF_SENT:
            within_s += self._came_bytes / SLOWEST_BODY_BYTES_PER_S
        elif stage is not Stage.UNREAD:
            return False
        return now_s - self.since_s > within_s

    def give_up(self) -> None:
        """Close it at once, whatever is unsent."""
        self.transport.abort()

    def _note_request(self) -> None:
        """Note whether a request is under way, and since when."""
        state: object = self.conn.their_state
        has_begun = bool(self.conn.trailing_data[0])
        half_sent = has_begun if state is h11.IDLE else state is h11.SEND_BODY
        if half_sent and not self._half_sent:
            self.since_s = self.loop.time()
            self._came_bytes = 0
        self._half_sent = half_sent


def _has_spare_handles(handle: int) -> bool:
    """Return whether a connection's handle is below those that are reserved.

    The system gives the lowest number that is free, so a number near the limit says that most
    are taken.
    """
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    if most == resource.RLIM_INFINITY:
        return True
    return handle < most - min(RESERVED_HANDLES, most // 2)
