"""Fixtures that several folders of tests share: a real broker, started on a port of its own."""

import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from paho.mqtt.client import MQTTv311

from mosquitto_broker import Mosquitto
from rimewatch.clock import Clock, SystemClock
from rimewatch.intake.broker import BrokerSession
from rimewatch.shop import Broker

# In CI the same examples each time: a run there says something of the change it runs for.
# At home new ones each time: that is how rare faults are found.
hypothesis.settings.register_profile("ci", derandomize=True, deadline=None)
hypothesis.settings.register_profile("home", deadline=None)
hypothesis.settings.load_profile("ci" if os.environ.get("CI") else "home")


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


@pytest.fixture
def new_session() -> Iterator[Callable[..., BrokerSession]]:
    """Make started sessions; all are stopped after the test."""
    made: list[BrokerSession] = []

    def make(
        url: str,
        *,
        expect_session: bool = False,
        speaks_5: bool = True,
        clock: Clock | None = None,
        filters: Sequence[str] = ("shop/#",),
        earlier: Sequence[str] = (),
        **changes: Any,
    ) -> BrokerSession:
        session = BrokerSession(
            Broker(url=url, **{"client_id": "rime-1", **changes}),
            filters,
            clock or SystemClock(),
            expect_session=expect_session,
            earlier=earlier,
            reconnect_s=(1, 1),
        )
        if not speaks_5:
            session._protocol = MQTTv311  # as after a broker's refusal of 5
        session.start()
        made.append(session)
        return session

    yield make
    for session in made:
        session.stop()
