"""The journal's writing side: the truth on disk, behind one door.

One thread of the service owns one :class:`Journal`. What belongs together (readings,
findings, alarms, messages) is written in one ``batch``; when the batch has ended, it is
on the disk, and only then may anything be acknowledged to the broker. A command beside
the service may open its own to add an entry. Tells no time: instants are arguments.
"""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import wraps
from pathlib import Path
from typing import Concatenate, ParamSpec, Self, TypeVar

from rimewatch.journal import (
    alarms,
    checkpoints,
    damage,
    entries,
    events,
    outbox,
    quarantine,
    rollups,
    seals,
    thinning,
)
from rimewatch.journal.blocks import BlockDamagedError
from rimewatch.journal.connection import DEFAULT_BUSY_S, check_soundness, connect_writer
from rimewatch.journal.errors import JournalDamaged, JournalError, plainly, speaking_plainly
from rimewatch.journal.reader import JournalReads
from rimewatch.journal.reading_writer import ReadingWriter
from rimewatch.journal.schema import migrate, refuse_changed
from rimewatch.readings import Reading
from rimewatch.vocabulary import ProbeId

P = ParamSpec("P")
Done = TypeVar("Done")


def writes(
    change: Callable[Concatenate[sqlite3.Connection, P], Done],
) -> Callable[Concatenate["Journal", P], Done]:
    """Return a change of the tables as the journal's method, made in the batch or one of its own.

    Each is declared once, beside its tables, with what it means and takes.
    """

    @wraps(change)
    def method(self: "Journal", /, *args: P.args, **kwargs: P.kwargs) -> Done:
        with self._writing() as connection:
            return change(connection, *args, **kwargs)

    return method


