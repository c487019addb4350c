"""Listens to a broker for a while, as a guest: no lasting session, nothing acknowledged for others.

Also tells whether a broker lets anybody in. Publishes nothing but what it is handed, such as a
request for births; never stores anything.
"""

import queue
import threading
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Final

from paho.mqtt.client import Client, MQTTMessage, MQTTv311
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rimewatch.clock import Clock
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.broker_trouble import describe_hush
from rimewatch.intake.guest import Guest, NotHeard, stranger
from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES
from rimewatch.intake.topics import storable
from rimewatch.shop import Broker

EVERYTHING: Final = "#"
MOST_WAITING: Final = 10_000
"""Messages not yet looked at; further ones are left out."""

ANSWER_WITHIN_S: Final = 10.0
OPEN_WITHIN_S: Final = 3.0

REFUSED: Final = (
    "The broker at {address} does not let us hear {topics}; name topics that its user may read, "
    "such as shop/#"
)

OPEN_BROKER: Final = (
    "The broker at {address} lets anybody in without a password: whoever reaches it can send "
    "false temperatures. See config/mosquitto-acl.conf."
)


class TopicsRefused(NotHeard):
    """The broker lets us in, and does not let us hear what was asked for."""


class _Listener(Guest):
    """A guest who hears everything, or what it is told to."""

    def __init__(self, broker: Broker, clock: Clock, topics: Sequence[str]) -> None:
        super().__init__(broker, MQTTv311)
        self._topics = tuple(topics)
        self._answered = threading.Event()
        self._refused: tuple[str, ...] = ()
        self.client.on_subscribe = self._on_subscribe
        self.waiting: queue.Queue[Arrived] = queue.Queue(MOST_WAITING)
        self.left_out = 0
        self._clock = clock
        self.client.on_message = self._on_message

    def open(self, within_s: float) -> None:
        """Connect, and ask for the topics.

        Raises:
            NotHeard: If that does not come about.
            TopicsRefused: If none of them is granted.
        """
        super().open(within_s)
        self.client.subscribe([(topic, 1) for topic in self._topics])
        if not self._answered.wait(within_s):
            self.close()
            raise NotHeard(describe_hush(self.end.address))
        if len(self._refused) == len(self._topics):
            self.close()
            told = ", ".join(self._refused)
            raise TopicsRefused(REFUSED.format(address=self.end.address, topics=told))

    def _on_subscribe(
        self,
        _client: Client,
        _userdata: object,
        _mid: int,
        codes: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        answers = zip(self._topics, codes, strict=False)
        self._refused = tuple(topic for topic, code in answers if code.is_failure)
        self._answered.set()

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError as err:
            topic = storable(err.object.decode(errors="backslashreplace"))
        arrived = Arrived(
            topic,
            bytes(message.payload[: MAX_PAYLOAD_BYTES + 1]),
            self._clock.now_ms(),
            message.retain,
            0,
            message.qos,
            0,
        )
        try:
            self.waiting.put_nowait(arrived)
        except queue.Full:
            self.left_out += 1


def eavesdrop(
    broker: Broker,
    clock: Clock,
    seconds: float,
    *,
    topics: Sequence[str] = (EVERYTHING,),
    outgoing: deque[tuple[str, bytes]] | None = None,
    tick_s: float = 0.25,
) -> Iterator[Arrived | None]:
    """Yield every message for so long; None now and then while nothing comes.

    Args:
        broker: Where to listen.
        clock: The machine's.
        seconds: For how long.
        topics: What to listen to: filters.
        outgoing: What is put in here is published, at QoS 0 and not retained.
        tick_s: How often None is yielded at least.

    Raises:
        TopicsRefused: If the broker grants none of the topics.
        NotHeard: If the broker cannot be listened to.
        BrokerSettingsError: If the settings cannot be used.
    """
    guest = _Listener(broker, clock, topics)
    guest.open(ANSWER_WITHIN_S)
    end_s = clock.monotonic_s() + seconds
    try:
        while (left_s := end_s - clock.monotonic_s()) > 0:
            while outgoing:
                guest.client.publish(*outgoing.popleft(), qos=0)
            try:
                yield guest.waiting.get(timeout=min(tick_s, left_s))
            except queue.Empty:
                yield None
    finally:
        guest.close()


def is_open(broker: Broker) -> bool:
    """Return whether a broker takes anybody: no user, no password, no certificate of ours."""
    guest = Guest(stranger(broker), MQTTv311)
    try:
        guest.open(OPEN_WITHIN_S)
    except NotHeard:
        return False
    guest.close()
    return True
