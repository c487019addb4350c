"""A trend is told only where it is certain; an outlier does not bend it."""

import numpy as np
import pytest
from scipy import stats

from rimewatch.science.trend import FEWEST_DAYS, trend


def test_slope_and_interval_are_those_of_another_implementation() -> None:
    """Independent days: SciPy's Theil-Sen estimator gives the same, ranks to within one."""
    rng = np.random.default_rng(1)
    days = np.arange(40.0)
    values = 0.02 * days + rng.normal(0, 0.3, 40)

    found = trend(days, values)
    slope, _, low, high = stats.theilslopes(values, days, 0.95)

    assert found is not None
    assert found.slope == pytest.approx(slope, rel=1e-12)
    assert found.low <= low + 1e-3
    assert found.high >= high - 1e-3


def test_a_level_course_has_no_certain_trend() -> None:
    """Of a hundred level courses no more than one in ten is called a trend."""
    rng = np.random.default_rng(2)
    days = np.arange(28.0)
    called = 0
    for _ in range(100):
        noise = np.zeros(28)
        for n in range(1, 28):
            noise[n] = 0.5 * noise[n - 1] + rng.normal(0, 0.2)
        found = trend(days, noise)
        assert found is not None
        called += found.is_certain
    assert called <= 10


def test_a_slow_rise_is_found_in_spite_of_a_broken_day() -> None:
    """One day with the door open all day does not hide what eight weeks say."""
    rng = np.random.default_rng(3)
    days = np.arange(56.0)
    values = 2.0 + 0.01 * days + rng.normal(0, 0.05, 56)
    values[20] += 9.0

    found = trend(days, values)

    assert found is not None
    assert found.is_certain
    assert found.low < 0.01 < found.high
    assert found.high - found.low < 0.01


def test_too_few_days_say_nothing() -> None:
    """A week's weather is not a trend."""
    days = np.arange(float(FEWEST_DAYS - 1))
    assert trend(days, days) is None


def test_a_course_without_noise_is_certain_to_the_last_digit() -> None:
    """Nothing is left over that one day could share with the next."""
    days = np.arange(12.0)
    found = trend(days, 3.0 - 0.25 * days)

    assert found is not None
    assert (found.low, found.slope, found.high) == pytest.approx((-0.25, -0.25, -0.25))
    assert found.is_certain
    assert found.days == 12


def test_interval_where_no_day_resembles_the_next_is_another_implementation_s_to_a_rank() -> None:
    """A warm day after each cold one: no day is worth less. SciPy rounds, we round outwards."""
    rng = np.random.default_rng(5)
    days = np.arange(40.0)
    values = 0.02 * days + np.abs(rng.normal(0, 0.3, 40)) * (-1.0) ** days

    found = trend(days, values)
    _, _, low, high = stats.theilslopes(values, days, 0.95)

    assert found is not None
    first, second = np.triu_indices(40, k=1)
    slopes = np.sort((values[second] - values[first]) / (days[second] - days[first]))
    tiny = 1e-12
    below = slopes[np.searchsorted(slopes, low - tiny) - 1]
    above = slopes[np.searchsorted(slopes, high + tiny)]
    assert below - tiny <= found.low <= low + tiny
    assert high - tiny <= found.high <= above + tiny


def test_figures_that_are_the_same_each_day_are_no_certain_trend() -> None:
    """Zero is the one slope they have: they neither rise nor fall."""
    found = trend(np.arange(12.0), np.full(12, 2.0))

    assert found is not None
    assert (found.low, found.slope, found.high) == (0.0, 0.0, 0.0)
    assert not found.is_certain


def test_days_that_are_almost_alike_are_worth_a_nineteenth_and_no_less() -> None:
    """A slow wave: each day is 98 % the day before; (1 + 0.9)/(1 - 0.9) is where it is capped."""
    days = np.arange(100.0)
    values = np.sin(days * 2 * np.pi / 100)

    found = trend(days, values)

    assert found is not None
    first, second = np.triu_indices(100, k=1)
    slopes = np.sort((values[second] - values[first]) / (days[second] - days[first]))
    reach = 1.96 * np.sqrt(100 * 99 * 205 / 18 * 19)
    assert np.searchsorted(slopes, found.low) == pytest.approx((4950 - reach) / 2, abs=3)
    assert np.searchsorted(slopes, found.high) == pytest.approx((4950 + reach) / 2, abs=3)
