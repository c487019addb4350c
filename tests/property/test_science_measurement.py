"""What holds for every platinum probe."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimewatch.science.rtd import celsius_from_ohms, ohms_from_celsius


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
