"""Who is told what when the shop sleeps.

Times are UTC on 2026-03-02; Chicago is six hours behind, so the night is 03:00Z to 12:00Z.
"""

from collections.abc import Callable
from typing import Any

import pytest

from rimewatch.vocabulary import Priority, Rule

Make = Callable[..., Any]


def test_night_high_alarm_wakes_and_says_so(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """Fish at risk at two in the morning rings, and the record says that it woke somebody."""
    desk = open_desk(shop_of(step(0, "first", 900), night=night_of()))

    desk.wrong("08:00:00")
    desk.until("08:20:00")

    assert desk.messages == ["08:00:00 first raised", "08:15:00 first repeat"]
    assert all(send.night for send in desk.sent)
    assert desk.record[desk.alarm().id].woke


def test_night_other_alarm_waits_for_the_morning_summary(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """A silent probe at night sends nothing, then or after; the record still has it."""
    desk = open_desk(shop_of(step(0, "first", 900), step(1800, "owner", 900), night=night_of()))

    desk.wrong("08:00:00", rule=Rule.STALE)
    desk.until("18:00:00")
    desk.right("18:00:00", rule=Rule.STALE)

    assert desk.messages == []
    (alarm,) = desk.record.values()
    assert (alarm.told, alarm.woke, alarm.steps_done) == (False, False, 2)
    assert alarm.priority is Priority.MEDIUM


def test_night_step_that_falls_due_by_day_is_sent_by_day(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """Raised at 05:50 local and still unseen at 06:20, it is escalated: the night is over."""
    desk = open_desk(shop_of(step(0, "first"), step(1800, "owner"), night=night_of()))

    desk.wrong("11:50:00", rule=Rule.STALE)
    desk.until("13:00:00")

    assert desk.messages == ["12:20:00 owner escalated"]


def test_night_repeats_of_a_day_s_alarm_pause_and_go_on_at_the_same_minutes(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """Told at 20:50 local, repeated each hour: not after nine, again from 06:50."""
    desk = open_desk(shop_of(step(0, "first", 3600), night=night_of()))

    desk.wrong("02:50:00", rule=Rule.STALE)
    desk.until("14:00:00")

    assert desk.messages == [
        "02:50:00 first raised",
        "12:50:00 first repeat",
        "13:50:00 first repeat",
    ]
    assert [send.nth for send in desk.sent] == [0, 10, 11]
    assert not desk.alarm(rule=Rule.STALE).woke


def test_night_return_of_a_lesser_alarm_is_not_sent(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """Nobody is woken to hear that a probe speaks again."""
    desk = open_desk(shop_of(step(0, "first"), night=night_of()))

    desk.wrong("02:50:00", rule=Rule.STALE)
    desk.right("05:00:00", rule=Rule.STALE)
    desk.until("20:00:00")

    assert desk.messages == ["02:50:00 first raised"]


def test_night_woke_stays_on_the_record_when_it_goes_on_by_day(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """An alarm that woke somebody at five has done so, whatever it says at seven."""
    desk = open_desk(shop_of(step(0, "first", 7200), night=night_of()))

    desk.wrong("11:00:00")
    desk.until("13:00:00")

    assert [send.night for send in desk.sent] == [True, False]
    assert desk.record[desk.alarm().id].woke


def test_night_day_alarm_that_repeats_into_the_night_wakes(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """A high alarm raised by day wakes from its first message after nine on."""
    desk = open_desk(shop_of(step(0, "first", 900), night=night_of()))

    desk.wrong("02:50:00")
    assert not desk.alarm().woke
    desk.until("03:05:00")

    assert [send.night for send in desk.sent] == [False, True]
    assert desk.alarm().woke


def test_night_alarm_whose_priority_rises_is_told_after_all(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """A projection the night had swallowed rings once it is firm that fish is at stake."""
    desk = open_desk(shop_of(step(0, "first", 900), night=night_of()))
    since_ms = desk.at("08:00:00")

    desk.wrong("08:00:00", rule=Rule.PROJECTION, since_ms=since_ms)
    desk.wrong("08:10:00", rule=Rule.PROJECTION, since_ms=since_ms, priority=Priority.HIGH)
    desk.wrong("08:12:00", rule=Rule.PROJECTION, since_ms=since_ms, priority=Priority.HIGH)
    desk.wrong("08:14:00", rule=Rule.PROJECTION, since_ms=since_ms)
    desk.until("08:25:00")

    assert desk.messages == ["08:10:00 first raised", "08:25:00 first repeat"]
    alarm = desk.alarm(rule=Rule.PROJECTION)
    assert (alarm.raised_ms, alarm.priority, alarm.woke) == (since_ms, Priority.HIGH, True)


def test_night_alarm_told_by_day_and_back_from_its_shelf_at_night_is_told_when_it_rises(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """What counts is whether anybody heard of it since it was last opened."""
    desk = open_desk(shop_of(step(0, "first"), night=night_of()))

    desk.wrong("02:00:00", rule=Rule.PROJECTION)
    desk.shelve("02:30:00", "04:00:00", rule=Rule.PROJECTION)
    desk.until("05:00:00")
    desk.wrong("05:00:00", rule=Rule.PROJECTION, priority=Priority.HIGH)

    assert desk.messages == ["02:00:00 first raised", "05:00:00 first raised"]


def test_night_alarm_with_new_facts_but_no_more_urgent_is_not_caught_up_by_day(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """Facts change with every reading; after the night that alone tells nobody."""
    desk = open_desk(shop_of(step(0, "first", 900), night=night_of()))

    desk.wrong("11:50:00", rule=Rule.STALE, fish_c=1.0)
    desk.wrong("12:10:00", rule=Rule.STALE, fish_c=2.0)
    desk.until("18:00:00")

    assert desk.messages == []


def test_night_alarm_that_rises_but_still_may_not_sound_is_left_as_it_was(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """From low to medium at night: nothing to tell, and no new start of its escalation."""
    desk = open_desk(shop_of(step(0, "first"), step(14_400, "owner"), night=night_of()))

    desk.wrong("08:00:00", rule=Rule.DOOR)
    desk.wrong("09:00:00", rule=Rule.DOOR, priority=Priority.MEDIUM)
    assert desk.alarm(rule=Rule.DOOR).round == 0
    desk.until("18:00:00")

    assert desk.messages == ["12:00:00 owner escalated"]


def test_night_none_configured_lets_everything_sound_and_wakes_nobody(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """A shop that names no night is told of all things at all hours."""
    desk = open_desk(shop_of(step(0, "first")))

    desk.wrong("08:00:00", rule=Rule.BATTERY)

    assert desk.messages == ["08:00:00 first raised"]
    assert not desk.sent[0].night
    assert not desk.alarm(rule=Rule.BATTERY).woke


@pytest.mark.parametrize(
    ("day", "first_silent", "first_sounding"),
    [
        ("2026-03-08", "2026-03-08T03:00:00Z", "2026-03-08T11:00:00Z"),
        ("2026-11-01", "2026-11-01T02:00:00Z", "2026-11-01T12:00:00Z"),
    ],
)
def test_night_of_a_clock_change_repeats_stop_and_go_on_by_local_time(
    open_desk: Make,
    shop_of: Make,
    step: Make,
    night_of: Make,
    day: str,
    first_silent: str,
    first_sounding: str,
) -> None:
    """Nine and six are local, also on the nights of 8 and 10 hours."""
    desk = open_desk(shop_of(step(0, "first", 600), night=night_of()), day=day)

    desk.wrong("01:00:00", rule=Rule.STALE)
    desk.until("14:00:00")

    sent = [send.at_ms for send in desk.sent]
    silent, sounding = desk.at(first_silent), desk.at(first_sounding)
    ten_min = 600_000
    assert sent == [
        *range(desk.at("01:00:00"), silent, ten_min),
        *range(sounding, desk.at("14:00:00") + 1, ten_min),
    ]
