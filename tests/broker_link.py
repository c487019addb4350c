"""The wire between a service and its broker, for tests that break it: cut, or gone silent."""

import contextlib
import socket
import threading
from enum import Enum
from types import TracebackType
from typing import Final, Self

END_WITHIN_S: Final = 60.0
PIECE_BYTES: Final = 4096


class Break(Enum):
    """How a wire fails."""

    CUT = "cut"
    """Both ends are told at once."""
    SILENT = "silent"
    """Nobody is told: what either end sends is lost, as behind a router that has lost its power."""


class BrokerLink:
    """Passes connections on to a broker, until the one in use breaks; a new one is whole again."""

    def __init__(self, broker_port: int) -> None:
        self._broker_port = broker_port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.connections = 0
        self._lock = threading.Lock()
        self._planned: tuple[Break, int] | None = None
        self._open: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._accept)]

    def __enter__(self) -> Self:
        self._threads[0].start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._threads[0].join(END_WITHIN_S)
        self._listener.close()
        for end in self._open:
            _cut(end)
        for thread in self._threads:
            thread.join(END_WITHIN_S)
            assert not thread.is_alive()
        for end in self._open:
            end.close()

    def break_after(self, how: Break, from_broker_bytes: int) -> None:
        """Break once the broker has sent so many more bytes: in the midst of a message, maybe."""
        with self._lock:
            self._planned = (how, from_broker_bytes)

    @property
    def is_broken(self) -> bool:
        """Whether what was planned has come about."""
        with self._lock:
            return self._planned is None

    def _accept(self) -> None:
        with contextlib.suppress(OSError):  # the listener was shut down: the test is over
            while True:
                near, _ = self._listener.accept()
                far = socket.create_connection(("127.0.0.1", self._broker_port), END_WITHIN_S)
                far.settimeout(None)
                self._open += [near, far]
                self.connections += 1
                silent = threading.Event()
                for source, target in ((near, far), (far, near)):
                    pump = threading.Thread(
                        target=self._pump, args=(source, target, source is far, silent)
                    )
                    self._threads.append(pump)
                    pump.start()

    def _pump(
        self,
        source: socket.socket,
        target: socket.socket,
        is_from_broker: bool,
        silent: threading.Event,
    ) -> None:
        with contextlib.suppress(OSError):
            while piece := source.recv(PIECE_BYTES):
                how, passed = self._fate(piece) if is_from_broker else (None, piece)
                if not silent.is_set():
                    target.sendall(passed)
                if how is Break.CUT:
                    break
                if how is Break.SILENT:
                    silent.set()
        if not silent.is_set():
            _cut(source)
            _cut(target)

    def _fate(self, piece: bytes) -> tuple[Break | None, bytes]:
        """Return how the wire breaks with this piece, if it does, and what of it still passes."""
        with self._lock:
            if self._planned is None:
                return None, piece
            how, left = self._planned
            if left >= len(piece):
                self._planned = (how, left - len(piece))
                return None, piece
            self._planned = None
            return how, piece[:left]


def _cut(end: socket.socket) -> None:
    with contextlib.suppress(OSError):  # it is cut already
        end.shutdown(socket.SHUT_RDWR)
