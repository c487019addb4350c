"""Keeps the journal small and quick, a little at a time, so that no reading waits for it."""

from typing import Final

from rimewatch.journal.journal import Journal
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H

PACK_AFTER_MS: Final = 2 * MS_PER_DAY
"""Days that ended this long ago are packed: most late readings have come by then."""

PACK_EVERY_MS: Final = 10 * 60_000
BLOCKS_A_TIME: Final = 4
"""Some milliseconds each. 50 probes' days are packed within a few hours."""

WAL_EVERY_MS: Final = 6 * MS_PER_H

KEEP_SENT_MS: Final = 35 * MS_PER_DAY
"""Sent messages stay in the outbox for longer than any reading may be late."""


class Housekeeping:
    """Looks now and then whether something is to be tidied.

    Args:
        journal: The writer's journal.
    """

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self._pack_due_ms = 0
        self._wal_due_ms: int | None = None

    def look(self, now_ms: int) -> None:
        """Do what is due; a few milliseconds at most.

        Raises:
            JournalError: If the file cannot be written.
        """
        if self._wal_due_ms is None:
            self._wal_due_ms = now_ms + WAL_EVERY_MS
        if now_ms >= self._pack_due_ms:
            packed = self._journal.compact(now_ms - PACK_AFTER_MS, BLOCKS_A_TIME)
            # While days wait, the next few follow in a second.
            self._pack_due_ms = now_ms + (1000 if packed == BLOCKS_A_TIME else PACK_EVERY_MS)
        if now_ms >= self._wal_due_ms:
            self._wal_due_ms = now_ms + WAL_EVERY_MS
            self._journal.outbox_prune(now_ms - KEEP_SENT_MS)
            self._journal.checkpoint_wal()
