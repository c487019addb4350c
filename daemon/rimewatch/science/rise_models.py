"""What readings of a rise say of one or two exponentials: the arithmetic of ``approach``.

Air behind a failed cooling climbs fast until it meets the fish and the walls, and then
slowly with them: one body more, one exponential more,

    T(t) = S + R₁·τ₁·(1 − exp(−t/τ₁)) + R₂·τ₂·(1 − exp(−t/τ₂)).

One alone fits the fast part, takes it for the whole, and promises that matters settle
where they do not. So both models stand, weighted by the readings. For given τ the rest
is linear and solved exactly.

Pure: arrays in, arrays out; the same readings give the same numbers.

References:
    [1] Evidence of a linear model with normal priors on its coefficients; any textbook
        of Bayesian statistics.
    [2] Abramowitz, M. & Stegun, I. A. (1964). Handbook of Mathematical Functions,
        26.2.17: normal distribution to 7.5e-8.
    [3] The same, 26.2.14: the tail as a continued fraction; from memory, checked against SciPy.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SINGLE_GRID: Final = 81
_PAIR_GRID: Final = 25
_UNLIKELY: Final = 14.0
"""Log weights this far below the best are dropped: less than one in a million."""
_NEGLIGIBLE: Final = 1e-4
"""Weights below this share of the largest add nothing to an interval."""
_FAR: Final = 3.0
_FRACTION_PLACES: Final = 16
"""From three standard deviations on the ratio is right to 1e-8 with so many."""
_CLOSEST: Final = 1.2
"""Two τ nearer than this ratio are one."""


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Candidates: two τ, S, R₁ and R₂ with their covariance, and a log weight.

    For the model of one exponential the second rate is zero and known to be.
    """

    tau: Floats  # (n_candidates, 2)
    mean: Floats  # (n_candidates, 3)
    cov: Floats  # (n_candidates, 3, 3)
    log_weight: Floats  # (n_candidates,)


def normal_cdf(z: Floats) -> Floats:
    """Return Φ(z), right to 7.5e-8 [2].

    >>> normal_cdf(np.array([0.0, 2.0])).round(5).tolist()
    [0.5, 0.97725]
    """
    size = np.abs(z)
    k = 1.0 / (1.0 + 0.2316419 * size)
    series = np.full_like(size, 1.330274429)
    for factor in (-1.821255978, 1.781477937, -0.356563782, 0.319381530):
        series = series * k + factor
    upper = np.exp(-0.5 * size * size) / math.sqrt(2.0 * math.pi) * series * k
    result: Floats = np.where(z > 0.0, 1.0 - upper, upper)
    return result


def basis(since: Floats, taus: Floats) -> Floats:
    """Return τ·(1 − exp(−t/τ)) with one row a τ, exact also for very long τ."""
    column = taus[:, np.newaxis]
    rows: Floats = -column * np.expm1(-since[np.newaxis, :] / column)
    return rows


def curve(since: Floats, posterior: Posterior, which: int) -> Floats:
    """Return one candidate's curve at times since the first reading."""
    start, first, second = posterior.mean[which]
    rows = basis(since, posterior.tau[which])
    values: Floats = start + first * rows[0] + second * rows[1]
    return values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rise:
    """Readings of a rise and what is taken for granted about it."""

    since_s: Floats  # (n_readings,)
    celsius: Floats  # (n_readings,)
    weights: Floats  # (n_readings,) 1 for a reading that counts, less for a spike
    noise_c: float
    amplitude_c: float
    """Size of a climb that would surprise nobody; normal prior on each R·τ."""
    tau_range_s: tuple[float, float]


def single_posterior(rise: Rise, *, refine: bool = True) -> Posterior:
    """Return the candidates of one exponential, either way up.

    Args:
        rise: The readings.
        refine: Whether to look again, finer, where the weight is.
    """
    low, high = rise.tau_range_s
    found = _single(rise, _grid(low, high, _SINGLE_GRID))
    for _ in range(4 if refine else 0):
        likely = np.flatnonzero(found.log_weight >= found.log_weight.max() - _UNLIKELY)
        if len(likely) > _SINGLE_GRID // 3:
            break
        low, high = _narrowed(found.tau[:, 0], likely)
        found = _single(rise, _grid(low, high, _SINGLE_GRID))
    return found


