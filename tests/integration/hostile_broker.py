"""A broker over real TCP that sends what no decent one would: a packet of any size."""

import contextlib
import socket
import struct
import threading
from typing import Self

CONNACK = {4: b"\x20\x02\x00\x00", 5: b"\x20\x03\x00\x00\x00"}
"""By protocol level."""
LARGEST = 268_435_455
"""Bytes of the largest packet. Source: OASIS MQTT Version 5.0, 2019, section 1.5.5."""
PIECE = bytes(1 << 16)


class HostileBroker:
    """Lets one client in, and sends it what it is told to.

    Between ``__enter__`` and ``__exit__`` it accepts connections, confirms every
    subscription and collects the ids of the messages that are acknowledged to it.

    Args:
        level: The protocol level it speaks, 4 (MQTT 3.1.1) or 5.
    """

    def __init__(self, *, level: int = 5) -> None:
        self._speaks = level
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.acknowledged: list[int] = []
        self.subscribed = threading.Event()
        self._client: socket.socket | None = None
        self._level = 5
        self._sends = threading.Lock()  # a packet is not cut in two by another
        self._thread = threading.Thread(target=self._serve)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._client is not None:
            with contextlib.suppress(OSError):
                self._client.shutdown(socket.SHUT_RDWR)
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join(20)
        assert not self._thread.is_alive()

    def publish(
        self, topic: str, size: int, *, mid: int, sent: int | None = None, start: bytes = b""
    ) -> None:
        """Send a PUBLISH at QoS 1 that announces a payload of so many bytes.

        Args:
            topic: Its topic.
            size: Bytes of payload that are announced.
            mid: Its packet id.
            sent: Bytes of payload that are sent; None: all of them.
            start: The payload's first bytes; the rest are zeros.
        """
        head = struct.pack("!H", len(topic)) + topic.encode() + struct.pack("!H", mid)
        head += b"\x00" if self._level == 5 else b""  # no properties
        length, digits = len(head) + size, bytearray()
        assert length <= LARGEST
        while length or not digits:
            length, digit = divmod(length, 128)
            digits.append(digit | (0x80 if length else 0))
        assert self._client is not None
        with self._sends:
            self._client.sendall(b"\x32" + bytes(digits) + head + start)
            left = (size if sent is None else sent) - len(start)
            while left > 0:
                left -= self._client.send(PIECE[: min(left, len(PIECE))])

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                self._client, _ = self._listener.accept()
                with self._client, contextlib.suppress(OSError):
                    self._talk(self._client)

    def _talk(self, client: socket.socket) -> None:
        connect = client.recv(4096)
        # Fixed header (2), then "MQTT" with its length (6), then the level: 3.1.2.2.
        self._level = connect[8]
        if self._level != self._speaks:
            client.sendall(b"\x20\x03\x00\x84\x00")  # unsupported protocol version: 3.2.2.2
            return
        client.sendall(CONNACK[self._level])
        data = b""
        while more := client.recv(4096):
            data += more
            while len(data) >= 2 and len(data) >= 2 + data[1]:
                packet, data = data[: 2 + data[1]], data[2 + data[1] :]
                if packet[0] == 0x82:
                    none = b"\x00" if self._level == 5 else b""
                    body = packet[2:4] + none + b"\x01"
                    client.sendall(b"\x90" + bytes([len(body)]) + body)
                    self.subscribed.set()
                elif packet[0] == 0x40:
                    self.acknowledged.append(struct.unpack("!H", packet[2:4])[0])
                elif packet[0] >> 4 == 3:  # our status, at QoS 1: acknowledged like any
                    at = 4 + (packet[2] << 8 | packet[3])
                    with self._sends:
                        client.sendall(b"\x40\x02" + packet[at : at + 2])
