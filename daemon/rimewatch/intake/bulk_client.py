"""The client library's client, made fit for a backlog: many messages a read, many acks a write.

The library reads each packet in three pieces, decodes it into objects for every need,
and sends each acknowledgement by two system calls. Here one read fetches whatever has
come; the plain messages in it (complete, QoS 0 or 1, no properties) are cut out of the
bytes at once, and all else is left to the library: whatever is broken, fragmented, rare
or no message takes its usual way, in its place in the order. Acknowledgements of a
batch go out in one write.

Where nobody has room for more, nothing is read at all: what comes then stays in the sockets
and with the broker. Brokers have gone beyond the window they were asked for, so the window
alone bounds nothing. Our own packets still go out, so the connection stays alive.

It leans on three of the library's inner names (``_in_packet``, ``_packet_queue``, ``_ping_t``),
which are as they are since its version 1; the tests of the session hold them.

References:
    [1] OASIS MQTT Version 5.0, 2019: sections 2.1, 3.3 (PUBLISH), 3.4 (PUBACK), 3.7 (PUBCOMP).
"""

import struct
from collections.abc import Callable, Iterable
from typing import Final, NamedTuple

from paho.mqtt.client import MQTT_ERR_SUCCESS, PUBACK, PUBCOMP, MQTTv5
from paho.mqtt.enums import MQTTErrorCode

from rimewatch.intake.bounded_client import BoundedClient, BufferedSocket

_PUBLISH: Final = frozenset((0x30, 0x31, 0x32, 0x33, 0x3A, 0x3B))
"""First bytes of a PUBLISH of QoS 0 or 1: retained or not, and QoS 1 sent again or not.
Source: [1], 3.3.1."""

_ACK: Final = struct.Struct("!BBH")
"""Type, remaining length, packet id; no reason means success. Source: [1], 3.4.2.1, 3.7.2.1."""


class PlainMessage(NamedTuple):
    """A message as it stood in the bytes."""

    topic: str
    payload: bytes
    qos: int
    retained: bool
    mid: int


class BulkClient(BoundedClient):
    """A client that takes in a backlog in large pieces."""

    on_plain_messages: Callable[["BulkClient", list[PlainMessage]], None] | None = None
    """Called with the plain messages of a piece, in order, on the network's thread."""

    has_room: Callable[[], bool] | None = None
    """Asked on the network's thread before more is read; may wait a little for room."""

    def ack_many(self, messages: Iterable[tuple[int, int]]) -> bool:
        """Acknowledge messages in one write, in this order.

        Args:
            messages: Packet id and QoS, 1 or 2, of each.

        Returns:
            Whether the write was queued.
        """
        packets = b"".join(
            _ACK.pack(PUBACK if qos == 1 else PUBCOMP, 2, mid) for mid, qos in messages
        )
        return not packets or self._packet_queue(PUBACK, packets, 0, 1) == MQTT_ERR_SUCCESS

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Read what has come: the library one packet, and plain messages around it at once."""
        if not self._may_read():
            return MQTT_ERR_SUCCESS
        self._take_plain()
        rc = super().loop_read(max_packets)
        if rc == MQTT_ERR_SUCCESS and self._may_read():
            self._take_plain()
        return rc

    def _may_read(self) -> bool:
        if self.has_room is None or self.has_room():
            return True
        self._ping_t = 0.0  # the answer to our ping may lie in what is not read: not overdue
        return False

    def _take_plain(self) -> None:
        sock = self._sock
        if not isinstance(sock, BufferedSocket) or self._in_packet["command"]:
            return  # the library is in the middle of a packet
        if sock.position == len(sock.buffer):
            return
        messages, sock.position = plain_messages(
            sock.buffer, sock.position, speaks_5=self._protocol == MQTTv5
        )
        if messages and self.on_plain_messages is not None:
            self.on_plain_messages(self, messages)


def plain_messages(data: bytes, start: int, *, speaks_5: bool) -> tuple[list[PlainMessage], int]:
    """Cut the plain messages out of a stretch of bytes, up to the first other packet.

    Args:
        data: What was read.
        start: Where in it a packet begins.
        speaks_5: Whether it is MQTT 5: a message has properties there, plain ones none.

    Returns:
        The messages, and where in the bytes the packet after them begins.
    """
    messages: list[PlainMessage] = []
    end = len(data)
    position = start
    while position + 2 < end and (first := data[position]) in _PUBLISH:
        at = position + 2
        length = data[position + 1]
        if length > 0x7F:  # two bytes of length; longer ones are no probe's. Source: [1], 1.5.5
            more = data[at]
            if more > 0x7F:
                break
            length = length - 0x80 + (more << 7)
            at += 1
        after = at + length
        qos = first >> 1 & 1
        topic_at = at + 2
        if after > end or length < 2:
            break
        mid_at = topic_at + (data[at] << 8 | data[at + 1])
        payload_at = mid_at + 2 * qos + speaks_5
        if mid_at == topic_at or payload_at > after or (speaks_5 and data[payload_at - 1]):
            break
        try:
            topic = data[topic_at:mid_at].decode()
        except UnicodeDecodeError:
            break
        mid = data[mid_at] << 8 | data[mid_at + 1] if qos else 0
        messages.append(PlainMessage(topic, data[payload_at:after], qos, bool(first & 1), mid))
        position = after
    return messages, position
