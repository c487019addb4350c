"""How far a running service has come, for whoever waits for it in another thread."""

import threading
from collections.abc import Iterable

from rimewatch.intake.arrivals import Arrived, Item


class Progress:
    """Counts what is on the disk, and knows whether the broker has confirmed us.

    Args:
        stop: Set when the service is asked to end; nothing is waited for after that.
    """

    def __init__(self, stop: threading.Event) -> None:
        self._stop = stop
        self._moved = threading.Condition()
        self._ended = False
        self._entries = 0
        self.arrivals = 0
        """Messages since the start that are on the disk."""
        self.listening = False
        """Whether the broker has confirmed every subscription."""

    def note_listening(self, *, now: bool) -> None:
        """Note that the broker has confirmed the subscriptions, or no longer has them."""
        with self._moved:
            self.listening = now
            self._moved.notify_all()

    def count(self, items: Iterable[Item], entries: int) -> None:
        """Count what has reached the disk."""
        with self._moved:
            self.arrivals += sum(1 for item in items if isinstance(item, Arrived))
            self._entries += entries
            self._moved.notify_all()

    def end(self) -> None:
        """Note that the service has ended."""
        with self._moved:
            self._ended = True
            self._moved.notify_all()

    def wait_until_listening(self, timeout_s: float) -> bool:
        """Wait until the broker has confirmed the subscriptions; False if time is up."""
        with self._moved:
            self._moved.wait_for(lambda: self.listening or self._is_over(), timeout_s)
            return self.listening

    def wait_for(self, arrivals: int, entries: int, timeout_s: float) -> bool:
        """Wait until so many arrivals and entries are on the disk; False if they never were."""

        def is_so() -> bool:
            return self.arrivals >= arrivals and self._entries >= entries

        with self._moved:
            self._moved.wait_for(lambda: is_so() or self._is_over(), timeout_s)
            return is_so()

    def _is_over(self) -> bool:
        return self._ended or self._stop.is_set()
