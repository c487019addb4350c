"""Where a warming curve is heading: an exponential approach to the surroundings.

When cooling stops, the air of a unit climbs towards the room:

    T(t) = S + R·τ·(1 − exp(−t/τ)),   ambient = S + R·τ

with start S, first rate of rise R and time constant τ. Early in the rise the data say
little of τ and less of the ambient; a single best curve would then promise a time it
does not know. So for each τ of a grid the straight-line part (S, R) is solved exactly,
each τ gets the weight the readings give it, and every statement is made of all of
them together: an interval, or "not within the horizon".

Spikes are taken out by weights; readings that err together (fans, a compressor's
cycle, a curve that is not quite exponential) widen the intervals.

Pure: no clock, no I/O, no random numbers: the same readings give the same interval.
It knows nothing of doors or of repairs: a projection holds while nothing changes.

References:
    [1] Weighted linear least squares and the marginal likelihood of a linear model
        with a flat prior on its coefficients; any textbook of Bayesian statistics.
    [2] Huber, P. J. (1981). Robust Statistics: weights with k = 1.345.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

FEWEST_READINGS: Final = 6
TAU_RANGE_S: Final = (60.0, 604_800.0)
"""Time constants considered, a minute to a week: what cases and coolers can have.
Common practice, no source."""
INTERVAL: Final = 0.90
"""Probability an interval is made for; half of the rest on each side."""

_GRID: Final = 81
_HUBER: Final = 1.345
_OUTLIER: Final = 4.0
_NORMAL_MAD: Final = 1.4826
_UNLIKELY: Final = 14.0
"""Log weights this far below the best are dropped: less than one in a million."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """The fit for one τ, and how much the readings speak for it."""

    tau_s: float
    weight: float
    start_c: float
    rate_c_per_s: float
    var_start: float
    cov_start_rate: float
    var_rate: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """A fitted rise. Single figures are the medians of what is likely."""

    ambient_c: float
    ambient_interval_c: tuple[float, float]
    tau_s: float
    tau_interval_s: tuple[float, float]
    start_c: float
    """Fitted temperature at the first reading."""
    rate_c_per_h: float
    """Fitted rate of rise at the last reading."""
    rms_c: float
    """Root mean square residual of the best curve, spikes left out."""
    noise_c: float
    """What one reading counts as uncertain: at least what the caller said."""
    readings: int
    first_s: float
    last_s: float
    rising: bool
    """Whether a rise is 95 % certain; if not, nothing is projected."""
    candidates: tuple[Candidate, ...]


def fit_approach(
    times_s: ArrayLike,
    celsius: ArrayLike,
    *,
    noise_c: float,
    tau_range_s: tuple[float, float] = TAU_RANGE_S,
) -> Approach:
    """Fit a rise to an exponential approach.

    Args:
        times_s: Times of the readings in seconds, increasing, any origin.
        celsius: Temperatures since the rise began, °C.
        noise_c: Standard deviation of a reading's random error, °C. Larger scatter in
            the readings themselves counts instead.
        tau_range_s: Shortest and longest time constant considered.

    Raises:
        ValueError: If there are fewer than six readings, lists differ in length, times
            do not increase, a value is not finite, or ``noise_c`` is not positive.

    >>> minutes = np.arange(0.0, 40.0)
    >>> air = 22.0 - 18.0 * np.exp(-minutes / 30.0)
    >>> fit = fit_approach(60.0 * minutes, air, noise_c=0.05)
    >>> round(fit.ambient_c), round(fit.tau_s / 60.0), fit.rising
    (22, 30, True)
    """
    times, values = _checked(times_s, celsius, noise_c)
    first_s, last_s = float(times[0]), float(times[-1])
    since = times - first_s
    weights, noise = _robust_weights(since, values, noise_c, tau_range_s)
    taus = _worthwhile_taus(since, values, weights, noise, tau_range_s)
    starts, rates, cov, sse, logs = _solve(since, values, weights, noise, taus)
    share = np.exp(logs - logs.max())
    share /= share.sum()
    candidates = tuple(
        Candidate(*(float(x) for x in row))
        for row in zip(taus, share, starts, rates, cov[0], cov[1], cov[2], strict=True)
    )
    best = int(np.argmax(logs))
    tail = (1.0 - INTERVAL) / 2.0
    levels = (tail, 0.5, 1.0 - tail)
    ambient = _ambient_quantiles(candidates, levels)
    tau_low, tau_mid, tau_high = _weighted_quantiles(np.log(taus), share, levels)
    z_rate = rates / np.sqrt(cov[2])
    rising_chance = float((share * _normal_cdf(z_rate)).sum())
    decay = np.exp(-since[-1] / taus)
    return Approach(
        ambient_c=ambient[1],
        ambient_interval_c=(ambient[0], ambient[2]),
        tau_s=math.exp(tau_mid),
        tau_interval_s=(math.exp(tau_low), math.exp(tau_high)),
        start_c=float((share * starts).sum()),
        rate_c_per_h=float((share * rates * decay).sum()) * 3600.0,
        rms_c=math.sqrt(float(sse[best]) / max(float((weights > 0.0).sum()), 1.0)),
        noise_c=noise,
        readings=len(times),
        first_s=first_s,
        last_s=last_s,
        rising=rising_chance >= 0.95,
        candidates=candidates,
    )


def _checked(times_s: ArrayLike, celsius: ArrayLike, noise_c: float) -> tuple[Floats, Floats]:
    times = np.asarray(times_s, dtype=np.float64)
    values = np.asarray(celsius, dtype=np.float64)
    if times.ndim != 1 or times.shape != values.shape:
        raise ValueError(
            f"times_s has shape {times.shape}, celsius {values.shape}; "
            "expected two lists of one length"
        )
    if len(times) < FEWEST_READINGS:
        raise ValueError(f"{len(times)} readings; a fit needs at least {FEWEST_READINGS}")
    if not (np.isfinite(times).all() and np.isfinite(values).all()):
        raise ValueError("a time or a temperature is not finite; leave such readings out")
    if not (np.diff(times) > 0.0).all():
        raise ValueError("times_s does not increase throughout; sort it and drop duplicates")
    if not (math.isfinite(noise_c) and noise_c > 0.0):
        raise ValueError(f"noise_c is {noise_c}; expected a positive number of °C")
    return times, values


def _grid(low_s: float, high_s: float, size: int = _GRID) -> Floats:
    return np.exp(np.linspace(math.log(low_s), math.log(high_s), size))


def _basis(since: Floats, taus: Floats) -> Floats:
    """Return τ·(1 − exp(−t/τ)) with one row a τ, exact also for very long τ."""
    column = taus[:, np.newaxis]
    basis: Floats = -column * np.expm1(-since[np.newaxis, :] / column)
    return basis


def _solve(
    since: Floats, values: Floats, weights: Floats, noise: float, taus: Floats
) -> tuple[Floats, Floats, tuple[Floats, Floats, Floats], Floats, Floats]:
    """Solve S and R for each τ; return them, their covariance, the SSE, log weights."""
    basis = _basis(since, taus)
    total = weights.sum()
    mean_basis = basis @ weights / total
    mean_value = float(values @ weights / total)
    centred = basis - mean_basis[:, np.newaxis]
    power = (centred * centred) @ weights
    rates = (centred @ (weights * (values - mean_value))) / power
    starts = mean_value - rates * mean_basis
    residual = values[np.newaxis, :] - starts[:, np.newaxis] - rates[:, np.newaxis] * basis
    sse = (residual * residual) @ weights
    variance = noise * noise
    var_rate = variance / power
    var_start = variance / total + mean_basis * mean_basis * var_rate
    cov = -mean_basis * var_rate
    # Flat in S and R, so a τ counts for its likelihood times √det of the covariance;
    # flat in log τ, which is what an evenly spaced grid of logarithms amounts to.
    logs = -sse / (2.0 * variance) - 0.5 * np.log(power)
    return starts, rates, (var_start, cov, var_rate), sse, logs


def _robust_weights(
    since: Floats, values: Floats, noise_c: float, tau_range_s: tuple[float, float]
) -> tuple[Floats, float]:
    """Return weights that take spikes out, and the noise one reading counts with."""
    weights = np.ones(len(values))
    taus = _grid(*tau_range_s)
    residual = values
    scale = noise_c
    for _ in range(6):
        starts, rates, _cov, sse, _logs = _solve(since, values, weights, noise_c, taus)
        best = int(np.argmin(sse))
        curve = _basis(since, taus[best : best + 1])[0]
        residual = values - starts[best] - rates[best] * curve
        scale = max(noise_c, _NORMAL_MAD * float(np.median(np.abs(residual))))
        size = np.maximum(np.abs(residual) / scale, 1e-12)
        before, weights = weights, np.minimum(1.0, _HUBER / size)
        if np.allclose(before, weights, rtol=0.0, atol=1e-3):
            break
    kept = np.abs(residual) <= _OUTLIER * scale
    # Parameters take their share of the scatter: three of them, and τ counts too.
    freedom = max(float(kept.sum()) - 3.0, 1.0)
    spread = math.sqrt(float((residual[kept] ** 2).sum()) / freedom)
    noise = max(noise_c, spread) * math.sqrt(_inflation(residual[kept]))
    return kept.astype(np.float64), noise


def _inflation(residual: Floats) -> float:
    """Return how many times fewer independent readings there are, by lag-1 correlation.

    (1 + ρ)/(1 − ρ) for a first-order autoregression; negative ρ earns nothing. A ρ
    taken from n residuals comes out too small by about (1 + 3ρ)/n (Kendall 1954, from
    memory), more where a curve was fitted first: it is put back with 4 for 3.
    """
    power = float((residual * residual).sum())
    if power <= 0.0:
        return 1.0
    rho = float((residual[1:] * residual[:-1]).sum()) / power
    rho = max(rho, 0.0)
    rho = min(rho + (1.0 + 4.0 * rho) / len(residual), 0.95)
    return (1.0 + rho) / (1.0 - rho)


def _worthwhile_taus(
    since: Floats,
    values: Floats,
    weights: Floats,
    noise: float,
    tau_range_s: tuple[float, float],
) -> Floats:
    """Return a grid of τ over the part of the range that the readings allow."""
    low, high = tau_range_s
    for _ in range(4):
        taus = _grid(low, high)
        logs = _solve(since, values, weights, noise, taus)[-1]
        likely = np.flatnonzero(logs >= logs.max() - _UNLIKELY)
        first, last = max(int(likely[0]) - 1, 0), min(int(likely[-1]) + 1, _GRID - 1)
        low, high = float(taus[first]), float(taus[last])
        if len(likely) > _GRID // 3:
            break
    return _grid(low, high)


def _normal_cdf(z: Floats) -> Floats:
    flat = [0.5 * math.erfc(-x / math.sqrt(2.0)) for x in z.ravel().tolist()]
    return np.array(flat).reshape(z.shape)


def _weighted_quantiles(
    values: Floats, share: Floats, levels: tuple[float, ...]
) -> tuple[float, ...]:
    """Return quantiles of a distribution given on a grid, linear within its cells."""
    cumulative = np.cumsum(share) - share / 2.0
    return tuple(float(np.interp(level, cumulative, values)) for level in levels)


def _ambient_quantiles(
    candidates: tuple[Candidate, ...], levels: tuple[float, ...]
) -> tuple[float, ...]:
    """Return quantiles of the ambient, a mixture of one normal a candidate."""
    means = np.array([c.start_c + c.rate_c_per_s * c.tau_s for c in candidates])
    deviations = np.sqrt(
        np.array(
            [
                c.var_start + 2.0 * c.tau_s * c.cov_start_rate + c.tau_s**2 * c.var_rate
                for c in candidates
            ]
        )
    )
    share = np.array([c.weight for c in candidates])
    reach = 8.0 * deviations
    lowest, highest = float((means - reach).min()), float((means + reach).max())
    found = []
    for level in levels:
        low, high = lowest, highest
        for _ in range(40):
            middle = (low + high) / 2.0
            below = float((share * _normal_cdf((middle - means) / deviations)).sum())
            low, high = (middle, high) if below < level else (low, middle)
        found.append((low + high) / 2.0)
    return tuple(found)
