"""A damaged journal: refused in plain words, and the fish is watched all the same."""

import sqlite3
from pathlib import Path

import pytest

from case_and_phone import AIR, air, write_shop
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from service_process import Probes, ServiceProcess, run_command

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


def test_page_damaged_while_it_runs_is_named_by_verify_and_backup_and_met_at_the_next_start(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The service has the page in memory and goes on telling of warm fish; others meet it."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    journal = tmp_path / "rimewatch.db"
    with ServiceProcess(config, journal) as service, Probes(mosquitto.port) as probes:
        service.wait_for("Listening")
        probes.publish(AIR, air(2.0, range(1000, 40, -1)))
        service.wait_for_readings("case-1-air", 960)
        damage(journal, first_page_of_readings(journal))
        probes.publish(AIR, air(9.0, range(30, 0, -1)))
        receiver.wait_for(lambda r: bool(r.got), "the warm fish", 60.0)
        assert receiver.titles()[0].startswith("Front display case: fish too warm")

        verified = run_command("verify", "--journal", journal)
        backed_up = run_command("backup", "--journal", journal, tmp_path / "copy.db")
        for refused in (verified, backed_up):
            assert refused.returncode != 0
            assert b"restore the latest backup" in refused.stdout + refused.stderr
        assert not (tmp_path / "copy.db").exists()
        service.stop()

    with ServiceProcess(config, journal) as service:
        service.wait_for("Not recording")
        service.wait_for("Standing in: readings are judged in memory")
        receiver.wait_for(lambda r: NOTHING_RECORDED in r.titles(), "the call", 60.0)
        assert service.stop() == 0
