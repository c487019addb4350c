"""Temperature scales into one another. Pure."""

from typing import Final

ZERO_CELSIUS_KELVIN: Final = 273.15
"""Exact by definition (SI Brochure, 9th ed., section 2.3.1)."""


def celsius_of_fahrenheit(fahrenheit: float) -> float:
    """Convert °F to °C, unrounded (the °C printed beside a limit in °F is often rounded).

    >>> celsius_of_fahrenheit(41.0), round(celsius_of_fahrenheit(70.0), 3)
    (5.0, 21.111)
    """
    return (fahrenheit - 32.0) * 5.0 / 9.0


def celsius_of_kelvin(kelvin: float) -> float:
    """Convert K to °C, unrounded.

    >>> celsius_of_kelvin(273.15)
    0.0
    """
    return kelvin - ZERO_CELSIUS_KELVIN
