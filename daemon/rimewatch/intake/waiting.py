"""What has arrived and was not drained yet: a queue between two threads, with a bound.

The bound is on what is read from the network, not on what is put in: whoever reads asks for
room first. What is not read waits with the broker, whose memory it is then; TCP sees to that.
What the session itself has to say is let in always.
"""

import threading
from collections import deque
from collections.abc import Iterable
from typing import Final

from rimewatch.intake.arrivals import Arrived, Item

MOST_ITEMS: Final = 20_000
"""Some 7 MB of a probe's messages; ten of the writer's batches (our choice)."""

MOST_BYTES: Final = 16 << 20
"""Of payloads: 256 of the largest that are read at all (our choice)."""


class Waiting:
    """The queue; for one thread that puts in and one that takes out.

    Args:
        most_items: No more is to be read from the network while so many wait.
        most_bytes: Nor while their payloads have so many bytes together.
    """

    def __init__(self, most_items: int = MOST_ITEMS, most_bytes: int = MOST_BYTES) -> None:
        self._most_items, self._most_bytes = most_items, most_bytes
        self._items: deque[Item] = deque()
        self._bytes = 0
        self._is_full = False
        self._change = threading.Condition()

    def __len__(self) -> int:
        """Return how many wait."""
        return len(self._items)

    @property
    def is_full(self) -> bool:
        """Whether it was full, and has not been half empty since."""
        return self._is_full

    def put(self, items: Iterable[Item]) -> None:
        """Put in, in this order."""
        with self._change:
            for item in items:
                self._items.append(item)
                if isinstance(item, Arrived):
                    self._bytes += len(item.payload)
            self._is_full |= self._reaches(self._most_items, self._most_bytes)
            self._change.notify_all()

    def take(self, most: int, timeout_s: float) -> list[Item]:
        """Take out the first ones, in order; wait for the first only, and so long at most.

        Args:
            most: At most so many.
            timeout_s: 0 does not wait.
        """
        with self._change:
            self._change.wait_for(lambda: self._items, timeout_s)
            taken = [self._items.popleft() for _ in range(min(most, len(self._items)))]
            self._bytes -= sum(len(item.payload) for item in taken if isinstance(item, Arrived))
            if self._is_full and not self._reaches(
                (self._most_items + 1) // 2, (self._most_bytes + 1) // 2
            ):
                self._is_full = False
                self._change.notify_all()
            return taken

    def wait_for_room(self, timeout_s: float) -> bool:
        """Wait so long at most until more may be read; return whether it may."""
        with self._change:
            return self._change.wait_for(lambda: not self._is_full, timeout_s)

    def _reaches(self, items: int, payload_bytes: int) -> bool:
        return len(self._items) >= items or self._bytes >= payload_bytes
