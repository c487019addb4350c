"""Waiting for what happens elsewhere, with a limit and a look every few hundredths of a second."""

import threading
import time
from collections.abc import Callable

LOOK_EVERY_S = 0.05


def until(condition: Callable[[], bool], what: str, limit_s: float) -> None:
    """Wait until something is so; fail after a while."""
    end_s, pause = time.monotonic() + limit_s, threading.Event()
    while not condition():
        assert time.monotonic() < end_s, f"waited {limit_s} s in vain for {what}"
        pause.wait(LOOK_EVERY_S)
