"""Freezing times against worked examples, and the properties they are made of."""

import math

import pytest

from rimewatch.science.fish_properties import (
    SLOW_FISH,
    FreezingProperties,
    fish_properties,
)
from rimewatch.science.freezing_time import Shape, pham_s, plank_s

BALL = FreezingProperties(
    density_kg_m3=1000.0,
    heat_above_j_kgk=3600.0,
    heat_below_j_kgk=1800.0,
    latent_j_kg=250e3,
    frozen_conductivity_w_mk=1.2,
    freezes_c=-1.25,
)


def food(density: float, latent: float, conductivity: float, freezes: float) -> FreezingProperties:
    return FreezingProperties(
        density_kg_m3=density,
        heat_above_j_kgk=3600.0,
        heat_below_j_kgk=1800.0,
        latent_j_kg=latent,
        frozen_conductivity_w_mk=conductivity,
        freezes_c=freezes,
    )


def test_plank_sphere_bare_and_wrapped() -> None:
    """Singh & Heldman, example 7.1: 7 cm, 0.72 h bare, 1.037 h in a 3 mm wrap."""
    bare = plank_s(Shape.SPHERE, 0.07, -40.0, BALL, surface_w_m2k=50.0)
    wrapped = plank_s(
        Shape.SPHERE, 0.07, -40.0, BALL, surface_w_m2k=50.0, packaging_m2k_w=0.003 / 0.2
    )

    assert bare == pytest.approx(2603.0, abs=1.0)
    assert bare / 3600.0 == pytest.approx(0.72, abs=5e-3)
    assert wrapped == pytest.approx(3732.08, abs=0.01)


def test_plank_potato_is_twelve_minutes_and_not_two_hours() -> None:
    """A course sheet's potato, 2 cm: 704.8 s. Its printed 1.955 h has L ten times too big."""
    potato = food(950.0, 0.88 * 333.2e3, 1.3, -2.0)

    found = plank_s(Shape.SPHERE, 0.02, -40.0, potato, surface_w_m2k=40.0)

    assert found == pytest.approx(704.8, abs=0.1)
    assert found != pytest.approx(1.955 * 3600.0, rel=0.5)


def test_plank_beef_slab_uses_the_slabs_factors() -> None:
    """A course sheet's beef, 5 cm: 12.55 h. Its printed 22 596 s used a cylinder's factors."""
    beef = food(970.0, 249.08e3, 1.1, -1.75)

    slab = plank_s(Shape.SLAB, 0.05, -30.0, beef, surface_w_m2k=5.0)
    cylinder = plank_s(Shape.CYLINDER, 0.05, -30.0, beef, surface_w_m2k=5.0)

    assert slab == pytest.approx(45_192.0, abs=1.0)
    assert cylinder == pytest.approx(22_596.0, abs=1.0)


def test_pham_sphere_from_ten_to_minus_ten() -> None:
    """Pham (1986, form from memory) for the 7 cm sphere: 3501 s."""
    found = pham_s(
        Shape.SPHERE, 0.07, -40.0, BALL, initial_c=10.0, centre_c=-10.0, surface_w_m2k=50.0
    )

    assert found == pytest.approx(3501.0, abs=1.0)


def test_shapes_have_planks_factors() -> None:
    """Plank's P and R: 1/2 and 1/8, 1/4 and 1/16, 1/6 and 1/24."""
    assert [(shape.plank_p, shape.plank_r) for shape in Shape] == [
        (1 / 2, 1 / 8),
        (1 / 4, 1 / 16),
        (1 / 6, 1 / 24),
    ]
    assert [shape.dimensions for shape in Shape] == [1, 2, 3]


def test_thin_shapes_freeze_in_proportion_to_how_many_ways_they_cool() -> None:
    """With the film alone in the way a sphere takes a third of a slab's time."""
    times = [pham_s(shape, 1e-4, -40.0, BALL, initial_c=10.0, surface_w_m2k=5.0) for shape in Shape]

    assert times[0] / times[1] == pytest.approx(2.0)
    assert times[0] / times[2] == pytest.approx(3.0)


def test_pham_takes_longer_than_plank_for_what_plank_leaves_out() -> None:
    """Cooling before and after freezing takes time."""
    plank = plank_s(Shape.SLAB, 0.04, -40.0, SLOW_FISH, surface_w_m2k=20.0)
    pham = pham_s(Shape.SLAB, 0.04, -40.0, SLOW_FISH, initial_c=10.0, surface_w_m2k=20.0)

    assert plank < pham < 2.0 * plank


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
        plank_s(Shape.SLAB, 0.05, air, BALL, surface_w_m2k=5.0)
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
        plank_s(Shape.SLAB, size, -40.0, BALL, surface_w_m2k=film, packaging_m2k_w=wrap)


@pytest.mark.parametrize("water", [-1.0, 101.0])
def test_fish_with_impossible_water_is_refused(water: float) -> None:
    """Water is a share of the weight."""
    with pytest.raises(ValueError, match="expected 0 to 100"):
        fish_properties(water)
