"""A unit's habits: how its air rises and comes back by itself, as its defrosts do.

The fold keeps the latest rises that ended by themselves. Those among them that are alike, in
height and length, are its defrosts; no configuration need name them. A rise is held against
them before anybody is woken: it goes as they go while it is no longer, no higher and no slower
to fall than they were, with some play, and while it comes when one is due. What leaves that
envelope is no defrost, whatever it began as.

Two alike explain a rise, three are told to people. A failure that passed by itself is one rise
among many and widens nothing: the envelope is that of all but the longest.

``step(state, at_ms, air_c) -> state``, plain and serialisable, in event time. One reading in five
minutes is enough, on a fixed grid, so that a fold begun later comes to the same and a week is
folded in no time. A rise is told from the swing of the compressor by the quietest three hours
of the last day: where defrosts come often, the usual band (``rules.usual``) holds them too.

Habits are of one level of cold: when it moves, what was learned at another no longer counts.
Pure: no clock, no I/O. The thresholds are common practice without a published source, tried
on plants that they were not made beside (``benchmarks/trust.py``).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf
from statistics import median
from typing import Final, NamedTuple

from rimewatch.rules.usual import Departure, further
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, MS_PER_MINUTE

MOST_RISES: Final = 48
"""Beyond that the lower ones go first: a compressor's swing is no defrost."""
KEPT_MS: Final = 8 * MS_PER_DAY
"""What has not come for so long is no habit any more: a week of one defrost a day."""

SAMPLE_MS: Final = 5 * MS_PER_MINUTE
LEVEL_SAMPLES: Final = 36
"""Three hours tell the level of cold and how far the compressor swings about it."""
FEWEST_SAMPLES: Final = 6
SWING_SHARE: Final = 0.8
"""So much of them lies below the top of the swing."""
QUIET_MS: Final = 12 * MS_PER_H
"""The quietest swing of this and of as long a time before counts."""
ABOVE_C: Final = 0.6
"""Air so far above the swing rises."""
GIVEN_UP_MS: Final = 6 * MS_PER_H
"""Air that is out for so long has found another level."""

FEWEST: Final = 2
"""So many rises that are alike explain a third."""
FEWEST_TOLD: Final = 3
"""And so many are told of as a habit."""

SHORTEST_MS: Final = 5 * MS_PER_MINUTE
LONGEST_MS: Final = 75 * MS_PER_MINUTE
"""Air rises for that long in a defrost, seen by a probe that may stand in a bottle."""
LEAST_C: Final = 1.0
"""A lower rise is nothing that anybody would be told of."""
LONGEST_WHOLE_MS: Final = 5 * MS_PER_H
"""From the band and back: what took longer was trouble."""

ALIKE_C: Final = 1.5
ALIKE_SHARE: Final = 0.4
"""Rises are as high if they differ by less than that, or by less than this share."""
ALIKE_MS: Final = 15 * MS_PER_MINUTE
ALIKE_TIMES: Final = 1.6
"""As long if they differ by less than that, or by less than so many times."""
SAME_LEVEL_C: Final = 4.0
"""A habit was learned at about this usual temperature."""

PLAY_SHARE: Final = 0.25
PLAY_MS: Final = 5 * MS_PER_MINUTE
PLAY_C: Final = 1.0
FALLS_C: Final = 0.5
FALLS_SHARE: Final = 0.1
"""How much longer and higher than before a defrost may be, besides two readings' interval; and
how far the air must have fallen to have turned."""

SHORTEST_PERIOD_MS: Final = 90 * MS_PER_MINUTE
CLOCK_MS: Final = 15 * MS_PER_MINUTE
KEPT_SHARE: Final = 0.65
"""Defrosts keep to a clock if so many begin within a quarter of an hour of its hours, and at so
many of its hours there was one."""
DUE_MS: Final = 30 * MS_PER_MINUTE
"""A defrost by the clock comes within this time of its hour."""
LATELY: Final = 4
EARLY_SHARE: Final = 0.55
"""One by the compressor's hours comes no sooner than this share of the shortest time yet."""


