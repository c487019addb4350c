"""What the log knows of a silence the phone is told, with its cure, and in one message."""

import json
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from amqtt.contexts import Action
from amqtt.plugins.base import BaseTopicPlugin
from amqtt.session import Session

from certificates import Authority
from handmade import NIGHT, ONE_CONTACT, probe, shop, unit
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SteppedClock
from rimewatch.intake.trace import TraceMessage
from rimewatch.service.embedded_broker import EmbeddedBroker
from rimewatch.service.service import Service
from rimewatch.shop import Contact, Shop
from running_service import RunningService

pytestmark = pytest.mark.integration

AT_NIGHT_MS = 1_770_091_200_000
"""2026-02-03T04:00:00Z, 22:00 in Chicago."""
WAIT_S = 60.0
PLUGIN = next(Path("/usr/lib").glob("**/mosquitto_dynamic_security.so"), None)


def two_cases(receiver: Receiver, url: str, **broker: str) -> Shop:
    """Return a shop whose probes speak each minute, and whose phone is the receiver."""
    plain = shop(
        unit("case-1", name="Front case"),
        unit("case-2", name="Side case"),
        probe("one", "case-1", every_s=60),
        probe("two", "case-2", every_s=60),
        ONE_CONTACT,
        NIGHT,
    )
    phone = Contact(id=plain.contacts[0].id, name="Phone", urls=(receiver.url("phone"),))
    return replace(
        plain, contacts=(phone,), broker=replace(plain.broker, url=url, client_id="r-1", **broker)
    )


def words_about(receiver: Receiver) -> list[str]:
    """Return the messages about silence that the phone has."""
    return [m["message"] for m in receiver.got if "no readings" in m["title"]]


def test_broker_that_is_gone_is_named_in_the_one_message(
    mosquitto: Mosquitto, receiver: Receiver, tmp_path: Path
) -> None:
    """Neither probe has an empty battery."""
    own = two_cases(receiver, mosquitto.url)
    with RunningService(own, tmp_path / "rimewatch.db", AT_NIGHT_MS) as running:
        spoken = [
            TraceMessage(at_ms=AT_NIGHT_MS, topic=topic, payload=b"2.0", retained=False)
            for topic in ("one", "two")
        ]
        running.play(mosquitto.port, spoken)
        mosquitto.kill()
        end_s = time.monotonic() + WAIT_S
        while "runs" not in running.service._session.health().problem:
            assert time.monotonic() < end_s
            threading.Event().wait(0.05)
        running.clock.move_to(AT_NIGHT_MS + 10 * 60_000)
        receiver.wait_for(lambda r: bool(words_about(r)), "a message about silence")

    told = words_about(receiver)
    assert len(told) == 1
    assert f"127.0.0.1:{mosquitto.port}" in told[0]
    assert "check that it runs" in told[0]
    assert not any("battery" in words for words in told)


def with_wrong_password(start: Callable[..., Mosquitto], _: Path) -> tuple[str, dict[str, str]]:
    """A broker that lets nobody in."""
    broker = start("allow_anonymous false\n")
    return broker.url, {"username": "rimewatch", "password": "not-this-one"}


def with_unknown_name(_: Callable[..., Mosquitto], __: Path) -> tuple[str, dict[str, str]]:
    """A name that nobody resolves (RFC 6761, section 6.4)."""
    return "mqtt://broker.invalid:1883", {}


def with_expired_certificate(
    start: Callable[..., Mosquitto], folder: Path
) -> tuple[str, dict[str, str]]:
    """A broker whose certificate was good until yesterday."""
    authority = Authority(folder, "authority")
    certificate, key = authority.sign("broker", is_over=True)
    key.chmod(0o644)
    broker = start(
        f"listener PORT 127.0.0.1\ncafile {authority.file}\ncertfile {certificate}\n"
        f"keyfile {key}\nallow_anonymous true\n"
    )
    return f"mqtts://127.0.0.1:{broker.port}", {"ca_file": str(authority.file)}


