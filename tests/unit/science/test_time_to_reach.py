"""When a limit is reached, if nobody does anything."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rimewatch.science.approach import Approach, Candidate, fit_approach
from rimewatch.science.time_to_reach import TimeToReach, project_lagged, time_to_reach

Floats = NDArray[np.float64]
MINUTES = 60.0 * np.arange(60.0)


def air_of(ambient: float, tau: float, start: float, times: Floats = MINUTES) -> Floats:
    curve: Floats = ambient + (start - ambient) * np.exp(-times / tau)
    return curve


def fit(ambient: float, tau: float, start: float, *, noise: float = 0.02) -> Approach:
    return fit_approach(MINUTES, air_of(ambient, tau, start), noise_c=noise)


def test_air_reaches_a_limit_when_the_curve_does() -> None:
    """From 2 °C towards 22 °C with τ an hour: 12 °C after ln 2 hours."""
    reach = time_to_reach(fit(22.0, 3600.0, 2.0), 12.0, from_s=0.0)

    assert reach.earliest_s is not None
    assert reach.likely_s is not None
    assert reach.latest_s is not None
    assert reach.likely_s == pytest.approx(3600.0 * math.log(2.0), rel=2e-3)
    assert reach.earliest_s < reach.likely_s < reach.latest_s
    assert reach.chance == pytest.approx(1.0)


def test_time_counts_from_the_last_reading_unless_told_otherwise() -> None:
    """People ask how long there is left from now."""
    approach = fit(22.0, 3600.0, 2.0)

    now, then = time_to_reach(approach, 20.0), time_to_reach(approach, 20.0, from_s=0.0)

    assert now.likely_s is not None
    assert then.likely_s == pytest.approx(now.likely_s + MINUTES[-1], abs=0.1)


def test_limit_already_passed_is_reached_at_once() -> None:
    """No time is left."""
    reach = time_to_reach(fit(22.0, 3600.0, 2.0), 5.0)

    assert (reach.earliest_s, reach.likely_s, reach.latest_s) == (0.0, 0.0, 0.0)


def test_limit_above_the_room_is_never_reached() -> None:
    """Air seen for five hours to climb to 8 °C and stay there does not reach 12."""
    times = 60.0 * np.arange(300.0)
    settled = fit_approach(times, air_of(8.0, 1200.0, 2.0, times), noise_c=0.05)

    reach = time_to_reach(settled, 12.0)

    assert reach.earliest_s is None
    assert (reach.likely_s, reach.latest_s) == (None, None)
    assert reach.chance < 0.05


def test_limit_above_a_new_plateau_is_far_off_and_not_ruled_out() -> None:
    """After one hour nobody knows of a slow body behind the air; it is hours away."""
    reach = time_to_reach(fit(8.0, 1200.0, 2.0), 12.0)

    assert reach.likely_s is None
    assert reach.chance < 0.5
    assert reach.earliest_s is not None
    assert reach.earliest_s > 4 * 3600.0


def test_limit_close_to_where_it_settles_has_no_latest_time() -> None:
    """Where it may or may not be reached, the late end of the interval is open."""
    rng = np.random.default_rng(4)
    air = air_of(8.0, 1500.0, 2.0) + rng.normal(0.0, 0.3, len(MINUTES))
    approach = fit_approach(MINUTES, air, noise_c=0.3)

    reach = time_to_reach(approach, approach.ambient_c)

    assert reach.earliest_s is not None
    assert reach.latest_s is None
    assert 0.05 < reach.chance < 0.95


def test_early_rise_gives_an_early_end_and_leaves_the_late_end_open() -> None:
    """Eight minutes of a straight rise do not tell whether it stops below 15 °C."""
    rng = np.random.default_rng(9)
    times = MINUTES[:8]
    air = air_of(22.0, 5400.0, 2.0, times) + rng.normal(0.0, 0.1, len(times))

    reach = time_to_reach(fit_approach(times, air, noise_c=0.1), 15.0)

    assert reach.earliest_s is not None
    assert reach.earliest_s > 600.0
    assert reach.latest_s is None


def test_air_that_does_not_rise_is_given_no_time() -> None:
    """A steady case gets no countdown."""
    rng = np.random.default_rng(1)
    steady = fit_approach(MINUTES, 3.0 + rng.normal(0.0, 0.1, len(MINUTES)), noise_c=0.1)

    assert time_to_reach(steady, 5.0).earliest_s is None
    assert project_lagged(steady, fish_c=3.0, lag_s=1200.0, limit_c=5.0).earliest_s is None
    assert time_to_reach(steady, 5.0).chance < 0.05


def test_steady_air_above_the_limit_is_there_already() -> None:
    """Not rising does not mean not too warm."""
    rng = np.random.default_rng(1)
    warm = fit_approach(MINUTES, 9.0 + rng.normal(0.0, 0.1, len(MINUTES)), noise_c=0.1)

    assert time_to_reach(warm, 5.0).latest_s == 0.0


@pytest.mark.parametrize(
    ("tau", "lag"), [(3600.0, 1200.0), (1200.0, 3600.0), (1800.0, 1800.0), (1800.0, 1800.001)]
)
def test_fish_behind_the_air_agrees_with_the_solved_equation(tau: float, lag: float) -> None:
    """Y' = (air − y)/lag, solved numerically; also where lag and τ are the same."""
    approach = fit(20.0, tau, 2.0, noise=0.005)
    start_s = float(MINUTES[-1])

    def reached(_: float, y: Floats) -> float:
        return float(y[0]) - 7.0

    reached.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda t, y: (20.0 - 18.0 * np.exp(-(start_s + t) / tau) - y) / lag,
        (0.0, 1e5),
        [3.0],
        events=reached,
        rtol=1e-9,
        atol=1e-9,
        max_step=60.0,
    )

    reach = project_lagged(approach, fish_c=3.0, lag_s=lag, limit_c=7.0)

    assert reach.likely_s == pytest.approx(float(solved.t[-1]), rel=3e-3)


