"""Mean kinetic temperature against worked examples, an integration, and pint's kelvins."""

import random
from math import exp, log

import numpy as np
import pint
import pytest
from scipy.integrate import quad

from rimewatch.science import kinetic, scales


def of_holds(holds: list[tuple[float, float]]) -> float:
    """Return the kinetic mean of stretches of one temperature each, as pairs of °C and length."""
    celsius = np.array([c for c, _ in holds])
    return kinetic.of_line(celsius, celsius, np.array([length for _, length in holds]))


@pytest.mark.parametrize(
    ("holds", "expected", "tolerance"),
    [
        # Published worked examples (hours at each temperature).
        ([(20.0, 2.0), (2.0, 4.0), (25.0, 1.0)], 15.7, 0.05),
        ([(24.0, 16.0), (26.0, 5.0), (28.0, 3.0), (21.0, 24.0)], 23.23, 0.005),
        # Worked out from the formula of USP 29 <1160>.
        ([(5.0, 23.0), (15.0, 1.0)], 5.764, 0.0005),
        ([(0.0, 23.0), (10.0, 1.0)], 0.782, 0.0005),
        ([(20.0, 1.0), (30.0, 1.0)], 26.260, 0.0005),
    ],
)
def test_kinetic_mean_of_a_worked_example_is_met(
    holds: list[tuple[float, float]], expected: float, tolerance: float
) -> None:
    """Worked examples, and values computed from the formula with ΔH/R = 10 000 K."""
    assert of_holds(holds) == pytest.approx(expected, abs=tolerance)


def test_kinetic_mean_is_above_the_weighted_mean_of_the_second_example() -> None:
    """(24·16 + 26·5 + 28·3 + 21·24)/48 = 22.96 °C; the kinetic mean must lie above it."""
    holds = [(24.0, 16.0), (26.0, 5.0), (28.0, 3.0), (21.0, 24.0)]
    plain = sum(c * h for c, h in holds) / 48.0

    assert plain == pytest.approx(22.96, abs=0.005)
    assert of_holds(holds) > plain


def test_kinetic_constant_is_ten_thousand_kelvin() -> None:
    """ΔH 83.144 kJ/mol over R 8.3144e-3 kJ/(K·mol), as USP 29 <1160> has it."""
    units: pint.UnitRegistry[float] = pint.UnitRegistry()
    heat = units.Quantity(83.144, "kJ/mol") / units.Quantity(8.3144e-3, "kJ/(K*mol)")

    constant_kelvin = float(kinetic.ACTIVATION_KELVIN)
    assert constant_kelvin == pytest.approx(heat.to("kelvin").magnitude, rel=1e-12)
    assert constant_kelvin == pytest.approx(10_000.0, rel=1e-4)


def test_kinetic_zero_celsius_agrees_with_a_units_library() -> None:
    """0 °C is 273.15 K; 41 °F is 5 °C."""
    units: pint.UnitRegistry[float] = pint.UnitRegistry()

    assert units.Quantity(0.0, "degC").to("kelvin").magnitude == scales.ZERO_CELSIUS_KELVIN
    assert units.Quantity(41.0, "degF").to("degC").magnitude == pytest.approx(5.0, abs=1e-9)


def test_kinetic_mean_of_one_temperature_is_that_temperature() -> None:
    """Nothing happens, nothing is added."""
    assert of_holds([(3.3, 7.0)]) == pytest.approx(3.3, abs=1e-9)
    level = np.array([3.3, 3.3])
    assert kinetic.of_line(level, level, np.array([60.0, 900.0])) == pytest.approx(3.3, abs=1e-9)


@pytest.mark.parametrize(
    ("start", "end"), [(2.0, 12.0), (12.0, 2.0), (2.0, 22.0), (-20.0, 20.0), (4.0, 4.0001)]
)
def test_kinetic_mean_of_a_steep_rise_agrees_with_an_integration(start: float, end: float) -> None:
    """A probe taken out of a freezer warms by 40 °C between two readings: still exact."""
    found = kinetic.of_line(np.array([start]), np.array([end]), np.array([60.0]))

    heat = 83.144 / 8.3144e-3
    mean, _ = quad(lambda x: exp(-heat / (start + (end - start) * x + 273.15)), 0.0, 1.0)
    assert found == pytest.approx(-heat / log(mean) - 273.15, abs=1e-5)


@pytest.mark.parametrize("seed", range(4))
def test_kinetic_mean_of_a_broken_line_agrees_with_an_integration(seed: int) -> None:
    """Unequal intervals, steps up to 3 °C between two readings: as scipy has it."""
    rng = random.Random(seed)
    curve = [2.0]
    for _ in range(30):
        curve.append(curve[-1] + rng.uniform(-3.0, 3.0))
    lengths = [rng.choice([1.0, 60.0, 170.0]) for _ in range(30)]
    starts, ends = np.array(curve[:-1]), np.array(curve[1:])

    found = kinetic.of_line(starts, ends, np.array(lengths))

    heat = 83.144 / 8.3144e-3
    total = 0.0
    for start, end, length in zip(starts, ends, lengths, strict=True):
        area, _ = quad(lambda x, s=start, e=end: exp(-heat / (s + (e - s) * x + 273.15)), 0.0, 1.0)
        total += area * length
    expected = -heat / log(total / sum(lengths)) - 273.15
    assert found == pytest.approx(expected, abs=1e-7)


def test_kinetic_mean_lies_between_mean_and_maximum() -> None:
    """Warm spells weigh more than cold ones, and never more than themselves."""
    rng = random.Random(7)
    for _ in range(50):
        holds = [(rng.uniform(-25.0, 25.0), rng.uniform(0.1, 9.0)) for _ in range(6)]
        plain = sum(c * h for c, h in holds) / sum(h for _, h in holds)

        assert plain - 1e-9 <= of_holds(holds) <= max(c for c, _ in holds) + 1e-9


def test_kinetic_mean_of_no_time_is_refused() -> None:
    """A mean of nothing is an error, not zero."""
    nothing = np.array([])

    with pytest.raises(ValueError, match="a mean needs some"):
        of_holds([])
    with pytest.raises(ValueError, match="a mean needs some"):
        kinetic.of_line(nothing, nothing, nothing)
