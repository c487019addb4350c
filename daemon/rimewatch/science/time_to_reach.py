"""When air, or the fish behind it, reaches a limit, if matters go on as they do.

Answers are intervals. For every candidate of a fitted approach the chance of being at
or above the limit at a time has a closed form; the mixture of them all is the
distribution of the time asked for. Nothing is sampled.

Pure: no clock, no I/O, no random numbers. A projection is no verdict on the fish: it
says what comes if nobody does anything.

References:
    [1] First-order lag, y' = (x − y)/lag, solved for an exponential input x; any
        textbook of process control.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.science.approach import INTERVAL, Approach
from rimewatch.science.rise_models import normal_cdf

Floats = NDArray[np.float64]

DEFAULT_HORIZON_S: Final = 172_800.0
"""Two days: beyond it nobody plans by a projection. Common practice, no source."""
_STEPS: Final = 45
_PIECES: Final = 12
_REFINED: Final = 4
"""An interval of the grid is cut so many times into so many pieces: an hour's to 0.05 s."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeToReach:
    """When a limit is reached, in seconds from the moment asked about.

    Zero: it is reached already. None: not within the horizon.
    """

    earliest_s: float | None
    """One chance in twenty that it comes sooner."""
    likely_s: float | None
    latest_s: float | None
    """One chance in twenty that it comes later, or never."""
    chance: float
    """Probability, 0 to 1, that it is reached within the horizon."""


def time_to_reach(
    approach: Approach,
    limit_c: float,
    *,
    from_s: float | None = None,
    horizon_s: float = DEFAULT_HORIZON_S,
) -> TimeToReach:
    """Return when the fitted curve itself, the air, reaches a limit.

    Args:
        approach: The fit.
        limit_c: The limit, °C.
        from_s: The moment to count from, on the time axis of the fit; None: the last
            reading.
        horizon_s: How far to look, in seconds.

    >>> from rimewatch.science.approach import fit_approach
    >>> minutes = np.arange(0.0, 60.0)
    >>> air = 22.0 - 20.0 * np.exp(-minutes / 60.0)
    >>> fit = fit_approach(60.0 * minutes, air, noise_c=0.02)
    >>> round(time_to_reach(fit, 12.0, from_s=0.0).likely_s / 60.0)
    42
    """
    offset_s = (approach.last_s if from_s is None else from_s) - approach.first_s
    table = _table(approach)

    def chance(after_s: Floats) -> Floats:
        tau = table.tau[:, :, np.newaxis]
        climbed = -tau * np.expm1(-(offset_s + after_s) / tau)
        return _chance(table, np.ones_like(after_s), climbed, 0.0, 0.0, limit_c)

    return _search(chance, rising=approach.rising, horizon_s=horizon_s)


def project_lagged(
    approach: Approach,
    *,
    fish_c: float,
    lag_s: float,
    limit_c: float,
    from_s: float | None = None,
    fish_deviation_c: float = 0.0,
    horizon_s: float = DEFAULT_HORIZON_S,
) -> TimeToReach:
    """Return when fish that follows the air with a first-order lag reaches a limit.

    With ``lag_s`` 0 the fish is the air.

    Args:
        approach: The fit of the air.
        fish_c: The fish's temperature at ``from_s``, °C.
        lag_s: Its time constant behind the air, seconds.
        limit_c: The limit, °C.
        from_s: The moment to count from, on the time axis of the fit; None: the last
            reading.
        fish_deviation_c: Standard uncertainty of ``fish_c``, °C.
        horizon_s: How far to look, in seconds.

    Raises:
        ValueError: If ``lag_s`` is negative or ``fish_c`` is not finite.

    >>> from rimewatch.science.approach import fit_approach
    >>> minutes = np.arange(0.0, 40.0)
    >>> air = 20.0 - 18.0 * np.exp(-minutes / 30.0)
    >>> fit = fit_approach(60.0 * minutes, air, noise_c=0.05)
    >>> time = project_lagged(fit, fish_c=2.0, lag_s=1200.0, limit_c=5.0, from_s=0.0)
    >>> round(time.likely_s / 60.0, 1)
    18.0
    """
    if not (math.isfinite(lag_s) and lag_s >= 0.0):
        raise ValueError(f"lag_s is {lag_s}; expected zero or a positive number of seconds")
    if not math.isfinite(fish_c):
        raise ValueError(f"fish_c is {fish_c}; expected the fish's temperature in °C")
    if lag_s == 0.0:
        return time_to_reach(approach, limit_c, from_s=from_s, horizon_s=horizon_s)
    if fish_c >= limit_c:
        return TimeToReach(earliest_s=0.0, likely_s=0.0, latest_s=0.0, chance=1.0)
    offset_s = (approach.last_s if from_s is None else from_s) - approach.first_s
    table = _table(approach)
    tau = table.tau[:, :, np.newaxis]
    air_left = np.exp(-offset_s / tau)

    def chance(after_s: Floats) -> Floats:
        fish_left = np.exp(-after_s / lag_s)
        approached = 1.0 - fish_left
        lagging = _lagged_decay(after_s, tau, lag_s)
        # The fish is linear in the air's start and rates, and in where it begins.
        by_rates = tau * (approached - air_left * lagging)
        own_deviation_c = fish_deviation_c * fish_left
        return _chance(table, approached, by_rates, fish_c * fish_left, own_deviation_c, limit_c)

    return _search(chance, rising=approach.rising, horizon_s=horizon_s)


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """An approach's candidates as arrays, one row a candidate."""

    weight: Floats  # (n,)
    tau: Floats  # (n, 2)
    mean: Floats  # (n, 3) start and the two rates
    cov: Floats  # (n, 3, 3)


