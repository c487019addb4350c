"""Notices that the configuration's file was edited, so that nobody has to send a signal."""

from pathlib import Path
from typing import Final

from rimewatch.clock import Clock

EVERY_S: Final = 1.0
"""How often the file is looked at (our choice)."""

_Marks = tuple[int, int, int]


class WatchedFile:
    """A file that may be edited while the service runs.

    Args:
        path: The file; None: there is none to look at.
        clock: Measures how long ago it was looked at.
    """

    def __init__(self, path: Path | None, clock: Clock) -> None:
        self._path = path
        self._clock = clock
        self._known = self._seen = self._marks()
        self._looked_s = clock.monotonic_s()

    def note(self) -> None:
        """Take the file as it is for known: it is about to be read."""
        self._known = self._seen = self._marks()

    def look(self) -> bool:
        """Return, once, that the file is another than known; not while somebody writes it."""
        now_s = self._clock.monotonic_s()
        if self._path is None or now_s - self._looked_s < EVERY_S:
            return False
        self._looked_s = now_s
        before, self._seen = self._seen, self._marks()
        if self._seen in (None, self._known) or self._seen != before:
            return False
        self._known = self._seen
        return True

    def _marks(self) -> _Marks | None:
        """Return what changes with an edit; None: there is no such file now."""
        if self._path is None:
            return None
        try:
            status = self._path.stat()
        except OSError:
            return None
        return status.st_ino, status.st_size, status.st_mtime_ns
