"""A short-lived connection to a broker: no lasting session, nothing acknowledged for others.

It comes under a name of its own, so that it throws nobody off, the running service least.
"""

import sys
import threading
import uuid
from dataclasses import replace

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rimewatch.intake.bounded_client import BoundedClient
from rimewatch.intake.broker_settings import endpoint
from rimewatch.intake.broker_trouble import (
    describe_failure,
    describe_hush,
    describe_refusal,
    describe_silence,
)
from rimewatch.shop import Broker

KEEPALIVE_S = 30


class NotHeard(Exception):  # noqa: N818 - a word people use reads better than "Error"
    """The broker did not let us in; the text says why, in one sentence.

    Attributes:
        code: The reason code of its refusal, as in MQTT 5; None: there was no answer.
    """

    def __init__(self, text: str, code: int | None = None) -> None:
        super().__init__(text)
        self.code = code


class Guest:
    """A connection that is opened once and closed.

    Args:
        broker: Where, and with which credentials.
        protocol: The version of MQTT.

    Raises:
        BrokerSettingsError: If the settings cannot be used.
    """

    def __init__(self, broker: Broker, protocol: MQTTProtocolVersion) -> None:
        self.end = endpoint(broker)
        self._trouble: NotHeard | None = None
        self._settled = threading.Event()
        name = f"rimewatch-guest-{uuid.uuid4().hex[:12]}"
        self.client = BoundedClient(
            CallbackAPIVersion.VERSION2,
            client_id=name,
            clean_session=None if protocol == MQTTv5 else True,
            protocol=protocol,
            transport=self.end.transport,
        )
        self.end.prepare(self.client)
        self.client.on_connect = self._on_connect
        self.client.on_connect_fail = self._on_connect_fail
        self.client.on_disconnect = self._on_disconnect

    def open(self, within_s: float) -> None:
        """Connect.

        Raises:
            NotHeard: If that does not come about.
        """
        self.client.connect_async(self.end.host, self.end.port, KEEPALIVE_S)
        self.client.loop_start()
        if not self._settled.wait(within_s):
            self._trouble = NotHeard(describe_hush(self.end.address))
        if self._trouble is not None:
            self.close()
            raise self._trouble

    def close(self) -> None:
        """Disconnect."""
        self.client.disconnect()
        self.client.loop_stop()

    def _settle(self, trouble: NotHeard | None) -> None:
        if not self._settled.is_set():  # the library tries again by itself; the first counts
            self._trouble = trouble
            self._settled.set()

    def _on_connect(
        self,
        _client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        text = describe_refusal(code.value, code.getName(), self.end.address)
        self._settle(NotHeard(text, code.value) if code.is_failure else None)

    def _on_connect_fail(self, _client: Client, _userdata: object) -> None:
        self._settle(NotHeard(describe_failure(sys.exception(), self.end.address)))

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._settle(NotHeard(describe_silence(code.value, self.end.address)))


def stranger(broker: Broker) -> Broker:
    """Return a broker as somebody meets it who has no user, no password and no certificate."""
    return replace(broker, username=None, password=None, cert_file=None, key_file=None)
