"""A unit's defrosts are learned from its air, and a rise is held against them."""

import json

import numpy as np
import pytest

from rimewatch.rules import habits
from rimewatch.rules.habits import Defrosts, HabitState, RiseSeen
from rimewatch.rules.usual import Departure

MINUTE = 60_000
HOUR = 60 * MINUTE
START_MS = 1_767_225_600_000


def air_of(
    days: float,
    starts_min: list[int],
    *,
    length: int = 25,
    height_c: float = 6.0,
    swing_c: float = 0.4,
    every_min: int = 1,
) -> tuple[list[int], list[float]]:
    """Return air at 1 °C that swings, and rises to a height in each defrost and back in as long."""
    minutes = np.arange(0, round(days * 1440), every_min)
    air_c = 1.0 + swing_c * np.sin(minutes / 4.0)
    for start in starts_min:
        since = minutes - start
        up = np.clip(since / length, 0.0, 1.0)
        down = np.clip((since - length) / length, 0.0, 1.0)
        air_c = air_c + height_c * np.where(since >= 0, up - down, 0.0)
    return (START_MS + minutes * MINUTE).tolist(), np.round(air_c, 2).tolist()


def learned(days: float, starts_min: list[int], **keys: float) -> Defrosts:
    """Return the first way in which the air of some days rises."""
    ways = habits.ways_of(habits.fold(*air_of(days, starts_min, **keys)))  # type: ignore[arg-type]
    assert ways, "no way was learned"
    return ways[0]


def rise(since_min: int, length_min: float, height_c: float) -> Departure:
    """Return air that left its level of 1 °C so long after the start."""
    left_ms = START_MS + since_min * MINUTE
    return Departure(
        usual_c=1.0,
        top_c=1.6,
        from_ms=left_ms,
        left_ms=left_ms,
        peak_c=1.0 + height_c,
        peak_ms=left_ms + round(length_min * MINUTE),
        last_ms=left_ms + round(length_min * MINUTE),
        last_c=1.0 + height_c,
    )


TWICE_A_DAY = [7 * 60 + 11 + n * 720 for n in range(12)]


def test_defrosts_by_the_clock_are_learned_with_their_hours_length_and_height() -> None:
    """What the trace was made of, to within a sample of five minutes."""
    found = learned(6.0, TWICE_A_DAY)

    assert found.told
    assert found.every_ms == pytest.approx(12 * HOUR, abs=5 * MINUTE)
    assert found.rising_ms[0] >= 15 * MINUTE
    assert found.rising_ms[1] <= 30 * MINUTE
    assert found.peak_c == pytest.approx(7.0, abs=0.6)
    assert len(found.starts_ms) == 12


def test_a_third_defrost_goes_as_the_two_before_it() -> None:
    """Two alike explain a third, while it is no longer and no higher than they were."""
    found = learned(1.2, TWICE_A_DAY[:2])
    due = TWICE_A_DAY[2]
    at_ms = START_MS + due * MINUTE

    assert habits.goes_alike(found, rise(due, 20, 5.0), at_ms + 20 * MINUTE)
    assert not habits.goes_alike(found, rise(due, 60, 6.0), at_ms + 60 * MINUTE)
    assert not habits.goes_alike(found, rise(due, 20, 14.0), at_ms + 20 * MINUTE)


def test_air_that_stays_up_after_its_defrost_leaves_the_envelope() -> None:
    """A failure that begins within a defrost is found: it does not turn when they do."""
    found = learned(6.0, TWICE_A_DAY)
    due = TWICE_A_DAY[-1] + 720
    stuck = rise(due, 24, 6.0)
    left_ms = START_MS + due * MINUTE

    assert habits.goes_alike(found, stuck, left_ms + 25 * MINUTE)
    assert not habits.goes_alike(found, stuck, left_ms + 50 * MINUTE)


def test_a_rise_at_an_hour_of_no_defrost_is_none() -> None:
    """Defrosts at 07:11 and 19:11; air that rises at noon goes like nothing known."""
    found = learned(6.0, TWICE_A_DAY)
    noon = TWICE_A_DAY[-1] + 5 * 60

    assert not habits.goes_alike(found, rise(noon, 10, 3.0), START_MS + (noon + 10) * MINUTE)


def test_a_failure_that_passed_widens_nothing() -> None:
    """One rise of seventy minutes among twelve of twenty-five is not how this unit defrosts."""
    times, air = air_of(6.5, TWICE_A_DAY)
    more = air_of(6.5, [TWICE_A_DAY[4] + 300], length=70, height_c=6.5, swing_c=0.0)[1]
    ways = habits.ways_of(habits.fold(times, (np.array(air) + np.array(more) - 1.0).tolist()))

    assert ways[0].envelope_ms <= 30 * MINUTE


def test_a_compressor_that_swings_far_is_no_defrost() -> None:
    """Every forty minutes, and as high as a defrost: a swing, and nothing to tell."""
    found = habits.ways_of(habits.fold(*air_of(2.0, list(range(60, 2800, 40)), length=12)))

    assert not any(way.told for way in found)


