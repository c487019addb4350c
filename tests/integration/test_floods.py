"""Whatever the pages suffer, a message goes out: floods of every kind against the real service."""

import resource
import socket
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from case_and_phone import AIR, SHOP, half_an_hour
from flood import Flood, Flooder
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.journal.quarantine import ROWS_KEPT
from rimewatch.web.people import People, Role, people_path
from service_process import Probes, ServiceProcess, until

pytestmark = pytest.mark.integration

HANDLES = 250
"""What the service may have open here: few, so that a flood needs few connections of the test."""
CONNECTIONS = 300
TOLD_WITHIN_S = 25.0
"""Without a flood it is about two seconds; a busy machine takes its time."""
MOST_LOG_BYTES = 50_000
FAR_MS = 10**14

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


class BrokerFlood(StrEnum):
    """What somebody with the right to publish sends besides the readings."""

    TOPICS = "a message on each of thousands of topics"
    RETAINED = "messages that the broker keeps, thousands of them, before the service comes"
    SIZES = "payloads of a megabyte"


def flood_of(kind: BrokerFlood) -> list[tuple[str, bytes]]:
    """Return topics and payloads; each topic is among those that the probe's filter matches."""
    if kind is BrokerFlood.SIZES:
        return [("shop/case-1/large", bytes([65 + n % 26]) * (1 << 20)) for n in range(150)]
    return [(f"shop/case-1/{n}", b"nothing that is read") for n in range(STRANGE_TOPICS)]


STRANGE_TOPICS = ROWS_KEPT + 2000
MOST_MEMORY_KB = 300_000


@pytest.mark.parametrize("kind", BrokerFlood, ids=lambda kind: kind.name.lower())
def test_alarm_goes_out_under_a_flood_by_the_broker(
    tmp_path: Path,
    start_mosquitto: Callable[..., Mosquitto],
    receiver: Receiver,
    kind: BrokerFlood,
) -> None:
    """What is no reading is counted and bounded; the readings behind it are judged in seconds."""
    broker = start_mosquitto("max_queued_messages 100000\n")
    config = tmp_path / "shop.toml"
    shop = SHOP.format(port=broker.port, phone=receiver.port)
    config.write_text(shop.replace('topic = "shop/case-1/air"', 'topic = "shop/case-1/+"'))
    flood = flood_of(kind)
    is_kept = kind is BrokerFlood.RETAINED
    stranger = Client(CallbackAPIVersion.VERSION2, client_id="stranger")
    stranger.max_inflight_messages_set(1000)
    stranger.connect("127.0.0.1", broker.port)
    stranger.loop_start()
    service = ServiceProcess(config, tmp_path / "rimewatch.db")
    try:
        if is_kept:
            _publish(stranger, flood, retain=True)
        with service, Probes(broker.port) as probes:
            service.wait_for("Listening")
            if not is_kept:
                _publish(stranger, flood, retain=False)
            probes.publish(AIR, half_an_hour(9.0))
            receiver.wait_for(lambda r: bool(r.got), "the alarm", TOLD_WITHIN_S)
            assert "too warm" in receiver.titles()[0]
            service.wait_for_readings("case-1-air", 30)
            until(
                lambda: service.look(lambda j: j.quarantine_counts(0, FAR_MS).total) == len(flood),
                "every message counted",
            )
            assert (service.look(lambda j: len(j.quarantine_latest(10**6))) or 0) <= ROWS_KEPT
            assert memory_kb(service.pid) < MOST_MEMORY_KB
            assert service.stop() == 0
            assert len(service.said) < MOST_LOG_BYTES
            assert "Traceback" not in service.said
    finally:
        stranger.disconnect()
        stranger.loop_stop()


def _publish(stranger: Client, flood: list[tuple[str, bytes]], *, retain: bool) -> None:
    sent = [stranger.publish(topic, payload, qos=1, retain=retain) for topic, payload in flood]
    for info in sent:
        info.wait_for_publish(60.0)


def memory_kb(pid: int) -> int:
    """Return how much memory a process has held at most."""
    status = Path(f"/proc/{pid}/status").read_text()
    return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))
