"""The configuration file as it lies on the disk: looked at, and written whole or not at all.

A temporary file beside it, flushed to the disk, then renamed: a reader never sees half of it,
and a power cut leaves one or the other. Its mode and owner stay.
"""

import errno
import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from rimewatch.config.changing import tables_of
from rimewatch.config.reading import LARGEST_FILE_BYTES

MAY_BE_READ_ONLY: Final = frozenset({errno.EROFS, errno.EACCES, errno.EPERM, errno.EBUSY})


class NotWritten(Exception):  # noqa: N818 (it says what is so)
    """The file could not be written and is as it was; the text says why, for people."""


class WrittenMeanwhile(NotWritten):
    """Somebody else wrote the file since it was looked at."""


@dataclass(frozen=True, slots=True)
class Held:
    """What a configuration file held when it was looked at. May hold secrets."""

    path: Path
    text: str
    digest: str
    """Of its bytes (SHA-256): equal as long as nobody has written it."""

    def tables(self) -> dict[str, Any]:
        """Return its tables.

        Raises:
            ValueError: If it is no TOML.
        """
        return tables_of(self.text)


def look(path: Path) -> Held:
    """Return what a file holds now.

    Raises:
        OSError: If it cannot be read.
        ValueError: If it is no text, or too large to be a configuration.
    """
    raw = path.read_bytes()
    if len(raw) > LARGEST_FILE_BYTES:
        raise ValueError(f"{path} is too large to be a configuration")
    return Held(path, raw.decode("utf-8-sig"), _digest(raw))


def read_only(path: Path) -> str:
    """Return why a file could not be replaced, for people; empty: it could be, as far as is known.

    Asked before anybody types: the rename needs the folder, and writing is asked of the file as
    well, since whoever made it read-only meant it.
    """
    target = path.resolve()
    folder = target.parent
    if not os.access(target, os.W_OK):
        return f"{target} may not be written by the service"
    if not os.access(folder, os.W_OK | os.X_OK):
        return f"the folder {folder} may not be written by the service"
    for place in (target, folder):
        if os.statvfs(place).f_flag & os.ST_RDONLY:
            return f"{place} lies on a file system that is read-only"
    found = target.stat()
    if found.st_mode & 0o222 == 0:
        return f"{target} is marked read-only"
    if os.geteuid() not in (0, found.st_uid):
        return f"{target} belongs to another user than the service's, who would lose it"
    if found.st_dev != folder.stat().st_dev:
        return f"{target} is mounted alone, so that nothing can take its place: mount its folder"
    return ""


def write(held: Held, text: str) -> Held:
    """Write a file anew that is as it was looked at; return what it holds then.

    Raises:
        WrittenMeanwhile: If it is not.
        NotWritten: If it cannot be written; it is as it was.
    """
    target = held.path.resolve()  # what a link leads to is written, and the link stays
    raw = text.encode()
    try:
        was = target.stat()
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(raw)
                file.flush()
                os.fchmod(file.fileno(), was.st_mode & 0o7777)
                if (os.geteuid(), os.getegid()) != (was.st_uid, was.st_gid):
                    os.fchown(file.fileno(), was.st_uid, was.st_gid)
                os.fsync(file.fileno())
            _require(target, held.digest)
            temporary.replace(target)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
        _flush(target.parent)
    except OSError as error:
        reason = error.strerror or str(error)
        cure = (
            "; it lies where the service may not replace it"
            if (error.errno in MAY_BE_READ_ONLY)
            else ""
        )
        raise NotWritten(f"{target} cannot be written ({reason}){cure}") from None
    return Held(held.path, text, _digest(raw))


def _require(target: Path, digest: str) -> None:
    if _digest(target.read_bytes()) != digest:
        raise WrittenMeanwhile(f"{target} was written by somebody else meanwhile")


def _flush(folder: Path) -> None:
    """Have the rename itself on the disk."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _digest(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()
