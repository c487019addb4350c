"""Alarms against push services that fail in every way, thousands of simulated nights.

Real: the alarm engine, the outbox's SQL, the back-off. Played: time, the contacts' threads
and the services. Each night has its own seed; a failure names it. A longer run:
``RIMEWATCH_NIGHTS=20000 pytest tests/property/test_delivery_simulation.py``.
"""

import os
import random
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import time
from enum import Enum
from pathlib import Path
from typing import Final

import pytest

from plain_shop import plain_shop
from rimewatch.alarms import AlarmState, Engine, Send
from rimewatch.alarms.effects import Effect
from rimewatch.journal import outbox
from rimewatch.journal.outbox import OutboxRow
from rimewatch.journal.schema import migrate
from rimewatch.notify.backoff import next_try_ms
from rimewatch.notify.results import Limits
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Broker, EscalationStep, Night, Shop
from rimewatch.vocabulary import About, ContactId, Priority, Rule, Scale, UnitId

NIGHTS: Final = int(os.environ.get("RIMEWATCH_NIGHTS", "400"))
S: Final = 1000
MINUTE: Final = 60 * S
START_MS: Final = 1_772_508_000_000  # 21:20 in Chicago: night
END_MS: Final = START_MS + 8 * 60 * MINUTE
ALARM: Final = AlarmKey(unit=UnitId("case-1"), rule=Rule.HOLDING)
HANG_MS: Final = round(Limits().channel_s * S)
ACKNOWLEDGED_FOR_MS: Final = 4 * 3600 * S
"""As long as an acknowledgement lasts where the shop says nothing else."""
CALLS: Final = (About.RAISED, About.REPEAT, About.ESCALATED)

RETRY_MS: Final = 61 * S
"""Longest wait between two tries of an urgent message while it is young: 60 s."""


class Mood(Enum):
    """What a push service does with a message."""

    TAKE = "takes it at once"
    SLOW = "takes it after some seconds"
    REFUSE = "cannot be reached"
    FAIL = "answers 500 after a second"
    HANG = "never answers"
    LOSE = "takes it, and its answer is lost"


DELIVERS: Final = frozenset({Mood.TAKE, Mood.SLOW, Mood.LOSE})
CONFIRMS: Final = frozenset({Mood.TAKE, Mood.SLOW})


@dataclass
class Service:
    """One contact's push service through a night: moods, each from an instant on."""

    moods: list[tuple[int, Mood]]

    def mood(self, at_ms: int) -> Mood:
        """Return what it does at an instant."""
        return next(mood for since_ms, mood in reversed(self.moods) if since_ms <= at_ms)

    def works_from(self, from_ms: int) -> int | None:
        """Return the first instant from which on it works until the end; None: it never does."""
        since_ms: int | None = None
        for begins_ms, mood in self.moods:
            if mood not in CONFIRMS:
                since_ms = None
            elif since_ms is None:
                since_ms = begins_ms
        return None if since_ms is None else max(since_ms, from_ms)


@dataclass
class Try:
    """A message on its way."""

    row: OutboxRow
    mood: Mood
    ends_ms: int


@dataclass
class Phone:
    """What one contact was shown."""

    shown: list[tuple[int, OutboxRow]] = field(default_factory=list)
    uncertain: set[str] = field(default_factory=set)
    """Keys of messages that were shown although their answer was lost."""


