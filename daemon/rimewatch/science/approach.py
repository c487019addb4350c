"""Where a warming curve is heading: an exponential approach to the surroundings.

When cooling stops, the air of a unit climbs towards the room: at once, or first with
the air and then slowly with the fish and the walls. ``rise_models`` has one exponential
and two. Early in the rise the readings say little of a time constant and less of the
ambient; a single best curve would promise a time it does not know. So every candidate
gets the weight the readings give it, and each statement is made of all of them
together: an interval, or "not within the horizon".

Spikes are taken out; readings that err together (fans, a compressor's cycle) widen the
intervals.

Pure: no clock, no I/O, no random numbers: the same readings give the same interval.
It knows nothing of doors or of repairs: a projection holds while nothing changes.

References:
    [1] Huber, P. J. (1981). Robust Statistics: weights with k = 1.345.
    [2] Kendall, M. G. (1954): the bias of a serial correlation, from memory.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rimewatch.science import rise_models
from rimewatch.science.rise_models import Rise

Floats = NDArray[np.float64]

FEWEST_READINGS: Final = 6
TAU_RANGE_S: Final = (60.0, 172_800.0)
"""Time constants considered, a minute to two days: what cases and coolers can have.
Common practice, no source."""
AMPLITUDE_C: Final = 20.0
"""A climb that would surprise nobody, from a case to a room; at least twice what the
readings have climbed already. Common practice, no source."""
INTERVAL: Final = 0.90
"""Probability an interval is made for; half of the rest on each side."""

_HUBER: Final = 1.345
_PIECES: Final = 16
_CUTS: Final = 6
"""A quantile is looked for by cutting its range so many times into so many pieces."""
_OUTLIER: Final = 4.0
_NORMAL_MAD: Final = 1.4826


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way the rise may go on, and how much the readings speak for it.

    T(t) = start + Σ rate·τ·(1 − exp(−t/τ)), t from the first reading. With one
    exponential the second rate is 0.
    """

    weight: float
    tau_s: tuple[float, float]
    start_c: float
    rates_c_per_s: tuple[float, float]
    covariance: tuple[float, ...]
    """Of start, first and second rate, row by row. # (9,)"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """A fitted rise. Single figures are the medians of what is likely."""

    ambient_c: float
    ambient_interval_c: tuple[float, float]
    tau_s: float
    """Time constant with which it settles: the slower of two."""
    tau_interval_s: tuple[float, float]
    """An indication: over invented failures it held the truth in 84 to 95 % of them."""
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
    two_bodies: float
    """Probability, 0 to 1, that a second, slower body is behind the air."""
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
            do not increase, a value is not finite, ``noise_c`` is not positive, or the
            range of τ is no range.

    >>> minutes = np.arange(0.0, 60.0)
    >>> air = 22.0 - 18.0 * np.exp(-minutes / 20.0)
    >>> fit = fit_approach(60.0 * minutes, air, noise_c=0.02)
    >>> round(fit.ambient_c), round(fit.tau_s / 60.0), fit.rising
    (22, 20, True)
    """
    times, values = _checked(times_s, celsius, noise_c)
    if not 0.0 < 2.0 * tau_range_s[0] <= tau_range_s[1] < math.inf:
        raise ValueError(
            f"tau_range_s is {tau_range_s}; expected two positive numbers of seconds, the "
            "second at least twice the first"
        )
    first_s, last_s = float(times[0]), float(times[-1])
    since = times - first_s
    rise, residual = _cleaned(
        Rise(
            since_s=since,
            celsius=values,
            weights=np.ones(len(values)),
            noise_c=noise_c,
            amplitude_c=max(AMPLITUDE_C, 2.0 * float(np.ptp(np.sort(values)[1:-1]))),
            tau_range_s=tau_range_s,
        )
    )
    single = rise_models.single_posterior(rise)
    pairs = rise_models.pair_posterior(rise)
    joined, share = rise_models.together(single, pairs)
    tail = (1.0 - INTERVAL) / 2.0
    levels = (tail, 0.5, 1.0 - tail)
    ambient = _ambient_quantiles(joined, share, levels)
    order = np.argsort(joined.tau[:, 1], kind="stable")
    tau = _weighted_quantiles(np.log(joined.tau[order, 1]), share[order], levels)
    decay = np.exp(-since[-1] / joined.tau)
    kept = rise.weights > 0.0
    return Approach(
        ambient_c=ambient[1],
        ambient_interval_c=(ambient[0], ambient[2]),
        tau_s=math.exp(tau[1]),
        tau_interval_s=(math.exp(tau[0]), math.exp(tau[2])),
        start_c=float(share @ joined.mean[:, 0]),
        rate_c_per_h=float(share @ (joined.mean[:, 1:] * decay).sum(axis=1)) * 3600.0,
        rms_c=math.sqrt(float((residual[kept] ** 2).mean())),
        noise_c=rise.noise_c,
        readings=len(times),
        first_s=first_s,
        last_s=last_s,
        rising=_rising_chance(single) >= 0.95,
        two_bodies=float(share[joined.cov[:, 2, 2] > 0.0].sum()),
        candidates=tuple(
            Candidate(weight, (tau_1, tau_2), start, (rate_1, rate_2), tuple(cov))
            for weight, (tau_1, tau_2), (start, rate_1, rate_2), cov in zip(
                share.tolist(),
                joined.tau.tolist(),
                joined.mean.tolist(),
                joined.cov.reshape(-1, 9).tolist(),
                strict=True,
            )
        ),
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


def _cleaned(rise: Rise) -> tuple[Rise, Floats]:
    """Take spikes out and settle the noise; return the rise and the best residuals."""
    said = rise.noise_c
    residual, scale = rise.celsius, said
    for _ in range(6):
        found, _share = rise_models.together(
            rise_models.single_posterior(rise, refine=False),
            rise_models.pair_posterior(rise, refine=False),
        )
        best = int(np.argmax(found.log_weight))
        residual = rise.celsius - rise_models.curve(rise.since_s, found, best)
        scale = max(said, _NORMAL_MAD * float(np.median(np.abs(residual))))
        size = np.maximum(np.abs(residual) / scale, 1e-12)
        before, weights = rise.weights, np.minimum(1.0, _HUBER / size)
        rise = replace(rise, weights=weights, noise_c=scale)
        if np.allclose(before, weights, rtol=0.0, atol=1e-2):
            break
    kept = np.abs(residual) <= _OUTLIER * scale
    # Start, two rates and two τ take their share of the scatter.
    freedom = max(float(kept.sum()) - 5.0, 1.0)
    spread = math.sqrt(float((residual[kept] ** 2).sum()) / freedom)
    noise_c = max(said, spread) * math.sqrt(_inflation(residual[kept]))
    return replace(rise, weights=kept.astype(np.float64), noise_c=noise_c), residual


def _inflation(residual: Floats) -> float:
    """Return how many times fewer independent readings there are, by lag-1 correlation.

    (1 + ρ)/(1 − ρ) for a first-order autoregression; negative ρ earns nothing. A ρ
    taken from n residuals comes out too small by about (1 + 3ρ)/n [2]; twice that is
    put back, since a curve of up to five parameters was fitted first.
    """
    power = float((residual * residual).sum())
    if power <= 0.0:
        return 1.0
    rho = max(float((residual[1:] * residual[:-1]).sum()) / power, 0.0)
    rho = min(rho + (2.0 + 6.0 * rho) / len(residual), 0.95)
    return (1.0 + rho) / (1.0 - rho)


def _rising_chance(single: rise_models.Posterior) -> float:
    share = np.exp(single.log_weight - single.log_weight.max())
    chances = rise_models.normal_cdf(single.mean[:, 1] / np.sqrt(single.cov[:, 1, 1]))
    return float(share @ chances / share.sum())


def _weighted_quantiles(
    values: Floats, share: Floats, levels: tuple[float, ...]
) -> tuple[float, ...]:
    """Return quantiles of a distribution given on a grid, linear within its cells."""
    cumulative = np.cumsum(share) - share / 2.0
    return tuple(float(np.interp(level, cumulative, values)) for level in levels)


def _ambient_quantiles(
    joined: rise_models.Posterior, share: Floats, levels: tuple[float, ...]
) -> tuple[float, ...]:
    """Return quantiles of the ambient, a mixture of one normal a candidate."""
    by = np.concatenate([np.ones((len(share), 1)), joined.tau], axis=1)
    means = (by * joined.mean).sum(axis=1)[:, np.newaxis]
    deviations = np.sqrt(np.einsum("ni,nij,nj->n", by, joined.cov, by))[:, np.newaxis]
    lowest = float((means - 8.0 * deviations).min())
    highest = float((means + 8.0 * deviations).max())
    found = []
    for level in levels:
        low, high = lowest, highest
        for _ in range(_CUTS):
            edges = np.linspace(low, high, _PIECES + 1)
            below = share @ rise_models.normal_cdf((edges[1:-1] - means) / deviations)
            piece = int(np.count_nonzero(below < level))
            low, high = float(edges[piece]), float(edges[piece + 1])
        found.append((low + high) / 2.0)
    return tuple(found)
