"""Fish that is warmer than on any day before, and on its way to its limit.

The usual band (``rules.usual``) follows air that warms slowly, and a product probe hardly moves
before its fish is warm: neither is seen to leave its band in time. What the fish itself has been
on other days is the better measure there. The fold keeps its highest in every quarter of a day,
and the last half hour. Past the highest of them, and still rising so that its limit is near, it
does what no defrost, door or delivery of those days did.

A quarter in which the fish was past its limit is no measure of ordinary days, and is left out
after some days. Until then nothing is news: it may pass it in every defrost. What is under way
now is no measure either: the present quarter and the one before do not count.

``step(state, at_ms, fish_c) -> state``, plain and serialisable, one reading in five minutes on a
fixed grid. Pure: no clock, no I/O. The thresholds are our choice, tried on plants that they were
not made beside (``benchmarks/trust.py``).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import log
from typing import Final, NamedTuple

from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE, MS_PER_S

SAMPLE_MS: Final = 5 * MS_PER_MINUTE
QUARTER_MS: Final = 6 * MS_PER_H
MOST_QUARTERS: Final = 32
"""Eight days."""
FEWEST_QUARTERS: Final = 6
"""Less than a day and a half before says nothing of ordinary days."""
SPOILT_FOR: Final = 12
"""For so many quarters after the fish was past its limit nothing is news."""
UNDER_WAY: Final = 1
"""So many quarters before the present one may be of the same rise."""

RISES_FOR_MS: Final = 30 * MS_PER_MINUTE
ABOVE_C: Final = 0.3
ABOVE_SHARE: Final = 0.5
"""How far past the highest of the days before, at least and as a share of the way from there to
the limit: what ordinary work adds to its own highest is less."""
RISEN_C: Final = 0.2
"""How far it must have risen in that time."""
SOON_S: Final = 3600.0
"""Until its limit: what is further away is looked at again."""


class HighState(NamedTuple):
    """What the fold remembers."""

    quarters: tuple[tuple[int, float], ...] = ()
    """Number and highest temperature of past quarters of a day and the present, in order."""
    recent: tuple[tuple[int, float], ...] = ()
    """The readings of the last half hour, in order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewHigh:
    """Fish warmer than on the days before, and rising."""

    since_ms: int
    """From when the rise is counted."""
    record_c: float
    """The warmest that it was on those days."""
    left_s: float
    """Until its limit, if it goes on."""
    rate_c_per_h: float


def step(state: HighState, at_ms: int, fish_c: float) -> HighState:
    """Take a temperature of the fish, later than those before."""
    recent, quarters = state.recent, state.quarters
    if recent and at_ms // SAMPLE_MS == recent[-1][0] // SAMPLE_MS:
        return state
    number = at_ms // QUARTER_MS
    if quarters and quarters[-1][0] == number:
        highest_c = max(quarters[-1][1], fish_c)
        quarters = (*quarters[:-1], (number, highest_c))
    else:
        quarters = (*quarters[-(MOST_QUARTERS - 1) :], (number, fish_c))
    kept = tuple(one for one in recent if at_ms - one[0] <= RISES_FOR_MS + SAMPLE_MS)
    return HighState(quarters, (*kept, (at_ms, fish_c)))


def fold(times_ms: Iterable[int], fish_c: Iterable[float]) -> HighState:
    """Fold temperatures in order of their time."""
    state = HighState()
    for at_ms, value_c in zip(times_ms, fish_c, strict=True):
        state = step(state, at_ms, value_c)
    return state


def record_c(state: HighState, limit_c: float) -> float | None:
    """Return the warmest that the fish was on ordinary days; None: too few are known."""
    if not state.quarters:
        return None
    present = state.quarters[-1][0]
    known = [
        min(highest_c, limit_c)
        for number, highest_c in state.quarters
        if present - MOST_QUARTERS < number < present - UNDER_WAY
        and (highest_c <= limit_c or number >= present - SPOILT_FOR)
    ]
    return max(known) if len(known) >= FEWEST_QUARTERS else None


def find(state: HighState, *, limit_c: float, air_c: float, lag_s: float) -> NewHigh | None:
    """Return that the fish is warmer than on any day before and near its limit, if it is.

    Args:
        state: What the fold remembers.
        limit_c: The limit, °C.
        air_c: What was last measured; the fish itself where there is no lag.
        lag_s: How far the fish is behind it, s.
    """
    if not state.recent:
        return None
    (first_ms, first_c), (last_ms, last_c) = state.recent[0], state.recent[-1]
    risen_c = last_c - first_c
    if not first_ms < last_ms or last_c >= limit_c or risen_c < RISEN_C:
        return None
    if last_ms - first_ms < RISES_FOR_MS or any(value > last_c for _, value in state.recent):
        return None
    record = record_c(state, limit_c)
    if record is None or last_c < record + max(ABOVE_C, ABOVE_SHARE * (limit_c - record)):
        return None
    rate_c_per_s = risen_c / ((last_ms - first_ms) / MS_PER_S)
    left_s = (limit_c - last_c) / rate_c_per_s
    if lag_s > 0.0:
        # Behind its air the fish comes to its limit only where the air is beyond it.
        if air_c <= limit_c:
            return None
        left_s = max(left_s, -lag_s * log(1.0 - (limit_c - last_c) / (air_c - last_c)))
    if left_s > SOON_S:
        return None
    return NewHigh(
        since_ms=first_ms, record_c=record, left_s=left_s, rate_c_per_h=rate_c_per_s * 3600.0
    )
