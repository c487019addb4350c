"""A damaged journal: refused in plain words, and the fish is watched all the same."""

import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner

from case_and_phone import AIR, air, write_shop
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.journal import JournalReader, backup_journal
from rimewatch.service.file_look import FileLook
from rimewatch.service.service import Service
from rimewatch.service.stand_in import StandIn
from rimewatch.service.surroundings import Surroundings
from rimewatch.vocabulary import ProbeId
from service_process import Probes, ServiceProcess, until

pytestmark = pytest.mark.integration

PAGE_BYTES = 4096
NOTHING_RECORDED = "Saltmarsh Row Fish: nothing is recorded"


def damage(journal: Path, page: int = 2) -> None:
    """Write nonsense over a page of the file, as a dying disk would."""
    with journal.open("r+b") as file:
        file.seek((page - 1) * PAGE_BYTES)
        file.write(b"\xa5" * PAGE_BYTES)


def test_damaged_journal_is_refused_and_the_fish_is_watched_until_it_is_restored(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The phone hears what is wrong and how warm the fish is; after the restore nothing is missing.

    The file is put back while the service runs: it is taken up at once, with every reading
    that the broker kept meanwhile.
    """
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    journal = tmp_path / "rimewatch.db"
    with ServiceProcess(config, journal) as service, Probes(mosquitto.port) as probes:
        service.wait_for("Listening")
        probes.publish(AIR, air(2.0, range(60, 40, -1)))
        service.wait_for_readings("case-1-air", 20)
        assert service.stop() == 0
    sound = journal.read_bytes()
    damage(journal)

    with ServiceProcess(config, journal) as service, Probes(mosquitto.port) as probes:
        service.wait_for("Not recording")
        assert "restore the latest backup" in service.said
        service.wait_for("Standing in: readings are judged in memory")
        probes.publish(AIR, air(9.0, range(30, 0, -1)))
        receiver.wait_for(lambda r: len(r.got) >= 2, "the fault and the warm fish", 60.0)
        told, warm = receiver.titles()[:2]
        assert told == NOTHING_RECORDED
        assert warm.startswith("Not recorded. Front display case: fish too warm")

        copy = tmp_path / "backup.db"
        copy.write_bytes(sound)
        copy.replace(journal)
        service.wait_for("The journal can be used again.")
        service.wait_for_readings("case-1-air", 50)
        receiver.wait_for(
            lambda r: any(t.startswith("Front display case: fish too warm") for t in r.titles()),
            "the alarm that is on the record",
            60.0,
        )
        assert "Saltmarsh Row Fish: recording again" in receiver.titles()
        assert service.stop() == 0
        assert "Traceback" not in service.said
        assert service.look(lambda j: j.verify()) == []


def test_stopped_while_it_stands_in_it_leaves_the_damaged_file_as_it_is(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """Whoever comes to repair it finds what the disk left, and the service ends in good order."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    journal = tmp_path / "rimewatch.db"
    with ServiceProcess(config, journal) as service:
        service.wait_for("Listening")
        assert service.stop() == 0
    damage(journal)
    left = journal.read_bytes()

    with ServiceProcess(config, journal) as service:
        service.wait_for("Standing in: readings are judged in memory")
        assert service.stop() == 0

    assert journal.read_bytes() == left


def first_page_of_readings(journal: Path) -> int:
    """Return the page from which all readings are found, once it is in the file itself."""
    connection = sqlite3.connect(journal, timeout=60)
    _, in_wal, written_back = connection.execute("PRAGMA wal_checkpoint(FULL)").fetchone()
    assert in_wal == written_back
    (page,) = connection.execute(
        "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'"
    ).fetchone()
    connection.close()
    return int(page)


@contextmanager
def service_that_looks_often(config: Path, journal: Path, said: list[str]) -> Iterator[Service]:
    """Run the real service in a thread; it looks at its file twice a second."""
    service = Service(
        load_shop(config.read_text()),
        journal,
        SystemClock(),
        say=said.append,
        surroundings=Surroundings(stand_in=StandIn, file_look=partial(FileLook, every_s=0.5)),
    )
    thread = threading.Thread(target=service.run, name="service-under-test")
    thread.start()
    try:
        assert service.wait_until_listening(60.0), said
        yield service
    finally:
        service.stop()
        thread.join(60.0)
        assert not thread.is_alive(), "the service did not stop"


def test_page_damaged_while_it_runs_is_noticed_told_and_nothing_more_is_lost(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """Nothing reads the page, yet the phone hears of it at once, with the cure.

    From then on the broker keeps every reading, and a stand-in tells of warm fish. The copy
    of that morning is put in the file's place, and everything since then is recorded.
    """
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    journal, copy = tmp_path / "rimewatch.db", tmp_path / "backup" / "rimewatch.db"
    copy.parent.mkdir()
    said: list[str] = []

    def kept() -> int:
        with JournalReader.open(journal) as reader:
            return len(reader.span(ProbeId("case-1-air")).times_ms)

    def told(title: str) -> Callable[[Receiver], bool]:
        return lambda r: any(one.startswith(title) for one in r.titles())

    with service_that_looks_often(config, journal, said), Probes(mosquitto.port) as probes:
        probes.publish(AIR, air(2.0, range(1000, 40, -1)))
        until(lambda: kept() == 960, "the readings before")
        backup_journal(journal, copy)
        damage(journal, first_page_of_readings(journal))

        receiver.wait_for(told(NOTHING_RECORDED), "the call", 60.0)
        (call,) = receiver.got
        assert (
            "The journal's file is damaged: put the latest backup in its place" in call["message"]
        )
        probes.publish(AIR, air(9.0, range(30, 0, -1)))
        receiver.wait_for(told("Not recorded. Front display case: fish too warm"), "it", 60.0)
        for command, where in (("verify", ()), ("backup", (str(copy),))):
            refused = CliRunner().invoke(rimewatch, [command, "--journal", str(journal), *where])
            assert "restore the latest backup" in f"{refused.output}{refused.exception}"

        for part in ("", "-wal", "-shm"):
            journal.with_name(f"{journal.name}{part}").unlink(missing_ok=True)
        shutil.copy(copy, tmp_path / "restored.db")
        (tmp_path / "restored.db").replace(journal)
        until(lambda: kept() == 990, "every reading since the copy, once")
        receiver.wait_for(told("Front display case: fish too warm"), "the alarm on record", 60.0)
        assert "Saltmarsh Row Fish: recording again" in receiver.titles()

    with JournalReader.open(journal) as reader:
        assert reader.verify() == []
        (again,) = [e for e in reader.events_between(0, 10**14) if e.what == "taken up again"]
    assert "quick_check found" in again.detail