class RiseSeen(NamedTuple):
    """A time of the air above its band that ended by itself."""

    left_ms: int
    peak_ms: int
    back_ms: int
    peak_c: float
    usual_c: float
    turned_ms: int = 0
    """When it was first seen to have turned after its peak; 0: not before it was back."""

    @property
    def lasting_ms(self) -> int:
        """How long it lasted before it was seen to have turned."""
        return (self.turned_ms or self.back_ms) - self.left_ms

    @property
    def height_c(self) -> float:
        """How far it rose above the middle of the band."""
        return self.peak_c - self.usual_c

    @property
    def rising_ms(self) -> int:
        """How long it rose, from leaving the band to its peak."""
        return self.peak_ms - self.left_ms


class HabitState(NamedTuple):
    """What the fold remembers."""

    rises: tuple[RiseSeen, ...] = ()
    """Such as a defrost could be, oldest first."""
    out: Departure | None = None
    """The rise that is under way."""
    sampled_ms: int = -SAMPLE_MS
    """When the last reading was taken in."""
    samples: tuple[float, ...] = ()
    """The latest of them, oldest first."""
    calm_ms: int = 0
    """When the air was last at its level or below."""
    half: int = 0
    """Which half day the swings below are of."""
    swing_c: float = inf
    before_c: float = inf
    """The quietest swing above the level in this half day, and in the one before."""
    over: RiseSeen | None = None
    """The last rise that ended, whatever it was."""
    turned_ms: int = 0
    """When the rise under way was first seen to have turned after its peak; 0: it has not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Defrosts:
    """What a unit's defrosts have been like."""

    starts_ms: tuple[int, ...]
    """When the air left its band in each, oldest first."""
    rising_ms: tuple[int, int]
    """Shortest and longest time from there to the peak."""
    whole_ms: int
    """Longest time from there to the band again."""
    peak_c: float
    """The air's highest temperature in them."""
    height_c: float
    """And how far that was above the band's middle."""
    usual_c: float
    envelope_ms: int
    envelope_turned_ms: int
    """From there until it was seen to have turned: a bottle of glycol stays long at its peak."""
    envelope_whole_ms: int
    envelope_c: float
    """The same without the one that was longest, or highest: what one odd rise does not widen."""
    every_ms: int | None
    """From one to the next by the clock; None: they keep no hours."""
    on_clock_ms: int
    """The last that kept to it."""
    soonest_ms: int
    """The shortest time from one to the next."""

    @property
    def told(self) -> bool:
        """Whether they are known well enough to be told, and can be defrosts."""
        return len(self.starts_ms) >= FEWEST_TOLD and self.apart_ms >= SHORTEST_PERIOD_MS

    @property
    def intervals_ms(self) -> tuple[int, ...]:
        """The times from one to the next, oldest first."""
        return tuple(b - a for a, b in pairwise(self.starts_ms))

    @property
    def apart_ms(self) -> float:
        """The usual time from one to the next."""
        return median(self.intervals_ms)

    @property
    def likeness(self) -> tuple[bool, float]:
        """How much they are like defrosts: those that are told, then the highest and most."""
        return self.told, self.height_c * len(self.starts_ms)


def ended(departure: Departure, turned_ms: int) -> RiseSeen:
    """Return what is remembered of a departure whose last reading is back in the band."""
    return RiseSeen(
        departure.left_ms,
        departure.peak_ms,
        departure.last_ms,
        departure.peak_c,
        departure.usual_c,
        turned_ms,
    )


def _has_turned(departure: Departure) -> bool:
    falls_c = max(FALLS_C, FALLS_SHARE * (departure.peak_c - departure.usual_c))
    return departure.peak_c - departure.last_c >= falls_c


