"""The only place that opens connections to the journal's file.

Sets everything a connection must have each time, since SQLite keeps none of it in
the file but the WAL mode. Never opens a file that is there by any other means: closing a
plain file handle would drop this process's locks on it ([1], section 2.2).

References:
    [1] SQLite, "How To Corrupt An SQLite Database File".
    [2] SQLite, "Write-Ahead Logging" and "PRAGMA synchronous".
    [3] SQLite, "STRICT Tables" (needs 3.37.0).
    [4] SQLite, "In-Memory Databases".
"""

import os
import sqlite3
from contextlib import suppress
from pathlib import Path
from typing import Final

from rimewatch.journal.errors import JournalDamaged, JournalError, speaking_plainly

MINIMUM_SQLITE: Final = (3, 37, 0)
"""The first version with STRICT tables. Source: [3]."""

DEFAULT_BUSY_S: Final = 5.0
"""How long a connection waits for another's write, in seconds (our choice)."""

WAL_LIMIT_BYTES: Final = 16 * 1024 * 1024
"""A WAL file is cut back to this after a checkpoint (our choice)."""

IN_MEMORY: Final = ":memory:"
"""SQLite's own name for a database without a file. Source: [4]."""

PRIVATE_MODE: Final = 0o600
"""Read and written by its owner alone."""

_SYNCHRONOUS_FULL: Final = 2
_STATEMENTS_KEPT: Final = 256


def check_sqlite_version(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> None:
    """Refuse an SQLite library too old for STRICT tables.

    Args:
        version: The library's version; the one in use, unless a test says otherwise.

    Raises:
        JournalError: If it is older than :data:`MINIMUM_SQLITE`.
    """
    if version < MINIMUM_SQLITE:
        found = ".".join(map(str, version))
        wanted = ".".join(map(str, MINIMUM_SQLITE))
        raise JournalError(
            f"the SQLite library is {found}; expected {wanted} or newer "
            "(it refuses text in number columns): use a newer system or Python build"
        )


def connect_writer(
    path: Path,
    *,
    busy_s: float = DEFAULT_BUSY_S,
    connection_type: type[sqlite3.Connection] = sqlite3.Connection,
) -> sqlite3.Connection:
    """Open the journal for writing, making the file where there is none.

    A new file is its owner's alone to read (mode 0600), whatever the process's umask: it
    names people. SQLite gives what it puts beside it the same mode. A file that is there
    keeps the mode that somebody gave it.

    A commit is on the disk when it returns: ``synchronous=FULL`` syncs the WAL at each
    commit, ``NORMAL`` only at checkpoints ([2]).

    Args:
        path: The file, on a local disk.
        busy_s: How long to wait for another connection's write, in seconds.
        connection_type: What to open it as; a test gives one that can fail.

    Returns:
        A connection bound to this thread, without implicit transactions.

    Raises:
        JournalError: If the file cannot be opened so.
    """
    check_sqlite_version()
    if not path.parent.is_dir():
        raise JournalError(
            f"{path}: the folder {path.parent} does not exist; create it, or name another file",
            path=path,
        )
    _make_private(path)
    with speaking_plainly(path):
        connection = sqlite3.connect(
            path,
            timeout=busy_s,
            isolation_level=None,
            cached_statements=_STATEMENTS_KEPT,
            factory=connection_type,
        )
        try:
            _set_up(connection, path)
        except BaseException:
            connection.close()
            raise
    return connection


def _make_private(path: Path) -> None:
    """Make an empty file for its owner alone, unless there is one.

    Made exclusively, it is nobody's yet: closing the handle drops no lock.
    """
    if str(path) == IN_MEMORY:
        return  # it is refused, and leaves no file of that name behind
    with suppress(OSError):  # it is there, or SQLite fails in its turn and says why
        os.close(os.open(path.resolve(), os.O_CREAT | os.O_EXCL | os.O_RDWR, PRIVATE_MODE))


def _set_up(connection: sqlite3.Connection, path: Path) -> None:
    mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise JournalError(
            f"{path}: its journal mode is {mode}, expected wal; "
            "keep the journal on a local disk, not on a network share or in memory",
            path=path,
        )
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT_BYTES}")
    if connection.execute("PRAGMA synchronous").fetchone()[0] != _SYNCHRONOUS_FULL:
        raise JournalError(
            f"{path}: this SQLite build does not take synchronous=FULL, so a commit would "
            "not survive a power cut; use another build",
            path=path,
        )


def connect_reader(path: Path, *, busy_s: float = DEFAULT_BUSY_S) -> sqlite3.Connection:
    """Open the journal for reading only, from any thread or process.

    Args:
        path: The file; it must exist.
        busy_s: How long to wait where the file is locked, in seconds.

    Returns:
        A connection bound to this thread that cannot write.

    Raises:
        JournalError: If the file cannot be opened so.
    """
    check_sqlite_version()
    with speaking_plainly(path):
        connection = sqlite3.connect(
            f"{path.resolve().as_uri()}?mode=ro",
            uri=True,
            timeout=busy_s,
            isolation_level=None,
            cached_statements=_STATEMENTS_KEPT,
        )
        try:
            connection.execute("PRAGMA query_only = ON")
            connection.execute("PRAGMA trusted_schema = OFF")
        except BaseException:
            connection.close()
            raise
    return connection


def wal_of(path: Path) -> Path:
    """Return where SQLite writes a journal's WAL: beside the file itself, not a link to it."""
    real = path.resolve()
    return real.with_name(f"{real.name}-wal")


def check_soundness(connection: sqlite3.Connection, path: Path) -> None:
    """Let SQLite look over the file's pages, quickly enough for each start.

    Args:
        connection: An open connection.
        path: The file, for the message.

    Raises:
        JournalDamaged: If anything is found.
    """
    with speaking_plainly(path):
        findings = [row[0] for row in connection.execute("PRAGMA quick_check(5)")]
    if findings != ["ok"]:
        raise JournalDamaged(
            f"{path}: quick_check found: {'; '.join(findings)}. "
            "Keep this file aside and restore the latest backup",
            path=path,
        )