class Journal(JournalReads):
    """A journal open for writing, bound to the thread that opened it.

    A method that writes outside a ``batch`` is a batch of its own.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        super().__init__(path, connection)
        self._readings = ReadingWriter(connection)
        self._in_batch = False
        self._spoiled = False
        self._seen_version: int | None = None
        self._seen_schema: int | None = None
        self._unrolled: list[int] | None = None
        """Probes whose packed days an older version may have left without a roll-up."""

    @classmethod
    def open(
        cls,
        path: Path,
        *,
        check: bool = True,
        busy_s: float = DEFAULT_BUSY_S,
        connection_type: type[sqlite3.Connection] = sqlite3.Connection,
    ) -> Self:
        """Open a journal, make it where there is none, bring its schema forward.

        Args:
            path: The file, on a local disk.
            check: Let SQLite look the file over first; who only adds an entry within the
                service may leave that to it, and is refused where damage was met.
            busy_s: How long to wait for another connection's write, in seconds.
            connection_type: What SQLite's connection is opened as.

        Raises:
            JournalDamaged: If the file is not sound.
            JournalVersionError: If a newer version or another program wrote it.
            JournalError: If it cannot be opened or brought forward.
        """
        if not check and (found := damage.met(path)):
            raise JournalDamaged(f"{found}. Nothing is written to it meanwhile", path=path)
        connection = connect_writer(path, busy_s=busy_s, connection_type=connection_type)
        try:
            if check:
                check_soundness(connection, path)
            migrate(connection, path)
            refuse_changed(connection, path)
        except BaseException:
            connection.close()
            raise
        return cls(path, connection)

    # --- transactions ---

    @contextmanager
    def batch(self) -> Iterator[None]:
        """Write what is written inside as one, or not at all.

        When the block has ended, all is on the disk. Any error inside undoes all of it.

        Raises:
            JournalFull: If there is no room; the caller keeps its batch and tries again.
            JournalLocked: If another process writes for longer than the wait.
            JournalError: For anything else that goes wrong with the file.
        """
        assert not self._in_batch, "a batch cannot hold another"
        connection = self._connection
        with speaking_plainly(self.path):
            connection.execute("BEGIN IMMEDIATE")
            self._in_batch = True
            self._spoiled = False
            try:
                self._notice_other_writers()
                yield
                self._check_whole()
                connection.execute("COMMIT")
            except BaseException:
                self._readings.forget()
                if connection.in_transaction:
                    with suppress(sqlite3.Error):  # the first error is the one to tell
                        connection.execute("ROLLBACK")
                raise
            finally:
                self._in_batch = False

    def _notice_other_writers(self) -> None:
        version = self._connection.execute("PRAGMA data_version").fetchone()[0]
        if version != self._seen_version:
            self._readings.forget()
            self._seen_version = version
            self._notice_changed_schema()

    def _notice_changed_schema(self) -> None:
        """Refuse to write past a trigger or table that somebody has put into the file meanwhile."""
        schema = self._connection.execute("PRAGMA schema_version").fetchone()[0]
        if schema != self._seen_schema:
            refuse_changed(self._connection, self.path)
            self._seen_schema = schema

    def _check_whole(self) -> None:
        # After an error SQLite may have undone one statement or the whole transaction (a
        # full disk). Who swallowed it inside the batch must not keep a part of the batch.
        if self._spoiled or not self._connection.in_transaction:
            raise JournalError(
                f"{self.path}: the batch was undone after an error inside it; "
                "nothing of it was kept: try the whole batch again",
                path=self.path,
            )

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Give the connection within the batch, or within one of its own."""
        connection = self._connection
        if not self._in_batch:
            with self.batch():
                yield connection
            return
        # Spelled out: it stands around everything that a reading has written.
        if self._spoiled or not connection.in_transaction:
            self._check_whole()
        try:
            yield connection
        except JournalError:
            self._spoiled = True
            raise
        except sqlite3.ProgrammingError:
            raise
        except (sqlite3.Error, BlockDamagedError) as error:
            self._spoiled = True
            raise plainly(error, self.path) from error

    # --- readings ---

    def add_readings(self, batch: Sequence[Reading]) -> list[bool]:
        """Add readings, each once; the larger value stands where two bear one time.

        Values are kept to 0.001; what the probe sent is kept exactly.

        Args:
            batch: Any order, any repetition.

        Returns:
            For each whether it added a reading or raised the value of one.

        Raises:
            ValueError: If a number is not finite or cannot be one of a reading; none of
                them is added then.
        """
        with self._writing():
            return self._readings.add(batch)

    def mark_changed(self, from_ms: int, to_ms: int) -> int:
        """Let whoever follows ``changed_hours`` see a period's hours once more.

        Args:
            from_ms: The hour that holds this instant is the first.
            to_ms: The hour that holds this instant is the last.

        Returns:
            How many hours of a probe they will see again.
        """
        with self._writing():
            return self._readings.mark_changed(from_ms, to_ms)

    def compact(self, before_ms: int, max_blocks: int = 8) -> int:
        """Pack the readings of UTC days that are over, a transaction for each block.

        Each takes some milliseconds, so that a batch never waits long. What is read does
        not change by it. Call it again while it returns ``max_blocks``.

        Args:
            before_ms: Days that ended by then are packed. A day or two back, since
                late readings cost least before their day is packed.
            max_blocks: At most so many probe-days.

        Returns:
            How many were packed.
        """
        assert not self._in_batch, "compaction commits block by block, outside a batch"
        for done in range(max_blocks):
            with self._writing():
                found = self._readings.oldest_whole_day(before_ms)
                if found is None:
                    return done
                self._readings.pack_day(*found)
        return max_blocks

    def roll_up(self, lags: Sequence[tuple[ProbeId, float, float]], most_days: int) -> int:
        """Roll up packed days for long curves; see :mod:`.rollups`.

        Args:
            lags: Governing probes whose air is seen through a lag: the probe, its lag in
                seconds, and its stale time in milliseconds.
            most_days: At most so many days of a probe, in one transaction. Looking a probe
                over for days that an older version left counts as one.

        Returns:
            How many; fewer than ``most_days``: there is no more to do for now.
        """
        with self._writing() as connection:
            done = 0
            if self._unrolled is None:
                self._unrolled = rollups.probe_numbers(connection)
            while self._unrolled and done < most_days:
                left = most_days - done
                found = rollups.roll_up_missing(connection, self._unrolled[-1], left)
                if found < left:
                    self._unrolled.pop()
                done += min(found + 1, left)
            for probe, lag_s, stale_ms in lags:
                if done >= most_days:
                    break
                done += rollups.roll_up_governing(
                    connection, probe, lag_s, stale_ms, most_days - done
                )
        return done

    def thin_readings(self, probe: ProbeId, before_ms: int, most_days: int = 1) -> int:
        """Thin out a probe's readings to the range of each hour; see :mod:`.thinning`.

        Args:
            probe: The probe.
            before_ms: Until when readings need not be kept any longer.
            most_days: At most so many UTC days, a transaction each.

        Returns:
            How many days were thinned out.
        """
        assert not self._in_batch, "thinning commits day by day, outside a batch"
        for done in range(most_days):
            with self._writing() as connection:
                if not thinning.thin_oldest_day(connection, probe, before_ms):
                    return done
                self._readings.forget()
        return most_days

    add_quarantined = writes(quarantine.add)
    drop_quarantined = writes(quarantine.drop)

    # --- entries, alarms, messages ---

    add_entry = writes(entries.add)
    put_alarm = writes(alarms.put)
    add_message = writes(alarms.add_message)
    outbox_add = writes(outbox.add)
    outbox_supersede = writes(outbox.supersede)
    outbox_sent = writes(outbox.sent)
    outbox_failed = writes(outbox.failed)
    outbox_bring_forward = writes(outbox.bring_forward)
    outbox_prune = writes(outbox.prune)

    # --- the service's own memory ---

    save_checkpoint = writes(checkpoints.save)
    drop_checkpoints = writes(checkpoints.drop)
    save_state = writes(checkpoints.save_state)
    drop_state = writes(checkpoints.drop_state)
    add_event = writes(events.add)
    put_summary = writes(events.put_summary)

    def seal_days(self, timezone: str, now_ms: int, most: int = 1) -> int:
        """Seal local days that are over, each in a transaction of its own.

        Args:
            timezone: Whose midnights divide the days.
            now_ms: The present instant.
            most: At most so many days; call it again while it returns that many.

        Returns:
            How many days were sealed.
        """
        assert not self._in_batch, "sealing commits day by day, outside a batch"
        for done in range(most):
            with self._writing() as connection:
                if not seals.seal_next_day(connection, timezone, now_ms):
                    return done
                self._readings.forget()
        return most

    # --- the file ---

    def checkpoint_wal(self, *, wait_s: float = 0.5) -> bool:
        """Move the WAL into the file and cut it back to nothing, if nobody stands in the way.

        Args:
            wait_s: How long to wait for readers, in seconds; batches wait as long.

        Returns:
            False: a reader or another writer stood in the way; the WAL stays for now.
        """
        assert not self._in_batch, "the WAL is moved outside a batch"
        with speaking_plainly(self.path):
            usual_ms = self._connection.execute("PRAGMA busy_timeout").fetchone()[0]
            self._connection.execute(f"PRAGMA busy_timeout = {round(wait_s * 1000)}")
            try:
                blocked, _, _ = self._connection.execute(
                    "PRAGMA wal_checkpoint(TRUNCATE)"
                ).fetchone()
            finally:
                self._connection.execute(f"PRAGMA busy_timeout = {usual_ms}")
        return not blocked
