import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from broker_sides import LIMIT_S, ScriptedBroker, Shopkeeper, publish_many
from paho.mqtt.client import Client

from mosquitto_broker import Mosquitto
from rimewatch.intake.arrivals import Happening
from rimewatch.intake.broker import BrokerSession
from rimewatch.service.embedded_broker import EmbeddedBroker

pytestmark = pytest.mark.integration

NewSession = Callable[..., BrokerSession]
StartMosquitto = Callable[..., Mosquitto]


class TestOddBrokers:
    def test_refused_subscription_is_named(self, new_session: NewSession) -> None:
        """A probe that may not be read would otherwise be silent for no visible reason."""
        with ScriptedBroker(connack=b"\x20\x03\x00\x00\x00") as broker:
            session = new_session(f"mqtt://127.0.0.1:{broker.port}")
            event = Shopkeeper(session).until_event(Happening.SUBSCRIPTION_REFUSED)
            session.stop()

        assert "shop/# (Not authorized)" in event.text
        assert not session.health().listening

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
        # Of the message, or of the broker's word that it has our status: whichever came first.
        assert "ZeroDivisionError while handling " in fault.text

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
        with EmbeddedBroker() as broker:
            yield broker.port

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
