"""How fast chilled fish spoils, against the same fish in melting ice.

The relative rate of spoilage is the shelf life at 0 °C over the shelf life at T. Time
and temperature add up: hours at a rate of 4 use as much as four times the hours in
ice. "Ice days" are the days in ice that a curve amounts to.

Pure: no clock, no I/O. Speaks of quality (smell, taste), never of safety: pathogens
and histamine have limits of their own. No fish is good or bad by this number alone.

References:
    [1] Huss, H. H. (ed.) (1995). Quality and quality changes in fresh fish. FAO
        Fisheries Technical Paper 348, ch. 6: (1 + 0.1·T)², from memory.
    [2] Technical University of Denmark, notes on seafood models, relative rates of
        spoilage: the root model with its −10 °C; read.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from rimewatch.science.segments import linear_segments

ROOT_MINIMUM_C: Final = -10.0
"""Where the root model's rate is zero. Source: [1], [2]."""
DOMAIN_C: Final = (-2.0, 15.0)
"""Where the root model is supported: not frozen, not warm. Source: [1], from memory.
Outside it the number still rises with warmth; it is then an index and no life."""

S_PER_DAY: Final = 86_400.0


def root_rate(celsius: float, *, minimum_c: float = ROOT_MINIMUM_C) -> float:
    """Return the relative rate by the square root model, fresh fish of temperate waters.

    ((T − Tmin) / (0 − Tmin))², which is (1 + 0.1·T)² for Tmin = −10 °C; zero below.

    >>> [round(root_rate(c), 2) for c in (0.0, 4.0, 5.0, 10.0, -12.0)]
    [1.0, 1.96, 2.25, 4.0, 0.0]
    """
    if not minimum_c < 0.0:
        raise ValueError(f"minimum_c is {minimum_c}; expected a temperature below 0 °C")
    return float(max((celsius - minimum_c) / -minimum_c, 0.0) ** 2)


def in_domain(celsius: float) -> bool:
    """Return whether the root model is supported at a temperature."""
    return DOMAIN_C[0] <= celsius <= DOMAIN_C[1]


def ice_days(times_ms: ArrayLike, celsius: ArrayLike, *, max_gap_ms: int) -> float:
    """Return the ice days of a recorded curve; gaps add nothing and are not bridged.

    Twelve hours at 10 °C cost 36 hours of ice life more than twelve hours in ice:

    >>> half_day = 43_200_000
    >>> ice_days([0, half_day], [10.0, 10.0], max_gap_ms=half_day) - 0.5
    1.5

    Args:
        times_ms: Times of the readings, ms, strictly increasing, at any intervals.
        celsius: The fish's temperature, °C.
        max_gap_ms: The longest interval that is taken as linear.

    Raises:
        ValueError: As ``linear_segments``.
    """
    segments = linear_segments(times_ms, celsius, max_gap_ms=max_gap_ms)
    kept = ~segments.is_gap
    start = 1.0 + 0.1 * segments.from_c[kept]
    end = 1.0 + 0.1 * segments.to_c[kept]
    level = start == end
    warm_start, warm_end = np.maximum(start, 0.0), np.maximum(end, 0.0)
    share = np.where(level, 1.0, (warm_end - warm_start) / np.where(level, 1.0, end - start))
    mean = (warm_start**2 + warm_start * warm_end + warm_end**2) / 3.0
    return float((share * mean * segments.length_s[kept]).sum()) / S_PER_DAY


def life_at(life_days: float, known_c: float, wanted_c: float) -> float:
    """Return the shelf life at one temperature from that at another, in days.

    >>> life_at(21.0, 5.0, 0.0)
    47.25

    Raises:
        ValueError: If nothing spoils at ``wanted_c`` by this model.
    """
    wanted = root_rate(wanted_c)
    if wanted <= 0.0:
        raise ValueError(
            f"at {wanted_c} °C the model's rate is zero; expected a temperature above its minimum"
        )
    return life_days * root_rate(known_c) / wanted


def life_left(life_in_ice_days: float, used_ice_days: float, celsius: float) -> float:
    """Return the days of shelf life left if the fish is kept at a temperature from now.

    >>> life_left(14.0, 5.0, 5.0)
    4.0

    Args:
        life_in_ice_days: Shelf life in ice of this species.
        used_ice_days: What has been used of it.
        celsius: Where the fish is kept from now on.

    Returns:
        Days, zero if it is used up.

    Raises:
        ValueError: As ``life_at``.
    """
    return life_at(max(life_in_ice_days - used_ice_days, 0.0), 0.0, celsius)
