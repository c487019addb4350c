"""The mirror's thread: follows the journal's line of changed hours, and never gives up.

Reads through a connection of its own and writes nothing here: the writer takes what has
come of it with :meth:`Mirror.take_state` and keeps that in the journal. What was sent and
not yet kept is sent again after a restart, which changes nothing on the other side. The
alarms wait for nothing in here.
"""

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from rimewatch.clock import Clock
from rimewatch.evaluation.governing import governing_readings
from rimewatch.evaluation.store import Span
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.journal.readings import ChangedHour
from rimewatch.mirror.delivery import Delivery, NotNow, Stopped
from rimewatch.mirror.governing_spans import governing_spans
from rimewatch.mirror.pace import Pace
from rimewatch.mirror.points import Point, governing_points, reading_points
from rimewatch.mirror.state import (
    ASKED_STATE,
    MIRROR_STATE,
    REFUSED_KEPT,
    MirrorState,
    Refused,
    asked_from_text,
    from_text,
)
from rimewatch.shop import MirrorTo, Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H

BookSource = Callable[[JournalReader, int, int], Sequence[Point]]
"""Gives the points of excursions, alarms and lots of a period, from the journal."""

NowSource = Callable[[JournalReader, int], Sequence[Point]]
"""Gives the points of how each unit stands at an instant, from the journal."""

SPAN_AT_ONCE_MS: Final = 12 * MS_PER_H
"""Of one probe's governing temperatures: 43,200 at one a second."""

BOOKS_AGAIN_MS: Final = 3 * MS_PER_DAY
"""Excursions and alarms this far back are sent again each time: they may still change."""

BOOKS_REACH_MS: Final = 35 * MS_PER_DAY
"""At the start and once a day, this far: longer than any reading may be late."""