def pair_posterior(rise: Rise, *, refine: bool = True) -> Posterior:
    """Return the candidates of two exponentials, both rising.

    Args:
        rise: The readings.
        refine: Whether to look again, finer, where the weight is.
    """
    range_1 = range_2 = rise.tau_range_s
    found = _pairs(rise, _grid(*range_1, _PAIR_GRID), _grid(*range_2, _PAIR_GRID))
    for _ in range(2 if refine else 0):
        likely = np.flatnonzero(found.log_weight >= found.log_weight.max() - _UNLIKELY)
        range_1 = _narrowed(_axis(range_1), _nearest(_axis(range_1), found.tau[likely, 0]))
        range_2 = _narrowed(_axis(range_2), _nearest(_axis(range_2), found.tau[likely, 1]))
        found = _pairs(rise, _axis(range_1), _axis(range_2))
    return found


def together(*posteriors: Posterior) -> tuple[Posterior, Floats]:
    """Join models of equal prior weight; return them and weights that sum to one."""
    logs = np.concatenate([one.log_weight for one in posteriors])
    weights = np.exp(logs - logs.max())
    kept = weights >= _NEGLIGIBLE * weights.max()
    joined = Posterior(
        tau=np.concatenate([one.tau for one in posteriors])[kept],
        mean=np.concatenate([one.mean for one in posteriors])[kept],
        cov=np.concatenate([one.cov for one in posteriors])[kept],
        log_weight=logs[kept],
    )
    return joined, weights[kept] / weights[kept].sum()


def _grid(low_s: float, high_s: float, size: int) -> Floats:
    return np.exp(np.linspace(math.log(low_s), math.log(high_s), size))


def _axis(tau_range: tuple[float, float]) -> Floats:
    return _grid(*tau_range, _PAIR_GRID)


def _nearest(axis: Floats, values: Floats) -> NDArray[np.intp]:
    return np.unique(np.clip(np.searchsorted(axis, values * (1.0 - 1e-9)), 0, len(axis) - 1))


def _narrowed(axis: Floats, likely: NDArray[np.intp]) -> tuple[float, float]:
    """Return the range of the likely points and one point beyond on each side."""
    first, last = max(int(likely[0]) - 1, 0), min(int(likely[-1]) + 1, len(axis) - 1)
    return float(axis[first]), float(axis[last])


def _log_cell(axis: Floats, rise: Rise) -> float:
    """Return the log share of a grid's cell in the range of τ, flat in log τ."""
    whole = math.log(rise.tau_range_s[1] / rise.tau_range_s[0])
    return math.log(math.log(axis[1] / axis[0]) / whole)


def _single(rise: Rise, taus: Floats) -> Posterior:
    scale, rows, weighted, y, mean_y = _scaled(rise, taus)
    size = len(taus)
    matrix = np.empty((size, 2, 2))
    matrix[:, 0, 0] = rise.weights.sum()
    matrix[:, 0, 1] = matrix[:, 1, 0] = weighted.sum(axis=1)
    matrix[:, 1, 1] = (weighted * rows).sum(axis=1)
    right = np.stack([np.full(size, rise.weights @ y), weighted @ y], axis=1)
    prior = (taus / scale / rise.amplitude_c) ** 2
    beta, cov, logs = _solve(rise, matrix, right, prior[:, np.newaxis], y)
    mean, full = np.zeros((size, 3)), np.zeros((size, 3, 3))
    mean[:, :2], full[:, :2, :2] = beta, cov
    return _unscaled(
        Posterior(np.stack([taus, taus], axis=1), mean, full, logs + _log_cell(taus, rise)),
        scale,
        mean_y,
    )


def _pairs(rise: Rise, first: Floats, second: Floats) -> Posterior:
    scale, rows_1, weighted_1, y, mean_y = _scaled(rise, first)
    _, rows_2, weighted_2, _, _ = _scaled(rise, second)
    # Apart, the faster first; everything else is the same curve twice or one exponential.
    i, j = np.nonzero(second[np.newaxis, :] >= first[:, np.newaxis] * _CLOSEST)
    assert len(i), "a range of τ must be wide enough for two"
    size = len(i)
    matrix = np.empty((size, 3, 3))
    matrix[:, 0, 0] = rise.weights.sum()
    matrix[:, 0, 1] = matrix[:, 1, 0] = weighted_1.sum(axis=1)[i]
    matrix[:, 0, 2] = matrix[:, 2, 0] = weighted_2.sum(axis=1)[j]
    matrix[:, 1, 1] = (weighted_1 * rows_1).sum(axis=1)[i]
    matrix[:, 2, 2] = (weighted_2 * rows_2).sum(axis=1)[j]
    matrix[:, 1, 2] = matrix[:, 2, 1] = (weighted_1 @ rows_2.T)[i, j]
    right = np.stack(
        [np.full(size, rise.weights @ y), (weighted_1 @ y)[i], (weighted_2 @ y)[j]], axis=1
    )
    taus = np.stack([first[i], second[j]], axis=1)
    beta, cov, logs = _solve(rise, matrix, right, (taus / scale / rise.amplitude_c) ** 2, y)
    # A pair may be drawn either way round, hence the 2; each rate must be positive.
    logs = logs + _log_cell(first, rise) + _log_cell(second, rise) + math.log(2.0)
    for which in (1, 2):
        beta, cov, logs = _made_positive(beta, cov, logs, which)
    return _unscaled(Posterior(taus, beta, cov, logs), scale, mean_y)


