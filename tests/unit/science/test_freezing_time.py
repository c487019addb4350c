"""Freezing times against worked examples, and the properties they are made of."""

import math

import pytest

from rimewatch.science.fish_properties import (
    SLOW_FISH,
    FreezingProperties,
    fish_properties,
)
from rimewatch.science.freezing_time import Shape, pham_s

BALL = FreezingProperties(
    density_kg_m3=1000.0,
    heat_above_j_kgk=3600.0,
    heat_below_j_kgk=1800.0,
    latent_j_kg=250e3,
    frozen_conductivity_w_mk=1.2,
    freezes_c=-1.25,
)


def test_pham_sphere_from_ten_to_minus_ten() -> None:
    """Pham (1986, form from memory) for the 7 cm sphere: 3501 s."""
    found = pham_s(
        Shape.SPHERE, 0.07, -40.0, BALL, initial_c=10.0, centre_c=-10.0, surface_w_m2k=50.0
    )

    assert found == pytest.approx(3501.0, abs=1.0)


def test_thin_shapes_freeze_in_proportion_to_how_many_ways_they_cool() -> None:
    """With the film alone in the way a sphere takes a third of a slab's time."""
    times = [pham_s(shape, 1e-4, -40.0, BALL, initial_c=10.0, surface_w_m2k=5.0) for shape in Shape]

    assert times[0] / times[1] == pytest.approx(2.0)
    assert times[0] / times[2] == pytest.approx(3.0)


def test_fish_of_seventy_per_cent_water_by_earle() -> None:
    """Earle, Appendix 7: above freezing 3.18 kJ/kgK as in its row for fish.

    Below freezing and for the latent heat the formula and the printed row (1.67 kJ/kgK,
    276 kJ/kg) disagree; the formula is what is claimed here.
    """
    fish = fish_properties(70.0)

    assert fish.heat_above_j_kgk == pytest.approx(3180.0, abs=10.0)
    assert fish.heat_below_j_kgk == pytest.approx(1722.0)
    assert fish.latent_j_kg == pytest.approx(234_500.0)
    assert fish.latent_j_kg != pytest.approx(276_000.0, rel=0.1)
    assert fish.frozen_conductivity_w_mk == pytest.approx(1.758)


def test_slow_fish_is_slower_than_any_fish_by_its_water() -> None:
    """The stand-in for an unknown fish errs on the long side."""

    def hours(properties: FreezingProperties) -> float:
        return pham_s(Shape.SLAB, 0.05, -60.0, properties, initial_c=5.0, surface_w_m2k=5.0)

    slow = hours(SLOW_FISH)

    assert all(hours(fish_properties(water)) < slow for water in range(55, 83))
    # ASHRAE: latent heat of cod 117 Btu/lb, freezing from 28.0 °F.
    assert SLOW_FISH.latent_j_kg == pytest.approx(117 * 2326.0, abs=200.0)
    assert SLOW_FISH.freezes_c == pytest.approx((28.0 - 32.0) / 1.8, abs=0.03)


@pytest.mark.parametrize("air", [-1.25, 0.0, 20.0])
def test_air_that_does_not_freeze_is_refused(air: float) -> None:
    """No time is long enough."""
    with pytest.raises(ValueError, match="expected colder air"):
        pham_s(Shape.SLAB, 0.05, air, BALL, initial_c=5.0, surface_w_m2k=5.0)


def test_frozen_food_is_refused_by_pham() -> None:
    """The equation is for food that comes in unfrozen."""
    with pytest.raises(ValueError, match="not frozen yet"):
        pham_s(Shape.SLAB, 0.05, -40.0, BALL, initial_c=-8.0, surface_w_m2k=5.0)


@pytest.mark.parametrize(
    ("size", "film", "wrap", "message"),
    [
        (0.0, 5.0, 0.0, "size_m is 0.0"),
        (-0.1, 5.0, 0.0, "size_m is -0.1"),
        (0.1, 0.0, 0.0, "surface_w_m2k is 0.0"),
        (0.1, math.nan, 0.0, "surface_w_m2k is nan"),
        (0.1, 5.0, -1.0, "packaging_m2k_w is -1.0"),
    ],
)
def test_sizes_and_coefficients_that_make_no_sense_are_refused(
    size: float, film: float, wrap: float, message: str
) -> None:
    """Each with its name and its value."""
    with pytest.raises(ValueError, match=message):
        pham_s(
            Shape.SLAB,
            size,
            -40.0,
            BALL,
            initial_c=5.0,
            surface_w_m2k=film,
            packaging_m2k_w=wrap,
        )


@pytest.mark.parametrize("water", [-1.0, 101.0])
def test_fish_with_impossible_water_is_refused(water: float) -> None:
    """Water is a share of the weight."""
    with pytest.raises(ValueError, match="expected 0 to 100"):
        fish_properties(water)
