"""Fitting a rise: right where the data are good, and honest where they are not."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import curve_fit

from rimewatch.science.approach import TAU_RANGE_S, fit_approach
from rimewatch.science.rise_models import (
    Rise,
    normal_cdf,
    pair_posterior,
    single_posterior,
    together,
)
from rimewatch.science.time_to_reach import TimeToReach, project_lagged, time_to_reach

Floats = NDArray[np.float64]
MINUTES = 60.0 * np.arange(120.0)


def rise(t: Floats, ambient: float, tau: float, start: float) -> Floats:
    curve: Floats = ambient + (start - ambient) * np.exp(-t / tau)
    return curve


def test_clean_curve_gives_back_what_made_it() -> None:
    """Without noise the ambient, τ and the start are found."""
    fit = fit_approach(MINUTES, rise(MINUTES, 22.0, 3000.0, 2.0), noise_c=0.01)

    assert fit.ambient_c == pytest.approx(22.0, abs=0.02)
    assert fit.tau_s == pytest.approx(3000.0, rel=0.002)
    assert fit.start_c == pytest.approx(2.0, abs=0.01)
    assert fit.rate_c_per_h == pytest.approx(
        20.0 / 3000.0 * math.exp(-MINUTES[-1] / 3000.0) * 3600.0, rel=0.01
    )
    assert fit.rising


@pytest.mark.parametrize("seed", range(8))
def test_one_exponential_agrees_with_a_general_least_squares(seed: int) -> None:
    """Where the data settle it, scipy's curve_fit finds the same, with the same doubt."""
    rng = np.random.default_rng(seed)
    noise = 0.15
    air = rise(MINUTES, 21.0, 1800.0, 1.0) + rng.normal(0.0, noise, len(MINUTES))
    given = Rise(
        since_s=MINUTES,
        celsius=air,
        weights=np.ones(len(MINUTES)),
        noise_c=noise,
        amplitude_c=40.0,
        tau_range_s=(60.0, 172_800.0),
    )

    found, share = together(single_posterior(given))
    best, cov = curve_fit(
        rise,
        MINUTES,
        air,
        p0=(20.0, 2000.0, 0.0),
        sigma=np.full(len(MINUTES), noise),
        absolute_sigma=True,
    )

    taus = found.tau[:, 0]
    tau = float(share @ taus)
    ambient = found.mean[:, 0] + found.mean[:, 1] * taus
    within = found.cov[:, 0, 0] + 2 * taus * found.cov[:, 0, 1] + taus**2 * found.cov[:, 1, 1]
    mean_ambient = float(share @ ambient)
    ambient_deviation = math.sqrt(float(share @ (within + (ambient - mean_ambient) ** 2)))
    deviations = np.sqrt(np.diag(cov))
    assert mean_ambient == pytest.approx(best[0], abs=0.35 * deviations[0])
    assert ambient_deviation == pytest.approx(deviations[0], rel=0.12)
    assert tau == pytest.approx(best[1], abs=0.35 * deviations[1])
    assert math.sqrt(float(share @ (taus - tau) ** 2)) == pytest.approx(deviations[1], rel=0.12)
    assert float(share @ found.mean[:, 0]) == pytest.approx(best[2], abs=0.35 * deviations[2])


@pytest.mark.parametrize("seed", range(4))
def test_two_exponentials_only_add_doubt_where_one_is_the_truth(seed: int) -> None:
    """The fit lies near scipy's single curve, and is no more certain than it."""
    rng = np.random.default_rng(seed)
    air = rise(MINUTES, 21.0, 1800.0, 1.0) + rng.normal(0.0, 0.15, len(MINUTES))

    fit = fit_approach(MINUTES, air, noise_c=0.15)
    best, cov = curve_fit(rise, MINUTES, air, p0=(20.0, 2000.0, 0.0))

    deviation = math.sqrt(float(cov[0, 0]))
    width = fit.ambient_interval_c[1] - fit.ambient_interval_c[0]
    assert fit.ambient_interval_c[0] <= best[0] <= fit.ambient_interval_c[1]
    assert width >= 0.9 * 2 * 1.645 * deviation
    assert fit.two_bodies < 0.9


def two_bodies(room: float, air_s: float, room_s: float, walls_s: float) -> Floats:
    """Air between a room and cold walls, by the exact solution; a value every minute."""
    matrix = np.array([[-1.0 / air_s - 1.0 / room_s, 1.0 / air_s], [1.0 / walls_s, -1.0 / walls_s]])
    rates, vectors = np.linalg.eig(matrix)
    parts = np.linalg.solve(vectors, np.full(2, 2.0 - room))
    decays = np.exp(np.outer(60.0 * np.arange(900.0), rates))
    air: Floats = room + decays @ (vectors[0] * parts)
    return air