def _scaled(rise: Rise, taus: Floats) -> tuple[float, Floats, Floats, Floats, float]:
    """Return basis rows in units of the whole span, for numbers of about one."""
    scale = float(rise.since_s[-1])
    rows = basis(rise.since_s, taus) / scale
    mean_y = float(rise.weights @ rise.celsius / rise.weights.sum())
    return scale, rows, rows * rise.weights, rise.celsius - mean_y, mean_y


def _unscaled(posterior: Posterior, scale: float, mean_y: float) -> Posterior:
    factor = np.array([1.0, 1.0 / scale, 1.0 / scale])
    return Posterior(
        posterior.tau,
        posterior.mean * factor + np.array([mean_y, 0.0, 0.0]),
        posterior.cov * factor[:, np.newaxis] * factor,
        posterior.log_weight,
    )


def _solve(
    rise: Rise, matrix: Floats, right: Floats, prior: Floats, y: Floats
) -> tuple[Floats, Floats, Floats]:
    """Solve the weighted least squares with priors; return means, covariances, evidence.

    ``prior`` is the precision of each rate (rates come after the start, which is free).
    """
    variance = rise.noise_c**2
    matrix, right = matrix / variance, right / variance
    rates = np.arange(1, matrix.shape[1])
    matrix[:, rates, rates] += prior
    cov, determinant = _inverse(matrix)
    beta: Floats = (cov @ right[:, :, np.newaxis])[:, :, 0]
    misfit = float(rise.weights @ (y * y)) / variance - (right * beta).sum(axis=1)
    logs: Floats = 0.5 * (np.log(prior).sum(axis=1) - np.log(determinant) - misfit)
    return beta, cov, logs


def _inverse(matrix: Floats) -> tuple[Floats, Floats]:
    """Return inverses and determinants of symmetric, positive definite matrices.

    Of two or three rows: written out by Cholesky's factors, one row of all matrices at a time,
    since thousands of small ones cost a library call each.
    """
    size = matrix.shape[1]
    # L of L·Lᵀ, and its inverse, column by column.
    lower = np.zeros_like(matrix)
    inverse = np.zeros_like(matrix)
    for column in range(size):
        rest = matrix[:, column, column] - (lower[:, column, :column] ** 2).sum(axis=1)
        lower[:, column, column] = np.sqrt(np.maximum(rest, 1e-300))
        for row in range(column + 1, size):
            joint = (lower[:, row, :column] * lower[:, column, :column]).sum(axis=1)
            lower[:, row, column] = (matrix[:, row, column] - joint) / lower[:, column, column]
    for row in range(size):
        inverse[:, row, row] = 1.0 / lower[:, row, row]
        for column in range(row):
            joint = (lower[:, row, column:row] * inverse[:, column:row, column]).sum(axis=1)
            inverse[:, row, column] = -joint / lower[:, row, row]
    diagonal = lower[:, np.arange(size), np.arange(size)]
    return inverse.transpose(0, 2, 1) @ inverse, np.prod(diagonal, axis=1) ** 2


def _made_positive(
    beta: Floats, cov: Floats, logs: Floats, which: int
) -> tuple[Floats, Floats, Floats]:
    """Cut a coefficient's distribution off below zero, keeping its mean and variance.

    The others follow by their regression on it. The prior was cut off likewise, so its
    density above zero is twice as high.
    """
    variance = cov[:, which, which]
    deviation = np.sqrt(variance)
    z = np.maximum(beta[:, which] / deviation, -30.0)
    share = np.maximum(normal_cdf(z), 1e-250)
    # Far below zero Φ is too coarse for the ratio of density to tail: a continued fraction [3].
    far = np.maximum(-z, _FAR)
    fraction = far
    for place in range(_FRACTION_PLACES, 0, -1):
        fraction = far + place / fraction
    density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    ratio = np.where(z > -_FAR, density / share, fraction)
    shrink = np.clip(1.0 - ratio * (ratio + z), 1e-6, 1.0)
    slope = cov[:, :, which] / variance[:, np.newaxis]
    moved = beta + slope * (ratio * deviation)[:, np.newaxis]
    outer = slope[:, :, np.newaxis] * slope[:, np.newaxis, :]
    narrowed = cov - outer * (variance * (1.0 - shrink))[:, np.newaxis, np.newaxis]
    return moved, narrowed, logs + np.log(2.0 * share)
