"""``rimewatch check --broker``: whom the broker lets do what, in a sentence each."""

import gc
import ssl
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from paho.mqtt import publish, subscribe

from certificates import Authority
from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.intake import broker_check
from web_socket_door import WebSocketDoor

pytestmark = pytest.mark.integration

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "{topic}"
[broker]
url = "{url}"
"""
STATE = "spBv1.0/STATE/rimewatch"
USER = 'username = "{0}"\npassword = "env:WORD"\n'


@pytest.fixture
def check(tmp_path: Path) -> Callable[..., str]:
    """Run the command, and return what it says; an error's sentence is marked by its code."""

    def run(url: str, more: str = "", word: str = "", topic: str = "shop/case-1/air") -> str:
        config = tmp_path / "shop.toml"
        config.write_text(SHOP.format(url=url, topic=topic) + more)
        words = ["check", "--config", str(config), "--broker"]
        result = CliRunner().invoke(rimewatch, words, env={"WORD": word})
        assert "Traceback" not in result.output
        if result.exit_code:
            return f"refused: {result.output + str(result.exception)}"
        return result.output

    return run


def test_open_broker_is_worth_a_look_and_nothing_is_kept_from_us(
    check: Callable[..., str], mosquitto: Mosquitto
) -> None:
    """It works, and anybody can speak for the probe: both are said."""
    said = check(mosquitto.url)

    assert "answers, in MQTT 5." in said
    assert "not encrypted, and does not leave this machine" in said
    assert "It lets us read every probe, and write our own." in said
    assert "Worth a look: It lets anybody in without a password" in said
    assert "Worth a look: It took a stranger's message on shop/case-1/air/rimewatch-check" in said