def _table(approach: Approach) -> _Table:
    candidates = approach.candidates
    return _Table(
        weight=np.array([one.weight for one in candidates]),
        tau=np.array([one.tau_s for one in candidates]),
        mean=np.array([(one.start_c, *one.rates_c_per_s) for one in candidates]),
        cov=np.array([one.covariance for one in candidates]).reshape(-1, 3, 3),
    )


def _lagged_decay(after_s: Floats, tau: Floats, lag_s: float) -> Floats:
    """Return the part of an exponential decay that a lag still holds, for each τ and time.

    It is τ/(τ − λ)·(exp(−u/τ) − exp(−u/λ)), and (u/λ)·exp(−u/λ) where τ = λ.
    """
    x = after_s * (1.0 / lag_s - 1.0 / tau)
    near = np.abs(x) < 1e-6
    apart = np.where(near, 1.0, 1.0 - lag_s / tau)
    plain = (np.exp(-after_s / tau) - np.exp(-after_s / lag_s)) / apart
    close = after_s / lag_s * np.exp(-after_s / lag_s) * (1.0 + x / 2.0)
    return np.where(near, close, plain)


def _chance(
    table: _Table,
    by_start: Floats,
    by_rates: Floats,
    own_c: Floats | float,
    own_deviation_c: Floats | float,
    limit_c: float,
) -> Floats:
    """Return the probability that own + by_start·S + Σ by_rate·R is at or above a limit.

    Args:
        table: The candidates.
        by_start: For each time. # (n_times,)
        by_rates: For each candidate, rate and time. # (n, 2, n_times)
        own_c: For each time.
        own_deviation_c: For each time.
        limit_c: The limit.
    """
    first, second = by_rates[:, 0], by_rates[:, 1]
    start, rate_1, rate_2 = (table.mean[:, which, np.newaxis] for which in range(3))
    mean = own_c + by_start * start + first * rate_1 + second * rate_2
    cov = table.cov[:, :, :, np.newaxis]
    variance = (
        by_start * (by_start * cov[:, 0, 0] + 2.0 * (first * cov[:, 0, 1] + second * cov[:, 0, 2]))
        + first * (first * cov[:, 1, 1] + 2.0 * second * cov[:, 1, 2])
        + second * second * cov[:, 2, 2]
    )
    deviation = np.sqrt(np.maximum(variance + own_deviation_c**2, 1e-18))
    chances: Floats = table.weight @ normal_cdf((mean - limit_c) / deviation)
    return chances


def _search(chance: Callable[[Floats], Floats], *, rising: bool, horizon_s: float) -> TimeToReach:
    """Find where the chance first passes each end of the interval and its middle."""
    tail = (1.0 - INTERVAL) / 2.0
    times = np.concatenate([[0.0], np.geomspace(1.0, horizon_s, _STEPS)])
    # The chance of having been there by a time never falls, whatever a curve does later.
    chances = np.maximum.accumulate(chance(times))
    final = float(chances[-1])

    def quantile(level: float) -> float | None:
        if not rising and chances[0] < level:
            return None
        passed = np.flatnonzero(chances >= level)
        if len(passed) == 0:
            return None
        position = int(passed[0])
        if position == 0:
            return 0.0
        low, high = float(times[position - 1]), float(times[position])
        for _ in range(_REFINED):
            # Cut into pieces, and go on in the first whose end is past it.
            ends = np.linspace(low, high, _PIECES + 1)[1:]
            over = np.flatnonzero(chance(ends[:-1]) >= level)
            piece = int(over[0]) if len(over) else _PIECES - 1
            low, high = (low if piece == 0 else float(ends[piece - 1])), float(ends[piece])
        return high

    return TimeToReach(
        earliest_s=quantile(tail),
        likely_s=quantile(0.5),
        latest_s=quantile(1.0 - tail),
        chance=final if rising else float(chances[0]),
    )
