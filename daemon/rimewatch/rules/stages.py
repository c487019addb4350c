"""A channel whose settings change at instants: each reading is judged by those of its own time.

The line between two readings is cut at the change: what lies before is carried by the settings
of before, to the same instants and temperatures as if nothing had changed; then the levels are
those of after. The fish does not change with them: its temperature goes on from where it was.
What stood beyond a level that is gone, or lies elsewhere now, ends at the change; what is beyond
one that came begins there. A silence across a change is judged by the shorter of both stale times,
so that no change makes one whole that was broken.

Pure: no clock, no I/O. Temperatures °C, instants milliseconds UTC.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rimewatch.rules import channel
from rimewatch.rules.channel import Times, Values
from rimewatch.rules.watch import ChannelSettings, ChannelState, Spell
from rimewatch.science import lag_run

ALWAYS: Final = -inf


class Stage(NamedTuple):
    """How a channel is folded from an instant on."""

    from_ms: float
    settings: ChannelSettings


def place_at(stages: Sequence[Stage], at_ms: float) -> int:
    """Return which stage an instant belongs to; the first has no beginning.

    >>> place_at([Stage(ALWAYS, None), Stage(1000, None)], 999)
    0
    """
    return max(0, bisect_right(stages, at_ms, key=lambda stage: stage.from_ms) - 1)


def stages_until(stages: Sequence[Stage], at_ms: float | None) -> tuple[Stage, ...]:
    """Return the settings that had held by a reading's time."""
    last = 0 if at_ms is None else place_at(stages, at_ms)
    return tuple(stages[: last + 1])


def stage_at(stages: Sequence[Stage], at_ms: float | None) -> Stage:
    """Return the settings that a state is of, whose last reading is of an instant."""
    return stages[0 if at_ms is None else place_at(stages, at_ms)]


def shortest_stale_ms(stages: Sequence[Stage], from_ms: float, to_ms: float) -> float:
    """Return the shortest stale time that held within some time."""
    first, last = place_at(stages, from_ms), place_at(stages, to_ms)
    return min(stage.settings.stale_ms for stage in stages[first : last + 1])


def fold(
    stages: Sequence[Stage],
    state: ChannelState,
    times_ms: Times,
    values_c: Values,
    *,
    unseen_c: float = -inf,
) -> tuple[ChannelState, list[Spell]]:
    """Carry a channel's state over further readings; see :func:`rimewatch.rules.channel.fold`.

    Args:
        stages: The channel's settings over time, in order; at least one.
        state: The state so far: under the settings of its last reading's time.
        times_ms: Reading times, strictly increasing, all later than ``state.last_ms``.
        values_c: Measured temperatures, finite.
        unseen_c: As in ``rules.channel.fold``.
    """
    if len(stages) == 1:
        return channel.fold(stages[0].settings, state, times_ms, values_c, unseen_c=unseen_c)
    ended: list[Spell] = []
    times = np.asarray(times_ms, dtype=np.int64)
    values = np.asarray(values_c, dtype=np.float64)
    start = 0
    while start < len(times):
        settings = None
        if state.last_ms is not None:
            at_ms = int(times[start])
            state, settings = _turned(stages, state, at_ms, float(values[start]), ended, unseen_c)
            if state.last_ms == at_ms:  # a reading at the very instant of a change
                start += 1
                continue
        place = place_at(stages, int(times[start]))
        after_ms = stages[place + 1].from_ms if place + 1 < len(stages) else inf
        # Of the readings of this stage, the first may lie behind a silence judged otherwise.
        end = start + 1 if settings is not None else int(np.searchsorted(times, after_ms))
        state, found = channel.fold(
            settings or stages[place].settings,
            state,
            times[start:end],
            values[start:end],
            unseen_c=unseen_c,
        )
        ended.extend(found)
        start = end
    return state, ended


