"""The evaluator: what falls due is done at its own time, however time is told to it."""

from typing import Any

import pytest

from handmade import ONE_CONTACT, Paper, probe, shop, timed_probe, unit
from rimewatch.alarms.effects import Send
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.outcome import SummaryDue
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceEntry
from rimewatch.shop import Shop
from rimewatch.vocabulary import Rule

DAY = "2026-03-02T15:00:00Z"
SHOP = shop(unit(on_delay_s=300), timed_probe(), ONE_CONTACT)


class Desk:
    """An evaluator that is fed from a trace, with everything it gave out."""

    def __init__(self, in_shop: Shop, paper: Paper) -> None:
        self.paper = paper
        self.store = MemoryStore()
        self.evaluator = Evaluator(in_shop, self.store, paper.start_ms)
        self.receiver = Receiver(in_shop)
        self.outcomes: list[Any] = []

    def feed(self, every_ms: int | None = None) -> "Desk":
        """Feed the whole trace; with ``every_ms``, tell the time that often in between."""
        for line in self.paper.read():
            while every_ms and self.evaluator.now_ms + every_ms < line.at_ms:
                self.advance(self.evaluator.now_ms + every_ms)
            self.advance(line.at_ms)
            if isinstance(line, TraceEntry):
                self.evaluator.enter(line.entry)
            else:
                for reading in self.receiver.receive(line.topic, line.payload, line.at_ms).readings:
                    if self.store.add(reading):
                        self.evaluator.observe(reading)
            self.outcomes.extend(self.evaluator.take_outcomes())
        return self

    def advance(self, at_ms: int) -> None:
        """Tell the time."""
        self.evaluator.advance(at_ms)
        self.outcomes.extend(self.evaluator.take_outcomes())

    def finish(self, at_s: float) -> "Desk":
        """Do what is due up to an instant."""
        self.evaluator.finish(self.paper.at_ms(at_s))
        self.outcomes.extend(self.evaluator.take_outcomes())
        return self


@pytest.mark.parametrize(("minutes", "is_told"), [(2, False), (9, False), (10, True), (15, True)])
def test_trend_is_told_of_ten_minutes_and_not_of_less(minutes: int, is_told: bool) -> None:
    """A minute of a door's warm air made "rising 494 °F an hour"."""
    paper = Paper(DAY).curve([(0, 4.0), (60 * minutes, 4.0 + minutes)], every_s=60)
    desk = Desk(shop(unit(on_delay_s=60 * minutes - 90), probe(), ONE_CONTACT), paper)
    desk.feed().finish(60 * minutes)
    (due,) = [outcome for outcome in desk.outcomes if isinstance(outcome, Send)]

    told = due.condition.rate_c_per_h
    assert told == (pytest.approx(60.0) if is_told else None)


def troubled_day() -> Paper:
    """Return a day with warmth, silence, an acknowledgement, and a backlog."""
    paper = Paper(DAY)
    for minute in range(60):
        paper.dated(60 * minute, 60 * minute, 7.0 if 10 <= minute < 40 else 2.0)
    paper.do(60 * 25, "acknowledge", unit="case-1", rule="holding")
    for minute in range(90, 100):
        paper.dated(60 * minute, 60 * minute, 2.0)
    for minute in range(60, 90):
        paper.dated(6000 + minute / 100, 60 * minute, 6.5)
    for minute in range(101, 130):
        paper.dated(60 * minute, 60 * minute, 2.0)
    return paper


@pytest.mark.parametrize("every_ms", [1000, 7000, 59_999])
def test_evaluator_does_the_same_however_often_it_is_told_the_time(every_ms: int) -> None:
    """A clock that ticks each second, and a replay that jumps from line to line."""
    seldom = Desk(SHOP, troubled_day()).feed().finish(8000)
    often = Desk(SHOP, troubled_day()).feed(every_ms).finish(8000)

    assert often.outcomes == seldom.outcomes
    assert any(isinstance(outcome, Send) for outcome in seldom.outcomes)


def test_evaluator_always_has_something_due() -> None:
    """There is always a next morning."""
    evaluator = Desk(SHOP, Paper(DAY)).evaluator

    assert evaluator.now_ms < evaluator.next_due_ms() <= evaluator.now_ms + 86_400_000


def test_evaluator_gives_its_outcomes_once() -> None:
    """What was taken is not given again, and finishing twice adds nothing."""
    desk = Desk(SHOP, troubled_day()).feed().finish(8000)
    count = len(desk.outcomes)

    desk.finish(8000)

    assert len(desk.outcomes) == count
    assert desk.evaluator.take_outcomes() == []


def test_evaluator_catches_up_with_every_morning_of_a_long_silence() -> None:
    """Three days without a message: three summaries, each of its own day."""
    desk = Desk(SHOP, Paper(DAY).dated(0, 0, 2.0)).feed().finish(3 * 86_400)

    mornings = [o for o in desk.outcomes if isinstance(o, SummaryDue)]

    assert [o.day.isoformat() for o in mornings] == ["2026-03-03", "2026-03-04", "2026-03-05"]
    assert [o.to_ms for o in mornings[:-1]] == [o.from_ms for o in mornings[1:]]
    assert mornings[0].from_ms == desk.paper.start_ms, "watching began after the morning before"


def test_evaluator_lets_what_arrives_at_an_instant_come_before_what_is_due_at_it() -> None:
    """The reading at the very end of the stale time keeps the alarm from coming."""
    desk = Desk(SHOP, Paper(DAY).dated(0, 0, 2.0).dated(180, 180, 2.0)).feed()

    assert [c.rule for c in desk.evaluator.alarms.conditions] == []


def test_evaluator_folds_late_readings_in_within_a_second() -> None:
    """A backlog is one piece of work, and soon done."""
    paper = Paper(DAY).dated(0, 0, 2.0).dated(1000, 1000, 6.0)
    for n in range(1, 17):
        paper.dated(1000 + n / 100, 60 * n, 6.0)
    desk = Desk(SHOP, paper).feed()

    assert Rule.HOLDING not in {key.rule for key in desk.evaluator.alarms.conditions}
    desk.advance(paper.at_ms(1001.02))
    assert Rule.HOLDING in {key.rule for key in desk.evaluator.alarms.conditions}


def test_evaluator_knows_where_lots_stand() -> None:
    """For the message that says what is at stake."""
    two = shop(unit(), unit("case-2"), probe(), probe("other", "case-2"))
    paper = Paper(DAY).receive(0).do(10, "move-lot", lot="L1", unit="case-1")
    paper.receive(0, "L2").do(20, "move-lot", lot="L2", unit="case-1")
    paper.do(30, "move-lot", lot="L1", unit="case-2")

    evaluator = Desk(two, paper).feed().evaluator

    assert {u.id: evaluator.lots_in(u.id) for u in two.units} == {
        "case-1": ("L2",),
        "case-2": ("L1",),
    }
