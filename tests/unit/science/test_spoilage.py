"""Rates of spoilage, ice days, remaining shelf life."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from rimewatch.science.spoilage import (
    ice_days,
    in_domain,
    life_at,
    life_left,
    root_rate,
)

HOUR = 3_600_000
DAY_S = 86_400.0
DAY_MS = 24 * HOUR
CELSIUS = (-2, -1, 0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 16, 20)
# Huss (1995), FAO FTP 348, ch. 6 (form from memory; figures computed from it).
ROOT = (0.64, 0.81, 1, 1.21, 1.44, 1.69, 1.96, 2.25, 2.56, 2.89, 3.24, 4, 4.84, 6.25, 6.76, 9)


@pytest.mark.parametrize(("celsius", "rate"), list(zip(CELSIUS, ROOT, strict=True)))
def test_root_model_has_the_published_form(celsius: float, rate: float) -> None:
    """(1 + 0.1·T)²: 1.96 at 4 °C, 2.25 at 5 °C, 4 at 10 °C, 6.25 at 15 °C."""
    assert root_rate(celsius) == pytest.approx(rate, abs=1e-12)


def test_shelf_life_from_5_c_to_ice_agrees_with_the_published_figures() -> None:
    """21 d at 5 °C are 47.2 d at 0 °C and 7.56 d at 15 °C by the root model.

    Technical University of Denmark, notes on seafood models.
    """
    assert life_at(21.0, 5.0, 0.0) == pytest.approx(47.25)
    assert life_at(21.0, 5.0, 15.0) == pytest.approx(7.56, abs=5e-3)


@pytest.mark.parametrize(
    ("life_in_ice", "at_5", "at_10", "printed_5", "printed_10"),
    [(10.1, 5.5, 2.6, 1.8, 3.9), (11.8, 8.0, 3.0, 1.5, 3.9), (14.0, 6.0, 3.0, 2.3, 4.7)],
)
def test_observed_shelf_lives_scatter_about_the_root_model(
    life_in_ice: float, at_5: float, at_10: float, printed_5: float, printed_10: float
) -> None:
    """Crab claws, salmon, packed cod (Huss 1995, from memory): the model is no oracle.

    The observed rates lie within a third of the model's; a forecast to the day is not
    in it.
    """
    assert life_in_ice / at_5 == pytest.approx(printed_5, abs=0.06)
    assert life_in_ice / at_10 == pytest.approx(printed_10, abs=0.06)
    assert life_in_ice / at_5 == pytest.approx(root_rate(5.0), rel=0.35)
    assert life_in_ice / at_10 == pytest.approx(root_rate(10.0), rel=0.35)


def test_half_a_day_at_ten_degrees_costs_a_day_and_a_half_more_than_ice() -> None:
    """12 h at 10 °C and back to 0 °C: 36 h of ice life lost."""
    warm = ice_days([0, 12 * HOUR, 12 * HOUR + 1, 24 * HOUR], [10, 10, 0, 0], max_gap_ms=10**9)
    ice = ice_days([0, 24 * HOUR], [0.0, 0.0], max_gap_ms=10**9)

    assert (warm - ice) * 24.0 == pytest.approx(36.0, abs=1e-5)


def test_ice_days_of_a_jagged_curve_equal_the_numeric_integral() -> None:
    """Uneven times, a dive below −10 °C: the closed form is the integral."""
    times = np.array([0, 7, 8, 40, 41, 100, 260]) * 60_000
    celsius = np.array([3.0, 9.5, -14.0, 2.0, 2.0, -25.0, 11.0])

    def rate(second: float) -> float:
        return root_rate(float(np.interp(second * 1000.0, times, celsius)))

    expected = sum(
        quad(rate, left / 1000.0, right / 1000.0, limit=400, epsabs=1e-8)[0]
        for left, right in pairwise(times)
    )

    assert ice_days(times, celsius, max_gap_ms=10**9) * DAY_S == pytest.approx(expected, rel=1e-8)


def test_gap_adds_no_ice_days() -> None:
    """What was not measured is not counted; the gap is told elsewhere."""
    with_gap = ice_days([0, HOUR, 9 * HOUR, 10 * HOUR], [0.0] * 4, max_gap_ms=HOUR)

    assert with_gap == pytest.approx(2 / 24)


def test_frozen_fish_uses_no_ice_days() -> None:
    """Below −10 °C the root model's rate is zero, and does not rise again below it."""
    assert root_rate(-25.0) == 0.0
    assert ice_days([0, DAY_MS], [-25.0, -12.0], max_gap_ms=DAY_MS) == 0.0
    assert ice_days([0, DAY_MS], [-10.0, -10.0], max_gap_ms=DAY_MS) == 0.0


def test_model_says_where_it_is_supported() -> None:
    """Half frozen and warm fish lie outside the model's range."""
    assert [in_domain(c) for c in (-2.1, -2.0, 0.0, 15.0, 15.1)] == [
        False,
        True,
        True,
        True,
        False,
    ]


def test_used_up_shelf_life_leaves_nothing_and_never_less() -> None:
    """A negative rest would read as a date in the past."""
    assert life_left(12.0, 13.0, 0.0) == 0.0


def test_life_where_nothing_spoils_is_refused() -> None:
    """A frozen fish has no shelf life by a model of chilled fish."""
    with pytest.raises(ValueError, match="rate is zero"):
        life_at(10.0, 0.0, -10.0)
    with pytest.raises(ValueError, match="below 0"):
        root_rate(0.0, minimum_c=0.0)
