"""Fixtures that several folders of tests share: a real broker, started on a port of its own."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from mosquitto_broker import Mosquitto


@pytest.fixture
def start_mosquitto(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """Start brokers with further lines of configuration; all are stopped after the test."""
    started: list[Mosquitto] = []

    def start(extra_config: str = "") -> Mosquitto:
        broker = Mosquitto(tmp_path / f"mosquitto-{len(started)}", extra_config)
        started.append(broker)
        broker.start()
        return broker

    yield start
    for broker in started:
        broker.stop()


@pytest.fixture
def mosquitto(start_mosquitto: Callable[..., Mosquitto]) -> Mosquitto:
    """Give a running broker that anybody on this machine may use."""
    return start_mosquitto()
