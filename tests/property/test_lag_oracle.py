"""Time above the limit behind a lag, against an integration in small steps.

The oracle takes τ·dy/dt = u − y a second at a time by the trapezoidal rule: no closed
form, no crossing formula, no bracket.
"""

from itertools import accumulate, pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import lfilter

from core_run import run_core
from handmade import Paper, probe, shop, unit

STALE_S = 180
NEAR_C = 2e-3
"""Trapezoids of a second err by less than this for τ of five minutes or more."""


def pieces(
    curve: list[tuple[int, float]], lag_s: float
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Return the fish's temperature at every second, one piece for each monitored stretch."""
    stretches: list[list[tuple[int, float]]] = [[curve[0]]]
    for before, after in pairwise(curve):
        if after[0] - before[0] > STALE_S:
            stretches.append([])
        stretches[-1].append(after)
    found = []
    fish_c = curve[0][1]
    for stretch in stretches:
        times, air = zip(*stretch, strict=True)
        seconds = np.arange(times[0], times[-1] + 1, dtype=np.float64)
        u = np.interp(seconds, times, air)
        fish_c = max(fish_c, u[0])  # after a gap, the warmer
        k = 1.0 / (2.0 * lag_s)
        driven = np.zeros_like(u)
        driven[1:] = k * (u[1:] + u[:-1]) / (1.0 + k)
        driven[0] = fish_c
        y = lfilter([1.0], [1.0, -(1.0 - k) / (1.0 + k)], driven)
        fish_c = float(y[-1])
        found.append((seconds, y))
    return found


def above_s(y: NDArray[np.float64], limit_c: float) -> float:
    """Return the seconds above a limit, straight between the grid's points."""
    low, high = np.minimum(y[:-1], y[1:]), np.maximum(y[:-1], y[1:])
    rise = np.where(high > low, high - low, 1.0)
    share = np.where(high > low, (np.clip(high - limit_c, 0.0, None)) / rise, low > limit_c)
    return float(np.clip(share, 0.0, 1.0).sum())


@settings(deadline=None, max_examples=80)
@given(
    steps=st.lists(
        st.tuples(
            st.sampled_from([17, 30, 60, 60, 60, 180, 181, 2000]),
            st.integers(-20, 140).map(lambda tenths: tenths / 10),
        ),
        min_size=2,
        max_size=50,
    ),
    lag_s=st.sampled_from([300, 1200, 3600]),
)
def test_time_above_the_limit_behind_a_lag_agrees_with_an_integration_in_small_steps(
    steps: list[tuple[int, float]], lag_s: int
) -> None:
    """Doors, defrosts and gaps: what the ledger says of the fish is what the steps add up to."""
    times = accumulate(step_s for step_s, _ in steps)
    curve = list(zip(times, (celsius for _, celsius in steps), strict=True))
    in_shop = shop(unit(lag_s=lag_s), probe())

    record = run_core(in_shop, Paper().curve(curve).read()).ledger["units"]["case-1"]

    fish = [y for _, y in pieces(curve, float(lag_s))]
    least = sum(above_s(y, 5.0 + NEAR_C) for y in fish)
    most = sum(above_s(y, 5.0 - NEAR_C) for y in fish)
    assert least - 0.05 <= record["governing_above_limit_s"] <= most + 0.05
    in_excursions = sum(e["above_s"] for e in record["excursions"])
    assert abs(in_excursions - record["governing_above_limit_s"]) < 0.01
    warmest = max((e["peak_c"] for e in record["excursions"]), default=None)
    highest = max(float(y.max()) for y in fish)
    if highest > 5.0 + NEAR_C:
        assert warmest is not None
        assert abs(warmest - highest) < NEAR_C
    if highest < 5.0 - NEAR_C:
        assert record["excursions"] == []


def test_lag_that_is_nothing_beside_a_slow_probes_interval_leaves_the_air_itself() -> None:
    """A lag of a second, a reading each quarter of an hour: 900 lags, of which nothing is left."""
    in_shop = shop(unit(lag_s=1), probe(every_s=900))
    curve = [(900 * n, celsius) for n, celsius in enumerate([2.0, 2.5, 7.0, 3.0, 3.0])]

    record = run_core(in_shop, Paper().curve(curve).read()).ledger["units"]["case-1"]

    (excursion,) = record["excursions"]
    # From 2.5 to 7 in 900 s the air passes 5 at 500 s, from 7 to 3 at 450 s: 850 s, the fish a
    # second behind on both ways.
    assert abs(excursion["above_s"] - 850.0) < 0.1
    assert abs(excursion["peak_c"] - 7.0) < 0.01
