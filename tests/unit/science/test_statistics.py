"""The figures of a period: range, means, time above a limit, missing time."""

import itertools
import random
from math import exp, log

import numpy as np
import pytest
from scipy.integrate import quad

from rimewatch.science.statistics import Statistics, cut_to_period, gaps_ms, statistics

STALE_S = 180.0


def figures(
    points: list[tuple[float, float]],
    *,
    from_s: float = 0.0,
    to_s: float | None = None,
    limit_c: float = 5.0,
    stale_s: float = STALE_S,
) -> Statistics:
    """Return the figures of readings given as (seconds, °C)."""
    times = np.array([round(t * 1000) for t, _ in points], dtype=np.int64)
    values = np.array([c for _, c in points], dtype=np.float64)
    end_s = points[-1][0] if to_s is None else to_s
    return statistics(
        times,
        values,
        stale_ms=stale_s * 1000.0,
        from_ms=from_s * 1000.0,
        to_ms=end_s * 1000.0,
        limit_c=limit_c,
    )


def test_mean_of_unequal_intervals_is_weighted_by_time() -> None:
    """2 °C for 10 s, a ramp to 6 °C in 20 s, then 6 °C for 120 s.

    (2·10 + 4·20 + 6·120)/150 = 820/150 = 5.4667 °C; the plain mean of the four
    readings would be 4 °C.
    """
    found = figures([(0, 2.0), (10, 2.0), (30, 6.0), (150, 6.0)])

    assert found.mean_c == pytest.approx(820.0 / 150.0)
    assert (found.min_c, found.max_c, found.readings) == (2.0, 6.0, 4)
    assert found.monitored_s == 150.0


def test_kinetic_mean_of_unequal_intervals_is_weighted_by_time() -> None:
    """The same curve, integrated by scipy with ΔH/R = 10 000 K."""
    found = figures([(0, 2.0), (10, 2.0), (30, 6.0), (150, 6.0)])

    def rate(celsius: float) -> float:
        return exp(-10_000.0 / (celsius + 273.15))

    ramp, _ = quad(lambda t: rate(2.0 + 4.0 * t / 20.0), 0.0, 20.0)
    mean_rate = (10.0 * rate(2.0) + ramp + 120.0 * rate(6.0)) / 150.0
    assert found.kinetic_c == pytest.approx(-10_000.0 / log(mean_rate) - 273.15, abs=1e-3)


def test_time_above_the_limit_is_interpolated_at_the_crossings() -> None:
    """2 → 8 → 2 °C in a minute each: above 5 °C from 30 s to 90 s."""
    assert figures([(0, 2.0), (60, 8.0), (120, 2.0)]).above_limit_s == pytest.approx(60.0)


def test_time_at_the_limit_is_not_above_it() -> None:
    """FDA Food Code 2022, 3-501.16(A)(2): 5 °C or less is cold holding."""
    assert figures([(0, 5.0), (60, 5.0)]).above_limit_s == 0.0
    assert figures([(0, 5.01), (60, 5.01)]).above_limit_s == 60.0


def test_gap_in_the_middle_is_missing_and_nothing_runs_through_it() -> None:
    """Ten silent minutes between 8 °C and 8 °C are neither above the limit nor in the mean."""
    found = figures([(0, 2.0), (60, 2.0), (660, 8.0), (720, 8.0)])

    assert found.missing_s == 600.0
    assert found.above_limit_s == 60.0
    assert found.mean_c == pytest.approx(5.0)
    assert found.monitored_s == 120.0


@pytest.mark.parametrize(("interval_s", "missing_s"), [(180.0, 0.0), (180.001, 180.001)])
def test_interval_of_exactly_the_stale_time_is_not_missing(
    interval_s: float, missing_s: float
) -> None:
    """No further apart than the stale time is monitored; a millisecond more is not."""
    found = figures([(0, 2.0), (interval_s, 2.0)])

    assert found.missing_s == pytest.approx(missing_s)
    assert found.monitored_s == pytest.approx(interval_s - missing_s)


@pytest.mark.parametrize(("late_s", "missing_s"), [(180.0, 0.0), (181.0, 181.0)])
def test_silence_at_the_start_is_missing_once_it_exceeds_the_stale_time(
    late_s: float, missing_s: float
) -> None:
    """From the period's start to the first reading."""
    assert figures([(late_s, 2.0), (late_s + 60, 2.0)]).missing_s == missing_s


@pytest.mark.parametrize(("silent_s", "missing_s"), [(180.0, 0.0), (181.0, 181.0)])
def test_silence_at_the_end_is_missing_once_it_exceeds_the_stale_time(
    silent_s: float, missing_s: float
) -> None:
    """From the last reading to the period's end."""
    assert figures([(0, 2.0), (60, 2.0)], to_s=60 + silent_s).missing_s == missing_s


