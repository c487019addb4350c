"""The lag of fish behind air is measured where both are, and with its uncertainty."""

import numpy as np
import pytest
from scipy.signal import lfilter

from rimewatch.science.lag_measured import LagMeasured, measure_lag

MINUTE = 60_000
NOTHING = float("inf")


def stretch(
    lag_min: float, hours: float = 48.0, *, step_c: float = 0.1, offset_c: float = 0.3
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times, air with a defrost each six hours, and fish behind it (SciPy's filter)."""
    minutes = np.arange(0, round(hours * 60))
    air = 1.0 + 0.6 * np.sin(minutes / 5.0) + 6.0 * ((minutes % 360) < 30)
    decay = np.exp(-1.0 / lag_min)
    fish, _ = lfilter([1.0 - decay], [1.0, -decay], air, zi=[1.0 * decay])
    random = np.random.default_rng(1)
    seen = fish + offset_c + random.normal(0.0, 0.05, len(minutes))
    return (minutes * MINUTE).astype(np.int64), air, np.round(seen / step_c) * step_c


@pytest.mark.parametrize("lag_min", [10.0, 25.0, 60.0, 120.0])
def test_the_lag_is_found_within_its_interval(lag_min: float) -> None:
    """Whatever the two probes differ by, and whatever the fish's probe rounds to."""
    times, air, fish = stretch(lag_min)
    found = measure_lag(times, air, times, fish, stale_ms=NOTHING)

    assert found is not None
    low_s, high_s = found.interval_s
    assert low_s <= lag_min * 60.0 <= high_s
    assert found.lag_s == pytest.approx(lag_min * 60.0, rel=0.2)
    assert found.hours == pytest.approx(48.0, abs=0.1)


def test_fish_that_did_not_move_shows_no_lag() -> None:
    """Nothing is said of a quiet night."""
    minutes = np.arange(0, 600)
    times = (minutes * MINUTE).astype(np.int64)
    air = 1.0 + 0.2 * np.sin(minutes / 5.0)

    assert measure_lag(times, air, times, np.full(600, 1.2), stale_ms=NOTHING) is None


def test_too_few_readings_show_none() -> None:
    """An hour of readings a quarter apart is an anecdote."""
    times, air, fish = stretch(25.0)

    assert measure_lag(times[:40], air[:40], times[:40], fish[:40], stale_ms=NOTHING) is None


def test_a_guess_is_contradicted_only_well_outside_the_interval() -> None:
    """An hour measured, to within 50 and 70 min: 20 min is wrong, 40 may be."""
    found = LagMeasured(lag_s=3600.0, interval_s=(3000.0, 4200.0), hours=48.0, rms_c=0.1)

    assert found.contradicts(1200.0)
    assert not found.contradicts(2400.0)
    assert found.contradicts(7200.0)