class Refusing(BaseTopicPlugin):  # type: ignore[misc]  # the library is untyped
    """Lets everybody in, and nobody hear."""

    async def topic_filtering(
        self,
        *,
        session: Session | None = None,
        topic: str | None = None,
        action: Action | None = None,
    ) -> bool:
        """Refuse every subscription."""
        del session, topic
        return action is not Action.SUBSCRIBE


class RefusingBroker(EmbeddedBroker):
    """A broker that answers every subscription with a failure (MQTT 3.1.1, 3.9.3)."""

    plugins = (f"{Refusing.__module__}.{Refusing.__name__}",)


@pytest.fixture
def refusing() -> Iterator[RefusingBroker]:
    with RefusingBroker() as broker:
        yield broker


def test_subscription_that_is_refused_is_told_with_its_cure(
    refusing: RefusingBroker, receiver: Receiver, tmp_path: Path
) -> None:
    """The connection stands and everything looks well, but nothing will ever come."""
    told = told_of_silence(two_cases(receiver, refusing.url), receiver, tmp_path, "may read")

    assert "refused the subscription to one" in told[0]
    assert "check what its user may read" in told[0]
    assert not any("battery" in words for words in told)


NOTHING_BUT_HELLO = {
    "defaultACLAccess": {
        "publishClientSend": False,
        "publishClientReceive": True,
        "subscribe": False,
        "unsubscribe": True,
    }
}


@pytest.mark.skipif(PLUGIN is None, reason="this mosquitto comes without its plugin for access")
def test_refused_status_does_not_hide_that_nothing_is_heard(
    start_mosquitto: Callable[..., Mosquitto], receiver: Receiver, tmp_path: Path
) -> None:
    """A user who may neither read nor write: what keeps the readings away is the cause."""
    rules = tmp_path / "rules.json"
    rules.write_text(json.dumps(NOTHING_BUT_HELLO))
    broker = start_mosquitto(f"plugin {PLUGIN}\nplugin_opt_config_file {rules}\n")

    told = told_of_silence(two_cases(receiver, broker.url), receiver, tmp_path, "may read")

    assert "check what its user may read" in told[0]


# The client library leaves the socket of a handshake that failed to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("trouble", "cure"),
    [
        pytest.param(with_wrong_password, "broker.password", id="wrong password"),
        pytest.param(with_unknown_name, "has a host name that cannot be found", id="no such name"),
        pytest.param(with_expired_certificate, "certificate has expired", id="expired"),
    ],
)
def test_trouble_with_the_broker_is_told_with_its_cure(
    trouble: Callable[..., tuple[str, dict[str, str]]],
    cure: str,
    start_mosquitto: Callable[..., Mosquitto],
    receiver: Receiver,
    tmp_path: Path,
) -> None:
    """The phone hears what the log says, and not to look at a battery."""
    url, further = trouble(start_mosquitto, tmp_path)

    told = told_of_silence(two_cases(receiver, url, **further), receiver, tmp_path, cure)

    assert cure in told[0]
    assert "not-this-one" not in told[0]
    assert not any("battery" in words for words in told)


def told_of_silence(own: Shop, receiver: Receiver, tmp_path: Path, cure: str) -> list[str]:
    """Run the service until it has met its trouble and its probes are silent; what is told."""
    own = replace(own, night=None)
    clock = SteppedClock(AT_NIGHT_MS)
    service = Service(own, tmp_path / "rimewatch.db", clock, say=lambda _: None)
    thread = threading.Thread(target=service.run, name="service-under-test")
    thread.start()
    try:
        end_s = time.monotonic() + WAIT_S
        while not (hasattr(service, "_session") and cure in service._session.health().problem):
            assert time.monotonic() < end_s
            threading.Event().wait(0.05)
        clock.move_to(AT_NIGHT_MS + 10 * 60_000)
        receiver.wait_for(lambda r: bool(words_about(r)), "a message about silence")
    finally:
        service.stop()
        thread.join(WAIT_S)

    return words_about(receiver)
