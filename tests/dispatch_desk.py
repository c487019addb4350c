"""The owner of an outbox, as the dispatcher knows one: it submits, is woken, takes results."""

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from rimewatch.clock import SteppedClock
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.notify.letter import NOTHING, Extras
from rimewatch.notify.results import Limits, Result
from rimewatch.shop import Contact
from rimewatch.vocabulary import About, ContactId

NOW_MS = 1_772_438_400_000
DEADLINE_S = 60.0
LONG = Limits(connect_s=120, read_s=120, channel_s=180, chain_s=600)
"""So long that a test which waited for a time-out would fail its own deadline."""
SHORT = Limits(connect_s=2, read_s=5, channel_s=0.4, chain_s=2, stuck_s=300)
"""A channel's time is up soon, long before a request's."""


@dataclass
class Desk:
    """The outbox's owner: submits, is woken, takes results."""

    dispatcher: Dispatcher
    woken: threading.Event
    results: list[Result] = field(default_factory=list)

    def until(self, condition: Callable[[], bool], what: str) -> None:
        """Wait until something is so, taking results meanwhile."""
        end_s = time.monotonic() + DEADLINE_S
        while True:
            self.results += self.dispatcher.take_results()
            if condition():
                return
            left_s = end_s - time.monotonic()
            assert left_s > 0, f"waited {DEADLINE_S} s for {what}; results: {self.results}"
            self.woken.wait(left_s)
            self.woken.clear()

    def result_of(self, number: int) -> Result:
        """Wait for the newest result of a message."""
        self.until(lambda: any(r.id == number for r in self.results), f"a result of {number}")
        return next(r for r in reversed(self.results) if r.id == number)

    def until_answered(self) -> None:
        """Wait until no send of the first contact hangs any more."""
        end_s = time.monotonic() + DEADLINE_S
        while any(c.hanging for c in self.dispatcher.health().contacts[0].channels):
            assert time.monotonic() < end_s, f"waited {DEADLINE_S} s for the answer"
            self.woken.wait(0.01)

    def sent(self, row: OutboxRow) -> Result:
        """Submit a message and wait for what becomes of it this time."""
        self.results = [r for r in self.results if r.id != row.id]
        assert self.dispatcher.submit(row)
        return self.result_of(row.id)


def open_desk(
    limits: Limits, contacts: Mapping[str, Sequence[str]], extras: Extras = NOTHING
) -> Desk:
    """Return a desk whose dispatcher knows contacts by their names and addresses."""
    woken = threading.Event()
    people = [
        Contact(id=ContactId(name), name=name, urls=tuple(urls)) for name, urls in contacts.items()
    ]
    dispatcher = Dispatcher(
        people,
        SteppedClock(NOW_MS),
        wake=woken.set,
        limits=limits,
        extras=lambda _row, _now_ms: extras,
    )
    return Desk(dispatcher, woken)


def row(
    number: int = 1,
    contact: str = "first",
    *,
    about: About = About.RAISED,
    title: str | None = None,
    body: str = "Front display case: fish 6.1 °C for 20 min. Move the fish, then call.",
    urgent: bool = True,
) -> OutboxRow:
    """Return a message of the outbox."""
    return OutboxRow(
        id=number,
        at_ms=NOW_MS,
        contact=ContactId(contact),
        alarm_id=None,
        about=about,
        title=f"message {number}" if title is None else title,
        body=body,
        idempotency_key=f"key-{number}",
        urgent=urgent,
        attempts=0,
        error="",
    )
