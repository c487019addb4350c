"""The lag in one go and the lag step by step must be the same, to the last bit."""

from math import exp, inf

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rimewatch.science import lag, lag_run

STALE_MS = 180_000.0


@settings(deadline=None, max_examples=150)
@given(
    lag_s=st.sampled_from([0.0, 5.0, 60.0, 1200.0, 86_400.0]),
    intervals_ms=st.lists(
        st.one_of(st.integers(1, 180_000), st.sampled_from([60_000, 60_001, 180_001, 9_000_000])),
        min_size=1,
        max_size=200,
    ),
    start_ms=st.integers(1_700_000_000_000, 1_900_000_000_000),
    unseen_c=st.sampled_from([-inf, -20.0, 60.0]),
    data=st.data(),
)
def test_lag_run_over_any_readings_equals_the_steps_bit_for_bit(
    lag_s: float, intervals_ms: list[int], start_ms: int, unseen_c: float, data: st.DataObject
) -> None:
    """A replay of a year and a service that sees one reading at a time agree exactly."""
    count = len(intervals_ms)
    milli = data.draw(
        st.lists(st.integers(-80_000, 40_000), min_size=count + 1, max_size=count + 1)
    )
    values = [m / 1000 for m in milli]
    times = np.cumsum([start_ms, *intervals_ms]).tolist()

    lagging = lag_run.begin(lag_s, start_ms, values[0], values[0])
    run = lag_run.run(
        lagging,
        lag_s,
        STALE_MS,
        np.array(times[1:], dtype=np.int64),
        np.array(values[1:]),
        unseen_c,
    )
    stepped = []
    for at_ms, value_c in zip(times[1:], values[1:], strict=True):
        if lag_s == 0.0:
            lagging = lag_run.begin(0.0, at_ms, value_c, value_c)
        elif at_ms - lagging.last_ms > STALE_MS:
            warmer_c = max(lagging.governing_c, value_c)
            lagging = lag_run.resume(lagging, lag_s, at_ms, value_c, unseen_c)
            assert lagging.governing_c >= warmer_c - 1e-9
            if unseen_c <= warmer_c:
                assert lagging.governing_c == pytest.approx(warmer_c, abs=1e-9)
        else:
            lagging = lag_run.step(lagging, lag_s, at_ms, value_c)
        stepped.append(lagging.governing_c)

    assert run.governing_c.tolist() == stepped
    assert run.end == lagging


def test_lag_under_constant_air_stays_exactly_where_it_is() -> None:
    """Fish at −20.3 °C in air of −20.3 °C must not drift over its line by a rounding."""
    lagging = lag_run.begin(1200.0, 0, -20.3, -20.3)
    for minute in range(1, 20_000):
        lagging = lag_run.step(lagging, 1200.0, minute * 60_000, -20.3)
    assert lagging.governing_c == -20.3


def test_lag_run_over_readings_hours_apart_equals_the_steps_bit_for_bit() -> None:
    """A logger that is read once in three hours, in a shop that calls it stale after five."""
    times = [(3 * n + n % 2) * 3_600_000 for n in range(50)]
    values = [-20.0 + n % 7 for n in range(50)]
    lagging = lag_run.begin(86_400.0, times[0], values[0], values[0])

    run = lag_run.run(lagging, 86_400.0, 5 * 3.6e6, np.array(times[1:]), np.array(values[1:]))

    stepped = []
    for at_ms, value_c in zip(times[1:], values[1:], strict=True):
        lagging = lag_run.step(lagging, 86_400.0, at_ms, value_c)
        stepped.append(lagging.governing_c)
    assert run.governing_c.tolist() == stepped


@settings(deadline=None)
@example(lag_s=1.0, y0=4.0, from_c=2.0, to_c=3.0, elapsed_ms=900_000)
@example(lag_s=1.0, y0=4.0, from_c=2.0, to_c=3.0, elapsed_ms=300_001)
@given(
    lag_s=st.floats(1.0, 86_400.0),
    y0=st.floats(-80.0, 40.0),
    from_c=st.floats(-80.0, 40.0),
    to_c=st.floats(-80.0, 40.0),
    elapsed_ms=st.integers(1000, 86_400_000),
)
def test_step_and_run_are_the_published_answer_to_linear_air(
    lag_s: float, y0: float, from_c: float, to_c: float, elapsed_ms: int
) -> None:
    """Exactly a + s·h − s·τ + (y0 − a + s·τ)·exp(−h/τ): Incropera, section 5.1, from memory.

    Also where a probe is silent for hundreds of lags, and nothing is left of the start.
    """
    start_ms = 1_800_000_000_000
    lagging = lag_run.begin(lag_s, start_ms, from_c, y0)
    h_s = elapsed_ms / 1000
    slope = (to_c - from_c) / h_s
    behind = slope * lag_s
    published = from_c + slope * h_s - behind + (y0 - from_c + behind) * exp(-h_s / lag_s)
    near = 1e-9 * (1.0 + abs(behind))

    stepped = lag_run.step(lagging, lag_s, start_ms + elapsed_ms, to_c)
    run = lag_run.run(lagging, lag_s, inf, np.array([start_ms + elapsed_ms]), np.array([to_c]))

    assert stepped.governing_c == pytest.approx(published, abs=near)
    assert run.governing_c[0] == stepped.governing_c
    assert lag.value_at(y0, from_c, to_c, h_s, lag_s, h_s) == pytest.approx(published, abs=near)
