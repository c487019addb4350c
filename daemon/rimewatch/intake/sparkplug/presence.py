"""Tells Sparkplug nodes whether we are there: the STATE of a host application.

Nodes that are set up to wait for a host store what they measure while it is off-line, and
send it when it is back, as historical. So ``online`` is said only while the service records:
not before the broker has confirmed its subscriptions, and not while nothing can be written.

It has a connection of its own, since the standard wants a clean start and this will, and the
service's session is a lasting one with another will. Called by the writer's thread; what
arrives is handled on the network's. Never raises for the network's sake.

References:
    [1] Sparkplug 3.0.0 (ISO/IEC 20237:2023), chapter 4, the STATE topic: ``spBv1.0/STATE/HOST``,
        JSON with ``online`` and ``timestamp``, QoS 1, retained.
    [2] The same, chapter 5, Sparkplug Host Application Session Establishment and Termination:
        the will is the death, the birth has its timestamp and comes after the subscription;
        one that leaves of its own accord says so first. A death heard while on-line is
        answered by a birth (clause from memory).
"""

import contextlib
import json
import threading
from typing import Final

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rimewatch.clock import Clock
from rimewatch.intake.bounded_client import BoundedClient
from rimewatch.intake.broker_settings import endpoint
from rimewatch.intake.session_client import KEEPALIVE_S
from rimewatch.intake.sparkplug.topics import NAMESPACE
from rimewatch.shop import Broker

HEARD_WITHIN_S: Final = 20.0
"""Our own word comes back to us within this, or the broker does not pass it on (our choice)."""

GOODBYE_S: Final = 2.0


def state_topic(host: str) -> str:
    """Return where a host's state is kept. Source: [1]."""
    return f"{NAMESPACE}/STATE/{host}"


def state_payload(at_ms: int, *, online: bool) -> bytes:
    """Return what is kept there. Source: [1].

    >>> state_payload(1772438400000, online=True)
    b'{"online":true,"timestamp":1772438400000}'
    """
    said = {"online": online, "timestamp": at_ms}
    return json.dumps(said, separators=(",", ":")).encode()


class HostPresence:
    """One host's presence at the broker.

    Args:
        broker: The broker; without ``sparkplug_host`` nothing is ever said.
        clock: Gives the timestamps.
    """

    def __init__(self, broker: Broker, clock: Clock) -> None:
        self._broker = broker
        self._clock = clock
        self._topic = state_topic(broker.sparkplug_host)
        self._lock = threading.Lock()
        self._client: Client | None = None
        self._will_ms = 0
        self._heard = False
        self._due_s = float("inf")
        self._has_told = False

    def look(self, *, is_recording: bool) -> str:
        """Say that we are there, or that we are not, if that has changed.

        Returns:
            A sentence about what keeps us from it, once; else nothing.
        """
        if not self._broker.sparkplug_host:
            return ""
        if is_recording and self._client is None:
            self._arrive()
        elif not is_recording:
            self.leave()
        return self._trouble()

    def leave(self) -> None:
        """Say that we are off-line, and disconnect."""
        with self._lock:
            client, self._client = self._client, None
        if client is None:
            return
        if client.is_connected():
            said = state_payload(self._clock.now_ms(), online=False)
            goodbye = client.publish(self._topic, said, qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):  # gone: the broker says the will
                goodbye.wait_for_publish(GOODBYE_S)
        client.disconnect()
        client.loop_stop()

    def _arrive(self) -> None:
        end = endpoint(self._broker)
        client = BoundedClient(
            CallbackAPIVersion.VERSION2,
            client_id=f"{self._broker.client_id}-state",
            clean_session=True,
            protocol=MQTTv311,
            transport=end.transport,
        )
        end.prepare(client)
        client.on_pre_connect = self._on_pre_connect
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        with self._lock:
            self._client = client
        self._heard, self._due_s = False, float("inf")
        client.connect_async(end.host, end.port, KEEPALIVE_S)
        client.loop_start()

    def _trouble(self) -> str:
        client = self._client
        if client is None or self._heard or self._has_told or not client.is_connected():
            return ""
        if self._clock.monotonic_s() < self._due_s:
            return ""
        self._has_told = True
        return (
            f"The broker does not pass on our state: allow its user to read and write "
            f"{self._topic}, or Sparkplug nodes that wait for us will send nothing."
        )

    def _on_pre_connect(self, client: Client, _userdata: object) -> None:
        self._will_ms = self._clock.now_ms()
        said = state_payload(self._will_ms, online=False)
        client.will_set(self._topic, said, qos=1, retain=True)

    def _on_connect(
        self,
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if not code.is_failure:  # else the service's own session tells of it
            self._due_s = self._clock.monotonic_s() + HEARD_WITHIN_S
            client.subscribe(self._topic, qos=1)

    def _on_subscribe(
        self,
        client: Client,
        _userdata: object,
        _mid: int,
        _codes: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        self._say_online(client)

    def _on_message(self, client: Client, _userdata: object, message: MQTTMessage) -> None:
        if message.payload == state_payload(self._will_ms, online=True):
            self._heard = True
        elif not message.retain:
            self._say_online(client)  # somebody's will speaks for us: an earlier connection's

    def _say_online(self, client: Client) -> None:
        with self._lock:
            if client is self._client:  # and not one that is saying goodbye
                said = state_payload(self._will_ms, online=True)
                client.publish(self._topic, said, qos=1, retain=True)