@pytest.mark.parametrize("minutes", [15, 30, 60])
def test_air_that_waits_for_cold_walls_is_not_taken_to_have_settled(minutes: int) -> None:
    """Air jumps, then climbs slowly with the walls: the limit comes all the same.

    One exponential takes the jump for the whole and is late every time; with the second
    body at least three quarters of the intervals hold the truth over 120 failures.
    """
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(120):
        room = rng.uniform(17.0, 27.0)
        air = two_bodies(
            room, rng.uniform(300.0, 900.0), rng.uniform(600.0, 3000.0), rng.uniform(1800.0, 7200.0)
        )
        now = air[minutes - 1]
        limit = now + rng.uniform(0.15, 0.5) * (room - now)
        truth = 60.0 * (float(np.interp(limit, air, np.arange(900.0))) - (minutes - 1))
        seen = air[:minutes] + rng.normal(0.0, 0.1, minutes)

        fit = fit_approach(60.0 * np.arange(float(minutes)), seen, noise_c=0.1)

        held += holds(time_to_reach(fit, limit), truth)

    assert held >= 90


def test_second_body_is_recognised() -> None:
    """After an hour the readings say that something slower is behind the air."""
    fit = fit_approach(MINUTES[:60], two_bodies(22.0, 400.0, 1200.0, 5400.0)[:60], noise_c=0.05)

    assert fit.two_bodies > 0.99
    assert fit.ambient_interval_c[0] < 22.0 < fit.ambient_interval_c[1]


RUNS = 300


def holds(reach: TimeToReach, truth_s: float) -> bool:
    """Whether the interval holds the truth; an open late end holds whatever is later."""
    if reach.earliest_s is None:
        return False
    latest_s = math.inf if reach.latest_s is None else reach.latest_s
    return reach.earliest_s <= truth_s <= latest_s


@pytest.mark.parametrize(
    ("minutes", "every_min", "noise", "memory"),
    [(60, 1, 0.2, 0.0), (20, 1, 0.1, 0.0), (120, 5, 0.15, 0.4)],
    ids=["an hour", "twenty minutes", "errors that last"],
)
def test_ninety_per_cent_intervals_hold_what_they_promise(
    minutes: int, every_min: int, noise: float, memory: float
) -> None:
    """Over 300 invented failures at least 85 % of each interval hold the truth.

    Rooms of 15 to 28 °C, τ from a quarter of an hour to two hours; limits a fifth to
    four fifths of the way up; fish with a lag of half an hour.
    """
    rng = np.random.default_rng(20_260_302)
    times = 60.0 * np.arange(0.0, minutes, every_min)
    held = dict.fromkeys(("air", "fish", "ambient"), 0)
    for _ in range(RUNS):
        ambient, start = rng.uniform(15.0, 28.0), rng.uniform(-1.0, 4.0)
        tau = math.exp(rng.uniform(math.log(900.0), math.log(7200.0)))
        error = rng.normal(0.0, noise, len(times))
        for i in range(1, len(times)):
            error[i] = memory * error[i - 1] + math.sqrt(1.0 - memory**2) * error[i]
        fit = fit_approach(times, rise(times, ambient, tau, start) + error, noise_c=noise)
        now_c = float(rise(times[-1:], ambient, tau, start)[0])

        limit = now_c + rng.uniform(0.2, 0.8) * (ambient - now_c)
        truth = -tau * math.log((ambient - limit) / (ambient - now_c))
        reach = time_to_reach(fit, limit)
        held["air"] += holds(reach, truth)

        lag, grid = 1800.0, np.arange(0.0, 40_000.0, 5.0)
        part = (now_c - ambient) * tau / (tau - lag)
        fish = ambient + part * np.exp(-grid / tau)
        fish += (start - ambient - part) * np.exp(-grid / lag)
        truth = float(np.interp(start + 3.0, fish, grid))
        reach = project_lagged(fit, fish_c=start, lag_s=lag, limit_c=start + 3.0)
        held["fish"] += holds(reach, truth)

        held["ambient"] += fit.ambient_interval_c[0] <= ambient <= fit.ambient_interval_c[1]

    assert {name: count / RUNS for name, count in held.items() if count < 0.85 * RUNS} == {}


def test_intervals_are_not_so_wide_that_they_say_nothing() -> None:
    """An hour of a two-hour rise tells the time to halfway within a factor."""
    rng = np.random.default_rng(7)
    times = MINUTES[:60]
    air = rise(times, 20.0, 3600.0, 2.0) + rng.normal(0.0, 0.1, 60)

    reach = time_to_reach(fit_approach(times, air, noise_c=0.1), 15.0)

    truth = -3600.0 * math.log((20.0 - 15.0) / (20.0 - rise(times[-1:], 20.0, 3600.0, 2.0)[0]))
    assert reach.earliest_s is not None
    assert reach.latest_s is not None
    assert reach.latest_s - reach.earliest_s < 0.5 * truth


