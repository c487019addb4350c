"""Readings near a limit: JCGM 106:2012 and ILAC-G8:09/2019."""

import math

import pytest
from scipy import stats

from rimewatch.science.guard_band import (
    Decision,
    acceptance_limit_c,
    certain_breach_above,
    conformance_probability,
    decide,
    guard_for,
    is_proven_at_most,
)


@pytest.mark.parametrize(
    ("reading", "decision"),
    [
        (4.5, Decision.PASS),
        (4.51, Decision.CONDITIONAL_PASS),
        (5.0, Decision.CONDITIONAL_PASS),
        (5.01, Decision.CONDITIONAL_FAIL),
        (5.5, Decision.CONDITIONAL_FAIL),
        (5.51, Decision.FAIL),
    ],
)
def test_guarded_limit_has_four_outcomes(reading: float, decision: Decision) -> None:
    """Limit 5.0 °C, U 0.5 °C: ILAC-G8's non-binary rule with a guard band of U."""
    assert decide(reading, 5.0, 0.5) is decision


@pytest.mark.parametrize(
    ("reading", "probability"), [(4.5, 0.9772), (4.8, 0.7881), (5.0, 0.5), (5.5, 0.0228)]
)
def test_conformance_probability_of_a_reading(reading: float, probability: float) -> None:
    """Limit 5.0 °C, u 0.25 °C (JCGM 106, 7.3): 97.7 % at the acceptance limit."""
    found = conformance_probability(reading, 5.0, 0.25)

    assert found == pytest.approx(probability, abs=5e-5)
    assert found == pytest.approx(stats.norm(reading, 0.25).cdf(5.0), abs=1e-12)


def test_speed_limit_example_rejects_above_107() -> None:
    """JCGM 106, 8.3.3 (from memory): 100 km/h, 2 %, 99.9 %: 106.59, so 107."""
    found = certain_breach_above(100.0, 0.02, 0.999)

    assert found == pytest.approx(106.59, abs=5e-3)
    assert math.ceil(found) == 107


def test_minus_twenty_is_an_upper_limit_and_its_guard_lies_below() -> None:
    """−20 °C or below, known to 0.3 °C: only −20.3 °C proves it."""
    assert acceptance_limit_c(-20.0, 0.3) == pytest.approx(-20.3)
    assert is_proven_at_most(-20.3, -20.0, 0.3)
    assert not is_proven_at_most(-20.299, -20.0, 0.3)
    assert not is_proven_at_most(-19.7, -20.0, 0.3)


@pytest.mark.parametrize(("limit", "guard"), [(4.9, 0.1), (-35.0, 0.7), (21.1, 0.2), (-18.0, 0.1)])
def test_reading_exactly_at_the_acceptance_limit_passes(limit: float, guard: float) -> None:
    """A sum that binary fractions miss by 1e-15 does not cost a lot its hold."""
    assert decide(round(limit - guard, 3), limit, guard) is Decision.PASS
    assert decide(round(limit - guard + 0.001, 3), limit, guard) is Decision.CONDITIONAL_PASS


def test_without_a_guard_band_half_of_the_passes_at_the_limit_are_wrong() -> None:
    """Simple acceptance, w = 0: the risk at the limit is 50 %."""
    assert decide(5.0, 5.0, 0.0) is Decision.PASS
    assert conformance_probability(5.0, 5.0, 0.2) == 0.5


def test_certain_probe_gives_certain_answers() -> None:
    """Without uncertainty the reading is the temperature."""
    assert conformance_probability(5.0, 5.0, 0.0) == 1.0
    assert conformance_probability(5.001, 5.0, 0.0) == 0.0


def test_guard_for_a_probability_leaves_that_probability() -> None:
    """95 % one-sided is 1.645 u; 97.7 % is 2 u, which is U."""
    assert guard_for(0.95, 0.25) == pytest.approx(1.6449 * 0.25, abs=1e-4)
    assert guard_for(0.97725, 0.25) == pytest.approx(0.5, abs=1e-4)
    assert conformance_probability(5.0 - guard_for(0.9, 0.3), 5.0, 0.3) == pytest.approx(0.9)


@pytest.mark.parametrize("guard", [-0.1, math.nan, math.inf])
def test_guard_band_that_is_none_is_refused(guard: float) -> None:
    """A negative guard band would credit warm fish."""
    with pytest.raises(ValueError, match="guard_c is"):
        acceptance_limit_c(5.0, guard)
    with pytest.raises(ValueError, match="standard_c is"):
        conformance_probability(5.0, 5.0, guard)


def test_reading_that_is_no_number_is_refused() -> None:
    """A reading of nan is neither a pass nor a fail."""
    with pytest.raises(ValueError, match="reading_c is nan"):
        decide(math.nan, 5.0, 0.5)


def test_impossible_demands_are_refused() -> None:
    """No certainty of 100 %, none where the uncertainty exceeds the value."""
    with pytest.raises(ValueError, match="probability is 1"):
        guard_for(1.0, 0.2)
    with pytest.raises(ValueError, match="leaves no reading"):
        certain_breach_above(100.0, 0.5, 0.999)
