"""Opening: what is set, what is brought forward, what is refused."""

import sqlite3
from pathlib import Path

import pytest

from rimewatch.journal import (
    Journal,
    JournalDamaged,
    JournalError,
    JournalReader,
    JournalVersionError,
    damage,
)
from rimewatch.journal.connection import check_sqlite_version, connect_writer
from rimewatch.journal.schema import APPLICATION_ID, MIGRATIONS, migrate, schema_version
from rimewatch.readings import Reading
from rimewatch.service.file_look import look
from rimewatch.vocabulary import ProbeId

AIR = ProbeId("case-1-air")
NOON_MS = 1_772_452_800_000
READING = Reading(probe=AIR, observed_ms=NOON_MS, arrived_ms=NOON_MS, raw=2.0, value=2.0)


def pragma(journal: Journal | JournalReader, name: str) -> object:
    """Return one of SQLite's settings on the journal's connection."""
    value: object = journal._connection.execute(f"PRAGMA {name}").fetchone()[0]
    return value


class TestSettings:
    """What a connection must have each time it is opened."""

    def test_a_writer_syncs_each_commit_and_minds_foreign_keys(self, journal: Journal) -> None:
        """A commit survives a power cut: 2 is FULL."""
        assert pragma(journal, "journal_mode") == "wal"
        assert pragma(journal, "synchronous") == 2
        assert pragma(journal, "foreign_keys") == 1
        assert journal._connection.isolation_level is None

    def test_a_reader_cannot_write(self, journal: Journal, journal_path: Path) -> None:
        """Neither the file's mode nor the connection lets a reader change the record."""
        journal.add_readings([READING])
        with JournalReader.open(journal_path) as reader:
            assert pragma(reader, "query_only") == 1
            with pytest.raises(sqlite3.OperationalError, match="readonly"):
                reader._connection.execute("DELETE FROM reading")

    def test_every_table_is_strict(self, journal: Journal) -> None:
        """Text never passes for a number, in whatever table."""
        tables = journal._connection.execute(
            "SELECT name, strict FROM pragma_table_list"
            " WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
        ).fetchall()

        assert len(tables) >= 18
        assert [name for name, strict in tables if not strict] == []

    def test_an_sqlite_without_strict_tables_is_refused(self) -> None:
        """An old library would take the word strict for an error, or worse for nothing."""
        check_sqlite_version((3, 37, 0))
        with pytest.raises(JournalError, match=r"3\.36\.9; expected 3\.37\.0 or newer"):
            check_sqlite_version((3, 36, 9))

    def test_a_journal_closed_by_its_writer_can_be_read(self, journal_path: Path) -> None:
        """Records are shown while the service is stopped."""
        with Journal.open(journal_path) as writer:
            writer.add_readings([READING])

        with JournalReader.open(journal_path) as reader:
            assert reader.last_before(AIR, NOON_MS + 1) == (NOON_MS, 2.0)


