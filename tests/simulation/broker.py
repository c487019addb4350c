"""A played broker that keeps one lasting session, and the client library's part, played.

The broker gives packet ids anew after each reconnect, from 1 on: an acknowledgement that
belongs to an earlier connection would hit another message.
"""

import random
from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Any, Final

from paho.mqtt.client import (
    MQTT_ERR_SUCCESS,
    ConnectFlags,
    DisconnectFlags,
)
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from rimewatch.intake.arrivals import Item
from rimewatch.intake.broker import BrokerSession
from simulation.plan import Message
from simulation.world import MINUTE, World

WINDOW: Final = 20
"""Messages that the broker sends ahead of acknowledgements; a usual broker's default."""
ACK_MEMORY_MS: Final = 10 * MINUTE
"""How far back a broker that was killed may have forgotten acknowledgements."""
SHORTEST_IDLE_MS: Final = 15_000
LONGEST_IDLE_MS: Final = 180_000
"""An idle round comes at least so often: seldom for a service, often for a test."""


class Broker:
    """The broker: one session, its queue, and who is connected."""

    def __init__(self, world: World, chance: random.Random) -> None:
        self.world = world
        self._chance = chance
        self.up = True
        self.has_session = False
        self.waiting: deque[Message] = deque()
        self.in_flight: dict[int, Message] = {}
        self.acked: dict[int, int] = {}
        """When each message was acknowledged last, by its number."""
        self.lost: set[int] = set()
        """What went with a session that was lost."""
        self.client: Client | None = None
        self.silent = False
        """Packets go nowhere, and nobody has noticed yet."""
        self._mid = 0

    def publish(self, message: Message) -> bool:
        """Take a message from a probe; False: nobody answers, and the probe keeps it."""
        if not self.up:
            return False
        if self.has_session:
            self.waiting.append(message)
            self._pump()
        else:
            self.lost.add(message.number)
        return True

    def connect(self, client: "Client") -> bool:
        """Take a connection; return whether the session was known."""
        known, self.has_session = self.has_session, True
        self.client, self.silent, self._mid = client, False, 0
        self.waiting.extendleft(reversed(self.in_flight.values()))
        self.in_flight.clear()
        return known

    def subscribed(self) -> None:
        """The subscriptions stand: send what waits."""
        self._pump()

    def take_ack(self, client: "Client", mid: int) -> None:
        """Take an acknowledgement, if its connection still stands."""
        if client is not self.client or self.silent:
            return
        message = self.in_flight.pop(mid, None)
        if message is not None:
            self.acked[message.number] = self.world.t_ms
            self._pump()

    def drop(self) -> None:
        """End the connection."""
        client, self.client = self.client, None
        if client is not None:
            client.dropped()

    def forget_acks(self, messages: dict[int, Message]) -> int:
        """Deliver once more what was acknowledged not long ago, as after a hard restart."""
        since_ms = self.world.t_ms - ACK_MEMORY_MS
        again = [messages[n] for n, at_ms in self.acked.items() if at_ms >= since_ms]
        self.waiting.extendleft(reversed(again))
        return len(again)

    def lose_session(self) -> None:
        """Forget the session and all it held."""
        self.lost |= {m.number for m in (*self.in_flight.values(), *self.waiting)}
        self.in_flight.clear()
        self.waiting.clear()
        self.has_session = False

    @property
    def is_empty(self) -> bool:
        """Whether everything was acknowledged."""
        return not self.waiting and not self.in_flight

    def _pump(self) -> None:
        client = self.client
        while client is not None and client.listens and self.waiting:
            if len(self.in_flight) >= WINDOW:
                return
            self._mid += 1
            message = self.waiting.popleft()
            self.in_flight[self._mid] = message
            client.arrives(message, self._mid, self._chance.randrange(1, 80))


class Info:
    """What the library hands back for a message that is published."""

    rc = MQTT_ERR_SUCCESS

    def wait_for_publish(self, timeout: float | None = None) -> None:
        """Return at once: nobody here waits for a goodbye."""


class Sent:
    """A message as the library hands it over."""

    def __init__(self, message: Message, mid: int) -> None:
        self.topic, self.payload = message.topic, message.payload
        self.qos, self.retain, self.mid = 1, False, mid


