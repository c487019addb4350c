"""A jump that is exactly the one between °C and °F: somebody pressed a key on the device.

Only told of: no reading is refused by it, for air may by chance go there as well. Pure.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

LEAST_STEP_C: Final = 10.0
"""Nearer to −40, where the scales meet, nobody can tell (our choice)."""
WITHIN_C: Final = 0.5
"""How exact the jump must be: what a temperature moves between two readings (our choice)."""
WITHIN_MS: Final = 5 * 60_000
STAYS: Final = 3
STAYS_WITHIN_C: Final = 2.0
"""So many readings before and after stay near to each other: one alone is a fault, no setting."""


def scale_jump_ms(times_ms: NDArray[np.int64], values: NDArray[np.float64]) -> int | None:
    """Return when a probe's readings last jumped as from °C to °F or back; None: they did not.

    Args:
        times_ms: Times of readings in order.
        values: The temperatures, °C as they were read.
    """
    if len(values) < 2 * STAYS:
        return None
    before, after = values[:-1], values[1:]
    is_exact = (np.abs(after - (1.8 * before + 32.0)) <= WITHIN_C) | (
        np.abs(before - (1.8 * after + 32.0)) <= WITHIN_C
    )
    is_large = np.abs(after - before) >= LEAST_STEP_C
    is_soon = np.diff(times_ms) <= WITHIN_MS
    for place in np.flatnonzero(is_exact & is_large & is_soon)[::-1]:
        sides = values[max(place + 1 - STAYS, 0) : place + 1], values[place + 1 : place + 1 + STAYS]
        if all(len(side) == STAYS and np.ptp(side) <= STAYS_WITHIN_C for side in sides):
            return int(times_ms[place + 1])
    return None