class TestMigrations:
    """Forward only, whole steps only."""

    STEP = ("ALTER TABLE event ADD COLUMN level TEXT NOT NULL DEFAULT 'info'",)

    def test_an_empty_file_gets_the_newest_schema(self, journal: Journal) -> None:
        """A new shop starts with nothing."""
        assert schema_version(journal._connection) == len(MIGRATIONS)
        assert pragma(journal, "application_id") == APPLICATION_ID

    def test_an_older_journal_is_brought_forward_with_all_it_holds(
        self, journal_path: Path
    ) -> None:
        """An update of the service keeps the record."""
        with Journal.open(journal_path) as older:
            older.add_event(NOON_MS, "started")
            older.add_readings([READING])
        connection = connect_writer(journal_path)

        taken = migrate(connection, journal_path, (*MIGRATIONS, self.STEP))

        assert taken == 1
        assert schema_version(connection) == len(MIGRATIONS) + 1
        assert connection.execute("SELECT what, level FROM event").fetchall() == [
            ("started", "info")
        ]
        assert connection.execute("SELECT milli FROM reading").fetchall() == [(2000,)]
        assert migrate(connection, journal_path, (*MIGRATIONS, self.STEP)) == 0
        connection.close()

    def test_a_step_that_fails_leaves_the_journal_as_it_was(self, journal_path: Path) -> None:
        """Half a step never stands."""
        with Journal.open(journal_path) as older:
            older.add_readings([READING])
        broken = ("CREATE TABLE half (n INTEGER) STRICT", "INSERT INTO nowhere VALUES (1)")
        connection = connect_writer(journal_path)

        with pytest.raises(JournalError, match="nowhere"):
            migrate(connection, journal_path, (*MIGRATIONS, self.STEP, broken))

        assert schema_version(connection) == len(MIGRATIONS) + 1
        assert not connection.in_transaction
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema")}
        assert "half" not in tables
        connection.close()

    def test_a_fabricated_older_schema_gains_what_it_lacked(self, journal_path: Path) -> None:
        """A journal from before the steps were split goes through each of them in turn."""
        first = (f"PRAGMA application_id = {APPLICATION_ID}", "CREATE TABLE one (n INTEGER) STRICT")
        second = ("CREATE TABLE two (n INTEGER) STRICT", "INSERT INTO two SELECT n FROM one")
        third = ("DROP TABLE one",)
        connection = connect_writer(journal_path)
        assert migrate(connection, journal_path, (first,)) == 1
        connection.execute("INSERT INTO one VALUES (7)")

        assert migrate(connection, journal_path, (first, second, third)) == 2

        assert connection.execute("SELECT n FROM two").fetchall() == [(7,)]
        assert schema_version(connection) == 3
        connection.close()

    def test_a_reader_does_not_bring_a_journal_forward(self, journal_path: Path) -> None:
        """A page that reads says what to do about an old file."""
        connection = connect_writer(journal_path)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.close()

        with pytest.raises(JournalVersionError, match="start the service once"):
            JournalReader.open(journal_path)


