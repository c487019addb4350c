"""Asks the writer thread, from another one, to read the configuration again, and waits for it."""

import threading
from collections import deque
from dataclasses import dataclass, field
from typing import Final

WITHIN_S: Final = 8.0
"""How long a page waits until a change is in use (our choice): longer than a dispatcher's end."""


@dataclass(slots=True)
class _Asking:
    who: str
    done: threading.Event = field(default_factory=threading.Event)
    why_not: str = ""


class AskedAnew:
    """Holds who asks, until the writer has answered. For any thread."""

    def __init__(self) -> None:
        self._waiting: deque[_Asking] = deque()
        self._is_asked = threading.Event()
        self._taken: list[_Asking] = []

    def ask(self) -> None:
        """Ask without waiting: a signal does."""
        self._is_asked.set()

    def ask_and_wait(self, who: str) -> str | None:
        """Ask for somebody.

        Returns:
            Empty: it is in use. Else why it cannot be used. None: not yet, within the time.
        """
        asking = _Asking(who)
        self._waiting.append(asking)
        self._is_asked.set()
        return asking.why_not if asking.done.wait(WITHIN_S) else None

    def take(self) -> bool:
        """Whether anybody asks; the writer then reads, and says how it went."""
        if not self._is_asked.is_set():
            return False
        self._is_asked.clear()
        self._taken = [self._waiting.popleft() for _ in range(len(self._waiting))]
        return True

    @property
    def who(self) -> str:
        """For whom it is read now; empty: nobody said."""
        return ", ".join(dict.fromkeys(asking.who for asking in self._taken))

    def answer(self, why_not: str = "") -> None:
        """Tell whoever waits how it went."""
        for asking in self._taken:
            asking.why_not = why_not
            asking.done.set()
        self._taken = []
