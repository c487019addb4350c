"""What holds for every rise and every freezer."""

import math
from functools import partial

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rimewatch.science.approach import fit_approach
from rimewatch.science.time_to_reach import TimeToReach, project_lagged, time_to_reach
from rimewatch.science.time_until_solid import time_until_solid_s

solid_s = partial(time_until_solid_s, centre_c=-35.0, initial_c=5.0)
"""Until solid as the Food Code's options have it, fish of 5 °C put in."""


def ends(reach: TimeToReach) -> list[float]:
    return [
        math.inf if end is None else end
        for end in (reach.earliest_s, reach.likely_s, reach.latest_s)
    ]


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.integers(6, 90),
    st.floats(5.0, 40.0),
    st.floats(300.0, 20_000.0),
    st.floats(0.0, 0.5),
    st.floats(0.1, 15.0),
)
def test_projection_of_any_rise_is_in_order(
    seed: int, readings: int, ambient: float, tau: float, noise: float, above: float
) -> None:
    """Early before likely before late; a warmer limit later; fish after its air."""
    rng = np.random.default_rng(seed)
    times = 60.0 * np.arange(float(readings))
    air = ambient - (ambient - 2.0) * np.exp(-times / tau) + rng.normal(0.0, noise, readings)
    fit = fit_approach(times, air, noise_c=max(noise, 0.02))
    limit = float(air[-1]) + above

    near, far = time_to_reach(fit, limit), time_to_reach(fit, limit + 1.0)
    fish = project_lagged(fit, fish_c=min(2.0, float(air[-1])), lag_s=1200.0, limit_c=limit)

    for reach in (near, far, fish):
        assert ends(reach) == sorted(ends(reach))
        assert 0.0 <= reach.chance <= 1.0 + 1e-9
    assert all(a <= b * (1 + 1e-5) + 1e-3 for a, b in zip(ends(near), ends(far), strict=True))
    if fit.rising and fit.start_c <= limit:
        assert all(a <= b * (1 + 1e-5) + 1e-3 for a, b in zip(ends(near), ends(fish), strict=True))


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.lists(st.floats(-90.0, 60.0), min_size=6, max_size=40),
)
def test_any_readings_at_all_can_be_fitted(seed: int, celsius: list[float]) -> None:
    """Jumps, spikes, steady lines: finite figures and no warning, whatever comes."""
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.uniform(1.0, 600.0, len(celsius)))

    fit = fit_approach(times, celsius, noise_c=0.1)

    figures = [fit.ambient_c, *fit.ambient_interval_c, fit.tau_s, fit.start_c, fit.rms_c]
    assert all(math.isfinite(figure) for figure in figures)
    assert ends(time_to_reach(fit, 5.0)) == sorted(ends(time_to_reach(fit, 5.0)))


@given(st.floats(5.0, 250.0), st.floats(1.0, 40.0), st.floats(-90.0, -37.0), st.floats(0.0, 30.0))
def test_thicker_fish_or_warmer_air_is_never_solid_sooner(
    thickness_mm: float, thicker_mm: float, air_c: float, warmer_c: float
) -> None:
    """The estimate moves the right way everywhere, not only where it was checked."""
    plain = solid_s(thickness_mm, air_c)
    thicker = solid_s(thickness_mm + thicker_mm, air_c)
    warmer = solid_s(thickness_mm, air_c + warmer_c)

    assert plain is not None
    assert thicker is not None
    assert plain < thicker
    assert warmer is None or warmer >= plain
