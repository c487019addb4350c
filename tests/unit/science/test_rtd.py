"""Platinum resistance thermometers: IEC 60751."""

import numpy as np
import pytest
from scipy.optimize import brentq

from rimewatch.science.rtd import (
    Element,
    RtdClass,
    celsius_from_ohms,
    claimed_tolerance_c,
    ohms_from_celsius,
    tolerance_c,
)

# IEC 60751 reference table (two places from memory, four computed from its equation),
# dR/dt in ohms per °C, then tolerances of classes AA, A, B, C; None where wire-wound
# elements may not claim the class (ranges from memory).
TABLE = [
    (-200.0, 18.5201, 0.4323, None, None, None, None),
    (-60.0, 76.3278, 0.3986, None, 0.270, 0.600, 1.20),
    (-40.0, 84.2707, 0.3958, 0.168, 0.230, 0.500, 1.00),
    (-35.0, 86.2478, 0.3951, 0.1595, 0.220, 0.475, 0.95),
    (-20.0, 92.1599, 0.3932, 0.134, 0.190, 0.400, 0.80),
    (-18.0, 92.9461, 0.3930, 0.1306, 0.186, 0.390, 0.78),
    (0.0, 100.0000, 0.3908, 0.100, 0.150, 0.300, 0.60),
    (5.0, 101.9527, 0.3903, 0.1085, 0.160, 0.325, 0.65),
    (21.1, 108.2208, 0.3884, 0.13587, 0.1922, 0.4055, 0.811),
    (100.0, 138.5055, 0.3793, 0.270, 0.350, 0.800, 1.60),
]


@pytest.mark.parametrize(("celsius", "ohms", "slope"), [row[:3] for row in TABLE])
def test_resistance_agrees_with_the_reference_table(
    celsius: float, ohms: float, slope: float
) -> None:
    """A Pt100 has 92.16 ohms at −20 °C and 101.95 at 5 °C, and rises as the table says."""
    step = 1e-3
    low = max(celsius - step, -200.0)
    found = (ohms_from_celsius(celsius + step) - ohms_from_celsius(low)) / (celsius + step - low)

    assert ohms_from_celsius(celsius) == pytest.approx(ohms, abs=5.1e-5)
    assert found == pytest.approx(slope, abs=6e-5)


@pytest.mark.parametrize(("celsius", "ohms"), [row[:2] for row in TABLE])
def test_temperature_agrees_with_the_reference_table(celsius: float, ohms: float) -> None:
    """Back from the table's ohms, to the ten-thousandth of an ohm that it prints."""
    assert celsius_from_ohms(ohms) == pytest.approx(celsius, abs=2e-4)


@pytest.mark.parametrize("celsius", np.linspace(-200.0, 850.0, 43).tolist())
def test_temperature_agrees_with_a_root_finder(celsius: float) -> None:
    """An independent solution of the standard's equation, over its whole range."""

    def table(t: float) -> float:
        lower = -4.183e-12 * (t - 100.0) * t**3 if t < 0.0 else 0.0
        return float(1000.0 * (1.0 + 3.9083e-3 * t - 5.775e-7 * t * t + lower))

    ohms = table(celsius)
    expected = brentq(lambda t: table(t) - ohms, -205.0, 860.0, xtol=1e-12)

    assert celsius_from_ohms(ohms, zero_ohms=1000.0) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(
    ("celsius", "tolerances"), [(row[0], row[3:]) for row in TABLE if row[0] > -200.0]
)
def test_claimed_tolerance_agrees_with_the_reference_table(
    celsius: float, tolerances: tuple[float | None, ...]
) -> None:
    """Class B promises ±0.475 °C at −35 °C, class A ±0.160 °C at 5 °C."""
    for rtd_class, expected in zip(RtdClass, tolerances, strict=True):
        found = claimed_tolerance_c(celsius, rtd_class, Element.WIRE_WOUND)
        assert found == (None if expected is None else pytest.approx(expected, abs=1e-9))


def test_tolerance_at_the_ends_of_the_equation_follows_the_formula() -> None:
    """Class B ±1.30, class C ±2.60 °C at −200 °C, though nobody may claim them there."""
    assert tolerance_c(-200.0, RtdClass.B) == pytest.approx(1.30)
    assert tolerance_c(-200.0, RtdClass.C) == pytest.approx(2.60)
    assert claimed_tolerance_c(-200.0, RtdClass.B, Element.WIRE_WOUND) is None


def test_film_element_has_no_class_a_claim_in_a_freezer() -> None:
    """At −35 °C a film element of "class A" is good for nothing certain."""
    assert claimed_tolerance_c(-35.0, RtdClass.A, Element.FILM) is None
    assert claimed_tolerance_c(-30.0, RtdClass.A, Element.FILM) == pytest.approx(0.21)
    assert claimed_tolerance_c(-35.0, RtdClass.B, Element.FILM) == pytest.approx(0.475)
    assert claimed_tolerance_c(-0.1, RtdClass.AA, Element.FILM) is None
    assert claimed_tolerance_c(-60.0, RtdClass.B, Element.FILM) is None


@pytest.mark.parametrize("ohms", [0.0, 18.0, 391.0, float("inf"), float("nan"), -1.0])
def test_resistance_no_element_can_have_is_refused(ohms: float) -> None:
    """A short circuit or a broken lead is no temperature."""
    with pytest.raises(ValueError, match="broken lead"):
        celsius_from_ohms(ohms)


@pytest.mark.parametrize("celsius", [-200.1, 850.1, float("nan")])
def test_temperature_outside_the_equation_is_refused(celsius: float) -> None:
    """The standard's equation ends at −200 and 850 °C."""
    with pytest.raises(ValueError, match="outside the equation's range"):
        ohms_from_celsius(celsius)


@pytest.mark.parametrize("zero_ohms", [0.0, -100.0, float("nan")])
def test_element_without_a_resistance_is_refused(zero_ohms: float) -> None:
    """An element has a positive resistance at 0 °C."""
    with pytest.raises(ValueError, match="zero_ohms is"):
        celsius_from_ohms(100.0, zero_ohms=zero_ohms)


def test_ends_of_the_range_come_back() -> None:
    """Rounding does not push the ends of the range out of it."""
    assert celsius_from_ohms(ohms_from_celsius(-200.0)) == pytest.approx(-200.0, abs=1e-9)
    assert celsius_from_ohms(ohms_from_celsius(850.0)) == pytest.approx(850.0, abs=1e-9)
