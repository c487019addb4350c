"""A short way for a channel's readings at which nothing can happen: nearly all of them.

Worked out once after something did: between which temperatures, and until when, no spell
opens, ends or falls due. Within those a further reading only carries the lag on, and maybe a
peak up, by the same steps as ``rules.channel.fold``, so that the state is the same to the
last bit; at the first reading that is not within, the fold itself is asked.

Pure: no clock, no I/O. Temperatures °C, instants milliseconds UTC.
"""

from math import inf
from typing import Final, NamedTuple

from rimewatch.rules.channel import bracket
from rimewatch.rules.watch import ChannelSettings, ChannelState, raised
from rimewatch.science import lag_run


class Calm(NamedTuple):
    """While the governing temperature stays so, nothing happens."""

    above_c: float
    at_most_c: float
    before_ms: float
    peak_c: float = inf
    """Past this an open spell may have a new peak, and nothing else."""


NEVER: Final = Calm(-inf, inf, -inf)
"""Before the first reading."""


def calm_of(settings: ChannelSettings, state: ChannelState) -> Calm:
    """Return within what nothing happens to a channel, as it stands.

    It holds for as long as ``state.open`` does.
    """
    if state.lag is None:
        return NEVER
    low_c, high_c, due_ms = bracket(settings, state.open, state.lag.governing_c)
    peaks = (spell.peak_c for spell in state.open if spell is not None)
    return Calm(low_c, high_c, due_ms, min(peaks, default=inf))


def step(
    settings: ChannelSettings, state: ChannelState, calm: Calm, at_ms: int, value_c: float
) -> ChannelState | None:
    """Carry a channel over its next reading, if nothing happens; None: ask the fold.

    Args:
        settings: As for the fold.
        state: The state so far.
        calm: What :func:`calm_of` gave for it, or for an earlier one with the same spells.
        at_ms: The reading's time, later than the state's last.
        value_c: Measured temperature, finite.
    """
    before, lag_s = state.lag, settings.lag_s
    if before is None or at_ms >= calm.before_ms:
        return None
    elapsed_ms = at_ms - before.last_ms
    if elapsed_ms > settings.stale_ms:
        return None
    reach_c = 0.0
    if lag_s:
        after = lag_run.step(before, lag_s, at_ms, value_c)
        if before.deviation_c * after.deviation_c < 0.0:  # the curve turned in between
            apart_c = abs(before.deviation_c - after.deviation_c)
            reach_c = apart_c * elapsed_ms / 1000.0 / lag_s
    else:
        after = lag_run.begin(0.0, at_ms, value_c, value_c)
    governing_c = after.governing_c
    if governing_c + reach_c > calm.at_most_c or governing_c - reach_c <= calm.above_c:
        return None
    if governing_c + reach_c > calm.peak_c:
        if reach_c:
            return None  # the peak lies between the readings
        return ChannelState(after, raised(state.open, governing_c))
    return ChannelState(after, state.open)