def test_missing_times_of_a_period_add_up() -> None:
    """Start 200 s, middle 300 s, end 240 s."""
    found = figures([(200, 2.0), (260, 2.0), (560, 2.0)], to_s=800)

    assert found.missing_s == 200.0 + 300.0 + 240.0
    times = np.array([200_000, 260_000, 560_000], dtype=np.int64)
    assert gaps_ms(times, stale_ms=180_000.0, from_ms=0.0, to_ms=800_000.0) == [
        (0.0, 200_000.0),
        (260_000.0, 560_000.0),
        (560_000.0, 800_000.0),
    ]


def test_gap_cut_by_the_period_is_judged_by_its_whole_length() -> None:
    """Two minutes of a four-minute silence lie in the period: missing, though short."""
    found = figures([(0, 2.0), (240, 2.0), (300, 2.0)], from_s=120)

    assert found.missing_s == 120.0
    assert found.readings == 2


def test_stretch_cut_by_the_period_is_interpolated_at_the_edge() -> None:
    """2 → 8 °C over 120 s, seen from its middle: 60 s from 5 °C up to 8 °C, mean 6.5 °C."""
    found = figures([(0, 2.0), (120, 8.0)], from_s=60)

    assert found.above_limit_s == pytest.approx(60.0)
    assert found.mean_c == pytest.approx(6.5)
    assert found.monitored_s == 60.0


def test_period_within_one_stretch_is_interpolated_at_both_edges() -> None:
    """A period without a reading of its own between two that frame it."""
    times, values = cut_to_period(
        np.array([0, 120_000], dtype=np.int64),
        np.array([2.0, 8.0]),
        stale_ms=180_000.0,
        from_ms=30_000.0,
        to_ms=90_000.0,
    )

    assert times.tolist() == [30_000.0, 90_000.0]
    assert values.tolist() == pytest.approx([3.5, 6.5])


def test_one_reading_has_a_range_and_a_mean_but_no_time() -> None:
    """A single reading is its own range and mean."""
    found = figures([(0, 3.0)], to_s=60)

    assert (found.min_c, found.max_c, found.mean_c) == (3.0, 3.0, 3.0)
    assert found.kinetic_c == pytest.approx(3.0)
    assert (found.monitored_s, found.above_limit_s, found.missing_s) == (0.0, 0.0, 0.0)


def test_no_reading_is_missing_time_and_no_figures() -> None:
    """Nothing is said of a probe that never spoke, but that it was silent."""
    found = statistics(
        np.array([], dtype=np.int64),
        np.array([]),
        stale_ms=180_000.0,
        from_ms=0.0,
        to_ms=600_000.0,
        limit_c=5.0,
    )

    assert (found.readings, found.missing_s) == (0, 600.0)
    assert (found.min_c, found.max_c, found.mean_c, found.kinetic_c) == (None,) * 4


@pytest.mark.parametrize("seed", range(6))
def test_figures_of_any_curve_agree_with_a_fine_grid(seed: int) -> None:
    """Random readings, intervals and gaps, summed up a tenth of a second at a time."""
    rng = random.Random(seed)
    steps = [rng.choice([1.0, 13.0, 60.0, 180.0, 200.0, 900.0]) for _ in range(40)]
    times = list(itertools.accumulate(steps, initial=0.0))
    points = [(t, rng.uniform(0.0, 9.0)) for t in times]

    found = figures(points)

    above_s = area = seen_s = missing_s = 0.0
    for (start_s, start), (end_s, end) in itertools.pairwise(points):
        length_s = end_s - start_s
        if length_s > STALE_S:
            missing_s += length_s
            continue
        middles = (np.arange(round(length_s * 10)) + 0.5) / (length_s * 10)
        grid = start + (end - start) * middles
        above_s += float((grid > 5.0).sum()) / 10
        area += float(grid.sum()) / 10
        seen_s += length_s
    assert found.missing_s == pytest.approx(missing_s)
    assert found.monitored_s == pytest.approx(seen_s)
    assert found.mean_c == pytest.approx(area / seen_s, abs=1e-9)
    assert found.above_limit_s == pytest.approx(above_s, abs=0.1 * len(points))


def test_lower_limit_never_gives_less_time_above_it() -> None:
    """A stricter shop never looks better."""
    rng = random.Random(3)
    points = [(60.0 * n, rng.uniform(0.0, 9.0)) for n in range(60)]
    found = [figures(points, limit_c=limit).above_limit_s for limit in (7.0, 6.0, 5.0, 4.9, 3.0)]

    assert found == sorted(found)