class Client:
    """The client library's part, without its thread: everything happens when time passes."""

    on_pre_connect: Callable[..., None]
    on_socket_open: Callable[..., None]
    on_connect: Callable[..., None]
    on_connect_fail: Callable[..., None]
    on_disconnect: Callable[..., None]
    on_subscribe: Callable[..., None]
    on_unsubscribe: Callable[..., None]
    on_publish: Callable[..., None]
    on_message: Callable[..., None]
    on_plain_messages: Callable[..., None]

    def __init__(self, life: "Any", *_: object, **__: object) -> None:
        self._life = life
        self._broker: Broker = life.broker
        self._world: World = life.world
        self._ended = False
        self.listens = False
        self._connection = 0
        self._wait_ms = 1000
        self._last_ms = 0
        self._mid = 0
        self._late_acks = life.number % 2 == 1

    def _later(self, wait_ms: int, happens: Callable[[], None]) -> None:
        """Let something happen on this connection, unless it has ended by then."""
        connection = self._connection

        def happen() -> None:
            if not self._ended and not self._life.dead and connection == self._connection:
                happens()

        self._world.after(wait_ms, happen)

    def will_set(self, *_: object, **__: object) -> None:
        """Take the last will."""

    def reconnect_delay_set(self, *_: object) -> None:
        """Take the waits."""

    def max_queued_messages_set(self, *_: object) -> None:
        """Take the bound."""

    def connect_async(self, *_: object, **__: object) -> None:
        """Take where to connect to."""

    def loop_start(self) -> None:
        """Begin to connect."""
        self._later(5, self._try)

    def loop_stop(self) -> None:
        """End."""
        self._ended = True

    def disconnect(self) -> None:
        """Close the connection."""
        self._ended = True
        if self._broker.client is self:
            self._broker.client = None

    def ack_many(self, messages: list[tuple[int, int]]) -> bool:
        """Acknowledge messages; a kill may let any part of it out."""
        for mid, _ in messages:
            self._life.before_ack()
            if self._late_acks:
                self._later(20, partial(self._broker.take_ack, self, mid))
            else:  # what was written reaches the broker, whatever becomes of the writer
                self._broker.take_ack(self, mid)
        return self._broker.client is self

    def publish(self, *_: object, **__: object) -> Info:
        """Publish our own status."""
        self._mid += 1
        mid = self._mid
        success = ReasonCode(PacketTypes.PUBACK, "Success")
        self._later(30, lambda: self.on_publish(self, None, mid, success, None))
        return Info()

    def subscribe(self, filters: list[Any]) -> tuple[int, int]:
        """Ask for filters."""
        self._mid += 1
        mid, codes = self._mid, [ReasonCode(PacketTypes.SUBACK, "Granted QoS 1") for _ in filters]

        def answer() -> None:
            self.on_subscribe(self, None, mid, codes, None)
            self.listens = True
            self._broker.subscribed()

        self._later(40, answer)
        return MQTT_ERR_SUCCESS, mid

    def unsubscribe(self, filters: list[str]) -> tuple[int, int]:
        """Ask to be spared filters."""
        self._mid += 1
        mid = self._mid
        codes = [ReasonCode(PacketTypes.UNSUBACK, "Success") for _ in filters]
        self._later(40, lambda: self.on_unsubscribe(self, None, mid, codes, None))
        return MQTT_ERR_SUCCESS, mid

    def arrives(self, message: Message, mid: int, wait_ms: int) -> None:
        """Let a message arrive; never before the one that was sent before it."""
        self._last_ms = max(self._last_ms, self._world.t_ms + wait_ms)

        def arrive() -> None:
            if not self._broker.silent:
                self._life.arrived(message)
                self.on_message(self, None, Sent(message, mid))

        self._later(self._last_ms - self._world.t_ms, arrive)

    def dropped(self) -> None:
        """The connection has ended."""
        self._connection += 1
        self.listens = False
        if self._ended or self._life.dead:
            return
        flags = DisconnectFlags(is_disconnect_packet_from_server=False)
        code = ReasonCode(PacketTypes.DISCONNECT, "Unspecified error")
        self.on_disconnect(self, None, flags, code, None)
        self._wait_ms = 1000
        self._later(self._wait_ms, self._try)

    def _try(self) -> None:
        self.on_pre_connect(self, None)
        if not self._broker.up:
            try:
                raise ConnectionRefusedError(111, "Connection refused")  # noqa: TRY301
            except ConnectionRefusedError:
                self.on_connect_fail(self, None)
            self._wait_ms = min(2 * self._wait_ms, 15_000)
            self._later(self._wait_ms, self._try)
            return
        self.on_socket_open(self, None, None)
        known = self._broker.connect(self)
        # A session that is known is delivered at once, before anything is asked for.
        self.listens = known
        flags = ConnectFlags(session_present=known)
        code = ReasonCode(PacketTypes.CONNACK, "Success")
        self._later(15, lambda: self.on_connect(self, None, flags, code, None))
        if known:
            self._later(16, self._broker.subscribed)


def session_type(life: Any) -> type[BrokerSession]:
    """Return the service's own session, on the played client, waiting in played time."""

    class PlayedSession(BrokerSession):
        _client_type = staticmethod(lambda *rest, **more: Client(life, *rest, **more))

        def drain(self, max_items: int, timeout_s: float) -> list[Item]:
            life.round()
            items = super().drain(life.most(max_items), 0)
            if not items and timeout_s > 0:
                life.world.move(life.idle_ms(), until=lambda: len(self._waiting) > 0)
                if self._waiting and life.together_ms:
                    life.world.move(life.together_ms)
                items = super().drain(life.most(max_items), 0)
            life.drained(items)
            return items

        def stop(self) -> None:
            life.drained([])  # a batch that could not be written until now is given up
            super().stop()

    return PlayedSession
