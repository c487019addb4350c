"""What a reading near a limit is worth, given how well the probe knows.

A limit is met for sure only where the reading lies inside it by the probe's
uncertainty. All limits here are upper ones: "−20 °C or below" is an upper limit too.

Pure. Speaks of the measurement alone: the probe may sit in the wrong place.

References:
    [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment,
        7.3 and 8.3.3 (the example from memory).
    [2] ILAC-G8:09/2019, decision rules and statements of conformity, with a guard
        band of U (k = 2); terms read, figures from memory.
"""

import math
from enum import StrEnum
from statistics import NormalDist

_NORMAL = NormalDist()
_ROUNDING_C = 1e-9
"""Slack for sums of floats, far below a reading's thousandth of a degree."""


class Decision(StrEnum):
    """The four outcomes of a guarded upper limit [2]."""

    PASS = "pass"  # noqa: S105 (an outcome, not a password)
    CONDITIONAL_PASS = "conditional pass"  # noqa: S105 (likewise)
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"


def acceptance_limit_c(limit_c: float, guard_c: float) -> float:
    """Return the acceptance limit AL = TL − w of an upper limit, in °C [2].

    >>> acceptance_limit_c(-20.0, 0.3)
    -20.3

    Raises:
        ValueError: If the guard band is negative or not a number.
    """
    if not (math.isfinite(guard_c) and guard_c >= 0.0):
        raise ValueError(f"guard_c is {guard_c}; expected zero or a positive number of °C")
    return limit_c - guard_c


def is_proven_at_most(reading_c: float, limit_c: float, guard_c: float) -> bool:
    """Return whether a reading proves the limit: reading + w ≤ limit.

    >>> is_proven_at_most(-20.2, -20.0, 0.3), is_proven_at_most(-20.3, -20.0, 0.3)
    (False, True)
    """
    return reading_c <= acceptance_limit_c(limit_c, guard_c) + _ROUNDING_C


def decide(reading_c: float, limit_c: float, guard_c: float) -> Decision:
    """Return the outcome for a reading against a guarded upper limit [2].

    >>> decide(4.8, 5.0, 0.5).value
    'conditional pass'

    Args:
        reading_c: The reading, °C.
        limit_c: The tolerance limit TL, °C.
        guard_c: The guard band w, °C: the probe's expanded uncertainty U (k = 2).

    Raises:
        ValueError: If the guard band is negative, or the reading is not finite.
    """
    if not math.isfinite(reading_c):
        raise ValueError(f"reading_c is {reading_c}; expected a number of °C")
    if is_proven_at_most(reading_c, limit_c, guard_c):
        return Decision.PASS
    if reading_c <= limit_c + _ROUNDING_C:
        return Decision.CONDITIONAL_PASS
    if reading_c <= limit_c + guard_c + _ROUNDING_C:
        return Decision.CONDITIONAL_FAIL
    return Decision.FAIL


def conformance_probability(reading_c: float, limit_c: float, standard_c: float) -> float:
    """Return the probability that the true value is at or below the limit [1], 7.3.

    For a normal error and no knowledge but the reading.

    >>> round(conformance_probability(4.5, 5.0, 0.25), 4)
    0.9772

    Args:
        reading_c: The reading, °C.
        limit_c: The upper limit, °C.
        standard_c: The standard uncertainty u (half of U at k = 2), °C. Zero: certain.

    Raises:
        ValueError: If the uncertainty is negative or not a number.
    """
    if not (math.isfinite(standard_c) and standard_c >= 0.0):
        raise ValueError(f"standard_c is {standard_c}; expected zero or a positive number of °C")
    if standard_c == 0.0:
        return 1.0 if reading_c <= limit_c else 0.0
    return _NORMAL.cdf((limit_c - reading_c) / standard_c)


def guard_for(probability: float, standard_c: float) -> float:
    """Return the guard band that leaves a chosen probability of conformance at AL.

    >>> round(guard_for(0.95, 0.25), 3)
    0.411

    Raises:
        ValueError: If the probability is not between 0.5 and 1 (1 excluded).
    """
    if not 0.5 <= probability < 1.0:
        raise ValueError(f"probability is {probability}; expected 0.5 up to, not with, 1")
    return _NORMAL.inv_cdf(probability) * standard_c


def certain_breach_above(limit: float, relative_standard: float, probability: float) -> float:
    """Return the reading from which a breach is certain to a probability.

    For an uncertainty proportional to the value, in any unit; [1], 8.3.3: a speed limit
    of 100 km/h, 2 %, 99.9 %.

    >>> round(certain_breach_above(100.0, 0.02, 0.999), 2)
    106.59

    Raises:
        ValueError: If the uncertainty is so large that no reading would do.
    """
    room = 1.0 - relative_standard * _NORMAL.inv_cdf(probability)
    if room <= 0.0:
        raise ValueError(
            f"an uncertainty of {relative_standard:.0%} leaves no reading certain to "
            f"{probability}; expected a smaller one"
        )
    return limit / room
