"""A real Sparkplug client speaks through a real broker with the running service."""

import json
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from paho.mqtt import publish
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.intake.sparkplug.presence import HostPresence, state_payload
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.rules.stale import GONE_GRACE_MS
from rimewatch.service.writer import Writer
from rimewatch.shop import Broker
from rimewatch.vocabulary import ProbeId, Rule
from running_service import RunningService
from sparkplug_node import Node

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
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "spBv1.0/fish/+/node-1/case-1"
format = "sparkplug"
fields = {{ value = "Temperature" }}
"""
PATIENCE_S = 60.0


@pytest.fixture
def node() -> Iterator[Node]:
    one = Node("case-1", "Temperature", 2.0, alias=7)
    yield one
    one.close()


def eventually(what: Callable[[], bool]) -> None:
    end_s, pause = time.monotonic() + PATIENCE_S, threading.Event()
    while not what():
        assert time.monotonic() < end_s, "it did not come about"
        pause.wait(0.05)


@pytest.mark.integration
def test_node_is_followed_from_its_birth_over_a_gap_to_its_death(
    tmp_path: Path, mosquitto: Mosquitto, node: Node
) -> None:
    """Birth, data by alias, a missing message, the rebirth that we ask for, and its end."""
    shop = load_shop(SHOP.format(port=mosquitto.port))
    journal_path = tmp_path / "rimewatch.db"
    start_ms = SystemClock().now_ms()

    def values() -> list[float]:
        with JournalReader.open(journal_path) as journal:
            return [float(v) for v in journal.span(ProbeId("case-1-air"), None, None).values]

    def stale_alarms() -> int:
        with JournalReader.open(journal_path) as journal:
            alarms = journal.alarms_between(start_ms - 1, start_ms + 3_600_000)
            return sum(alarm.rule is Rule.STALE for alarm in alarms)

    with RunningService(shop, journal_path, start_ms) as service:

        def is_told_as_time_goes_on() -> bool:
            service.clock.move_to(service.clock.now_ms() + 200)
            return stale_alarms() == 1

        node.connect(mosquitto.port)
        eventually(lambda: values() == [2.0])
        node.data(3.5)
        eventually(lambda: values() == [2.0, 3.5])

        node.reborn.clear()  # a host that begins may have asked for births already
        node.skip()
        node.data(9.5)
        assert node.reborn.wait(PATIENCE_S), "no rebirth was asked for"
        node.data(4.5)
        eventually(lambda: 4.5 in values())
        assert 9.5 not in values(), "an alias in doubt was believed"
        assert stale_alarms() == 0

        node.break_off()
        eventually(is_told_as_time_goes_on)
        passed_ms = service.clock.now_ms() - start_ms
        assert GONE_GRACE_MS <= passed_ms < 180_000, "a silence alone would be told after 180 s"


class Watcher:
    """What a node sees of its host: each word on the state's topic, the kept one first."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[bool, int, bool]] = []
        """Whether it is online, its time, and whether the broker had kept it."""
        self.client = Client(CallbackAPIVersion.VERSION2)
        self.client.on_connect = lambda client, *_: client.subscribe("spBv1.0/STATE/shop-1", 1)
        self.client.on_message = self._on_message
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _on_message(self, _client: object, _userdata: object, message: MQTTMessage) -> None:
        said = json.loads(message.payload)
        assert (said.keys(), message.qos) == ({"online", "timestamp"}, 1)
        self.heard.append((said["online"], said["timestamp"], message.retain))

    def words(self) -> list[bool]:
        return [online for online, _, _ in self.heard]

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.mark.integration
def test_nodes_are_told_that_we_are_there_only_while_we_record(
    tmp_path: Path, mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Online once subscribed; off-line while nothing can be written, and when we leave.

    Sparkplug 3.0.0 (ISO/IEC 20237:2023), chapters 4 and 5: retained, QoS 1, birth and will.
    """

    def disk_full(*_: object, **__: object) -> None:
        raise JournalError("the disk is full", path=journal_path)

    text = SHOP.format(port=mosquitto.port)
    shop = load_shop(text.replace("[[unit]]", 'sparkplug_host = "shop-1"\n[[unit]]', 1))
    journal_path = tmp_path / "rimewatch.db"
    start_ms = SystemClock().now_ms()
    watcher = Watcher(mosquitto.port)
    with RunningService(shop, journal_path, start_ms) as running:
        eventually(lambda: watcher.words() == [True])
        late = Watcher(mosquitto.port)
        eventually(lambda: late.heard == [(True, start_ms, True)])
        late.close()

        # Somebody's will speaks for us, such as our own from a connection that broke.
        death = state_payload(start_ms, online=False)
        publish.single("spBv1.0/STATE/shop-1", death, 1, retain=True, port=mosquitto.port)
        eventually(lambda: watcher.words() == [True, False, True])

        with monkeypatch.context() as failing:
            failing.setattr(Writer, "take", disk_full)
            publish.single("spBv1.0/fish/NDATA/node-1", b"", port=mosquitto.port)
            eventually(lambda: watcher.words() == [True, False, True, False])
        eventually(lambda: watcher.words() == [True, False, True, False, True])
        assert running.error is None
    eventually(lambda: watcher.words() == [True, False, True, False, True, False])
    watcher.close()


@pytest.mark.integration
def test_broker_speaks_for_us_when_we_vanish(mosquitto: Mosquitto) -> None:
    """The will is the death; its time is that of the birth."""
    clock = SystemClock()
    broker = Broker(url=mosquitto.url, client_id="rime-1", sparkplug_host="shop-1")
    presence = HostPresence(broker, clock)
    watcher = Watcher(mosquitto.port)
    assert presence.look(is_recording=True) == ""
    eventually(lambda: watcher.words() == [True])
    assert presence._client is not None
    presence._client.loop_stop()
    presence._client.socket().fileno()
    presence._client._sock_close()  # no goodbye
    eventually(lambda: watcher.words() == [True, False])
    assert watcher.heard[0][1] == watcher.heard[1][1]
    watcher.close()


@pytest.mark.integration
def test_broker_that_withholds_our_state_is_told_of_once(
    start_mosquitto: Callable[..., Mosquitto], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An access list that forgets it would leave the nodes silent for ever."""
    rules = tmp_path / "acl"
    rules.write_text("topic read #\n")
    mosquitto = start_mosquitto(f"acl_file {rules}\n")
    monkeypatch.setattr("rimewatch.intake.sparkplug.presence.HEARD_WITHIN_S", 0.2)
    broker = Broker(url=mosquitto.url, client_id="rime-1", sparkplug_host="shop-1")
    presence = HostPresence(broker, SystemClock())
    told: list[str] = []

    def look() -> bool:
        told.append(presence.look(is_recording=True))
        return any(told)

    eventually(look)
    assert "allow its user to read and write spBv1.0/STATE/shop-1" in told[-1]
    assert presence.look(is_recording=True) == ""
    presence.leave()
