"""The journal as readers see it, in other threads and other processes.

Every question is answered from one snapshot and ends at once: a reader that stays in a
transaction would keep the WAL from being cut back. Writes nothing.
"""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - the plain name is a parameter's
from functools import wraps
from pathlib import Path
from typing import Concatenate, ParamSpec, Self, TypeVar

from rimewatch.journal import (
    alarms,
    checkpoints,
    conclusions,
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
from rimewatch.journal.blocks import BlockDamagedError
from rimewatch.journal.connection import DEFAULT_BUSY_S, connect_reader, wal_of
from rimewatch.journal.errors import plainly
from rimewatch.journal.schema import refuse_changed, refuse_foreign, refuse_older


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalSize:
    """How much room the journal takes, in bytes."""

    file_bytes: int
    wal_bytes: int
    free_bytes: int
    """Of the file, what is free for new rows."""


P = ParamSpec("P")
Answer = TypeVar("Answer")


def asks(
    question: Callable[Concatenate[sqlite3.Connection, P], Answer],
) -> Callable[Concatenate["JournalReads", P], Answer]:
    """Return a question to the tables as the journal's method, answered from one snapshot.

    Each is declared once, beside its tables, with what it means and takes.
    """

    @wraps(question)
    def method(self: "JournalReads", /, *args: P.args, **kwargs: P.kwargs) -> Answer:
        with self._snapshot() as connection:
            return question(connection, *args, **kwargs)

    return method


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
        begins = not connection.in_transaction
        try:
            if begins:
                connection.execute("BEGIN")
            yield connection
        except sqlite3.ProgrammingError:
            raise
        except (sqlite3.Error, BlockDamagedError) as error:
            raise plainly(error, self.path) from error
        finally:
            if begins:
                with suppress(sqlite3.Error):  # the answer or the first error is what counts
                    connection.execute("COMMIT")

    # --- readings ---

    span = asks(readings.span)
    last_before = asks(readings.last_before)
    full_span = asks(readings.full_span)
    hour_ranges = asks(thinning.hour_ranges)
    hours = asks(rollups.hours)
    governing_hours = asks(rollups.governing_hours)
    changes = asks(rollups.changes)
    oldest_ms = asks(rollups.oldest_ms)
    known_probes = asks(readings.known_probes)
    battery_levels = asks(readings.battery_levels)
    changed_hours = asks(readings.changed_hours)
    changed_hours_behind = asks(readings.changed_hours_behind)

    # --- entries, alarms, messages ---

    entries_after = asks(entries.after)
    settings_changes = asks(entries.settings_changes)
    corrected_places = asks(entries.corrected_places)
    entries_at_hand = asks(entries.at_hand)
    entries_page = asks(entries.page)
    entries_about_lot = asks(entries.about_lot)
    alarm = asks(alarms.get)
    alarms_between = asks(alarms.between)
    alarms_page = asks(alarms.page)
    messages_between = asks(alarms.messages_between)
    outbox_due = asks(outbox.due)
    outbox_of = asks(outbox.of_alarm)
    outbox_backlog = asks(outbox.backlog)

    # --- quarantine ---

    quarantine_latest = asks(quarantine.latest)
    quarantine_rows = asks(quarantine.numbered)
    quarantine_payload = asks(quarantine.whole)
    quarantine_room = asks(quarantine.room)
    quarantine_counts = asks(quarantine.counts)
    quarantine_topics = asks(quarantine.topics)

    # --- the service's own memory ---

    latest_checkpoint = asks(checkpoints.latest)
    proven_checkpoints = asks(seals.proven_checkpoints)
    check_conclusions = asks(conclusions.findings)
    load_state = asks(checkpoints.load_state)
    events_between = asks(events.between)
    events_of_kind = asks(events.of_kind)

    def summary_done(self, date: Date) -> bool:
        """Return whether the morning of a local date has its summary."""
        return self.summary(date) is not None

    summary = asks(events.summary_of)
    latest_summary = asks(events.latest_summary)
    summary_dates = asks(events.summary_dates)

    # --- seals ---

    latest_seal = asks(seals.latest_day)
    seal_of_day = asks(seals.of_day)
    seal_rows = asks(seals.rows)
    check_seals = asks(seal_chain.findings)

    # --- the file ---

    def size(self) -> JournalSize:
        """Return how much room the journal takes."""
        with self._snapshot() as connection:
            page, free = (
                connection.execute(f"PRAGMA {name}").fetchone()[0]
                for name in ("page_size", "freelist_count")
            )
        wal = wal_of(self.path)
        return JournalSize(
            file_bytes=self.path.stat().st_size,
            wal_bytes=wal.stat().st_size if wal.exists() else 0,
            free_bytes=page * free,
        )

    verify = asks(verification.findings)

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
            refuse_changed(connection, path)
        except BaseException:
            connection.close()
            raise
        return cls(path, connection)
