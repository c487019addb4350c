"""The client library's client with a bound on what one packet may take of the memory.

A broker may announce a packet of 256 MB, and the library keeps what comes of it until it
is whole. Here all but the first part of a large packet is thrown away as it comes: what
is left is a message that is too large to be decoded, with its topic, its id and its
start. So it reaches quarantine and is acknowledged, and does not come again for ever, as
it would if the connection were ended in its place (a 3.1.1 broker cannot be told of a
largest packet).

Over WebSocket the library answers a server's ping without the mask that a client's frames must
have, and a server that keeps to the standard ends the connection: here every frame has it. One
frame is kept whole there while it comes, up to the size that the broker was told ([1], 3.1.2.11.4).

It leans on six of the library's inner names (``_create_socket``, ``_in_packet``,
``_ssl_context``, ``_WebsocketWrapper`` with ``_create_frame`` and ``_socket``), which are as they
are since its version 1; the tests of the session hold them.

References:
    [1] OASIS MQTT Version 5.0, 2019: 1.5.5 and 2.1.4 (a packet has up to 268,435,455
        bytes), 3.1.2.11.4 (Maximum Packet Size).
    [2] RFC 6455 (2011), section 5.1: a client masks all frames; a server closes on one that is not.
"""

import ssl
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client, _WebsocketWrapper
from paho.mqtt.enums import MQTTErrorCode

from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES

if TYPE_CHECKING:
    from paho.mqtt.client import SocketLike

CHUNK_BYTES: Final = 64 * 1024
"""Fetched at once: some hundreds of messages of a probe."""

KEPT_BYTES: Final = 4 * MAX_PAYLOAD_BYTES
"""Of a packet that is not whole yet. A topic, the properties and a payload that may be
decoded have room in it: the first two have at most 64 KiB by their use here (our choice)."""


class BufferedSocket:
    """A socket that is read in large pieces and handed out in small ones.

    The library asks a socket for ``pending`` bytes before it waits for the network; so
    what lies here is never waited for, and neither is what TLS has decrypted.
    """

    def __init__(self, plain: "SocketLike") -> None:
        self.plain = plain
        self._ssl_pending: Callable[[], int] = getattr(plain, "pending", lambda: 0)
        self.buffer = b""
        self.position = 0
        self.send = plain.send
        self.fileno = plain.fileno
        self.setblocking = plain.setblocking

    def recv(self, size: int) -> bytes:
        """Return 1 to ``size`` bytes, none at the end; raise as the socket itself does."""
        if self.position == len(self.buffer):
            self.buffer, self.position = self.plain.recv(CHUNK_BYTES), 0
        start = self.position
        piece = self.buffer[start : start + size]
        self.position = start + len(piece)
        return piece

    def pending(self) -> int:
        """Return how many bytes are here already."""
        return len(self.buffer) - self.position + self._ssl_pending()

    @property
    def encrypted(self) -> ssl.SSLSocket | None:
        """The socket that encrypts, where there is one: frames of WebSocket go through it."""
        plain = self.plain
        inner = plain._socket if isinstance(plain, _WebsocketWrapper) else plain  # noqa: SLF001
        return inner if isinstance(inner, ssl.SSLSocket) else None

    def close(self) -> None:
        """Close the socket."""
        self.plain.close()


class BoundedClient(Client):
    """A client that keeps the start of a packet too large to be read, and no more."""

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Read what has come; the library takes some megabytes at once at most."""
        rc = super().loop_read(max_packets)
        del self._in_packet["packet"][KEPT_BYTES:]
        return rc

    def renew_tls(self, context: ssl.SSLContext) -> None:
        """Use other certificates from the next connection on; the library takes them only once."""
        self._ssl_context = context

    def _create_socket(self) -> Any:  # noqa: ANN401 - a socket of whichever kind
        made = super()._create_socket()
        if isinstance(made, _WebsocketWrapper):
            _mask_all(made)
        return BufferedSocket(made)


def _mask_all(plain: _WebsocketWrapper) -> None:
    """Have every frame masked, also those that answer the server ([2])."""
    create = plain._create_frame  # noqa: SLF001 (see above)

    def masked(opcode: int, data: bytearray, do_masking: int = 1) -> bytearray:  # noqa: ARG001
        return create(opcode, data)

    plain._create_frame = masked  # type: ignore[method-assign]  # noqa: SLF001 (see above)
