"""Listening on brokers that keep something back, and to nodes that were born long ago."""

import json
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from paho.mqtt import publish
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.clock import SystemClock
from rimewatch.commands.listening import listen
from rimewatch.intake.sparkplug.topics import NodeName
from rimewatch.shop import Broker
from sparkplug_node import Node

pytestmark = pytest.mark.integration

PLUGIN = next(Path("/usr/lib").glob("**/mosquitto_dynamic_security.so"), None)
ONLY_OURS = {
    "defaultACLAccess": {
        "publishClientSend": True,
        "publishClientReceive": True,
        "subscribe": False,
        "unsubscribe": True,
    },
    "groups": [{"groupname": "all", "roles": [{"rolename": "reader"}]}],
    "anonymousGroup": "all",
    "roles": [
        {
            "rolename": "reader",
            "acls": [{"acltype": "subscribePattern", "topic": "shop/#", "allow": True}],
        }
    ],
}
"""Whoever comes may subscribe to what is below shop/, and to nothing else."""


@pytest.fixture
def strict(tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]) -> Mosquitto:
    """Give a broker that refuses a subscription to everything, and keeps a case's reading."""
    if PLUGIN is None:
        pytest.skip("this mosquitto comes without its plugin for access")
    rules = tmp_path / "rules.json"
    rules.write_text(json.dumps(ONLY_OURS))
    broker = start_mosquitto(f"plugin {PLUGIN}\nplugin_opt_config_file {rules}\n")
    publish.single("shop/case-1/air", b"2.1", retain=True, port=broker.port)
    return broker


def test_refusal_of_everything_is_said_and_a_topic_can_be_named(strict: Mosquitto) -> None:
    """Nothing heard is not the same as not allowed to hear."""
    words = ["listen", "--broker", strict.url, "--seconds", "0.5"]
    everything = CliRunner().invoke(rimewatch, words)
    ours = CliRunner().invoke(rimewatch, [*words, "--topic", "shop/#"])

    assert everything.exit_code != 0
    assert "does not let us hear #; name topics that its user may read" in str(everything.exception)
    assert ours.exit_code == 0, ours.output
    assert 'topic = "shop/case-1/air"' in ours.output


def test_first_configuration_asks_for_a_topic_where_everything_is_refused(
    tmp_path: Path, strict: Mosquitto
) -> None:
    """And listens there."""
    answers = ("Saltmarsh Row Fish", "UTC", "C", "", strict.url, "", "shop/#")
    probe = ("y", "Case", "", "", "300", "n")
    done = CliRunner().invoke(
        rimewatch,
        ["init", str(tmp_path / "shop.toml"), "--seconds", "1"],
        input="\n".join([*answers, *probe, "", "n"]) + "\n",
    )

    assert done.exit_code == 0, done.output
    assert "does not let us hear #" in done.output
    assert "every_s = 300" in (tmp_path / "shop.toml").read_text()


def test_quality_of_service_is_told_of_where_it_keeps_nothing(mosquitto: Mosquitto) -> None:
    """A probe at QoS 0 loses what it sends while the service is away; its file says so."""
    for qos, topic in enumerate(("shop/case-1/air", "shop/case-2/air")):
        publish.single(topic, b"2.1", qos=qos, retain=True, port=mosquitto.port)
    done = CliRunner().invoke(rimewatch, ["listen", "--broker", mosquitto.url, "--seconds", "0.5"])

    first, second = done.output.split("[[unit]]")[1:]
    assert "set the device to QoS 1" in first
    assert "QoS" not in second


@pytest.fixture
def node() -> Iterator[Node]:
    one = Node("case-1", "Temperature", 2.0, alias=7)
    yield one
    one.close()


def until_born(node: Node, port: int) -> None:
    """Connect a node, and wait until its births have gone by."""
    born = threading.Event()
    other = Client(CallbackAPIVersion.VERSION2)
    ready = threading.Event()
    other.on_subscribe = lambda *_: ready.set()
    other.on_message = lambda *_: born.set()
    other.connect("127.0.0.1", port)
    other.subscribe("spBv1.0/+/DBIRTH/#")
    other.loop_start()
    assert ready.wait(20)
    node.connect(port)
    assert born.wait(20), "it was not born"
    other.disconnect()
    other.loop_stop()


@pytest.mark.parametrize("rebirth", [True, False])
def test_running_node_is_asked_for_its_births_where_somebody_wishes_so(
    mosquitto: Mosquitto, node: Node, *, rebirth: bool
) -> None:
    """Its data are numbers for names; the births tell what they are."""
    until_born(node, mosquitto.port)
    done = threading.Event()

    def speak() -> None:
        while not done.wait(0.2):
            node.data(3.5)

    speaker = threading.Thread(target=speak)
    speaker.start()
    try:
        broker = Broker(url=mosquitto.url, client_id="rimewatch")
        survey = listen(broker, SystemClock(), 4.0, rebirth=rebirth)
    finally:
        done.set()
        speaker.join()

    assert node.reborn.is_set() is rebirth
    (guess,) = survey.guesses()
    assert guess.value == ("Temperature" if rebirth else "")
    assert survey.without_birth() == ([] if rebirth else [NodeName("fish", "node-1")])