def step(state: HabitState, at_ms: int, air_c: float) -> HabitState:
    """Take a reading of the air, later than those before."""
    if at_ms // SAMPLE_MS == state.sampled_ms // SAMPLE_MS:
        return state
    out = state.out
    if out is not None:
        if air_c > out.top_c and at_ms - out.left_ms < GIVEN_UP_MS:
            out = further(out, at_ms, air_c)
            turned_ms = 0 if out.peak_ms == at_ms else state.turned_ms
            if not turned_ms and _has_turned(out):
                turned_ms = at_ms
            return state._replace(out=out, sampled_ms=at_ms, turned_ms=turned_ms)
        if air_c > out.top_c:
            return state._replace(
                out=None, sampled_ms=at_ms, samples=(), calm_ms=at_ms, turned_ms=0
            )
        rise = ended(replace(out, last_ms=at_ms, last_c=air_c), state.turned_ms)
        state = with_rise(state, rise)._replace(out=None, over=rise, turned_ms=0)
    samples = (*state.samples[-(LEVEL_SAMPLES - 1) :], air_c)
    if len(samples) < FEWEST_SAMPLES:
        return state._replace(sampled_ms=at_ms, samples=samples, calm_ms=at_ms)
    ordered = sorted(state.samples) or [air_c]
    level_c = ordered[len(ordered) // 2]
    swing_c = ordered[int(SWING_SHARE * len(ordered))] - level_c
    half, now_c, before_c = state.half, state.swing_c, state.before_c
    if at_ms // QUIET_MS != half:
        half, now_c, before_c = at_ms // QUIET_MS, swing_c, now_c
    now_c = min(now_c, swing_c)
    top_c = level_c + min(now_c, before_c)
    if air_c > top_c + ABOVE_C:
        out = Departure(
            usual_c=level_c,
            top_c=top_c + ABOVE_C / 2.0,
            from_ms=state.calm_ms,
            left_ms=at_ms,
            peak_c=air_c,
            peak_ms=at_ms,
            last_ms=at_ms,
            last_c=air_c,
        )
        return state._replace(
            out=out, sampled_ms=at_ms, half=half, swing_c=now_c, before_c=before_c
        )
    calm_ms = at_ms if air_c <= level_c else state.calm_ms
    return HabitState(
        state.rises, None, at_ms, samples, calm_ms, half, now_c, before_c, state.over
    )  # fmt: skip


def fold(times_ms: Iterable[int], air_c: Iterable[float]) -> HabitState:
    """Fold readings in order of their time."""
    state = HabitState()
    for at_ms, value_c in zip(times_ms, air_c, strict=True):
        state = step(state, at_ms, value_c)
    return state


def with_rise(state: HabitState, rise: RiseSeen) -> HabitState:
    """Take a rise that has ended, later than those before; one no defrost could be is let go.

    >>> minute = 60_000
    >>> seen = with_rise(HabitState(), RiseSeen(0, 20 * minute, 35 * minute, 6.0, 1.0))
    >>> len(with_rise(seen, RiseSeen(50 * minute, 52 * minute, 55 * minute, 4.0, 1.0)).rises)
    1
    """
    kept = tuple(one for one in state.rises if rise.left_ms - one.left_ms <= KEPT_MS)
    could_be = (
        SHORTEST_MS <= rise.rising_ms <= LONGEST_MS
        and rise.height_c >= LEAST_C
        and rise.back_ms - rise.left_ms <= LONGEST_WHOLE_MS
    )
    if could_be:
        kept = (*kept, rise)
    if len(kept) > MOST_RISES:
        middle_c = sorted(one.height_c for one in kept)[len(kept) // 2]
        oldest = next(place for place, one in enumerate(kept) if one.height_c <= middle_c)
        kept = kept[:oldest] + kept[oldest + 1 :]
    return state if kept == state.rises else state._replace(rises=kept)


def ways_of(state: HabitState, fewest: int = FEWEST) -> tuple[Defrosts, ...]:
    """Return the ways in which a unit's air rises and comes back by itself.

    Those that are most like its defrosts first: the highest that come seldom enough.

    Args:
        state: What the fold remembers.
        fewest: So many rises that are alike make a way.
    """
    left = list(state.rises)
    found: list[Defrosts] = []
    while len(left) >= fewest:
        best: list[RiseSeen] = []
        for pivot in reversed(left):
            alike = [one for one in left if _alike(one, pivot)]
            # Of two sets as large the later pivot's: what has changed is what is now.
            if len(alike) > len(best):
                best = alike
        if len(best) < fewest:
            break
        found.append(_way(best))
        left = [one for one in left if one not in best]
    return tuple(sorted(found, key=lambda one: one.likeness, reverse=True))


def _way(best: Sequence[RiseSeen]) -> Defrosts:
    starts = [one.left_ms for one in best]
    apart = [b - a for a, b in pairwise(starts)]
    clock = _clock(starts)
    return Defrosts(
        starts_ms=tuple(starts),
        rising_ms=(min(one.rising_ms for one in best), max(one.rising_ms for one in best)),
        whole_ms=max(one.back_ms - one.left_ms for one in best),
        peak_c=max(one.peak_c for one in best),
        height_c=max(one.height_c for one in best),
        usual_c=median(one.usual_c for one in best),
        envelope_ms=round(_second([one.rising_ms for one in best])),
        envelope_turned_ms=round(_second([one.lasting_ms for one in best])),
        envelope_whole_ms=round(_second([one.back_ms - one.left_ms for one in best])),
        envelope_c=_second([one.height_c for one in best]),
        every_ms=None if clock is None else clock[0],
        on_clock_ms=starts[-1] if clock is None else clock[1],
        soonest_ms=min(apart, default=SHORTEST_PERIOD_MS),
    )


def _alike(one: RiseSeen, other: RiseSeen) -> bool:
    short, long = sorted((one.rising_ms, other.rising_ms))
    low, high = sorted((one.height_c, other.height_c))
    return (
        (long - short <= ALIKE_MS or long <= ALIKE_TIMES * short)
        and (high - low <= ALIKE_C or high - low <= ALIKE_SHARE * high)
        and abs(one.usual_c - other.usual_c) <= SAME_LEVEL_C
    )


def _second(values: Sequence[float]) -> float:
    """Return the second largest of two values and more; of one, that."""
    return sorted(values)[-2:][0]


def _clock(starts: Sequence[int]) -> tuple[int, int] | None:
    """Return period and last start of the clock that starts keep to, if they keep to one.

    Most of them keep to it, and at most of its hours there was one: the odd delivery looks like
    a defrost, and a few go unseen.
    """
    apart = {
        round((later - start) / SAMPLE_MS) * SAMPLE_MS
        for place, start in enumerate(starts)
        for later in starts[place + 1 : place + 4]
    }
    best: tuple[int, int, int] | None = None
    for period in sorted(one for one in apart if one >= SHORTEST_PERIOD_MS):
        for anchor in starts[-3:]:
            kept = [one for one in starts if _off(one - anchor, period) <= CLOCK_MS]
            hours = (kept[-1] - kept[0]) / period + 1.0
            if (
                len(kept) >= max(FEWEST_TOLD, KEPT_SHARE * len(starts))
                and len(kept) >= KEPT_SHARE * hours
                and (best is None or len(kept) > best[0])
            ):
                exact = (kept[-1] - kept[0]) / round(hours - 1.0)
                best = len(kept), round(exact), kept[-1]
    return None if best is None else best[1:]


def _off(since_ms: float, period_ms: float) -> float:
    """Return how far an instant is from the nearest hour of a clock."""
    return abs(since_ms - round(since_ms / period_ms) * period_ms)


def is_due(defrosts: Defrosts, at_ms: int) -> bool:
    """Whether a defrost may begin at an instant, by when they began before.

    Those that keep to a clock may drift from it: as long after the last one as lately will do.
    """
    since_ms = at_ms - defrosts.starts_ms[-1]
    if defrosts.every_ms is None:
        return since_ms >= EARLY_SHARE * defrosts.soonest_ms
    return _off(at_ms - defrosts.on_clock_ms, defrosts.every_ms) <= DUE_MS or any(
        abs(since_ms - apart_ms) <= DUE_MS for apart_ms in defrosts.intervals_ms[-LATELY:]
    )


def goes_alike(
    defrosts: Defrosts, departure: Departure, at_ms: int, *, every_ms: float = 0.0
) -> bool:
    """Whether a rise goes, so far, as this unit's defrosts go.

    Args:
        defrosts: What those were like.
        departure: How the air left its band.
        at_ms: The present instant.
        every_ms: The interval of the probe's readings.
    """
    play_ms = PLAY_MS + max(2.0 * every_ms, SAMPLE_MS)
    longest_ms = defrosts.envelope_ms * (1.0 + PLAY_SHARE) + play_ms
    highest_c = defrosts.envelope_c * (1.0 + PLAY_SHARE) + PLAY_C
    if (
        abs(departure.usual_c - defrosts.usual_c) > SAME_LEVEL_C
        or departure.peak_c - departure.usual_c > highest_c
        or departure.peak_ms - departure.left_ms > longest_ms
        or departure.again is not None
        or not is_due(defrosts, departure.left_ms)
    ):
        return False
    lasting_ms = at_ms - departure.left_ms
    if _has_turned(departure):
        return lasting_ms <= defrosts.envelope_whole_ms * (1.0 + PLAY_SHARE) + 2.0 * play_ms
    return lasting_ms <= max(longest_ms, defrosts.envelope_turned_ms * (1.0 + PLAY_SHARE) + play_ms)
