"""Encryption, passwords and access control, over a real broker; each refusal one sentence."""

import gc
import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import ClassVar

import pytest
from broker_sides import LIMIT_S, Shopkeeper
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from certificates import Authority
from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.intake.arrivals import Happening
from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.eavesdrop import eavesdrop, is_open
from rimewatch.intake.guest import NotHeard
from rimewatch.shop import Broker

pytestmark = pytest.mark.integration

StartMosquitto = Callable[..., Mosquitto]
NewSession = Callable[..., BrokerSession]


def publish_as(broker: Mosquitto, user: str, topic: str) -> ReasonCode:
    """Publish a reading as a device, and return what the broker says of it."""
    answers: list[ReasonCode] = []
    answered = threading.Event()
    client = Client(CallbackAPIVersion.VERSION2, client_id=user, protocol=MQTTv5)
    client.username_pw_set(user, f"word-of-{user}")

    def on_publish(_c: object, _u: object, _mid: int, code: ReasonCode, _p: object) -> None:
        answers.append(code)
        answered.set()

    client.on_publish = on_publish
    client.on_connect = lambda c, *_: c.publish(topic, b"2.5", qos=1)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert answered.wait(LIMIT_S)
    client.disconnect()
    client.loop_stop()
    return answers[0]


OURS = {"client_id": "rime-1", "username": "rimewatch", "password": "word-of-rimewatch"}


class TestAccessControl:
    def test_probe_publishes_on_its_own_topic_and_rimewatch_reads_it(
        self, guarded: Mosquitto, new_session: NewSession
    ) -> None:
        """The shipped files let a reading through."""
        keeper = Shopkeeper(new_session(guarded.url, **OURS))
        keeper.run_until(lambda: keeper.session.health().listening)

        assert not publish_as(guarded, "case-1", "shop/case-1/air").is_failure
        keeper.run_until(lambda: len(keeper.messages) == 1)

    @pytest.mark.parametrize("topic", ["shop/case-2/air", "rimewatch/rime-1/entry", "other"])
    def test_probe_publishes_nowhere_else(
        self, guarded: Mosquitto, new_session: NewSession, topic: str
    ) -> None:
        """A probe that was taken over cannot speak for another one, nor for a person."""
        keeper = Shopkeeper(new_session(guarded.url, **OURS))
        keeper.run_until(lambda: keeper.session.health().listening)

        assert publish_as(guarded, "case-1", topic).getName() == "Not authorized"
        assert not publish_as(guarded, "case-1", "shop/case-1/last").is_failure
        keeper.run_until(lambda: bool(keeper.messages))
        assert [message.topic for message in keeper.messages] == ["shop/case-1/last"]

    def test_topic_we_may_not_write_is_one_clear_sentence(
        self, guarded: Mosquitto, new_session: NewSession
    ) -> None:
        """Our own status is refused: who set the broker up is told what to allow."""
        user = {"username": "case-1", "password": "word-of-case-1"}
        keeper = Shopkeeper(new_session(guarded.url, **user))

        text = keeper.until_event(Happening.PUBLISH_REFUSED).text

        assert "does not let us publish on rimewatch/rime-1/status" in text
        assert "word-of" not in text

    def test_wrong_password_is_one_clear_sentence(
        self, guarded: Mosquitto, new_session: NewSession
    ) -> None:
        """The sentence names the keys to look at and not what was in them."""
        keeper = Shopkeeper(
            new_session(guarded.url, client_id="rime-1", username="rimewatch", password="hush-9")
        )

        text = keeper.until_event(Happening.REFUSED).text

        assert "check broker.username" in text
        assert "hush-9" not in text

    def test_only_a_broker_without_passwords_is_called_open(
        self, guarded: Mosquitto, mosquitto: Mosquitto
    ) -> None:
        """Also where our own password would be right: strangers have none."""
        assert not is_open(Broker(url=guarded.url, **OURS))
        assert is_open(Broker(url=mosquitto.url, client_id="rime-1"))

    def test_eavesdropper_is_refused_in_one_clear_sentence(self, guarded: Mosquitto) -> None:
        """Whoever listens without a password is told so."""
        stranger = Broker(url=guarded.url, client_id="rime-1")
        with pytest.raises(NotHeard, match=r"check broker\.username"):
            list(eavesdrop(stranger, SystemClock(), 1.0))


