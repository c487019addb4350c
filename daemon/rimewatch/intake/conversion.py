"""From what a probe sends to the service's own terms: °C to the thousandth.

The rounding is that of the decimal number a person would write down, half to even,
so that a °F probe and a °C probe at the same temperature agree to the digit: 41 °F
is 5.0 °C and not 4.999999. Pure: no clock, no I/O.
"""

from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

from rimewatch.science.scales import celsius_of_fahrenheit

STEPS_PER_DEGREE: Final = 1000
"""Readings are kept in steps of 0.001 °C: finer than any probe in the trade."""

_NEAR_TIE: Final = 1e-5
"""Distance to a half step below which the sum is done again in decimals.
Floats within ±1e6 °C err by less than a millionth of a step of 0.001 °C."""
_FLOATS_SERVE_BELOW: Final = 1e6


def celsius(sent: float, *, is_fahrenheit: bool, slope: float, offset_c: float) -> float:
    """Return a finite value in °C, corrected and rounded to 0.001 °C.

    First °F becomes °C, exactly (t − 32)·5/9; then slope and offset are applied in °C.

    Args:
        sent: The value as the probe sent it, finite.
        is_fahrenheit: Whether that is in °F.
        slope: Factor from the probe's calibration, dimensionless.
        offset_c: Added afterwards, °C.

    >>> celsius(41.0, is_fahrenheit=True, slope=1.0, offset_c=0.0)
    5.0
    >>> celsius(38.12, is_fahrenheit=True, slope=1.0, offset_c=0.0)
    3.4
    """
    value = celsius_of_fahrenheit(sent) if is_fahrenheit else sent
    steps = (value * slope + offset_c) * STEPS_PER_DEGREE
    if not -_FLOATS_SERVE_BELOW < steps < _FLOATS_SERVE_BELOW:
        return value * slope + offset_c  # no temperature; only to be refused
    nearest = round(steps)
    if 0.5 - abs(steps - nearest) < _NEAR_TIE:
        exact = Decimal(repr(sent))
        if is_fahrenheit:
            exact = (exact - 32) * 5 / 9
        exact = (exact * Decimal(repr(slope)) + Decimal(repr(offset_c))) * STEPS_PER_DEGREE
        nearest = int(exact.to_integral_value(rounding=ROUND_HALF_EVEN))
    return nearest / STEPS_PER_DEGREE
