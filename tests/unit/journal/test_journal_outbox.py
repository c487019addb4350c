"""Alarms, who was told, what waits to be sent, and what the service did."""

import sqlite3
from datetime import date

import pytest

from rimewatch.journal import Journal
from rimewatch.journal.outbox import ERROR_KEPT
from rimewatch.vocabulary import About, ContactId, Rule, UnitId

T0 = 1_772_438_400_000
FIRST = ContactId("first")
CASE = UnitId("case-1")


def put(journal: Journal, key: str, *, at_ms: int = T0, urgent: bool = False) -> int | None:
    """Put a message into the outbox."""
    return journal.outbox_add(
        at_ms=at_ms,
        contact=FIRST,
        alarm_id="a1",
        about=About.RAISED,
        title="Front display case",
        body="6.1 °C, above 5 °C for 15 min",
        idempotency_key=key,
        not_before_ms=at_ms,
        urgent=urgent,
    )


class TestOutbox:
    """Each message is sent once, and none is forgotten."""

    def test_a_message_with_a_known_key_is_not_added_again(self, journal: Journal) -> None:
        """A night evaluated anew calls nobody twice, even after the first call."""
        number = put(journal, "a1/raised/first")
        assert number is not None
        assert put(journal, "a1/raised/first") is None
        assert journal.outbox_sent(number, T0 + 5)
        assert put(journal, "a1/raised/first") is None

        assert journal.outbox_due(T0 + 10) == []

    def test_urgent_messages_go_first_and_none_before_its_time(self, journal: Journal) -> None:
        """What may wake somebody overtakes what may not."""
        early = put(journal, "k1")
        urgent = put(journal, "k2", urgent=True)
        later = put(journal, "k3", at_ms=T0 + 1000)

        assert [row.id for row in journal.outbox_due(T0)] == [urgent, early]
        assert [row.id for row in journal.outbox_due(T0 + 1000)] == [urgent, early, later]
        assert [row.id for row in journal.outbox_due(T0 + 1000, limit=1)] == [urgent]
        assert journal.outbox_due(T0 - 1) == []
        row = journal.outbox_due(T0)[0]
        assert (row.contact, row.about, row.alarm_id, row.urgent, row.idempotency_key) == (
            FIRST,
            About.RAISED,
            "a1",
            True,
            "k2",
        )

    def test_a_failed_message_is_due_again_and_shows_why(self, journal: Journal) -> None:
        """The dispatcher tries again; the page shows what the service said."""
        number = put(journal, "k1")
        assert number is not None

        assert journal.outbox_failed(number, T0 + 1, T0 + 60_000, "no answer" * 200)

        assert journal.outbox_due(T0 + 59_999) == []
        (row,) = journal.outbox_due(T0 + 60_000)
        assert (row.attempts, len(row.error)) == (1, ERROR_KEPT)
        assert journal.outbox_backlog().failing == 1

    def test_a_message_sent_meanwhile_cannot_fail_any_more(self, journal: Journal) -> None:
        """Two answers to one message: the good one stands."""
        number = put(journal, "k1")
        assert number is not None

        assert journal.outbox_sent(number, T0 + 1)
        assert not journal.outbox_failed(number, T0 + 2, T0 + 3, "late")
        assert not journal.outbox_sent(number, T0 + 4)
        assert not journal.outbox_sent(999, T0)

    def test_the_backlog_counts_what_waits_and_what_was_given_up(self, journal: Journal) -> None:
        """Silence of the push service is seen, and its length."""
        assert journal.outbox_backlog().oldest_ms is None
        numbers = [put(journal, f"k{n}", at_ms=T0 + n, urgent=n > 1) for n in range(4)]
        assert numbers[0] is not None
        assert numbers[3] is not None
        journal.outbox_failed(numbers[0], T0, None, "no such address")
        journal.outbox_sent(numbers[3], T0)

        backlog = journal.outbox_backlog()

        assert (backlog.waiting, backlog.urgent, backlog.failing) == (2, 1, 0)
        assert (backlog.oldest_ms, backlog.given_up) == (T0 + 1, 1)

    def test_numbers_are_not_used_again_after_pruning(self, journal: Journal) -> None:
        """A late answer to an old message never marks a new one."""
        old = put(journal, "k1")
        assert old is not None
        journal.outbox_sent(old, T0 + 1)

        assert journal.outbox_prune(T0 + 1) == 0
        assert journal.outbox_prune(T0 + 2) == 1
        new = put(journal, "k2")

        assert new is not None
        assert new > old
        assert journal.outbox_prune(T0 + 10**9) == 0, "what waits is never pruned"


