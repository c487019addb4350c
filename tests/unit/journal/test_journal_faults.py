"""Killed, watched and copied while it writes: what was committed is there."""

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rimewatch.journal import Journal, JournalDamaged, JournalError, JournalReader, backup_journal
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

AIR = ProbeId("case-1-air")
START_MS = 1_772_409_600_000
BATCH = 40

WRITER = f"""
import sys
from pathlib import Path
from rimewatch.journal import Journal
from rimewatch.readings import Reading

def reading(n):
    at_ms = {START_MS} + n * 60_000
    return Reading(probe="case-1-air", observed_ms=at_ms, arrived_ms=at_ms, raw=n / 3, value=2.0)

def say(word):
    print(word, flush=True)

journal = Journal.open(Path(sys.argv[1]))
last_whole = int(sys.argv[2])
for batch in range(10**6):
    with journal.batch():
        first = batch * {BATCH}
        journal.add_readings([reading(n) for n in range(first, first + {BATCH} // 2)])
        if batch == last_whole:
            say("open")
            sys.stdin.read()
        journal.add_readings([reading(n) for n in range(first + {BATCH} // 2, first + {BATCH})])
        journal.save_state("batch", str(batch))
    say(batch)
    if batch % 30 == 29:
        journal.compact({START_MS} + 10**12, max_blocks=2)
"""

READER = """
import sys
from pathlib import Path
from rimewatch.journal import JournalReader

with JournalReader.open(Path(sys.argv[1])) as reader:
    for line in sys.stdin:
        print(len(reader.span("case-1-air")), flush=True)
"""


