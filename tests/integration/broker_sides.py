"""The two sides of a broker that its tests need: a draining shopkeeper, and publishing probes."""

import contextlib
import queue
import socket
import threading
import time
from collections.abc import Callable
from typing import Self

from paho.mqtt import client as paho
from paho.mqtt import publish
from paho.mqtt.enums import CallbackAPIVersion

from rimewatch.intake.arrivals import Arrived, Happening, Item, SessionEvent
from rimewatch.intake.broker import BrokerSession

LIMIT_S = 60.0
CANARY_EVERY_S = 0.2
TOPIC = "shop/case-1/air"


class Shopkeeper:
    """The draining side, as the service's writer does it: drain, keep, acknowledge."""

    def __init__(self, session: BrokerSession) -> None:
        self.session = session
        self.acknowledges = True
        self.messages: list[Arrived] = []
        self.events: list[SessionEvent] = []

    def run_until(self, is_done: Callable[[], bool]) -> None:
        """Drain until the condition holds; fail after a while."""
        end_s = time.monotonic() + LIMIT_S
        while not is_done():
            seen = f"{len(self.messages)} messages, {self.events}, {self.session.health()}"
            assert time.monotonic() < end_s, f"waited {LIMIT_S} s in vain; seen: {seen}"
            items: list[Item] = self.session.drain(500, 0.05)
            self.messages += [item for item in items if isinstance(item, Arrived)]
            self.events += [item for item in items if isinstance(item, SessionEvent)]
            if self.acknowledges:
                self.session.ack(items)

    def run_for(self, seconds: float) -> None:
        """Drain for some time, for proofs that nothing more comes."""
        end_s = time.monotonic() + seconds
        self.run_until(lambda: time.monotonic() >= end_s)

    def until_event(self, what: Happening) -> SessionEvent:
        """Drain until something has befallen the session."""
        self.run_until(lambda: self.count(what) > 0)
        return next(event for event in self.events if event.what is what)

    def until_subscribed(self, port: int, *, connections: int = 1) -> None:
        """Drain until so many connections were made and a message takes the whole way."""
        self.run_until(lambda: self.count(Happening.CONNECTED) >= connections)
        end_s = time.monotonic() + LIMIT_S
        canary = f"canary {connections} {id(self)}".encode()

        def came() -> bool:
            return any(message.payload == canary for message in self.messages)

        while not came():
            assert time.monotonic() < end_s, "the canary never came"
            publish.single(TOPIC, canary, qos=1, hostname="127.0.0.1", port=port)
            again_s = time.monotonic() + CANARY_EVERY_S
            self.run_until(lambda due_s=again_s: came() or time.monotonic() >= due_s)

    def count(self, what: Happening) -> int:
        """Count the events of a kind."""
        return sum(event.what is what for event in self.events)

    def readings(self) -> list[bytes]:
        """Return the payloads seen, in order, canaries left out."""
        return [m.payload for m in self.messages if not m.payload.startswith(b"canary")]


def publish_many(port: int, count: int, *, first: int = 0) -> list[bytes]:
    """Publish distinct payloads at QoS 1; return them once the broker has them all."""
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    payloads = [f'{{"t": 2.1, "n": {n}}}'.encode() for n in range(first, first + count)]
    for pending in [client.publish(TOPIC, payload, qos=1) for payload in payloads]:
        pending.wait_for_publish(LIMIT_S)
        assert pending.is_published(), "the broker did not take a message"
    client.disconnect()
    client.loop_stop()
    return payloads


class ScriptedBroker:
    """A listener that answers CONNECT with fixed bytes and refuses every subscription.

    For what no real broker does on demand: garbage, silence, a refused filter.
    """

    def __init__(self, connack: bytes) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.connections: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        """The first bytes of each connection."""
        self._connack = connack
        self._thread = threading.Thread(target=self._serve)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join(LIMIT_S)
        assert not self._thread.is_alive()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):  # the listener was closed: the test is over
            while True:
                connection, _ = self._listener.accept()
                with connection, contextlib.suppress(OSError):
                    connection.settimeout(1.0)
                    self._talk(connection)

    def _talk(self, connection: socket.socket) -> None:
        self.connections.put(connection.recv(4096))
        if not self._connack:
            return
        connection.sendall(self._connack)
        while packet := connection.recv(4096):
            if packet[0] == 0x82:  # SUBSCRIBE: its id, no properties, one "not authorized"
                connection.sendall(b"\x90\x04" + packet[2:4] + b"\x00\x87")
