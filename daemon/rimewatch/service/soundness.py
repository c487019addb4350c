"""Whether the journal's file can be relied on while the service has it open.

Three things are looked at, at each turn of the writer's loop and before anything more is
acknowledged: whether a connection of this process has met damage, whether the look at the
file has found some, and whether the file that bears the journal's name is still the one
that is written to. Asking costs a look at the folder; the writer waits for nothing.
"""

from pathlib import Path
from typing import Final

from rimewatch.clock import Clock
from rimewatch.journal import damage
from rimewatch.journal.errors import JournalDamaged, JournalError, JournalMoved
from rimewatch.journal.reader import JournalReads
from rimewatch.service.opening import Lost, file_number, in_words
from rimewatch.service.surroundings import FileLookMaker
from rimewatch.vocabulary import MS_PER_DAY

MOVED: Final = (
    "The journal's file was taken away or replaced while the service ran. Put a sound journal "
    "there, without the -wal and -shm of the old one: it is taken up at once. What was recorded "
    "last is in the old file: keep it."
)

TAKEN_UP: Final = "taken up again"
"""The event that says why there may be a hole in the record."""
TOLD_FOR_MS: Final = MS_PER_DAY
"""For how long it is told of: one morning's message says so."""


def taken_up_ms(journal: JournalReads, now_ms: int) -> int | None:
    """Return when a file was last taken up after damage, within a day; None: none was."""
    events = journal.events_between(now_ms - TOLD_FOR_MS, now_ms)
    return max((event.at_ms for event in events if event.what == TAKEN_UP), default=None)


class Soundness:
    """Knows whether one open journal's file can be relied on.

    Args:
        path: The journal's file, just opened and found sound.
        clock: Measures when the next look is due.
        make_look: Makes what looks the file over; None: nobody does.
    """

    def __init__(self, path: Path, clock: Clock, make_look: FileLookMaker | None) -> None:
        damage.forget(path)
        self._path = path
        self._file = file_number(path)
        self._look = None if make_look is None else make_look(path, clock)
        self.look_failure = ""
        """Why the last look came to nothing; empty: it did not."""

    @property
    def unreadable(self) -> str:
        """What of the record is lost, with what to do; empty: nothing that was met."""
        return damage.met(self._path, in_part=True)

    def check(self) -> None:
        """See that what is written now will be read later, as far as that is known.

        Raises:
            JournalDamaged: If damage was met by anybody.
            JournalMoved: If the file is not the journal any more.
        """
        looked = None if self._look is None else self._look.turn()
        if looked is not None:
            self.look_failure = looked.failure
            if looked.damage:
                damage.note(self._path, looked.damage)
            if looked.record:
                damage.note(self._path, looked.record, in_part=True)
        if found := damage.met(self._path):
            raise JournalDamaged(found, path=self._path)
        if file_number(self._path) != self._file:
            raise JournalMoved(MOVED, path=self._path)

    def lost(self, error: JournalError) -> Lost:
        """Return what befell the file, for whoever waits for another."""
        damage.note(self._path, str(error))  # nobody else is to write to it
        return Lost(why=in_words(error), file=self._file)

    def stop(self) -> None:
        """End a look that is under way."""
        if self._look is not None:
            self._look.end()
