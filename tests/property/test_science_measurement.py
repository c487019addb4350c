"""What holds for every reading: guard bands and platinum probes."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimewatch.science.guard_band import Decision, conformance_probability, decide
from rimewatch.science.rtd import celsius_from_ohms, ohms_from_celsius

ORDER = [Decision.PASS, Decision.CONDITIONAL_PASS, Decision.CONDITIONAL_FAIL, Decision.FAIL]
CELSIUS = st.floats(-90.0, 60.0)


@given(CELSIUS, CELSIUS, CELSIUS, st.floats(0.0, 3.0))
def test_warmer_reading_is_never_judged_better(
    one_c: float, other_c: float, limit_c: float, guard_c: float
) -> None:
    """A pass cannot come of more warmth."""
    low, high = sorted((one_c, other_c))

    assert ORDER.index(decide(low, limit_c, guard_c)) <= ORDER.index(decide(high, limit_c, guard_c))


@given(CELSIUS, CELSIUS, st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_more_doubt_never_makes_a_pass(
    reading_c: float, limit_c: float, guard_c: float, more_c: float
) -> None:
    """A worse probe proves less."""
    if decide(reading_c, limit_c, guard_c + more_c) is Decision.PASS:
        assert decide(reading_c, limit_c, guard_c) is Decision.PASS


@given(CELSIUS, CELSIUS, st.floats(0.01, 3.0))
def test_guarded_pass_is_at_least_as_probable_as_two_deviations(
    reading_c: float, limit_c: float, standard_c: float
) -> None:
    """With w = U = 2u no pass is less than 97.7 % probable."""
    if decide(reading_c, limit_c, 2.0 * standard_c) is Decision.PASS:
        assert conformance_probability(reading_c, limit_c, standard_c) >= 0.97724


@given(st.floats(-200.0, 850.0), st.sampled_from([100.0, 500.0, 1000.0]))
@example(0.0, 100.0)
@example(-1e-12, 100.0)
def test_ohms_and_back_give_the_temperature(celsius: float, zero_ohms: float) -> None:
    """The two directions are one relation, on both sides of 0 °C."""
    ohms = ohms_from_celsius(celsius, zero_ohms=zero_ohms)

    assert celsius_from_ohms(ohms, zero_ohms=zero_ohms) == pytest.approx(celsius, abs=1e-8)


@given(st.floats(-200.0, 849.0), st.floats(1e-6, 1.0))
def test_warmer_element_has_more_ohms(celsius: float, step: float) -> None:
    """The relation has no fold anywhere in its range."""
    assert ohms_from_celsius(celsius + step) > ohms_from_celsius(celsius)
