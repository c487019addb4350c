"""The session with the broker: nothing is acknowledged before the caller says so.

MQTT 5 with a session that outlives us (or 3.1.1 where the broker speaks no 5), QoS 1,
manual acknowledgement. The client library's thread only puts messages into a queue, and
reads no more while that is full; one thread of the caller's drains it, stores what it
drained, and acknowledges.
Everything else (choice of protocol, a dead network thread, the status topic) is done
inside :meth:`BrokerSession.drain`, on the caller's thread.

Never decodes a payload, never stores anything, never raises for the network's sake.
"""

import contextlib
import functools
import sys
import threading
from collections import deque
from collections.abc import Callable, Collection, Iterable
from typing import Any, Final

from paho.mqtt.client import (
    MQTT_ERR_SUCCESS,
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
    MQTTv5,
    MQTTv311,
)
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from rimewatch.clock import Clock
from rimewatch.intake.arrivals import Arrived, Happening, Item, SessionEvent, SessionHealth
from rimewatch.intake.broker_settings import BrokerSettingsError, endpoint, tls_context
from rimewatch.intake.broker_trouble import (
    SECOND_INSTANCE,
    TAKEN_OVER,
    UNSUPPORTED_PROTOCOL,
    describe_end,
    describe_failure,
    describe_hush,
    describe_refusal,
    describe_silence,
)
from rimewatch.intake.bulk_client import BulkClient, PlainMessage
from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES
from rimewatch.intake.session_client import begin_to_connect, session_client
from rimewatch.intake.subscriptions import Subscriptions
from rimewatch.intake.waiting import Waiting
from rimewatch.shop import Broker

LOOK_FOR_ROOM_S: Final = 0.25
"""While the queue is full: so often the network's thread sends what there is to send."""

STATUS_EVERY_S: Final = 60.0
"""The broker's answer to our own status is the proof that it is still there."""

RECONNECT_S: Final = (1, 15)
"""First and longest wait between attempts."""

SILENT_CLOSES: Final = 2
"""Connections closed without an answer before the other version of MQTT is tried."""

ANSWER_WITHIN_S: Final = (3.0, 30.0)
"""First and longest wait for the answer to CONNECT. Some brokers that do not speak MQTT 5
leave the connection open and say nothing. It doubles each time, for brokers that are slow."""

SHORT_LIFE_S: Final = 10.0
SHORT_LIVES: Final = 2
"""So many connections in a row that lived no longer look like two clients with one id, which
throw each other off; not every broker says so."""

TAKE_OVERS_COUNT_S: Final = 86_400.0
"""For so long a take-over of the session is told (our choice): the next morning has it."""
MOST_TAKE_OVERS: Final = 1000

GOODBYE_S: Final = 2.0


