"""Crests that come and go alike, again and again: the swing of a sound unit.

A band that was learned in the trough of a swing is too narrow, and would stay so: the air leaves
it at every crest, and what is out of the band is not learned. Trouble does not come back in
the same way three times over; a compressor does. So three crests in a row, as high, as long
and as far apart as one another, lift the band's top to the lowest of them for as long as the
air comes back to it.

Pure: no clock, no I/O. The thresholds are common practice without a published source.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import inf
from typing import Final, NamedTuple

from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE

FEWEST: Final = 3
"""Two may be chance: a delivery and the one after it."""
MOST_APART_MS: Final = 2 * MS_PER_H
"""From one crest to the next: defrosts are three to six hours apart in most units."""
SLOW_SHARE: Final = 0.25
SLOWEST_MS: Final = 4 * MS_PER_H
"""So far apart where each crest lasts for this share of it: a defrost is shorter."""
SHORTEST_MS: Final = 8 * MS_PER_MINUTE
"""A shorter one is a door, or noise at the edge of the band, and no rule asks about it."""
ALIKE_C: Final = 0.5
ALIKE_SHARE: Final = 0.25
"""Crests are as high if they differ by less than that, or by less than this share of the rise."""
LENGTHS: Final = 2.0
"""They are as long if none is so many times as long as another."""
PERIODS: Final = 1.5
"""They are as far apart likewise."""
KEPT_MS: Final = SLOWEST_MS
"""The top is let down again when the air has not come near it for so long."""


class Crest(NamedTuple):
    """A time above the band that ended by itself."""

    left_ms: int
    back_ms: int
    peak_c: float


class Swing(NamedTuple):
    """The crests so far, and how high those of a swing were."""

    crests: tuple[Crest, ...] = ()
    """The latest ones, oldest first."""
    top_c: float = -inf
    """Below every band while no swing is known."""
    seen_ms: int = 0
    """When the air was last near that."""

    def lifted(self, top_c: float) -> float:
        """Return the top of a band that crests belong to."""
        return max(top_c, self.top_c)


def with_crest(swing: Swing, crest: Crest, usual_c: float) -> Swing:
    """Take a time above the band that has ended.

    >>> hour, swing = 3_600_000, Swing()
    >>> for n in range(3):
    ...     swing = with_crest(swing, Crest(n * hour, n * hour + hour // 2, 3.0 - n / 10), 0.0)
    >>> swing.top_c
    2.8
    """
    if crest.back_ms - crest.left_ms < SHORTEST_MS:
        return swing
    crests = (*swing.crests[-(FEWEST - 1) :], crest)
    if not _are_alike(crests, usual_c):
        return swing._replace(crests=crests)
    top_c = max(swing.top_c, min(one.peak_c for one in crests))
    return Swing(crests, top_c, crest.back_ms)


def with_piece(swing: Swing, peak_c: float, at_ms: int) -> Swing:
    """Take a piece of the air within its band: its peak, and when it ended."""
    if swing.top_c == -inf:
        return swing
    if peak_c >= swing.top_c - ALIKE_C:
        return swing._replace(seen_ms=at_ms)
    return swing if at_ms - swing.seen_ms <= KEPT_MS else Swing(swing.crests)


def _are_alike(crests: Sequence[Crest], usual_c: float) -> bool:
    if len(crests) < FEWEST:
        return False
    apart_ms = [b.left_ms - a.left_ms for a, b in pairwise(crests)]
    lasted_ms = [crest.back_ms - crest.left_ms for crest in crests]
    peaks = [crest.peak_c for crest in crests]
    return (
        max(apart_ms) <= max(MOST_APART_MS, min(min(lasted_ms) / SLOW_SHARE, SLOWEST_MS))
        and max(apart_ms) <= PERIODS * min(apart_ms)
        and max(lasted_ms) <= LENGTHS * min(lasted_ms)
        and max(peaks) - min(peaks) <= max(ALIKE_C, ALIKE_SHARE * (min(peaks) - usual_c))
    )
