"""A web server before a broker, as many have one: MQTT in WebSocket frames in, plain MQTT out.

The frames are taken apart by a library of others (RFC 6455; MQTT 5.0, section 6); the broker
behind is the real one.
"""

import contextlib
import socket
import ssl
import threading
from http import HTTPStatus
from types import TracebackType
from typing import Final, Self

from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response
from websockets.sync.server import ServerConnection, serve
from websockets.typing import Subprotocol

END_WITHIN_S: Final = 60.0
PIECE_BYTES: Final = 1000
"""Small, so that packets of MQTT begin and end in the midst of frames (MQTT 5.0, 6.0-2)."""


class WebSocketDoor:
    """Passes connections on to a broker; with a certificate, over TLS."""

    def __init__(
        self,
        broker_port: int,
        *,
        path: str = "/mqtt",
        tls: ssl.SSLContext | None = None,
        ping_every_s: float = 20.0,
    ) -> None:
        self._broker_port = broker_port
        self._path = path
        self._server = serve(
            self._pass_on,
            "127.0.0.1",
            0,
            ssl=tls,
            subprotocols=[Subprotocol("mqtt")],
            process_request=self._refused,
            max_size=None,
            close_timeout=1,
            ping_interval=ping_every_s,
        )
        self.port: int = self._server.socket.getsockname()[1]
        self._thread = threading.Thread(target=self._server.serve_forever)
        self._open: list[socket.socket] = []

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.cut()
        self._server.shutdown()
        self._thread.join(END_WITHIN_S)
        assert not self._thread.is_alive()

    def cut(self) -> None:
        """End every connection that stands; a new one is let in."""
        for end in self._open:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def _refused(self, near: ServerConnection, request: Request) -> Response | None:
        if request.path == self._path:
            return None
        return near.respond(HTTPStatus.NOT_FOUND, "nothing here\n")

    def _pass_on(self, near: ServerConnection) -> None:
        assert near.subprotocol == "mqtt", "a client of MQTT says so (6.0-3)"
        with socket.create_connection(("127.0.0.1", self._broker_port), END_WITHIN_S) as far:
            far.settimeout(None)
            self._open.append(far)
            back = threading.Thread(target=self._bring_back, args=(far, near))
            back.start()
            with contextlib.suppress(ConnectionClosed, OSError):
                for frame in near:
                    assert isinstance(frame, bytes), "MQTT is sent in binary frames (6.0-1)"
                    far.sendall(frame)
            with contextlib.suppress(OSError):
                far.shutdown(socket.SHUT_RDWR)
            back.join(END_WITHIN_S)

    def _bring_back(self, far: socket.socket, near: ServerConnection) -> None:
        with contextlib.suppress(ConnectionClosed, OSError):
            while piece := far.recv(PIECE_BYTES):
                near.send(piece)
        near.close()
