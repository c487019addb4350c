"""The last way out: nothing can be recorded, and somebody has to hear of it.

While the journal cannot be written, no alarm can be: the outbox is part of it. What is
left is the way to the phones. The message goes straight to the dispatcher, with a
negative number, so that it is never taken for a row of the outbox. Recording that lies
minutes behind is told the same way, since the outbox would be as late.

Nothing of the record is judged meanwhile. The broker keeps what arrives, and all of it is
judged when the journal takes it again; until then a stand-in judges in memory where there
is one (:mod:`rimewatch.service.stand_in`), and the message says to look at the units.
"""

import itertools
from collections.abc import Iterable, Iterator
from typing import Final

from rimewatch.alarms.rota import first_told
from rimewatch.clock import Clock
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.notify.results import Delivered, Result
from rimewatch.service.lateness import Lag
from rimewatch.service.surroundings import StandingIn
from rimewatch.shop import Shop
from rimewatch.vocabulary import About

CRY_AFTER_S: Final = 5.0
"""A disk that is busy for a moment is nobody's business (our choice)."""

CRY_EVERY_S: Final = 3600.0
"""How often at most, once somebody's phone has taken it (our choice)."""

CRY_ANEW_S: Final = 600.0
"""How often at most, when it was over in between (our choice)."""

TRY_EVERY_S: Final = 60.0
"""How soon again, while no phone has (our choice)."""

LONGEST_WHY: Final = 260
"""Characters kept of the reason: a phone shows no more."""


class _Calls:
    """Calls to the first contacts about one thing, for as long as it lasts."""

    def __init__(self, shop: Shop, clock: Clock, numbers: Iterator[int]) -> None:
        self._shop = shop
        self._clock = clock
        self._numbers = numbers
        self._ours: set[int] = set()
        self._due_s = 0.0
        self._has_told = False

    def wait(self, until_s: float) -> None:
        """Call nobody before."""
        self._due_s = max(self._due_s, until_s)

    @property
    def is_due(self) -> bool:
        """Whether it is time to call."""
        return self._clock.monotonic_s() >= self._due_s

    def call(self, dispatcher: Dispatcher, *, title: str, body: str) -> bool:
        """Call; return whether there is anybody to be called."""
        self._due_s = self._clock.monotonic_s() + TRY_EVERY_S
        self._has_told = True
        return self._send(dispatcher, About.RAISED, title=title, body=body)

    def over(self, dispatcher: Dispatcher, *, title: str, body: str) -> None:
        """Tell those who were called that it is over."""
        if not self._has_told:
            return
        self._has_told = False
        self._ours.clear()
        self._send(dispatcher, About.RETURNED, title=title, body=body)
        self._due_s = min(self._due_s, self._clock.monotonic_s() + CRY_ANEW_S)

    def sort_out(self, result: Result) -> None:
        """Take note of what became of a call, if it is one of these."""
        if result.id in self._ours:
            self._ours.discard(result.id)
            if isinstance(result, Delivered):  # else the next try is due already
                self.wait(self._clock.monotonic_s() + CRY_EVERY_S)

    def _send(self, dispatcher: Dispatcher, about: About, *, title: str, body: str) -> bool:
        contacts = first_told(self._shop, self._clock.now_ms())
        for contact in contacts:
            number = -next(self._numbers)
            if about is About.RAISED:
                self._ours.add(number)
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


class CryForHelp:
    """Knows for how long nothing was recorded, or late, and whom it told.

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
        numbers = itertools.count(1)
        self._silence = _Calls(shop, clock, numbers)
        self._lateness = _Calls(shop, clock, numbers)
        self._failing_since_s: float | None = None
        self._stand_in_due_s = float("-inf")
        self._stands_in = False

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
            self._silence.wait(now_s + self._after_s)
        if now_s < self._failing_since_s + self._after_s:
            return False
        left = self._what_is_left(why)  # whether or not anybody is told of it again so soon
        if not self._silence.is_due:
            return False
        return self._silence.call(
            dispatcher,
            title=f"{self._shop.name}: nothing is recorded",
            body=f"{left} Why: {why[:LONGEST_WHY]}",
        )

    def late(self, lag: Lag, dispatcher: Dispatcher) -> bool:
        """Note how far recording lies behind; cry while it is by minutes.

        Returns:
            Whether somebody was sent a message.
        """
        if lag.is_grave and self._lateness.is_due:
            return self._lateness.call(
                dispatcher,
                title=f"{self._shop.name}: alarms come late",
                body=f"Recording is {lag.words()}. Alarms are late by as much, or more. Look at "
                "every unit now, and again and again; see to the disk.",
            )
        if not lag.is_late:
            self._lateness.over(
                dispatcher,
                title=f"{self._shop.name}: alarms come in time again",
                body="Recording keeps up again, and every reading is judged when it comes.",
            )
        return False

    def _what_is_left(self, why: str) -> str:
        """Have something stand in; say what can be relied on meanwhile."""
        now_s = self._clock.monotonic_s()
        if self._stand_in is not None and now_s >= self._stand_in_due_s:
            self._stand_in_due_s = now_s + TRY_EVERY_S
            self._stands_in = self._stand_in.begin(why)
        if not self._stands_in:
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
        self._silence.over(
            dispatcher,
            title=f"{self._shop.name}: recording again",
            body="Readings are recorded and judged again. What the broker kept meanwhile is "
            "judged now; alarms that are due come now.",
        )
        self._failing_since_s = None
        self.stop()

    def stop(self) -> None:
        """Let nothing stand in any more."""
        if self._stand_in is not None:
            self._stand_in.end()
        self._stand_in_due_s, self._stands_in = float("-inf"), False

    def sort_out(self, results: Iterable[Result]) -> list[Result]:
        """Take note of what became of the cries; return the results of the outbox's rows."""
        of_rows: list[Result] = []
        for result in results:
            if result.id >= 0:
                of_rows.append(result)
                continue
            self._silence.sort_out(result)
            self._lateness.sort_out(result)
        return of_rows
