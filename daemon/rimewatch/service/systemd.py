"""Tells systemd how the service is: ready, alive, stopping. Without systemd it does nothing.

A plain datagram socket does; no library is needed. The watchdog is fed by the writer's loop
alone, so a writer that is stuck is started again. Never raises: a supervisor that cannot be
told must not end what it supervises.

References:
    [1] sd_notify(3): NOTIFY_SOCKET, READY=1, STOPPING=1, STATUS=, WATCHDOG=1.
    [2] sd_watchdog_enabled(3): WATCHDOG_USEC, WATCHDOG_PID; half the time is advised.
"""

import os
import socket
from collections.abc import Callable, Mapping
from contextlib import suppress


class Notifier:
    """Speaks to the service manager that the environment names.

    Args:
        environ: Where NOTIFY_SOCKET and the watchdog's variables are looked up.
        monotonic_s: Measures how long ago the watchdog was fed.
        pid: This process.
    """

    def __init__(
        self,
        environ: Mapping[str, str],
        monotonic_s: Callable[[], float],
        *,
        pid: int | None = None,
    ) -> None:
        self._address = _address(environ.get("NOTIFY_SOCKET", ""))
        self._monotonic_s = monotonic_s
        self._every_s = watchdog_s(environ, os.getpid() if pid is None else pid)
        self._fed_s: float | None = None

    def ready(self, status: str = "") -> None:
        """Say that the service has started."""
        self._send(_lines("READY=1", status))

    def stopping(self) -> None:
        """Say that the service is ending in good order."""
        self._send("STOPPING=1")

    def status(self, text: str) -> None:
        """Say in one line how things are."""
        self._send(_lines("", text))

    def alive(self) -> None:
        """Feed the watchdog, as often as is needed and no more."""
        if self._every_s is None:
            return
        now_s = self._monotonic_s()
        if self._fed_s is None or now_s - self._fed_s >= self._every_s:
            self._fed_s = now_s
            self._send("WATCHDOG=1")

    def _send(self, text: str) -> None:
        if self._address is None or not text:
            return
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
            channel.settimeout(0.0)
            channel.sendto(text.encode(), self._address)


def _address(name: str) -> str | None:
    """Return a socket's address: a path, or with "@" one of the abstract name space, by [1]."""
    if name.startswith("/"):
        return name
    return "\0" + name[1:] if name.startswith("@") and len(name) > 1 else None


def watchdog_s(environ: Mapping[str, str], pid: int) -> float | None:
    """Return half of the time after which systemd would act, by [2]; None: it is not meant."""
    for_pid = environ.get("WATCHDOG_PID", "")
    if for_pid and for_pid != str(pid):
        return None
    given = environ.get("WATCHDOG_USEC", "")
    return int(given) / 2e6 if given.isascii() and given.isdigit() and int(given) > 0 else None


def _lines(first: str, status: str) -> str:
    said = " ".join(status.split())
    return "\n".join(part for part in (first, f"STATUS={said}" if said else "") if part)
