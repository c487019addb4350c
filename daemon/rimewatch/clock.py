"""The one place where the service asks what time it is.

Everything else takes a :class:`Clock`. A replay and the demo run on a
:class:`SteppedClock`, so on-delays, escalation and the morning summary happen
in the trace's time.
"""

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """Tells the time; nothing else does."""

    def now_ms(self) -> int:
        """Return the instant in milliseconds since 1970-01-01T00:00:00Z."""
        ...

    def monotonic_s(self) -> float:
        """Return seconds that never run backwards, for measuring durations."""
        ...


class SystemClock:
    """The machine's own clock."""

    def now_ms(self) -> int:
        """Return the machine's UTC time in milliseconds since the epoch."""
        return time.time_ns() // 1_000_000

    def monotonic_s(self) -> float:
        """Return the machine's monotonic time in seconds."""
        return time.monotonic()


class SteppedClock:
    """A clock that moves only when told to, and never backwards.

    Only the instant is played: networks keep no trace time, so durations are real.
    """

    def __init__(self, now_ms: int) -> None:
        self._now_ms = now_ms
        self._lock = threading.Lock()

    def now_ms(self) -> int:
        """Return the instant it was last moved to."""
        with self._lock:
            return self._now_ms

    def monotonic_s(self) -> float:
        """Return the machine's monotonic time in seconds."""
        return time.monotonic()

    def move_to(self, now_ms: int) -> None:
        """Move forward to an instant; an earlier one leaves the clock where it is."""
        with self._lock:
            self._now_ms = max(self._now_ms, now_ms)
