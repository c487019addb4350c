"""When the centre may be taken as solid: the estimate against a numeric solution.

The numeric solution is independent of it in everything but geometry: one-dimensional
conduction in enthalpy form, with the measured enthalpy of lean fish from FAO Fisheries
Technical Paper 340 (1994), table 31, and conductivities that rise with the ice.
"""

import math
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rimewatch.science.fish_properties import SLOW_FISH, fish_properties
from rimewatch.science.freezing_time import Shape, pham_s
from rimewatch.science.time_until_solid import first_root, slab_centre_s, time_until_solid_s

solid_s = partial(time_until_solid_s, centre_c=-35.0, initial_c=5.0)
"""Until solid as the Food Code's options have it, fish of 5 °C put in."""

Floats = NDArray[np.float64]

# Table 31, kcal/kg above −40 °C; 1 kcal = 4.1868 kJ. The table's slips at 14 and 16 °C
# (80.39 for 89.39, 91.94 for 91.14) are not used.
TABLE_31_C = (-32, -28, -20, -16, -10, -4, -2, -1, 0, 4, 6, 10, 20, 40)
TABLE_31 = (3.60, 5.55, 10.03, 12.69, 17.73, 28.05, 42.16, 71.16, 77.16)
TABLE_31_KCAL = np.array([*TABLE_31, 80.65, 82.39, 85.89, 94.65, 112.25])

# On to −80 °C at the specific heat between −40 and −32 °C.
ENTHALPY_C = np.array([-80.0, *TABLE_31_C])
ENTHALPY = np.array([3.60 - 48.0 * 3.60 / 8.0, *TABLE_31_KCAL]) * 4186.8


def heat_kcal(from_c: float, to_c: float) -> float:
    """Heat to take out of a kilogram of lean fish, kcal."""
    high, low = np.interp([from_c, to_c], ENTHALPY_C, ENTHALPY) / 4186.8
    return float(high - low)


def numeric_s(
    thickness_mm: float, air_c: float, *, initial_c: float, film: float, cells: int = 20
) -> float:
    """Time until the centre of a slab is at −35 °C, by the method of lines."""
    cell_m = thickness_mm / 2000.0 / cells
    density = 1050.0

    def flows(_: float, enthalpy: Floats) -> Floats:
        celsius = np.interp(enthalpy, ENTHALPY, ENTHALPY_C)
        ice = np.clip((-1.0 - celsius) / 8.0, 0.0, 1.0) ** 0.3
        k = 0.5 + (1.24 - 0.5) * ice
        between = 2.0 * k[1:] * k[:-1] / (k[1:] + k[:-1])
        flow = np.zeros(cells + 1)
        flow[1:-1] = between * (celsius[:-1] - celsius[1:]) / cell_m
        flow[-1] = (celsius[-1] - air_c) / (1.0 / film + cell_m / 2.0 / k[-1])
        rate: Floats = (flow[:-1] - flow[1:]) / (cell_m * density)
        return rate

    solid = float(np.interp(-35.0, ENTHALPY_C, ENTHALPY))

    def at_solid(_: float, enthalpy: Floats) -> float:
        return float(enthalpy[0]) - solid

    at_solid.terminal = True  # type: ignore[attr-defined]
    start = np.full(cells, np.interp(initial_c, ENTHALPY_C, ENTHALPY))
    result = solve_ivp(
        flows,
        (0.0, 3e7),
        start,
        method="LSODA",
        events=at_solid,
        rtol=1e-5,
        atol=1.0,
        lband=1,
        uband=1,
        max_step=4000.0,
    )
    assert result.status == 1, "the numeric solution did not reach −35 °C"
    return float(result.t[-1])


def test_enthalpy_table_agrees_with_the_papers_own_sums() -> None:
    """FAO FTP 340, table 30: from 10 °C 81.3 kcal/kg to −30 °C, 74.5 to −18 °C.

    Its row from 20 °C to −18 °C prints 8.3 where 83.3 follows from table 31.
    """
    assert heat_kcal(10.0, -30.0) == pytest.approx(81.3, abs=0.06)
    assert heat_kcal(10.0, -18.0) == pytest.approx(74.5, abs=0.06)
    assert heat_kcal(40.0, -30.0) == pytest.approx(107.7, abs=0.06)
    assert heat_kcal(5.0, -30.0) == pytest.approx(76.9, abs=0.1)
    assert heat_kcal(20.0, -18.0) == pytest.approx(83.3, abs=0.06)


@pytest.mark.parametrize("air", [-38.0, -80.0])
@pytest.mark.parametrize("thickness", [10.0, 60.0, 300.0])
@pytest.mark.parametrize(("film", "initial"), [(5.0, 5.0), (25.0, 0.5), (10.0, 20.0)])
def test_estimate_is_never_short_of_the_numeric_solution_and_not_far_above(
    air: float, thickness: float, film: float, initial: float
) -> None:
    """Between 0 and 25 % long: cautious, yet of use."""
    numeric = numeric_s(thickness, air, initial_c=initial, film=film)

    estimate = solid_s(thickness, air, initial_c=initial, surface_w_m2k=film)

    assert estimate is not None
    assert 1.0 <= estimate / numeric <= 1.25


