import subprocess
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from broker_sides import TOPIC, Shopkeeper, publish_many
from paho.mqtt import publish, subscribe

from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.intake.arrivals import Happening
from rimewatch.intake.bounded_client import CHUNK_BYTES
from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.waiting import Waiting
from service_process import until

pytestmark = pytest.mark.integration

NewSession = Callable[..., BrokerSession]
StartMosquitto = Callable[..., Mosquitto]


@pytest.fixture
def passwords(tmp_path: Path) -> str:
    """Give a broker's configuration that lets in one user, ``shop``, by password."""
    file = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", file, "shop", "right"], check=True, timeout=60)
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

    @pytest.mark.parametrize("speaks_5", [True, False])
    def test_session_500_messages_flow_through_a_window_of_20(
        self,
        mosquitto: Mosquitto,
        new_session: NewSession,
        monkeypatch: pytest.MonkeyPatch,
        speaks_5: bool,
    ) -> None:
        """A morning's backlog does not stop at the broker's window, under 5 or 3.1.1."""
        monkeypatch.setattr("rimewatch.intake.session_client.RECEIVE_MAXIMUM", 20)
        session = new_session(mosquitto.url, speaks_5=speaks_5)
        keeper = Shopkeeper(session)
        keeper.until_subscribed(mosquitto.port)
        keeper.acknowledges = False
        sent = publish_many(mosquitto.port, 500)
        keeper.run_for(1.0)
        assert keeper.readings() == sent[:20], "nothing acknowledges by itself"

        session.ack(keeper.messages[-20:])
        keeper.acknowledges = True
        keeper.run_until(lambda: len(keeper.readings()) >= 500)
        assert keeper.readings() == sent

    def test_session_of_mqtt_5_has_a_wider_window(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """Where the broker allows it, a batch on disk may be larger than 20."""
        session = new_session(mosquitto.url)
        keeper = Shopkeeper(session)
        keeper.until_subscribed(mosquitto.port)
        keeper.acknowledges = False
        sent = publish_many(mosquitto.port, 200)

        keeper.run_until(lambda: keeper.readings() == sent)

    def test_session_of_mqtt_311_keeps_messages_while_we_are_away(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """The older protocol loses nothing either."""
        first = new_session(mosquitto.url, speaks_5=False)
        Shopkeeper(first).until_subscribed(mosquitto.port)
        first.stop()
        sent = publish_many(mosquitto.port, 50)

        second = new_session(mosquitto.url, speaks_5=False, expect_session=True)
        keeper = Shopkeeper(second)
        keeper.run_until(lambda: len(keeper.readings()) >= 50)
        assert keeper.readings() == sent
        assert keeper.count(Happening.SESSION_LOST) == 0

    def test_session_takes_no_more_from_the_network_than_there_is_room_for(
        self,
        start_mosquitto: StartMosquitto,
        new_session: NewSession,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        """Nobody drains, for some keepalives: memory is bounded, and the connection lives on."""
        monkeypatch.setattr("rimewatch.intake.session_client.KEEPALIVE_S", 1)
        monkeypatch.setattr("rimewatch.intake.session_client.RECEIVE_MAXIMUM", 60_000)
        monkeypatch.setattr("rimewatch.intake.broker.Waiting", partial(Waiting, most_items=500))
        broker = start_mosquitto("max_inflight_messages 60000\nlog_type all\n")
        session = new_session(broker.url)
        keeper = Shopkeeper(session)
        keeper.until_subscribed(broker.port)
        sent = publish_many(broker.port, 10_000)
        until(lambda: session.health().is_full, "a full queue")

        pings = broker.log().count("PINGREQ from")
        until(lambda: broker.log().count("PINGREQ from") >= pings + 3, "three pings")
        assert session.health().waiting < 500 + CHUNK_BYTES // len(sent[0])

        keeper.run_until(lambda: len(keeper.readings()) >= len(sent))
        assert keeper.readings() == sent
        assert keeper.count(Happening.DISCONNECTED) == 0

    def test_session_broker_restart_midway_loses_nothing(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """The broker's restart in good order costs no reading that it had accepted."""
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_subscribed(mosquitto.port)
        sent = publish_many(mosquitto.port, 100)
        keeper.run_until(lambda: len(keeper.readings()) >= 20)

        mosquitto.stop()
        keeper.until_event(Happening.DISCONNECTED)
        mosquitto.start()
        keeper.until_subscribed(mosquitto.port, connections=2)
        sent += publish_many(mosquitto.port, 100, first=100)

        keeper.run_until(lambda: set(keeper.readings()) == set(sent))
        assert keeper.count(Happening.SESSION_LOST) == 0

    def test_session_broker_power_cut_loses_nothing_it_had_on_disk(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """What we had not acknowledged and the broker had saved comes again after its power cut.

        No more can be promised: the broker confirms a message before it saves it, and a
        message lost in between is known to the probe alone.
        """
        keeper = Shopkeeper(new_session(mosquitto.url))
        keeper.until_subscribed(mosquitto.port)
        keeper.acknowledges = False
        sent = publish_many(mosquitto.port, 100)
        mosquitto.until_saved(sent)

        mosquitto.kill()
        keeper.until_event(Happening.DISCONNECTED)
        keeper.messages.clear()  # as if our own power had failed with it
        keeper.acknowledges = True
        mosquitto.start()

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


class TestEarlierFilters:
    @pytest.mark.parametrize("speaks_5", [True, False])
    @pytest.mark.parametrize("earlier", [(), ("old/#", "shop/#")])
    def test_topic_of_an_earlier_configuration_comes_no_more_once_it_is_given_up(
        self,
        mosquitto: Mosquitto,
        new_session: NewSession,
        speaks_5: bool,
        earlier: tuple[str, ...],
    ) -> None:
        """The broker keeps what a session once asked for, until it is told to forget it."""
        first = new_session(mosquitto.url, speaks_5=speaks_5, filters=("old/#", "shop/#"))
        Shopkeeper(first).until_subscribed(mosquitto.port)
        first.stop()

        second = new_session(mosquitto.url, speaks_5=speaks_5, expect_session=True, earlier=earlier)
        keeper = Shopkeeper(second)
        keeper.run_until(lambda: second.health().listening and second.subscribed() == ("shop/#",))
        publish.single("old/probe", b"old", qos=1, hostname="127.0.0.1", port=mosquitto.port)
        sent = publish_many(mosquitto.port, 1)
        keeper.run_until(lambda: sent[0] in keeper.readings())

        came = [message.topic for message in keeper.messages if message.topic == "old/probe"]
        assert came == ([] if earlier else ["old/probe"])

    def test_message_between_an_old_filter_and_its_new_one_is_not_lost(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """Probes that send while the topics are written anew in the configuration are heard."""
        first = new_session(mosquitto.url, filters=("shop/+/air",))
        Shopkeeper(first).until_subscribed(mosquitto.port)
        first.stop()
        sent = publish_many(mosquitto.port, 30)

        second = new_session(
            mosquitto.url, expect_session=True, filters=(TOPIC,), earlier=("shop/+/air",)
        )
        keeper = Shopkeeper(second)
        keeper.run_until(lambda: second.subscribed() == (TOPIC,))
        sent += publish_many(mosquitto.port, 30, first=30)
        keeper.run_until(lambda: len(keeper.readings()) >= 60)

        assert keeper.readings() == sent

    def test_broker_without_our_session_is_asked_to_forget_nothing(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """Where the session is gone, so is what it held."""
        session = new_session(mosquitto.url, earlier=("old/#",))
        Shopkeeper(session).until_subscribed(mosquitto.port)

        assert session.subscribed() == ("shop/#",)


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
        refused = "not authorised"
        keeper.run_until(lambda: (broker.folder / "mosquitto.log").read_text().count(refused) >= 3)

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

    def test_silence_is_measured_by_the_brokers_answers(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """A connection that only looks alive is told from one the broker answers on."""
        clock = HeldClock()
        session = new_session(mosquitto.url, clock=clock)
        keeper = Shopkeeper(session)
        keeper.until_subscribed(mosquitto.port)
        keeper.run_for(0.3)
        clock.elapsed_s = 59.0
        assert session.health().silent_s == 59.0

        clock.elapsed_s = 61.0  # a status is due, and the broker confirms it
        keeper.run_until(lambda: session.health().silent_s == 0.0)

    def test_stop_without_a_broker_returns_soon(
        self, mosquitto: Mosquitto, new_session: NewSession
    ) -> None:
        """The service ends in good order though the broker is down."""
        mosquitto.stop()
        session = new_session(mosquitto.url)
        Shopkeeper(session).until_event(Happening.UNREACHABLE)
        before_s = time.monotonic()
        session.stop()

        assert time.monotonic() - before_s < 5.0


class HeldClock(SystemClock):
    """A clock whose durations stand still until told otherwise."""

    elapsed_s = 0.0

    def monotonic_s(self) -> float:
        """Return the seconds it was told."""
        return self.elapsed_s


def status(port: int, topic: str) -> bytes:
    """Return what the broker keeps under a topic."""
    message = subscribe.simple(topic, qos=1, hostname="127.0.0.1", port=port)
    assert not isinstance(message, list)
    return bytes(message.payload)