def test_what_was_learned_at_another_level_of_cold_no_longer_counts() -> None:
    """The case is a freezer's now: its rises are held against those of a freezer."""
    found = learned(6.0, TWICE_A_DAY)
    due = TWICE_A_DAY[-1] + 720
    colder = Departure(
        usual_c=-20.0,
        top_c=-19.0,
        from_ms=0,
        left_ms=START_MS + due * MINUTE,
        peak_c=-15.0,
        peak_ms=START_MS + (due + 20) * MINUTE,
        last_ms=START_MS + (due + 20) * MINUTE,
        last_c=-15.0,
    )

    assert not habits.goes_alike(found, colder, colder.last_ms)


def test_a_habit_is_forgotten_in_nine_days() -> None:
    """Rises are kept for eight."""
    state = HabitState()
    for start in (0, 12):
        left = START_MS + start * HOUR
        state = habits.with_rise(
            state, RiseSeen(left, left + 20 * MINUTE, left + 40 * MINUTE, 7.0, 1.0)
        )
    later = START_MS + 9 * 24 * HOUR
    state = habits.with_rise(
        state, RiseSeen(later, later + 20 * MINUTE, later + 40 * MINUTE, 7.0, 1.0)
    )

    assert len(state.rises) == 1
    assert not habits.ways_of(state)


def test_a_fold_begun_later_comes_to_the_same() -> None:
    """A restart looks back over the days that count, and no further."""
    times, air = air_of(9.0, [431 + n * 360 for n in range(36)])
    days = 1440
    whole = habits.fold(times, air)
    later = habits.fold(times[2 * days :], air[2 * days :])

    # The quietest swing of the last day is known after a day.
    settled_ms = times[3 * days]
    assert [one for one in later.rises if one.left_ms >= settled_ms] == [
        one for one in whole.rises if one.left_ms >= settled_ms
    ]
    assert later.out == whole.out
    assert later.samples == whole.samples


def test_the_state_is_plain() -> None:
    """What is remembered survives JSON, as a checkpoint asks."""
    state = habits.fold(*air_of(2.0, TWICE_A_DAY))._replace(out=None)

    assert json.loads(json.dumps(state.rises)) == [list(one) for one in state.rises]
    assert json.loads(json.dumps(state.samples)) == list(state.samples)


@pytest.mark.parametrize("every_min", [1, 5, 10, 15])
def test_probes_of_every_cadence_learn_it(every_min: int) -> None:
    """A reading every quarter of an hour sees a defrost of half an hour as well."""
    found = learned(6.0, TWICE_A_DAY, length=30, every_min=every_min)

    assert found.told
    assert found.every_ms == pytest.approx(12 * HOUR, abs=10 * MINUTE)


def in_a_bottle(minutes_lag: float, air_c: list[float]) -> list[float]:
    """Return what a probe in a bottle says of air read every minute."""
    seen_c, said = air_c[0], []
    for value in air_c:
        seen_c += (value - seen_c) / minutes_lag
        said.append(round(seen_c, 1))
    return said


def test_a_probe_in_a_bottle_stays_at_its_peak_for_as_long_as_it_did_before() -> None:
    """Glycol turns late and slowly: the third defrost goes as the two before it all the same."""
    starts = TWICE_A_DAY[:3]
    times, air = air_of(2.0, starts, length=16, height_c=16.0, swing_c=0.0)
    said = in_a_bottle(15.0, air)
    state, left_ms, explained = HabitState(), None, []
    for at_ms, value in zip(times, said, strict=True):
        state = habits.step(state, at_ms, value)
        if state.out is not None and at_ms >= START_MS + starts[2] * MINUTE:
            left_ms = left_ms or at_ms
            (way, *_) = habits.ways_of(state)
            explained.append(habits.goes_alike(way, state.out, at_ms, every_ms=MINUTE))

    assert len(explained) > 60
    assert all(explained)


def test_defrosts_that_drift_from_their_clock_are_due_as_long_after_the_last_one() -> None:
    """Timers that count the compressor's hours run slower as the room cools."""
    starts, at = [], 0.0
    for number in range(20):
        starts.append(round(at))
        at += 290 + 1.5 * number
    found = learned(4.5, starts[:-1])

    assert habits.is_due(found, START_MS + starts[-1] * MINUTE)
    assert not habits.is_due(found, START_MS + (starts[-2] + 150) * MINUTE)


def test_one_rise_that_came_and_went_is_a_way_to_whoever_has_time() -> None:
    """Nobody calls it learned, but there is no hurry to ring for the second one like it."""
    state = habits.fold(*air_of(0.8, TWICE_A_DAY[:1]))
    due = TWICE_A_DAY[1]
    (way,) = habits.ways_of(state, fewest=1)

    assert not habits.ways_of(state)
    assert not way.told
    assert habits.goes_alike(way, rise(due, 20, 5.0), START_MS + (due + 20) * MINUTE)
    assert not habits.goes_alike(way, rise(due, 60, 5.0), START_MS + (due + 60) * MINUTE)