class TestRefused:
    """Files that are not this version's journal."""

    def test_a_newer_schema_is_refused_and_left_alone(self, journal_path: Path) -> None:
        """An older service would not know what it destroys."""
        with Journal.open(journal_path) as journal:
            newer = len(MIGRATIONS) + 1
            journal._connection.execute(f"PRAGMA user_version = {newer}")

        for opener in (Journal.open, JournalReader.open):
            with pytest.raises(JournalVersionError, match=f"schema {newer}.*newer rimewatch|newer"):
                opener(journal_path)
        with sqlite3.connect(journal_path) as connection:
            assert connection.execute("PRAGMA user_version").fetchone()[0] == newer
        connection.close()

    def test_another_programs_database_is_refused_and_left_alone(self, journal_path: Path) -> None:
        """A mistyped path does not fill somebody's database with our tables."""
        connection = sqlite3.connect(journal_path)
        connection.execute("CREATE TABLE orders (n INTEGER)")
        connection.commit()
        connection.close()

        with pytest.raises(JournalVersionError, match="another program"):
            Journal.open(journal_path)

        connection = sqlite3.connect(journal_path)
        assert connection.execute("SELECT name FROM sqlite_schema").fetchall() == [("orders",)]
        connection.close()

    def test_a_file_that_is_no_database_is_told_as_damaged(self, journal_path: Path) -> None:
        """A text file is not a journal, and the message says what to do."""
        journal_path.write_text("readings\n" * 1000)

        with pytest.raises(JournalDamaged, match="restore the latest backup") as caught:
            Journal.open(journal_path)
        assert caught.value.path == journal_path

    def test_a_page_overwritten_on_the_disk_is_found_at_the_start(self, journal_path: Path) -> None:
        """A worn-out card is found out at the start, not in the middle of a night."""
        with Journal.open(journal_path) as journal:
            for n in range(20):
                journal.add_event(NOON_MS + n, "started", "x" * 2000)
        content = bytearray(journal_path.read_bytes())
        for page in range(len(content) // 4096 - 8, len(content) // 4096):
            content[page * 4096 : page * 4096 + 64] = b"\xa5" * 64
        journal_path.write_bytes(content)

        with pytest.raises(JournalDamaged):
            Journal.open(journal_path)

    def test_a_journal_in_memory_is_refused(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A record that ends with the process is none; nor is an empty file of that name."""
        monkeypatch.chdir(tmp_path)
        with pytest.raises(JournalError, match="journal mode is memory, expected wal"):
            Journal.open(Path(":memory:"))
        assert list(tmp_path.iterdir()) == []

    def test_a_reader_tells_damage_too(self, journal_path: Path) -> None:
        """The page says what to do, as the service does."""
        journal_path.write_text("readings\n" * 1000)

        with pytest.raises(JournalDamaged, match="restore the latest backup"):
            JournalReader.open(journal_path)

    def test_a_missing_folder_is_named(self, tmp_path: Path) -> None:
        """The person who set the path learns which part of it is wrong."""
        with pytest.raises(JournalError, match="does not exist; create it"):
            Journal.open(tmp_path / "nowhere" / "journal.db")

    def test_a_missing_journal_is_not_made_by_a_reader(self, journal_path: Path) -> None:
        """Reading the record never makes an empty one."""
        with pytest.raises(JournalError, match="cannot be opened"):
            JournalReader.open(journal_path)
        assert not journal_path.exists()


SWALLOWS = "CREATE TRIGGER quiet BEFORE INSERT ON outbox BEGIN SELECT RAISE(IGNORE); END"
CHANGES: dict[str, tuple[str, ...]] = {
    "the trigger quiet on outbox is none of the journal's": (SWALLOWS,),
    "the view calm on calm is none of the journal's": (
        "CREATE VIEW calm AS SELECT * FROM alarm WHERE 0",
    ),
    "the table event_2 on event_2 is none of the journal's": ("CREATE TABLE event_2 (n INTEGER)",),
    "the index entry_by_hand on entry is none of the journal's": (
        "CREATE INDEX entry_by_hand ON entry (who)",
    ),
    "the trigger seal_kept is missing": ("DROP TRIGGER seal_kept",),
    "the index alarm_raised is missing": ("DROP INDEX alarm_raised",),
    "the trigger entry_kept was changed": (
        "DROP TRIGGER entry_kept",
        "CREATE TRIGGER entry_kept BEFORE DELETE ON entry BEGIN SELECT 1; END",
    ),
    "the table summary was changed": ("ALTER TABLE summary ADD COLUMN more TEXT",),
}
"""What somebody could do to a schema by plain SQL, by what is said of it."""


def change_schema(path: Path, statements: tuple[str, ...]) -> None:
    """Change a file as somebody with access to it could."""
    outside = sqlite3.connect(path)
    for statement in statements:
        outside.execute(statement)
    outside.commit()
    outside.close()


class TestChanged:
    """A schema that is not as the journal's steps make it."""

    @pytest.mark.parametrize("said", CHANGES)
    def test_changed_schema_is_refused_at_each_door(
        self, journal_path: Path, tmp_path: Path, said: str
    ) -> None:
        """By whoever opens it, whoever has it open, the check, the copy and the look."""
        with Journal.open(journal_path) as journal:
            change_schema(journal_path, CHANGES[said])

            assert said in journal.verify()
            with pytest.raises(JournalDamaged, match=said):
                journal.add_readings([READING])
            with pytest.raises(JournalDamaged, match=said):
                journal.backup(tmp_path / "copy.db")
        damage.forget(journal_path)
        for opener in (Journal.open, JournalReader.open):
            with pytest.raises(JournalDamaged, match=f"{said}; what is written"):
                opener(journal_path)
        damage.forget(journal_path)
        with pytest.raises(JournalDamaged, match=said):
            Journal.open(journal_path, check=False)
        with pytest.raises(JournalDamaged, match=said):
            look(journal_path)
        assert not (tmp_path / "copy.db").exists()

    def test_schema_of_each_earlier_version_comes_to_the_same(self, journal_path: Path) -> None:
        """A journal that was brought forward in steps is not taken for a changed one."""
        for newest in range(1, len(MIGRATIONS) + 1):
            connection = connect_writer(journal_path)
            migrate(connection, journal_path, MIGRATIONS[:newest])
            connection.close()

        Journal.open(journal_path).close()

    def test_many_changes_are_counted(self, journal_path: Path) -> None:
        """The sentence stays one that is read."""
        Journal.open(journal_path).close()
        change_schema(journal_path, tuple(f"CREATE TABLE t{n} (n INTEGER)" for n in range(9)))

        with pytest.raises(JournalDamaged, match="t2 on t2 is none of the journal's; and 6 more;"):
            Journal.open(journal_path)
