"""The truth on disk: readings, entries, alarms, outbox, in one SQLite file.

``Journal`` writes (one thread of the service; a command that adds an entry);
``JournalReader`` reads, from any thread or process. Nothing here tells the time.
"""

from rimewatch.journal.alarms import AlarmRow
from rimewatch.journal.backup import backup_journal
from rimewatch.journal.entry_codec import EntryCodecError
from rimewatch.journal.errors import (
    JournalDamaged,
    JournalError,
    JournalFull,
    JournalLocked,
    JournalVersionError,
)
from rimewatch.journal.events import EventRow, SummaryRow
from rimewatch.journal.journal import Journal
from rimewatch.journal.outbox import Backlog, OutboxRow
from rimewatch.journal.quarantine import QuarantineCounts
from rimewatch.journal.reader import JournalReader, JournalReads, JournalSize
from rimewatch.journal.readings import ChangedHour, FullSpan

__all__ = [
    "AlarmRow",
    "Backlog",
    "ChangedHour",
    "EntryCodecError",
    "EventRow",
    "FullSpan",
    "Journal",
    "JournalDamaged",
    "JournalError",
    "JournalFull",
    "JournalLocked",
    "JournalReader",
    "JournalReads",
    "JournalSize",
    "JournalVersionError",
    "OutboxRow",
    "QuarantineCounts",
    "SummaryRow",
    "backup_journal",
]