def test_trying_leaves_nothing_at_the_broker_and_reaches_no_probe(
    check: Callable[..., str], start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """A service beside it hears nothing of it, and no retained message stays."""
    broker = start_mosquitto("log_type all\n")
    check(broker.url, topic="shop/+/air")

    log = broker.log()
    published = [line for line in log.splitlines() if "Received PUBLISH from" in line]
    assert len(published) == 2, published
    assert all("r0" in line and "rimewatch-check'" in line for line in published)
    assert "Sending PUBLISH" not in log


def test_guarded_broker_as_it_is_shipped_is_well(
    check: Callable[..., str], guarded: Mosquitto
) -> None:
    """The files in config/ let the service do its work, and nobody else in."""
    said = check(guarded.url, USER.format("rimewatch"), "word-of-rimewatch")

    assert "It lets nobody in without a password or a certificate." in said
    assert "Worth a look" not in said.split("Nothing is wrong with it.")[1]


def test_anonymous_reader_is_told_that_it_may_not_publish(
    check: Callable[..., str], start_mosquitto: Callable[..., Mosquitto], tmp_path: Path
) -> None:
    """Let in without a password, but not to speak for a probe."""
    rules = tmp_path / "acl"
    rules.write_text("topic read shop/#\ntopic readwrite rimewatch/#\n")
    said = check(start_mosquitto(f"acl_file {rules}\n").url)

    assert "It refused a stranger's message on shop/case-1/air/rimewatch-check" in said


HOST = 'sparkplug_host = "rimewatch"\n'


def test_state_of_a_sparkplug_host_is_told_as_it_stands_and_stays_so(
    check: Callable[..., str], start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """A node that waits for us hears nothing new, and nothing else is kept."""
    broker = start_mosquitto("log_type all\n")
    state = '{"online":true,"timestamp":1772438400000}'
    publish.single(STATE, state, qos=1, retain=True, hostname="127.0.0.1", port=broker.port)
    said = check(broker.url, HOST)

    assert "It passes on our state, which Sparkplug nodes wait for." in said
    log = broker.log()
    sent = [x for x in log.splitlines() if "Received PUBLISH from" in x and STATE in x]
    assert len(sent) == 2, sent
    assert f"({len(state)} bytes)" in sent[1]
    assert "r0" in sent[1], "it is not kept anew"
    kept = subscribe.simple(STATE, hostname="127.0.0.1", port=broker.port)
    assert kept.payload.decode() == state


def test_state_that_was_never_told_is_tried_as_off_line(
    check: Callable[..., str], start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """Before the first start that is the truth."""
    broker = start_mosquitto("log_type all\n")
    assert "It passes on our state" in check(broker.url, HOST)
    log = broker.log()
    (sent,) = [x for x in log.splitlines() if "Received PUBLISH from" in x and STATE in x]
    assert "r0" in sent


@pytest.mark.parametrize(
    ("rule", "sentence"),
    [
        ("read", f"does not let us write {STATE} (Not authorized)"),
        # Some versions refuse the subscription, others take it and deliver nothing.
        ("write", f"does not let us read {STATE}|does not pass on {STATE}"),
    ],
)
def test_state_that_the_broker_does_not_pass_on_is_refused_with_its_cure(
    check: Callable[..., str],
    start_mosquitto: Callable[..., Mosquitto],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    rule: str,
    sentence: str,
) -> None:
    """Nodes would wait for ever, and nobody would know why."""
    monkeypatch.setattr(broker_check, "BACK_WITHIN_S", 0.3)
    rules = tmp_path / "acl"
    rules.write_text(f"topic read shop/#\ntopic readwrite rimewatch/#\ntopic {rule} {STATE}\n")
    said = check(start_mosquitto(f"acl_file {rules}\n").url, HOST)

    assert said.startswith("refused: ")
    assert any(one in said for one in sentence.split("|")), said
    assert "Sparkplug nodes that wait for us will send nothing." in said or "read it" in said


@pytest.mark.parametrize(
    ("user", "word", "sentence"),
    [
        ("rimewatch", "hush-9", "refused the user name or password"),
        ("case-1", "word-of-case-1", "does not let us write rimewatch/rimewatch/… (Not auth"),
    ],
)
def test_wrong_password_and_forbidden_topic_are_one_clear_sentence(
    check: Callable[..., str], guarded: Mosquitto, user: str, word: str, sentence: str
) -> None:
    """With its cure, and without the password."""
    said = check(guarded.url, USER.format(user), word)

    assert said.startswith("refused: ")
    assert sentence in said
    assert "broker.username" in said
    assert word not in said


@pytest.mark.filterwarnings(
    # The client library leaves the socket of a failed handshake to the garbage collector.
    "ignore:unclosed <ssl.SSLSocket:ResourceWarning"
)
class TestEncrypted:
    @pytest.fixture(autouse=True)
    def collect(self) -> Iterator[None]:
        """Let such sockets go within their own test."""
        yield
        gc.collect()

    def test_certificate_is_shown_and_a_wrong_one_is_one_clear_sentence(
        self,
        check: Callable[..., str],
        start_mosquitto: Callable[..., Mosquitto],
        tmp_path: Path,
    ) -> None:
        """How long it is valid; and somebody else's broker is not believed."""
        authority = Authority(tmp_path, "shop-authority")
        certificate, key = authority.sign("broker")
        key.chmod(0o644)
        broker = start_mosquitto(
            f"listener PORT 127.0.0.1\ncertfile {certificate}\nkeyfile {key}\n"
            "allow_anonymous true\n"
        )
        url = f"mqtts://127.0.0.1:{broker.port}"
        said = check(url, f'ca_file = "{authority.file}"\n')
        assert "The connection is encrypted (TLSv1.3); its certificate ends " in said

        tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        tls.load_cert_chain(certificate, key)
        plain = start_mosquitto("allow_anonymous true\n")
        with WebSocketDoor(plain.port, tls=tls) as door:
            said = check(f"wss://127.0.0.1:{door.port}/mqtt", f'ca_file = "{authority.file}"\n')
        assert "The connection is encrypted (TLSv1.3); its certificate ends " in said

        other = Authority(tmp_path, "somebody-else")
        said = check(url, f'ca_file = "{other.file}"\n')
        assert said.startswith("refused: ")
        assert "showed a certificate that is not trusted" in said
