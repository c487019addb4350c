"""Fish behind an air probe: the first-order lag against closed forms and against scipy."""

import itertools
import random
from math import exp, log

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rimewatch.rules.channel import governing_curve
from rimewatch.rules.watch import ChannelSettings
from rimewatch.science import lag


@pytest.mark.parametrize(
    ("constants", "share"),
    # Published step response of a first-order system after n time constants.
    [(1, 0.6321), (2, 0.8647), (3, 0.9502), (4, 0.9817), (5, 0.9933)],
)
def test_lag_after_a_step_has_done_the_published_share_of_it(constants: int, share: float) -> None:
    """Fish at 0 °C put into air of 10 °C follows the text-book step response."""
    lag_s = 1200.0

    y = lag.value_at(0.0, 10.0, 10.0, constants * lag_s, lag_s, constants * lag_s)

    assert y == pytest.approx(10.0 * share, abs=6e-4)
    assert y == pytest.approx(10.0 * (1.0 - exp(-constants)), abs=1e-12)


def lumped_s(diameter_m: float, density: float, heat: float, film: float) -> float:
    """Return a small sphere's time constant ρ·c·(D/6)/h, in seconds."""
    return density * heat * diameter_m / 6.0 / film


def test_lag_of_a_thermocouple_bead_is_that_of_the_textbook() -> None:
    """Çengel, Heat and Mass Transfer, example 4-1: b 0.463 1/s, 99 % of the step in 10 s."""
    lag_s = lumped_s(0.001, 8500.0, 320.0, 210.0)

    assert 1.0 / lag_s == pytest.approx(0.463, abs=5e-4)
    assert lag.time_of(99.0, 0.0, 100.0, 100.0, 60.0, lag_s, 0.0, 60.0) == pytest.approx(
        9.94, abs=0.01
    )


def test_lag_of_a_junction_in_hot_gas_is_that_of_the_textbook() -> None:
    """Incropera et al., 6th ed., example 5.1 (from memory): 25 to 199 °C in 5.2 s."""
    lag_s = lumped_s(7.06e-4, 8500.0, 400.0, 400.0)

    assert lag_s == pytest.approx(1.0, abs=1e-3)
    assert lag.time_of(199.0, 25.0, 200.0, 200.0, 60.0, lag_s, 0.0, 60.0) == pytest.approx(
        5.2, abs=0.05
    )


def test_lag_reaches_ninety_percent_after_two_point_three_time_constants() -> None:
    """T90 = τ·ln 10."""
    lag_s = 600.0
    t90_s = lag.time_of(9.0, 0.0, 10.0, 10.0, 3600.0, lag_s, 0.0, 3600.0)

    assert t90_s == pytest.approx(lag_s * log(10.0), abs=1e-3)
    assert t90_s / lag_s == pytest.approx(2.303, abs=1e-3)


def test_lag_behind_a_long_ramp_trails_by_slope_times_time_constant() -> None:
    """With τ = 10 min and air rising 0.2 °C a minute, the fish trails by 2.0 °C."""
    lag_s, slope = 600.0, 0.2 / 60.0
    long_s = 20.0 * lag_s

    y = lag.value_at(0.0, 0.0, slope * long_s, long_s, lag_s, long_s)

    assert slope * long_s - y == pytest.approx(2.0, abs=1e-7)


def test_lag_of_the_contract_formula_is_met_to_the_last_digits() -> None:
    """y1 = b − sτ + (y0 − a + sτ)·exp(−h/τ), worked out by hand.

    a 2, b 8, h 60 s: s 0.1; τ 1200: sτ 120. y0 3:
    y1 = 8 − 120 + (3 − 2 + 120)·exp(−0.05) = −112 + 121·0.951229424500714 = 3.0987603646…
    """
    assert lag.value_at(3.0, 2.0, 8.0, 60.0, 1200.0, 60.0) == pytest.approx(
        3.0987603645864, abs=1e-10
    )


def test_lag_hides_most_of_a_short_square_pulse() -> None:
    """Five minutes at +8 °C lift fish of τ 20 min by 8·(1 − e^−0.25) = 1.77 °C."""
    assert lag.value_at(0.0, 8.0, 8.0, 300.0, 1200.0, 300.0) == pytest.approx(
        8.0 * (1.0 - exp(-0.25)), abs=1e-12
    )


def test_lag_of_zero_is_the_air_itself() -> None:
    """Without a lag the fish is the air, wherever it was before."""
    assert lag.value_at(99.0, 2.0, 8.0, 60.0, 0.0, 15.0) == 3.5
    assert lag.turning_point(99.0, 2.0, 8.0, 60.0, 0.0) is None


def test_lag_value_at_the_start_is_where_it_was() -> None:
    """The curve has no jump."""
    assert lag.value_at(3.25, 7.0, -4.0, 60.0, 900.0, 0.0) == pytest.approx(3.25, abs=1e-12)


def test_lag_cut_into_two_segments_is_the_lag_of_one() -> None:
    """A reading more on a straight line changes nothing."""
    for cut_s in (1.0, 17.0, 59.0):
        middle_c = 2.0 + 6.0 * cut_s / 60.0
        there = lag.value_at(4.0, 2.0, middle_c, cut_s, 700.0, cut_s)
        onward = lag.value_at(there, middle_c, 8.0, 60.0 - cut_s, 700.0, 60.0 - cut_s)

        assert onward == pytest.approx(lag.value_at(4.0, 2.0, 8.0, 60.0, 700.0, 60.0), abs=1e-11)