class TestAlarms:
    """The history of alarms, by the time they stood."""

    def put(self, journal: Journal, alarm_id: str, raised_ms: int, returned_ms: int | None) -> None:
        """Write an alarm."""
        journal.put_alarm(
            alarm_id,
            unit=CASE,
            rule=Rule.HOLDING,
            raised_ms=raised_ms,
            returned_ms=returned_ms,
            text=f'{{"id":"{alarm_id}"}}',
        )

    def test_alarms_that_stood_at_some_time_of_the_span_are_found(self, journal: Journal) -> None:
        """One that began before the night, and one that still stands, belong to it."""
        self.put(journal, "before", T0, T0 + 9)
        self.put(journal, "across", T0 + 1, T0 + 10)
        self.put(journal, "inside", T0 + 12, T0 + 13)
        self.put(journal, "standing", T0 + 15, None)
        self.put(journal, "after", T0 + 21, T0 + 22)

        found = journal.alarms_between(T0 + 10, T0 + 20)

        assert [alarm.id for alarm in found] == ["across", "inside", "standing"]
        assert [alarm.id for alarm in journal.alarms_between(T0 + 30, T0 + 40)] == ["standing"]

    def test_an_alarm_is_written_in_place_of_its_former_state(self, journal: Journal) -> None:
        """One alarm is one row for its whole life."""
        self.put(journal, "a1", T0, None)
        self.put(journal, "a1", T0, T0 + 60_000)

        alarm = journal.alarm("a1")

        assert alarm is not None
        assert (alarm.unit, alarm.rule, alarm.returned_ms) == (CASE, Rule.HOLDING, T0 + 60_000)
        assert len(journal.alarms_between(0, T0 * 2)) == 1
        assert journal.alarm("a2") is None

    def test_messages_are_found_by_their_time(self, journal: Journal) -> None:
        """The summary has neither unit nor rule."""
        journal.add_message(T0, FIRST, CASE, Rule.HOLDING, About.RAISED, "a1")
        journal.add_message(T0 + 5, FIRST, None, None, About.SUMMARY)

        first, second = journal.messages_between(T0, T0 + 5)

        assert (first.unit, first.rule, first.about) == (CASE, Rule.HOLDING, About.RAISED)
        assert (first.contact, first.alarm_id) == (FIRST, "a1")
        assert (second.unit, second.rule, second.about, second.alarm_id) == (
            None,
            None,
            About.SUMMARY,
            None,
        )
        assert journal.messages_between(T0 + 6, T0 + 7) == []


class TestEventsAndSummaries:
    """What the service did itself."""

    def test_events_are_kept_in_order_and_never_changed(self, journal: Journal) -> None:
        """A restart is part of the record."""
        journal.add_event(T0 + 1, "session-lost", "from 08:00 to 08:10")
        journal.add_event(T0, "started")

        assert [e.what for e in journal.events_between(T0, T0 + 1)] == ["started", "session-lost"]
        assert journal.events_between(T0 + 2, T0 + 3) == []
        for statement in ("UPDATE event SET what = ''", "DELETE FROM event"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                journal._connection.execute(statement)

    def test_a_morning_is_done_once(self, journal: Journal) -> None:
        """However often the service starts that morning, there is one summary."""
        monday, tuesday = date(2026, 3, 2), date(2026, 3, 3)
        assert not journal.summary_done(monday)
        assert journal.put_summary(monday, "All cold.", "<p>All cold.</p>")
        assert not journal.put_summary(monday, "Again.", "<p>Again.</p>")

        kept = journal.summary(monday)

        assert kept is not None
        assert (kept.date, kept.text, kept.html) == (monday, "All cold.", "<p>All cold.</p>")
        assert journal.summary_done(monday)
        assert not journal.summary_done(tuesday)
        assert journal.latest_summary() == kept
        journal.put_summary(tuesday, "Cold.", "<p>Cold.</p>")
        latest = journal.latest_summary()
        assert latest is not None
        assert latest.date == tuesday

    def test_no_summary_yet_is_an_answer(self, journal: Journal) -> None:
        """The first morning of a new shop."""
        assert journal.latest_summary() is None


def test_messages_say_what_became_of_them(journal: Journal) -> None:
    """Taken, refused, waiting; and those whose words are gone from the outbox by now."""
    for n in range(4):
        with journal.batch():
            journal.add_message(T0 + n, FIRST, CASE, Rule.HOLDING, About.RAISED, "a1")
    taken, refused, waiting = (put(journal, f"k{n}", at_ms=T0 + n) for n in range(3))
    assert taken is not None
    assert refused is not None
    assert waiting is not None
    journal.outbox_sent(taken, T0 + 50)
    journal.outbox_failed(refused, T0 + 60, T0 + 9000, "json://…: Too Many Requests")
    rows = journal.messages_between(T0, T0 + 3)

    assert [(row.sent_ms, row.refused) for row in rows] == [
        (T0 + 50, None),
        (None, "json://…: Too Many Requests"),
        (None, ""),
        (None, None),
    ]
