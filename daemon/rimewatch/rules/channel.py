"""The fold over one governing probe: lag, crossings, spells. The heart of the service.

``fold(settings, state, times, values) -> (state, spells)`` takes any number of
readings, in order of their own time, and gives the same result however they are
cut into calls, to the last bit. The live service calls it with one reading, a replay
with a year.

While nothing is near a level (almost always) a reading costs next to nothing: the
levels around the present temperature form a bracket, and inside it nothing can
happen. Only where the bracket is left are crossings found, exactly.

Pure: no clock, no I/O. Temperatures °C, instants milliseconds UTC.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.rules.watch import (
    BreakReason,
    ChannelSettings,
    ChannelState,
    Spell,
    Watch,
    WatchKind,
    with_peak,
)
from rimewatch.science import lag, lag_run
from rimewatch.science.lag_run import Lagging
from rimewatch.vocabulary import MS_PER_S

MANY: Final = 40
"""From so many readings on, arrays are faster than a loop."""

FIRST_LOOK: Final = 128
"""Readings looked at at once for the next event; doubled while none is found."""

Times = Sequence[int] | NDArray[np.int64]
Values = Sequence[float] | NDArray[np.float64]


def fold(
    settings: ChannelSettings,
    state: ChannelState,
    times_ms: Times,
    values_c: Values,
    *,
    unseen_c: float = -inf,
) -> tuple[ChannelState, list[Spell]]:
    """Carry a channel's state over further readings.

    Args:
        settings: Lag, stale time and levels; the same throughout a channel's life.
        state: The state so far; ``ChannelState()`` before the first reading.
        times_ms: Reading times, strictly increasing, all later than ``state.last_ms``.
        values_c: Measured temperatures, finite.
        unseen_c: How warm the air is supposed to have been in gaps (``lag_run.resume``).
            Without it nothing is supposed, as the figures of a ledger ask.

    Returns:
        The new state, and the spells that ended, in order of their end.
    """
    assert len(times_ms) == len(values_c), "a reading is a time and a value"
    ended: list[Spell] = []
    if not len(times_ms):
        return state, ended
    spells = list(state.open) or [None] * len(settings.watches)
    lagging = state.lag
    if lagging is None:
        at_ms, value_c = int(times_ms[0]), float(values_c[0])
        lagging = lag_run.begin(settings.lag_s, at_ms, value_c, value_c)
        _begin(settings, spells, at_ms, value_c)
        times_ms, values_c = times_ms[1:], values_c[1:]
    if len(times_ms) >= MANY:
        lagging = _fold_many(
            settings,
            lagging,
            spells,
            ended,
            np.asarray(times_ms, dtype=np.int64),
            np.asarray(values_c, dtype=np.float64),
            unseen_c,
        )
    else:
        for at_ms, value_c in zip(times_ms, values_c, strict=True):
            lagging = _fold_one(
                settings, lagging, spells, ended, int(at_ms), float(value_c), unseen_c
            )
    return ChannelState(lagging, tuple(spells)), ended


def _fold_one(
    settings: ChannelSettings,
    before: Lagging,
    spells: list[Spell | None],
    ended: list[Spell],
    at_ms: int,
    value_c: float,
    unseen_c: float,
) -> Lagging:
    elapsed_ms = at_ms - before.last_ms
    assert elapsed_ms > 0, "readings must be in order here"
    lag_s, y0 = settings.lag_s, before.governing_c
    if elapsed_ms > settings.stale_ms:
        after = lag_run.resume(before, lag_s, at_ms, value_c, unseen_c)
        _cross_gap(settings, spells, ended, before.last_ms, at_ms, y0, after.governing_c)
        return after
    reach_c = 0.0
    if lag_s:
        after = lag_run.step(before, lag_s, at_ms, value_c)
        h_s = elapsed_ms / MS_PER_S
        reach_c = lag_run.reach_beyond_c(-before.deviation_c, -after.deviation_c, h_s, lag_s)
    else:
        after = lag_run.begin(0.0, at_ms, value_c, value_c)
    y1 = after.governing_c
    low, high, due_ms = bracket(settings, spells, y0)
    if y1 + reach_c > high or y1 - reach_c <= low or at_ms >= due_ms:
        _cross_segment(
            settings,
            spells,
            ended,
            _stretches(before.last_ms, at_ms, y0, before.measured_c, value_c, y1, lag_s),
        )
    else:
        _raise_peaks(spells, _highest(before, at_ms, value_c, y1, reach_c, lag_s))
    return after


def _fold_many(
    settings: ChannelSettings,
    before: Lagging,
    spells: list[Spell | None],
    ended: list[Spell],
    times_ms: NDArray[np.int64],
    values_c: NDArray[np.float64],
    unseen_c: float,
) -> Lagging:
    """Do what :func:`_fold_one` does for each reading, looking only where something happens."""
    assert int(times_ms[0]) > before.last_ms, "readings must be in order here"
    assert bool((np.diff(times_ms) > 0).all()), "readings must be in order here"
    run = lag_run.run(before, settings.lag_s, settings.stale_ms, times_ms, values_c, unseen_c)
    upper, lower = run.governing_c + run.reach_c, run.governing_c - run.reach_c
    count = len(times_ms)
    position, look = 0, FIRST_LOOK
    y = before.governing_c
    low, high, due_ms = bracket(settings, spells, y)
    while position < count:
        stop = min(position + look, count)
        part = slice(position, stop)
        events = (upper[part] > high) | (lower[part] <= low) | run.is_gap[part]
        if due_ms != inf:
            events |= times_ms[part] >= due_ms
        first = int(events.argmax())
        found = bool(events[first])
        calm_to = position + first if found else stop
        if calm_to > position:
            calm = slice(position, calm_to)
            _raise_peaks(spells, _highest_of(before, settings.lag_s, run, times_ms, values_c, calm))
        if not found:
            position, look = stop, look * 2
            continue
        look = FIRST_LOOK
        at_ms, value_c, y1 = (
            int(times_ms[calm_to]),
            float(values_c[calm_to]),
            float(run.governing_c[calm_to]),
        )
        from_ms, from_c, y0 = _reading_before(before, run, times_ms, values_c, calm_to)
        if run.is_gap[calm_to]:
            _cross_gap(settings, spells, ended, from_ms, at_ms, y0, y1)
        else:
            _cross_segment(
                settings,
                spells,
                ended,
                _stretches(from_ms, at_ms, y0, from_c, value_c, y1, settings.lag_s),
            )
        low, high, due_ms = bracket(settings, spells, y1)
        position = calm_to + 1
    return run.end


def _reading_before(
    before: Lagging,
    run: lag_run.Run,
    times_ms: NDArray[np.int64],
    values_c: NDArray[np.float64],
    position: int,
) -> tuple[int, float, float]:
    """Return time, measured and governing temperature of the reading before one of a run."""
    if position == 0:
        return before.last_ms, before.measured_c, before.governing_c
    return (
        int(times_ms[position - 1]),
        float(values_c[position - 1]),
        float(run.governing_c[position - 1]),
    )


def _highest(
    before: Lagging, at_ms: int, value_c: float, y1: float, reach_c: float, lag_s: float
) -> float:
    """Return the highest temperature since the reading before, a turn in between included."""
    if reach_c:
        h_s = (at_ms - before.last_ms) / MS_PER_S
        turn = lag.turning_point(before.governing_c, before.measured_c, value_c, h_s, lag_s)
        if turn is not None and turn[1] > y1:
            return turn[1]
    return y1


def _highest_of(
    before: Lagging,
    lag_s: float,
    run: lag_run.Run,
    times_ms: NDArray[np.int64],
    values_c: NDArray[np.float64],
    calm: slice,
) -> float:
    """Return the highest temperature over readings between which nothing happened."""
    governing = run.governing_c[calm]
    highest_c = float(governing.max())
    reach = run.reach_c[calm]
    for place in np.flatnonzero(governing + reach > highest_c).tolist():
        position = calm.start + place
        if not reach[place]:
            continue
        from_ms, from_c, y0 = _reading_before(before, run, times_ms, values_c, position)
        h_s = (int(times_ms[position]) - from_ms) / MS_PER_S
        turn = lag.turning_point(y0, from_c, float(values_c[position]), h_s, lag_s)
        if turn is not None and turn[1] > highest_c:
            highest_c = turn[1]
    return highest_c


def governing_curve(
    settings: ChannelSettings, times_ms: Times, values_c: Values
) -> NDArray[np.float64]:
    """Return the governing temperature at each reading, by the same lag as :func:`fold`.

    Args:
        settings: As for :func:`fold`.
        times_ms: Reading times, strictly increasing. The lag starts at the first. # (n,)
        values_c: Measured temperatures. # (n,)
    """
    if not len(times_ms):
        return np.empty(0)
    first_c = float(values_c[0])
    start = lag_run.begin(settings.lag_s, int(times_ms[0]), first_c, first_c)
    if len(times_ms) == 1:
        return np.array([first_c])
    run = lag_run.run(
        start,
        settings.lag_s,
        settings.stale_ms,
        np.asarray(times_ms[1:], dtype=np.int64),
        np.asarray(values_c[1:], dtype=np.float64),
    )
    return np.concatenate(([first_c], run.governing_c))


def finish(state: ChannelState) -> list[Spell]:
    """Return the spells still open at a channel's last reading, as far as they are known.

    Their ``end_ms`` stays None; ``above`` runs up to the last reading.
    """
    return [_settled(spell, state.last_ms) for spell in state.open if spell is not None]


def _settled(spell: Spell, at_ms: float | None) -> Spell:
    if spell.above_since_ms is None or at_ms is None:
        return spell
    return replace(spell, above=(*spell.above, (spell.above_since_ms, at_ms)), above_since_ms=None)


def _new_spell(watch: Watch, start_ms: float, peak_c: float, reason: BreakReason) -> Spell:
    return Spell(
        watch=watch.name,
        start_ms=start_ms,
        end_ms=None,
        gap_ms=0.0,
        peak_c=peak_c,
        sustained_ms=None,
        reason=reason,
    )


def _begin(settings: ChannelSettings, spells: list[Spell | None], at_ms: int, y: float) -> None:
    """Open what is already beyond its level at the first reading ever."""
    for position, watch in enumerate(settings.watches):
        if y > watch.open_above_c:
            opened = _new_spell(watch, at_ms, y, BreakReason.WARM)
            opened = replace(opened, above_since_ms=float(at_ms))
            spells[position] = _sustain(opened, watch, at_ms)


def _is_cold(watch: Watch, y: float) -> bool:
    """Whether an open spell ends at this temperature.

    A hold is credited *at* its level (Food Code 3-402.11: "−20 °C or below"); an
    excursion must fall *below* limit less deadband.
    """
    if watch.kind is WatchKind.HOLD:
        return y <= watch.close_below_c
    return y < watch.close_below_c


def under_another_level(
    watch: Watch, spell: Spell | None, governing_c: float, at_ms: float
) -> Spell | None:
    """Return what is beyond a level that lies elsewhere from an instant on; None: nothing is.

    Args:
        watch: The level as it is from then on.
        spell: What was open under it as it was; None: nothing.
        governing_c: How warm the fish is at that instant.
        at_ms: The instant.

    Returns:
        With an end, where it is over with the change.
    """
    is_above = governing_c > watch.open_above_c
    if spell is None:
        if not is_above:
            return None
        spell = _new_spell(watch, at_ms, governing_c, BreakReason.WARM)
        return _sustain(replace(spell, above_since_ms=at_ms), watch, at_ms)
    if _is_cold(watch, governing_c):
        return ended_at(spell, at_ms)
    if is_above and spell.above_since_ms is None:
        spell = replace(spell, above_since_ms=at_ms)
    elif not is_above:
        spell = _settled(spell, at_ms)
    return _sustain(spell, watch, at_ms)


def ended_at(spell: Spell, at_ms: float) -> Spell:
    """Return a spell that is over at an instant, with its level."""
    return replace(_settled(spell, at_ms), end_ms=at_ms)


def _sustain(spell: Spell, watch: Watch, at_ms: float) -> Spell:
    """Note the instant at which the on-delay was reached, once it has been."""
    if spell.sustained_ms is not None:
        return spell
    reached_ms = spell.start_ms + spell.gap_ms + watch.on_delay_ms
    return replace(spell, sustained_ms=reached_ms) if at_ms >= reached_ms else spell


def bracket(
    settings: ChannelSettings, spells: Sequence[Spell | None], y: float
) -> tuple[float, float, float]:
    """Return (low, high, due): while low < y <= high and time < due, nothing happens."""
    low, high, due_ms = -inf, inf, inf
    for watch, spell in zip(settings.watches, spells, strict=True):
        if y > watch.open_above_c:
            low = max(low, watch.open_above_c)
        else:
            high = min(high, watch.open_above_c)
            if spell is not None:
                low = max(low, watch.close_below_c)
        if spell is not None and spell.sustained_ms is None:
            due_ms = min(due_ms, spell.start_ms + spell.gap_ms + watch.on_delay_ms)
    return low, high, due_ms


def _raise_peaks(spells: list[Spell | None], highest_c: float) -> None:
    for position, spell in enumerate(spells):
        if spell is not None and highest_c > spell.peak_c:
            spells[position] = with_peak(spell, highest_c)


def _cross_gap(
    settings: ChannelSettings,
    spells: list[Spell | None],
    ended: list[Spell],
    last_ms: int,
    t_ms: int,
    y0: float,
    y1: float,
) -> None:
    """Carry the spells over missing time: from the last reading to the first one after it."""
    for position, watch in enumerate(settings.watches):
        spell = spells[position]
        is_hold = watch.kind is WatchKind.HOLD
        if spell is None and is_hold:
            spell = _new_spell(watch, last_ms, y0, BreakReason.GAP)
        elif spell is not None:
            spell = _settled(spell, last_ms)
        if spell is None:
            if y1 > watch.open_above_c:
                spell = _new_spell(watch, t_ms, y1, BreakReason.WARM)
                spell = replace(spell, above_since_ms=float(t_ms))
                spell = _sustain(spell, watch, t_ms)
        elif _is_cold(watch, y1):
            # Fish that is cold on return was cold when last seen going; a hold, though,
            # is only proven cold from the return on.
            end_ms = t_ms if is_hold else last_ms
            peak_c = max(spell.peak_c, y1) if is_hold else spell.peak_c
            ended.append(replace(spell, end_ms=end_ms, peak_c=peak_c))
            spell = None
        else:
            spell = replace(
                spell,
                gap_ms=spell.gap_ms + t_ms - last_ms,
                peak_c=max(spell.peak_c, y1),
                above_since_ms=float(t_ms) if y1 > watch.open_above_c else None,
            )
        spells[position] = spell


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A monotone part of a segment: where it starts and ends, and how to find an instant in it."""

    origin_ms: int
    segment: tuple[float, float, float, float, float]
    """y0, a, b, length in seconds, lag in seconds: as :mod:`rimewatch.science.lag` takes them."""
    from_s: float
    from_c: float
    to_s: float
    to_c: float
    end_ms: float

    def when_ms(self, level: float) -> float:
        """Return when the curve passes a level that lies between the stretch's ends.

        A level at or beyond an end, by a touch or a rounding, gives that end's instant.
        """
        if not min(self.from_c, self.to_c) < level < max(self.from_c, self.to_c):
            return self.end_ms if level == self.to_c else self.origin_ms + 1000.0 * self.from_s
        y0, a, b, h_s, lag_s = self.segment
        crossing_s = lag.time_of(level, y0, a, b, h_s, lag_s, self.from_s, self.to_s)
        return self.origin_ms + 1000.0 * crossing_s