@pytest.mark.parametrize("seed", range(5))
def test_governing_curve_agrees_with_a_numerical_integration(seed: int) -> None:
    """τ·dy/dt = u − y, integrated by scipy over readings at unequal intervals."""
    rng = random.Random(seed)
    lag_s = rng.choice([60.0, 400.0, 1200.0, 7200.0])
    steps_s = [rng.choice([7.0, 30.0, 60.0, 179.0]) for _ in range(40)]
    times_s = list(itertools.accumulate(steps_s, initial=0.0))
    air = [rng.uniform(-3.0, 12.0) for _ in times_s]
    settings = ChannelSettings(lag_s=lag_s, stale_ms=180_000.0, watches=())

    curve = governing_curve(settings, [round(t * 1000) for t in times_s], air)

    y = air[0]
    expected = [y]
    for start_s, end_s, a, b in zip(times_s, times_s[1:], air, air[1:], strict=False):
        # Piece by piece: an integrator steps over the kinks of a broken line.
        solved = solve_ivp(
            lambda t, y, s=start_s, e=end_s, a=a, b=b: (
                (a + (b - a) * (t - s) / (e - s) - y) / lag_s
            ),
            (start_s, end_s),
            [y],
            rtol=1e-10,
            atol=1e-12,
        )
        y = float(solved.y[0, -1])
        expected.append(y)
    assert np.abs(np.array(curve) - np.array(expected)).max() < 1e-7


def test_governing_curve_restarts_at_the_warmer_after_a_gap() -> None:
    """Warm air after silence: the fish is taken as warm as it. Cold air: as warm as it was."""
    settings = ChannelSettings(lag_s=1200.0, stale_ms=180_000.0, watches=())
    times_ms = [0, 60_000, 1_000_000]

    into_warm = governing_curve(settings, times_ms, [2.0, 2.0, 9.0])
    into_cold = governing_curve(settings, times_ms, [6.0, 6.0, 1.0])

    assert into_warm.tolist() == [2.0, 2.0, 9.0]
    assert into_cold.tolist() == [6.0, 6.0, 6.0]


def test_governing_curve_runs_on_over_an_interval_as_long_as_the_stale_time() -> None:
    """Exactly the stale time is not yet a gap; a millisecond more is."""
    settings = ChannelSettings(lag_s=1200.0, stale_ms=180_000.0, watches=())

    exact = governing_curve(settings, [0, 180_000], [6.0, 1.0])
    longer = governing_curve(settings, [0, 180_001], [6.0, 1.0])

    # s −5/180, sτ −100/3: y1 = 1 + 100/3 + (6 − 6 − 100/3)·exp(−0.15)
    assert exact[1] == pytest.approx(1.0 + 100.0 / 3.0 * (1.0 - exp(-0.15)), abs=1e-12)
    assert longer[1] == 6.0


def test_turning_point_is_where_fish_and_air_meet() -> None:
    """The fish stops warming at the instant at which the air has fallen to it."""
    y0, a, b, h_s, lag_s = 4.0, 6.0, 2.0, 60.0, 600.0

    turn = lag.turning_point(y0, a, b, h_s, lag_s)

    assert turn is not None
    t_s, y = turn
    assert y == pytest.approx(a + (b - a) * t_s / h_s, abs=1e-9)
    grid = [lag.value_at(y0, a, b, h_s, lag_s, h_s * n / 6000) for n in range(6001)]
    assert max(grid) == pytest.approx(y, abs=1e-8)


@pytest.mark.parametrize(
    ("y0", "a", "b"), [(2.0, 2.0, 8.0), (5.0, 4.0, 2.0), (1.0, 3.0, 3.0), (3.0, 3.0, 3.0)]
)
def test_turning_point_is_absent_where_the_fish_keeps_its_direction(
    y0: float, a: float, b: float
) -> None:
    """Air that stays on one side of the fish does not turn it."""
    assert lag.turning_point(y0, a, b, 60.0, 600.0) is None


def test_time_of_a_level_is_exact_without_a_lag() -> None:
    """2 to 8 °C in a minute passes 5 °C after 30 s and 3.3 °C after 13 s."""
    assert lag.time_of(5.0, 2.0, 2.0, 8.0, 60.0, 0.0, 0.0, 60.0) == 30.0
    assert lag.time_of(3.3, 2.0, 2.0, 8.0, 60.0, 0.0, 0.0, 60.0) == pytest.approx(13.0)


def test_time_of_a_level_is_found_on_the_falling_side_as_well() -> None:
    """Fish at 10 °C in air of 0 °C passes 5 °C after τ·ln 2."""
    found_s = lag.time_of(5.0, 10.0, 0.0, 0.0, 1800.0, 600.0, 0.0, 1800.0)

    assert found_s == pytest.approx(600.0 * log(2.0), abs=1e-3)


@pytest.mark.parametrize("share", [1e-6, 0.3, 1.0 - 1e-6])
def test_time_of_a_level_is_found_right_beside_a_turn_as_well(share: float) -> None:
    """Where the curve hardly moves, a time is only as good as the temperature it stands for."""
    random_ = random.Random(7)
    for _ in range(100):
        lag_s, h_s = 10.0 ** random_.uniform(1.0, 5.0), 10.0 ** random_.uniform(0.5, 4.0)
        y0, a, b = (random_.uniform(-40.0, 30.0) for _ in range(3))
        turn = lag.turning_point(y0, a, b, h_s, lag_s)
        to_s = h_s if turn is None else turn[0]
        to_c = lag.value_at(y0, a, b, h_s, lag_s, to_s)
        level = y0 + share * (to_c - y0)

        found_s = lag.time_of(level, y0, a, b, h_s, lag_s, 0.0, to_s)

        assert 0.0 <= found_s <= to_s
        assert lag.value_at(y0, a, b, h_s, lag_s, found_s) == pytest.approx(level, abs=1e-5)
