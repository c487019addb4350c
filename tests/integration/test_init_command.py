"""The first configuration: a few questions answered at the command line, beside a real broker."""

import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from paho.mqtt import publish

from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.config import read_shop
from rimewatch.vocabulary import Kind, Measures

pytestmark = pytest.mark.integration

ENTER = ""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """Run a broker on which a case and its door are kept as retained messages."""
    broker = Mosquitto(tmp_path / "broker")
    broker.start()
    said = [("shop/case-1/air", b'{"t": 2.4}'), ("shop/case-1/door", b'{"open": false}')]
    publish.multiple(
        [{"topic": topic, "payload": payload, "retain": True} for topic, payload in said],
        port=broker.port,
    )
    yield broker
    broker.stop()


def answered(folder: Path, *answers: str, seconds: float = 1) -> Result:
    """Run it in a folder with answers typed one after the other."""
    file = folder / "shop.toml"
    return CliRunner().invoke(
        rimewatch, ["init", str(file), "--seconds", str(seconds)], input="\n".join(answers) + "\n"
    )


def test_questions_lead_to_a_shop_that_rings_the_phone(
    tmp_path: Path, broker: Mosquitto, receiver: Receiver
) -> None:
    """Probes are found by listening, the phone gets a test, and check has nothing to refuse."""
    done = answered(
        tmp_path,
        "Saltmarsh Row Fish",
        "Amerika/Chicago",  # asked again, with what was meant
        "America/Chicago",
        ENTER,  # °F there
        "6:30",  # asked again
        "06:30",
        broker.url,
        ENTER,
        *("y", "Front display case", ENTER, "product", "60", ENTER),  # the door's unit: the same
        *("y", "Chest freezer", "freezer", ENTER, "json", "temp", "F", ENTER),
        "n",
        *(receiver.url("first"), "y", "y"),
        ENTER,
        ENTER,
        *("y", "n"),
        *("beat.example.com", "https://beat.example.com/of-ours"),  # asked again
    )

    assert done.exit_code == 0, done.output
    assert "did you mean America/Chicago?" in done.output
    assert [message["title"] for message in receiver.got] == ["Saltmarsh Row Fish: test"]
    assert (
        f"mosquitto_pub -p {broker.port} -q 1 -t shop/case-1/air -m '{{\"t\": 2.1}}'" in done.output
    )
    assert "2 units, 3 probes" in done.output
    shop = read_shop(tmp_path / "shop.toml", {})
    assert shop.self_watch.heartbeat_url == "https://beat.example.com/of-ours"
    assert "of-ours" not in (tmp_path / "shop.toml").read_text()
    assert (shop.name, shop.timezone, shop.display) == (
        "Saltmarsh Row Fish",
        "America/Chicago",
        "F",
    )
    assert [(unit.name, unit.kind) for unit in shop.units] == [
        ("Front display case", Kind.DISPLAY_CASE),
        ("Chest freezer", Kind.FREEZER),
    ]
    assert [(probe.topic, probe.measures) for probe in shop.probes] == [
        ("shop/case-1/air", Measures.PRODUCT),
        ("shop/case-1/door", Measures.DOOR),
        ("shop/chest-freezer/air", Measures.AIR),
    ]
    assert [probe.scale for probe in shop.probes] == ["C", "C", "F"]
    assert [contact.urls for contact in shop.contacts] == [(receiver.url("first"),)]


def test_secrets_are_in_files_of_their_own_for_the_owner_alone(
    tmp_path: Path, broker: Mosquitto, receiver: Receiver
) -> None:
    """The configuration may be read by everybody; the phone's address and the password not."""
    by_hand = ("shop/case/air", "number", "C", "air")
    done = answered(
        tmp_path,
        *("Saltmarsh Row Fish", "UTC", "C", ENTER, broker.url, "rimewatch", "pass-word-of-ours"),
        *("n", "Case", ENTER, *by_hand, "n"),
        *(receiver.url("secret-of-ours"), "n", ENTER, ENTER, "n", ENTER),
    )

    assert done.exit_code == 0, done.output
    text = (tmp_path / "shop.toml").read_text()
    for secret, kept in [
        ("pass-word-of-ours", "shop.broker-password"),
        ("secret-of-ours", "shop.phone"),
    ]:
        assert secret not in text
        assert secret not in done.output
        assert secret in (tmp_path / kept).read_text()
        assert stat.S_IMODE((tmp_path / kept).stat().st_mode) == 0o600
    assert read_shop(tmp_path / "shop.toml", {}).broker.password == "pass-word-of-ours"