@contextmanager
def child(program: str, *arguments: object) -> Iterator[subprocess.Popen[str]]:
    """Run a program in another process; kill it at the end, if it still runs."""
    process = subprocess.Popen(
        [sys.executable, "-c", program, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with process:
        try:
            yield process
        finally:
            process.kill()


def next_line(process: subprocess.Popen[str]) -> str:
    """Return the next line that the other process says."""
    assert process.stdout is not None
    line = process.stdout.readline()
    assert line, "the other process ended"
    return line.strip()


def ask(process: subprocess.Popen[str]) -> int:
    """Ask the reading process for its count."""
    assert process.stdin is not None
    process.stdin.write("?\n")
    process.stdin.flush()
    return int(next_line(process))


def test_a_kill_in_the_middle_of_a_batch_keeps_all_before_it_and_nothing_of_it(
    journal_path: Path,
) -> None:
    """What was acknowledged is there; what was not comes again from the broker."""
    with child(WRITER, journal_path, 7) as process:
        heard = [next_line(process) for _ in range(8)]
        assert heard == ["0", "1", "2", "3", "4", "5", "6", "open"]
        process.kill()
        process.wait()

    with Journal.open(journal_path) as journal:
        assert len(journal.span(AIR)) == 7 * BATCH
        assert journal.load_state("batch") == "6"


@pytest.mark.parametrize("batches", [5, 33, 61])
def test_a_kill_at_any_moment_leaves_whole_batches_only(journal_path: Path, batches: int) -> None:
    """Also in a commit or in a compaction, which the child does every thirty batches."""
    with child(WRITER, journal_path, -1) as process:
        for expected in range(batches):
            assert next_line(process) == str(expected)
        process.kill()
        process.wait()
        assert process.stdout is not None
        said_after = [line for line in process.stdout.read().splitlines() if line]

    confirmed = batches + len(said_after)
    with Journal.open(journal_path) as journal:
        kept = len(journal.span(AIR))
        assert kept % BATCH == 0
        assert kept // BATCH in (confirmed, confirmed + 1), "the last may lack its word only"
        assert journal.load_state("batch") == str(kept // BATCH - 1)
        full = journal.full_span(AIR)
        assert full.raws.tolist() == [n / 3 for n in range(kept)]


def test_a_reader_in_another_process_sees_committed_batches_only(
    journal: Journal, journal_path: Path
) -> None:
    """The page never shows what could still be undone, and never blocks the writer."""
    with child(READER, journal_path) as process:
        assert ask(process) == 0
        for batch in range(5):
            first = START_MS + batch * MS_PER_DAY
            with journal.batch():
                journal.add_readings(
                    [
                        Reading(
                            probe=AIR,
                            observed_ms=first + n,
                            arrived_ms=first + n,
                            raw=2.0,
                            value=2.0,
                        )
                        for n in range(BATCH)
                    ]
                )
                assert ask(process) == batch * BATCH
            assert ask(process) == (batch + 1) * BATCH
            journal.compact(first)
            assert ask(process) == (batch + 1) * BATCH
        assert journal.checkpoint_wal(), "a reader between questions holds nothing"


class TestBackup:
    """A copy counts when it is whole, checked and on the disk."""

    def fill(self, journal: Journal, days: int = 2) -> None:
        """Add some readings."""
        journal.add_readings(
            [
                Reading(
                    probe=AIR,
                    observed_ms=START_MS + n * 3_600_000,
                    arrived_ms=START_MS,
                    raw=2.0,
                    value=2.0,
                )
                for n in range(24 * days)
            ]
        )

    def test_a_copy_made_during_a_batch_holds_what_was_committed(
        self, journal: Journal, tmp_path: Path
    ) -> None:
        """The service goes on writing while it is copied."""
        self.fill(journal)
        journal.compact(START_MS + MS_PER_DAY)
        copy = tmp_path / "copy.db"

        with journal.batch():
            journal.add_event(START_MS, "started")
            size = journal.backup(copy)

        assert size == copy.stat().st_size
        assert [p.name for p in sorted(tmp_path.glob("*copy*"))] == ["copy.db"]
        as_it_lies = sqlite3.connect(copy)
        assert as_it_lies.execute("PRAGMA journal_mode").fetchone() == ("delete",), "one file"
        as_it_lies.close()
        with Journal.open(copy) as restored:
            assert len(restored.span(AIR)) == 48
            assert restored.events_between(0, START_MS) == []
            assert restored.add_event(START_MS, "restored") == 1

    def test_a_copy_takes_the_place_of_the_older_one(
        self, journal: Journal, tmp_path: Path
    ) -> None:
        """Every night to the same name."""
        copy = tmp_path / "copy.db"
        journal.backup(copy)
        self.fill(journal)
        backup_journal(journal.path, copy)

        with JournalReader.open(copy) as restored:
            assert len(restored.span(AIR)) == 48

    def test_a_copy_that_is_not_sound_does_not_replace_the_older_one(
        self, journal_path: Path, tmp_path: Path
    ) -> None:
        """A damaged journal never destroys the last good copy."""
        copy = tmp_path / "copy.db"
        with Journal.open(journal_path) as journal:
            self.fill(journal, days=100)
            journal.backup(copy)
        good = copy.read_bytes()
        content = bytearray(journal_path.read_bytes())
        page = len(content) // 4096 - 3
        content[page * 4096 : page * 4096 + 64] = b"\xa5" * 64
        journal_path.write_bytes(content)

        with pytest.raises(JournalDamaged, match="so neither is the journal"):
            backup_journal(journal_path, copy)

        assert copy.read_bytes() == good
        assert sorted(p.name for p in tmp_path.glob("*copy*")) == ["copy.db"]

    def test_a_copy_with_a_reference_to_nothing_is_not_sound(
        self, journal: Journal, tmp_path: Path
    ) -> None:
        """Readings whose probe is gone belong to nobody."""
        self.fill(journal)
        careless = sqlite3.connect(journal.path)
        careless.execute("DELETE FROM probe")
        careless.commit()
        careless.close()

        with pytest.raises(JournalDamaged, match="a row of reading points at a row of probe"):
            journal.backup(tmp_path / "copy.db")

    def test_a_copy_onto_the_journal_itself_is_refused(self, journal: Journal) -> None:
        """A slip of the hand does not end the record."""
        with pytest.raises(JournalError, match="the journal itself"):
            journal.backup(journal.path.parent / "." / journal.path.name)

    def test_a_copy_into_no_folder_says_so(self, journal: Journal, tmp_path: Path) -> None:
        """The stick is not plugged in."""
        with pytest.raises(JournalError, match="check that its folder exists"):
            journal.backup(tmp_path / "stick" / "copy.db")
