"""Mean kinetic temperature: one number for the heat a product has taken up.

Never below the time-weighted mean: warm spells weigh more than cold ones. It is
defined for medicines; no fish rule uses it, and it says nothing across freezing.
Pure: no clock, no I/O. A gap in the readings is not bridged.

References:
    [1] United States Pharmacopeia 29, general chapter <1160>: ΔH = 83.144 kJ/mol,
        R = 8.3144e-3 kJ/(K·mol).
"""

from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.science.scales import ZERO_CELSIUS_KELVIN

ACTIVATION_KJ_PER_MOL: Final = 83.144
"""ΔH [1]."""
ACTIVATION_KELVIN: Final = ACTIVATION_KJ_PER_MOL / 8.3144e-3
"""ΔH/R in kelvin [1]."""

_NODES, _WEIGHTS = (part.tolist() for part in np.polynomial.legendre.leggauss(6))
"""Where a stretch is looked at, from −1 (start) to 1 (end), and how much each counts."""


def reaction_rate(celsius: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return exp(−ΔH/(R·T)) for each temperature, the weight of the mean."""
    return np.exp(-ACTIVATION_KELVIN / (celsius + ZERO_CELSIUS_KELVIN))


def celsius_of_rate(rate: float) -> float:
    """Return the temperature at which the reaction rate is ``rate``.

    >>> round(celsius_of_rate(float(reaction_rate(np.array(5.0)))), 6)
    5.0
    """
    return -ACTIVATION_KELVIN / log(rate) - ZERO_CELSIUS_KELVIN


def of_line(
    start_c: NDArray[np.float64], end_c: NDArray[np.float64], length: NDArray[np.float64]
) -> float:
    """Return the mean kinetic temperature of stretches along which it runs linearly.

    Gauss and Legendre's rule on each stretch: within 1e-6 °C, also where a probe warms by
    40 °C between two readings.

    Args:
        start_c: Temperature at each stretch's start, °C. # (n_stretches,)
        end_c: Temperature at each stretch's end, °C. # (n_stretches,)
        length: Each stretch's length, in any one unit of time. # (n_stretches,)

    Raises:
        ValueError: If there is no time in ``length``.
    """
    total = float(length.sum())
    if total <= 0.0:
        raise ValueError("length has no time in it: a mean needs some")
    middle_c, reach_c = (start_c + end_c) / 2.0, (end_c - start_c) / 2.0
    weighted = sum(
        weight / 2.0 * float((reaction_rate(middle_c + node * reach_c) * length).sum())
        for node, weight in zip(_NODES, _WEIGHTS, strict=True)
    )
    return celsius_of_rate(weighted / total)
