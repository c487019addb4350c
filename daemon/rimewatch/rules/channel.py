"""The fold over one governing probe: lag, crossings, spells. The heart of the service.

``fold(settings, state, times, values) -> (state, spells)`` takes any number of
readings, in order of their own time, and gives the same result however they are
cut into calls. The live service calls it with one reading, a replay with a year.

While nothing is near a level (almost always) a reading costs a few additions: the
levels around the present temperature form a bracket, and inside it nothing can
happen. Only when the bracket is left are crossings found, exactly.

Pure: no clock, no I/O. Temperatures °C, instants milliseconds UTC.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import exp, inf

from rimewatch.rules.watch import (
    BreakReason,
    ChannelSettings,
    ChannelState,
    Spell,
    Watch,
    WatchKind,
)
from rimewatch.science import lag


def fold(
    settings: ChannelSettings,
    state: ChannelState,
    times_ms: Sequence[int],
    values_c: Sequence[float],
) -> tuple[ChannelState, list[Spell]]:
    """Carry a channel's state over further readings.

    Args:
        settings: Lag, stale time and levels; the same throughout a channel's life.
        state: The state so far; ``ChannelState()`` before the first reading.
        times_ms: Reading times, strictly increasing, all later than ``state.last_ms``.
        values_c: Measured temperatures, finite.

    Returns:
        The new state, and the spells that ended, in order of their end.
    """
    ended: list[Spell] = []
    if not times_ms:
        return state, ended
    lag_s, stale_ms = settings.lag_s, settings.stale_ms
    last_ms, a, y0 = state.last_ms, state.measured_c, state.governing_c
    spells = list(state.open) or [None] * len(settings.watches)
    start = 0
    if last_ms is None:
        last_ms, a = times_ms[0], values_c[0]
        y0 = a
        _begin(settings, spells, last_ms, y0)
        start = 1
    assert len(times_ms) == len(values_c), "a reading is a time and a value"

    low, high, due_ms = _bracket(settings, spells, y0)
    highest = y0  # since the spells last heard of it
    previous_h_s, decay = -1.0, 0.0
    for index in range(start, len(times_ms)):
        t_ms = times_ms[index]
        b = values_c[index]
        elapsed_ms = t_ms - last_ms
        assert elapsed_ms > 0, "readings must be in order here"
        if elapsed_ms > stale_ms:
            _raise_peaks(spells, highest)
            y1 = max(y0, b) if lag_s else b
            _cross_gap(settings, spells, ended, last_ms, t_ms, y0, y1)
            low, high, due_ms = _bracket(settings, spells, y1)
            highest = y1
        else:
            near = False
            if lag_s:
                h_s = elapsed_ms / 1000.0
                if h_s != previous_h_s:
                    previous_h_s, decay = h_s, exp(-h_s / lag_s)
                behind = (b - a) / h_s * lag_s
                y1 = b - behind + (y0 - a + behind) * decay
                before, after = a - y0, b - y1
                if before * after < 0.0:  # it turned in between
                    reach = (before - after if before > 0.0 else after - before) * h_s / lag_s
                    near = y1 + reach > high or y1 - reach <= low or y1 + reach > highest
            else:
                y1 = b
            if near or not low < y1 <= high or t_ms >= due_ms:
                _raise_peaks(spells, highest)
                stretches = _stretches(last_ms, t_ms, y0, a, b, y1, lag_s)
                _cross_segment(settings, spells, ended, stretches)
                low, high, due_ms = _bracket(settings, spells, y1)
                highest = y1
            elif y1 > highest:
                highest = y1
        last_ms, a, y0 = t_ms, b, y1
    _raise_peaks(spells, highest)
    return (
        ChannelState(last_ms=last_ms, measured_c=a, governing_c=y0, open=tuple(spells)),
        ended,
    )


def governing_curve(
    settings: ChannelSettings,
    times_ms: Sequence[int],
    values_c: Sequence[float],
    *,
    from_c: float | None = None,
) -> list[float]:
    """Return the governing temperature at each reading, by the same lag as :func:`fold`.

    Args:
        settings: As for :func:`fold`.
        times_ms: Reading times, strictly increasing.
        values_c: Measured temperatures.
        from_c: Governing temperature at the first reading; None: the reading itself.
    """
    if not settings.lag_s or not times_ms:
        return list(values_c)
    lag_s, stale_ms = settings.lag_s, settings.stale_ms
    y = values_c[0] if from_c is None else from_c
    curve = [y]
    last_ms, a = times_ms[0], values_c[0]
    for t_ms, b in zip(times_ms[1:], values_c[1:], strict=True):
        elapsed_ms = t_ms - last_ms
        if elapsed_ms > stale_ms:
            y = max(y, b)
        else:
            h_s = elapsed_ms / 1000.0
            behind = (b - a) / h_s * lag_s
            y = b - behind + (y - a + behind) * exp(-h_s / lag_s)
        curve.append(y)
        last_ms, a = t_ms, b
    return curve


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


def _sustain(spell: Spell, watch: Watch, at_ms: float) -> Spell:
    """Note the instant at which the on-delay was reached, once it has been."""
    if spell.sustained_ms is not None:
        return spell
    reached_ms = spell.start_ms + spell.gap_ms + watch.on_delay_ms
    return replace(spell, sustained_ms=reached_ms) if at_ms >= reached_ms else spell


def _bracket(
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
            spells[position] = replace(spell, peak_c=highest_c)


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
        spell = replace(spell, peak_c=stretch.to_c)
    if _is_cold(watch, stretch.to_c):
        closed_ms = stretch.when_ms(watch.close_below_c)
        return replace(_sustain(spell, watch, closed_ms), end_ms=closed_ms)
    return _sustain(spell, watch, stretch.end_ms)
