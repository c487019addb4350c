"""Counts sign-ins that failed, so that nobody can try passwords for long.

A browser in which a name has signed in before is counted by itself: whoever fails on purpose, for
a name or through the proxy that everybody comes by, keeps strangers waiting and not those who work
here [1]. Kept in memory: a restart forgets, and costs an attacker more than it gains. Bounded.
Never reads a clock.

References:
    [1] OWASP, "Slow Down Online Guessing Attacks with Device Cookies".
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

    def wait_s(self, name: str, address: str, now_s: float, browser: str = "") -> float:
        """Return how long nobody may try this name, or from this address; 0: try.

        Args:
            name: Who is said to sign in.
            address: Where it comes from; empty: nobody knows, as behind a proxy that does not say.
            now_s: Now, on a clock that only goes forward.
            browser: Which browser it is, where this very name has signed in with it before.
        """
        with self._lock:
            return max(
                self._left(key, most, now_s) for key, most in _counters(name, address, browser)
            )

    def failed(self, name: str, address: str, now_s: float, browser: str = "") -> None:
        """Note a failure."""
        with self._lock:
            for key, most in _counters(name, address, browser):
                self._failed.setdefault(key, deque(maxlen=most)).append(now_s)
                self._failed.move_to_end(key)
            while len(self._failed) > MOST_KEPT:
                self._failed.popitem(last=False)

    def succeeded(self, name: str, browser: str = "") -> None:
        """Forget the failures of a name whose owner has come."""
        with self._lock:
            for key, _ in _counters(name, "", browser):
                self._failed.pop(key, None)

    def _left(self, key: str, most: int, now_s: float) -> float:
        times = self._failed.get(key)
        if times is None:
            return 0.0
        while times and times[0] <= now_s - WITHIN_S:
            times.popleft()
        return times[-most] + WITHIN_S - now_s if len(times) >= most else 0.0


def _counters(name: str, address: str, browser: str) -> list[tuple[str, int]]:
    """Return what a try counts for, and how many failures each of them may have."""
    if browser:
        return [(f"browser {browser}", OF_A_NAME)]
    counters = [(f"name {name.strip().casefold()[:100]}", OF_A_NAME)]
    return [*counters, (f"address {address}", OF_AN_ADDRESS)] if address else counters
