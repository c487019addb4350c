"""A clock that was hours ahead is put right: nothing waits longer than if its wait began anew."""

from collections.abc import Callable
from typing import Any

import pytest

from rimewatch.alarms.set_back import set_back
from rimewatch.vocabulary import MS_PER_H, Rule

Make = Callable[..., Any]


@pytest.fixture
def ahead(open_desk: Make, shop_of: Make, step: Make) -> Any:
    """An alarm raised at 18:00 by a clock that is four hours ahead."""
    desk = open_desk(shop_of(step(0, "first", 900), step(1800, "owner")))
    desk.wrong("18:00:00")
    return desk


def put_right(desk: Any, clock: str, by_h: float = 4.0) -> None:
    """The clock is set back by so many hours, to a time of day."""
    by_ms = round(by_h * MS_PER_H)
    desk.state = desk.engine.set_back(desk.state, desk.at(clock), by_ms)


def test_escalation_begins_anew_at_the_right_time(ahead: Any) -> None:
    """The owner is called half an hour after the clock was put right, not four and a half."""
    put_right(ahead, "14:05:00")
    ahead.until("14:35:00")

    assert ahead.alarm().opened_ms == ahead.at("14:05:00")
    assert ahead.messages == [
        "18:00:00 first raised",
        "14:20:00 first repeat",
        "14:35:00 owner escalated",
        "14:35:00 first repeat",
    ]


def test_raised_keeps_the_time_under_which_it_was_put_down(ahead: Any) -> None:
    """What is on the record is not changed."""
    before = ahead.alarm()
    put_right(ahead, "14:05:00")

    assert ahead.alarm().raised_ms == before.raised_ms
    assert ahead.alarm().id == before.id


def test_repeat_that_comes_sooner_anyway_is_left_alone(ahead: Any) -> None:
    """A clock set back by a second puts nothing off."""
    put_right(ahead, "18:14:00", by_h=1 / 3600)

    assert [repeat.due_ms for repeat in ahead.alarm().repeats] == [ahead.at("18:15:00")]
    assert ahead.alarm().opened_ms == ahead.at("18:00:00")


def test_shelf_ends_as_much_sooner_as_the_clock_was_ahead(ahead: Any) -> None:
    """A shelf until 22:00 by the wrong clock was meant until 18:00."""
    ahead.shelve("18:01:00", "22:00:00", "walk-in", Rule.DOOR)
    put_right(ahead, "14:05:00")

    assert list(ahead.state.shelves.values()) == [ahead.at("18:00:00")]


def test_shelf_that_is_over_by_then_ends_at_once(ahead: Any) -> None:
    """Meant until 14:04, which is before now."""
    ahead.shelve("18:01:00", "18:09:00", "walk-in", Rule.DOOR)
    put_right(ahead, "18:05:00")

    assert list(ahead.state.shelves.values()) == [ahead.at("18:05:00")]


def test_what_was_due_before_now_stays_due_then(ahead: Any) -> None:
    """It is done at its own time, late as it is."""
    ahead.shelve("18:01:00", "18:12:00", "walk-in", Rule.DOOR)
    put_right(ahead, "18:12:00")
    assert list(ahead.state.shelves.values()) == [ahead.at("18:12:00")]

    put_right(ahead, "18:13:00")
    assert list(ahead.state.shelves.values()) == [ahead.at("18:12:00")]


def test_promise_to_be_back_is_taken_back_with_the_clock(ahead: Any) -> None:
    """Somebody who said at 18:01 that they would be back by 23:01 meant 19:01."""
    ahead.acknowledge("18:01:00", back_within_s=5 * 3600)
    put_right(ahead, "14:05:00")

    assert ahead.alarm().reopens_ms == ahead.at("19:01:00")


def test_cause_that_has_returned_stops_suppressing_as_much_sooner(
    open_desk: Make, shop_of: Make, step: Make, key: Make
) -> None:
    """Power is back: what it silenced is not silent for four hours more."""
    desk = open_desk(shop_of(step(0, "first", 900)), recovery_s=1800)
    power = key(None, Rule.POWER_LOSS)
    desk.wrong("18:00:00", None, Rule.POWER_LOSS, units=("case-1",))
    desk.suppress("18:00:00", key("case-1", Rule.STALE), power)
    desk.right("18:01:00", None, Rule.POWER_LOSS)
    assert list(desk.state.lifting.values()) == [desk.at("18:31:00")]

    put_right(desk, "14:05:00")

    assert list(desk.state.lifting.values()) == [desk.at("14:31:00")]


def test_repeats_of_a_step_that_is_no_more_are_kept_as_they_are(ahead: Any) -> None:
    """A changed configuration has no steps: nobody will send them."""
    before = ahead.alarm().repeats
    (after,) = set_back(ahead.state, (), ahead.at("14:05:00"), 4 * MS_PER_H).alarms.values()

    assert before
    assert after.repeats == before