def test_fish_without_a_lag_is_the_air() -> None:
    """A bare probe in the air and fish of no mass are one."""
    approach = fit(20.0, 3600.0, 2.0)

    air = time_to_reach(approach, 15.0)
    bare = project_lagged(approach, fish_c=2.0, lag_s=0.0, limit_c=15.0)
    thin = project_lagged(
        approach, fish_c=float(air_of(20.0, 3600.0, 2.0)[-1]), lag_s=1.0, limit_c=15.0
    )

    assert bare == air
    assert thin.likely_s == pytest.approx(air.likely_s, abs=3.0)


def test_more_mass_gives_more_time() -> None:
    """A whole fish outlasts a fillet."""
    approach = fit(20.0, 3600.0, 2.0)

    times = [
        project_lagged(approach, fish_c=2.0, lag_s=lag, limit_c=5.0).likely_s
        for lag in (300.0, 1200.0, 3600.0)
    ]

    assert None not in times
    assert times == sorted(times, key=lambda seconds: seconds or 0.0)


def test_fish_already_warm_has_no_time_left() -> None:
    """At the limit the time is up, whatever the air does."""
    reach = project_lagged(fit(20.0, 3600.0, 2.0), fish_c=5.0, lag_s=1200.0, limit_c=5.0)

    assert (reach.earliest_s, reach.latest_s, reach.chance) == (0.0, 0.0, 1.0)


def test_doubt_about_the_fish_widens_the_interval() -> None:
    """Half a degree of doubt now is minutes of doubt later."""
    approach = fit(20.0, 3600.0, 2.0)

    def width(deviation: float) -> float:
        reach = project_lagged(
            approach, fish_c=2.0, lag_s=1800.0, limit_c=5.0, fish_deviation_c=deviation
        )
        assert reach.earliest_s is not None
        assert reach.latest_s is not None
        return reach.latest_s - reach.earliest_s

    assert width(0.5) > 3.0 * width(0.0)


def test_horizon_ends_the_question() -> None:
    """What comes after the horizon is "not within it"."""
    approach = fit(20.0, 3600.0, 2.0)

    reach = time_to_reach(approach, 19.0, from_s=0.0, horizon_s=3600.0)

    assert reach.earliest_s is None


@pytest.mark.parametrize(
    ("fish", "lag", "message"),
    [(3.0, -1.0, "lag_s is -1.0"), (3.0, math.inf, "lag_s is inf"), (math.nan, 1.0, "fish_c is")],
)
def test_projection_without_sense_is_refused(fish: float, lag: float, message: str) -> None:
    """With the name and the value of what makes none."""
    with pytest.raises(ValueError, match=message):
        project_lagged(fit(20.0, 3600.0, 2.0), fish_c=fish, lag_s=lag, limit_c=5.0)


