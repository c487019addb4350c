"""Fish that is warmer than on any day before is told of; what ordinary days did is not."""

import json
from math import sin

import pytest

from rimewatch.rules import new_high
from rimewatch.rules.new_high import HighState, NewHigh

MINUTE = 60_000
HOUR = 60 * MINUTE
START_MS = 1_767_225_600_000
LIMIT_C = 5.0


def days(hours: float, rate_c_per_h: float = 0.0, *, from_h: float = 48.0) -> HighState:
    """Fold fish that swings between 2 and 4 °C, and from an hour on warms so fast from 4 °C."""
    minutes = range(0, round(hours * 60), 5)
    fish_c = [
        3.0 + sin(minute / 120.0)
        if minute < from_h * 60
        else 4.0 + rate_c_per_h * (minute / 60 - from_h)
        for minute in minutes
    ]
    return new_high.fold([START_MS + minute * MINUTE for minute in minutes], fish_c)


def found(state: HighState, *, air_c: float = 9.0, lag_s: float = 0.0) -> NewHigh | None:
    """Return what is found of fish whose limit is 5 °C."""
    return new_high.find(state, limit_c=LIMIT_C, air_c=air_c, lag_s=lag_s)


@pytest.mark.parametrize("rate_c_per_h", [0.6, 1.0, 1.2])
def test_fish_that_warms_past_all_days_before_is_told_before_its_limit(rate_c_per_h: float) -> None:
    """However slowly: the time that is left is the plain quotient."""
    crosses_h = 48.0 + 1.0 / rate_c_per_h
    seen = [
        (at_h, one)
        for at_h in (48.0 + n / 12.0 for n in range(1, 40))
        if at_h < crosses_h and (one := found(days(at_h, rate_c_per_h))) is not None
    ]

    assert seen
    at_h, first = seen[-1]
    assert first.rate_c_per_h == pytest.approx(rate_c_per_h)
    assert first.record_c == pytest.approx(4.0, abs=0.01)
    last_sample_h = at_h - 5 / 60
    assert first.left_s == pytest.approx((crosses_h - last_sample_h) * 3600.0, abs=1.0)


def test_what_ordinary_days_did_is_no_news() -> None:
    """Rising at its usual pace, in its usual range."""
    assert not any(found(days(24.0 + n / 12.0)) for n in range(24 * 12))


def test_nothing_is_said_on_a_first_day() -> None:
    """No day before it says what is ordinary."""
    assert found(days(24.0, 1.2, from_h=23.3)) is None


def test_behind_air_that_is_below_the_limit_nothing_is_near() -> None:
    """First-order fish ends where its air is; above, it takes the time of the lag."""
    warming = days(48.7, 1.2)

    assert found(warming, air_c=4.9, lag_s=1200.0) is None
    behind = found(warming, air_c=6.0, lag_s=3600.0)
    at_once = found(warming, air_c=6.0)
    assert behind is not None
    assert at_once is not None
    assert behind.left_s > at_once.left_s


def test_a_day_beyond_the_limit_is_no_ordinary_one() -> None:
    """Nothing is news for three days after it; then it no longer counts."""
    times = range(0, 120 * 60, 5)
    fish_c = [3.0 + (6.0 if 20 * 60 < minute < 23 * 60 else 0.0) for minute in times]
    at_ms = [START_MS + minute * MINUTE for minute in times]
    half = 72 * 12

    assert new_high.record_c(new_high.fold(at_ms[:half], fish_c[:half]), LIMIT_C) == LIMIT_C
    assert new_high.record_c(new_high.fold(at_ms, fish_c), LIMIT_C) == pytest.approx(3.0)


def test_the_state_survives_json() -> None:
    """As a checkpoint asks."""
    state = days(60.0)

    assert json.loads(json.dumps(state)) == [
        [list(one) for one in state.quarters],
        [list(one) for one in state.recent],
    ]
