"""How long fish takes to freeze, by Pham's equation.

It counts the cooling before freezing and the cooling after, to a centre of about −10 °C.

Pure: no clock, no I/O. Answers are estimates, good to 10 or 20 % where thickness and
air speed are known and far worse where they are not. None replaces a probe.

References:
    [1] Pham, Q. T. (1986). Simplified equation for predicting the freezing time of
        foodstuffs. J. Food Technol. 21, 209-219; the form from memory.
"""

import math
from enum import IntEnum

from rimewatch.science.fish_properties import FreezingProperties


class Shape(IntEnum):
    """A shape, by the number of dimensions in which it is cooled: Pham's shape factor [1].

    The size of a slab is its whole thickness, cooled from both faces; of a cylinder or
    a sphere the diameter.
    """

    SLAB = 1
    CYLINDER = 2
    SPHERE = 3


def pham_s(
    shape: Shape,
    size_m: float,
    air_c: float,
    properties: FreezingProperties,
    *,
    initial_c: float,
    centre_c: float = -10.0,
    surface_w_m2k: float,
    packaging_m2k_w: float = 0.0,
) -> float:
    """Return Pham's freezing time in seconds, from a start to a centre temperature [1].

    t = D/(2·Ef·h) · (ΔH1/ΔT1 + ΔH2/ΔT2) · (1 + Bi/2), with the mean freezing
    temperature 1.8 + 0.263·Tc + 0.105·Ta. Made for centres about −10 °C; for colder
    ones see ``time_until_solid_s``.

    Args:
        shape: Slab, cylinder or sphere.
        size_m: Whole thickness or diameter, m.
        air_c: Temperature of the freezing air, °C, colder than ``centre_c``.
        properties: The food's.
        initial_c: Temperature of the food at the start, °C, above freezing.
        centre_c: Temperature of the centre at the end, °C.
        surface_w_m2k: Heat transfer coefficient of its surface, W/(m²·K).
        packaging_m2k_w: Thermal resistance of the wrapping, thickness over
            conductivity, m²·K/W.

    Raises:
        ValueError: If a size or a coefficient makes no sense, the air is no colder
            than the centre is to become, or the start no warmer than the mean freezing
            temperature.

    >>> from rimewatch.science.fish_properties import SLOW_FISH
    >>> fillet_s = pham_s(
    ...     Shape.SLAB, 0.05, -40.0, SLOW_FISH, initial_c=4.0, surface_w_m2k=20.0
    ... )
    >>> round(fillet_s / 3600.0, 1)
    3.9
    """
    resistance = _resistance(size_m, surface_w_m2k, packaging_m2k_w)
    if not air_c < centre_c:
        raise ValueError(
            f"air at {air_c} °C brings no centre to {centre_c} °C; expected colder air"
        )
    mean_freezing_c = 1.8 + 0.263 * centre_c + 0.105 * air_c
    if not initial_c > mean_freezing_c:
        raise ValueError(
            f"initial_c is {initial_c}, no warmer than {mean_freezing_c:.1f} °C, where this "
            "food is half frozen; expected food that is not frozen yet"
        )
    density = properties.density_kg_m3
    cooling = density * properties.heat_above_j_kgk * (initial_c - mean_freezing_c)
    freezing = density * (
        properties.latent_j_kg + properties.heat_below_j_kgk * (mean_freezing_c - centre_c)
    )
    cooling_difference = (initial_c + mean_freezing_c) / 2.0 - air_c
    freezing_difference = mean_freezing_c - air_c
    biot = size_m / 2.0 / (resistance * properties.frozen_conductivity_w_mk)
    return (
        size_m
        / 2.0
        * resistance
        / shape
        * (cooling / cooling_difference + freezing / freezing_difference)
        * (1.0 + biot / 2.0)
    )


def _resistance(size_m: float, surface_w_m2k: float, packaging_m2k_w: float) -> float:
    for name, value in (("size_m", size_m), ("surface_w_m2k", surface_w_m2k)):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} is {value}; expected a positive number")
    if not (math.isfinite(packaging_m2k_w) and packaging_m2k_w >= 0.0):
        raise ValueError(f"packaging_m2k_w is {packaging_m2k_w}; expected zero or more")
    return 1.0 / surface_w_m2k + packaging_m2k_w
