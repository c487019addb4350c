"""Defrosts that grow longer, or come oftener, from week to week: a coil that ices up.

Frost takes longer to melt the more there is of it, and a timer that counts the compressor's hours
comes sooner where the compressor works more. The rises that a unit's habits keep (``rules.habits``)
show both: those of the last two days are held against those of the days before. It is told once,
on the morning on which it first shows, and wakes nobody.

Pure: no clock, no I/O. The thresholds are common practice without a published source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Final

from rimewatch.rules import habits
from rimewatch.rules.habits import HabitState, RiseSeen
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_MINUTE

LATELY_MS: Final = 2 * MS_PER_DAY
FEWEST: Final = 3
"""So many defrosts lately, and so many intervals before them, say something."""
LONGER_TIMES: Final = 1.25
LONGER_MS: Final = 8 * MS_PER_MINUTE
"""By so much, and by more than two samples of five minutes can differ."""
OFTENER_SHARE: Final = 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class Icing:
    """How a unit's defrosts have changed."""

    longer_ms: tuple[int, int] | None
    """How long its air rose in most of them, before and lately; None: no longer than before."""
    apart_ms: tuple[int, int] | None
    """How far apart most of them were, before and lately; None: no closer than before."""


def find(state: HabitState, to_ms: int) -> Icing | None:
    """Return how a unit's defrosts changed of late, as they were known at an instant.

    Args:
        state: The unit's habits, folded up to the instant or beyond.
        to_ms: The instant.
    """
    known = tuple(one for one in state.rises if one.back_ms <= to_ms)
    way = next((one for one in habits.ways_of(state._replace(rises=known)) if one.told), None)
    if way is None:
        return None
    starts = frozenset(way.starts_ms)
    # An iced coil's defrosts may have outgrown their way: as high and as seldom, only longer.
    of_way = [one for one in known if one.left_ms in starts]
    lowest_c = 0.6 * median(one.height_c for one in of_way)
    defrosts = [one for one in known if one.height_c >= lowest_c]
    before = [one for one in defrosts if one.left_ms < to_ms - LATELY_MS]
    lately = [one for one in defrosts if one.left_ms >= to_ms - LATELY_MS]
    if len(lately) < FEWEST or len(before) <= FEWEST:
        return None
    was_ms, is_ms = _rising_ms(before), _rising_ms(lately)
    longer = is_ms >= LONGER_TIMES * was_ms and is_ms - was_ms >= LONGER_MS
    was_apart_ms, apart_ms = _apart_ms(before), _apart_ms(lately)
    closer = apart_ms <= OFTENER_SHARE * was_apart_ms
    if not longer and not closer:
        return None
    return Icing(
        longer_ms=(was_ms, is_ms) if longer else None,
        apart_ms=(was_apart_ms, apart_ms) if closer else None,
    )


def news(state: HabitState, from_ms: int, to_ms: int) -> Icing | None:
    """Return what shows at the end of a time and did not show at its beginning."""
    found = find(state, to_ms)
    return found if found is not None and find(state, from_ms) is None else None


def _rising_ms(rises: Sequence[RiseSeen]) -> int:
    return round(median(one.rising_ms for one in rises))


def _apart_ms(rises: Sequence[RiseSeen]) -> int:
    return round(median(b.left_ms - a.left_ms for a, b in pairwise(rises)))
