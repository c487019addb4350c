"""Copies the journal while the service runs, and looks the copy over before it counts.

A plain copy of the file would miss what is still in the WAL; this takes a snapshot
through SQLite, checks it in full, and only then gives it its name.

References:
    [1] SQLite, "Using the SQLite Online Backup API".
"""

import os
import sqlite3
import tempfile
from pathlib import Path

from rimewatch.journal.connection import connect_reader
from rimewatch.journal.errors import JournalDamaged, JournalError, JournalFull, speaking_plainly
from rimewatch.journal.schema import refuse_foreign
from rimewatch.journal.verification import findings


def backup_journal(path: Path, to_path: Path) -> int:
    """Write a sound copy of the journal to another file.

    Any thread or process may do this; writing goes on meanwhile. The copy is one file,
    readable by its owner only, and stands under its name only when it is whole, checked
    and on the disk. An older copy of that name stays until then.

    Args:
        path: The journal.
        to_path: The copy, in a folder that exists.

    Returns:
        The size of the copy in bytes.

    Raises:
        JournalError: If the copy cannot be made; the older one is untouched.
        JournalFull: If there is no room for it, likewise.
        JournalDamaged: If the copy is not sound, and so neither is the journal.
    """
    if to_path.resolve() == path.resolve():
        raise JournalError(f"{to_path}: is the journal itself; name another file", path=to_path)
    source = connect_reader(path)
    try:
        refuse_foreign(source, path)
        handle, name = tempfile.mkstemp(
            dir=to_path.parent, prefix=f".{to_path.name}.", suffix=".part"
        )
        os.close(handle)
        part = Path(name)
        try:
            _copy(source, part)
            size = part.stat().st_size
            sync(part)
            part.replace(to_path)
            sync(to_path.parent)
        finally:
            part.unlink(missing_ok=True)
    except JournalDamaged as error:
        raise JournalDamaged(
            f"{path}: its copy is not sound, so neither is the journal ({error}); "
            f"{to_path} was left as it was",
            path=path,
        ) from error
    except JournalFull as error:
        raise JournalFull(
            f"{to_path}: no room for the copy; {path} and an older copy are as they were: "
            "free space there, or name another place",
            path=to_path,
        ) from error
    except OSError as error:
        raise JournalError(
            f"{to_path}: the copy cannot be written ({error.strerror}); "
            "check that its folder exists, that this user may write there, and its space",
            path=to_path,
        ) from error
    finally:
        source.close()
    return size


def _copy(source: sqlite3.Connection, part: Path) -> None:
    with speaking_plainly(part):
        copy = sqlite3.connect(part, isolation_level=None)
        try:
            # All pages in one step: one snapshot, however much is written meanwhile.
            source.backup(copy, pages=-1)
            # Out of WAL mode, so that the copy is whole as a single file.
            copy.execute("PRAGMA journal_mode = DELETE")
            wrong = findings(copy)
        finally:
            copy.close()
    if wrong:
        raise JournalDamaged("; ".join(wrong), path=part)


def sync(path: Path) -> None:
    """Have a file, or a folder's names, on the disk before going on."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
