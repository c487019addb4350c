"""The look at the journal's file while the service runs: what it finds, and what it cannot."""

import sqlite3
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from rimewatch.journal import Journal, JournalDamaged, JournalError
from rimewatch.readings import Reading
from rimewatch.service.file_look import WITHIN_S, FileLook, Looked, look, looked
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

PATIENCE_S = 60.0


class Turned:
    """A clock whose durations somebody turns."""

    def __init__(self) -> None:
        self.s = 0.0

    def now_ms(self) -> int:
        return 0

    def monotonic_s(self) -> float:
        return self.s


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Return a journal with a packed day and one that is not."""
    made = tmp_path / "rimewatch.db"
    with Journal.open(made) as journal:
        journal.add_readings(
            [
                Reading(ProbeId("air"), observed_ms=at, arrived_ms=at, raw=2.0, value=2.0)
                for at in range(0, 2 * MS_PER_DAY, 600_000)
            ]
        )
        assert journal.compact(MS_PER_DAY) == 1
        journal.checkpoint_wal()
    return made


@pytest.fixture
def turned() -> Turned:
    """Return a clock."""
    return Turned()


@pytest.fixture
def looks(path: Path, turned: Turned) -> Iterator[FileLook]:
    """Give looks once an hour."""
    made = FileLook(path, turned, every_s=3600.0)
    yield made
    made.end()


def spoil(path: Path) -> None:
    """Write nonsense over the file's second page."""
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * 4096)


def outcome(looks: FileLook) -> Looked:
    """Wait for what a look has found."""
    end_s, pause = time.monotonic() + PATIENCE_S, threading.Event()
    while (found := looks.take()) is None:
        assert time.monotonic() < end_s, "the look does not end"
        pause.wait(0.02)
    return found


def test_sound_file_is_looked_over_once_an_hour_by_a_process_of_its_own(
    looks: FileLook, turned: Turned
) -> None:
    """Not at once: the start has looked it over just now."""
    assert looks.turn() is None
    assert looks.take() is None

    turned.s = 3600.0
    assert looks.turn() is None
    assert outcome(looks).is_sound
    assert looks.turn() is None, "the next one is due in an hour"
    assert looks.take() is None


def test_spoiled_page_is_found_and_told_with_its_cure(path: Path, looks: FileLook) -> None:
    """Though no connection of the service has read it."""
    spoil(path)
    assert looks.begin() is None

    found = outcome(looks)
    assert "restore the latest backup" in found.damage
    assert not found.is_sound


@pytest.mark.parametrize("is_sealed", [False, True])
def test_packed_day_whose_values_are_spoiled_is_found_by_a_look_in_full_alone(
    path: Path,
    is_sealed: bool,
) -> None:
    """The pages around it are sound, so the file is not called damaged; the day is lost."""
    if is_sealed:
        with Journal.open(path) as journal:
            while journal.seal_days("UTC", 3 * MS_PER_DAY):
                pass
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE reading_block SET millis = x'00'")
        connection.commit()

    assert look(path) == ""
    assert "the packed day 1970-01-01 of air" in look(path, in_full=True)


def test_reading_that_was_changed_after_its_day_was_sealed_is_found(path: Path) -> None:
    """A disk that gives back another number, or somebody who wishes for one."""
    with Journal.open(path) as journal:
        while journal.seal_days("UTC", 3 * MS_PER_DAY):
            pass
    assert look(path, in_full=True) == ""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"UPDATE reading SET milli = 0 WHERE observed_ms = {MS_PER_DAY}")
        connection.commit()

    assert look(path) == ""
    assert "1970-01-02: readings" in look(path, in_full=True)


def test_empty_file_is_damage(path: Path) -> None:
    """SQLite would take it for one that is just begun."""
    path.write_bytes(b"")

    with pytest.raises(JournalDamaged, match="is empty"):
        look(path)


def test_first_look_and_one_a_day_is_in_full(path: Path, looks: FileLook, turned: Turned) -> None:
    """What is found so ends no recording; see what follows in the tests of a lost journal."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE reading_block SET millis = x'00'")
        connection.commit()
    found = []
    for hour in (1, 2):
        turned.s = 3600.0 * hour
        assert looks.turn() is None
        found.append(outcome(looks).record)

    assert "the packed day" in found[0]
    assert found[1] == "", "an hour later the values are not read"


def test_file_that_cannot_be_read_is_not_called_damaged(tmp_path: Path) -> None:
    """Nor sound: it was not looked over."""
    looks = FileLook(tmp_path / "nowhere.db", Turned())
    looks.begin(in_full=True)

    found = outcome(looks)
    assert found.damage == ""
    assert "cannot be opened" in found.failure
    with pytest.raises(JournalError):
        look(tmp_path / "nowhere.db")


@pytest.mark.parametrize("code", [1, 2, 3, -9])
def test_process_that_fails_claims_nothing_of_the_file(code: int) -> None:
    """Python ends with 1 where it has no memory; whatever kills it says nothing of pages."""
    assert looked(code, "").damage == ""
    assert looked(code, "").failure
    assert looked(4, "").failure, "damage that nobody can name is not claimed either"


def test_look_for_which_there_is_no_process_comes_to_nothing(
    looks: FileLook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without memory none can be started; the service goes on."""
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    found = looks.begin()

    assert found is not None
    assert "no process can be started" in found.failure


def test_look_that_hangs_is_ended(
    looks: FileLook, turned: Turned, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that does not answer must not heap up processes."""
    hangs = tmp_path / "hangs"
    hangs.write_text("#!/bin/sh\nexec sleep 1000\n")
    hangs.chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(hangs))
    looks.begin()
    assert looks.take() is None

    turned.s = WITHIN_S
    found = looks.take()
    assert found is not None
    assert found.failure == "it was not done within 30 min"
    assert looks.take() is None
