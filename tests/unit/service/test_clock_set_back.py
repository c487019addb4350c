"""A machine whose clock was hours ahead, and is put right while an alarm stands."""

from pathlib import Path

from rimewatch.config import load_shop
from rimewatch.entries import Shelve
from rimewatch.evaluation.evaluator import MOST_MISSED_MORNINGS
from rimewatch.evaluation.mornings import next_morning
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal.journal import Journal
from rimewatch.notify.results import Failed
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, About, Rule, UnitId

TRUE_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
AHEAD_MS = 4 * MS_PER_H

SHOP_TEXT = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:1883"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
on_delay_s = 300
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = { value = "t", time = "ts" }
every_s = 120
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:1/"]
[[contact]]
id = "second"
name = "Owner"
urls = ["json://127.0.0.1:2/"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
[[escalation]]
after_s = 1800
contacts = ["second"]
"""
SHOP = load_shop(SHOP_TEXT)


class TurnedClock:
    """A clock that somebody turns, back as well."""

    def __init__(self, now_ms: int) -> None:
        self.ms = now_ms

    def now_ms(self) -> int:
        return self.ms

    def monotonic_s(self) -> float:
        return 0.0


def warm(at_ms: int, arrived_ms: int) -> Arrived:
    payload = f'{{"t": 9.0, "ts": {at_ms}}}'.encode()
    return Arrived("shop/case-1/air", payload, arrived_ms, False, 1, 1, 1)


def told(journal: Journal) -> list[tuple[str, About]]:
    return [(row.contact, row.about) for row in journal.messages_between(0, 2**53) if row.rule]


def test_clock_set_back_by_hours_holds_up_no_message_and_no_step(tmp_path: Path) -> None:
    """The first is tried again at once, and told again; the second hears after half an hour."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = TurnedClock(TRUE_MS + AHEAD_MS)
        writer = Writer(SHOP, journal, clock)
        writer.take([warm(TRUE_MS - 120_000 * n, clock.ms) for n in range(5)][::-1])
        clock.ms += 1100  # late readings are folded in after a second
        writer.take(())
        (row,) = writer.due_messages()
        assert told(journal) == [("first", About.RAISED)]
        failed = Failed(id=row.id, at_ms=clock.ms, error="no network", permanent=False)

        writer.take((), [failed])
        clock.ms = TRUE_MS
        writer.take([warm(TRUE_MS, clock.ms)])
        assert [again.id for again in journal.outbox_due(clock.ms)] == [row.id]

        for minutes in (16, 31):
            clock.ms = TRUE_MS + minutes * 60_000
            writer.take([warm(clock.ms - 60_000, clock.ms)])
        said = told(journal)
        assert ("first", About.REPEAT) in said
        assert ("second", About.ESCALATED) in said
        assert any(event.what == "clock set back" for event in journal.events_between(0, 2**53))


def test_clock_set_back_lets_no_shelf_last_into_the_day(tmp_path: Path) -> None:
    """Put aside for 45 minutes by a clock that was ahead, it sounds after 45 minutes."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = TurnedClock(TRUE_MS + AHEAD_MS)
        writer = Writer(SHOP, journal, clock)
        unit, rule = UnitId("case-1"), Rule.HOLDING
        journal.add_entry(Shelve(at_ms=clock.ms, unit=unit, rule=rule, minutes=45.0), "test")
        writer.take([warm(TRUE_MS - 120_000 * n, clock.ms) for n in range(5)][::-1])
        clock.ms = TRUE_MS
        writer.take(())
        for minutes in range(2, 45, 2):  # a probe that fell silent would be told of
            clock.ms = TRUE_MS + minutes * 60_000
            writer.take([warm(clock.ms, clock.ms)])
        assert told(journal) == []

        clock.ms = TRUE_MS + 46 * 60_000
        writer.take([warm(clock.ms, clock.ms)])
        assert ("first", About.RAISED) in told(journal)


def test_try_that_failed_before_the_clock_was_set_back_is_repeated_soon(tmp_path: Path) -> None:
    """What the phone's service said just before is written down just after."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = TurnedClock(TRUE_MS + AHEAD_MS)
        writer = Writer(SHOP, journal, clock)
        writer.take([warm(TRUE_MS - 120_000 * n, clock.ms) for n in range(5)][::-1])
        clock.ms += 1100
        writer.take(())
        (row,) = writer.due_messages()
        failed = Failed(id=row.id, at_ms=clock.ms, error="no network", permanent=False)
        clock.ms = TRUE_MS
        writer.take((), [failed])

        assert row.id in [again.id for again in journal.outbox_due(TRUE_MS + 60_000)]


NUMBER_TEXT = SHOP_TEXT.replace('format = "json"', 'format = "number"').replace(
    'fields = { value = "t", time = "ts" }\n', ""
)
NUMBER_SHOP = load_shop(NUMBER_TEXT)
"""Its probe tells no time: a reading counts when it arrives."""


def plain(celsius: float, arrived_ms: int) -> Arrived:
    return Arrived("shop/case-1/air", str(celsius).encode(), arrived_ms, False, 1, 1, 1)


def live(
    writer: Writer, clock: TurnedClock, celsius: float, minutes: int, every_min: int = 2
) -> None:
    """Let a probe speak every few minutes."""
    for _ in range(minutes // every_min):
        clock.ms += every_min * 60_000
        writer.take([plain(celsius, clock.ms)])


def test_fish_that_warms_after_the_clock_was_set_back_an_hour_is_told_of(tmp_path: Path) -> None:
    """The readings of the hour before have later times: they must not hide what is so now."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = TurnedClock(TRUE_MS)
        writer = Writer(NUMBER_SHOP, journal, clock)
        live(writer, clock, 2.0, 120)
        clock.ms -= MS_PER_H - 7_000  # no two readings have one time
        live(writer, clock, 9.0, 10)

        assert ("first", About.RAISED) in told(journal)


def test_alarm_that_stands_while_the_clock_is_set_back_goes_on_and_ends_with_the_cold(
    tmp_path: Path,
) -> None:
    """No word that the fish is cold while it is warm, and one when it is."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = TurnedClock(TRUE_MS)
        writer = Writer(NUMBER_SHOP, journal, clock)
        live(writer, clock, 2.0, 60)
        live(writer, clock, 9.0, 14)
        clock.ms -= MS_PER_H - 7_000  # no two readings have one time
        live(writer, clock, 9.0, 14)
        before = [about for _, about in told(journal)]
        live(writer, clock, 1.0, 20)

        assert About.RETURNED not in before
        assert before.count(About.RAISED) == 1
        assert About.RETURNED in [about for _, about in told(journal)]


def test_year_forward_and_back_leaves_the_watch_and_its_mornings_as_they_were(
    tmp_path: Path,
) -> None:
    """Afterwards silence is noticed, warm fish is told of, and each morning has its message."""
    # A year of silence, repeated every quarter of an hour, would be 35,000 messages to write.
    shop = load_shop(NUMBER_TEXT.replace("repeat_s = 900", "repeat_s = 21600"))
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = TurnedClock(TRUE_MS)
        writer = Writer(shop, journal, clock)
        live(writer, clock, 2.0, 60)
        clock.ms += 365 * MS_PER_DAY
        live(writer, clock, 2.0, 60)
        clock.ms -= 365 * MS_PER_DAY
        writer.take(())
        since_ms = clock.ms
        clock.ms += 400_000
        writer.take(())
        silent = journal.messages_between(since_ms, clock.ms)
        assert [(row.rule, row.about) for row in silent] == [(Rule.STALE, About.RAISED)]

        live(writer, clock, 2.0, 24 * 60, every_min=5)
        assert len(summaries(journal, TRUE_MS, clock.ms)) == 1
        assert len(summaries(journal, TRUE_MS, 2**53)) <= 1 + MOST_MISSED_MORNINGS
        live(writer, clock, 9.0, 14)
        alarm = journal.messages_between(clock.ms - 10 * 60_000, clock.ms)
        assert (Rule.HOLDING, About.RAISED) in [(row.rule, row.about) for row in alarm]


def test_week_forward_and_back_has_a_message_each_morning_once(tmp_path: Path) -> None:
    """Its mornings were greeted ahead of their nights: they are greeted again, by message."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        clock = TurnedClock(TRUE_MS)
        writer = Writer(NUMBER_SHOP, journal, clock)
        live(writer, clock, 2.0, 60)
        clock.ms += 7 * MS_PER_DAY
        live(writer, clock, 2.0, 60)
        clock.ms -= 7 * MS_PER_DAY
        for _ in range(2):
            live(writer, clock, 2.0, 24 * 60, every_min=5)

        waiting = [row for row in journal.outbox_due(clock.ms) if row.about is About.SUMMARY]
        assert [row.at_ms for row in waiting if TRUE_MS < row.at_ms < clock.ms] == [
            next_morning(TRUE_MS + days * MS_PER_DAY, SHOP.summary_at, SHOP.timezone)[1]
            for days in range(2)
        ]


def summaries(journal: Journal, from_ms: int, to_ms: int) -> list[int]:
    rows = journal.messages_between(from_ms, to_ms)
    return [row.at_ms for row in rows if row.about is About.SUMMARY]
