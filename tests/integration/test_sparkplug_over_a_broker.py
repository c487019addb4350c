"""A real Sparkplug client speaks through a real broker with the running service."""

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.journal.reader import JournalReader
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
PATIENCE_S = 20.0


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

    with RunningService(shop, journal_path, start_ms):
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
        eventually(lambda: stale_alarms() == 1)
