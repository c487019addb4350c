import asyncio
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from amqtt.broker import Broker as OlderBroker
from broker_sides import LIMIT_S, TOPIC, ScriptedBroker, Shopkeeper, publish_many
from paho.mqtt import publish, subscribe
from paho.mqtt.client import Client

from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.intake.arrivals import Happening
from rimewatch.intake.broker import BrokerSession
from rimewatch.shop import Broker

pytestmark = pytest.mark.integration

NewSession = Callable[..., BrokerSession]
StartMosquitto = Callable[..., Mosquitto]


@pytest.fixture
def new_session() -> Iterator[NewSession]:
    """Make started sessions; all are stopped after the test."""
    made: list[BrokerSession] = []

    def make(url: str, *, expect_session: bool = False, **changes: Any) -> BrokerSession:
        session = BrokerSession(
            Broker(url=url, **{"client_id": "rime-1", **changes}),
            ["shop/#"],
            SystemClock(),
            expect_session=expect_session,
            reconnect_s=(1, 1),
        )
        session.start()
        made.append(session)
        return session

    yield make
    for session in made:
        session.stop()


@pytest.fixture
def passwords(tmp_path: Path) -> str:
    """Give a broker's configuration that lets in one user, ``shop``, by password."""
    file = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", file, "shop", "right"], check=True, timeout=9)
    file.chmod(0o600)
    return f"allow_anonymous false\npassword_file {file}\n"


