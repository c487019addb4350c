"""The last way out: nothing can be recorded, and somebody has to hear of it.

While the journal cannot be written, no alarm can be: the outbox is part of it. What is
left is the way to the phones. The message goes straight to the dispatcher, with a
negative number, so that it is never taken for a row of the outbox.

Nothing of the record is judged meanwhile. The broker keeps what arrives, and all of it is
judged when the journal takes it again; until then a stand-in judges in memory where there
is one (:mod:`rimewatch.service.stand_in`), and the message says to look at the units.
"""

import itertools
from collections.abc import Iterable
from typing import Final

from rimewatch.alarms.rota import first_told
from rimewatch.clock import Clock
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.notify.results import Delivered, Failed, Result
from rimewatch.service.surroundings import StandingIn
from rimewatch.shop import Shop
from rimewatch.vocabulary import About

CRY_AFTER_S: Final = 5.0
"""A disk that is busy for a moment is nobody's business (our choice)."""

CRY_EVERY_S: Final = 3600.0
"""How often at most, once somebody's phone has taken it (our choice)."""

TRY_EVERY_S: Final = 60.0
"""How soon again, while no phone has (our choice)."""

LONGEST_WHY: Final = 260
"""Characters kept of the reason: a phone shows no more."""


class CryForHelp:
    """Knows for how long nothing was recorded, and whom it told.

    Args:
        shop: The first step of its escalation names who is told.
        clock: Measures how long.
        stand_in: What watches meanwhile; None: nothing does.
        after_s: How long nothing must have been recorded before anybody is told.
    """

    def __init__(
        self,
        shop: Shop,
        clock: Clock,
        stand_in: StandingIn | None = None,
        *,
        after_s: float = CRY_AFTER_S,
    ) -> None:
        self._shop = shop
        self._clock = clock
        self._stand_in = stand_in
        self._after_s = after_s
        self._numbers = itertools.count(1)
        self._failing_since_s: float | None = None
        self._due_s = 0.0
        self._told = False

    def failing(self, why: str, dispatcher: Dispatcher) -> bool:
        """Note that writing has failed once more; cry if it is time to.

        Args:
            why: What the journal says; it holds no secrets.
            dispatcher: The way to the phones.

        Returns:
            Whether somebody was sent a message.
        """
        now_s = self._clock.monotonic_s()
        if self._failing_since_s is None:
            self._failing_since_s = now_s
            self._due_s = max(self._due_s, now_s + self._after_s)
        if now_s < self._due_s:
            return False
        self._due_s = now_s + TRY_EVERY_S
        self._told = True
        return self._send(
            dispatcher,
            About.RAISED,
            title=f"{self._shop.name}: nothing is recorded",
            body=f"{self._what_is_left()} Why: {why[:LONGEST_WHY]}",
        )

    def _what_is_left(self) -> str:
        """Have something stand in; say what can be relied on meanwhile."""
        if self._stand_in is None or not self._stand_in.begin():
            return (
                "No reading is recorded or judged, and no alarm can come. Look at every unit "
                "now, and again and again."
            )
        return (
            "No reading is recorded. Look at every unit now, and again and again: alarms come "
            "only for what happens from now on, and no freezing hold is followed."
        )

    def recovered(self, dispatcher: Dispatcher) -> None:
        """Note that writing works; tell those who were told that it did not."""
        if self._told:
            self._send(
                dispatcher,
                About.RETURNED,
                title=f"{self._shop.name}: recording again",
                body="Readings are recorded and judged again. What the broker kept meanwhile is "
                "judged now; alarms that are due come now.",
            )
        self._told = False
        self._failing_since_s = None
        self.stop()

    def stop(self) -> None:
        """Let nothing stand in any more."""
        if self._stand_in is not None:
            self._stand_in.end()

    def sort_out(self, results: Iterable[Result]) -> list[Result]:
        """Take note of what became of the cries; return the results of the outbox's rows."""
        of_rows: list[Result] = []
        for result in results:
            match result:
                case Delivered(id=number) if number < 0:
                    self._due_s = max(self._due_s, self._clock.monotonic_s() + CRY_EVERY_S)
                case Failed(id=number) if number < 0:
                    pass  # the next try is due already
                case _:
                    of_rows.append(result)
        return of_rows

    def _send(self, dispatcher: Dispatcher, about: About, *, title: str, body: str) -> bool:
        contacts = first_told(self._shop, self._clock.now_ms())
        for contact in contacts:
            number = -next(self._numbers)
            dispatcher.submit(
                OutboxRow(
                    id=number,
                    at_ms=self._clock.now_ms(),
                    contact=contact,
                    alarm_id=None,
                    about=about,
                    title=title,
                    body=body,
                    idempotency_key=f"cry/{number}",
                    urgent=about is About.RAISED,
                    attempts=0,
                    error="",
                )
            )
        return bool(contacts)