def _turned(
    stages: Sequence[Stage],
    state: ChannelState,
    at_ms: int,
    value_c: float,
    ended: list[Spell],
    unseen_c: float,
) -> tuple[ChannelState, ChannelSettings | None]:
    """Bring a state to the settings of its next reading, one change after the other.

    Returns:
        The state, and with what settings that reading is to be taken where these are none of a
        stage: those by which the silence before it is a gap.
    """
    assert state.last_ms is not None, "a channel that has not begun has nothing to turn"
    place, until = place_at(stages, state.last_ms), place_at(stages, at_ms)
    if place == until:
        return state, None
    last_ms = state.last_ms
    stale_ms = shortest_stale_ms(stages, last_ms, at_ms)
    is_gap = at_ms - last_ms > stale_ms
    first_c = state.measured_c
    while place < until:
        before, after = stages[place].settings, stages[place + 1]
        turn_ms = int(after.from_ms)
        if not is_gap and turn_ms > (state.last_ms or 0):
            share = (turn_ms - last_ms) / (at_ms - last_ms)
            between_c = value_c if turn_ms == at_ms else first_c + (value_c - first_c) * share
            state, found = channel.fold(before, state, [turn_ms], [between_c], unseen_c=unseen_c)
            ended.extend(found)
        state = turn(before, after.settings, state, turn_ms, ended, is_seen=not is_gap)
        place += 1
    if not is_gap:
        return state, None
    return state, replace(stages[until].settings, stale_ms=stale_ms)


def turn(
    before: ChannelSettings,
    after: ChannelSettings,
    state: ChannelState,
    at_ms: float,
    ended: list[Spell],
    *,
    is_seen: bool = True,
) -> ChannelState:
    """Return a state under other settings from an instant on.

    Args:
        before: The settings so far.
        after: Those from then on.
        state: The state under those of before.
        at_ms: The instant, at or after the last reading.
        ended: Grows by the spells that end with the change.
        is_seen: Whether the fish is known at the instant; else it lies in a silence, and what
            stands beyond which level is seen when the silence is over.
    """
    lag = state.lag
    if lag is None or before == after:
        return state
    if after.lag_s != before.lag_s:
        # Without a lag the fish is the air; with another one it is as warm as it was.
        lag = lag_run.begin(after.lag_s, lag.last_ms, lag.measured_c, lag.governing_c)
    open_before = {
        watch.name: spell for watch, spell in zip(before.watches, state.open, strict=True) if spell
    }
    spells: list[Spell | None] = []
    known_ms = at_ms if is_seen else float(lag.last_ms)
    for watch in after.watches:
        spell = open_before.pop(watch.name, None)
        if is_seen:
            spell = channel.under_another_level(watch, spell, lag.governing_c, at_ms)
        if spell is not None and spell.end_ms is not None:
            ended.append(spell)
            spell = None
        spells.append(spell)
    ended.extend(channel.ended_at(spell, known_ms) for spell in open_before.values())
    return ChannelState(lag, tuple(spells))


def governing_curve(
    stages: Sequence[Stage], times_ms: Times, values_c: Values
) -> NDArray[np.float64]:
    """Return the governing temperature at each reading, by the same lags as :func:`fold`.

    Args:
        stages: As for :func:`fold`.
        times_ms: Reading times, strictly increasing. The lag starts at the first. # (n,)
        values_c: Measured temperatures. # (n,)
    """
    if len(stages) == 1 or (
        len({stage.settings.lag_s for stage in stages}) == 1
        and len({stage.settings.stale_ms for stage in stages}) == 1
    ):
        return channel.governing_curve(stages[-1].settings, times_ms, values_c)
    bare = [stage._replace(settings=replace(stage.settings, watches=())) for stage in stages]
    state, ended = ChannelState(), list[Spell]()
    found = np.empty(len(times_ms))
    start = 0
    while start < len(times_ms):
        at_ms, value_c = int(times_ms[start]), float(values_c[start])
        settings = None
        if state.lag is not None:
            state, settings = _turned(bare, state, at_ms, value_c, ended, -inf)
            if state.last_ms == at_ms:
                found[start] = state.governing_c
                start += 1
                continue
        place = place_at(bare, at_ms)
        by = settings or bare[place].settings
        after_ms = bare[place + 1].from_ms if place + 1 < len(bare) else inf
        end = start + 1 if settings is not None else int(np.searchsorted(times_ms, after_ms))
        part = slice(start, end)
        times, values = np.asarray(times_ms[part]), np.asarray(values_c[part], dtype=np.float64)
        if state.lag is None:
            found[part] = channel.governing_curve(by, times, values)
            lag = lag_run.begin(by.lag_s, int(times[-1]), float(values[-1]), float(found[end - 1]))
        else:
            run = lag_run.run(state.lag, by.lag_s, by.stale_ms, times, values)
            found[part], lag = run.governing_c, run.end
        state = ChannelState(lag, ())
        start = end
    return found
