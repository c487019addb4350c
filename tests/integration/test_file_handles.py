"""When file handles run out: readings are kept, and the alarm goes out once there are some."""

import resource
from pathlib import Path

import pytest

from case_and_phone import AIR, half_an_hour, write_shop
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from service_process import Probes, ServiceProcess, until

pytestmark = pytest.mark.integration


def test_service_without_file_handles_keeps_readings_and_tells_when_it_has_some(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """What needs no new file goes on; the alarm waits in the outbox until a phone can be called."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)
    with (
        ServiceProcess(config, tmp_path / "rimewatch.db") as service,
        Probes(mosquitto.port) as probes,
    ):
        service.wait_for("Listening")
        before = resource.prlimit(service.pid, resource.RLIMIT_NOFILE)
        resource.prlimit(service.pid, resource.RLIMIT_NOFILE, (3, before[1]))
        probes.publish(AIR, half_an_hour(9.0))
        service.wait_for_readings("case-1-air", 30)
        until(lambda: service.look(lambda j: j.outbox_backlog().failing) == 1, "a try that failed")
        assert receiver.got == []

        resource.prlimit(service.pid, resource.RLIMIT_NOFILE, before)
        receiver.wait_for(lambda r: bool(r.got), "the alarm", 60.0)
        assert "too warm" in receiver.titles()[0]
        assert service.stop() == 0
        assert "Traceback" not in service.said
