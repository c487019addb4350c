"""The client of a broker session: made, given its will, sent on its way.

MQTT 5 with a session that the broker keeps for weeks, or 3.1.1 without a clean one; or
either with a session that ends with its connection.
Sets no handlers and knows nothing of what arrives.

References:
    [1] OASIS MQTT Version 5.0, 2019: 3.1.2.11.2 (Session Expiry Interval), 3.1.2.11.3
        (Receive Maximum), 3.1.2.11.4 (Maximum Packet Size), 3.1.2.5 (Will).
"""

from typing import Final, TypeVar

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from rimewatch.intake.broker_settings import Endpoint

SESSION_EXPIRY_S: Final = 14 * 24 * 3600
"""How long the broker keeps our messages while we are away: longer than any holiday closure."""

RECEIVE_MAXIMUM: Final = 1000
"""Messages the broker may send ahead of our acknowledgements (MQTT 5; its own limit holds too)."""

MAX_PACKET_BYTES: Final = 16 << 20
"""The broker sends nothing larger (MQTT 5). Far above the receiver's limit, so that what
is merely too large still reaches quarantine; of that only the start is kept in memory."""

KEEPALIVE_S: Final = 30

MOST_WAITING_TO_GO: Final = 100
"""Of our own messages, while the broker does not take them."""

AnyClient = TypeVar("AnyClient", bound=Client)


def session_client(
    kind: type[AnyClient],
    end: Endpoint,
    client_id: str,
    protocol: MQTTProtocolVersion,
    *,
    is_lasting: bool,
    will_topic: str,
    reconnect_s: tuple[int, int],
) -> AnyClient:
    """Return a client that has not connected yet.

    Args:
        kind: Its class.
        end: The broker, and how to get in.
        client_id: The name under which the broker keeps the session.
        protocol: The version of MQTT.
        is_lasting: Whether the session is to outlive its connections.
        will_topic: Where the broker says ``offline`` for us when we vanish, retained.
        reconnect_s: First and longest wait between attempts, whole seconds.
    """
    client = kind(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        clean_session=None if protocol == MQTTv5 else not is_lasting,
        protocol=protocol,
        transport=end.transport,
        manual_ack=True,
    )
    end.prepare(client)
    client.will_set(will_topic, "offline", qos=1, retain=True)
    client.reconnect_delay_set(*reconnect_s)
    client.max_queued_messages_set(MOST_WAITING_TO_GO)
    return client


def begin_to_connect(
    client: Client, end: Endpoint, protocol: MQTTProtocolVersion, *, is_lasting: bool
) -> None:
    """Have a client connect once its loop runs; a lasting session goes on where it was."""
    if protocol != MQTTv5:
        client.connect_async(end.host, end.port, KEEPALIVE_S)
        return
    wishes = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # no types there
    wishes.SessionExpiryInterval = SESSION_EXPIRY_S if is_lasting else 0
    wishes.ReceiveMaximum = RECEIVE_MAXIMUM
    wishes.MaximumPacketSize = MAX_PACKET_BYTES
    client.connect_async(
        end.host, end.port, KEEPALIVE_S, clean_start=not is_lasting, properties=wishes
    )
