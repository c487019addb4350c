"""Figures of alarm performance on hand-made records.

Sources of the benchmarks: IEC 62682 / ANSI/ISA-18.2 performance metrics (flood above 10 in
10 min, its end below 5 from memory; chattering from 3 in 1 min; stale after 24 h).
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from rimewatch.alarms import Alarm, State
from rimewatch.alarms.metrics import Flood, chattering, floods, measure
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.vocabulary import MS_PER_DAY, Priority, Rule, UnitId

S = 1000
MIN = 60 * S
H = 60 * MIN


def alarm(raised_ms: int, rule: Rule = Rule.HOLDING, unit: str = "case-1", **facts: Any) -> Alarm:
    """Return an alarm of the record; by default returned after a minute, never acknowledged."""
    key = AlarmKey(unit=UnitId(unit), rule=rule)
    return replace(
        Alarm(
            id=f"{unit}:{rule}:{raised_ms}",
            key=key,
            units=(UnitId(unit),),
            priority=Priority.HIGH,
            state=State.RETURNED_UNACKNOWLEDGED,
            since_ms=raised_ms,
            raised_ms=raised_ms,
            opened_ms=raised_ms,
            condition=Condition(key=key, since_ms=raised_ms),
            returned_ms=raised_ms + MIN,
        ),
        **facts,
    )


def test_metrics_of_an_ordinary_week() -> None:
    """Three alarms in two days: their rate, their answers, their repeats."""
    record = [
        alarm(1 * H, acknowledged_ms=1 * H + 5 * MIN, repeats_sent=0, woke=True),
        alarm(20 * H, acknowledged_ms=20 * H + 25 * MIN, repeats_sent=1),
        alarm(30 * H, Rule.DOOR, priority=Priority.LOW, repeats_sent=4),
    ]

    figures = measure(record, 0, 2 * MS_PER_DAY)

    assert figures.alarms == 3
    assert figures.alarms_per_day == 1.5
    assert figures.by_priority == {Priority.HIGH: 2, Priority.MEDIUM: 0, Priority.LOW: 1}
    assert figures.woke == 1
    assert figures.repeats_sent == 5
    assert figures.to_acknowledge_median_s == 15 * 60
    assert figures.to_acknowledge_longest_s == 25 * 60
    assert figures.never_acknowledged == 1
    assert figures.standing == figures.stale == 0
    assert figures.floods == ()
    assert figures.beyond_benchmarks() == ()


def test_metrics_without_alarms_have_no_time_to_acknowledge() -> None:
    """Nothing raised is nothing to answer, not an answer in no time."""
    figures = measure([], 0, MS_PER_DAY)

    assert figures.to_acknowledge_median_s is None
    assert figures.to_acknowledge_longest_s is None
    assert figures.alarms_per_day == 0


def test_metrics_count_only_alarms_of_the_time_looked_at() -> None:
    """The beginning belongs to the time, the end does not."""
    record = [alarm(at) for at in (H - 1, H, 2 * H - 1, 2 * H)]

    assert measure(record, H, 2 * H).alarms == 2


def test_metrics_standing_and_stale_alarms() -> None:
    """Active now is standing, older too; over 24 h is stale; what is silenced is neither."""
    now = 3 * MS_PER_DAY
    active: dict[str, Any] = {"returned_ms": None, "state": State.ACKNOWLEDGED}
    record = [
        alarm(now - 24 * H, **active),
        alarm(now - 24 * H - 1, **active),
        alarm(0, **active),
        alarm(0, returned_ms=None, state=State.SHELVED),
        alarm(0),
        alarm(now + 1, **active),
    ]

    figures = measure(record, now - H, now)

    assert figures.standing == 3
    assert figures.stale == 2


@pytest.mark.parametrize(
    ("gaps_s", "expected"),
    [((30, 30), True), ((30, 31), False), ((60,), False), ((300, 1, 59), True)],
)
def test_metrics_three_in_one_minute_chatter(gaps_s: tuple[int, ...], expected: bool) -> None:
    """Three times within a minute, both ends included."""
    at = 0
    record = [alarm(at)]
    for gap_s in gaps_s:
        at += gap_s * S
        record.append(alarm(at))

    assert bool(chattering(record)) is expected


def test_metrics_chattering_is_of_one_alarm_not_of_several() -> None:
    """Three different alarms in a minute are a bad minute, not chattering."""
    record = [alarm(0), alarm(1 * S, unit="case-2"), alarm(2 * S, Rule.DOOR)]

    assert chattering(record) == ()


def test_metrics_joined_occurrences_chatter_too() -> None:
    """Joined to one alarm they have fluttered all the same."""
    assert chattering([alarm(0, chatter=1)]) == ()
    assert [key.unit for key in chattering([alarm(0, chatter=2)])] == ["case-1"]


@pytest.mark.parametrize(
    ("count", "spacing_s", "expected"),
    [
        # Ten in ten minutes are no flood: it takes more than ten.
        (10, 1, ()),
        # The eleventh begins it at 10 s. Those of 0 s to 6 s have left by 606 s: four remain.
        (11, 1, (Flood(begins_ms=10 * S, ends_ms=606 * S, alarms=11),)),
        # Eleven over just 600 s: the first leaves as the eleventh comes.
        (11, 60, ()),
        # Spaced by 59 s the eleventh comes at 590 s; the seventh, of 354 s, leaves at 954 s.
        (11, 59, (Flood(begins_ms=590 * S, ends_ms=954 * S, alarms=11),)),
    ],
)
def test_metrics_flood_begins_above_ten_and_ends_below_five(
    count: int, spacing_s: int, expected: tuple[Flood, ...]
) -> None:
    """Worked by hand: begins with the alarm that makes eleven, ends when four are left."""
    assert floods((i * spacing_s * S for i in range(count)), to_ms=H) == expected


def test_metrics_flood_that_has_not_ended_has_no_end() -> None:
    """Looked at in the midst of it."""
    assert floods([0] * 11, to_ms=5 * MIN) == (Flood(begins_ms=0, ends_ms=None, alarms=11),)
    assert floods([0] * 11, to_ms=10 * MIN) == (Flood(begins_ms=0, ends_ms=10 * MIN, alarms=11),)


def test_metrics_two_floods_are_two() -> None:
    """An hour apart, each with its own number; what comes between belongs to neither."""
    first, between, second = [0] * 12, [30 * MIN], [H] * 15

    found = floods([*second, *first, *between], to_ms=3 * H)

    assert [(flood.begins_ms, flood.alarms) for flood in found] == [(0, 12), (H, 15)]


def test_metrics_flood_grows_while_it_lasts() -> None:
    """Alarms that follow before it ends are counted to it, and keep it going."""
    found = floods([*[0] * 11, *[9 * MIN] * 5], to_ms=H)

    assert found == (Flood(begins_ms=0, ends_ms=19 * MIN, alarms=16),)


def test_metrics_beyond_benchmarks_names_each_failing() -> None:
    """A shop that cries wolf all day hears in what way."""
    flood = [alarm(i * S, unit=f"case-{i % 5}") for i in range(301)]
    standing = [
        alarm(-2 * MS_PER_DAY, unit=f"walk-in-{i}", returned_ms=None, state=State.ACKNOWLEDGED)
        for i in range(5)
    ]

    found = measure([*flood, *standing], 0, MS_PER_DAY).beyond_benchmarks()

    assert [text.split(";")[0] for text in found] == [
        "301 alarms a day",
        "5 alarms chatter",
        "5 stale alarms",
        "1.0% of the time in flood",
    ]


def test_metrics_between_the_benchmarks_is_more_than_manageable() -> None:
    """From 150 on it is too much, from 300 on far too much."""
    record = [alarm(i * 9 * MIN, unit=f"case-{i}") for i in range(151)]

    (text,) = measure(record, 0, MS_PER_DAY).beyond_benchmarks()

    assert text == "151 alarms a day; at most 150 are manageable"


def test_metrics_of_no_time_are_refused() -> None:
    """A rate needs a time."""
    with pytest.raises(ValueError, match="expected an instant after from_ms"):
        measure([], H, H)


def test_metrics_read_the_engine_s_own_record(
    open_desk: Callable[..., Any], shop_of: Callable[..., Any], step: Callable[..., Any]
) -> None:
    """What the engine records is what is measured."""
    desk = open_desk(shop_of(step(0, "first", 600)))
    desk.wrong("18:00:00")
    desk.until("18:21:00")
    desk.acknowledge("18:21:00")
    desk.right("18:30:00")

    figures = measure(list(desk.record.values()), desk.at("18:00:00"), desk.at("19:00:00"))

    assert figures.alarms_per_day == 24
    assert figures.repeats_sent == 2
    assert figures.to_acknowledge_median_s == 21 * 60


def test_metrics_are_of_the_time_looked_at_wherever_it_lies() -> None:
    """Eleven alarms at once on the third day, looked at over the third and the fourth."""
    begin_ms = 2 * MS_PER_DAY
    record = [alarm(begin_ms + H, unit=f"case-{i}") for i in range(11)]

    figures = measure(record, begin_ms, 2 * begin_ms)

    assert figures.alarms_per_day == 5.5
    assert figures.flood_share == pytest.approx(10 / (48 * 60))


def test_metrics_flood_is_not_made_of_alarms_after_the_time_looked_at() -> None:
    """Ten before its end and one at it are no flood of that time."""
    assert floods([*[0] * 10, MIN], to_ms=MIN) == ()
    assert len(floods([*[0] * 10, MIN - 1], to_ms=MIN)) == 1


def test_metrics_of_300_alarms_a_day_need_cutting() -> None:
    """From so many a day on, not only beyond (IEC 62682 / ANSI/ISA-18.2)."""
    record = [alarm(i * 4 * MIN, unit=f"case-{i}") for i in range(300)]

    (text,) = measure(record, 0, MS_PER_DAY).beyond_benchmarks()

    assert text == "300 alarms a day; 300 need cutting"
