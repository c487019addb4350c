"""The journal's tables, as a list of steps forward.

A migration once released is never edited: a change is a further one at the end.
There is no way back: a file with a newer schema is refused, not guessed at.
Every table is STRICT, so that text never passes for a number.
"""

import sqlite3
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Final

from rimewatch.journal.errors import JournalDamaged, JournalVersionError, speaking_plainly

APPLICATION_ID: Final = 0x52494D45
"""Marks the file as a journal of ours: the letters RIME (our choice)."""

_LAST_MS: Final = 253_402_300_799_999
"""9999-12-31T23:59:59.999Z, the last instant that Python's datetime knows."""

LOWEST_MILLI: Final = -273_150
"""Absolute zero in thousandths of a degree Celsius (SI Brochure, 9th ed., 2.3.1)."""

HIGHEST_MILLI: Final = 1_000_000
"""Far above any probe's range; a bound against nonsense (our choice)."""

_FINDINGS_TOLD: Final = 3

_TIME: Final = f"INTEGER NOT NULL CHECK ({{0}} BETWEEN 0 AND {_LAST_MS})"

_FIRST: Final = (
    f"PRAGMA application_id = {APPLICATION_ID}",
    # --- readings ---
    """CREATE TABLE probe (
        no INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE
    ) STRICT""",
    # The tail: recent readings, and late ones until the next compaction.
    # milli: the corrected value in thousandths. raw: what the probe sent, NULL where it
    # equals the corrected value, an INTEGER in thousandths where that is exact, else a REAL.
    f"""CREATE TABLE reading (
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        observed_ms {_TIME.format("observed_ms")},
        milli INTEGER NOT NULL CHECK (milli BETWEEN {LOWEST_MILLI} AND {HIGHEST_MILLI}),
        raw ANY CHECK (raw IS NULL OR typeof(raw) IN ('integer', 'real')),
        lag_ms INTEGER NOT NULL,
        PRIMARY KEY (probe_no, observed_ms)
    ) STRICT, WITHOUT ROWID""",
    # One row for a probe's UTC day. The columns are packed apart, so that reading
    # times and values leaves the rest on the disk. An empty raws means: equal to values.
    """CREATE TABLE reading_block (
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        day INTEGER NOT NULL,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL CHECK (last_ms >= first_ms),
        readings INTEGER NOT NULL CHECK (readings > 0),
        times BLOB NOT NULL,
        millis BLOB NOT NULL,
        lags BLOB NOT NULL,
        raws BLOB NOT NULL,
        PRIMARY KEY (probe_no, day)
    ) STRICT""",
    f"""CREATE TABLE reading_conflict (
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        observed_ms {_TIME.format("observed_ms")},
        lowest_milli INTEGER NOT NULL,
        PRIMARY KEY (probe_no, observed_ms)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE reading_conflict_count (
        probe_no INTEGER PRIMARY KEY REFERENCES probe (no),
        total INTEGER NOT NULL CHECK (total > 0)
    ) STRICT""",
    """CREATE TABLE battery (
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        hour INTEGER NOT NULL,
        lowest REAL NOT NULL,
        PRIMARY KEY (probe_no, hour)
    ) STRICT, WITHOUT ROWID""",
    # Which hours of which probe got something new, in the order of the last change: a
    # follower keeps one number as its cursor, and a late reading comes round again.
    """CREATE TABLE changed_hour (
        seq INTEGER PRIMARY KEY AUTOINCREMENT,
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        hour INTEGER NOT NULL,
        UNIQUE (probe_no, hour)
    ) STRICT""",
    # --- what people entered ---
    f"""CREATE TABLE entry (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at_ms {_TIME.format("at_ms")},
        do TEXT NOT NULL,
        who TEXT NOT NULL,
        unit TEXT,
        lot TEXT,
        source TEXT NOT NULL,
        text TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX entry_lot ON entry (lot, id) WHERE lot IS NOT NULL",
    """CREATE TRIGGER entry_unchanged BEFORE UPDATE ON entry
        BEGIN SELECT RAISE(ABORT, 'entries are append-only'); END""",
    """CREATE TRIGGER entry_kept BEFORE DELETE ON entry
        BEGIN SELECT RAISE(ABORT, 'entries are append-only'); END""",
    # --- alarms and who was told ---
    f"""CREATE TABLE alarm (
        id TEXT NOT NULL PRIMARY KEY,
        unit TEXT,
        rule TEXT NOT NULL,
        raised_ms {_TIME.format("raised_ms")},
        returned_ms INTEGER,
        text TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX alarm_raised ON alarm (raised_ms)",
    "CREATE INDEX alarm_standing ON alarm (raised_ms) WHERE returned_ms IS NULL",
    f"""CREATE TABLE message (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at_ms {_TIME.format("at_ms")},
        contact TEXT NOT NULL,
        unit TEXT,
        rule TEXT,
        about TEXT NOT NULL,
        alarm_id TEXT
    ) STRICT""",
    "CREATE INDEX message_at ON message (at_ms)",
    f"""CREATE TABLE outbox (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at_ms {_TIME.format("at_ms")},
        contact TEXT NOT NULL,
        alarm_id TEXT,
        about TEXT NOT NULL,
        title TEXT NOT NULL,
        body TEXT NOT NULL,
        idempotency_key TEXT NOT NULL UNIQUE,
        urgent INTEGER NOT NULL CHECK (urgent IN (0, 1)),
        next_ms {_TIME.format("next_ms")},
        attempts INTEGER NOT NULL DEFAULT 0,
        tried_ms INTEGER,
        error TEXT NOT NULL DEFAULT '',
        sent_ms INTEGER,
        given_up_ms INTEGER
    ) STRICT""",
    """CREATE INDEX outbox_waiting ON outbox (next_ms)
        WHERE sent_ms IS NULL AND given_up_ms IS NULL""",
    # --- what was not believed ---
    f"""CREATE TABLE quarantine (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        arrived_ms {_TIME.format("arrived_ms")},
        topic TEXT NOT NULL,
        probe TEXT,
        reason TEXT NOT NULL,
        detail TEXT NOT NULL,
        payload_start BLOB NOT NULL CHECK (length(payload_start) <= 256)
    ) STRICT""",
    """CREATE TABLE quarantine_reason (
        hour INTEGER NOT NULL,
        reason TEXT NOT NULL,
        total INTEGER NOT NULL CHECK (total > 0),
        PRIMARY KEY (hour, reason)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE quarantine_topic (
        topic TEXT NOT NULL PRIMARY KEY,
        total INTEGER NOT NULL CHECK (total > 0),
        last_ms INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID""",
    # --- the evaluator's own memory ---
    f"""CREATE TABLE checkpoint (
        name TEXT NOT NULL,
        at_ms {_TIME.format("at_ms")},
        text TEXT NOT NULL,
        PRIMARY KEY (name, at_ms)
    ) STRICT""",
    """CREATE TABLE state (
        name TEXT NOT NULL PRIMARY KEY,
        text TEXT NOT NULL
    ) STRICT""",
    # --- the service's own history ---
    f"""CREATE TABLE event (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at_ms {_TIME.format("at_ms")},
        what TEXT NOT NULL,
        detail TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX event_at ON event (at_ms)",
    """CREATE TRIGGER event_unchanged BEFORE UPDATE ON event
        BEGIN SELECT RAISE(ABORT, 'events are append-only'); END""",
    """CREATE TRIGGER event_kept BEFORE DELETE ON event
        BEGIN SELECT RAISE(ABORT, 'events are append-only'); END""",
    """CREATE TABLE summary (
        date TEXT NOT NULL PRIMARY KEY
            CHECK (date GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
        text TEXT NOT NULL,
        html TEXT NOT NULL
    ) STRICT""",
)

_SECOND: Final = (
    # --- what cannot be taken back ---
    # Each state that an alarm went through; the table of alarms holds the last one only.
    """CREATE TABLE alarm_change (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        alarm_id TEXT NOT NULL,
        text TEXT NOT NULL
    ) STRICT""",
    "INSERT INTO alarm_change (alarm_id, text) SELECT id, text FROM alarm ORDER BY raised_ms, id",
    # --- seals, each over the one before ---
    """CREATE TABLE seal (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        kind TEXT NOT NULL CHECK (kind IN ('day', 'late', 'thinned')),
        day TEXT NOT NULL
            CHECK (day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
        seal TEXT NOT NULL CHECK (length(seal) = 64),
        text TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX seal_day ON seal (day) WHERE kind = 'day'",
    # Readings that came after their day was sealed: what stood there then, and what after it.
    f"""CREATE TABLE late_reading (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        observed_ms {_TIME.format("observed_ms")},
        was_milli INTEGER,
        now_milli INTEGER NOT NULL,
        seal INTEGER REFERENCES seal (number)
    ) STRICT""",
    """CREATE UNIQUE INDEX late_reading_waiting ON late_reading (probe_no, observed_ms)
        WHERE seal IS NULL""",
    "CREATE INDEX late_reading_seal ON late_reading (seal)",
    # What is left of readings that are older than they must be kept.
    """CREATE TABLE reading_hour (
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        hour INTEGER NOT NULL,
        lowest_milli INTEGER NOT NULL,
        highest_milli INTEGER NOT NULL CHECK (highest_milli >= lowest_milli),
        readings INTEGER NOT NULL CHECK (readings > 0),
        seal INTEGER REFERENCES seal (number),
        PRIMARY KEY (probe_no, hour)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX reading_hour_seal ON reading_hour (seal)",
    # The sentences of a summary apart from their layout, for further layouts.
    "ALTER TABLE summary ADD COLUMN page TEXT NOT NULL DEFAULT ''",
    *(
        f"""CREATE TRIGGER {table}_{name} BEFORE {what} ON {table}
        BEGIN SELECT RAISE(ABORT, '{plural} are append-only'); END"""
        for table, plural in (
            ("alarm_change", "changes of alarms"),
            ("message", "messages"),
            ("seal", "seals"),
            ("summary", "summaries"),
        )
        for name, what in (("unchanged", "UPDATE"), ("kept", "DELETE"))
    ),
)

_THIRD: Final = (
    # --- payloads in quarantine that are longer than their start, whole ---
    # One for a message, however many values of it were not believed. Rows of earlier
    # schemas have none: theirs were cut off as they came.
    """CREATE TABLE quarantine_payload (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        payload BLOB NOT NULL CHECK (length(payload) BETWEEN 256 AND 65536)
    ) STRICT""",
    """ALTER TABLE quarantine ADD COLUMN payload_id INTEGER
        REFERENCES quarantine_payload (id) ON DELETE SET NULL""",
    """CREATE INDEX quarantine_payload_of ON quarantine (payload_id)
        WHERE payload_id IS NOT NULL""",
    """CREATE TABLE quarantine_room (
        one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
        payload_bytes INTEGER NOT NULL CHECK (payload_bytes >= 0),
        payloads_dropped INTEGER NOT NULL,
        messages_dropped INTEGER NOT NULL
    ) STRICT""",
    "INSERT INTO quarantine_room VALUES (1, 0, 0, 0)",
    """CREATE TRIGGER quarantine_payload_added AFTER INSERT ON quarantine_payload
        BEGIN UPDATE quarantine_room SET payload_bytes = payload_bytes + length(NEW.payload);
        END""",
    """CREATE TRIGGER quarantine_payload_gone AFTER DELETE ON quarantine_payload
        BEGIN UPDATE quarantine_room SET payload_bytes = payload_bytes - length(OLD.payload);
        END""",
)

_FOURTH: Final = (
    # --- days rolled up, from which long curves are drawn: derived, and never the record ---
    """CREATE TABLE reading_rollup (
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        day INTEGER NOT NULL,
        hours BLOB NOT NULL,
        silent_over_ms INTEGER NOT NULL,
        silences BLOB NOT NULL,
        changes BLOB,
        PRIMARY KEY (probe_no, day)
    ) STRICT, WITHOUT ROWID""",
    # settings: the lag and stale time under which it was carried; lag: where it stood after
    # the day's last reading, as JSON.
    """CREATE TABLE governing_rollup (
        probe_no INTEGER NOT NULL REFERENCES probe (no),
        day INTEGER NOT NULL,
        settings TEXT NOT NULL,
        hours BLOB NOT NULL,
        lag TEXT NOT NULL,
        PRIMARY KEY (probe_no, day)
    ) STRICT, WITHOUT ROWID""",
)

MIGRATIONS: Final[tuple[tuple[str, ...], ...]] = (_FIRST, _SECOND, _THIRD, _FOURTH)
"""Step n brings a file from schema n to n + 1. Append only."""


def schema_version(connection: sqlite3.Connection) -> int:
    """Return the schema's number in the file; 0 for an empty one."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def is_newest(connection: sqlite3.Connection) -> bool:
    """Return whether a file has the newest schema that this version knows."""
    return schema_version(connection) == len(MIGRATIONS)


def migrate(
    connection: sqlite3.Connection,
    path: Path,
    migrations: Sequence[Sequence[str]] = MIGRATIONS,
) -> int:
    """Bring the file to the newest schema, one transaction for each step.

    A step that fails leaves the file as it was before that step. Two processes may
    do this at once: each step looks again at the number once it holds the write lock.

    Args:
        connection: A writer's connection, outside any transaction.
        path: The file, for messages.
        migrations: The steps; a test may give its own.

    Returns:
        How many steps were taken.

    Raises:
        JournalVersionError: If the file is newer than the steps, or another program's.
        JournalError: If a step fails.
    """
    refuse_foreign(connection, path, newest=len(migrations))
    taken = 0
    for number, steps in enumerate(migrations, start=1):
        if schema_version(connection) >= number:
            continue
        with speaking_plainly(path):
            connection.execute("BEGIN IMMEDIATE")
            try:
                if schema_version(connection) < number:
                    for step in steps:
                        connection.execute(step)
                    connection.execute(f"PRAGMA user_version = {number}")
                    taken += 1
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise
    return taken


def schema_findings(connection: sqlite3.Connection) -> list[str]:
    """Return what in a file's schema is not as this version's steps make it, in words.

    A trigger that somebody has put into the file can swallow every alarm, a view can stand in a
    table's place; neither harms a page or a seal. Every table, index, trigger and view is held
    against those that the steps make in an empty file.

    Args:
        connection: Any connection to a file with the newest schema.
    """
    found, expected = _objects(connection), _expected_objects()
    return [
        *(f"the {kind} {name} is missing" for kind, name in sorted(expected.keys() - found.keys())),
        *(
            f"the {kind} {name} on {found[kind, name][0]} is none of the journal's"
            for kind, name in sorted(found.keys() - expected.keys())
        ),
        *(
            f"the {kind} {name} was changed"
            for kind, name in sorted(expected.keys() & found.keys())
            if found[kind, name] != expected[kind, name]
        ),
    ]


def refuse_changed(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse a file whose schema is not as this version's steps make it.

    Args:
        connection: Any connection to a file with the newest schema.
        path: The file, for messages.

    Raises:
        JournalDamaged: If anything in it is missing, changed, or not the journal's.
        JournalError: If the file cannot be read.
    """
    with speaking_plainly(path):
        wrong = schema_findings(connection)
    if wrong:
        told = "; ".join(wrong[:_FINDINGS_TOLD])
        more = len(wrong) - _FINDINGS_TOLD
        told += f"; and {more} more" if more > 0 else ""
        raise JournalDamaged(
            f"{path}: {told}; what is written to it may be lost or changed on the way. "
            "Keep this file aside and restore the latest backup",
            path=path,
        )


def _objects(connection: sqlite3.Connection) -> dict[tuple[str, str], tuple[str, str]]:
    """Return table and text of each object, by kind and name."""
    return {
        (kind, name): (table, " ".join((text or "").split()))
        for kind, name, table, text in connection.execute(
            "SELECT type, name, tbl_name, sql FROM sqlite_schema"
        )
    }


@cache
def _expected_objects() -> dict[tuple[str, str], tuple[str, str]]:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        for steps in MIGRATIONS:
            for step in steps:
                connection.execute(step)
        return _objects(connection)
    finally:
        connection.close()


def refuse_foreign(
    connection: sqlite3.Connection, path: Path, *, newest: int = len(MIGRATIONS)
) -> None:
    """Refuse a file with a newer schema, and one that another program made.

    Args:
        connection: Any connection to the file.
        path: The file, for messages.
        newest: The newest schema known.

    Raises:
        JournalVersionError: If it is either.
        JournalError: If the file cannot be read.
    """
    with speaking_plainly(path):
        version = schema_version(connection)
        mark = connection.execute("PRAGMA application_id").fetchone()[0]
        tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if (tables or version) and mark != APPLICATION_ID:
        raise JournalVersionError(
            f"{path}: an SQLite file that another program made; "
            "expected a journal or no file: name another file",
            path=path,
        )
    if version > newest:
        raise JournalVersionError(
            f"{path}: written by a newer rimewatch (schema {version}; this one knows up to "
            f"{newest}); install that version or newer, or restore a backup made before it",
            path=path,
        )


def refuse_older(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse a file that a reader cannot bring forward itself.

    Raises:
        JournalVersionError: If the file's schema is older than the newest.
    """
    version = schema_version(connection)
    if version < len(MIGRATIONS):
        raise JournalVersionError(
            f"{path}: has schema {version}, expected {len(MIGRATIONS)}; "
            "start the service once, which brings it forward, then try again",
            path=path,
        )
