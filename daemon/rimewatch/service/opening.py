"""Opens the journal; where its file or its disk is broken, fish is watched meanwhile.

A journal that was never one, a missing folder or a newer schema is somebody's slip: it is
refused at the start. A damaged file, a disk that fails, is full or has gone read-only befalls
a machine at night, when a restart must not end the watch. Then the first contacts are told,
something stands in, and the file is tried again and again until somebody has put it right.

Damage that was found while the service ran comes here as well, with the file closed. Such a
file is not taken up again as it is, for damage does not heal and what is written to it may
be lost: somebody has to have put another in its place, or a look over all of it, which is
begun at once, has to find nothing. A file that was put in its place while the service ran is
taken up at once.
"""

import errno
import os
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile
from typing import Final

from rimewatch.clock import Clock
from rimewatch.journal.connection import wal_of
from rimewatch.journal.errors import (
    JournalBarred,
    JournalDamaged,
    JournalError,
    JournalFailing,
    JournalFull,
    NotAJournal,
)
from rimewatch.journal.journal import Journal
from rimewatch.service.cry import CryForHelp
from rimewatch.service.surroundings import LooksAtFile, Surroundings
from rimewatch.service.systemd import Notifier
from rimewatch.shop import Shop

TRY_EVERY_S: Final = 30.0
TURN_S: Final = 1.0
"""How often the service manager is told that we are alive meanwhile."""
GRACE_S: Final = 5.0

DAMAGED: Final = (
    "The journal's file is damaged: put the latest backup in its place, as docs/operations.md "
    'says under "Restore"; it is taken up at once. Found: '
)
"""The cure comes first: a phone shows the beginning."""

_NO_ROOM: Final = frozenset(
    {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO, errno.EMFILE, errno.ENFILE}
)
"""Why a file cannot be made that are no slip of anybody's."""

