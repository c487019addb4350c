"""Heat in fish: how much a kilogram holds at a temperature, through freezing.

The table is read as straight lines between its points, so the apparent heat
capacity is constant inside each band and the plant's steps stay linear there.
Pure: no I/O, no clock, no chance. Temperatures °C, heat J/kg above −40 °C.

References:
    [1] FAO Fisheries Technical Paper 340 (1994), chapter 19, table 31: enthalpy of
        fish, kcal/kg above −40 °C.
    [2] Thermochemical calorie, 4184 J/kcal: ISO 31-4 (1992), annex B.
"""

from bisect import bisect_right
from typing import Final

J_PER_KCAL: Final = 4184.0  # [2]

_TABLE: Final = (
    # (°C, kcal/kg above −40 °C), [1]
    (-40.0, 0.0),
    (-32.0, 3.60),
    (-28.0, 5.55),
    (-20.0, 10.03),
    (-16.0, 12.69),
    (-10.0, 17.73),
    (-4.0, 28.05),
    (-2.0, 42.16),
    (-1.0, 71.16),
    (0.0, 77.16),
    (4.0, 80.65),
    (10.0, 85.89),
    (20.0, 94.65),
    (40.0, 112.25),
)

EDGES_C: Final = tuple(celsius for celsius, _ in _TABLE[1:-1])
"""Where one band ends and the next begins. Beyond the table its outer slopes go on."""

_HEATS: Final = tuple(kcal * J_PER_KCAL for _, kcal in _TABLE)

CAPACITIES_J_PER_KG_K: Final = tuple(
    (_HEATS[i + 1] - _HEATS[i]) / (_TABLE[i + 1][0] - _TABLE[i][0]) for i in range(len(_TABLE) - 1)
)
"""Apparent heat capacity of each band; the sharp rise near −1 °C is the latent heat."""

LOWEST_C: Final = (-273.15, *EDGES_C)
HIGHEST_C: Final = (*EDGES_C, 1000.0)


def band_of(celsius: float) -> int:
    """Return the index of the band a temperature lies in; an edge belongs to the warmer band."""
    return bisect_right(EDGES_C, celsius)


def heat_j_per_kg(celsius: float) -> float:
    """Return the heat of fish above −40 °C, negative below it.

    >>> round((heat_j_per_kg(10.0) - heat_j_per_kg(-28.0)) / J_PER_KCAL, 2)
    80.34
    """
    band = band_of(celsius)
    return _HEATS[band] + CAPACITIES_J_PER_KG_K[band] * (celsius - _TABLE[band][0])


def celsius_of_heat(heat: float) -> float:
    """Return the temperature of fish that holds so much heat (J/kg above −40 °C).

    >>> round(celsius_of_heat(heat_j_per_kg(-5.0)), 9)
    -5.0
    """
    band = bisect_right(_HEATS[1:-1], heat)
    return _TABLE[band][0] + (heat - _HEATS[band]) / CAPACITIES_J_PER_KG_K[band]