def steal(broker: Mosquitto, times: int) -> None:
    """Log in as a device under the service's client id, wipe its session, and go."""
    for _ in range(times):
        connected = threading.Event()
        client = Client(CallbackAPIVersion.VERSION2, client_id="rimewatch", protocol=MQTTv5)
        client.username_pw_set("case-1", "word-of-case-1")
        client.on_connect = lambda *_, said=connected: said.set()
        client.connect("127.0.0.1", broker.port, clean_start=True)
        client.loop_start()
        assert connected.wait(LIMIT_S)
        client.disconnect()
        client.loop_stop()


class TestTakeOvers:
    """Whether a device with a password of its own can have the service's session."""

    SERVICE: ClassVar = {"username": "rimewatch", "password": "word-of-rimewatch"}

    def test_device_cannot_take_the_services_session_as_the_shipped_file_says(
        self, bound_ids: tuple[Mosquitto, int], new_session: NewSession
    ) -> None:
        """Its client id is its user's name, and the service comes by another listener."""
        broker, port = bound_ids
        url = f"mqtt://127.0.0.1:{port}"
        keeper = Shopkeeper(new_session(url, client_id="rimewatch", **self.SERVICE))
        keeper.run_until(lambda: keeper.session.health().listening)
        for n in range(5):
            steal(broker, 1)
            assert not publish_as(broker, "case-1", f"shop/case-1/{n}").is_failure
        keeper.run_until(lambda: len(keeper.messages) == 5)

        assert keeper.count(Happening.DISCONNECTED) == 0
        assert keeper.session.health().taken_over == 0

    def test_take_over_is_counted_where_ids_are_not_bound(
        self, guarded: Mosquitto, new_session: NewSession
    ) -> None:
        """What the file keeps from happening is noticed where it happens, and told."""
        keeper = Shopkeeper(new_session(guarded.url, client_id="rimewatch", **self.SERVICE))
        keeper.run_until(lambda: keeper.session.health().listening)
        steal(guarded, 1)
        keeper.run_until(lambda: keeper.session.health().taken_over > 0)

        assert keeper.count(Happening.SESSION_LOST) == 1


