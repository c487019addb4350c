"""Counts sign-ins that failed, so that nobody can try passwords for long.

Kept in memory: a restart forgets, and costs an attacker more than it gains. Bounded.
Never reads a clock.
"""

from collections import OrderedDict, deque
from threading import Lock
from typing import Final

WITHIN_S: Final = 900.0
OF_A_NAME: Final = 10
"""Failures for one name within a quarter of an hour (our choice)."""
OF_AN_ADDRESS: Final = 30
"""Failures from one address within it; a proxy's address stands for many people."""
MOST_KEPT: Final = 2000


class Attempts:
    """Failed sign-ins of the last quarter of an hour. For any thread."""

    def __init__(self) -> None:
        self._failed: OrderedDict[str, deque[float]] = OrderedDict()
        self._lock = Lock()

    def wait_s(self, name: str, address: str, now_s: float) -> float:
        """Return how long nobody may try this name, or from this address; 0: try."""
        with self._lock:
            return max(
                self._left(f"name {name.strip().casefold()}", OF_A_NAME, now_s),
                self._left(f"address {address}", OF_AN_ADDRESS, now_s),
            )

    def failed(self, name: str, address: str, now_s: float) -> None:
        """Note a failure."""
        with self._lock:
            for key in (f"name {name.strip().casefold()[:100]}", f"address {address}"):
                self._failed.setdefault(key, deque(maxlen=OF_AN_ADDRESS)).append(now_s)
                self._failed.move_to_end(key)
            while len(self._failed) > MOST_KEPT:
                self._failed.popitem(last=False)

    def succeeded(self, name: str) -> None:
        """Forget the failures of a name whose owner has come."""
        with self._lock:
            self._failed.pop(f"name {name.strip().casefold()[:100]}", None)

    def _left(self, key: str, most: int, now_s: float) -> float:
        times = self._failed.get(key)
        if times is None:
            return 0.0
        while times and times[0] <= now_s - WITHIN_S:
            times.popleft()
        return times[-most] + WITHIN_S - now_s if len(times) >= most else 0.0
