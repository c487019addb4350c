"""The one thread that draws: what somebody waits for first, the rest in between.

matplotlib serves one thread at a time, and drawing costs more than all else that an alarm or
a morning needs. So what is long is handed in by the piece: whatever is urgent waits for one
piece at most. The writer only hands in; nothing it writes or acknowledges waits for a pen.
"""

import itertools
import queue
import threading
from collections.abc import Callable
from typing import Final

_URGENT: Final = 0
_PATIENT: Final = 1
_END: Final = 2

Work = Callable[[], None]
"""A piece of drawing; it must not raise."""


class Pen:
    """Does what it is handed in a thread of its own, which begins with the first of it."""

    def __init__(self) -> None:
        self._order = itertools.count()
        self._work: queue.PriorityQueue[tuple[int, int, Work | None, threading.Event]]
        self._work = queue.PriorityQueue()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def do(self, work: Work, *, urgent: bool) -> threading.Event:
        """Take a piece of work; from any thread. The event is set when it is done.

        Args:
            work: What to do.
            urgent: Whether it comes before all that is patient.
        """
        done = threading.Event()
        self._work.put((_URGENT if urgent else _PATIENT, next(self._order), work, done))
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(
                    target=self._run, name="rimewatch-charts", daemon=True
                )
                self._thread.start()
        return done

    def stop(self, *, grace_s: float) -> None:
        """Let the thread end when nothing is left; if it does not, it dies with the process.

        Args:
            grace_s: Longest time to wait, in real seconds.
        """
        self._work.put((_END, next(self._order), None, threading.Event()))
        with self._lock:
            thread = self._thread
        if thread is not None:
            thread.join(grace_s)

    def _run(self) -> None:
        while True:
            _, _, work, done = self._work.get()
            if work is None:
                return
            work()
            done.set()
