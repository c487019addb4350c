"""Looks the journal's file over now and then while the service runs, as it lies on the disk.

The service has the pages it works with in memory, and so does the system: a page that the
disk has spoiled may be met by nobody for weeks, and what is acknowledged meanwhile may not be
readable later. So a process of its own, at the lowest priority, has the system drop what it
holds of the file, and lets SQLite look over every page anew. Once a day it reads what is in
them as well, and holds it against the seals. The writer waits for none of it. Changes nothing.

As a program, for that process:

    python -m rimewatch.service.file_look /var/lib/rimewatch/rimewatch.db

References:
    [1] SQLite, "PRAGMA quick_check"; [2] posix_fadvise(2), POSIX_FADV_DONTNEED: "pages that
    have not yet been written out will be unaffected".
"""

import os
import sqlite3
import subprocess
import sys
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from rimewatch.clock import Clock
from rimewatch.journal import seal_chain
from rimewatch.journal.connection import check_soundness, connect_reader
from rimewatch.journal.errors import JournalDamaged, JournalError, speaking_plainly
from rimewatch.journal.schema import is_newest, refuse_changed, refuse_foreign
from rimewatch.journal.verification import of_pages, of_record

EVERY_S: Final = 3600.0
"""How often (our choice): what is lost to a spoiled page unheard is an hour's at most."""
WITHIN_S: Final = 1800.0
"""A look that takes longer has come to nothing (our choice)."""
IN_FULL_EACH: Final = 24
"""Of so many looks one is in full, the first of them (our choice)."""
IN_FULL: Final = "--in-full"
LEAST_PRIORITY: Final = 19
"""By nice(2); the priority at the disk follows from it where the system knows one."""
DAMAGED: Final = 4
"""The exit code for a file that is not sound; Python's own failures end with 1."""
NOT_LOOKED: Final = 3
CHANGED: Final = 5
"""The exit code for sound pages and a record that is not."""
FINDINGS_TOLD: Final = 3


@dataclass(frozen=True, slots=True)
class Looked:
    """What came of a look."""

    damage: str = ""
    """What is wrong with the file, with the cure; empty: nothing was found."""
    record: str = ""
    """What of the record cannot be read or is not as it was sealed, in pages that are sound."""
    failure: str = ""
    """Why it could not be looked over; empty: it was."""

    @property
    def is_sound(self) -> bool:
        """Whether it was looked over and nothing was found."""
        return not (self.damage or self.record or self.failure)