@pytest.mark.filterwarnings(
    # The client library leaves the socket of a failed handshake to the garbage collector.
    "ignore:unclosed <ssl.SSLSocket:ResourceWarning"
)
class TestCertificates:
    @pytest.fixture(autouse=True)
    def collect(self) -> Iterator[None]:
        """Let such sockets go within their own test."""
        yield
        gc.collect()

    @pytest.fixture
    def authority(self, tmp_path: Path) -> Authority:
        return Authority(tmp_path, "shop-authority")

    @pytest.fixture
    def strict(self, authority: Authority, start_mosquitto: StartMosquitto) -> Mosquitto:
        """Give a broker that asks for a certificate of its own authority."""
        certificate, key = authority.sign("broker")
        key.chmod(0o644)
        return start_mosquitto(
            f"listener PORT 127.0.0.1\ncafile {authority.file}\ncertfile {certificate}\n"
            f"keyfile {key}\nrequire_certificate true\nallow_anonymous true\n"
        )

    def url(self, broker: Mosquitto) -> str:
        return f"mqtts://127.0.0.1:{broker.port}"

    def test_own_certificate_of_the_authority_lets_us_in(
        self, strict: Mosquitto, authority: Authority, new_session: NewSession
    ) -> None:
        """Both sides prove who they are."""
        certificate, key = authority.sign("rimewatch")
        files = {"ca_file": authority.file, "cert_file": certificate, "key_file": key}
        named = {name: str(file) for name, file in files.items()}
        keeper = Shopkeeper(new_session(self.url(strict), **named))

        keeper.run_until(lambda: keeper.session.health().listening)
        assert not is_open(Broker(url=self.url(strict), client_id="a", **named))

    def test_missing_certificate_of_ours_is_one_clear_sentence(
        self, strict: Mosquitto, authority: Authority, new_session: NewSession
    ) -> None:
        """The broker wants one; the sentence says which keys."""
        keeper = Shopkeeper(new_session(self.url(strict), ca_file=str(authority.file)))

        text = keeper.until_event(Happening.UNREACHABLE).text

        assert text.startswith("The broker at mqtts://127.0.0.1:")
        assert "broker.cert_file and broker.key_file" in text
        assert "if it speaks TLS" not in text
        assert "\n" not in text

    def test_broker_of_another_authority_is_one_clear_sentence(
        self, strict: Mosquitto, tmp_path: Path, new_session: NewSession
    ) -> None:
        """Somebody else's broker in its place is not believed."""
        other = Authority(tmp_path, "somebody-else")
        keeper = Shopkeeper(new_session(self.url(strict), ca_file=str(other.file)))

        text = keeper.until_event(Happening.UNREACHABLE).text

        assert "a certificate that is not trusted" in text
        assert "check broker.ca_file" in text

    def test_certificate_of_another_host_is_one_clear_sentence(
        self, authority: Authority, start_mosquitto: StartMosquitto, new_session: NewSession
    ) -> None:
        """Signed by the right authority, for a machine that is not the broker's."""
        certificate, key = authority.sign("elsewhere", host="127.0.0.9")
        key.chmod(0o644)
        broker = start_mosquitto(
            f"listener PORT 127.0.0.1\ncertfile {certificate}\nkeyfile {key}\n"
            "allow_anonymous true\n"
        )
        keeper = Shopkeeper(new_session(self.url(broker), ca_file=str(authority.file)))

        text = keeper.until_event(Happening.UNREACHABLE).text

        assert "not valid for '127.0.0.1'" in text
        assert "the host name in broker.url" in text

    def test_own_certificate_that_has_ended_is_one_clear_sentence(
        self, strict: Mosquitto, authority: Authority, new_session: NewSession
    ) -> None:
        """The broker lets us in no more; the sentence says which key to look at."""
        certificate, key = authority.sign("rimewatch", is_over=True)
        keeper = Shopkeeper(
            new_session(
                self.url(strict),
                ca_file=str(authority.file),
                cert_file=str(certificate),
                key_file=str(key),
            )
        )

        text = keeper.until_event(Happening.UNREACHABLE).text

        assert "broker.cert_file" in text
        assert "\n" not in text

    def test_certificates_that_are_changed_are_taken_up_at_the_next_connection(
        self, tmp_path: Path, start_mosquitto: StartMosquitto, new_session: NewSession
    ) -> None:
        """All of them end some day, and are changed by a machine: nobody restarts a service for it.

        What was published between the two connections arrives, and in between a stranger's
        broker on the same port is not believed.
        """
        names = ("ca.pem", "broker.crt", "broker.key", "own.crt", "own.key")
        ca, broker_crt, broker_key, own_crt, own_key = (tmp_path / name for name in names)

        def put_in_place(name: str, *, ours: bool) -> None:
            """Put what an authority has signed where both sides look, or where the broker does."""
            (folder := tmp_path / name).mkdir()
            made = Authority(folder, name)
            sources, places = made.sign("broker"), [broker_crt, broker_key]
            if ours:
                sources += (*made.sign("rimewatch"), made.file)
                places += [own_crt, own_key, ca]
            for source, place in zip(sources, places, strict=True):
                shutil.copyfile(source, place)

        put_in_place("first", ours=True)
        broker = start_mosquitto(
            f"listener PORT 127.0.0.1\ncafile {ca}\ncertfile {broker_crt}\nkeyfile {broker_key}\n"
            "require_certificate true\nallow_anonymous true\n"
        )
        files = {"ca_file": str(ca), "cert_file": str(own_crt), "key_file": str(own_key)}
        keeper = Shopkeeper(new_session(self.url(broker), **files))
        keeper.run_until(lambda: keeper.session.health().listening)

        put_in_place("stranger", ours=False)
        broker.restart()
        assert "not trusted" in keeper.until_event(Happening.UNREACHABLE).text
        put_in_place("second", ours=True)
        broker.restart()
        keeper.run_until(lambda: keeper.session.health().listening)

        assert keeper.count(Happening.CONNECTED) == 2
        own_key.write_text("half a ke")
        broker.restart()
        keeper.run_until(lambda: keeper.count(Happening.CONNECTED) == 3)
