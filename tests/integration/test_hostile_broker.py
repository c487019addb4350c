"""A broker, or whoever is in its place, that sends more than any probe has to say."""

import threading
import tracemalloc
from collections.abc import Callable, Iterator

import pytest
from broker_sides import TOPIC, Shopkeeper
from hostile_broker import LARGEST, HostileBroker

from rimewatch.intake.arrivals import Happening
from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES

pytestmark = pytest.mark.integration

NewSession = Callable[..., BrokerSession]
MOST_BYTES = 32 << 20
"""What it may take at its height: some megabytes of the socket's pieces, not of the packet."""


@pytest.fixture
def hostile(request: pytest.FixtureRequest) -> Iterator[HostileBroker]:
    """Give one that speaks MQTT 5 (level 5), or 3.1.1 (level 4)."""
    with HostileBroker(level=getattr(request, "param", 5)) as broker:
        yield broker


@pytest.fixture
def peak() -> Iterator[Callable[[], int]]:
    """Measure the memory of Python's own objects, the client library's buffers among them."""
    tracemalloc.start()
    try:
        yield lambda: tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def listening(new_session: NewSession, hostile: HostileBroker) -> Shopkeeper:
    keeper = Shopkeeper(new_session(f"mqtt://127.0.0.1:{hostile.port}"))
    keeper.run_until(lambda: keeper.session.health().listening)
    keeper.until_event(Happening.CONNECTED)  # it may be told a moment later
    return keeper


@pytest.mark.parametrize("hostile", [4, 5], indirect=True)
def test_packet_larger_than_any_is_quarantined_by_its_start_and_acknowledged(
    new_session: NewSession, hostile: HostileBroker, peak: Callable[[], int]
) -> None:
    """Neither the memory nor what comes after it suffers, and it does not come again."""
    keeper = listening(new_session, hostile)
    size = 96 << 20
    sender = threading.Thread(
        target=lambda: (
            hostile.publish(TOPIC, size, mid=7, start=b"warm"),
            hostile.publish(TOPIC, 4, mid=8, start=b"2.25"),
        )
    )
    sender.start()
    keeper.run_until(lambda: len(keeper.messages) == 2)
    keeper.run_until(lambda: hostile.acknowledged == [7, 8])
    sender.join()

    large, small = keeper.messages
    assert (large.topic, large.payload[:4]) == (TOPIC, b"warm")
    assert len(large.payload) == MAX_PAYLOAD_BYTES + 1, "it must be seen to be too large"
    assert small.payload == b"2.25"
    assert peak() < MOST_BYTES


def test_announced_quarter_gigabyte_that_stops_half_way_holds_nothing_up(
    new_session: NewSession, hostile: HostileBroker, peak: Callable[[], int]
) -> None:
    """The queue stays open to us, the memory small; the next connection begins afresh."""
    keeper = listening(new_session, hostile)
    hostile.publish(TOPIC, LARGEST - 100, mid=7, sent=96 << 20)
    assert keeper.session.drain(10, 0.0) == []
    assert peak() < MOST_BYTES

    assert hostile._client is not None
    hostile.subscribed.clear()
    hostile._client.shutdown(2)
    keeper.run_until(hostile.subscribed.is_set)
    hostile.publish(TOPIC, 4, mid=9, start=b"2.25")
    keeper.run_until(lambda: hostile.acknowledged == [9])
    assert [message.payload for message in keeper.messages] == [b"2.25"]
