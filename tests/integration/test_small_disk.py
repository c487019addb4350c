"""A disk that fills up or takes no writing: nothing is lost, and the fish is watched meanwhile."""

import signal
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from case_and_phone import AIR, air, write_shop
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from service_process import Probes, ServiceProcess, until
from small_disk import SmallDisk

pytestmark = pytest.mark.integration

NAME = "rimewatch.db"
NOTHING_RECORDED = "Saltmarsh Row Fish: nothing is recorded"
WARM_UNRECORDED = "Not recorded. Front display case: fish too warm"


@pytest.fixture
def place() -> Iterator[Path]:
    """Give a folder that the disk's namespace sees as well: memory that has is its own."""
    with TemporaryDirectory() as folder:
        yield Path(folder)


def kept(disk: SmallDisk) -> int | None:
    """Return how many readings of the probe are on the disk."""
    return disk.look(NAME, lambda j: len(j.span("case-1-air").times_ms))  # type: ignore[arg-type]


def service_on(disk: SmallDisk, config: Path) -> ServiceProcess:
    service = ServiceProcess(config, disk.folder / NAME)
    service.prefix = disk.prefix
    return service


def wait_for_warm_fish(receiver: Receiver, start: str) -> None:
    receiver.wait_for(lambda r: any(title.startswith(start) for title in r.titles()), start, 60.0)


def test_disk_that_fills_up_loses_nothing_and_the_fish_is_watched_meanwhile(
    place: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The service even dies while nothing can be written: the broker still has every reading."""
    config = write_shop(place, mosquitto.port, receiver.port)
    with SmallDisk(place / "disk", place / "copies") as disk:
        with service_on(disk, config) as service, Probes(mosquitto.port) as probes:
            service.wait_for("Listening")
            disk.fill()
            probes.publish(AIR, air(9.0, range(60, 30, -1)))
            service.wait_for("Not recording: ")
            service.wait_for("Standing in: readings are judged in memory")
            # What came before it stood in is with the service, unacknowledged; this it hears.
            probes.publish(AIR, air(9.0, range(30, 0, -1)))
            wait_for_warm_fish(receiver, WARM_UNRECORDED)
            assert receiver.titles()[0] == NOTHING_RECORDED
            assert kept(disk) == 0
            service.send(signal.SIGKILL)
            service.ended()
        disk.make_room()

        with service_on(disk, config) as service:
            until(lambda: kept(disk) == 60, "every reading, once")
            wait_for_warm_fish(receiver, "Front display case: fish too warm")
            assert service.stop() == 0
            assert "Traceback" not in service.said
        assert disk.look(NAME, lambda j: j.verify()) == []


def test_disk_that_is_read_only_at_the_start_does_not_end_the_watch(
    place: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """After a fault the machine starts so: it is told, the fish is watched, and all caught up."""
    config = write_shop(place, mosquitto.port, receiver.port)
    with SmallDisk(place / "disk", place / "copies") as disk:
        with service_on(disk, config) as service:
            service.wait_for("Listening")
            assert service.stop() == 0
        disk.remount("ro")

        with service_on(disk, config) as service, Probes(mosquitto.port) as probes:
            service.wait_for("Not recording: ")
            service.wait_for("Standing in: readings are judged in memory")
            probes.publish(AIR, air(9.0, range(30, 0, -1)))
            wait_for_warm_fish(receiver, WARM_UNRECORDED)
            assert receiver.titles()[0] == NOTHING_RECORDED
            assert kept(disk) == 0

            disk.remount("rw")
            service.wait_for("The journal can be used again.")
            until(lambda: kept(disk) == 30, "every reading, once")
            wait_for_warm_fish(receiver, "Front display case: fish too warm")
            assert "Saltmarsh Row Fish: recording again" in receiver.titles()
            assert service.stop() == 0
            assert "Traceback" not in service.said
        assert disk.look(NAME, lambda j: j.verify()) == []


def test_disk_without_inodes_loses_nothing_and_the_fish_is_watched(
    place: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """A running service needs no new file; one that starts stands in until there is one."""
    config = write_shop(place, mosquitto.port, receiver.port)
    with SmallDisk(place / "disk", place / "copies") as disk:
        with service_on(disk, config) as service, Probes(mosquitto.port) as probes:
            service.wait_for("Listening")
            disk.use_up_inodes()
            probes.publish(AIR, air(9.0, range(60, 30, -1)))
            wait_for_warm_fish(receiver, "Front display case: fish too warm")
            until(lambda: kept(disk) == 30, "every reading, once")
            assert service.stop() == 0
            assert "Traceback" not in service.said
        disk.use_up_inodes()  # those of the WAL have come free

        with service_on(disk, config) as service, Probes(mosquitto.port) as probes:
            service.wait_for("Not recording: ")
            service.wait_for("Standing in: readings are judged in memory")
            probes.publish(AIR, air(9.0, range(30, 0, -1)))
            wait_for_warm_fish(receiver, WARM_UNRECORDED)

            disk.give_inodes_back()
            service.wait_for("The journal can be used again.")
            until(lambda: kept(disk) == 60, "every reading, once")
            assert service.stop() == 0
            assert "Traceback" not in service.said
        assert disk.look(NAME, lambda j: j.verify()) == []
