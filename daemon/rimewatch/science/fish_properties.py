"""Thermal properties of fish, from its water content.

Pure values. Estimates for engineering, good to some ten per cent; a fat fish and a lean
one differ by more than any formula here.

References:
    [1] Earle, R. L., Unit Operations in Food Processing, Appendix 7: estimates from
        the percentage of water; read. Its own row for fish (70 % water, 276 kJ/kg)
        disagrees with its formula (234.5 kJ/kg).
    [2] ASHRAE data on freezing points and properties of foods: lean and oily fish
        begin to freeze at −2.2 °C (28.0 °F), cod's latent heat is 272 kJ/kg; read in a
        copy.
    [3] Thermal conductivity of frozen fish, 1.24 to 1.46 W/(m·K), and density of fish,
        1050 kg/m³: from memory.
"""

from dataclasses import dataclass
from typing import Final

FISH_FREEZES_C: Final = -2.2
"""Initial freezing point. Source: [2]."""
FISH_DENSITY_KG_M3: Final = 1050.0
"""Source: [3]."""
FROZEN_FISH_CONDUCTIVITY_W_MK: Final = 1.24
"""The lower of two figures for frozen fish, so the slower freezing. Source: [3]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FreezingProperties:
    """What a freezing time depends on, of one food."""

    density_kg_m3: float
    heat_above_j_kgk: float
    """Specific heat above freezing."""
    heat_below_j_kgk: float
    """Specific heat when frozen."""
    latent_j_kg: float
    frozen_conductivity_w_mk: float
    freezes_c: float
    """Initial freezing point."""


def fish_properties(
    water_percent: float, *, density_kg_m3: float = FISH_DENSITY_KG_M3
) -> FreezingProperties:
    """Return the properties of fish by its percentage of water [1].

    Args:
        water_percent: Water, 0 to 100 % of the weight: about 80 for cod, 60 for a fat
            mackerel.
        density_kg_m3: Density.

    Raises:
        ValueError: If the percentage is not from 0 to 100.

    >>> round(fish_properties(70.0).heat_above_j_kgk)
    3185
    """
    if not 0.0 <= water_percent <= 100.0:
        raise ValueError(f"water_percent is {water_percent}; expected 0 to 100")
    water, dry = water_percent / 100.0, 1.0 - water_percent / 100.0
    return FreezingProperties(
        density_kg_m3=density_kg_m3,
        heat_above_j_kgk=4190.0 * water + 840.0 * dry,
        heat_below_j_kgk=2100.0 * water + 840.0 * dry,
        latent_j_kg=335_000.0 * water,
        frozen_conductivity_w_mk=2.4 * water + 0.26 * dry,
        freezes_c=FISH_FREEZES_C,
    )


SLOW_FISH: Final = FreezingProperties(
    density_kg_m3=FISH_DENSITY_KG_M3,
    heat_above_j_kgk=fish_properties(80.0).heat_above_j_kgk,
    heat_below_j_kgk=fish_properties(80.0).heat_below_j_kgk,
    latent_j_kg=272_000.0,
    frozen_conductivity_w_mk=FROZEN_FISH_CONDUCTIVITY_W_MK,
    freezes_c=FISH_FREEZES_C,
)
"""Lean fish of 80 % water with cod's latent heat and the lower conductivity: of what a
shop freezes it takes longest, so it stands for fish of which nothing is known."""