def _stretches(
    last_ms: int, t_ms: int, y0: float, a: float, b: float, y1: float, lag_s: float
) -> Iterator[_Stretch]:
    h_s = (t_ms - last_ms) / 1000.0
    segment = (y0, a, b, h_s, lag_s)
    turn = lag.turning_point(y0, a, b, h_s, lag_s)
    if turn is None:
        yield _Stretch(last_ms, segment, 0.0, y0, h_s, y1, float(t_ms))
        return
    turn_s, turn_c = turn
    yield _Stretch(last_ms, segment, 0.0, y0, turn_s, turn_c, last_ms + 1000.0 * turn_s)
    yield _Stretch(last_ms, segment, turn_s, turn_c, h_s, y1, float(t_ms))


def _cross_segment(
    settings: ChannelSettings,
    spells: list[Spell | None],
    ended: list[Spell],
    stretches: Iterator[_Stretch],
) -> None:
    """Open and close spells within one segment between two readings, at the exact instants."""
    closed_here: list[Spell] = []
    for stretch in stretches:
        for position, watch in enumerate(settings.watches):
            spell = _cross_stretch(watch, spells[position], stretch)
            if spell is not None and spell.end_ms is not None:
                closed_here.append(spell)
                spell = None
            spells[position] = spell
    ended.extend(sorted(closed_here, key=lambda spell: spell.end_ms or 0.0))


def _cross_stretch(watch: Watch, spell: Spell | None, stretch: _Stretch) -> Spell | None:
    """Carry one watch over one monotone stretch."""
    is_above = stretch.to_c > watch.open_above_c
    if spell is None:
        if not is_above:
            return None
        opened_ms = stretch.when_ms(watch.open_above_c)
        spell = _new_spell(watch, opened_ms, stretch.to_c, BreakReason.WARM)
        spell = replace(spell, above_since_ms=opened_ms)
    elif is_above and spell.above_since_ms is None:
        spell = replace(spell, above_since_ms=stretch.when_ms(watch.open_above_c))
    elif not is_above and spell.above_since_ms is not None:
        spell = _settled(spell, stretch.when_ms(watch.open_above_c))
    if stretch.to_c > spell.peak_c:
        spell = with_peak(spell, stretch.to_c)
    if _is_cold(watch, stretch.to_c):
        closed_ms = stretch.when_ms(watch.close_below_c)
        return replace(_sustain(spell, watch, closed_ms), end_ms=closed_ms)
    return _sustain(spell, watch, stretch.end_ms)