class FileLook:
    """Looks at one journal's file again and again; used by one thread, which never waits.

    Args:
        path: The journal's file.
        clock: Measures how long ago the last look was.
        every_s: How often it is looked at, from the start on.
    """

    def __init__(self, path: Path, clock: Clock, *, every_s: float = EVERY_S) -> None:
        self._path = path
        self._clock = clock
        self._every_s = every_s
        self._began_s = clock.monotonic_s()
        self._looks = 0
        self._process: subprocess.Popen[str] | None = None

    def turn(self) -> Looked | None:
        """Begin a look where one is due; return what one has found that has ended, once."""
        if self._process is None and self._clock.monotonic_s() - self._began_s >= self._every_s:
            self._looks += 1
            return self.begin(in_full=self._looks % IN_FULL_EACH == 1)
        return self.take()

    def begin(self, *, in_full: bool = False) -> Looked | None:
        """Begin to look; in full, at every packed day, entry and seal as well.

        Returns:
            None, or why it could not be begun.
        """
        self.end()
        self._began_s = self._clock.monotonic_s()
        command = [sys.executable, "-m", "rimewatch.service.file_look", str(self._path)]
        try:
            self._process = subprocess.Popen(  # noqa: S603 (our own program, our own file)
                [*command, *([IN_FULL] if in_full else [])],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                errors="replace",
            )
        except OSError as error:
            return Looked(failure=f"no process can be started ({error.strerror})")
        return None

    def take(self) -> Looked | None:
        """Return what the look has found that was begun, once it has ended; then None."""
        process = self._process
        if process is None:
            return None
        code = process.poll()
        if code is None:
            if self._clock.monotonic_s() - self._began_s < WITHIN_S:
                return None
            self.end()
            return Looked(failure=f"it was not done within {WITHIN_S / 60:.0f} min")
        said = self._said(process)
        self._process = None
        return looked(code, said)

    def end(self) -> None:
        """End a look that is under way."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._said(self._process)
            self._process = None

    @staticmethod
    def _said(process: "subprocess.Popen[str]") -> str:
        """Return what a process that has ended has said; a few sentences, so no pipe is full."""
        assert process.stdout is not None
        with process.stdout as said:
            return said.read().strip()


def looked(code: int, said: str) -> Looked:
    """Return what a look's exit code and words mean.

    >>> looked(0, "").is_sound, looked(4, "page 7").damage
    (True, 'page 7')
    >>> looked(5, "a day").record
    'a day'
    >>> looked(-9, "").failure
    'its process ended with -9'
    """
    if code == 0:
        return Looked()
    if code == DAMAGED and said:
        return Looked(damage=said)
    if code == CHANGED and said:
        return Looked(record=said)
    return Looked(failure=said or f"its process ended with {code}")


def look(path: Path, *, in_full: bool = False) -> str:
    """Look a journal's file over as it lies on the disk.

    Args:
        path: The file. This process must have no connection to it.
        in_full: At indexes, packed days, references, entries and seals as well.

    Returns:
        What of the record cannot be read or is not as it was sealed, with what to do about
        it; empty: nothing is, or it was not looked at.

    Raises:
        JournalDamaged: If the file's pages are not sound.
        JournalError: If it cannot be looked over.
    """
    _have_it_read_anew(path)
    with closing(connect_reader(path)) as connection:
        check_soundness(connection, path)
        if path.stat().st_size == 0:  # which SQLite takes for a file that is just begun
            raise JournalDamaged(f"{path}: is empty; restore the latest backup", path=path)
        refuse_foreign(connection, path)
        if is_newest(connection):  # a program installed meanwhile may know a further step
            refuse_changed(connection, path)
        return _read_through(connection, path) if in_full else ""


def _read_through(connection: sqlite3.Connection, path: Path) -> str:
    with speaking_plainly(path):
        connection.execute("BEGIN")
        if wrong := list(of_pages(connection)):
            said = "; ".join(wrong[:FINDINGS_TOLD])
            raise JournalDamaged(
                f"{path}: {said}; keep this file aside and restore the latest backup", path=path
            )
        found = list(of_record(connection))
        if not found:  # seals are over what is read: what cannot be read has no seal either
            found = [str(finding) for finding in seal_chain.findings(connection)]
    if not found:
        return ""
    more = len(found) - FINDINGS_TOLD
    told = "; ".join(found[:FINDINGS_TOLD]) + (f"; and {more} more" if more > 0 else "")
    return f"{path}: {told}; look with rimewatch verify, and compare it with a backup"


def _have_it_read_anew(path: Path) -> None:
    """Have the system drop what it holds of the file in memory, by [2]."""
    with suppress(OSError, AttributeError):  # it is advice only, and not every system has it
        handle = os.open(path, os.O_RDONLY)
        try:
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
        finally:
            os.close(handle)


def main(arguments: list[str]) -> int:
    """Look, and say what was found; return the exit code."""
    *paths, last = arguments or [""]
    in_full = last == IN_FULL
    paths = paths if in_full else arguments
    if len(paths) != 1:
        sys.stderr.write(f"usage: python -m rimewatch.service.file_look JOURNAL [{IN_FULL}]\n")
        return 2
    with suppress(OSError):
        os.nice(LEAST_PRIORITY)
    try:
        said = look(Path(paths[0]), in_full=in_full)
    except JournalDamaged as error:
        sys.stdout.write(f"{error}\n")
        return DAMAGED
    except JournalError as error:
        sys.stdout.write(f"{error}\n")
        return NOT_LOOKED
    sys.stdout.write(said)
    return CHANGED if said else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
