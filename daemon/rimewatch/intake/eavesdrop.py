"""Listens to a broker for a while, as a guest: no lasting session, nothing acknowledged for others.

Also tells whether a broker lets anybody in. Never publishes; never stores anything.
"""

import queue
from collections.abc import Iterator
from typing import Final

from paho.mqtt.client import Client, MQTTMessage, MQTTv311

from rimewatch.clock import Clock
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.guest import Guest, NotHeard, stranger
from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES
from rimewatch.intake.topics import storable
from rimewatch.shop import Broker

EVERYTHING: Final = "#"
MOST_WAITING: Final = 10_000
"""Messages not yet looked at; further ones are left out."""

ANSWER_WITHIN_S: Final = 10.0
OPEN_WITHIN_S: Final = 3.0

OPEN_BROKER: Final = (
    "The broker at {address} lets anybody in without a password: whoever reaches it can send "
    "false temperatures. See config/mosquitto-acl.conf."
)


class _Listener(Guest):
    """A guest who hears everything."""

    def __init__(self, broker: Broker, clock: Clock) -> None:
        super().__init__(broker, MQTTv311)
        self.waiting: queue.Queue[Arrived] = queue.Queue(MOST_WAITING)
        self.left_out = 0
        self._clock = clock
        self.client.on_message = self._on_message

    def open(self, within_s: float) -> None:
        """Connect, and ask for everything.

        Raises:
            NotHeard: If that does not come about.
        """
        super().open(within_s)
        self.client.subscribe(EVERYTHING, qos=0)

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
            0,
            0,
        )
        try:
            self.waiting.put_nowait(arrived)
        except queue.Full:
            self.left_out += 1


def eavesdrop(
    broker: Broker, clock: Clock, seconds: float, *, tick_s: float = 0.25
) -> Iterator[Arrived | None]:
    """Yield every message for so long; None now and then while nothing comes.

    Raises:
        NotHeard: If the broker cannot be listened to.
        BrokerSettingsError: If the settings cannot be used.
    """
    guest = _Listener(broker, clock)
    guest.open(ANSWER_WITHIN_S)
    end_s = clock.monotonic_s() + seconds
    try:
        while (left_s := end_s - clock.monotonic_s()) > 0:
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
