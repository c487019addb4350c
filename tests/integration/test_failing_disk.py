"""A disk that answers reads, writes or syncs of the journal with an error, and then does not."""

from pathlib import Path

import pytest

from case_and_phone import AIR, air, write_shop
from failing_disk import Failing, FailingDisk
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from service_process import Probes, ServiceProcess, readings

pytestmark = pytest.mark.integration

NOTHING_RECORDED = "Saltmarsh Row Fish: nothing is recorded"
WARM_UNRECORDED = "Not recorded. Front display case: fish too warm"


def test_disk_that_fails_to_write_and_to_sync_loses_nothing_and_the_fish_is_watched_meanwhile(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """Nothing is acknowledged that is not there; the phone hears of the disk, then of the fish."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    service = ServiceProcess(config, tmp_path / "rimewatch.db")
    disk = FailingDisk(tmp_path, "rimewatch.db")
    service.prefix = disk.prefix
    with service, Probes(mosquitto.port) as probes:
        service.wait_for("Listening")
        disk.fail(Failing.WRITES)
        probes.publish(AIR, air(9.0, range(60, 30, -1)))
        service.wait_for("Not recording: ")
        service.wait_for("Standing in: readings are judged in memory")
        disk.fail(Failing.SYNCS)
        probes.publish(AIR, air(9.0, range(30, 0, -1)))
        receiver.wait_for(
            lambda r: any(title.startswith(WARM_UNRECORDED) for title in r.titles()),
            "warm fish, though nothing is recorded",
            60.0,
        )
        assert receiver.titles()[0] == NOTHING_RECORDED
        assert readings(service, "case-1-air") == 0

        disk.heal()
        service.wait_for("Recording again.")
        service.wait_for_readings("case-1-air", 60)
        assert service.stop() == 0
        assert "Traceback" not in service.said
        assert service.look(lambda j: j.verify()) == []


def test_disk_that_fails_to_read_loses_nothing(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """What is in memory serves meanwhile, what is not is waited for; each reading is kept once."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    service = ServiceProcess(config, tmp_path / "rimewatch.db")
    disk = FailingDisk(tmp_path, "rimewatch.db")
    service.prefix = disk.prefix
    with service, Probes(mosquitto.port) as probes:
        service.wait_for("Listening")
        disk.fail(Failing.READS)
        probes.publish(AIR, air(9.0, range(30, 0, -1)))
        receiver.wait_for(lambda r: bool(r.got), "that nothing is recorded, or the fish", 60.0)

        disk.heal()
        service.wait_for_readings("case-1-air", 30)
        receiver.wait_for(
            lambda r: any("too warm" in title for title in r.titles()), "the warm fish", 60.0
        )
        assert service.stop() == 0
        assert "Traceback" not in service.said
        assert service.look(lambda j: j.verify()) == []


def test_disk_that_cannot_be_read_at_the_start_does_not_end_the_watch(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The file is there and answers nothing: it is told, the fish watched, and all caught up."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    disk = FailingDisk(tmp_path, "rimewatch.db")
    with ServiceProcess(config, tmp_path / "rimewatch.db") as first:
        first.wait_for("Listening")
        assert first.stop() == 0
    disk.fail(Failing.READS)
    service = ServiceProcess(config, tmp_path / "rimewatch.db")
    service.prefix = disk.prefix
    with service, Probes(mosquitto.port) as probes:
        service.wait_for("Not recording: ")
        service.wait_for("Standing in: readings are judged in memory")
        probes.publish(AIR, air(9.0, range(30, 0, -1)))
        receiver.wait_for(
            lambda r: any(title.startswith(WARM_UNRECORDED) for title in r.titles()),
            "warm fish, though nothing is recorded",
            60.0,
        )

        disk.heal()
        service.wait_for("The journal can be used again.")
        service.wait_for_readings("case-1-air", 30)
        assert service.stop() == 0
        assert "Traceback" not in service.said
        assert service.look(lambda j: j.verify()) == []