@pytest.mark.parametrize("air", [-36.9, -35.0, -20.0, 4.0])
def test_air_hardly_colder_than_the_centre_is_to_be_gives_no_estimate(air: float) -> None:
    """In a freezer at −36 °C the last degree may take for ever: nothing is promised."""
    assert solid_s(40.0, air) is None


def test_air_colder_by_the_margin_gives_an_estimate() -> None:
    """At −37 °C there is one, and a long one."""
    just, deep = solid_s(40.0, -37.0), solid_s(40.0, -60.0)

    assert just is not None
    assert deep is not None
    assert just > 1.5 * deep


def test_thicker_warmer_and_wrapped_fish_takes_longer() -> None:
    """Whatever makes freezing slower makes the estimate longer."""

    def seconds(**given: float) -> float:
        values = {"thickness_mm": 40.0, "air_c": -60.0, "initial_c": 4.0, **given}
        found = solid_s(values.pop("thickness_mm"), values.pop("air_c"), **values)  # type: ignore[arg-type]
        assert found is not None
        return found

    plain = seconds()

    assert seconds(thickness_mm=60.0) > 1.5 * plain
    assert seconds(air_c=-45.0) > plain
    assert seconds(initial_c=15.0) > plain
    assert seconds(packaging_m2k_w=0.1) > plain
    assert seconds(surface_w_m2k=10.0) < plain
    assert seconds(initial_c=-5.0) == seconds(initial_c=0.0)


def test_unknown_fish_takes_longer_than_a_known_fat_one() -> None:
    """Without knowledge the slowest kind is assumed."""
    fat = solid_s(40.0, -60.0, properties=fish_properties(60.0))
    unknown = solid_s(40.0, -60.0)

    assert fat is not None
    assert unknown is not None
    assert fat < unknown


@pytest.mark.parametrize("biot", [0.01, 0.1, 1.0, 10.0, 1000.0])
def test_first_root_agrees_with_a_root_finder(biot: float) -> None:
    """ζ·tan ζ = Bi."""
    expected = brentq(lambda z: z * math.sin(z) - biot * math.cos(z), 1e-9, math.pi / 2)

    assert first_root(biot) == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize(("thickness", "film"), [(0.02, 5.0), (0.1, 25.0), (0.3, 100.0)])
def test_last_stage_agrees_with_the_whole_series(thickness: float, film: float) -> None:
    """Carslaw & Jaeger: the time of one term against the sum of two hundred."""
    half, k = thickness / 2.0, SLOW_FISH.frozen_conductivity_w_mk
    biot = film * half / k
    diffusivity = k / (SLOW_FISH.density_kg_m3 * SLOW_FISH.heat_below_j_kgk)
    roots = [
        brentq(
            lambda z: z * math.sin(z) - biot * math.cos(z),
            n * math.pi + 1e-9,
            n * math.pi + math.pi / 2,
        )
        for n in range(200)
    ]

    def centre(seconds: float) -> float:
        fourier = diffusivity * seconds / half**2
        share = sum(
            4 * math.sin(z) / (2 * z + math.sin(2 * z)) * math.exp(-z * z * fourier) for z in roots
        )
        return float(-60.0 + 50.0 * share)

    expected = brentq(lambda s: centre(s) + 35.0, 10.0, 1e6)

    found = slab_centre_s(thickness, -60.0, SLOW_FISH, film, from_c=-10.0, to_c=-35.0)
    assert found == pytest.approx(expected, rel=0.01)
    assert found >= expected * (1.0 - 1e-9)


def test_last_stage_of_fish_cold_enough_takes_no_time() -> None:
    """Already there."""
    assert slab_centre_s(0.05, -60.0, SLOW_FISH, 5.0, from_c=-40.0, to_c=-35.0) == 0.0


@pytest.mark.parametrize("thickness", [0.0, -5.0, 301.0, math.nan])
def test_thickness_that_makes_no_sense_is_refused(thickness: float) -> None:
    """A thickness in metres, or none, is a mistake."""
    with pytest.raises(ValueError, match="thickness_mm is"):
        solid_s(thickness, -60.0)


def test_centre_warmer_than_the_first_stage_is_refused() -> None:
    """The estimate is for hard frozen fish."""
    with pytest.raises(ValueError, match="-10 °C or colder"):
        solid_s(40.0, -60.0, centre_c=-5.0)


def test_estimate_of_40_mm_is_pham_s_equation_and_the_slab_s_for_0_04_m() -> None:
    """Nothing is rounded in favour of the fish on the way from millimetres."""
    first_s = pham_s(
        Shape.SLAB, 0.04, -60.0, SLOW_FISH, initial_c=5.0, centre_c=-10.0, surface_w_m2k=5.0
    )
    second_s = slab_centre_s(0.04, -60.0, SLOW_FISH, 5.0, from_c=-10.0, to_c=-35.0)

    assert solid_s(40.0, -60.0) == pytest.approx(first_s + second_s, rel=1e-12)