class BrokerSession:
    """A lasting session with one broker, for one draining thread.

    Args:
        broker: The configuration. One ``client_id`` serves one running instance only.
        filters: Topic filters to subscribe to, ``+`` and ``#`` allowed.
        clock: Gives the times of arrival.
        expect_session: Whether the broker should know us already (we were connected in
            an earlier run), so that a session lost meanwhile is noticed.
        earlier: Filters that the broker may still have for us from an earlier
            configuration; it is asked to drop those that are no more.
        reconnect_s: First and longest wait between attempts, whole seconds.

    Raises:
        BrokerSettingsError: If the configuration cannot be used.
    """

    _client_type = BulkClient

    is_lasting = True
    """Whether the broker keeps the session, and what arrives meanwhile, while we are away."""

    def __init__(
        self,
        broker: Broker,
        filters: Collection[str],
        clock: Clock,
        *,
        expect_session: bool = False,
        earlier: Collection[str] = (),
        reconnect_s: tuple[int, int] = RECONNECT_S,
    ) -> None:
        self._broker = broker
        self._end = endpoint(broker)
        self._client_id = broker.client_id
        self._subscriptions = Subscriptions(filters, earlier)
        self._clock = clock
        self._expects_session = expect_session
        self._reconnect_s = reconnect_s
        self.status_topic = f"rimewatch/{broker.client_id}/status"
        """Where ``online`` and ``offline`` are kept, retained, for whoever wants to know."""
        self._waiting = Waiting()
        # Guards _generation and _live against late acks. Reentrant: without its thread the
        # client writes, and reports a broken connection, from within our own ack.
        self._lock = threading.RLock()
        self._generation = 0
        self._live = False
        self._protocol = MQTTv5
        self._client: BulkClient | None = None
        self._network_thread: threading.Thread | None = None
        self._stopping = False
        self._renew_at_s: float | None = None  # when the client is to be made anew, if it is
        self._fault_wait_s = float(reconnect_s[0])
        self._answered = False
        self._asked_s: float | None = None  # when CONNECT was sent, until the attempt's end
        self._answer_within_s = ANSWER_WITHIN_S[0]
        self._silent_closes = 0
        self._short_lives = 0
        self._taken_over_s: deque[float] = deque(maxlen=MOST_TAKE_OVERS)
        self._ended_s = float("-inf")
        self._connected_s, self._has_connected, self._has_told_older = 0.0, False, False
        self._status_due_s = 0.0
        self._heard_s = clock.monotonic_s()
        self._heard_ms = clock.now_ms()
        self._listening = False
        self._problem = ""
        self._publish_problem = ""

    # ------------------------------------------------------------- the caller's thread

    def start(self) -> None:
        """Begin to connect; return at once, whether or not the broker is there yet."""
        assert self._client is None, "a session is started once"
        self._open()

    def drain(self, max_items: int, timeout_s: float) -> list[Item]:
        """Return what has arrived, in order; wait for the first item only.

        It never waits for a batch to fill: with the broker's window full of messages
        not yet acknowledged, no more would come.

        Args:
            max_items: At most so many.
            timeout_s: How long to wait for the first; an empty list after that.
        """
        self._maintain()
        return self._waiting.take(max_items, timeout_s)

    def ack(self, items: Iterable[Item]) -> int:
        """Acknowledge drained messages, in the order drained, after they are on disk.

        Messages of an earlier connection are passed over: their ids mean other messages
        now, and the broker sends them again. Events are passed over as well.

        Returns:
            How many acknowledgements were sent.
        """
        with self._lock:
            client, generation = self._client, self._generation
            if client is None or not self._live:
                return 0
            messages = [
                (item.mid, item.qos)
                for item in items
                if isinstance(item, Arrived) and item.qos and item.generation == generation
            ]
            return len(messages) if client.ack_many(messages) else 0

    def publish(self, topic: str, payload: bytes) -> bool:
        """Publish at QoS 0, not retained, if there is a connection; from the caller's thread.

        Returns:
            Whether it was handed over; without a connection it is not kept for later.
        """
        client = self._client if self._live else None
        return client is not None and client.publish(topic, payload).rc == MQTT_ERR_SUCCESS

    def health(self) -> SessionHealth:
        """Return how the session is doing."""
        return SessionHealth(
            connected=self._live,
            listening=self._live and self._listening,
            silent_s=self._clock.monotonic_s() - self._heard_s,
            waiting=len(self._waiting),
            is_full=self._waiting.is_full,
            protocol="5" if self._protocol == MQTTv5 else "3.1.1",
            problem=self._problem or self._publish_problem,
            taken_over=self._taken_over(),
        )

    def _taken_over(self) -> int:
        since_s = self._clock.monotonic_s() - TAKE_OVERS_COUNT_S
        return sum(at_s >= since_s for at_s in tuple(self._taken_over_s))

    def subscribed(self) -> tuple[str, ...]:
        """Return the filters that the broker may have for us, dropped ones until it says so."""
        return (*self._subscriptions.filters, *self._subscriptions.superfluous)

    def stop(self) -> None:
        """Say goodbye and end the network thread. What was not acknowledged comes again."""
        self._stopping = True
        client = self._client
        if client is None:
            return
        if self._live:
            goodbye = client.publish(self.status_topic, "offline", qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):
                goodbye.wait_for_publish(GOODBYE_S)
        self._close()

    # ---------------------------------------------------------------- making the client

    def _open(self) -> None:
        client = session_client(
            self._client_type,
            self._end,
            self._client_id,
            self._protocol,
            is_lasting=self.is_lasting,
            will_topic=self.status_topic,
            reconnect_s=self._reconnect_s,
        )
        # All handlers before the first connection: a resumed session delivers at once.
        client.on_pre_connect = self._guarded(self._on_pre_connect)
        client.on_socket_open = self._guarded(self._on_socket_open)
        client.on_connect = self._guarded(self._on_connect)
        client.on_connect_fail = self._guarded(self._on_connect_fail)
        client.on_disconnect = self._guarded(self._on_disconnect)
        client.on_subscribe = self._guarded(self._on_subscribe)
        client.on_unsubscribe = self._guarded(self._on_unsubscribe)
        client.on_publish = self._guarded(self._on_publish)
        client.on_message = self._guarded(self._on_message)
        client.on_plain_messages = self._guarded(self._on_plain_messages)
        client.has_room = self._has_room
        begin_to_connect(client, self._end, self._protocol, is_lasting=self.is_lasting)
        self._network_thread = None
        self._silent_closes = 0
        self._client = client
        client.loop_start()

    def _close(self) -> None:
        client = self._client
        with self._lock:
            self._live = False
            self._client = None
        if client is not None:
            client.disconnect()
            client.loop_stop()

    def _maintain(self) -> None:
        if self._stopping or self._client is None:
            return
        thread = self._network_thread
        if thread is not None and not thread.is_alive() and self._renew_at_s is None:
            self._fault("the network thread ended by an error")
        now_s = self._clock.monotonic_s()
        if self._asked_s is not None and now_s > self._asked_s + self._answer_within_s:
            self._asked_s = None
            self._answer_within_s = min(2 * self._answer_within_s, ANSWER_WITHIN_S[1])
            self._tell(Happening.UNREACHABLE, describe_hush(self._end.address))
            self._try_other_protocol()
        if self._renew_at_s is not None and now_s >= self._renew_at_s:
            self._renew_at_s = None
            self._close()
            self._open()
        if self._live and now_s >= self._status_due_s:
            self._status_due_s = now_s + STATUS_EVERY_S
            self._client.publish(self.status_topic, "online", qos=1, retain=True)

    # ------------------------------------------------------------- the network's thread

    def _guarded(self, callback: Callable[..., None]) -> Callable[..., None]:
        """Wrap a callback: an error would end the network thread without a word."""

        @functools.wraps(callback)
        def guarded(client: Client, *rest: Any) -> None:  # noqa: ANN401 - as the library calls it
            if client is not self._client:
                return  # a client already replaced
            try:
                callback(client, *rest)
            except Exception as err:  # noqa: BLE001 - see above; it is told and acted upon
                name = callback.__name__.removeprefix("_on_")
                self._fault(f"{type(err).__name__} while handling {name}")

        return guarded

    def _fault(self, what: str) -> None:
        """Tell of an error on our side, and have the client made anew after a growing wait."""
        self._renew_at_s = self._clock.monotonic_s() + self._fault_wait_s
        self._fault_wait_s = min(2 * self._fault_wait_s, float(self._reconnect_s[1]))
        self._tell(Happening.FAULT, f"The broker session failed: {what}; connecting anew.")

    def _tell(self, what: Happening, text: str, *, since_ms: int | None = None) -> None:
        """Queue an event; a trouble already told is not told again until it changes."""
        if what is Happening.PUBLISH_REFUSED:  # readings may come all the same, or not
            if text == self._publish_problem:
                return
            self._publish_problem = text
        elif what not in (Happening.CONNECTED, Happening.SESSION_LOST):
            if text == self._problem:
                return
            self._problem = text
        at_ms = self._clock.now_ms()
        self._waiting.put([SessionEvent(what=what, at_ms=at_ms, text=text, since_ms=since_ms)])

    def _heard(self) -> None:
        self._heard_s = self._clock.monotonic_s()
        self._heard_ms = self._clock.now_ms()

    def _on_pre_connect(self, client: BulkClient, _userdata: object) -> None:
        self._network_thread = threading.current_thread()
        self._answered = False
        if self._end.tls is not None:
            # Certificates end, and are changed while we run. Files that are just being
            # written cannot be read: those that we have serve until they can.
            with contextlib.suppress(BrokerSettingsError):
                client.renew_tls(tls_context(self._broker))

    def _on_socket_open(self, _client: Client, _userdata: object, _socket: object) -> None:
        self._asked_s = self._clock.monotonic_s()

    def _on_connect(
        self,
        client: Client,
        _userdata: object,
        flags: ConnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._answered = True
        self._asked_s = None
        if code.is_failure:
            if code.value == UNSUPPORTED_PROTOCOL and self._protocol == MQTTv5:
                self._try_other_protocol()
                return
            text = describe_refusal(code.value, code.getName(), self._end.address)
            self._tell(Happening.REFUSED, text)
            return
        since_ms = self._heard_ms if self._has_connected else None
        self._heard()
        self._connected_s = self._heard_s
        with self._lock:
            self._generation += 1
            self._live = True
        self._problem = self._publish_problem = ""
        self._listening = not self._subscriptions.filters
        self._fault_wait_s = float(self._reconnect_s[0])
        self._status_due_s = 0.0
        self._tell(
            Happening.CONNECTED,
            f"Connected to the broker at {self._end.address}.",
            since_ms=since_ms,
        )
        if self._expects_session and not flags.session_present:
            text = (
                f"The broker at {self._end.address} lost our session: messages sent while we were "
                "away are gone, and that time counts as not monitored."
            )
            self._tell(Happening.SESSION_LOST, text, since_ms=since_ms)
            if self._heard_s - self._ended_s < SHORT_LIFE_S:
                # Not every broker says so: another client has wiped it, or the broker was
                # restarted at once and kept nothing, which is to be looked at as well.
                self._taken_over_s.append(self._heard_s)
        self._has_connected = True
        self._expects_session = self.is_lasting
        self._subscriptions.ask(
            client, is_new=not flags.session_present, speaks_5=self._protocol == MQTTv5
        )

    def _on_connect_fail(self, _client: Client, _userdata: object) -> None:
        # The library calls this while it handles the error, and hands it to nobody.
        self._tell(Happening.UNREACHABLE, describe_failure(sys.exception(), self._end.address))

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        with self._lock:
            was_live, self._live = self._live, False
        self._asked_s = None
        if self._stopping:
            return
        if was_live:
            self._ended_s = self._clock.monotonic_s()
            lived_s = self._clock.monotonic_s() - self._connected_s
            self._short_lives = self._short_lives + 1 if lived_s < SHORT_LIFE_S else 0
            text = describe_end(code.value, code.getName(), self._end.address)
            if code.value == TAKEN_OVER or self._short_lives >= SHORT_LIVES:
                self._taken_over_s.append(self._clock.monotonic_s())
            if self._short_lives >= SHORT_LIVES:
                text = f"{text} {SECOND_INSTANCE}"
            self._tell(Happening.DISCONNECTED, text)
        elif not self._answered:
            self._answered = True  # the library may report one end twice
            self._tell(Happening.UNREACHABLE, describe_silence(code.value, self._end.address))
            self._silent_closes += 1
            if self._silent_closes >= SILENT_CLOSES:
                self._try_other_protocol()

    def _try_other_protocol(self) -> None:
        """Ask :meth:`_maintain` for a new client, of the other version while neither has served."""
        if self._has_connected:
            pass
        elif self._protocol == MQTTv5:
            self._protocol = MQTTv311
            if not self._has_told_older:
                self._has_told_older = True
                where = self._end.address
                text = f"The broker at {where} does not seem to speak MQTT 5; trying 3.1.1."
                self._tell(Happening.OLDER_PROTOCOL, text)
        else:
            self._protocol = MQTTv5
        self._renew_at_s = self._clock.monotonic_s()

    def _on_subscribe(
        self,
        _client: Client,
        _userdata: object,
        mid: int,
        codes: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        self._heard()
        refused = self._subscriptions.answered(mid, codes)
        self._listening = not refused
        if refused:
            text = (
                f"The broker at {self._end.address} refused the subscription to "
                f"{', '.join(refused)}: check what its user may read."
            )
            self._tell(Happening.SUBSCRIPTION_REFUSED, text)

    def _on_unsubscribe(
        self,
        _client: Client,
        _userdata: object,
        mid: int,
        codes: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        self._heard()
        self._subscriptions.released(mid, codes)

    def _on_publish(
        self,
        _client: Client,
        _userdata: object,
        _mid: int,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._heard()
        if code.is_failure:  # MQTT 5 alone says so; 3.1.1 drops what is not allowed
            text = (
                f"The broker at {self._end.address} does not let us publish on "
                f"{self.status_topic} ({code.getName()}): allow its user to write rimewatch/#."
            )
            self._tell(Happening.PUBLISH_REFUSED, text)

    def _on_message(self, client: Client, _userdata: object, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError as err:
            topic = err.object.decode(errors="backslashreplace")
        payload = bytes(message.payload)
        plain = PlainMessage(topic, payload, message.qos, message.retain, message.mid)
        self._on_plain_messages(client, [plain])

    def _on_plain_messages(self, _client: Client, messages: list[PlainMessage]) -> None:
        self._heard()
        at_ms, generation = self._heard_ms, self._generation
        self._waiting.put(
            Arrived(topic, payload[: MAX_PAYLOAD_BYTES + 1], at_ms, retained, mid, qos, generation)
            for topic, payload, qos, retained, mid in messages
        )

    def _has_room(self) -> bool:
        """Say whether more may be read; what comes before the broker's answer always may."""
        return not self._live or self._waiting.wait_for_room(LOOK_FOR_ROOM_S)