class Mirror:
    """Follows one journal into one database, in a thread of its own.

    Args:
        shop: The shop; its ``mirror`` says where to.
        journal_path: The journal, which must exist with the present schema.
        clock: Stamps what is kept.
        books: Gives excursions, alarms and lots; None: readings alone are mirrored.
        now: Gives how the units stand; None: that is not said.
        pace: Batches, waits.
    """

    def __init__(
        self,
        shop: Shop,
        journal_path: Path,
        clock: Clock,
        *,
        books: BookSource | None = None,
        now: NowSource | None = None,
        pace: Pace | None = None,
    ) -> None:
        assert shop.mirror is not None, "a shop without [mirror] has no mirror"
        self._shop = shop
        self._to: MirrorTo = shop.mirror
        self._journal_path = journal_path
        self._clock = clock
        self._books = books
        self._now = now
        self._pace = pace or Pace()
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._state = MirrorState()
        self._taken: MirrorState | None = None
        self._failures = 0
        self._books_due_s = 0.0
        self._whole_books_due_s = 0.0
        self._now_due_s = 0.0
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)

    # --- for other threads ------------------------------------------------------------------

    def start(self) -> None:
        """Begin to follow."""
        self._thread.start()

    def stop(self, grace_s: float) -> bool:
        """End after the request in hand; False if it has not come back in time.

        A thread that has not ended dies with the process: what it sent meanwhile is sent
        again after the next start.
        """
        self._stop.set()
        self._thread.join(grace_s)
        return not self._thread.is_alive()

    def take_state(self) -> MirrorState | None:
        """Return how far it has come, if that is news since the last time; never waits."""
        with self._lock:
            if self._taken is None or self._state == self._taken:
                return None
            self._taken = self._state
            return self._state

    # --- the mirror's thread ----------------------------------------------------------------

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                with JournalReader.open(self._journal_path) as journal:
                    self._resume(journal)
                    delivery = Delivery(self._to, self._clock.now_ms, self._stop.is_set)
                    try:
                        self._follow(journal, delivery)
                    finally:
                        delivery.close()
            except Stopped:
                return
            except Exception as error:  # noqa: BLE001 (a fault of ours must not end it for good)
                self._fail(f"{type(error).__name__}: {error}", None)

    def _resume(self, journal: JournalReader) -> None:
        with self._lock:
            if self._taken is None:
                self._state = self._taken = from_text(journal.load_state(MIRROR_STATE))

    def _follow(self, journal: JournalReader, delivery: Delivery) -> None:
        while not self._stop.is_set():
            try:
                sent = self._send_news(journal, delivery)
                self._send_books(journal, delivery)
                self._send_now(journal, delivery)
            except NotNow as error:
                self._fail(str(error), error.retry_after_s)
            except JournalError as error:
                self._fail(f"the journal cannot be read: {error}", None)
            else:
                if not sent:
                    self._stop.wait(self._pace.follow_s)

    def _fail(self, reason: str, retry_after_s: float | None) -> None:
        self._failures += 1
        with self._lock:
            self._state = replace(
                self._state,
                error=reason,
                error_since_ms=self._state.error_since_ms or self._clock.now_ms(),
            )
        wait_s = self._pace.wait_s(self._failures, self._to.shop)
        self._stop.wait(max(wait_s, retry_after_s or 0.0))

    def _send_news(self, journal: JournalReader, delivery: Delivery) -> bool:
        """Send the hours behind the cursor; return whether there were any."""
        hours = journal.changed_hours(self._state.cursor, self._pace.hours_at_once)
        self._send_governing(journal, delivery, hours)
        waiting: list[Point] = []
        passed_over = 0
        for hour in hours:
            points = self._points_of(journal, hour)
            passed_over += points is None
            waiting.extend(points or ())
            if len(waiting) >= self._pace.batch:
                self._deliver(delivery, waiting, cursor=hour.seq, passed_over=passed_over)
                waiting, passed_over = [], 0
        if hours and (waiting or passed_over):
            self._deliver(delivery, waiting, cursor=hours[-1].seq, passed_over=passed_over)
        return bool(hours)

    def _points_of(self, journal: JournalReader, hour: ChangedHour) -> list[Point] | None:
        probe = self._shop.probe.get(hour.probe)
        if probe is None:
            return None
        readings = journal.full_span(hour.probe, hour.from_ms, hour.to_ms)
        return list(reading_points(self._to.shop, probe, readings))

    def _send_governing(
        self, journal: JournalReader, delivery: Delivery, hours: Sequence[ChangedHour]
    ) -> None:
        """Send what the fish felt in changed hours, before the cursor passes them.

        Behind a lag a late reading changes what is felt long after it, so as much as the lag
        remembers is sent again as well.
        """
        for probe, from_ms, to_ms in governing_spans(self._shop, hours):
            for start_ms in range(from_ms, to_ms + 1, SPAN_AT_ONCE_MS):
                end_ms = min(start_ms + SPAN_AT_ONCE_MS - 1, to_ms)
                felt = governing_readings(self._shop, journal, probe, start_ms, end_ms)
                inside = (felt.times_ms >= start_ms) & (felt.times_ms <= end_ms)
                within = Span(felt.times_ms[inside], felt.values[inside])
                points = list(governing_points(self._to.shop, probe, within))
                if points:
                    self._deliver(delivery, points)

    def _send_now(self, journal: JournalReader, delivery: Delivery) -> None:
        """Say how each unit stands, every minute."""
        now_s = self._clock.monotonic_s()
        if self._now is None or now_s < self._now_due_s:
            return
        self._deliver(delivery, self._now(journal, self._clock.now_ms()))
        self._now_due_s = now_s + self._pace.now_s

    def _send_books(self, journal: JournalReader, delivery: Delivery) -> None:
        if self._books is None:
            return
        asked = asked_from_text(journal.load_state(ASKED_STATE))
        is_new = asked is not None and asked.number > self._state.asked
        now_s = self._clock.monotonic_s()
        if now_s < self._books_due_s and not is_new:
            return
        now_ms = self._clock.now_ms()
        is_whole = now_s >= self._whole_books_due_s
        done_ms = now_ms if self._state.books_ms is None else self._state.books_ms
        from_ms = done_ms - (BOOKS_REACH_MS if is_whole else BOOKS_AGAIN_MS)
        if asked is not None and is_new:
            from_ms = min(from_ms, asked.from_ms)
        self._deliver(delivery, self._books(journal, max(from_ms, 0), now_ms))
        self._books_due_s = now_s + self._pace.books_s
        if is_whole:
            self._whole_books_due_s = now_s + MS_PER_DAY / 1000.0
        with self._lock:
            number = self._state.asked if asked is None else asked.number
            self._state = replace(self._state, books_ms=now_ms, asked=number)

    def _deliver(
        self,
        delivery: Delivery,
        points: Sequence[Point],
        *,
        cursor: int | None = None,
        passed_over: int = 0,
    ) -> None:
        refused: list[Refused] = []
        for start in range(0, len(points), self._pace.batch):
            refused += delivery.send(points[start : start + self._pace.batch])
        self._failures = 0
        with self._lock:
            state = self._state
            lost = sum(one.points for one in refused)
            self._state = replace(
                state,
                cursor=state.cursor if cursor is None else cursor,
                sent=state.sent + len(points) - lost,
                passed_over=state.passed_over + passed_over,
                refused_total=state.refused_total + lost,
                refused=(*state.refused, *refused)[-REFUSED_KEPT:],
                sent_ms=self._clock.now_ms() if points else state.sent_ms,
                error="",
                error_since_ms=None,
            )
