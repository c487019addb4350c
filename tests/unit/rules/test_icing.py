"""Defrosts that grow longer or come oftener are told of once; those that stay alike never."""

import pytest

from rimewatch.rules import icing
from rimewatch.rules.habits import HabitState, RiseSeen
from rimewatch.rules.icing import Icing

MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR
START_MS = 1_767_225_600_000


def habits_of(days: list[tuple[float, int]]) -> HabitState:
    """Return defrosts by days: how long the air rises in each, minutes, and how many there are."""
    rises = []
    for day, (rising_min, count) in enumerate(days):
        for number in range(count):
            left_ms = START_MS + day * DAY + number * DAY // count
            peak_ms = left_ms + round(rising_min * MINUTE)
            rises.append(RiseSeen(left_ms, peak_ms, peak_ms + 30 * MINUTE, -10.0, -22.0))
    return HabitState(rises=tuple(rises))


def news_of(state: HabitState, day: int) -> Icing | None:
    """Return what is told in the morning that ends a day."""
    return icing.news(state, START_MS + (day - 1) * DAY, START_MS + day * DAY)


def test_defrosts_that_grow_longer_are_told_on_one_morning() -> None:
    """From 20 min to 32: frost that no defrost melts away."""
    state = habits_of([(20, 4)] * 5 + [(26, 4), (32, 4), (32, 4)])
    told = {day: found for day in range(1, 9) if (found := news_of(state, day)) is not None}

    assert len(told) == 1
    (found,) = told.values()
    assert found.longer_ms is not None
    assert found.longer_ms[0] == 20 * MINUTE
    assert found.longer_ms[1] >= 28 * MINUTE
    assert found.apart_ms is None


def test_defrosts_that_come_oftener_are_told() -> None:
    """Every six hours, and then every four: a compressor that works more."""
    state = habits_of([(20, 4)] * 5 + [(20, 6)] * 3)
    told = [found for day in range(1, 9) if (found := news_of(state, day)) is not None]

    assert [found.apart_ms for found in told] == [(6 * HOUR, 4 * HOUR)]
    assert told[0].longer_ms is None


@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_defrosts_that_stay_alike_are_no_news(count: int) -> None:
    """By five minutes, which is how they are sampled, they differ every day."""
    state = habits_of([(20 + 5 * (day % 2), count) for day in range(8)])

    assert not any(news_of(state, day) for day in range(1, 9))


def test_one_long_defrost_is_no_trend() -> None:
    """A failure that passed is told of by its alarm."""
    state = habits_of([(20, 4)] * 6 + [(20, 4), (20, 3)])
    odd = state.rises[-2]._replace(peak_ms=state.rises[-2].left_ms + 60 * MINUTE)
    state = state._replace(rises=(*state.rises[:-2], odd, state.rises[-1]))

    assert news_of(state, 8) is None
