"""Fixtures that several folders of tests share: a real broker, started on a port of its own."""

import os
import shutil
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

QUICKLY_S = (0.1, 0.1)
"""Between two attempts to connect. A shop's are whole seconds; the client takes parts of one."""

MEMORY = Path("/dev/shm")
ROOM_BYTES = 1 << 30
"""What a whole run keeps at once is a third of it at most."""


def pytest_configure(config: pytest.Config) -> None:
    """Let the tests' folders lie in memory, where there is room; the environment may say where.

    The journal is written as it always is, with every sync. A disk makes each of those wait some
    milliseconds, tens of thousands of times, and no test could tell: what a sync is for is a power
    cut of the whole machine, and a killed process leaves what it has written in either place.
    """
    usable = MEMORY.is_mount() and os.access(MEMORY, os.W_OK | os.X_OK)
    if not config.option.basetemp and usable and shutil.disk_usage(MEMORY).free > ROOM_BYTES:
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))


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
            reconnect_s=QUICKLY_S,
        )
        if not speaks_5:
            session._protocol = MQTTv311  # as after a broker's refusal of 5
        session.start()
        made.append(session)
        return session

    yield make
    for session in made:
        session.stop()
