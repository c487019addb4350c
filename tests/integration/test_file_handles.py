"""When file handles run out: readings are kept, and the alarm goes out once there are some."""

import resource
from datetime import UTC, datetime
from pathlib import Path

import pytest

from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from service_process import Probes, ServiceProcess, until

pytestmark = pytest.mark.integration

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
on_delay_s = 300
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 3600
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:{phone}/first"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 3600
"""
AIR = "shop/case-1/air"


def write_shop(folder: Path, port: int, phone: int) -> Path:
    path = folder / "shop.toml"
    path.write_text(SHOP.format(port=port, phone=phone))
    return path


def half_an_hour(celsius: float) -> list[str]:
    """Make thirty readings, a minute apart, that end now."""
    now_s = SystemClock().now_ms() / 1000
    at = [datetime.fromtimestamp(now_s - 60 * n, tz=UTC).isoformat() for n in range(30)][::-1]
    return [f'{{"t": {celsius}, "ts": "{moment}"}}' for moment in at]


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
