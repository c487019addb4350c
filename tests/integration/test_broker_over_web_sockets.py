"""A broker that is reached by WebSocket, in the clear and over TLS."""

import ssl
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from amqtt.broker import Broker as OlderBroker
from broker_sides import Shopkeeper, publish_many
from paho.mqtt.client import MQTTv311
from paho.mqtt.publish import single

from certificates import Authority
from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.intake.arrivals import Happening
from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.guest import Guest
from rimewatch.intake.sparkplug.presence import HostPresence, state_topic
from rimewatch.service.embedded_broker import EmbeddedBroker
from rimewatch.shop import Broker
from web_socket_door import WebSocketDoor

pytestmark = [
    pytest.mark.integration,
    pytest.mark.filterwarnings(
        # The client library leaves the socket of a failed handshake to the garbage collector.
        "ignore:unclosed <s:ResourceWarning"
    ),
]

NewSession = Callable[..., BrokerSession]


class WebBroker(EmbeddedBroker):
    """A broker in Python that listens for WebSockets alone, in MQTT 3.1.1."""

    async def _start(self) -> None:
        self._broker = OlderBroker(
            {
                "listeners": {"default": {"type": "ws", "bind": "127.0.0.1:0"}},
                "plugins": {
                    "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}
                },
            }
        )
        await self._broker.start()
        (server,) = self._broker._servers.values()
        self.port = next(iter(server.instance.sockets)).getsockname()[1]


@pytest.fixture
def door(mosquitto: Mosquitto) -> Iterator[WebSocketDoor]:
    """Give a web server before a running broker."""
    with WebSocketDoor(mosquitto.port) as opened:
        yield opened


def test_readings_come_through_a_web_socket_each_once(
    mosquitto: Mosquitto, door: WebSocketDoor, new_session: NewSession
) -> None:
    """A backlog, whatever frames its packets lie in; after a cut the session goes on."""
    session = new_session(f"ws://127.0.0.1:{door.port}/mqtt")
    keeper = Shopkeeper(session)
    keeper.until_subscribed(mosquitto.port)
    sent = publish_many(mosquitto.port, 600)
    keeper.run_until(lambda: len(keeper.readings()) >= 600)
    keeper.acknowledges = False
    door.cut()
    keeper.until_event(Happening.DISCONNECTED)
    keeper.acknowledges = True
    sent += publish_many(mosquitto.port, 50, first=600)
    keeper.run_until(lambda: len(set(keeper.readings())) >= 650)

    assert list(dict.fromkeys(keeper.readings())) == sent
    assert session.health().protocol == "5"
    assert keeper.count(Happening.SESSION_LOST) == 0


def test_web_server_that_asks_whether_we_are_there_is_answered(
    mosquitto: Mosquitto, new_session: NewSession
) -> None:
    """A pong that is not masked ends the connection at a server that keeps to RFC 6455, 5.1."""
    with WebSocketDoor(mosquitto.port, ping_every_s=0.2) as door:
        keeper = Shopkeeper(new_session(f"ws://127.0.0.1:{door.port}"))
        keeper.until_subscribed(mosquitto.port)
        keeper.run_for(2.0)
        keeper.session.stop()

    assert keeper.count(Happening.DISCONNECTED) == 0
    assert keeper.count(Happening.CONNECTED) == 1


def test_large_message_comes_through_a_web_socket(
    mosquitto: Mosquitto, door: WebSocketDoor, new_session: NewSession
) -> None:
    """A gateway's long list lies in many frames; what is too long is kept at its start alone."""
    keeper = Shopkeeper(new_session(f"ws://127.0.0.1:{door.port}"))
    keeper.until_subscribed(mosquitto.port)
    for payload in (b"[" + b"2.1," * 15_000 + b"2.1]", b"x" * 5_000_000, b"2.2"):
        single("shop/gateway", payload, qos=1, hostname="127.0.0.1", port=mosquitto.port)
    keeper.run_until(lambda: any(message.payload == b"2.2" for message in keeper.messages))

    sizes = [len(one.payload) for one in keeper.messages if one.topic == "shop/gateway"]
    assert sizes == [60_005, 64 * 1024 + 1, 3]


def test_web_socket_over_tls_is_trusted_by_the_shop_s_authority_alone(
    mosquitto: Mosquitto, new_session: NewSession, tmp_path: Path
) -> None:
    """wss:// encrypts, and checks who answers, as mqtts:// does."""
    authority = Authority(tmp_path, "shop-authority")
    tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    tls.load_cert_chain(*authority.sign("broker"))
    with WebSocketDoor(mosquitto.port, tls=tls) as door:
        url = f"wss://127.0.0.1:{door.port}/mqtt"
        keeper = Shopkeeper(new_session(url, ca_file=str(authority.file)))
        keeper.until_subscribed(mosquitto.port)
        sent = publish_many(mosquitto.port, 200)
        keeper.run_until(lambda: len(keeper.readings()) >= 200)
        keeper.session.stop()
        other = new_session(url)
        text = Shopkeeper(other).until_event(Happening.UNREACHABLE).text
        other.stop()

    assert keeper.readings() == sent
    assert "showed a certificate that is not trusted" in text


def test_wrong_path_of_a_web_socket_is_named(
    door: WebSocketDoor, mosquitto: Mosquitto, new_session: NewSession
) -> None:
    """Somebody answers there, and it is no MQTT: the sentence says where to look."""
    elsewhere = new_session(f"ws://127.0.0.1:{door.port}/elsewhere")
    no_web_server = new_session(f"ws://127.0.0.1:{mosquitto.port}/mqtt")

    text = Shopkeeper(elsewhere).until_event(Happening.UNREACHABLE).text
    assert text.startswith(f"The broker at ws://127.0.0.1:{door.port}/elsewhere ")
    assert "the path in broker.url" in text
    text = Shopkeeper(no_web_server).until_event(Happening.UNREACHABLE).text
    assert "mqtt://" in text


def test_broker_of_web_sockets_alone_is_served(new_session: NewSession) -> None:
    """Nothing of ours is in between: the broker itself speaks WebSocket."""
    with WebBroker() as broker:
        keeper = Shopkeeper(new_session(f"ws://127.0.0.1:{broker.port}"))
        keeper.run_until(lambda: keeper.session.health().listening)
        single(
            "shop/case-1/air",
            b"2.1",
            qos=1,
            hostname="127.0.0.1",
            port=broker.port,
            transport="websockets",
            protocol=MQTTv311,
        )
        keeper.run_until(lambda: any(one.payload == b"2.1" for one in keeper.messages))
        keeper.session.stop()


def test_guests_and_the_state_of_a_host_go_the_same_way(
    door: WebSocketDoor,
) -> None:
    """Listening, checking and a Sparkplug host's state are connections of their own."""
    broker = Broker(
        url=f"ws://127.0.0.1:{door.port}/mqtt", client_id="rimewatch", sparkplug_host="rimewatch"
    )
    guest = Guest(broker, MQTTv311)
    heard: list[bytes] = []
    guest.client.on_message = lambda *rest: heard.append(rest[2].payload)
    guest.open(10.0)
    guest.client.subscribe(state_topic("rimewatch"))
    presence = HostPresence(broker, SystemClock())
    presence.look(is_recording=True)
    keeper = Shopkeeper(BrokerSession(broker, ["shop/#"], SystemClock()))
    keeper.session.start()
    keeper.run_until(lambda: any(b'"online":true' in payload for payload in heard))
    keeper.session.stop()
    presence.leave()
    guest.close()