def test_same_readings_give_the_same_answer() -> None:
    """No random numbers: a replay tells what the night told."""
    first, second = fit(20.0, 3600.0, 2.0), fit(20.0, 3600.0, 2.0)

    assert first == second
    answers: list[TimeToReach] = [time_to_reach(one, 12.0) for one in (first, second)]
    assert answers[0] == answers[1]


def test_ends_of_the_interval_are_one_chance_in_twenty_each() -> None:
    """Curves are drawn from the fit by the thousand: so many are beyond the limit at each end."""
    rng = np.random.default_rng(6)
    times = MINUTES[:40]
    approach = fit_approach(
        times, air_of(20.0, 3600.0, 2.0, times) + rng.normal(0.0, 0.15, 40), noise_c=0.15
    )
    reach = time_to_reach(approach, 14.0)
    assert reach.earliest_s is not None
    assert reach.likely_s is not None
    assert reach.latest_s is not None
    ends_s = np.array([reach.earliest_s, reach.likely_s, reach.latest_s]) + times[-1]

    beyond, draws = np.zeros(3), 20_000
    weights = np.array([one.weight for one in approach.candidates])
    for one, count in zip(
        approach.candidates, rng.multinomial(draws, weights / weights.sum()), strict=True
    ):
        mean = np.array([one.start_c, *one.rates_c_per_s])
        drawn = rng.multivariate_normal(mean, np.array(one.covariance).reshape(3, 3), count)
        by = [-tau * np.expm1(-ends_s / tau) for tau in one.tau_s]
        curves = drawn[:, :1] + drawn[:, 1:2] * by[0] + drawn[:, 2:] * by[1]
        beyond += (curves >= 14.0).sum(axis=0)

    assert beyond / draws == pytest.approx([0.05, 0.5, 0.95], abs=0.01)


@pytest.mark.parametrize("tau_s", [900.0, 1800.0, 1800.0 * (1.0 + 1e-10), 1801.0, 3600.0])
def test_fish_behind_one_known_curve_reaches_the_limit_when_the_closed_form_does(
    tau_s: float,
) -> None:
    """Air from 2 to 20 °C, fish half an hour behind it: also where both are equally slow."""
    lag_s = 1800.0
    known = Candidate(
        weight=1.0,
        tau_s=(tau_s, tau_s),
        start_c=2.0,
        rates_c_per_s=(18.0 / tau_s, 0.0),
        covariance=(0.0,) * 9,
    )
    approach = replace(fit(20.0, 1800.0, 2.0), candidates=(known,))

    def fish_c(t: float) -> float:
        if abs(tau_s / lag_s - 1.0) < 1e-6:
            return 20.0 - 17.0 * math.exp(-t / lag_s) - 18.0 * t / lag_s * math.exp(-t / lag_s)
        part = -18.0 * tau_s / (tau_s - lag_s)
        return 20.0 + part * math.exp(-t / tau_s) - (17.0 + part) * math.exp(-t / lag_s)

    reach = project_lagged(approach, fish_c=3.0, lag_s=lag_s, limit_c=7.0, from_s=approach.first_s)

    assert reach.likely_s == pytest.approx(brentq(lambda t: fish_c(t) - 7.0, 0.0, 1e4), abs=0.1)


def test_time_left_does_not_depend_on_where_the_clock_began() -> None:
    """A fit over readings of this week is asked in seconds of this week."""
    week_s = 7 * 86_400.0
    air = air_of(22.0, 3600.0, 2.0)
    here, later = (
        fit_approach(MINUTES + origin_s, air, noise_c=0.02) for origin_s in (0.0, week_s)
    )

    for one, other in (
        (time_to_reach(here, 20.0), time_to_reach(later, 20.0)),
        (
            time_to_reach(here, 12.0, from_s=600.0),
            time_to_reach(later, 12.0, from_s=week_s + 600.0),
        ),
        (
            project_lagged(here, fish_c=8.0, lag_s=1200.0, limit_c=14.0),
            project_lagged(later, fish_c=8.0, lag_s=1200.0, limit_c=14.0),
        ),
    ):
        assert one.likely_s is not None
        assert other.likely_s == pytest.approx(one.likely_s, abs=0.1)
