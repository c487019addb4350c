"""The journal as readers see it, in other threads and other processes.

Every question is answered from one snapshot and ends at once: a reader that stays in a
transaction would keep the WAL from being cut back. Writes nothing.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - the plain name is a parameter's
from pathlib import Path
from typing import Self

from rimewatch.entries import AnyEntry
from rimewatch.evaluation.hourly import GoverningHours, MeasuredHours
from rimewatch.evaluation.store import Span
from rimewatch.journal import (
    alarms,
    checkpoints,
    entries,
    events,
    outbox,
    quarantine,
    readings,
    rollups,
    seal_chain,
    seals,
    thinning,
    verification,
)
from rimewatch.journal.backup import backup_journal
from rimewatch.journal.connection import DEFAULT_BUSY_S, connect_reader
from rimewatch.journal.errors import speaking_plainly
from rimewatch.journal.schema import refuse_foreign, refuse_older
from rimewatch.readings import Quarantined
from rimewatch.vocabulary import LotId, ProbeId


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalSize:
    """How much room the journal takes, in bytes."""

    file_bytes: int
    wal_bytes: int
    free_bytes: int
    """Of the file, what is free for new rows."""


class JournalReads:
    """What can be asked of a journal; the writer's and the readers' connections share it.

    Bound to the thread that opened it. Implements
    :class:`rimewatch.evaluation.hourly.HourStore`. Every method raises a
    :class:`rimewatch.journal.errors.JournalError` where the file cannot be read.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    def close(self) -> None:
        """Close the connection; closing again does nothing."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _snapshot(self) -> Iterator[sqlite3.Connection]:
        """Give one unchanging view; inside a batch, the batch's own."""
        connection = self._connection
        with speaking_plainly(self.path):
            if connection.in_transaction:
                yield connection
                return
            connection.execute("BEGIN")
            try:
                yield connection
            finally:
                with suppress(sqlite3.Error):  # the answer or the first error is what counts
                    connection.execute("COMMIT")

    # --- readings ---

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        """Return the readings with ``from_ms <= time <= to_ms``; None leaves that side open.

        Args:
            probe: The probe; one never heard of has no readings.
            from_ms: First instant, milliseconds since the epoch.
            to_ms: Last instant, milliseconds since the epoch.
        """
        with self._snapshot() as connection:
            return readings.span(connection, probe, from_ms, to_ms)

    def last_before(self, probe: ProbeId, before_ms: int) -> tuple[int, float] | None:
        """Return time and value of the last reading with ``time < before_ms``, if any."""
        with self._snapshot() as connection:
            return readings.last_before(connection, probe, before_ms)

    def full_span(
        self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None
    ) -> readings.FullSpan:
        """Return the same readings with what the probe sent and when each arrived."""
        with self._snapshot() as connection:
            return readings.full_span(connection, probe, from_ms, to_ms)

    def hour_ranges(self, probe: ProbeId, from_ms: int, to_ms: int) -> list[thinning.HourRange]:
        """Return what is left of readings that needed not be kept any longer."""
        with self._snapshot() as connection:
            return thinning.hour_ranges(connection, probe, from_ms, to_ms)

    def hours(self, probe: ProbeId, from_ms: int, to_ms: int, gaps_over_ms: float) -> MeasuredHours:
        """Return a probe's hours; see :class:`rimewatch.evaluation.hourly.HourStore`."""
        with self._snapshot() as connection:
            return rollups.hours(connection, probe, from_ms, to_ms, gaps_over_ms)

    def governing_hours(
        self, probe: ProbeId, lag_s: float, stale_ms: float, from_ms: int, to_ms: int
    ) -> GoverningHours:
        """Return what was rolled up of a governing temperature; see the same."""
        with self._snapshot() as connection:
            return rollups.governing_hours(connection, probe, lag_s, stale_ms, from_ms, to_ms)

    def changes(self, probe: ProbeId, from_ms: int, to_ms: int) -> Span:
        """Return a contact's changes; see the same."""
        with self._snapshot() as connection:
            return rollups.changes(connection, probe, from_ms, to_ms)

    def oldest_ms(self, probe: ProbeId) -> int | None:
        """Return when a probe's oldest reading was taken, or its oldest hour that is left."""
        with self._snapshot() as connection:
            return rollups.oldest_ms(connection, probe)

    def known_probes(self) -> list[ProbeId]:
        """Return the probes that ever had a reading."""
        with self._snapshot() as connection:
            return readings.known_probes(connection)

    def battery_levels(
        self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None
    ) -> list[tuple[int, float]]:
        """Return each hour's first instant and its lowest battery level."""
        with self._snapshot() as connection:
            return readings.battery_levels(connection, probe, from_ms, to_ms)

    def conflict_counts(self) -> dict[ProbeId, int]:
        """Return how many reading times of each probe came with differing values."""
        with self._snapshot() as connection:
            return readings.conflict_counts(connection)

    def conflicts(self, probe: ProbeId) -> list[readings.Conflict]:
        """Return a probe's latest conflicts, oldest first."""
        with self._snapshot() as connection:
            return readings.conflicts(connection, probe)

    def changed_hours(self, after_seq: int, limit: int = 1000) -> list[readings.ChangedHour]:
        """Return the hours with new readings after a follower's cursor."""
        with self._snapshot() as connection:
            return readings.changed_hours(connection, after_seq, limit)

    def changed_hours_behind(self, after_seq: int) -> int:
        """Return how many hours wait behind a follower's cursor."""
        with self._snapshot() as connection:
            return readings.changed_hours_behind(connection, after_seq)

    # --- entries, alarms, messages ---

    def entries_after(self, number: int, limit: int = 10_000) -> list[tuple[int, AnyEntry]]:
        """Return the entries that came after the one with this number; 0 for all."""
        with self._snapshot() as connection:
            return entries.after(connection, number, limit)

    def entries_page(
        self, number: int, from_ms: int, to_ms: int, limit: int
    ) -> list[entries.EntryRow]:
        """Return those that came after a number, with ``from_ms <= at <= to_ms``."""
        with self._snapshot() as connection:
            return entries.page(connection, number, from_ms, to_ms, limit)

    def entries_of_lot(self, lot: LotId) -> list[tuple[int, AnyEntry]]:
        """Return a lot's entries in the order they came."""
        with self._snapshot() as connection:
            return entries.of_lot(connection, lot)

    def entries_about_lot(self, lot: LotId) -> list[AnyEntry]:
        """Return a lot's entries and every cancellation, in the order they came."""
        with self._snapshot() as connection:
            return entries.about_lot(connection, lot)

    def alarm(self, alarm_id: str) -> alarms.AlarmRow | None:
        """Return an alarm by its id, if there is one."""
        with self._snapshot() as connection:
            return alarms.get(connection, alarm_id)

    def alarms_between(self, from_ms: int, to_ms: int) -> list[alarms.AlarmRow]:
        """Return the alarms that stood at some time in ``from_ms … to_ms``."""
        with self._snapshot() as connection:
            return alarms.between(connection, from_ms, to_ms)

    def alarms_page(
        self, from_ms: int, to_ms: int, after: str | None, limit: int
    ) -> list[alarms.AlarmRow]:
        """Return at most so many of them; those that follow the alarm with an id."""
        with self._snapshot() as connection:
            return alarms.page(connection, from_ms, to_ms, after, limit)

    def messages_between(self, from_ms: int, to_ms: int) -> list[alarms.MessageRow]:
        """Return the messages with ``from_ms <= at <= to_ms``."""
        with self._snapshot() as connection:
            return alarms.messages_between(connection, from_ms, to_ms)

    def outbox_due(self, now_ms: int, limit: int = 100) -> list[outbox.OutboxRow]:
        """Return what may be sent by now: the urgent first, then in the order it was added."""
        with self._snapshot() as connection:
            return outbox.due(connection, now_ms, limit)

    def outbox_of(self, alarm_id: str) -> list[outbox.Fate]:
        """Return what became of the messages about an alarm."""
        with self._snapshot() as connection:
            return outbox.of_alarm(connection, alarm_id)

    def outbox_backlog(self) -> outbox.Backlog:
        """Return how much waits to be sent, and since when."""
        with self._snapshot() as connection:
            return outbox.backlog(connection)

    # --- quarantine ---

    def quarantine_latest(self, limit: int = 100) -> list[Quarantined]:
        """Return what was put into quarantine last, newest first."""
        with self._snapshot() as connection:
            return quarantine.latest(connection, limit)

    def quarantine_rows(self, limit: int = 100) -> list[tuple[int, Quarantined]]:
        """Return the same with the number of each row, newest first."""
        with self._snapshot() as connection:
            return quarantine.numbered(connection, limit)

    def quarantine_payload(self, number: int) -> bytes | None:
        """Return the payload kept whole beside a row; None: its start is all that is kept."""
        with self._snapshot() as connection:
            return quarantine.whole(connection, number)

    def quarantine_room(self) -> quarantine.QuarantineRoom:
        """Return how much of quarantine is kept, and how much had to go."""
        with self._snapshot() as connection:
            return quarantine.room(connection)

    def quarantine_counts(
        self, from_ms: int | None = None, to_ms: int | None = None
    ) -> quarantine.QuarantineCounts:
        """Return how much came, by reason; whole hours that hold the instants and between."""
        with self._snapshot() as connection:
            return quarantine.counts(connection, from_ms, to_ms)

    def quarantine_topics(self, limit: int = 100) -> list[tuple[str, int, int]]:
        """Return topic, count and latest arrival, the largest counts first."""
        with self._snapshot() as connection:
            return quarantine.topics(connection, limit)

    # --- the service's own memory ---

    def latest_checkpoint(self, name: str, before_ms: int | None = None) -> tuple[int, str] | None:
        """Return the newest checkpoint with ``at < before_ms``; None for the newest of all."""
        with self._snapshot() as connection:
            return checkpoints.latest(connection, name, before_ms)

    def load_state(self, name: str) -> str | None:
        """Return a state by its name, if it was ever saved."""
        with self._snapshot() as connection:
            return checkpoints.load_state(connection, name)

    def events_between(self, from_ms: int, to_ms: int) -> list[events.EventRow]:
        """Return the service's own events with ``from_ms <= at <= to_ms``."""
        with self._snapshot() as connection:
            return events.between(connection, from_ms, to_ms)

    def summary_done(self, date: Date) -> bool:
        """Return whether the morning of a local date has its summary."""
        return self.summary(date) is not None

    def summary(self, date: Date) -> events.SummaryRow | None:
        """Return a morning's summary by its local date, if it was made."""
        with self._snapshot() as connection:
            return events.summary_of(connection, date)

    def latest_summary(self) -> events.SummaryRow | None:
        """Return the summary of the latest morning that has one."""
        with self._snapshot() as connection:
            return events.latest_summary(connection)

    def summary_dates(self, limit: int = 400, before: Date | None = None) -> list[Date]:
        """Return the mornings that have a summary, the latest first; those before a date."""
        with self._snapshot() as connection:
            return events.summary_dates(connection, limit, before)

    # --- seals ---

    def latest_seal(self) -> seals.SealRow | None:
        """Return the seal of the last local day that has one."""
        with self._snapshot() as connection:
            return seals.latest_day(connection)

    def seal_of_day(self, day: Date) -> seals.SealRow | None:
        """Return the seal of a local day, if it has one."""
        with self._snapshot() as connection:
            return seals.of_day(connection, day)

    def seal_rows(self) -> list[seals.SealRow]:
        """Return every seal, in the order they were made."""
        with self._snapshot() as connection:
            return seals.rows(connection)

    def check_seals(self) -> list[seal_chain.SealFinding]:
        """Recompute every seal; return what is not as it was sealed, the first day first.

        About a second for a year of five units.
        """
        with self._snapshot() as connection:
            return seal_chain.findings(connection)

    # --- the file ---

    def size(self) -> JournalSize:
        """Return how much room the journal takes."""
        with self._snapshot() as connection:
            page, free = (
                connection.execute(f"PRAGMA {name}").fetchone()[0]
                for name in ("page_size", "freelist_count")
            )
        wal = self.path.with_name(self.path.name + "-wal")
        return JournalSize(
            file_bytes=self.path.stat().st_size,
            wal_bytes=wal.stat().st_size if wal.exists() else 0,
            free_bytes=page * free,
        )

    def verify(self) -> list[str]:
        """Return what is wrong with the journal, in words; nothing for a sound one.

        Looks over every page, reference, packed day and entry: seconds on a large file.
        """
        with self._snapshot() as connection:
            return verification.findings(connection)

    def backup(self, to_path: Path) -> int:
        """Write a sound copy of what is committed; see :func:`.backup.backup_journal`.

        Returns:
            The size of the copy in bytes.
        """
        return backup_journal(self.path, to_path)


class JournalReader(JournalReads):
    """A journal opened for reading only, by any thread or process."""

    @classmethod
    def open(cls, path: Path, *, busy_s: float = DEFAULT_BUSY_S) -> Self:
        """Open an existing journal.

        Args:
            path: The file.
            busy_s: How long to wait where it is locked, in seconds.

        Raises:
            JournalError: If there is none, or it cannot be read.
            JournalVersionError: If its schema is not this version's.
        """
        connection = connect_reader(path, busy_s=busy_s)
        try:
            refuse_foreign(connection, path)
            refuse_older(connection, path)
        except BaseException:
            connection.close()
            raise
        return cls(path, connection)
