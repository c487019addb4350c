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
        spoilage: the root model with its −10 °C, cold-smoked salmon, Arrhenius; read.
    [3] Dalgaard, P. & Huss, H. H. (1997): tropical fresh fish, exp(0.12·T), from memory.
"""

import math
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from rimewatch.science.scales import ZERO_CELSIUS_KELVIN
from rimewatch.science.segments import linear_segments

ROOT_MINIMUM_C: Final = -10.0
"""Where the root model's rate is zero. Source: [1], [2]."""
TROPICAL_PER_C: Final = 0.12
"""Exponential model, tropical fresh fish. Source: [3]."""
COLD_SMOKED_SALMON_PER_C: Final = 0.089
"""Exponential model, cold-smoked salmon, 0 to 25 °C. Source: [2]."""
ARRHENIUS_J_PER_MOL: Final = 100_000.0
"""Activation energy of [2]'s worked figure."""
GAS_CONSTANT: Final = 8.314462618
"""J/(K·mol), exact to the digits given. Source: SI Brochure, 9th ed."""

DOMAIN_C: Final = (-2.0, 15.0)
"""Where the root model is supported: not frozen, not warm. Source: [1], from memory.
Outside it the number still rises with warmth; it is then an index and no life."""

S_PER_DAY: Final = 86_400.0

Rate = Callable[[float], float]
"""Relative rate of spoilage at a temperature in °C: 1.0 in melting ice."""


def root_rate(celsius: float, *, minimum_c: float = ROOT_MINIMUM_C) -> float:
    """Return the relative rate by the square root model, fresh fish of temperate waters.

    ((T − Tmin) / (0 − Tmin))², which is (1 + 0.1·T)² for Tmin = −10 °C; zero below.

    >>> [round(root_rate(c), 2) for c in (0.0, 4.0, 5.0, 10.0, -12.0)]
    [1.0, 1.96, 2.25, 4.0, 0.0]
    """
    if not minimum_c < 0.0:
        raise ValueError(f"minimum_c is {minimum_c}; expected a temperature below 0 °C")
    return float(max((celsius - minimum_c) / -minimum_c, 0.0) ** 2)


def exponential_rate(celsius: float, *, per_c: float = TROPICAL_PER_C) -> float:
    """Return the relative rate by the exponential model, exp(per_c · T).

    >>> round(exponential_rate(10.0), 2)
    3.32
    """
    return math.exp(per_c * celsius)


def arrhenius_rate(celsius: float, *, j_per_mol: float = ARRHENIUS_J_PER_MOL) -> float:
    """Return the relative rate by Arrhenius, with an activation energy in J/mol.

    >>> round(arrhenius_rate(5.0), 3)
    2.207
    """
    kelvin = celsius + ZERO_CELSIUS_KELVIN
    return math.exp(j_per_mol / GAS_CONSTANT * (1.0 / ZERO_CELSIUS_KELVIN - 1.0 / kelvin))


def in_domain(celsius: float) -> bool:
    """Return whether the root model is supported at a temperature."""
    return DOMAIN_C[0] <= celsius <= DOMAIN_C[1]


def ice_days_between(from_c: float, to_c: float, seconds: float) -> float:
    """Return the ice days of a straight piece of curve, exactly.

    ∫ (1 + 0.1·T)² dt; what lies below −10 °C adds nothing.

    Args:
        from_c: Temperature at its start, °C.
        to_c: Temperature at its end, °C.
        seconds: Its length.

    A day at 10 °C is four in ice:

    >>> ice_days_between(10.0, 10.0, 86_400)
    4.0
    """
    start, end = 1.0 + 0.1 * from_c, 1.0 + 0.1 * to_c
    if start == end:  # level, or so nearly that the difference is lost in rounding
        return root_rate(from_c) * seconds / S_PER_DAY
    warm_start, warm_end = max(start, 0.0), max(end, 0.0)
    # The part of the piece above −10 °C; all of it, exactly, where both ends are.
    share = (warm_end - warm_start) / (end - start)
    mean = (warm_start * warm_start + warm_start * warm_end + warm_end * warm_end) / 3.0
    return share * mean * seconds / S_PER_DAY


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


def exponential_ice_days(
    times_ms: ArrayLike,
    celsius: ArrayLike,
    *,
    max_gap_ms: int,
    per_c: float = TROPICAL_PER_C,
) -> float:
    """Return the ice days of a recorded curve by the exponential model, exactly.

    >>> day = 86_400_000
    >>> round(exponential_ice_days([0, day], [10.0, 10.0], max_gap_ms=day), 2)
    3.32

    Args:
        times_ms: As for ``ice_days``.
        celsius: As for ``ice_days``.
        max_gap_ms: As for ``ice_days``.
        per_c: The exponent, per °C.

    Raises:
        ValueError: As ``linear_segments``.
    """
    segments = linear_segments(times_ms, celsius, max_gap_ms=max_gap_ms)
    kept = ~segments.is_gap
    start, end = per_c * segments.from_c[kept], per_c * segments.to_c[kept]
    rise = end - start
    # expm1(x)/x is 1 + x/2 to all digits below 1e-8, where dividing would be 0/0.
    small = np.abs(rise) < 1e-8
    growth = np.where(small, 1.0 + rise / 2.0, np.expm1(rise) / np.where(small, 1.0, rise))
    return float((np.exp(start) * growth * segments.length_s[kept]).sum()) / S_PER_DAY


def life_at(life_days: float, known_c: float, wanted_c: float, rate: Rate = root_rate) -> float:
    """Return the shelf life at one temperature from that at another, in days.

    >>> life_at(21.0, 5.0, 0.0)
    47.25

    Raises:
        ValueError: If nothing spoils at ``wanted_c`` by this model.
    """
    wanted = rate(wanted_c)
    if wanted <= 0.0:
        raise ValueError(
            f"at {wanted_c} °C the model's rate is zero; expected a temperature above its minimum"
        )
    return life_days * rate(known_c) / wanted


def life_left(
    life_in_ice_days: float, used_ice_days: float, celsius: float, rate: Rate = root_rate
) -> float:
    """Return the days of shelf life left if the fish is kept at a temperature from now.

    >>> life_left(14.0, 5.0, 5.0)
    4.0

    Args:
        life_in_ice_days: Shelf life in ice of this species.
        used_ice_days: What has been used of it.
        celsius: Where the fish is kept from now on.
        rate: The model.

    Returns:
        Days, zero if it is used up.

    Raises:
        ValueError: As ``life_at``.
    """
    return life_at(max(life_in_ice_days - used_ice_days, 0.0), 0.0, celsius, rate)