OLD_WAL: Final = (
    "A file was put in the journal's place, but the -wal beside it is still that of the damaged "
    "one: put it aside too, and the -shm, or it spoils the new one."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """What befell the journal's file while the service had it open."""

    why: str
    """In words, with the cure."""
    file: int
    """The file's number, by which another in its place is known."""


def open_or_stand_in(
    path: Path,
    shop: Shop,
    clock: Clock,
    around: Surroundings,
    *,
    say: Callable[[str], None],
    stop: threading.Event,
    notifier: Notifier,
    show: Callable[[str], None],
    lost: Lost | None = None,
) -> Journal | None:
    """Return the journal, open; None if the service was told to stop before it could be opened.

    Args:
        path: The journal's file.
        shop: What is watched meanwhile, and who is told.
        clock: Tells the time.
        around: How the journal is opened, and what stands in.
        say: Told what a person at the console would want to know.
        stop: Set when the service is to end.
        notifier: The way to the service manager.
        show: Told every second why nothing is recorded.
        lost: What befell the file while the service ran; None at its start.

    Raises:
        JournalError: If it cannot be opened at the start, and waiting would not help or
            nothing stands in.
    """
    if lost is not None:
        why = lost.why
    else:
        try:
            return around.open_journal(path)
        except JournalError as error:
            if around.stand_in is None or not _befell_us(error, path):
                raise
            why = in_words(error)
    say(f"Not recording: {why}")
    notifier.ready(f"Not recording: {why}")
    dispatcher = around.dispatcher(shop.contacts, clock, extras=None)
    make = around.stand_in
    stand_in = None if make is None else make(shop, clock, say)
    cry = CryForHelp(shop, clock, stand_in, after_s=0.0)
    waiting = _Waiting(path, clock, lost, _look_in_full(path, clock, around, lost, say))
    try:
        while not around.wait(stop, TURN_S):
            notifier.alive()
            show(why)
            hindrance = waiting.hindrance()
            if not hindrance and waiting.is_over():
                try:
                    journal = around.open_journal(path)
                except JournalError as error:
                    hindrance = in_words(error)
                else:
                    say("The journal can be used again.")
                    cry.recovered(dispatcher)
                    return journal
            if hindrance and hindrance != why:
                why = hindrance
                say(f"Not recording: {why}")
            cry.sort_out(dispatcher.take_results())
            cry.failing(why, dispatcher)
        return None
    finally:
        waiting.end()
        cry.stop()
        dispatcher.stop(grace_s=GRACE_S)


def _look_in_full(
    path: Path,
    clock: Clock,
    around: Surroundings,
    lost: Lost | None,
    say: Callable[[str], None],
) -> LooksAtFile | None:
    """Have a damaged file looked over in full; None: it is none, or nobody can look."""
    if around.file_look is None or lost is None or lost.file != file_number(path):
        return None
    file_look = around.file_look(path, clock)
    if (begun := file_look.begin(in_full=True)) is not None:
        say(f"The file cannot be looked over in full: {begun.failure}")
        return None
    return file_look


class _Waiting:
    """Waits until it is worth trying a file again.

    Args:
        path: The file.
        clock: Measures how long ago it was tried.
        lost: What befell the file while the service had it; None: it is the start.
        file_look: Looks over a file in which damage was found; None: nobody does.
    """

    def __init__(
        self, path: Path, clock: Clock, lost: Lost | None, file_look: LooksAtFile | None
    ) -> None:
        self._path = path
        self._clock = clock
        self._file_look = file_look
        self._seen = self._tried = _marks(path)
        self._tried_s = clock.monotonic_s()
        self._first = file_number(path) if lost is None else lost.file
        self._first_wal = _wal_marks(path)
        self._is_damaged = lost is not None and self._first == file_number(path)
        if lost is not None and not self._is_damaged:
            self._tried_s = float("-inf")  # another file is there: it is tried at once

    def hindrance(self) -> str:
        """Return what whoever restored the file has forgotten, with the cure; empty: nothing.

        Nobody writes to the file meanwhile, so a WAL that was there before a file was
        replaced is not of the new one.
        """
        if file_number(self._path) in (0, self._first):
            return ""
        return OLD_WAL if self._first_wal and _wal_marks(self._path) == self._first_wal else ""

    def is_over(self) -> bool:
        """Return whether to try it now."""
        before, self._seen = self._seen, _marks(self._path)
        if self._seen is None or self._seen != before:
            return False  # somebody is at it: a missing file must not be made anew now
        now_s = self._clock.monotonic_s()
        if self._seen == self._tried:
            if self._is_damaged and not self._is_found_sound():
                return False
            if not self._is_damaged and now_s - self._tried_s < TRY_EVERY_S:
                return False
        self._is_damaged = False
        self._tried, self._tried_s = self._seen, now_s
        return True

    def end(self) -> None:
        """End a look that is under way."""
        if self._file_look is not None:
            self._file_look.end()

    def _is_found_sound(self) -> bool:
        looked = None if self._file_look is None else self._file_look.take()
        return looked is not None and looked.is_sound


def file_number(path: Path) -> int:
    """Return the number of the file that bears a name now (its inode); 0: there is none."""
    try:
        return path.stat().st_ino
    except OSError:
        return 0


def _marks(path: Path) -> tuple[int, int, int, bool] | None:
    """Return what changes when somebody has put it right; None: there is no file."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_ino, status.st_size, status.st_mtime_ns, is_read_only(path)


def _wal_marks(path: Path) -> tuple[int, int] | None:
    """Return what tells one WAL that holds something from another; None: there is none."""
    try:
        status = wal_of(path).stat()
    except OSError:
        return None
    return (status.st_ino, status.st_mtime_ns) if status.st_size else None


def in_words(error: JournalError) -> str:
    """Return why nothing is recorded; where the file is damaged, with the cure first."""
    return f"{DAMAGED if isinstance(error, JournalDamaged) else ''}{error}"


def _befell_us(error: JournalError, path: Path) -> bool:
    """Return whether an error is a machine's misfortune rather than somebody's slip."""
    if isinstance(error, NotAJournal) or not path.is_file():
        return False
    if isinstance(error, JournalBarred):
        return is_read_only(path) or _takes_no_new_file(path.parent)
    return isinstance(error, (JournalDamaged, JournalFull, JournalFailing))


def _takes_no_new_file(folder: Path) -> bool:
    """Return whether a folder has no room for a new file, of bytes or of inodes.

    A WAL has to be made at a start. That somebody has no right to is another matter.
    """
    try:
        with TemporaryFile(dir=folder):
            return False
    except OSError as error:
        return error.errno in _NO_ROOM


def is_read_only(path: Path) -> bool:
    """Return whether a file is on a file system that takes no writing."""
    try:
        return bool(os.statvfs(path).f_flag & os.ST_RDONLY)
    except OSError:
        return False
