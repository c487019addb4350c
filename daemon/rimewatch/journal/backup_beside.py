"""Copies what lies beside the journal and belongs to it: attachments, stamps, a small database.

The journal is copied first: a file is put on record before the entry that names it, so what
is copied afterwards has a file for every entry of the copy. Nothing is ever removed from a
backup. Writes whole files or none.
"""

import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final, NamedTuple

from rimewatch.journal.attachments import (
    KEPT_MODE,
    PRIVATE_FOLDER,
    AttachmentError,
    Found,
    folder_of,
    found_in,
)
from rimewatch.journal.backup import sync
from rimewatch.journal.errors import JournalDamaged, JournalError

STAMP_FOLDER: Final = "stamps"
STAMP_SUFFIX: Final = ".tsr"
"""As other tools name an answer with a stamp in it."""

_NAME: Final = re.compile(r"[0-9a-f]{64}")


class Copied(NamedTuple):
    """What became of the attachments."""

    new: int
    already: int
    """Files that the backup had, unchanged."""


def backup_attachments(path: Path, to_path: Path) -> Copied:
    """Copy the files that a journal has on record and its backup has not.

    Each is read back and held against its name, the SHA-256 of its bytes; one that the backup
    has is, too, and is copied again where it was changed.

    Args:
        path: The journal.
        to_path: Its copy; ``attachments/`` lies next to it.

    Raises:
        AttachmentError: If a file is not what was put on record, or cannot be copied; whatever
            else is sound was copied by then.
    """
    source, target = folder_of(path), folder_of(to_path)
    if not source.is_dir():
        return Copied(0, 0)
    names = sorted(one.name for one in source.iterdir() if _NAME.fullmatch(one.name))
    if target == source:
        return Copied(0, len(names))
    new, changed = 0, []
    for name in names:
        if found_in(target, name) is Found.PRESENT:
            continue
        try:
            target.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
            _write(target / name, partial(_take, source / name))
        except JournalDamaged:
            changed.append(name)
        except OSError as error:
            raise AttachmentError(
                f"{target / name}: cannot be copied ({error.strerror or error}); the journal's own "
                "copy is made: free space there, or name another place, and back up again"
            ) from None
        else:
            new += 1
    if changed:
        raise AttachmentError(
            f"{source / changed[0]}: is not what was put on record"
            + (f", and so are {len(changed) - 1} more" if len(changed) > 1 else "")
            + "; it was not copied: restore it from an older backup"
        )
    return Copied(new, len(names) - new)


def backup_stamps(path: Path, to_path: Path) -> int:
    """Copy the stamps of a journal's seals that its backup has not; return how many.

    They are small, and never change once they are there; whether they hold is for ``stamp --check``
    to say.

    Args:
        path: The journal.
        to_path: Its copy; ``stamps/`` lies next to it.

    Raises:
        JournalError: If one cannot be copied.
    """
    source, target = path.parent / STAMP_FOLDER, to_path.parent / STAMP_FOLDER
    copied = 0
    for stamp in sorted(source.glob(f"*{STAMP_SUFFIX}")):
        if (target / stamp.name).exists():
            continue
        try:
            target.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
            _write(target / stamp.name, partial(shutil.copyfile, stamp))
        except OSError as error:
            raise JournalError(
                f"{target / stamp.name}: cannot be copied ({error.strerror or error}); the "
                "journal's own copy is made: free space there, and back up again",
                path=path,
            ) from None
        copied += 1
    return copied


def backup_database(path: Path, to_path: Path) -> bool:
    """Copy a small SQLite database in use, for its owner alone to read (mode 0600).

    Args:
        path: The database.
        to_path: The copy; an older one stays until the new one is whole and sound.

    Returns:
        False where there is none.

    Raises:
        JournalError: If it cannot be copied, or is not sound.
    """
    if not path.exists():
        return False
    try:
        _write(to_path, partial(_copy, path))
    except (sqlite3.Error, OSError) as error:
        raise JournalError(
            f"{path}: cannot be copied to {to_path} ({error}); the journal's own copy is made: "
            "check the space there, and back up again",
            path=path,
        ) from None
    return True


def _write(target: Path, fill: Callable[[Path], object]) -> None:
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
    os.close(handle)  # made with mode 0600
    part = Path(name)
    try:
        fill(part)
        sync(part)
        part.replace(target)
        sync(target.parent)
    finally:
        part.unlink(missing_ok=True)


def _take(source: Path, part: Path) -> None:
    """Copy an attachment, and read the copy back."""
    shutil.copyfile(source, part)
    sync(part)
    if found_in(part.parent, part.name, sha256=source.name) is not Found.PRESENT:
        raise JournalDamaged(f"{source}: was changed", path=source)
    part.chmod(KEPT_MODE)


def _copy(path: Path, part: Path) -> None:
    source = sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True)
    copy = sqlite3.connect(part, isolation_level=None)
    try:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
        said = copy.execute("PRAGMA integrity_check(1)").fetchone()[0]
    finally:
        copy.close()
        source.close()
    if said != "ok":
        raise JournalDamaged(f"{path}: is not sound ({said}); restore an older backup", path=path)
