"""The short way over calm readings leaves a channel exactly as the fold does."""

import random

import pytest

from rimewatch.rules import calm
from rimewatch.rules.channel import fold
from rimewatch.rules.watch import ChannelSettings, ChannelState, Spell, Watch, WatchKind

STALE_MS = 5 * 60_000


def watch(name: str, kind: WatchKind, open_c: float, close_c: float, delay_ms: float = 0) -> Watch:
    """Return a watch."""
    return Watch(
        name=name,
        kind=kind,
        open_above_c=open_c,
        close_below_c=close_c,
        on_delay_ms=delay_ms,
    )


WATCHES = (
    watch("holding", WatchKind.EXCURSION, 5.0, 4.5, 300_000),
    watch("operating-limit", WatchKind.EXCURSION, 3.0, 2.5, 300_000),
    watch("hold:-20", WatchKind.HOLD, -20.3, -20.3),
)


def readings(rng: random.Random, count: int) -> list[tuple[int, float]]:
    """Return a channel's readings about one of the levels: calm, noisy, warm, with gaps."""
    at_ms, celsius = 0, rng.choice([2.0, 4.9, -20.3, 2.5])
    drift_c = rng.choice([0.0, 0.02, 0.3])
    found = []
    for _ in range(count):
        at_ms += rng.choice([60_000] * 20 + [1, 59_999, STALE_MS, STALE_MS + 1, 3_600_000])
        celsius += rng.choice([0.0, drift_c, -drift_c]) + rng.choice([0.0] * 30 + [6.0, -6.0])
        found.append((at_ms, round(celsius, 3)))
    return found


@pytest.mark.parametrize("lag_s", [0.0, 600.0])
@pytest.mark.parametrize("seed", range(20))
def test_calm_readings_leave_the_state_of_the_fold(seed: int, lag_s: float) -> None:
    """Which way a reading was taken shows nowhere, to the last bit."""
    settings = ChannelSettings(lag_s=lag_s, stale_ms=STALE_MS, watches=WATCHES)
    by_fold, by_calm = ChannelState(), ChannelState()
    ended: list[Spell] = []
    within, taken = calm.NEVER, 0
    for at_ms, value_c in readings(random.Random(seed), 400):
        by_fold, found = fold(settings, by_fold, [at_ms], [value_c])
        ended += found
        state = calm.step(settings, by_calm, within, at_ms, value_c)
        if state is None:
            by_calm, also_found = fold(settings, by_calm, [at_ms], [value_c])
            within = calm.calm_of(settings, by_calm)
            assert also_found == found
        else:
            assert found == []
            by_calm, taken = state, taken + 1
        assert by_calm == by_fold
    assert taken > 50, "else nothing was tried here"
    assert ended or by_fold.open != (None, None, None), "nor where something happens"
