"""Acknowledged is not solved: worse, or not back in time; and what flutters about its limit.

Times are UTC on 2026-03-02, by day in the shop.
"""

from collections.abc import Callable
from typing import Any

import pytest

from rimewatch.alarms import Event, State
from rimewatch.vocabulary import Priority, Rule

Make = Callable[..., Any]


@pytest.fixture
def escalation(step: Make) -> Any:
    """At once and every ten minutes; the owner after a quarter of an hour."""
    return (step(0, "first", 600), step(900, "owner"))


def test_acknowledged_alarm_that_gets_worse_opens_again(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Somebody looked at 6 °C; at 9 °C they are called again, from the first step."""
    desk = open_desk(shop_of(*escalation))
    since_ms = desk.at("18:00:00")

    desk.wrong("18:00:00", since_ms=since_ms, severity=1)
    desk.acknowledge("18:05:00")
    desk.wrong("18:30:00", since_ms=since_ms, severity=2)
    desk.until("18:45:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:30:00 first raised",
        "18:40:00 first repeat",
        "18:45:00 owner escalated",
    ]
    alarm = desk.alarm()
    assert (alarm.state, alarm.round, alarm.acknowledged_ms) == (State.UNACKNOWLEDGED, 1, None)
    assert len(desk.record) == 1
    assert Event.REOPENED in [change.event for change in desk.changes]


def test_acknowledged_alarm_no_worse_than_ever_stays_quiet(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Better and then as bad as before is nothing new; nor is a priority alone."""
    desk = open_desk(shop_of(*escalation))

    desk.wrong("18:00:00", severity=2)
    desk.acknowledge("18:05:00")
    desk.wrong("18:10:00", severity=1)
    desk.wrong("18:20:00", severity=2)
    desk.wrong("18:30:00", severity=2, priority=Priority.HIGH)
    desk.until("19:00:00")

    assert desk.messages == ["18:00:00 first raised"]


def test_unacknowledged_alarm_that_gets_worse_goes_on_as_it_was(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """It is ringing already; starting again would only put the owner off."""
    desk = open_desk(shop_of(*escalation))

    desk.wrong("18:00:00", severity=0)
    desk.wrong("18:14:00", severity=5)
    desk.until("18:15:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:10:00 first repeat",
        "18:15:00 owner escalated",
    ]


def test_promise_that_passes_opens_the_alarm_again(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Somebody will be there in half an hour: if it is still warm then, it rings again."""
    desk = open_desk(shop_of(*escalation))

    desk.wrong("18:00:00")
    desk.acknowledge("18:05:00", back_within_s=1800)
    assert desk.engine.next_due_ms(desk.state) == desk.at("18:35:00")
    desk.until("18:45:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:35:00 first raised",
        "18:45:00 first repeat",
    ]


def test_promise_can_be_renewed(open_desk: Make, shop_of: Make, escalation: Any) -> None:
    """A second word before the time is up puts it off; a plain one takes nothing back."""
    desk = open_desk(shop_of(*escalation))

    desk.wrong("18:00:00")
    desk.acknowledge("18:05:00", back_within_s=1800)
    desk.acknowledge("18:30:00", who="Theo", back_within_s=3600)
    desk.acknowledge("18:31:00")
    desk.until("19:29:59")
    assert desk.messages == ["18:00:00 first raised"]
    assert desk.alarm().acknowledged_by == "Mia"

    desk.until("19:30:00")
    assert desk.messages[1:] == ["19:30:00 first raised"]


def test_promise_that_has_passed_is_spent(open_desk: Make, shop_of: Make, escalation: Any) -> None:
    """It rang again for it once; acknowledged without a new promise, it stays quiet."""
    desk = open_desk(shop_of(*escalation))

    desk.wrong("18:00:00")
    desk.acknowledge("18:05:00", back_within_s=1800)
    desk.until("18:35:00")
    desk.acknowledge("18:36:00")
    desk.until("22:30:00")

    assert desk.messages == ["18:00:00 first raised", "18:35:00 first raised"]


def test_promise_is_forgotten_when_the_alarm_has_returned(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Cold again before the time: nothing rings, not even for the next alarm's promise."""
    desk = open_desk(shop_of(*escalation))

    desk.wrong("18:00:00")
    desk.acknowledge("18:05:00", back_within_s=1800)
    desk.right("18:30:00")
    desk.wrong("18:32:00")
    desk.acknowledge("18:33:00")
    desk.until("22:30:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:30:00 first returned",
        "18:32:00 first raised",
    ]


@pytest.mark.parametrize("seconds", [0, -60, float("nan")])
def test_promise_without_length_is_refused(
    open_desk: Make, shop_of: Make, escalation: Any, seconds: float
) -> None:
    """A promise has to lie ahead."""
    desk = open_desk(shop_of(*escalation))
    desk.wrong("18:00:00")
    with pytest.raises(ValueError, match=r"back_within_s is .*; expected more than 0 s"):
        desk.acknowledge("18:05:00", back_within_s=seconds)


# --- chattering ---------------------------------------------------------------------------


def test_chattering_alarm_is_one_alarm_and_one_wake_up(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Within the window it is the same alarm: not raised again, escalated as if unbroken."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 120})

    desk.wrong("18:00:00")
    desk.right("18:02:00")
    desk.wrong("18:03:00")
    desk.right("18:04:00")
    desk.wrong("18:05:59")
    desk.until("18:20:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:02:00 first returned",
        "18:10:00 first repeat",
        "18:15:00 owner escalated",
        "18:20:00 first repeat",
    ]
    alarm = desk.alarm()
    assert (alarm.chatter, alarm.returned_ms) == (2, None)
    assert len(desk.record) == 1


def test_chattering_alarm_returns_to_those_who_were_told_since(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Each contact hears of the return after the last word that it was active, and once."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 120})

    desk.wrong("18:00:00")
    desk.right("18:09:00")
    desk.wrong("18:09:30")
    desk.right("18:10:30")
    desk.wrong("18:11:00")
    desk.right("18:12:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:09:00 first returned",
        "18:10:00 first repeat",
        "18:10:30 first returned",
    ]


def test_chattering_alarm_that_was_acknowledged_need_not_be_again(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Seen once is seen, as long as it flutters; a promise made on it still counts."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 120})

    desk.wrong("18:00:00")
    desk.acknowledge("18:01:00", back_within_s=3600)
    desk.right("18:02:00")
    desk.wrong("18:03:00")
    assert desk.alarm().state is State.ACKNOWLEDGED
    desk.until("19:01:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:02:00 first returned",
        "19:01:00 first raised",
    ]


def test_chattering_alarm_whose_promise_passed_in_its_lull_opens_when_it_is_back(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """The time had passed while it was cold; warm again, it rings at once, not in the past."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 1200})

    desk.wrong("18:00:00")
    desk.acknowledge("18:01:00", back_within_s=600)
    desk.right("18:05:00")
    desk.wrong("18:20:00")
    assert desk.engine.next_due_ms(desk.state) == desk.at("18:20:00")
    desk.until("18:20:01")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:05:00 first returned",
        "18:20:00 first raised",
    ]


def test_chattering_ends_with_the_window(open_desk: Make, shop_of: Make, escalation: Any) -> None:
    """As long as the window after its return, it is a new alarm."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 120})

    desk.wrong("18:00:00")
    desk.right("18:02:00")
    desk.wrong("18:04:00")

    assert desk.messages[-1] == "18:04:00 first raised"
    assert len(desk.record) == 2


def test_chattering_alarm_escalates_at_once_what_its_lull_had_put_off(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """The owner's step fell into the lull; nobody had acknowledged, so it comes on return."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 600})

    desk.wrong("18:00:00")
    desk.right("18:14:00")
    desk.wrong("18:21:00")
    desk.until("18:30:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:10:00 first repeat",
        "18:14:00 first returned",
        "18:21:00 owner escalated",
        "18:30:00 first repeat",
    ]
    assert [send.nth for send in desk.sent if send.step == 0] == [0, 1, 3]


def test_chattering_alarm_that_comes_back_worse_opens_again(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Joined, but worse than when it was acknowledged: that has to be told."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 600})

    desk.wrong("18:00:00", severity=1)
    desk.acknowledge("18:01:00")
    desk.right("18:02:00")
    desk.wrong("18:03:00", severity=2)

    assert desk.messages[-1] == "18:03:00 first raised"
    assert desk.alarm().state is State.UNACKNOWLEDGED


def test_alarm_twice_in_one_instant_is_one_alarm(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Without any window: gone and back in the same millisecond, it keeps its one id."""
    desk = open_desk(shop_of(*escalation))

    desk.wrong("18:00:00")
    desk.acknowledge("18:00:00")
    desk.right("18:00:00")
    desk.wrong("18:00:00")

    assert len(desk.record) == 1
    assert desk.alarm().active
    assert desk.messages == ["18:00:00 first raised", "18:00:00 first returned"]


def test_alarm_that_comes_back_in_the_instant_of_its_return_is_the_same_one(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Two rules may speak in one batch: nobody is told of a second alarm for it."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 120})

    desk.wrong("18:00:00")
    desk.right("18:05:00")
    desk.wrong("18:05:00")

    assert len(desk.record) == 1
    assert desk.alarm().chatter == 1


def test_chattering_after_a_shelf_goes_on_repeating(
    open_desk: Make, shop_of: Make, escalation: Any
) -> None:
    """Shelved, over, and back within the window: nobody had seen it, so it is not forgotten."""
    desk = open_desk(shop_of(*escalation), chatter_windows_s={Rule.HOLDING: 600})

    desk.wrong("18:00:00")
    desk.until("18:15:00")
    desk.shelve("18:16:00", "18:20:00")
    desk.right("18:18:00")
    desk.until("18:21:00")
    desk.wrong("18:22:00")
    desk.until("18:31:00")

    assert desk.messages[-1] == "18:30:00 first repeat"
    assert len(desk.record) == 1