def test_spikes_do_not_move_the_fit() -> None:
    """Four readings of 85 °C and −40 °C among sixty: a bad wire, not a warm room."""
    rng = np.random.default_rng(3)
    times = MINUTES[:60]
    air = rise(times, 20.0, 2400.0, 2.0) + rng.normal(0.0, 0.1, 60)
    spiked = air.copy()
    spiked[[9, 20, 50, 55]] = [85.0, 85.0, -40.0, 30.0]

    clean, robust = (fit_approach(times, values, noise_c=0.1) for values in (air, spiked))

    doubt = clean.ambient_interval_c[1] - clean.ambient_interval_c[0]
    assert robust.ambient_c == pytest.approx(clean.ambient_c, abs=0.3 * doubt)
    assert robust.ambient_interval_c[0] < 20.0 < robust.ambient_interval_c[1]
    assert robust.rms_c < 0.2
    naive, _ = curve_fit(rise, times, spiked, p0=(20.0, 2400.0, 2.0))
    assert abs(naive[0] - 20.0) > 3.0 * abs(robust.ambient_c - 20.0)


def test_scatter_beyond_what_was_said_counts_as_noise() -> None:
    """A caller who trusts the probe too much does not get a narrow interval for it."""
    rng = np.random.default_rng(11)
    air = rise(MINUTES, 20.0, 2400.0, 2.0) + rng.normal(0.0, 0.5, len(MINUTES))

    fit = fit_approach(MINUTES, air, noise_c=0.01)

    assert fit.noise_c > 0.4
    assert fit.rms_c == pytest.approx(0.5, rel=0.2)


def test_errors_that_last_widen_the_interval() -> None:
    """Sixty readings that err together are worth fewer."""
    rng = np.random.default_rng(5)
    white = rng.normal(0.0, 0.2, len(MINUTES))
    slow = np.convolve(rng.normal(0.0, 0.2, len(MINUTES) + 7), np.ones(8) / math.sqrt(8), "valid")

    fits = [
        fit_approach(MINUTES, rise(MINUTES, 20.0, 2400.0, 2.0) + error, noise_c=0.2)
        for error in (white, slow)
    ]

    widths = [fit.ambient_interval_c[1] - fit.ambient_interval_c[0] for fit in fits]
    assert widths[1] > 1.5 * widths[0]


@pytest.mark.parametrize("slope", [0.0, -2.0])
def test_air_that_does_not_rise_is_not_rising(slope: float) -> None:
    """A steady or a falling case is no failure."""
    rng = np.random.default_rng(2)
    air = 3.0 + slope * MINUTES / 3600.0 + rng.normal(0.0, 0.1, len(MINUTES))

    assert not fit_approach(MINUTES, air, noise_c=0.1).rising


def test_origin_of_time_does_not_matter() -> None:
    """Seconds since the epoch or since the door: the same fit."""
    air = rise(MINUTES, 22.0, 3000.0, 2.0)

    here = fit_approach(MINUTES, air, noise_c=0.1)
    there = fit_approach(MINUTES + 1.7e9, air, noise_c=0.1)

    assert there.ambient_c == pytest.approx(here.ambient_c, abs=1e-5)
    assert there.first_s == 1.7e9
    assert time_to_reach(there, 20.0).likely_s == pytest.approx(
        time_to_reach(here, 20.0).likely_s, abs=0.1
    )


def test_weights_of_the_candidates_sum_to_one() -> None:
    """What is likely is shared out, no more and no less."""
    fit = fit_approach(MINUTES, rise(MINUTES, 22.0, 3000.0, 2.0), noise_c=0.1)

    assert sum(candidate.weight for candidate in fit.candidates) == pytest.approx(1.0)
    assert all(candidate.covariance[0] > 0.0 for candidate in fit.candidates)
    assert all(candidate.rates_c_per_s[1] >= 0.0 for candidate in fit.candidates)


@pytest.mark.parametrize(
    ("times", "celsius", "noise", "message"),
    [
        ([0, 1, 2, 3, 4], [1.0] * 5, 0.1, "needs at least 6"),
        ([0, 1, 2, 3, 4, 5], [1.0] * 5, 0.1, "one length"),
        ([0, 1, 2, 3, 4, 4], [1.0] * 6, 0.1, "does not increase"),
        ([0, 1, 2, 3, 4, 5], [1.0] * 5 + [math.nan], 0.1, "not finite"),
        ([0, 1, 2, 3, 4, 5], [1.0] * 6, 0.0, "noise_c is 0.0"),
        ([0, 1, 2, 3, 4, 5], [1.0] * 6, math.nan, "noise_c is nan"),
    ],
)
def test_readings_that_cannot_be_fitted_are_refused(
    times: list[float], celsius: list[float], noise: float, message: str
) -> None:
    """With what is wrong and what was expected."""
    with pytest.raises(ValueError, match=message):
        fit_approach(times, celsius, noise_c=noise)


