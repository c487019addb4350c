"""However the bytes come in, the bulk client takes the messages that the library's own takes."""

import itertools
import socket
import struct

from hypothesis import example, given, settings
from hypothesis import strategies as st
from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from rimewatch.intake.bulk_client import BulkClient, PlainMessage, plain_messages

CONNACK = {MQTTv311: b"\x20\x02\x00\x00", MQTTv5: b"\x20\x03\x00\x00\x00"}
MOST_PACKETS = 8
PINGRESP = b"\xd0\x00"
NO_PROPERTIES = b"\x00"
PROPERTIES = (
    NO_PROPERTIES,
    b"\x02\x01\x01",  # payload format indicator
    b"\x05\x02\x00\x00\x00\x3c",  # message expiry interval
)


def length_of(size: int) -> bytes:
    """Return a packet's remaining length, seven bits a byte."""
    found = bytearray()
    while True:
        size, digit = divmod(size, 128)
        found.append(digit | (0x80 if size else 0))
        if not size:
            return bytes(found)


def publish(
    topic: bytes, payload: bytes, qos: int, mid: int, flags: int, properties: bytes
) -> bytes:
    """Return a PUBLISH as a broker sends it."""
    body = struct.pack("!H", len(topic)) + topic
    body += struct.pack("!H", mid) if qos else b""
    body += properties + payload
    return bytes([0x30 | qos << 1 | flags]) + length_of(len(body)) + body


topics = st.one_of(
    st.sampled_from([b"shop/u1/air", b"a", "käse/1".encode()]),
    st.just(b"broken/\xff"),
    st.text(min_size=1, max_size=9, alphabet=st.characters(codec="utf-8")).map(str.encode),
)
payloads = st.one_of(
    st.just(b'{"t": 2.1}'),
    st.binary(max_size=40),
    st.integers(100, 400).map(lambda size: b"x" * size),
    st.integers(16_370, 16_390).map(
        lambda size: b"y" * size
    ),  # about where lengths grow to 3 bytes
)
protocols = st.sampled_from([MQTTv311, MQTTv5])


@st.composite
def packets(draw: st.DrawFn, protocol: MQTTProtocolVersion) -> bytes:
    """Draw what a broker may send to one who has subscribed, and what it should not."""
    kind = draw(st.integers(0, 9))
    if kind == 0:
        return PINGRESP
    qos = draw(st.sampled_from([0, 1, 1, 1]))
    flags = draw(st.sampled_from([0, 0, 1, 8, 9])) if qos else draw(st.sampled_from([0, 0, 1]))
    properties = b""
    if protocol == MQTTv5:
        properties = NO_PROPERTIES if kind < 7 else draw(st.sampled_from(PROPERTIES))
    mid = draw(st.integers(1, 65535))
    return publish(draw(topics), draw(payloads), qos, mid, flags, properties)


class _Wired:
    """One end of a pair of sockets in a broker's place."""

    def _create_socket_connection(self) -> socket.socket:
        ours, self.theirs = socket.socketpair()
        return ours


class _Usual(_Wired, Client):
    pass


class _Bulk(_Wired, BulkClient):
    pass


def taken(client: _Usual | _Bulk, connack: bytes, pieces: list[bytes]) -> list[PlainMessage]:
    """Return the messages that a client takes from a stream that comes in pieces."""
    found: list[PlainMessage] = []

    def on_message(_client: Client, _data: object, message: MQTTMessage) -> None:
        topic = bytes(message._topic).decode(errors="backslashreplace")
        payload = bytes(message.payload)
        found.append(PlainMessage(topic, payload, message.qos, message.retain, message.mid))

    client.on_message = on_message
    if isinstance(client, BulkClient):
        client.on_plain_messages = lambda _client, messages: found.extend(messages)
    client.connect("broker.invalid")
    with client.theirs as theirs:
        for piece in (connack, *pieces):
            theirs.sendall(piece)
            for _ in range(2 + MOST_PACKETS):  # a call reads a packet, or what is there of it
                client.loop_read()
        client.disconnect()
    return found


def cut(stream: bytes, marks: list[int]) -> list[bytes]:
    """Return a stream in pieces, cut at some of its bytes."""
    places = sorted({mark % (len(stream) + 1) for mark in marks})
    edges = [0, *places, len(stream)]
    return [stream[a:b] for a, b in itertools.pairwise(edges) if b > a]


@settings(max_examples=30)
@given(st.data(), protocols, st.lists(st.integers(0, 1 << 30), max_size=6))
def test_messages_cut_anywhere_are_those_of_the_library(
    data: st.DataObject, protocol: MQTTProtocolVersion, marks: list[int]
) -> None:
    """No cut in the stream, no strange packet in it loses, doubles or changes a message."""
    stream = b"".join(data.draw(st.lists(packets(protocol), max_size=MOST_PACKETS)))
    pieces = cut(stream, marks)
    clients = [
        kind(CallbackAPIVersion.VERSION2, client_id="c", protocol=protocol)
        for kind in (_Usual, _Bulk)
    ]
    usual, bulk = (taken(client, CONNACK[protocol], pieces) for client in clients)
    assert bulk == usual


@given(st.binary(max_size=60), st.booleans())
@example(b"\x32\x00", True)
@example(b"\x32\x02\x00\x01\x32", True)
@example(b"\x32\x05\x00\xff\x61\x00\x01", False)
@example(b"\x32\x80\x80", False)
def test_messages_of_any_bytes_end_where_a_packet_begins(data: bytes, speaks_5: bool) -> None:
    """Whatever a broken broker sends, what is cut out is whole, and the rest is left as it is."""
    messages, position = plain_messages(data, 0, speaks_5=speaks_5)

    assert 0 <= position <= len(data)
    again = []
    for topic, payload, qos, retained, mid in messages:
        properties = NO_PROPERTIES if speaks_5 else b""
        again.append(publish(topic.encode(), payload, qos, mid, int(retained), properties))
    assert len(b"".join(again)) <= position
    rest, end = plain_messages(data, position, speaks_5=speaks_5)
    assert (rest, end) == ([], position)


def test_messages_of_a_backlog_are_cut_out_at_once() -> None:
    """What the broker kept overnight comes in one piece, and is taken in one."""
    kept = [
        publish(b"shop/u1/air", b'{"t": 2.1}', 1, 7, 0, NO_PROPERTIES),
        publish(b"shop/u2/air", b"x" * 300, 1, 8, 9, NO_PROPERTIES),
        publish(b"shop/u3/air", b"2.3", 0, 0, 1, NO_PROPERTIES),
    ]
    stream = b"".join([*kept, PINGRESP, *kept])

    assert plain_messages(stream, 0, speaks_5=True) == (
        [
            PlainMessage("shop/u1/air", b'{"t": 2.1}', 1, False, 7),
            PlainMessage("shop/u2/air", b"x" * 300, 1, True, 8),
            PlainMessage("shop/u3/air", b"2.3", 0, True, 0),
        ],
        len(b"".join(kept)),
    )
