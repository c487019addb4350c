"""A batch is on the disk as a whole, or not at all; errors say what to do."""

import random
import sqlite3
from pathlib import Path

import pytest

from rimewatch.journal import Journal, JournalError, JournalFull, JournalLocked, JournalReader
from rimewatch.journal.connection import connect_writer
from rimewatch.journal.errors import (
    JournalBarred,
    JournalDamaged,
    JournalFailing,
    NotAJournal,
    as_journal_error,
)
from rimewatch.readings import Reading
from rimewatch.vocabulary import ProbeId

AIR = ProbeId("case-1-air")
NOON_MS = 1_772_452_800_000


def some_readings(first: int, count: int) -> list[Reading]:
    """Build readings a minute apart, with raw values that do not pack well."""
    wavering = random.Random(first)
    return [
        Reading(
            probe=AIR,
            observed_ms=NOON_MS + n * 60_000,
            arrived_ms=NOON_MS + n * 60_000 + 200,
            raw=2.0 + wavering.random(),
            value=2.0,
        )
        for n in range(first, first + count)
    ]


def test_readings_alarms_and_messages_of_a_batch_stand_together(
    journal: Journal, journal_path: Path
) -> None:
    """An error late in the batch undoes its beginning too."""

    def write_and_fail() -> None:
        with journal.batch():
            journal.add_readings(some_readings(0, 3))
            journal.add_event(NOON_MS, "started")
            journal.save_state("alarms", "{}")
            raise KeyError("a rule fails")

    with pytest.raises(KeyError, match="a rule fails"):
        write_and_fail()

    with JournalReader.open(journal_path) as reader:
        assert len(reader.span(AIR)) == 0
        assert reader.events_between(0, NOON_MS) == []
        assert reader.load_state("alarms") is None


def test_a_full_disk_keeps_earlier_batches_and_the_same_batch_goes_in_later(
    journal: Journal,
) -> None:
    """The caller holds its batch; when there is room again nothing is missing."""
    journal.add_readings(some_readings(0, 500))
    pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
    journal._connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    batch = some_readings(500, 2000)

    with pytest.raises(JournalFull, match="free space on the disk"), journal.batch():
        journal.add_readings(batch)

    assert len(journal.span(AIR)) == 500
    journal._connection.execute("PRAGMA max_page_count = 1000000")
    with journal.batch():
        assert journal.add_readings(batch) == [True] * 2000
    assert len(journal.span(AIR)) == 2500


def test_an_error_swallowed_inside_a_batch_still_undoes_all_of_it(journal: Journal) -> None:
    """Half a batch is never acknowledged, even where somebody hides the error."""
    pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
    journal._connection.execute(f"PRAGMA max_page_count = {pages}")

    def write_and_hide_the_error() -> None:
        with journal.batch():
            journal.save_state("before", "{}")
            with pytest.raises(JournalFull):
                journal.add_readings(some_readings(0, 5000))
            with pytest.raises(JournalError, match="was undone"):
                journal.save_state("after", "{}")

    with pytest.raises(JournalError, match="try the whole batch again"):
        write_and_hide_the_error()

    assert journal.load_state("before") is None
    assert journal.load_state("after") is None


def test_row_that_is_refused_undoes_its_batch_even_where_somebody_hides_the_error(
    journal: Journal,
) -> None:
    """SQLite undoes that one statement and goes on; half a batch would be acknowledged."""

    def write_and_hide_the_error() -> None:
        with journal.batch():
            journal.save_state("before", "{}")
            with pytest.raises(JournalError, match="breaks the journal's rules"):
                journal.add_event(-1, "start", "")
            assert journal._connection.in_transaction

    with pytest.raises(JournalError, match="try the whole batch again"):
        write_and_hide_the_error()

    assert journal.load_state("before") is None


def test_compaction_on_a_full_disk_loses_nothing(journal: Journal) -> None:
    """Packing needs some room; without it the rows stay as they are."""
    journal.add_readings(some_readings(0, 2880))
    before = journal.full_span(AIR)
    pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
    journal._connection.execute(f"PRAGMA max_page_count = {pages}")

    with pytest.raises(JournalFull):
        journal.compact(NOON_MS + 10 * 86_400_000)

    after = journal.full_span(AIR)
    assert after.times_ms.tolist() == before.times_ms.tolist()
    assert after.raws.tolist() == before.raws.tolist()


