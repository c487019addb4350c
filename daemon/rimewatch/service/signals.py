"""Signals from the system, heeded by a thread of their own.

A handler written in Python runs between two steps of the main thread, wherever that is:
an event set there may wait for a lock that the main thread itself holds. So the handler
here does nothing; the interpreter writes the signal's number to a socket, and a thread
reads it and calls what is to be called.
"""

import signal
import socket
import threading
from collections.abc import Callable, Mapping


def heed(calls: Mapping[signal.Signals, Callable[[], None]]) -> None:
    """Call a function for each signal that comes, for the rest of the process's life.

    Args:
        calls: What to call for which signal; must return soon and not raise.

    Raises:
        ValueError: If this is not the main thread: Python lets no other set handlers.
    """
    reading, writing = socket.socketpair()
    writing.setblocking(False)  # noqa: FBT003 (the library has it so)
    signal.set_wakeup_fd(writing.fileno(), warn_on_full_buffer=False)
    for number in calls:
        signal.signal(number, _leave_it)

    def listen() -> None:
        with writing:  # open for as long as somebody listens
            while numbers := reading.recv(64):
                for number in numbers:
                    call = calls.get(signal.Signals(number))
                    if call is not None:
                        call()

    threading.Thread(target=listen, name="signals", daemon=True).start()


def _leave_it(number: int, frame: object) -> None:
    """Keep the system's own action (to end the process) from being taken."""