class TestNothingIsLost:
    def test_session_while_we_are_away_keeps_messages(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """What the probes sent while the service was down is there when it comes back."""
        first = new_session(mosquitto.url)
        Shopkeeper(first).until_subscribed(mosquitto.port)
        first.stop()
        sent = publish_many(mosquitto.port, 50)

        keeper = Shopkeeper(new_session(mosquitto.url, expect_session=True))
        keeper.run_until(lambda: len(keeper.readings()) >= 50)

        assert keeper.readings() == sent
        assert keeper.count(Happening.SESSION_LOST) == 0
        assert {(message.topic, message.qos) for message in keeper.messages} == {(TOPIC, 1)}

    def test_session_messages_not_acknowledged_come_again(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """A service that dies between receiving and storing loses nothing."""
        first = new_session(mosquitto.url)
        forgetful = Shopkeeper(first)
        forgetful.until_subscribed(mosquitto.port)
        forgetful.acknowledges = False
        sent = publish_many(mosquitto.port, 10)
        forgetful.run_until(lambda: forgetful.readings() == sent)
        first.stop()

        second = new_session(mosquitto.url, expect_session=True)
        keeper = Shopkeeper(second)
        keeper.run_until(lambda: len(keeper.readings()) >= 10)
        assert keeper.readings() == sent
        second.stop()

        third = Shopkeeper(new_session(mosquitto.url, expect_session=True))
        third.until_event(Happening.CONNECTED)
        third.run_for(1.0)
        assert third.readings() == [], "acknowledged messages must not come again"

    def test_session_500_messages_flow_through_a_window_of_20(
        self, start_mosquitto: StartMosquitto, new_session: NewSession
    ) -> None:
        """A morning's backlog does not stop at the broker's window."""
        broker = start_mosquitto("max_inflight_messages 20\n")
        keeper = Shopkeeper(new_session(broker.url))
        keeper.until_subscribed(broker.port)

        sent = publish_many(broker.port, 500)
        keeper.run_until(lambda: len(keeper.readings()) >= 500)

        assert keeper.readings() == sent

    def test_session_without_acknowledgement_stops_at_the_window(
        self, start_mosquitto: StartMosquitto, new_session: NewSession
    ) -> None:
        """Nothing acknowledges by itself: the window shuts, and opens when we say so."""
        broker = start_mosquitto("max_inflight_messages 20\nmax_queued_messages 5000\n")
        session = new_session(broker.url)
        keeper = Shopkeeper(session)
        keeper.until_subscribed(broker.port)
        keeper.acknowledges = False
        sent = publish_many(broker.port, 1200)
        keeper.run_for(1.0)
        assert 20 <= len(keeper.readings()) <= 1000

        session.ack(keeper.messages)
        keeper.acknowledges = True
        keeper.run_until(lambda: len(keeper.readings()) >= 1200)
        assert keeper.readings() == sent

    @pytest.mark.parametrize("how", ["stop", "kill"])
    def test_session_broker_restart_midway_loses_nothing(
        self, mosquitto: Mosquitto, new_session: NewSession, how: str
    ) -> None:
        """The broker's restart, or its power cut, costs no reading that it had accepted."""
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_subscribed(mosquitto.port)
        sent = publish_many(mosquitto.port, 100)
        keeper.run_until(lambda: len(keeper.readings()) >= 20)

        getattr(mosquitto, how)()
        keeper.until_event(Happening.DISCONNECTED)
        mosquitto.start()
        keeper.until_subscribed(mosquitto.port, connections=2)
        sent += publish_many(mosquitto.port, 100, first=100)

        keeper.run_until(lambda: set(keeper.readings()) == set(sent))
        assert keeper.count(Happening.SESSION_LOST) == 0

    def test_ack_of_an_earlier_connection_is_not_sent(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """A late acknowledgement must not acknowledge another message of the same number."""
        session = new_session(mosquitto.url)
        keeper = Shopkeeper(session)
        keeper.until_subscribed(mosquitto.port)
        keeper.acknowledges = False
        before = len(keeper.messages)
        publish_many(mosquitto.port, 3)
        keeper.run_until(lambda: len(keeper.messages) == before + 3)
        old = keeper.messages[before:]

        mosquitto.restart()
        keeper.run_until(lambda: len(keeper.messages) >= before + 6)
        again = keeper.messages[before + 3 :]

        assert [m.payload for m in again] == [m.payload for m in old]
        assert session.ack(old) == 0
        assert session.ack([*old, *again]) == 3


class TestWhatBefallsASession:
    def test_broker_without_its_memory_is_told_as_a_lost_session(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """A hole in the record is named, with both of its ends, and the probes come back."""
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_subscribed(mosquitto.port)
        mosquitto.stop()
        (mosquitto.folder / "mosquitto.db").unlink()
        mosquitto.start()

        event = keeper.until_event(Happening.SESSION_LOST)

        assert "not monitored" in event.text
        assert event.since_ms is not None
        assert event.since_ms < event.at_ms
        keeper.until_subscribed(mosquitto.port, connections=2)

    def test_first_connection_ever_is_no_lost_session(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """A new shop is not frightened on its first day."""
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_subscribed(mosquitto.port)

        assert [event.what for event in keeper.events] == [Happening.CONNECTED]

    def test_session_gone_since_an_earlier_run_is_told(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """A broker replaced while the service was down is noticed at the first connection."""
        keeper = Shopkeeper(new_session(mosquitto.url, expect_session=True))

        assert "lost our session" in keeper.until_event(Happening.SESSION_LOST).text

    def test_broker_that_starts_later_is_found(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """After a power cut the service is often up before the broker."""
        mosquitto.stop()
        keeper = Shopkeeper(new_session(mosquitto.url))
        trouble = keeper.until_event(Happening.UNREACHABLE)
        assert trouble.text == (
            f"The broker at mqtt://127.0.0.1:{mosquitto.port} does not listen there: "
            "check that it runs, and the port in broker.url."
        )

        mosquitto.start()
        keeper.until_subscribed(mosquitto.port)
        assert keeper.session.health().connected
        assert keeper.session.health().problem == ""

    def test_wrong_password_is_one_clear_sentence(
        self, start_mosquitto: StartMosquitto, new_session: NewSession, passwords: str
    ) -> None:
        """Whoever sets the shop up is told what to mend: once, not at every attempt."""
        broker = start_mosquitto(passwords)
        keeper = Shopkeeper(new_session(broker.url, username="shop", password="wr0ng"))
        keeper.until_event(Happening.REFUSED)
        keeper.run_for(2.5)  # two more attempts

        sentence = (
            f"The broker at {broker.url} refused the user name or password, or may not let this "
            "user in: check broker.username, broker.password and the broker's list of users."
        )
        assert [(e.what, e.text) for e in keeper.events] == [(Happening.REFUSED, sentence)]

    def test_right_password_connects(
        self, start_mosquitto: StartMosquitto, new_session: NewSession, passwords: str
    ) -> None:
        """And with the right one it works."""
        broker = start_mosquitto(passwords)
        keeper = Shopkeeper(new_session(broker.url, username="shop", password="right"))

        keeper.until_event(Happening.CONNECTED)

    def test_same_client_id_twice_is_named(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """Two instances that throw each other off are a mistake somebody can mend."""
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_event(Happening.CONNECTED)
        new_session(mosquitto.url)

        keeper.run_until(lambda: any("second instance" in e.text for e in keeper.events))
        assert keeper.count(Happening.DISCONNECTED) >= 2

    def test_retained_message_is_marked_as_such(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """What the broker kept from earlier is not taken for news."""
        publish.single(TOPIC, b"2.1", qos=1, retain=True, hostname="127.0.0.1", port=mosquitto.port)
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.run_until(lambda: keeper.readings() == [b"2.1"])

        assert keeper.messages[0].retained

    def test_status_topic_tells_whether_the_service_watches(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """Anybody on the broker can see that the watch is kept, and that it ended."""
        session = new_session(mosquitto.url)
        keeper = Shopkeeper(session)
        keeper.until_event(Happening.CONNECTED)
        keeper.run_for(0.3)

        assert status(mosquitto.port, session.status_topic) == b"online"
        session.stop()
        assert status(mosquitto.port, session.status_topic) == b"offline"


def status(port: int, topic: str) -> bytes:
    """Return what the broker keeps under a topic."""
    message = subscribe.simple(topic, qos=1, hostname="127.0.0.1", port=port)
    assert not isinstance(message, list)
    return bytes(message.payload)


class TestOddBrokers:
    def test_refused_subscription_is_named(self, new_session: NewSession) -> None:
        """A probe that may not be read would otherwise be silent for no visible reason."""
        with ScriptedBroker(connack=b"\x20\x03\x00\x00\x00") as broker:
            session = new_session(f"mqtt://127.0.0.1:{broker.port}")
            event = Shopkeeper(session).until_event(Happening.SUBSCRIPTION_REFUSED)
            session.stop()

        assert "shop/# (Not authorized)" in event.text

    def test_garbage_in_answer_is_told_and_tried_again(self, new_session: NewSession) -> None:
        """A listener that talks something else is named, and costs one attempt, not the watch."""
        # A CONNACK whose properties claim to be longer than the packet.
        with ScriptedBroker(connack=b"\x20\x05\x00\x00\x7f\x99\x99") as broker:
            session = new_session(f"mqtt://127.0.0.1:{broker.port}")
            keeper = Shopkeeper(session)
            event = keeper.until_event(Happening.UNREACHABLE)
            keeper.run_until(lambda: broker.connections.qsize() >= 3)
            session.stop()

        assert "answered with something that is not MQTT" in event.text

    def test_dead_network_thread_is_told_and_replaced(
        self, mosquitto: Mosquitto, new_session: NewSession, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """An error inside the client library costs a reconnect, not the night."""
        died: list[object] = []
        monkeypatch.setattr(threading, "excepthook", died.append)
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_subscribed(mosquitto.port)
        with monkeypatch.context() as broken:
            broken.setattr(Client, "loop_misc", lambda _self: 1 / 0)
            fault = keeper.until_event(Happening.FAULT)
        sent = publish_many(mosquitto.port, 3)

        keeper.run_until(lambda: keeper.readings() == sent)
        assert "the network thread ended by an error" in fault.text
        assert died, "the thread was meant to end"

    def test_error_in_a_callback_is_told_and_mended(
        self, mosquitto: Mosquitto, new_session: NewSession, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """An error of our own on the network's thread costs a reconnect, not the night."""
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_subscribed(mosquitto.port)
        with monkeypatch.context() as broken:
            broken.setattr(BrokerSession, "_heard", lambda _self: 1 / 0)
            sent = publish_many(mosquitto.port, 1)
            fault = keeper.until_event(Happening.FAULT)

        keeper.run_until(lambda: keeper.readings() == sent)
        assert "ZeroDivisionError while handling message" in fault.text

    def test_silent_listener_is_told_and_both_versions_tried(self, new_session: NewSession) -> None:
        """A port that is not MQTT's is named; both versions of the protocol are offered."""
        with ScriptedBroker(connack=b"") as broker:
            session = new_session(f"mqtt://127.0.0.1:{broker.port}")
            keeper = Shopkeeper(session)
            keeper.until_event(Happening.OLDER_PROTOCOL)
            keeper.run_until(lambda: broker.connections.qsize() >= 3)
            session.stop()
            versions = {broker.connections.get_nowait()[8] for _ in range(3)}

        assert versions == {5, 4}
        assert "closed the connection without an answer" in keeper.events[0].text


class TestOlderBroker:
    """A broker in Python that speaks MQTT 3.1.1 only, as the demo runs one."""

    @pytest.fixture
    def older_broker(self) -> Iterator[int]:
        """Run it on a port of its own, in a thread of its own; give the port."""
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port: int = probe.getsockname()[1]
        loop = asyncio.new_event_loop()
        thread = threading.Thread(target=loop.run_forever)
        thread.start()
        plugin = "amqtt.plugins.authentication.AnonymousAuthPlugin"
        settings = {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
            "plugins": {plugin: {"allow_anonymous": True}},
        }
        broker = OlderBroker(settings, loop=loop)
        asyncio.run_coroutine_threadsafe(broker.start(), loop).result(LIMIT_S)
        yield port
        asyncio.run_coroutine_threadsafe(broker.shutdown(), loop).result(LIMIT_S)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(LIMIT_S)
        loop.close()

    def test_broker_of_311_only_is_served_by_311(
        self, older_broker: int, new_session: NewSession
    ) -> None:
        """A shop with an older broker is watched all the same, and is told of it."""
        session = new_session(f"mqtt://127.0.0.1:{older_broker}")
        keeper = Shopkeeper(session)
        keeper.until_subscribed(older_broker)
        sent = publish_many(older_broker, 100)
        keeper.run_until(lambda: len(keeper.readings()) >= 100)

        assert keeper.readings() == sent
        assert keeper.count(Happening.OLDER_PROTOCOL) == 1
        assert session.health().protocol == "3.1.1"
        session.stop()


@pytest.mark.filterwarnings(
    # The client library leaves the socket of a failed handshake to the garbage collector.
    "ignore:unclosed <ssl.SSLSocket:ResourceWarning"
)
class TestTls:
    @pytest.fixture
    def certificate(self, tmp_path: Path) -> Path:
        """Make a certificate for 127.0.0.1, signed by itself."""
        folder = tmp_path / "tls"
        folder.mkdir()
        subprocess.run(
            [
                *("openssl", "req", "-x509", "-newkey", "ec"),
                *("-pkeyopt", "ec_paramgen_curve:P-256"),
                *("-nodes", "-days", "2", "-subj", "/CN=127.0.0.1"),
                *("-addext", "subjectAltName=IP:127.0.0.1"),
                *("-addext", "keyUsage=critical,digitalSignature,keyCertSign"),
                *("-keyout", folder / "key.pem", "-out", folder / "cert.pem"),
            ],
            check=True,
            capture_output=True,
            timeout=LIMIT_S,
        )
        return folder

    def test_trusted_certificate_connects(
        self, start_mosquitto: StartMosquitto, new_session: NewSession, certificate: Path
    ) -> None:
        """With the shop's own authority given, the connection is encrypted and works."""
        broker = start_mosquitto(tls_lines(certificate))
        ca_file = str(certificate / "cert.pem")
        keeper = Shopkeeper(new_session(f"mqtts://127.0.0.1:{broker.port}", ca_file=ca_file))

        keeper.until_event(Happening.CONNECTED)

    def test_unknown_certificate_is_one_clear_sentence(
        self, start_mosquitto: StartMosquitto, new_session: NewSession, certificate: Path
    ) -> None:
        """A certificate nobody vouches for is refused, and the sentence says what to set."""
        broker = start_mosquitto(tls_lines(certificate))
        keeper = Shopkeeper(new_session(f"mqtts://127.0.0.1:{broker.port}"))
        event = keeper.until_event(Happening.UNREACHABLE)

        assert "a certificate that is not trusted (self" in event.text
        assert "check broker.ca_file" in event.text

    def test_tls_to_a_port_without_it_is_one_clear_sentence(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """Encryption is never given up silently."""
        keeper = Shopkeeper(new_session(f"mqtts://127.0.0.1:{mosquitto.port}"))
        event = keeper.until_event(Happening.UNREACHABLE)

        assert event.text.startswith(f"The broker at mqtts://127.0.0.1:{mosquitto.port} ")
        assert keeper.count(Happening.CONNECTED) == 0


def tls_lines(folder: Path) -> str:
    """Return a broker's lines for TLS on its port."""
    return f"listener PORT 127.0.0.1\ncertfile {folder}/cert.pem\nkeyfile {folder}/key.pem\n"
