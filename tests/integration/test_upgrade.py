"""A journal of the first schema, kept since: a newer version goes on with it, in full."""

import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from rimewatch.cli import rimewatch
from rimewatch.config import load_shop
from rimewatch.entries import CorrectiveAction, ReceiveLot
from rimewatch.errors import UserError
from rimewatch.intake.receiver import refused
from rimewatch.journal.entry_codec import entry_to_json
from rimewatch.journal.errors import JournalVersionError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.journal.schema import MIGRATIONS, migrate, schema_version
from rimewatch.readings import Reading, Reason
from rimewatch.service.retry import try_out
from rimewatch.vocabulary import LotId, Origin, ProbeId, UnitId

pytestmark = pytest.mark.integration

START_MS = 1_772_496_000_000
HOUR_MS = 3_600_000
SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
fields = { value = "temp" }
"""
READINGS = [(START_MS + n * 60_000, 1000 + n % 97) for n in range(4000)]
ENTRIES = (
    ReceiveLot(
        at_ms=START_MS,
        who="K.",
        lot=LotId("L-1"),
        species="Oncorhynchus nerka",
        origin=Origin.WILD,
        serve_raw=True,
    ),
    CorrectiveAction(at_ms=START_MS + 60_000, unit=UnitId("case-1"), text="Fish moved."),
)
QUARANTINED = (b'{"temp": 2.1}', b'{"temp": 2.2, "of": "' + b"x" * 235)
"""One kept whole, one cut off at the 256 bytes that earlier versions kept."""


def kept_since_the_first_schema(path: Path) -> None:
    """Write a file by the first schema's own steps, with rows as that version wrote them."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    assert migrate(connection, path, MIGRATIONS[:1]) == 1
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("INSERT INTO probe (no, id) VALUES (1, 'case-1-air')")
    connection.executemany(
        "INSERT INTO reading (probe_no, observed_ms, milli, raw, lag_ms) VALUES (1, ?, ?, ?, 40)",
        [(at_ms, milli, 36.5) for at_ms, milli in READINGS],
    )
    hours = sorted({at_ms // HOUR_MS for at_ms, _ in READINGS})
    connection.executemany(
        "INSERT INTO changed_hour (probe_no, hour) VALUES (1, ?)", [(hour,) for hour in hours]
    )
    connection.executemany(
        "INSERT INTO entry (at_ms, do, who, unit, lot, source, text) VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (
                *(entry.at_ms, entry.do, entry.who, getattr(entry, "unit", None)),
                *(getattr(entry, "lot", None), "cli", entry_to_json(entry)),
            )
            for entry in ENTRIES
        ],
    )
    connection.execute("INSERT INTO state (name, text) VALUES ('mirror', '{}')")
    connection.executemany(
        "INSERT INTO quarantine (arrived_ms, topic, reason, detail, payload_start)"
        " VALUES (?, 'shop/case-1/air', 'undecodable', '', ?)",
        [(START_MS + n, payload) for n, payload in enumerate(QUARANTINED)],
    )
    connection.execute("INSERT INTO event (at_ms, what, detail) VALUES (?, 'start', '')", (1,))
    connection.execute("COMMIT")
    connection.close()


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """Give a journal that the first version left behind."""
    path = tmp_path / "rimewatch.db"
    kept_since_the_first_schema(path)
    return path


def test_newer_version_goes_on_with_everything_an_old_one_wrote(kept: Path) -> None:
    """Readings, entries and the cursors of followers are there, and it takes new ones."""
    with Journal.open(kept) as journal:
        span = journal.span(ProbeId("case-1-air"))
        assert list(zip(span.times_ms.tolist(), span.values.tolist(), strict=True)) == [
            (at_ms, milli / 1000) for at_ms, milli in READINGS
        ]
        assert tuple(entry for _, entry in journal.entries_after(0)) == ENTRIES
        assert len(journal.changed_hours(0)) == 67
        new = Reading(
            probe=ProbeId("case-1-air"),
            observed_ms=START_MS + 4000 * 60_000,
            arrived_ms=START_MS + 4000 * 60_000,
            raw=1.5,
            value=1.5,
        )
        assert journal.add_readings([new]) == [True]
        journal.compact(START_MS + 30 * 24 * HOUR_MS)
        assert len(journal.span(ProbeId("case-1-air"))) == 4001
        hours = journal.hours(ProbeId("case-1-air"), 0, START_MS + 4000 * 60_000, 180_000.0)
        assert int(hours.readings.sum()) == 4001
        assert journal.verify() == []
    with sqlite3.connect(kept) as connection:
        assert schema_version(connection) == len(MIGRATIONS)
    connection.close()


def test_quarantine_of_an_old_journal_is_read_again_where_it_is_whole(kept: Path) -> None:
    """A short message now parses; one that was cut off stays, and is not taken for whole."""
    shop = load_shop(SHOP)
    with Journal.open(kept) as journal:
        found = try_out(shop, journal)
        assert [reading.value for reading in found.readings] == [2.1]
        assert (found.looked_at, found.cut_off) == (2, 1)
        long = b'{"temp": 2.3, "of": "' + b"x" * 300 + b'"}'
        journal.add_quarantined(
            refused("shop/case-1/air", long, START_MS + 9, Reason.UNDECODABLE, "").quarantined
        )
        assert [reading.value for reading in try_out(shop, journal).readings] == [2.1, 2.3]
        assert journal.quarantine_room().cut_off == 1


def test_reader_of_a_newer_version_asks_for_the_service_first(kept: Path) -> None:
    """A page or a command changes no schema under a service's feet."""
    with pytest.raises(JournalVersionError, match="start the service once"):
        JournalReader.open(kept)


def test_journal_of_a_newer_version_is_refused_and_left_alone(kept: Path) -> None:
    """There is no way back: an older version guesses at nothing."""
    with Journal.open(kept):
        pass
    connection = sqlite3.connect(kept)
    connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    connection.close()
    before = kept.read_bytes()

    with pytest.raises(JournalVersionError, match="written by a newer rimewatch"):
        Journal.open(kept)
    with pytest.raises(UserError, match="install that version or newer"):
        CliRunner().invoke(
            rimewatch,
            ["verify", "--journal", str(kept)],
            catch_exceptions=False,
            standalone_mode=False,
        )
    assert kept.read_bytes() == before


def test_backup_is_restored_by_putting_it_in_the_journals_place(kept: Path, tmp_path: Path) -> None:
    """As docs/operations.md says: stop, put the copy there, check, start."""
    with Journal.open(kept) as journal:
        copy = tmp_path / "copy.db"
        assert journal.backup(copy) == copy.stat().st_size
        journal.add_event(2, "after the backup")
    for name in ("rimewatch.db", "rimewatch.db-wal", "rimewatch.db-shm"):
        (tmp_path / name).unlink(missing_ok=True)

    kept.write_bytes(copy.read_bytes())
    run = CliRunner().invoke(
        rimewatch,
        ["verify", "--journal", str(kept)],
        catch_exceptions=False,
        standalone_mode=False,
    )

    assert "sound" in run.output
    with Journal.open(kept) as journal:
        assert len(journal.span(ProbeId("case-1-air"))) == len(READINGS)
        assert [event.what for event in journal.events_between(0, 10)] == ["start"]
        journal.add_event(3, "goes on")
