"""Files put on record beside the journal: each under the SHA-256 of its bytes, for ever.

``attachments/`` lies next to the journal's file. A file there is never overwritten and
never removed: the same bytes are the same file, other bytes have another name. The folder
is made for its owner alone: suppliers' papers name people.
"""

import hashlib
import os
import tempfile
from enum import StrEnum
from pathlib import Path
from typing import Final, NamedTuple

from rimewatch.journal.errors import JournalError

LARGEST_BYTES: Final = 50_000_000
"""A scanned statement has a few megabytes; a film given by mistake goes beyond."""

PRIVATE_FOLDER: Final = 0o700
KEPT_MODE: Final = 0o400
"""A file on record is never written to again."""

_READ_BYTES: Final = 1 << 20


class Found(StrEnum):
    """What became of a file that was put on record."""

    PRESENT = "present"
    CHANGED = "changed"
    MISSING = "missing"


class AttachmentError(JournalError):
    """A file cannot be put on record; the message says why, and what would help."""


class Kept(NamedTuple):
    """A file on record."""

    name: str
    sha256: str


def folder_of(journal: Path) -> Path:
    """Return the folder that belongs to a journal."""
    return journal.resolve().parent / "attachments"


def keep(journal: Path, file: Path) -> Kept:
    """Copy a file to where it stays.

    Args:
        journal: The journal's file.
        file: What to keep; it is read and left as it is.

    Raises:
        AttachmentError: If it cannot be read or kept, is empty or too large, or what is
            kept under its name was changed since.
    """
    try:
        if file.stat().st_size > LARGEST_BYTES:
            raise AttachmentError(
                f"{file} is larger than {LARGEST_BYTES} bytes; expected a statement, such as a "
                "scan as PDF"
            )
        content = file.read_bytes()
    except OSError as error:
        raise AttachmentError(f"{file} cannot be kept: {error.strerror or error}") from None
    return Kept(file.name, keep_content(journal, content, str(file)))


def keep_content(journal: Path, content: bytes, called: str) -> str:
    """Put bytes where they stay; return their SHA-256, under which they are found.

    Args:
        journal: The journal's file.
        content: What to keep.
        called: How people call it, for what is said if it cannot be kept.

    Raises:
        AttachmentError: If it is empty or cannot be kept, or what is kept under its name
            was changed since.
    """
    if not content:
        raise AttachmentError(f"{called} is empty; expected a statement, such as a scan as PDF")
    sha256 = hashlib.sha256(content).hexdigest()
    target = folder_of(journal) / sha256
    try:
        target.parent.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
        if not target.exists():
            _write_once(target, content)
    except OSError as error:
        raise AttachmentError(f"{called} cannot be kept: {error.strerror or error}") from None
    if found(journal, sha256) is not Found.PRESENT:
        raise AttachmentError(
            f"{target} is not what was put there: restore it from a backup, then attach again"
        )
    return sha256


def found(journal: Path, sha256: str) -> Found:
    """Return whether a file on record is there and unchanged."""
    return found_in(folder_of(journal), sha256)


def found_in(folder: Path, name: str, *, sha256: str | None = None) -> Found:
    """Return whether a folder has a file, and with the bytes that it should have.

    Args:
        folder: The folder.
        name: The file's name in it.
        sha256: Of the bytes it should have; None: its name says.
    """
    sha256 = name if sha256 is None else sha256
    digest = hashlib.sha256()
    try:
        with (folder / name).open("rb") as file:
            while part := file.read(_READ_BYTES):
                digest.update(part)
    except OSError:
        return Found.MISSING
    return Found.PRESENT if digest.hexdigest() == sha256 else Found.CHANGED


def _write_once(target: Path, content: bytes) -> None:
    """Write a whole file or none; if somebody was quicker, theirs stays."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=".attaching-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(KEPT_MODE)
        try:
            os.link(name, target)
        except FileExistsError:
            return
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    finally:
        Path(name).unlink(missing_ok=True)
