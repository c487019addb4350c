"""How far fish is behind its air, from a stretch in which both were measured.

The air is put through a first-order lag of every length that is thought of, and held against
what the fish did: the length that fits best, and those that fit nearly as well. The two probes
may differ by a constant, which is fitted with it. Slow errors (a fish that warms by its ice as
well) make neighbouring residuals alike: as many of them count as are independent.

Pure: arrays in, numbers out. It knows nothing of units, and changes none of their figures: what it
finds is for people to consider.

References:
    [1] Bates, D. M. & Watts, D. G. (1988). Nonlinear Regression Analysis: the profile of a
        parameter by its sum of squares; from memory.
"""

from dataclasses import dataclass
from math import exp, log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.science import lag_run

Floats = NDArray[np.float64]

SHORTEST_S: Final = 60.0
LONGEST_S: Final = 12 * 3600.0
STEPS: Final = 48
LEAST_READINGS: Final = 60
LEAST_MOVED_C: Final = 0.5
"""Fish that has not moved by so much shows nothing of its lag."""
NINETY_FIVE: Final = 3.84
"""Quantile of chi-squared with one degree of freedom."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LagMeasured:
    """A lag with its uncertainty."""

    lag_s: float
    interval_s: tuple[float, float]
    """Those that fit nearly as well: 95 % where residuals are as independent as they look."""
    hours: float
    """How long both were measured."""
    rms_c: float
    """What is left unexplained."""

    def contradicts(self, lag_s: float) -> bool:
        """Whether a configured lag is well outside of what was seen: by more than half as much."""
        low_s, high_s = self.interval_s
        return not (low_s / 1.5 <= lag_s <= high_s * 1.5)


def measure_lag(
    times_ms: NDArray[np.int64],
    air_c: Floats,
    fish_times_ms: NDArray[np.int64],
    fish_c: Floats,
    *,
    stale_ms: float,
) -> LagMeasured | None:
    """Return the lag that the fish had behind the air; None where the stretch shows none.

    Args:
        times_ms: Times of the air's readings, strictly increasing. # (n,)
        air_c: The air, °C. # (n,)
        fish_times_ms: Times of the fish's readings, strictly increasing. # (m,)
        fish_c: The fish, °C. # (m,)
        stale_ms: Longer intervals of the air are gaps.
    """
    if min(len(times_ms), len(fish_times_ms)) < LEAST_READINGS:
        return None
    low, high = np.quantile(fish_c, [0.02, 0.98])
    if high - low < LEAST_MOVED_C:
        return None
    lags = [
        exp(log(SHORTEST_S) + step / (STEPS - 1) * log(LONGEST_S / SHORTEST_S))
        for step in range(STEPS)
    ]
    whole_ms = float(times_ms[-1] - times_ms[0])
    # Where the fish stood at the start is not known to the lag: the first quarter is left out.
    settled_ms = times_ms[0] + whole_ms / 4.0
    use = (fish_times_ms >= settled_ms) & (fish_times_ms <= times_ms[-1])
    if use.sum() < LEAST_READINGS // 2:
        return None
    at_ms, seen_c = fish_times_ms[use], fish_c[use]
    misfits, leftovers = [], []
    for lag_s in lags:
        start = lag_run.begin(lag_s, int(times_ms[0]), float(air_c[0]), float(fish_c[0]))
        lagged = lag_run.run(start, lag_s, stale_ms, times_ms[1:], air_c[1:]).governing_c
        left = seen_c - np.interp(at_ms, times_ms[1:], lagged)
        left = left - left.mean()
        misfits.append(float((left * left).sum()))
        leftovers.append(left)
    best = int(np.argmin(misfits))
    left = leftovers[best]
    power = max(misfits[best], 1e-12)
    rho = min(max(float((left[1:] * left[:-1]).sum()) / power, 0.0), 0.995)
    independent = max(len(left) * (1.0 - rho) / (1.0 + rho), 4.0)
    near = [
        lag_s
        for lag_s, misfit in zip(lags, misfits, strict=True)
        if independent * log(max(misfit, 1e-12) / power) <= NINETY_FIVE
    ]
    if near[0] == lags[0] or near[-1] == lags[-1]:
        return None  # not told from one that is shorter, or longer, than any that is thought of
    half = (log(lags[1]) - log(lags[0])) / 2.0
    return LagMeasured(
        lag_s=lags[best],
        interval_s=(near[0] * exp(-half), near[-1] * exp(half)),
        hours=whole_ms / 3.6e6,
        rms_c=float(np.sqrt((left * left).mean())),
    )