@pytest.mark.parametrize(
    "tau_range", [(0.0, 100.0), (-1.0, 100.0), (100.0, 110.0), (100.0, 10.0), (60.0, math.inf)]
)
def test_range_of_tau_that_is_none_is_refused(tau_range: tuple[float, float]) -> None:
    """Two bodies need room for two time constants."""
    with pytest.raises(ValueError, match="tau_range_s is"):
        fit_approach(MINUTES, rise(MINUTES, 22.0, 3000.0, 2.0), noise_c=0.1, tau_range_s=tau_range)


def test_narrow_range_of_tau_is_kept_to() -> None:
    """A caller who knows the unit may say so."""
    fit = fit_approach(
        MINUTES, rise(MINUTES, 22.0, 3000.0, 2.0), noise_c=0.1, tau_range_s=(2000.0, 4000.0)
    )

    assert all(2000.0 * 0.999 <= t <= 4000.0 * 1.001 for c in fit.candidates for t in c.tau_s)
    assert fit.ambient_c == pytest.approx(22.0, abs=0.5)


def test_normal_distribution_agrees_with_scipys() -> None:
    """To the 7.5e-8 that Abramowitz & Stegun promise, tails included."""
    z = np.linspace(-12.0, 12.0, 4001)

    assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), abs=8e-8)
    assert (normal_cdf(z) >= 0.0).all()


def test_time_constant_lies_within_its_own_interval() -> None:
    """Half an hour of a noisy rise leaves it open on both sides."""
    rng = np.random.default_rng(8)
    times = MINUTES[:30]
    air = rise(times, 20.0, 2400.0, 2.0) + rng.normal(0.0, 0.2, 30)

    fit = fit_approach(times, air, noise_c=0.2)

    assert fit.tau_interval_s[0] < 0.9 * fit.tau_s
    assert fit.tau_interval_s[1] > 1.1 * fit.tau_s
    assert fit.ambient_interval_c[0] < fit.ambient_c < fit.ambient_interval_c[1]


def test_rate_is_that_of_all_candidates_at_the_last_reading_in_degrees_an_hour() -> None:
    """Rates decay with their time constants; an hour has 3,600 seconds."""
    fit = fit_approach(MINUTES, rise(MINUTES, 20.0, 2400.0, 2.0), noise_c=0.05)

    now_c_per_s = sum(
        one.weight * rate * math.exp(-(fit.last_s - fit.first_s) / tau)
        for one in fit.candidates
        for tau, rate in zip(one.tau_s, one.rates_c_per_s, strict=True)
    )

    assert fit.rate_c_per_h == pytest.approx(3600.0 * now_c_per_s, rel=1e-9)


def test_two_bodies_are_looked_for_more_finely_where_they_are_likely() -> None:
    """Ten minutes and three hours, seen without noise: the second look is nearer to both."""
    times = MINUTES[:180]
    air = 2.0 + 6.0 * -np.expm1(-times / 600.0) + 12.0 * -np.expm1(-times / 10_800.0)
    seen = Rise(
        since_s=times,
        celsius=air,
        weights=np.ones(len(times)),
        noise_c=0.01,
        amplitude_c=20.0,
        tau_range_s=TAU_RANGE_S,
    )

    off = []
    for refine in (False, True):
        found = pair_posterior(seen, refine=refine)
        best = found.tau[int(np.argmax(found.log_weight))]
        off.append(float(np.abs(np.log(best / [600.0, 10_800.0])).max()))

    assert off[1] < 0.02 < off[0]


def test_second_body_that_the_readings_speak_against_is_next_to_nothing() -> None:
    """Air that rose and then fell back slowly: no body behind it warms, whatever its time."""
    times = MINUTES[:180]
    air = 2.0 + 6.0 * -np.expm1(-times / 600.0) - 4.0 * -np.expm1(-times / 10_800.0)

    found = pair_posterior(
        Rise(
            since_s=times,
            celsius=air,
            weights=np.ones(len(times)),
            noise_c=0.8,
            amplitude_c=20.0,
            tau_range_s=TAU_RANGE_S,
        ),
        refine=False,
    )

    near = int(np.argmin(np.abs(np.log(found.tau / [600.0, 10_800.0])).max(axis=1)))
    climb_c = float(found.mean[near, 2] * found.tau[near, 1])
    doubt_c = float(np.sqrt(found.cov[near, 2, 2]) * found.tau[near, 1])
    assert 0.0 < climb_c < 0.3
    # Far in its tail a normal distribution falls as an exponential does: these two are equal there.
    assert 0.9 * climb_c < doubt_c < climb_c
