"""Played time: a heap of things to come, and the wall clock that a shop's machine shows.

Nothing sleeps and nothing runs beside: whoever waits moves time on, and what falls due
meanwhile happens on the waiter's stack.
"""

import heapq
import itertools
from collections import Counter
from collections.abc import Callable
from typing import Final

S: Final = 1000
MINUTE: Final = 60 * S
HOUR: Final = 60 * MINUTE


class Crashed(BaseException):
    """The daemon is dead: killed, or the power was cut. Nothing of ours may catch it."""


class World:
    """Time, and what is to come. Implements the service's ``Clock``.

    Args:
        start_ms: The true instant at which it begins.
    """

    def __init__(self, start_ms: int) -> None:
        self.start_ms = start_ms
        self.t_ms = 0
        """True time since the start."""
        self.wall_offset_ms = 0
        """By how much the machine's clock is wrong."""
        self.history: list[str] = []
        self.touched: Counter[str] = Counter()
        """How often a fault of each kind did something."""
        self._heap: list[tuple[int, int, Callable[[], None]]] = []
        self._order = itertools.count()
        self._moving = False

    # --- the service's clock ----------------------------------------------------------------

    def now_ms(self) -> int:
        """Return what the machine's clock shows."""
        return self.start_ms + self.t_ms + self.wall_offset_ms

    def monotonic_s(self) -> float:
        """Return the seconds since the start."""
        return self.t_ms / S

    # --- what is to come --------------------------------------------------------------------

    def true_ms(self) -> int:
        """Return the true instant, whatever the machine's clock shows."""
        return self.start_ms + self.t_ms

    def at(self, t_ms: int, happens: Callable[[], None]) -> None:
        """Let something happen at a time; one that is past means now."""
        heapq.heappush(self._heap, (max(t_ms, self.t_ms), next(self._order), happens))

    def after(self, wait_ms: int, happens: Callable[[], None]) -> None:
        """Let something happen after a while."""
        self.at(self.t_ms + wait_ms, happens)

    def move(self, for_ms: int, until: Callable[[], bool] | None = None) -> None:
        """Let time pass, at most so long; stop earlier once something is so.

        Everything that falls due happens at its own time. An exception of one of them ends
        the waiting, as a kill does.
        """
        assert not self._moving, "what happens cannot wait for time to pass"
        end_ms = self.t_ms + for_ms
        while until is None or not until():
            if not self._heap or self._heap[0][0] > end_ms:
                self.t_ms = end_ms
                return
            self._happen()

    def _happen(self) -> None:
        at_ms, _, happens = heapq.heappop(self._heap)
        self.t_ms = max(self.t_ms, at_ms)
        self._moving = True
        try:
            happens()
        finally:
            self._moving = False

    def note(self, what: str) -> None:
        """Write down what happened, for whoever reads a failed run."""
        hours, rest = divmod(self.t_ms, HOUR)
        minutes, rest = divmod(rest, MINUTE)
        self.history.append(f"{hours:02d}:{minutes:02d}:{rest / S:06.3f} {what}")