def test_a_journal_held_by_another_writer_is_told_as_locked(journal_path: Path) -> None:
    """The wait has an end, and the message says who may be in the way."""
    with Journal.open(journal_path, busy_s=0.05) as journal:
        other = connect_writer(journal_path)
        other.execute("BEGIN IMMEDIATE")

        with pytest.raises(JournalLocked, match="another process"):
            journal.add_readings(some_readings(0, 1))

        other.execute("ROLLBACK")
        assert journal.add_readings(some_readings(0, 1)) == [True]
        other.close()


def test_a_batch_inside_a_batch_is_our_own_mistake(journal: Journal) -> None:
    """What belongs together is one batch; nothing of a wrong one stays."""

    def nest() -> None:
        with journal.batch():
            journal.add_event(NOON_MS, "started")
            with journal.batch():
                pass

    with pytest.raises(AssertionError, match="cannot hold another"):
        nest()

    assert journal.events_between(0, NOON_MS) == []
    with journal.batch():
        journal.add_event(NOON_MS, "started")
    assert len(journal.events_between(0, NOON_MS)) == 1


def test_a_row_that_breaks_the_rules_undoes_the_batch_with_a_clear_sentence(
    journal: Journal,
) -> None:
    """An instant before 1970 is refused by the table."""
    with pytest.raises(JournalError, match=r"refused a row .* at_ms"):
        journal.add_event(-1, "started")


@pytest.mark.parametrize(
    ("code", "kind", "said"),
    [
        (sqlite3.SQLITE_FULL, JournalFull, "free space"),
        (sqlite3.SQLITE_BUSY, JournalLocked, "try again"),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, JournalLocked, "try again"),
        (sqlite3.SQLITE_CORRUPT, JournalDamaged, "backup"),
        (sqlite3.SQLITE_CORRUPT_VTAB, JournalDamaged, "backup"),
        (sqlite3.SQLITE_NOTADB, NotAJournal, "backup"),
        (sqlite3.SQLITE_READONLY, JournalBarred, "may write there"),
        (sqlite3.SQLITE_CONSTRAINT_CHECK, JournalError, "refused a row"),
        (sqlite3.SQLITE_IOERR_WRITE, JournalFailing, "check the disk"),
        (None, JournalError, "check the disk"),
    ],
)
def test_each_kind_of_trouble_has_its_own_error_and_cure(
    code: int | None, kind: type[JournalError], said: str
) -> None:
    """The caller can tell what to retry from what to give up."""
    error = sqlite3.OperationalError("what SQLite said")
    if code is not None:
        error.sqlite_errorcode = code

    told = as_journal_error(error, Path("/var/lib/journal.db"))

    assert type(told) is kind
    assert said in str(told)
    assert "/var/lib/journal.db" in str(told)
    assert "what SQLite said" in str(told)


def test_a_connection_used_by_another_thread_is_our_own_mistake(journal: Journal) -> None:
    """A closed or foreign connection is not dressed up as trouble with the disk."""
    journal.close()

    with pytest.raises(sqlite3.ProgrammingError):
        journal.span(AIR)


class TestWal:
    """The WAL is cut back when nobody stands in the way, and else says so."""

    def test_the_wal_is_cut_back_to_nothing(self, journal: Journal) -> None:
        """The nightly call gives the room back."""
        journal.add_readings(some_readings(0, 500))
        assert journal.size().wal_bytes > 0

        assert journal.checkpoint_wal()
        assert journal.size().wal_bytes == 0
        assert journal.size().file_bytes > 0

    def test_the_wal_is_found_by_a_link_to_the_file_too(
        self, journal: Journal, journal_path: Path, tmp_path: Path
    ) -> None:
        """SQLite writes it beside the file itself."""
        link = tmp_path / "elsewhere.db"
        link.symlink_to(journal_path)
        journal.add_readings(some_readings(0, 10))

        with JournalReader.open(link) as reader:
            assert reader.size().wal_bytes == journal.size().wal_bytes > 0

    def test_a_reader_in_the_way_is_told(self, journal: Journal, journal_path: Path) -> None:
        """The result is read, so that a WAL without end is noticed."""
        journal.add_readings(some_readings(0, 10))
        with JournalReader.open(journal_path) as reader, reader._snapshot() as connection:
            connection.execute("SELECT count(*) FROM reading").fetchone()
            journal.add_readings(some_readings(10, 10))

            assert not journal.checkpoint_wal(wait_s=0.01)
        assert journal.checkpoint_wal()