def test_broker_that_is_not_there_is_said_and_units_are_named_by_hand(tmp_path: Path) -> None:
    """Somebody may set up at home; the sentence says what does not answer."""
    done = answered(
        tmp_path,
        *("Saltmarsh Row Fish", "UTC", "C", ENTER, "mqtt://127.0.0.1:1", ENTER),
        "y",
        *("Case", ENTER, "shop/#/air", "shop/case/air", "number", ENTER, "air", "n"),
        *(ENTER, "n"),
    )

    assert done.exit_code == 0, done.output
    assert "mqtt://127.0.0.1:1" in done.output
    assert '"#" may only be the last level' in done.output
    assert "nobody will be told of an alarm" in done.output
    assert [probe.topic for probe in read_shop(tmp_path / "shop.toml", {}).probes] == [
        "shop/case/air"
    ]


def test_wrong_address_of_the_broker_is_asked_again_and_no_answer_is_lost(
    tmp_path: Path, broker: Mosquitto
) -> None:
    """A digit mistyped costs one answer. No key is named of a file that is not there yet."""
    done = answered(
        tmp_path,
        *("Saltmarsh Row Fish", "UTC", "C", ENTER, "mqtt://127.0.0.1:1", ENTER, ENTER),
        *(broker.url, ENTER),
        *("y", ENTER, ENTER, ENTER, ENTER, ENTER, "n"),
        *(ENTER, "n"),
    )

    assert done.exit_code == 0, done.output
    assert "check that it runs, and the port in the broker's address" in " ".join(
        done.output.split()
    )
    assert "broker.url" not in done.output
    shop = read_shop(tmp_path / "shop.toml", {})
    assert (shop.name, shop.broker.url) == ("Saltmarsh Row Fish", broker.url)


def test_probe_that_was_not_understood_is_offered_by_hand_and_reads_at_once(
    tmp_path: Path, broker: Mosquitto
) -> None:
    """A Pt100's ohms: its topic, its form and its scale are what Enter takes."""
    said = [("shop/freezer-2/core", b'{"ohm": {"t": 92.16}}'), ("shop/notes", b"hello")]
    publish.multiple(
        [{"topic": topic, "payload": payload, "retain": True} for topic, payload in said],
        port=broker.port,
    )
    done = answered(
        tmp_path,
        *("Saltmarsh Row Fish", "UTC", "C", ENTER, broker.url, ENTER),
        *("y", ENTER, ENTER, ENTER, ENTER, ENTER),
        *("y", "Freezer 2", "freezer", ENTER, ENTER, ENTER, ENTER, "product", "n"),
        *(ENTER, "n"),
    )

    assert done.exit_code == 0, done.output
    probe = read_shop(tmp_path / "shop.toml", {}).probes[-1]
    assert (probe.topic, probe.format, probe.fields["value"], probe.scale, probe.measures) == (
        "shop/freezer-2/core",
        "json",
        "ohm.t",
        "ohm",
        Measures.PRODUCT,
    )
    assert '# "shop/notes" sends "hello"' in (tmp_path / "shop.toml").read_text()


def test_probe_is_put_into_the_unit_that_somebody_names(tmp_path: Path, broker: Mosquitto) -> None:
    """The topic's name is a guess: a door may belong to the case beside."""
    publish.single("shop/case-2/air", b"3.1", retain=True, port=broker.port)
    done = answered(
        tmp_path,
        *("Saltmarsh Row Fish", "UTC", "C", ENTER, broker.url, ENTER),
        *("y", "Left case", ENTER, ENTER, ENTER, "Right case", ENTER),  # its door: the right's
        *("y", "Right case", ENTER, ENTER, "n"),
        *(ENTER, "n"),
    )

    assert done.exit_code == 0, done.output
    shop = read_shop(tmp_path / "shop.toml", {})
    names = {unit.id: unit.name for unit in shop.units}
    assert {probe.topic: names[probe.unit] for probe in shop.probes} == {
        "shop/case-1/air": "Left case",
        "shop/case-1/door": "Right case",
        "shop/case-2/air": "Right case",
    }


def test_leaving_early_leaves_nothing_behind(tmp_path: Path) -> None:
    """Nothing is written before the last answer."""
    done = answered(tmp_path, "Saltmarsh Row Fish", "UTC")

    assert done.exit_code != 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["shop.toml", "shop.phone", "shop.broker-password"])
def test_file_that_is_there_is_never_written_over(tmp_path: Path, name: str) -> None:
    """A second run says which file is in the way, before any question."""
    (tmp_path / name).write_text("mine")

    done = answered(tmp_path)

    assert f"{name} is there already" in str(done.exception)
    assert (tmp_path / name).read_text() == "mine"
