"""Whether the process was held: a machine that slept, a signal that stopped it.

The probes were not silent then: nobody listened.
"""

from typing import Final

from rimewatch.clock import Clock, SystemClock
from rimewatch.vocabulary import MS_PER_S

STOOD_STILL_S: Final = 60.0
"""A turn of the loop that takes so long by the clock was no turn: the process was held, the
machine slept, or its clock was set forward (our choice; a turn takes a second at most)."""


class Standstill:
    """Measures the turns of a loop. A clock that is played leaps by design.

    Args:
        clock: Tells the time.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._turned_ms = clock.now_ms()

    def turn(self) -> float:
        """Note a turn; return how long the process stood still before it, in seconds, or 0."""
        before_ms, self._turned_ms = self._turned_ms, self._clock.now_ms()
        stood_s = (self._turned_ms - before_ms) / MS_PER_S
        return stood_s if stood_s >= STOOD_STILL_S and isinstance(self._clock, SystemClock) else 0.0
