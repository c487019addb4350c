"""When the centre of a fish in a freezer may be taken as solid, without a probe in it.

The Food Code says "until solid" and gives no temperature for it; this service takes a
centre at −35 °C. The estimate errs on the long side on purpose: a slab cooled from its
two faces alone, still air, lean fish, and a frozen fish taken as warm right through as
its centre when the last stage begins. It counts from the moment the air around the
fish is, and stays, at ``air_c`` or colder.

Pure: no clock, no I/O. An estimate is no proof: a full shelf, fish that touch, a box or
a paper wrap slow freezing down, and only a probe in the thickest fish sees it.

References:
    [1] Pham (1986), see ``freezing_time``: to a centre of −10 °C.
    [2] Carslaw, H. S. & Jaeger, J. C. (1959). Conduction of Heat in Solids, 2nd ed.,
        3.11: slab between surfaces with a film; from memory, checked against numeric
        solutions.
    [3] Still air: 5 W/(m²·K), convection and radiation together, the low end of what
        is used for it; common practice, no source.
"""

import math
from typing import Final

from rimewatch.science.fish_properties import SLOW_FISH, FreezingProperties
from rimewatch.science.freezing_time import Shape, pham_s

STILL_AIR_W_M2K: Final = 5.0
"""Source: [3]."""
MARGIN_C: Final = 2.0
"""Air must be colder than the centre is to become by this much. Nearer to the air's
temperature an estimate hangs on tenths of a degree and is worth nothing."""
FIRST_STAGE_C: Final = -10.0
"""Centre temperature to which Pham's equation is used. Source: [1]."""
THICKEST_MM: Final = 300.0


def time_until_solid_s(
    thickness_mm: float,
    air_c: float,
    *,
    centre_c: float,
    initial_c: float,
    properties: FreezingProperties = SLOW_FISH,
    surface_w_m2k: float = STILL_AIR_W_M2K,
    packaging_m2k_w: float = 0.0,
) -> float | None:
    """Return a cautious time in seconds until the centre is at ``centre_c``.

    Pham's equation to a centre of −10 °C, then a slab of −10 °C throughout that cools
    on to ``centre_c``. Against a numeric solution with the measured enthalpy of lean
    fish (FAO Fisheries Technical Paper 340, table 31) the sum was 6 to 20 % long and
    never short, for 10 to 300 mm, air of −38 to −80 °C and 5 to 25 W/(m²·K).

    Args:
        thickness_mm: The thickest part of the fish, or of a stack that touches, mm.
        air_c: The warmest air in the time, °C.
        centre_c: What the centre must reach, °C, at most −10.
        initial_c: The fish's temperature when it goes in, °C.
        properties: The fish's; without knowledge of it, the slowest kind.
        surface_w_m2k: Heat transfer coefficient, W/(m²·K): still air 5.
        packaging_m2k_w: Thermal resistance of a wrap, m²·K/W.

    Returns:
        Seconds, or None where the air is not colder than ``centre_c`` by ``MARGIN_C``:
        then no time is long enough to rely on.

    Raises:
        ValueError: If the thickness is not above 0 and at most 300 mm, or another
            value makes no sense.

    >>> time = time_until_solid_s(40.0, -60.0, centre_c=-35.0, initial_c=5.0)
    >>> round(time / 3600.0, 1)
    8.8
    >>> time_until_solid_s(40.0, -36.0, centre_c=-35.0, initial_c=5.0) is None
    True
    """
    if not 0.0 < thickness_mm <= THICKEST_MM:
        raise ValueError(
            f"thickness_mm is {thickness_mm}; expected more than 0 and at most {THICKEST_MM:g} mm"
        )
    if not centre_c <= FIRST_STAGE_C:
        raise ValueError(f"centre_c is {centre_c}; expected {FIRST_STAGE_C:g} °C or colder")
    if air_c > centre_c - MARGIN_C:
        return None
    size_m = thickness_mm / 1000.0
    to_first_s = pham_s(
        Shape.SLAB,
        size_m,
        air_c,
        properties,
        # Fish that comes in half frozen is counted as fresh: the longer time.
        initial_c=max(initial_c, 0.0),
        centre_c=FIRST_STAGE_C,
        surface_w_m2k=surface_w_m2k,
        packaging_m2k_w=packaging_m2k_w,
    )
    film_w_m2k = 1.0 / (1.0 / surface_w_m2k + packaging_m2k_w)
    return to_first_s + slab_centre_s(
        size_m, air_c, properties, film_w_m2k, from_c=FIRST_STAGE_C, to_c=centre_c
    )


def slab_centre_s(
    size_m: float,
    air_c: float,
    properties: FreezingProperties,
    film_w_m2k: float,
    *,
    from_c: float,
    to_c: float,
) -> float:
    """Return how long the centre of a frozen slab takes from one temperature to another.

    The first term of the series for a slab of one temperature throughout [2]. For the
    centre the terms alternate in sign and the first alone is above the sum, so the
    time is never short; for Fo > 0.2 they agree to a per cent.

    Args:
        size_m: Whole thickness, m, cooled from both faces.
        air_c: Air temperature, °C, colder than ``to_c``.
        properties: The food's, frozen.
        film_w_m2k: Heat transfer coefficient with the wrap's resistance in it.
        from_c: Temperature throughout at the start, °C.
        to_c: Temperature of the centre at the end, °C.
    """
    if to_c >= from_c:
        return 0.0
    half_m = size_m / 2.0
    conductivity = properties.frozen_conductivity_w_mk
    root = first_root(film_w_m2k * half_m / conductivity)
    factor = 4.0 * math.sin(root) / (2.0 * root + math.sin(2.0 * root))
    remaining = (to_c - air_c) / (from_c - air_c)
    fourier = max(math.log(factor / remaining) / (root * root), 0.0)
    diffusivity = conductivity / (properties.density_kg_m3 * properties.heat_below_j_kgk)
    return fourier * half_m * half_m / diffusivity


def first_root(biot: float) -> float:
    """Return the first positive root of ζ·tan ζ = Bi, by bisection [2].

    >>> round(first_root(1.0), 4)
    0.8603
    """
    low, high = 0.0, math.pi / 2.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if middle * math.sin(middle) < biot * math.cos(middle):
            low = middle
        else:
            high = middle
    return (low + high) / 2.0
