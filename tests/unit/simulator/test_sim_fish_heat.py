"""Heat in fish against FAO's own worked figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch_sim.fish import J_PER_KCAL, band_of, celsius_of_heat, heat_j_per_kg


@pytest.mark.parametrize(
    ("from_c", "to_c", "kcal_per_kg"),
    [
        # FAO Fisheries Technical Paper 340 (1994), chapter 19, table 30
        (40.0, -30.0, 107.7),
        (40.0, -18.0, 100.9),
        (20.0, -30.0, 90.1),
        (10.0, -30.0, 81.3),
        (10.0, -18.0, 74.5),
        (5.0, -30.0, 76.9),
        (5.0, -18.0, 70.1),
    ],
)
def test_heat_of_freezing_matches_the_published_table(
    from_c: float, to_c: float, kcal_per_kg: float
) -> None:
    """Freezing a kilogram takes the heat that FAO's other table says."""
    taken = (heat_j_per_kg(from_c) - heat_j_per_kg(to_c)) / J_PER_KCAL

    assert taken == pytest.approx(kcal_per_kg, abs=0.1)


@given(st.floats(min_value=-90.0, max_value=60.0))
def test_temperature_from_heat_gives_the_temperature_back(celsius: float) -> None:
    """Heat and temperature say the same thing, in the ice and out of it."""
    assert celsius_of_heat(heat_j_per_kg(celsius)) == pytest.approx(celsius, abs=1e-9)


@given(st.floats(min_value=-90.0, max_value=60.0), st.floats(min_value=1e-3, max_value=20.0))
def test_warmer_fish_always_holds_more_heat(celsius: float, more_k: float) -> None:
    """There is no temperature at which warming gives heat back."""
    assert heat_j_per_kg(celsius + more_k) > heat_j_per_kg(celsius)


def test_edge_of_a_band_belongs_to_the_warmer_band() -> None:
    """Every temperature has one band."""
    assert band_of(-1.0) == band_of(-0.5)
    assert band_of(-1.0) == band_of(-1.001) + 1
