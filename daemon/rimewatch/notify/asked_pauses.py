"""Hears when a push service asks to be left alone for a while.

Apprise tells that a message was refused, and not for how long. It sends through the library
``requests``, so its answers are looked at there, on their way, for whoever has asked for that in
the same context (Apprise hands its context on to the thread it sends in). Nothing is changed
by it. It leans on one method of that library, ``Session.send``, which is part of its public face.
"""

import functools
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Final

import requests

from rimewatch.clock import SystemClock
from rimewatch.retry_after import pause_s

TOO_MANY: Final = 429
ASKS: Final = (TOO_MANY, 503)
"""What may come with a time to come back; see ``rimewatch.retry_after``."""

UNSAID_S: Final = 60.0
"""Taken where a service says "too many" and not for how long (our choice)."""

_MACHINE: Final = SystemClock()
_heard: ContextVar[list[float] | None] = ContextVar("asked pauses", default=None)


@contextmanager
def pauses_asked() -> Iterator[list[float]]:
    """Collect the pauses, s, that services ask for while the block lasts."""
    found: list[float] = []
    token = _heard.set(found)
    try:
        yield found
    finally:
        _heard.reset(token)


def listen_for_pauses() -> None:
    """Begin to look at answers; does nothing the second time."""
    send = requests.Session.send
    if getattr(send, "hears_pauses", False):
        return

    @functools.wraps(send)
    def hearing(self: requests.Session, request: Any, **how: Any) -> requests.Response:  # noqa: ANN401
        answer = send(self, request, **how)
        found = _heard.get()
        if found is not None and answer.status_code in ASKS:
            asked = pause_s(answer.headers.get("Retry-After"), _MACHINE.now_ms())
            if asked is None and answer.status_code == TOO_MANY:
                asked = UNSAID_S
            if asked is not None:
                found.append(asked)
        return answer

    hearing.hears_pauses = True  # type: ignore[attr-defined]
    requests.Session.send = hearing  # type: ignore[method-assign]
