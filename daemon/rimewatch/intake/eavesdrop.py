"""Listens to a broker for a while, as a guest: no lasting session, nothing acknowledged for others.

Also tells whether a broker lets anybody in. Never publishes; never stores anything.
"""

import queue
import sys
import threading
import uuid
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rimewatch.clock import Clock
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.bounded_client import BoundedClient
from rimewatch.intake.broker_settings import endpoint
from rimewatch.intake.broker_trouble import describe_failure, describe_hush, describe_refusal
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


class NotHeard(Exception):  # noqa: N818 - a word people use reads better than "Error"
    """The broker cannot be listened to; the text says why, in one sentence."""


class _Guest:
    """A short-lived connection."""

    def __init__(self, broker: Broker, clock: Clock, *, listens: bool) -> None:
        self._listens = listens
        self.end = endpoint(broker)
        self.waiting: queue.Queue[Arrived] = queue.Queue(MOST_WAITING)
        self.left_out = 0
        self.trouble = ""
        self.connected = threading.Event()
        self._clock = clock
        name = f"rimewatch-guest-{uuid.uuid4().hex[:12]}"
        self.client = BoundedClient(
            CallbackAPIVersion.VERSION2, client_id=name, clean_session=True, protocol=MQTTv311
        )
        if self.end.username is not None:
            self.client.username_pw_set(self.end.username, self.end.password)
        if self.end.tls is not None:
            self.client.tls_set_context(self.end.tls)
        self.client.on_connect = self._on_connect
        self.client.on_connect_fail = self._on_connect_fail
        self.client.on_message = self._on_message

    def open(self, within_s: float) -> None:
        """Connect.

        Raises:
            NotHeard: If that does not come about.
        """
        self.client.connect_async(self.end.host, self.end.port, 30)
        self.client.loop_start()
        if not self.connected.wait(within_s):
            self.trouble = self.trouble or describe_hush(self.end.address)
        if self.trouble:
            self.close()
            raise NotHeard(self.trouble)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def _on_connect(
        self,
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if code.is_failure:
            self.trouble = describe_refusal(code.value, code.getName(), self.end.address)
        elif self._listens:
            client.subscribe(EVERYTHING, qos=0)
        self.connected.set()

    def _on_connect_fail(self, _client: Client, _userdata: object) -> None:
        self.trouble = describe_failure(sys.exception(), self.end.address)
        self.connected.set()

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
    guest = _Guest(broker, clock, listens=True)
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


def is_open(broker: Broker, clock: Clock) -> bool:
    """Return whether a broker takes anybody: no user, no password, no certificate of ours."""
    stranger = replace(broker, username=None, password=None, cert_file=None, key_file=None)
    guest = _Guest(stranger, clock, listens=False)
    try:
        guest.open(OPEN_WITHIN_S)
    except NotHeard:
        return False
    guest.close()
    return True
