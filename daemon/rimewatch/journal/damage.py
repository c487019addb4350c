"""What connections of this process have met of a journal's damage, by file.

Many threads read a journal, each through connections of its own. Who meets damage may be
a page that nobody looks at any more, or a picture of a message. So it is noted here, where
every error of SQLite's passes (:func:`rimewatch.journal.errors.speaking_plainly`), and the
service looks here at each turn of its loop. For any thread.

What is lost in part is told apart: a packed day that cannot be read, a row that is not as it
was sealed. The pages around it are sound, and what is written elsewhere stays readable.
"""

import threading
from pathlib import Path
from typing import Final

_lock: Final = threading.Lock()
_met: Final[dict[tuple[Path, bool], str]] = {}


def note(path: Path, what: str, *, in_part: bool = False) -> None:
    """Note what a connection has met; the first of a file is kept.

    Args:
        path: The journal's file.
        what: A sentence with the cure.
        in_part: Whether a part of the record is lost, and the file's pages are sound.
    """
    with _lock:
        _met.setdefault((path.absolute(), in_part), what)


def met(path: Path, *, in_part: bool = False) -> str:
    """Return what was met of a file; empty: nothing was."""
    if not _met:
        return ""
    with _lock:
        return _met.get((path.absolute(), in_part), "")


def forget(path: Path) -> None:
    """Begin anew with a file: it was put back, or looked over and found sound."""
    with _lock:
        for in_part in (False, True):
            _met.pop((path.absolute(), in_part), None)
