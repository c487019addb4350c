"""A probe in an ice bath: accept 0 ± 1 °C (FDA Food Code 2022, 4-203.11; practice)."""

import numpy as np
import pytest

from rimewatch.science.ice_point import IcePointState, check_ice_point

EVERY_10_S = [10_000 * n for n in range(31)]


def settling(offset_c: float, start_c: float = 20.0, tau_s: float = 20.0) -> list[float]:
    """A probe put into ice water: an exponential fall to 0 °C, read with an offset."""
    return [start_c * np.exp(-t / 1000.0 / tau_s) + offset_c for t in EVERY_10_S]


@pytest.mark.parametrize(
    ("offset", "state"),
    [
        (0.0, IcePointState.ACCEPTED),
        (0.9, IcePointState.ACCEPTED),
        (-0.9, IcePointState.ACCEPTED),
        (1.1, IcePointState.REJECTED),
        (-1.1, IcePointState.REJECTED),
    ],
)
def test_settled_probe_is_judged_and_its_offset_proposed(
    offset: float, state: IcePointState
) -> None:
    """What a settled probe is off by, it is told to add the other way."""
    check = check_ice_point(EVERY_10_S, settling(offset))

    assert check.state is state
    assert check.offset_c == pytest.approx(-offset, abs=0.02)
    assert check.readings == 19  # the last three minutes alone


def test_exactly_one_degree_off_is_accepted() -> None:
    """The limit itself is within it."""
    check = check_ice_point(EVERY_10_S, [1.0] * 31)

    assert check.state is IcePointState.ACCEPTED
    assert (check.mean_c, check.spread_c, check.slope_c_per_min) == (1.0, 0.0, 0.0)


def test_probe_that_still_falls_is_not_judged() -> None:
    """A slow probe read too early would get a wrong offset for good."""
    check = check_ice_point(EVERY_10_S, settling(0.0, tau_s=90.0))

    assert check.state is IcePointState.UNSETTLED
    assert check.offset_c is None
    assert check.slope_c_per_min is not None
    assert check.slope_c_per_min < 0.0


def test_slow_trend_with_a_small_spread_is_not_settled() -> None:
    """0.06 °C a minute over three minutes stays inside the spread and is a trend."""
    values = [0.5 - 0.06 * t / 60_000.0 for t in EVERY_10_S]

    check = check_ice_point(EVERY_10_S, values)

    assert check.spread_c == pytest.approx(0.18)
    assert check.slope_c_per_min == pytest.approx(-0.06)
    assert check.state is IcePointState.UNSETTLED


def test_stirred_bath_with_jumps_is_not_settled() -> None:
    """A probe that touches the wall jumps about."""
    values = [0.3 * (-1) ** n for n in range(31)]

    assert check_ice_point(EVERY_10_S, values).state is IcePointState.UNSETTLED


@pytest.mark.parametrize(
    ("times", "values"),
    [
        ([], []),
        ([0, 60_000], [0.0, 0.0]),
        ([0, 1000, 2000], [0.0, 0.0, 0.0]),
        ([0, 60_000, 120_000], [0.0, float("nan"), 0.0]),
    ],
)
def test_too_little_to_judge_gives_no_figures(times: list[int], values: list[float]) -> None:
    """Three readings in two seconds have not settled; they have only begun."""
    check = check_ice_point(times, values)

    assert check.state is IcePointState.TOO_FEW
    assert check.offset_c is None
    assert check.mean_c is None


@pytest.mark.parametrize(
    ("times", "values", "message"),
    [([0, 1], [0.0], "one length"), ([1, 1], [0.0, 0.0], "does not increase")],
)
def test_readings_that_make_no_curve_are_refused(
    times: list[int], values: list[float], message: str
) -> None:
    """Two readings of one time are a mistake of the caller."""
    with pytest.raises(ValueError, match=message):
        check_ice_point(times, values)


def test_readings_a_millisecond_apart_are_two_readings() -> None:
    """A gateway may send what it kept in one breath."""
    check = check_ice_point([0, 1, *EVERY_10_S[1:]], [0.2] * 32)

    assert check.state is IcePointState.ACCEPTED


def test_three_readings_over_half_the_window_are_enough() -> None:
    """A probe that speaks once in 45 s is judged as well: 90 s of the last three minutes."""
    assert check_ice_point([0, 45_000, 90_000], [0.1] * 3).state is IcePointState.ACCEPTED
    assert check_ice_point([0, 45_000, 89_999], [0.1] * 3).state is IcePointState.TOO_FEW
    assert check_ice_point([0, 90_000], [0.1] * 2).state is IcePointState.TOO_FEW
