"""The key of the links: made at the first start, kept in a file beside the journal.

It is not kept in the journal itself, since copies of that are handed to others. Removing
the file makes every link that was sent void; the next start makes a new one.
"""

import os
import secrets
from contextlib import suppress
from pathlib import Path

from rimewatch.web.links import KEY_BYTES


class LinkKeyError(Exception):
    """The key cannot be had; the text says why, and what helps."""


def key_path(journal_path: Path) -> Path:
    """Return where the key of a journal's links is kept."""
    return journal_path.with_name(journal_path.name + ".links-key")


def link_key(path: Path) -> bytes:
    """Return the key in a file; make it where there is none, for its owner alone to read.

    Two processes may do this at once: both come to the same key.

    Raises:
        LinkKeyError: If the file cannot be read or made, or holds no key.
    """
    try:
        with suppress(FileNotFoundError):
            return _read(path)
        return _make(path)
    except OSError as error:
        raise LinkKeyError(
            f"{path}: the key of the links cannot be read or made ({error.strerror or error}); "
            "messages hold no link until the folder can be written"
        ) from None


def _read(path: Path) -> bytes:
    key = path.read_bytes()
    if len(key) != KEY_BYTES:
        raise LinkKeyError(
            f"{path}: holds {len(key)} bytes, expected the {KEY_BYTES} of a key; remove it, and "
            "a new one is made (links sent before serve no more)"
        )
    return key


def _make(path: Path) -> bytes:
    temporary = path.with_name(f".{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    key = secrets.token_bytes(KEY_BYTES)
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(key)
            file.flush()
            os.fsync(file.fileno())
        # A link to a name that is taken fails: whoever came first has made the key.
        try:
            os.link(temporary, path)
        except FileExistsError:
            return _read(path)
    finally:
        temporary.unlink(missing_ok=True)
    return key
