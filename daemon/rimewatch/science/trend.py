"""Whether daily figures rise or fall, and between which bounds: a slope that outliers do not bend.

Pure: no clock, no I/O. The slope is the median of the slopes between all pairs of days [1];
its interval comes from the ranks of those slopes [2], widened where a day resembles the one
before it [3], for then so many days are worth fewer.

References:
    [1] Theil, H. (1950); Sen, P. K. (1968). J. Am. Stat. Assoc. 63(324), 1379-1389.
    [2] Gilbert, R. O. (1987). Statistical Methods for Environmental Pollution Monitoring,
        section 16.5.
    [3] Yue, S. and Wang, C. Y. (2004). Water Resour. Manage. 18, 201-218, with the lag-one
        correlation only (all three from memory).
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

FEWEST_DAYS: Final = 10
"""Of fewer days nothing is said: [2] gives 10 as the least for its normal approximation."""

NORMAL_975: Final = 1.959963985
"""The 97.5 % point of the standard normal distribution: an interval of 95 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A slope and the interval that holds it with 95 % confidence, in units a day."""

    slope: float
    low: float
    high: float
    days: int

    @property
    def is_certain(self) -> bool:
        """Whether zero lies outside the interval: it rises, or it falls."""
        return self.low > 0.0 or self.high < 0.0


def trend(days: NDArray[np.float64], values: NDArray[np.float64]) -> Trend | None:
    """Return the trend of daily figures; None of fewer than :data:`FEWEST_DAYS`.

    Args:
        days: Numbers of the days, strictly increasing; days may be missing. # (n_days,)
        values: The figures. # (n_days,)

    >>> found = trend(np.arange(20.0), 0.1 * np.arange(20.0))
    >>> round(found.slope, 6), found.is_certain
    (0.1, True)
    """
    count = len(days)
    if count < FEWEST_DAYS:
        return None
    first, second = np.triu_indices(count, k=1)
    slopes = np.sort((values[second] - values[first]) / (days[second] - days[first]))
    slope = float(np.median(slopes))
    variance = count * (count - 1) * (2 * count + 5) / 18.0
    variance *= _inflation(values - slope * days)
    reach = NORMAL_975 * sqrt(variance)
    low = int(np.floor((len(slopes) - reach) / 2.0)) - 1
    high = int(np.ceil((len(slopes) + reach) / 2.0))
    return Trend(
        slope=slope,
        low=float(slopes[max(low, 0)]),
        high=float(slopes[min(high, len(slopes) - 1)]),
        days=count,
    )


def _inflation(residuals: NDArray[np.float64]) -> float:
    """Return by how much fewer the days are worth, from how much each resembles the next."""
    centred = residuals - residuals.mean()
    power = float((centred**2).sum())
    if power <= 1e-12:
        return 1.0
    likeness = float((centred[1:] * centred[:-1]).sum()) / power
    likeness = min(max(likeness, 0.0), 0.9)
    return (1.0 + likeness) / (1.0 - likeness)
