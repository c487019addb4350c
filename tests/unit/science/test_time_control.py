"""Time as a public health control: FDA Food Code 2022, 3-501.19(B) and (C)."""

import math

import pytest

from rimewatch.rules.hazard_limits import TIME_CONTROL_4H, TIME_CONTROL_6H
from rimewatch.science.time_control import (
    TimeControl,
    TimeControlLimits,
    TimeControlState,
    time_control,
)

MINUTE = 60_000
HOUR = 3_600_000
START = 1_700_000_000_000


def six_hours(
    readings: list[tuple[int, float]],
    at_min: int,
    *,
    start_c: float = 4.0,
    limits: TimeControlLimits = TIME_CONTROL_6H,
    gap_min: int = 60,
) -> TimeControl:
    return time_control(
        start_ms=START,
        start_c=start_c,
        times_ms=[START + minute * MINUTE for minute, _ in readings],
        celsius=[celsius for _, celsius in readings],
        at_ms=START + at_min * MINUTE,
        limits=limits,
        max_gap_ms=gap_min * MINUTE,
    )


EVERY_HALF_HOUR = [(minute, min(4.0 + minute / 15.0, 21.0)) for minute in range(30, 390, 30)]


def test_six_hours_at_21_0_runs_to_the_end_and_is_then_discarded() -> None:
    """Started at 5.0 °C, never above 21.0 °C: kept to six hours, then gone."""
    before = six_hours(EVERY_HALF_HOUR, 359, start_c=5.0)
    after = six_hours(EVERY_HALF_HOUR, 360, start_c=5.0)

    assert before.state is TimeControlState.RUNNING
    assert before.warmest_c == 21.0
    assert before.unmonitored_s == 0.0
    assert after.state is TimeControlState.DISCARD
    assert after.discard_ms == after.ends_ms == START + 6 * HOUR


def test_six_hours_above_21_is_discarded_since_it_crossed() -> None:
    """21.2 °C at three hours: discard, since the moment the line was crossed."""
    readings = [(60, 10.0), (120, 20.2), (180, 21.2)]

    verdict = six_hours(readings, 180)

    assert verdict.state is TimeControlState.DISCARD
    assert verdict.discard_ms == START + 168 * MINUTE
    assert "above 21.0" in verdict.reason


def test_food_that_cooled_again_after_crossing_stays_discarded() -> None:
    """Putting it back into the cold does not make it new."""
    verdict = six_hours([(60, 21.5), (120, 4.0)], 180)

    assert verdict.state is TimeControlState.DISCARD


def test_start_above_five_is_not_eligible() -> None:
    """Started at 5.1 °C: the timer does not apply."""
    for limits in (TIME_CONTROL_4H, TIME_CONTROL_6H):
        verdict = six_hours([], 60, start_c=5.1, limits=limits)
        assert verdict.state is TimeControlState.NOT_ELIGIBLE
        assert verdict.discard_ms is None


def test_four_hours_ask_no_temperature_after_the_start() -> None:
    """The four hours hold without monitoring, and at 30 °C alike."""
    running = six_hours([(60, 30.0)], 239, limits=TIME_CONTROL_4H)
    over = six_hours([(60, 30.0)], 240, limits=TIME_CONTROL_4H)

    assert running.state is TimeControlState.RUNNING
    assert running.unmonitored_s == 0.0
    assert over.state is TimeControlState.DISCARD


def test_unmonitored_time_of_the_six_hours_is_told() -> None:
    """Two hours without a reading are two hours in which nobody knows."""
    verdict = six_hours([(60, 8.0), (180, 10.0)], 300)

    assert verdict.state is TimeControlState.RUNNING
    assert verdict.unmonitored_s == 2 * 3600.0 + 2 * 3600.0


def test_crossing_inside_a_gap_dates_from_the_last_cool_reading() -> None:
    """Where nobody saw it cross, the earliest moment counts."""
    verdict = six_hours([(60, 10.0), (300, 25.0)], 310)

    assert verdict.discard_ms == START + 60 * MINUTE


def test_readings_before_the_start_and_after_the_question_do_not_count() -> None:
    """Only the food's time out of control is judged."""
    verdict = six_hours([(-30, 30.0), (60, 10.0), (200, 30.0)], 90)

    assert verdict.state is TimeControlState.RUNNING
    assert verdict.warmest_c == 10.0


def test_later_warmth_after_the_end_changes_nothing() -> None:
    """The time it is to be discarded since is the end of the six hours."""
    verdict = six_hours([*EVERY_HALF_HOUR, (400, 30.0)], 420)

    assert verdict.discard_ms == START + 6 * HOUR


def test_food_too_warm_at_once_with_a_low_ceiling_is_discarded_at_once() -> None:
    """A ceiling below the start temperature is crossed at the start."""
    limits = TimeControlLimits(start_c=30.0, allowed_s=3600.0, ceiling_c=21.0)

    verdict = six_hours([], 10, start_c=25.0, limits=limits)

    assert verdict.discard_ms == START


def test_question_before_the_start_is_refused() -> None:
    """A timer has no state before it started."""
    with pytest.raises(ValueError, match="is before start_ms"):
        six_hours([], -1)


def test_start_without_a_temperature_is_refused() -> None:
    """Nobody may start a timer without having measured the food."""
    with pytest.raises(ValueError, match="start_c is nan"):
        six_hours([], 1, start_c=math.nan)
