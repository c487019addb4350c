"""One service a journal: a second one would throw the first off the broker, and again."""

import errno
import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO


class Locked(Exception):  # noqa: N818 (it says what is so)
    """Another service has this journal."""


@contextmanager
def only_one(journal: Path) -> Iterator[None]:
    """Hold a journal's lock; it ends with the process, however that ends.

    Raises:
        Locked: If another service holds it, or the folder cannot be written to.
    """
    real = journal.resolve()  # by whatever link it is named, it is one journal
    path = real.with_name(real.name + ".lock")
    try:
        file = _opened(path)
    except OSError as error:
        raise Locked(
            f"{path} cannot be written ({error.strerror}); choose a journal in a folder that "
            "the service may write to"
        ) from None
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise Locked(
                f"another service is running with the journal {journal}; stop it first, or name "
                "another file with --journal"
            ) from None
        yield


def _opened(path: Path) -> IO[str]:
    try:
        return path.open("w", encoding="ascii")
    except OSError as error:
        # A disk that has gone read-only must not end the watch; a lock needs no writing.
        if error.errno == errno.EROFS and path.exists():
            return path.open(encoding="ascii")
        raise
