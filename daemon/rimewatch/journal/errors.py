"""What can go wrong with the journal, sorted by what the caller can do about it.

Each message says what happened, to which file, and the cure. Nothing here
retries or logs: the caller holds its batch unacknowledged and decides.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from rimewatch.journal import damage
from rimewatch.journal.blocks import BlockDamagedError


class JournalError(Exception):
    """Something is wrong with the journal; ``path`` says which file."""

    def __init__(self, message: str, *, path: Path | None = None) -> None:
        super().__init__(message)
        self.path = path


class JournalFull(JournalError):  # noqa: N818 - named for what happened, as callers speak of it
    """There is no room for the batch; nothing of it was kept. Keep it, and try again."""


class JournalLocked(JournalError):  # noqa: N818 - likewise
    """Another process held the journal longer than the wait. Try again."""


class JournalDamaged(JournalError):  # noqa: N818 - likewise
    """The file is not a sound journal. Trying again is no use: restore a backup."""


class DayDamaged(JournalDamaged):
    """A packed day cannot be read; the file around it may be sound."""


class NotAJournal(JournalDamaged):
    """The file is something else: another file was named."""


class JournalMoved(JournalError):  # noqa: N818 - likewise
    """Another file bears the journal's name now, or none does; what is open is the old one."""


class JournalBarred(JournalError):  # noqa: N818 - likewise
    """The file or its folder may not be used so: no right to, or something else in its place."""


class JournalFailing(JournalError):  # noqa: N818 - likewise
    """The disk itself fails to read or write."""


class JournalVersionError(JournalError):
    """The file's schema is not one that this version may use."""


_FULL: Final = frozenset({sqlite3.SQLITE_FULL})
_LOCKED: Final = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
_DAMAGED: Final = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_FAILING: Final = frozenset({sqlite3.SQLITE_IOERR})
_BARRED: Final = frozenset(
    {
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_AUTH,
    }
)
_UNREADABLE: Final = (ValueError, KeyError, TypeError, AttributeError, RecursionError)
"""What reading back a text raises that is not what was written."""
_NO_TEXT: Final = "Could not decode to UTF-8"
"""How Python says, without a code of SQLite's, that a text column holds none."""
_REFUSED: Final = frozenset({sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH})
_PRIMARY_MASK: Final = 0xFF
"""The low byte of an extended result code is the primary one.

Source: SQLite, "Result and Error Codes", section 2.
"""


def as_journal_error(error: sqlite3.Error, path: Path) -> JournalError:
    """Return the journal's own error for one of SQLite's, with what to do about it.

    Args:
        error: What ``sqlite3`` raised.
        path: The journal's file, for the message.

    Returns:
        The matching error; a plain :class:`JournalError` where none is closer.
    """
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & _PRIMARY_MASK
    if primary in _FULL:
        return JournalFull(
            f"{path}: no room to write ({error}); nothing of this batch was kept: "
            "free space on the disk, then it is tried again",
            path=path,
        )
    if primary in _LOCKED:
        return JournalLocked(
            f"{path}: another process holds the journal ({error}); "
            "close what writes to it (a backup, a second service), then try again",
            path=path,
        )
    if primary in _DAMAGED or (primary is None and _NO_TEXT in str(error)):
        kind = NotAJournal if primary == sqlite3.SQLITE_NOTADB else JournalDamaged
        return kind(
            f"{path}: not a sound journal ({error}); "
            "keep this file aside and restore the latest backup",
            path=path,
        )
    if primary in _BARRED:
        return JournalBarred(
            f"{path}: cannot be opened or written ({error}); "
            "check that its folder exists and that this user may write there",
            path=path,
        )
    if primary in _REFUSED:
        return JournalError(
            f"{path}: refused a row that breaks the journal's rules ({error}); "
            "nothing of this batch was kept: report this as a fault of the service",
            path=path,
        )
    kind_of_failure = JournalFailing if primary in _FAILING else JournalError
    return kind_of_failure(
        f"{path}: reading or writing failed ({error}); "
        "check the disk and the system's log, then try again",
        path=path,
    )


@contextmanager
def speaking_plainly(path: Path) -> Iterator[None]:
    """Turn SQLite's errors, and those of packed readings, into the journal's own.

    Damage is noted in :mod:`rimewatch.journal.damage` on its way.

    A ``sqlite3.ProgrammingError`` passes: a wrong thread or a closed connection is
    our own mistake, not the world's.

    Args:
        path: The journal's file, for the message.

    Raises:
        JournalError: Or one of its kinds.
    """
    try:
        yield
    except sqlite3.ProgrammingError:
        raise
    except (sqlite3.Error, BlockDamagedError) as error:
        raise plainly(error, path) from error


def plainly(error: sqlite3.Error | BlockDamagedError, path: Path) -> JournalError:
    """Return an error in the journal's own words, as :func:`speaking_plainly` does; note damage."""
    if isinstance(error, BlockDamagedError):
        lost = f"{path}: {error}; keep this file aside and restore the latest backup"
        damage.note(path, lost, in_part=True)
        return DayDamaged(lost, path=path)
    found = as_journal_error(error, path)
    if isinstance(found, JournalDamaged):
        damage.note(path, str(found))
    return found


@contextmanager
def reading_back(path: Path, what: str) -> Iterator[None]:
    """Say of a text in the journal that is not what was written there that the file is damaged.

    For reading alone: whatever else is done inside would be called damage as well.

    Args:
        path: The journal's file, for the message.
        what: What the text holds, in words.

    Raises:
        JournalDamaged: If it cannot be read.
    """
    try:
        yield
    except _UNREADABLE as error:
        lost = (
            f"{path}: {what} cannot be read ({type(error).__name__}: {error}); "
            "keep this file aside and restore the latest backup"
        )
        damage.note(path, lost)
        raise JournalDamaged(lost, path=path) from error