class NightRun:
    """One simulated night: the owner of the outbox, the contacts' threads, the services."""

    def __init__(self, connection: sqlite3.Connection, seed: int) -> None:
        self.chance = random.Random(seed)
        self.connection = connection
        connection.execute("DELETE FROM outbox")
        self.contacts = [ContactId(name) for name in ("first", "second", "third")]
        self.shop = self._shop()
        self.services = {contact: self._service() for contact in self.contacts}
        if self.chance.random() < 0.3:
            self._cut_the_line()
        self.engine = Engine(self.shop)
        self.state = AlarmState()
        self.phones = {contact: Phone() for contact in self.contacts}
        self.under_way: dict[ContactId, Try] = {}
        self.handed_out: dict[ContactId, list[OutboxRow]] = {c: [] for c in self.contacts}
        self.now_ms = START_MS
        self.raised_ms = START_MS + self.chance.randrange(60 * MINUTE)
        lasts_ms = self.chance.choice([5, 20, 45, 120, 400]) * MINUTE
        self.returns_ms = self.raised_ms + self.chance.randrange(lasts_ms // 2, lasts_ms)
        self.returned_at_ms: int | None = None
        self.answers_ms: int | None = None
        """When somebody who was shown a call acknowledges; None: nobody was, or will."""
        self.acknowledged_ms: int | None = None
        self.somebody_answers = self.chance.random() < 0.4

    def _shop(self) -> Shop:
        repeat_s = self.chance.choice([300.0, 900.0])
        steps = [
            EscalationStep(after_s=0.0, contacts=(self.contacts[0],), repeat_s=repeat_s),
            EscalationStep(after_s=1200.0, contacts=(self.contacts[1],), repeat_s=repeat_s),
            EscalationStep(after_s=2400.0, contacts=tuple(self.contacts[1:]), repeat_s=None),
        ]
        return plain_shop(
            name="Saltmarsh Row Fish",
            timezone="America/Chicago",
            display=Scale.FAHRENHEIT,
            summary_at=time(6, 30),
            broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch"),
            units=(),
            probes=(),
            night=Night(begins=time(21), ends=time(6), wake_for=frozenset({Priority.HIGH})),
            escalation=tuple(steps),
        )

    def _service(self) -> Service:
        if self.chance.random() < 0.3:
            return Service([(0, Mood.TAKE)])
        moods = [(0, self.chance.choice(list(Mood)))]
        at_ms = START_MS
        for _ in range(self.chance.randrange(6)):
            at_ms += self.chance.randrange(1, 90) * MINUTE
            moods.append((at_ms, self.chance.choice(list(Mood))))
        return Service(moods)

    def _cut_the_line(self) -> None:
        """The shop has no network for some hours: no service is reached, then all are."""
        back_ms = START_MS + self.chance.randrange(60, 300) * MINUTE
        bad = self.chance.choice([Mood.REFUSE, Mood.HANG, Mood.FAIL])
        for service in self.services.values():
            service.moods = [(0, bad), (back_ms, Mood.TAKE)]

    # --- time -----------------------------------------------------------------------------

    def run(self) -> None:
        """Play the night to its end."""
        while self.now_ms < END_MS:
            self.now_ms = min(self._next_ms(), END_MS)
            self._end_tries()
            self._happen()
            self._do(self.engine.advance(self.state, self.now_ms))
            self._hand_out()
            self._begin_tries()

    def _next_ms(self) -> int:
        due_ms = [END_MS, *(t.ends_ms for t in self.under_way.values())]
        if self.raised_ms > self.now_ms:
            due_ms.append(self.raised_ms)
        if self.returned_at_ms is None and self.returns_ms > self.now_ms:
            due_ms.append(self.returns_ms)
        if self.answers_ms is not None and self.acknowledged_ms is None:
            due_ms.append(max(self.answers_ms, self.now_ms + 1))
        engine_ms = self.engine.next_due_ms(self.state)
        if engine_ms is not None:
            due_ms.append(max(engine_ms, self.now_ms + 1))
        (waits_ms,) = self.connection.execute(
            "SELECT min(next_ms) FROM outbox"
            " WHERE sent_ms IS NULL AND given_up_ms IS NULL AND next_ms > ?",
            (self.now_ms,),
        ).fetchone()
        if waits_ms is not None:
            due_ms.append(waits_ms)
        return min(due_ms)

    def _happen(self) -> None:
        at_ms = self.now_ms
        if at_ms == self.raised_ms:
            self._do(
                self.engine.set_condition(self.state, Condition(key=ALARM, since_ms=at_ms), at_ms)
            )
        if at_ms == self.returns_ms:
            self.returned_at_ms = at_ms
            self._do(self.engine.clear_condition(self.state, ALARM, at_ms))
        is_open = self.acknowledged_ms is None
        if is_open and self.answers_ms is not None and at_ms >= self.answers_ms:
            self.acknowledged_ms = at_ms
            self._do(self.engine.acknowledge(self.state, ALARM, at_ms, "somebody"))

    # --- the owner of the outbox, as the writer is --------------------------------------------

    def _do(self, outcome: tuple[AlarmState, Sequence[Effect]]) -> None:
        self.state, effects = outcome
        for send in effects:
            if isinstance(send, Send):
                outbox.supersede(
                    self.connection, send.contact, send.alarm_id, send.token, send.at_ms
                )
                outbox.add(
                    self.connection,
                    at_ms=send.at_ms,
                    contact=send.contact,
                    alarm_id=send.alarm_id,
                    about=send.about,
                    title=send.about,
                    body=send.token,
                    idempotency_key=send.token,
                    not_before_ms=send.at_ms,
                    urgent=send.about is not About.RETURNED,
                )

    def _hand_out(self) -> None:
        out = {row.id for rows in self.handed_out.values() for row in rows}
        out |= {t.row.id for t in self.under_way.values()}
        for row in outbox.due(self.connection, self.now_ms, 100):
            if row.id not in out:
                self.handed_out[row.contact].append(row)

    def _begin_tries(self) -> None:
        for contact, rows in self.handed_out.items():
            if contact in self.under_way or not rows:
                continue
            row = min(rows, key=lambda row: (not row.urgent, row.id))
            rows.remove(row)
            mood = self.services[contact].mood(self.now_ms)
            takes_ms = {
                Mood.TAKE: 300,
                Mood.SLOW: self.chance.randrange(1, 19) * S,
                Mood.REFUSE: 10,
                Mood.FAIL: S,
                Mood.HANG: HANG_MS,
                Mood.LOSE: 500,
            }[mood]
            self.under_way[contact] = Try(row, mood, self.now_ms + takes_ms)

    def _end_tries(self) -> None:
        for contact, tried in list(self.under_way.items()):
            if tried.ends_ms > self.now_ms:
                continue
            del self.under_way[contact]
            row = tried.row
            if tried.mood in DELIVERS:
                self._show(contact, row, lost=tried.mood is Mood.LOSE)
            if tried.mood in CONFIRMS:
                outbox.sent(self.connection, row.id, self.now_ms)
                continue
            next_ms = next_try_ms(
                tries=row.attempts + 1,
                made_ms=row.at_ms,
                tried_ms=self.now_ms,
                key=row.idempotency_key,
                urgent=row.urgent,
            )
            outbox.failed(self.connection, row.id, self.now_ms, next_ms, tried.mood.value)

    def _show(self, contact: ContactId, row: OutboxRow, *, lost: bool) -> None:
        phone = self.phones[contact]
        phone.shown.append((self.now_ms, row))
        if lost:
            phone.uncertain.add(row.idempotency_key)
        if row.about in CALLS and self.answers_ms is None and self.somebody_answers:
            self.answers_ms = self.now_ms + self.chance.randrange(1, 20) * MINUTE

    # --- what must hold -------------------------------------------------------------------

    def told_ms(self) -> int | None:
        """Return when the first phone showed that there is an alarm; None: none did."""
        shown = (
            at_ms
            for phone in self.phones.values()
            for at_ms, row in phone.shown
            if row.about in CALLS
        )
        return min(shown, default=None)

    def by_when_ms(self) -> int | None:
        """Return by when somebody must have been told; None: no service worked in time.

        For each contact: its step has come and its service works from then on. One message
        may be under way and hang; the try after it comes within the back-off.
        """
        steps = {ContactId("first"): 0, ContactId("second"): 1200, ContactId("third"): 2400}
        found = []
        for contact, after_s in steps.items():
            works_ms = self.services[contact].works_from(self.raised_ms + after_s * S)
            if works_ms is not None:
                found.append(works_ms + 2 * HANG_MS + RETRY_MS)
        return min(found, default=None)


@pytest.fixture(scope="module")
def outbox_file(tmp_path_factory: pytest.TempPathFactory) -> Iterator[sqlite3.Connection]:
    """Give the journal's own tables, in memory."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection, Path(tmp_path_factory.mktemp("night") / "in-memory"))
    yield connection
    connection.close()


@pytest.fixture(scope="module")
def nights(outbox_file: sqlite3.Connection) -> list[tuple[int, NightRun]]:
    """Play all nights once; the tests look at them."""
    played = []
    for seed in range(NIGHTS):
        night = NightRun(outbox_file, seed)
        night.run()
        played.append((seed, night))
    return played


Nights = list[tuple[int, NightRun]]


def test_alarm_reaches_somebody_as_soon_as_any_service_works(nights: Nights) -> None:
    """The first by the first step; if its service is dead, the next step's contact."""
    reached = 0
    for seed, night in nights:
        by_ms = night.by_when_ms()
        if by_ms is None or by_ms >= min(night.returns_ms, END_MS):
            continue  # it was over, or the night was, before anybody could have been told
        told_ms = night.told_ms()
        assert told_ms is not None, f"night {seed}: nobody was told"
        assert told_ms <= by_ms, f"night {seed}: told {(told_ms - by_ms) / S:.0f} s too late"
        reached += 1
    assert reached > len(nights) // 3, "the nights prove little: hardly any could be told"


def test_second_is_told_where_the_first_ones_service_is_dead(nights: Nights) -> None:
    """A dead push service is found out by the silence of its owner, and told to the next."""
    seen = 0
    for seed, night in nights:
        first, second = (night.phones[contact] for contact in night.contacts[:2])
        step_ms = night.raised_ms + 1200 * S
        works_ms = night.services[night.contacts[1]].works_from(step_ms)
        over_ms = min(night.returns_ms, night.acknowledged_ms or END_MS)
        if first.shown or works_ms is None or works_ms + 2 * HANG_MS + RETRY_MS >= over_ms:
            continue
        assert any(row.about in CALLS for _, row in second.shown), f"night {seed}"
        seen += 1
    assert seen > 5


def test_nobody_is_shown_a_message_twice_unless_its_answer_was_lost(nights: Nights) -> None:
    """At least once, and more than once only where nobody can know."""
    doubled = 0
    for seed, night in nights:
        for contact, phone in night.phones.items():
            keys = [row.idempotency_key for _, row in phone.shown]
            twice = {key for key in keys if keys.count(key) > 1}
            assert twice <= phone.uncertain, f"night {seed}: {contact} got {twice} again"
            doubled += len(twice)
    assert doubled > 0, "no answer was ever lost: the nights prove little"


def test_no_call_begins_once_the_return_is_on_its_way(nights: Nights) -> None:
    """Of what is over only the end is told; what was under way then may still come."""
    for seed, night in nights:
        if night.returned_at_ms is None:
            continue
        for contact, phone in night.phones.items():
            late = [
                (at_ms, row.about)
                for at_ms, row in phone.shown
                if row.about in CALLS and at_ms > night.returned_at_ms + HANG_MS + S
            ]
            assert not late, f"night {seed}: {contact} was called after the return: {late}"


def test_no_call_is_made_after_somebody_acknowledged(nights: Nights) -> None:
    """Whoever was on the way then is the last, for as long as an acknowledgement lasts."""
    for seed, night in nights:
        if night.acknowledged_ms is None:
            continue
        for contact, phone in night.phones.items():
            made = [
                row.about
                for _, row in phone.shown
                if row.about in CALLS
                and 0 < row.at_ms - night.acknowledged_ms < ACKNOWLEDGED_FOR_MS
            ]
            assert not made, f"night {seed}: {contact} was called after the acknowledgement"


def test_whoever_was_told_learns_that_it_is_over(nights: Nights) -> None:
    """Where the service works again, the last thing a phone shows is the end."""
    seen = 0
    for seed, night in nights:
        if night.returned_at_ms is None:
            continue
        for contact, phone in night.phones.items():
            works_ms = night.services[contact].works_from(night.returned_at_ms)
            told = any(row.about in CALLS for _, row in phone.shown)
            if not told or works_ms is None or works_ms + 15 * MINUTE >= END_MS:
                continue
            assert phone.shown[-1][1].about is About.RETURNED, f"night {seed}: {contact}"
            seen += 1
    assert seen > len(nights) // 10
