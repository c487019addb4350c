"""Publishes messages to a broker at QoS 1, and knows that each arrived.

MQTT 3.1.1, which every broker speaks. Never retains, never drops: ``publish`` waits
while too many messages are under way, and ``close`` waits for the last.
"""

import threading
from types import TracebackType
from typing import Final, Self
from urllib.parse import SplitResult, unquote, urlsplit

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

_PORTS: Final = {"mqtt": 1883, "mqtts": 8883}
_UNDER_WAY_LIMIT: Final = 500


class PublishError(Exception):
    """The broker cannot be reached, refuses us, or has gone; the text says which and where."""


class MqttPublisher:
    """A connection to a broker, as a context manager.

    Args:
        url: ``mqtt://[user:password@]host[:port]`` or ``mqtts://…``. The password is never
            shown.
        client_id: How the broker knows this client; it keeps nothing for it.
        timeout_s: How long to wait for the connection, for room, and for the last arrivals.

    Raises:
        PublishError: If the address is malformed, or on entering, if there is no connection.
    """

    def __init__(
        self, url: str, *, client_id: str = "rimewatch-sim", timeout_s: float = 10.0
    ) -> None:
        address = _address(url)
        self._where = f"{address.hostname}:{address.port or _PORTS[address.scheme]}"
        self._host = address.hostname or ""
        self._port = address.port or _PORTS[address.scheme]
        self._timeout_s = timeout_s
        self._answered = threading.Event()
        self._refusal: str | None = None
        self._change = threading.Condition()
        self._under_way = 0
        self._lost: str | None = None
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=True,
            protocol=MQTTProtocolVersion.MQTTv311,
        )
        self._client.max_inflight_messages_set(_UNDER_WAY_LIMIT)
        if address.username is not None:
            password = None if address.password is None else unquote(address.password)
            self._client.username_pw_set(unquote(address.username), password)
        if address.scheme == "mqtts":
            self._client.tls_set()
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_publish = self._on_publish

    def __enter__(self) -> Self:
        """Connect."""
        try:
            self._client.connect(self._host, self._port)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
            raise PublishError(
                f"no broker answers at {self._where} ({reason}); is it running there?"
            ) from None
        self._client.loop_start()
        if not self._answered.wait(self._timeout_s):
            self._leave()
            raise PublishError(f"{self._where} takes the connection but does not speak MQTT")
        if self._refusal is not None:
            self._leave()
            raise PublishError(
                f"the broker at {self._where} refuses the connection: {self._refusal}"
            )
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Wait for the last arrivals if all went well, then disconnect."""
        try:
            if kind is None:
                self.flush()
        finally:
            self._leave()

    def publish(self, topic: str, payload: bytes) -> None:
        """Hand a message over; wait while too many are under way.

        Raises:
            PublishError: If the broker is gone and does not come back in time.
        """
        with self._change:
            self._wait_until_at_most(_UNDER_WAY_LIMIT - 1)
            self._under_way += 1
        try:
            info: MQTTMessageInfo = self._client.publish(topic, payload, qos=1)
        except ValueError as error:
            raise PublishError(f"topic {topic!r} cannot be published to: {error}") from None
        # with no connection the client keeps a QoS 1 message and sends it on reconnect
        if info.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
            with self._change:
                self._under_way -= 1
            raise PublishError(f"a message to {topic} was not taken: {info.rc.name}")

    @property
    def under_way(self) -> int:
        """Messages handed over that the broker has not acknowledged yet."""
        with self._change:
            return self._under_way

    def flush(self) -> None:
        """Wait until the broker has acknowledged every message.

        Raises:
            PublishError: If it does not in time.
        """
        with self._change:
            self._wait_until_at_most(0)

    def _wait_until_at_most(self, limit: int) -> None:
        if not self._change.wait_for(lambda: self._under_way <= limit, self._timeout_s):
            gone = f" ({self._lost})" if self._lost else ""
            messages = "1 message" if self._under_way == 1 else f"{self._under_way} messages"
            raise PublishError(
                f"the broker at {self._where} did not acknowledge {messages} "
                f"within {self._timeout_s:g} s{gone}"
            )

    def _leave(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(
        self,
        _client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason_code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._refusal = str(reason_code) if reason_code.is_failure else None
        self._lost = None
        self._answered.set()

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        reason_code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._lost = f"connection lost: {reason_code}"

    def _on_publish(
        self,
        _client: Client,
        _userdata: object,
        _mid: int,
        _reason_code: ReasonCode,
        _properties: Properties,
    ) -> None:
        with self._change:
            self._under_way -= 1
            self._change.notify_all()


def _address(url: str) -> SplitResult:
    wanted = "expected one such as mqtt://127.0.0.1:1883"
    try:
        address = urlsplit(url)
        port = address.port
    except ValueError:
        raise PublishError(f"the broker's address is malformed; {wanted}") from None
    if address.scheme not in _PORTS or not address.hostname or port == 0:
        raise PublishError(
            f"the broker's address has scheme {address.scheme!r} and host "
            f"{address.hostname!r}; {wanted}"
        )
    return address
