"""Two sources on one topic: values that no single probe can have sent.

A second publisher (a stranger, or a twin with the same settings) shows as two levels in
turn, again and again: no air and no fish goes there and back by degrees each minute. Only
told of; no reading is refused by it, for nobody can tell which of the two is the true one.

Pure: no clock, no I/O.
"""

from collections import deque
from typing import Final

APART_C: Final = 4.0
"""Least step between the two levels. Common practice, no source: doors and defrosts move air
by more than this, but in one direction for minutes."""

TURNS: Final = 8
"""So many steps in a row, each there and back again."""

WITHIN_MS: Final = 30 * 60_000
"""All within this; an older reading says nothing of now."""

SAME_SHARE: Final = 0.25
"""Every other value lies within this share of the step."""


class TwoSources:
    """Watches one temperature probe's readings, in order of arrival."""

    __slots__ = ("_last", "found")

    def __init__(self) -> None:
        self._last: deque[tuple[int, float]] = deque(maxlen=TURNS + 1)
        self.found = False
        """Whether the last readings came in turn from two levels."""

    def add(self, observed_ms: int, celsius: float) -> bool:
        """Take a reading; return True when two sources are found that were not before."""
        before, last = self.found, self._last
        # Every step of theirs is a large one: most readings need no second look.
        is_step = bool(last) and abs(celsius - last[-1][1]) >= APART_C
        last.append((observed_ms, celsius))
        self.found = is_step and len(last) > TURNS and _alternates(last)
        return self.found and not before


def _alternates(last: deque[tuple[int, float]]) -> bool:
    times = [at_ms for at_ms, _ in last]
    if max(times) - min(times) > WITHIN_MS:
        return False
    values = [value for _, value in last]
    evens, odds = values[::2], values[1::2]
    gap_c = max(min(evens) - max(odds), min(odds) - max(evens))
    spread_c = max(max(evens) - min(evens), max(odds) - min(odds))
    return gap_c >= APART_C and spread_c <= SAME_SHARE * gap_c
