"""When a reading was taken, and how far a probe's own clock is off.

One message cannot tell a slow clock from a backlog; many can: a backlog is late by
all sorts of amounts, a slow clock by the same amount each time. The offset is only
reported. It corrects nothing. Pure: takes the arrival, reads no clock.
"""

from collections import deque
from collections.abc import Iterable
from typing import Final

from rimewatch.evaluation.clock_note import offset_s_of
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S

AHEAD_MS: Final = 300 * MS_PER_S
"""A payload's time may be at most this much after its arrival (the contract's 300 s)."""

BEHIND_MS: Final = 30 * MS_PER_DAY
"""A payload's time may be at most this much before its arrival (the contract's 30 days)."""

WINDOW: Final = 64
"""Messages over which a clock's offset is judged."""


def is_plausible(observed_ms: int, arrived_ms: int) -> bool:
    """Tell whether a payload's time may be used beside its arrival, both ends included."""
    return -AHEAD_MS <= arrived_ms - observed_ms <= BEHIND_MS


class ClockOffset:
    """How far a probe's clock lies behind the arrivals, over its last 64 messages.

    The way here only adds delay, so the least difference is nearest the truth. The
    lowest tenth is taken in place of the very least, so that one odd message among
    ten does not set it, nor a backlog longer than it.
    """

    def __init__(self, late_ms: Iterable[int] = ()) -> None:
        self._late_ms: deque[int] = deque(late_ms, maxlen=WINDOW)
        self.add = self._late_ms.append
        """Take ``arrived_ms - observed_ms`` of a message with a time of its own."""

    def late_ms(self) -> tuple[int, ...]:
        """Return what it is judged by, to go on from after a restart."""
        return tuple(self._late_ms)

    def offset_s(self) -> float | None:
        """Return seconds, positive for a slow clock; None before the eighth message."""
        return offset_s_of(self._late_ms)
