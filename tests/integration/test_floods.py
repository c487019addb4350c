"""Whatever the pages suffer, a message goes out: floods of every kind against the real service."""

import resource
import socket
from pathlib import Path

import pytest

from case_and_phone import AIR, SHOP, half_an_hour
from flood import Flood, Flooder
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.web.people import People, Role, people_path
from service_process import Probes, ServiceProcess

pytestmark = pytest.mark.integration

HANDLES = 250
"""What the service may have open here: few, so that a flood needs few connections of the test."""
CONNECTIONS = 300
TOLD_WITHIN_S = 25.0
"""Without a flood it is about two seconds; a busy machine takes its time."""
MOST_LOG_BYTES = 50_000

PASSWORD = "ice and salt and ice"


def free_port() -> int:
    """Return a port that is free now."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port: int = listening.getsockname()[1]
        return port


@pytest.mark.parametrize("kind", Flood, ids=lambda kind: kind.name.lower())
def test_alarm_goes_out_under_a_flood(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver, kind: Flood
) -> None:
    """The phone is told within seconds, and the log stays small."""
    pages = free_port()
    config = tmp_path / "shop.toml"
    config.write_text(
        SHOP.format(port=mosquitto.port, phone=receiver.port)
        + f'[web]\nlisten = "127.0.0.1:{pages}"\n'
    )
    journal = tmp_path / "rimewatch.db"
    people = People(people_path(journal))
    now_ms = SystemClock().now_ms()
    invited = people.invite("Ana", Role.LOOK, now_ms)
    person = people.accept(invited, "", PASSWORD, now_ms)
    assert person is not None
    cookie = people.begin_session(person, now_ms)
    with ServiceProcess(config, journal) as service, Probes(mosquitto.port) as probes:
        service.wait_for("Listening")
        resource.prlimit(service.pid, resource.RLIMIT_NOFILE, (HANDLES, HANDLES))
        with Flooder(pages, kind, CONNECTIONS, cookie) as flood:
            flood.wait_until_full()
            probes.publish(AIR, half_an_hour(9.0))
            receiver.wait_for(lambda r: bool(r.got), "the alarm", TOLD_WITHIN_S)
        assert "too warm" in receiver.titles()[0]
        assert service.stop() == 0
        assert len(service.said) < MOST_LOG_BYTES
        assert "Traceback" not in service.said
