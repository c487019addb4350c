"""The service as a process of its own, against a real broker and a phone over real HTTP."""

import json
import signal
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest

from conflicts_kept import conflict_counts
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.journal.reader import JournalReader
from rimewatch.readings import Reason
from rimewatch.service.embedded_broker import EmbeddedBroker
from rimewatch.service.filters import state_name
from service_process import Probes, ServiceProcess, readings, run_command, until

pytestmark = pytest.mark.integration

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
limit_c = {limit_c}
deadband_c = 0.2
on_delay_s = {on_delay_s}
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = 3600
{more}
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:{phone}/first"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""

PRODUCT_PROBE = """
[[probe]]
id = "case-1-product"
unit = "case-1"
measures = "product"
topic = "shop/case-1/product"
format = "number"
every_s = 3600
"""

AIR = "shop/case-1/air"

LARGE_QUEUE = "max_queued_messages 100000\n"
"""As the shop's own broker has it: mosquitto's limit of 1000 would drop the newest."""


def write_shop(
    folder: Path,
    port: int,
    *,
    phone: int = 1,
    limit_c: float = 5.0,
    on_delay_s: int = 300,
    more: str = "",
) -> Path:
    path = folder / "shop.toml"
    path.write_text(
        SHOP.format(port=port, phone=phone, limit_c=limit_c, on_delay_s=on_delay_s, more=more)
    )
    return path


def series(count: int, celsius: float, *, every_s: int = 1, until_s: float = 0.0) -> list[str]:
    """Make payloads that end so many seconds before now."""
    end_s = SystemClock().now_ms() // 1000 - int(until_s)
    at = [end_s - every_s * step for step in range(count)][::-1]
    return [
        f'{{"t": {celsius}, "ts": "{datetime.fromtimestamp(s, tz=UTC).isoformat()}"}}' for s in at
    ]


def alarms_told(receiver: Receiver) -> list[str]:
    return [title for title in receiver.titles() if "too warm" in title]


def waiting(service: ServiceProcess) -> int | None:
    return service.look(lambda j: j.outbox_backlog().waiting)


def started(service: ServiceProcess) -> ServiceProcess:
    service.wait_for("Listening")
    return service


def test_stop_signals_end_it_in_order_and_what_comes_meanwhile_is_kept(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto], receiver: Receiver
) -> None:
    """Readings from before, during and after an absence are all there; an alarm rings once."""
    broker = start_mosquitto(LARGE_QUEUE)
    config = write_shop(tmp_path, broker.port, phone=receiver.port)
    journal = tmp_path / "rimewatch.db"

    with Probes(broker.port) as probes:
        with ServiceProcess(config, journal) as service:
            started(service)
            probes.publish(AIR, series(20, 2.0, every_s=60, until_s=3000))
            service.wait_for_readings("case-1-air", 20)
            assert service.stop(signal.SIGTERM) == 0
            assert service.said.endswith("Stopped; everything taken in is on the disk.")

        probes.publish(AIR, series(30, 9.0, every_s=60, until_s=600))

        with ServiceProcess(config, journal) as service:
            started(service)
            service.wait_for_readings("case-1-air", 50)
            receiver.wait_for(lambda r: bool(r.got), "the alarm", 60.0)
            assert service.stop(signal.SIGINT) == 0
            assert "Traceback" not in service.said

        with ServiceProcess(config, journal) as service:
            started(service)
            probes.publish(AIR, series(5, 9.0, every_s=60))
            service.wait_for_readings("case-1-air", 55)
            assert service.stop() == 0

            events = service.look(lambda j: [e.what for e in j.events_between(0, 10**14)])
            findings = service.look(lambda j: j.verify())

    assert len(alarms_told(receiver)) == 1
    assert events is not None
    assert [events.count(what) for what in ("start", "stop")] == [3, 3]
    assert findings == []


def test_killed_service_loses_nothing_and_repeats_nothing(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto], receiver: Receiver
) -> None:
    """A power cut in the midst of 2,000 messages, over the broker's usual window of 20."""
    broker = start_mosquitto(LARGE_QUEUE)
    config = write_shop(tmp_path, broker.port, phone=receiver.port)
    journal = tmp_path / "rimewatch.db"

    with Probes(broker.port) as probes:
        with ServiceProcess(config, journal) as service:
            started(service)
            probes.publish(AIR, series(20, 9.0, every_s=60, until_s=8000))
            receiver.wait_for(lambda r: bool(r.got), "the alarm", 60.0)
            service.wait_for_readings("case-1-air", 20)
            # A message is sent at least once: killed before this, it would go out again.
            until(lambda: waiting(service) == 0, "the outbox to note that it was sent")
            service.send(signal.SIGKILL)
            assert service.ended() == -signal.SIGKILL

        probes.publish(AIR, series(2000, 9.0, every_s=1, until_s=4000))

        with ServiceProcess(config, journal) as service:
            # Killed again as soon as some of the backlog is on the disk.
            until(lambda: readings(service, "case-1-air") > 20, "the backlog's beginning")
            service.send(signal.SIGKILL)
            service.ended()

        with ServiceProcess(config, journal) as service:
            service.wait_for_readings("case-1-air", 2020)
            probes.publish(AIR, series(1, 9.0))
            service.wait_for_readings("case-1-air", 2021)
            assert readings(service, "case-1-air") == 2021
            conflicts = service.look(lambda j: conflict_counts(j.path))
            quarantined = service.look(lambda j: j.quarantine_counts(0, 10**14).total)
            assert service.stop() == 0

    assert conflicts == {}
    assert quarantined == 0
    assert len(alarms_told(receiver)) == 1


def test_hangup_with_a_wrong_configuration_keeps_the_old_and_says_why(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """A slip of the pen in the night must not end the watch."""
    config = write_shop(tmp_path, mosquitto.port)

    with (
        ServiceProcess(config, tmp_path / "rimewatch.db") as service,
        Probes(mosquitto.port) as probes,
    ):
        started(service)
        good = config.read_text()
        config.write_text(good.replace("limit_c = 5.0", 'limit_c = "five"'))
        service.send(signal.SIGHUP)
        service.wait_for("The configuration is kept as it was.")
        assert "limit_c" in service.said

        config.write_text(good.replace("mqtt://", "mqtts://") + "\n")
        ca_file = tmp_path / "no-such-ca.pem"
        config.write_text(good.replace("[[unit]]", f'ca_file = "{ca_file}"\n[[unit]]', 1))
        service.send(signal.SIGHUP)
        service.wait_for("The configuration is kept as it was.", times=2)

        config.unlink()
        service.send(signal.SIGHUP)
        service.wait_for("The configuration is kept as it was.", times=3)

        probes.publish(AIR, series(7, 2.0))
        service.wait_for_readings("case-1-air", 7)
        assert service.stop() == 0
        assert "Traceback" not in service.said


def test_hangup_with_a_right_configuration_uses_it(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """A new limit holds from then on; a new probe is heard at once."""
    config = write_shop(tmp_path, mosquitto.port, phone=receiver.port)

    with (
        ServiceProcess(config, tmp_path / "rimewatch.db") as service,
        Probes(mosquitto.port) as probes,
    ):
        started(service)
        probes.publish(AIR, series(20, 4.5, every_s=60, until_s=60))
        service.wait_for_readings("case-1-air", 20)
        assert receiver.titles() == []

        write_shop(tmp_path, mosquitto.port, phone=receiver.port, limit_c=4.0, on_delay_s=0)
        service.send(signal.SIGHUP)
        service.wait_for("was read again and is in use")
        service.wait_for("Listening", times=2)
        # Its time is whole seconds, and the limit holds from within one on.
        probes.publish(AIR, series(1, 4.5, until_s=-2.0))
        receiver.wait_for(lambda r: bool(r.got), "the alarm by the new limit", 60.0)

        write_shop(tmp_path, mosquitto.port, phone=receiver.port, more=PRODUCT_PROBE)
        service.send(signal.SIGHUP)
        service.wait_for("was read again and is in use", times=2)
        service.wait_for("Listening", times=3)
        probes.publish("shop/case-1/product", ["3.2"])
        service.wait_for_readings("case-1-product", 1)
        assert service.stop() == 0
        assert "Changed: case-1 limit_c 5.0 → 4.0." in service.said
        events = service.look(lambda j: j.events_between(0, 10**14)) or []

    changed = [json.loads(row.detail) for row in events if row.what == "setting changed"]
    assert changed[0] == {"key": "unit.case-1.limit_c", "before": 5.0, "after": 4.0, "who": ""}
    assert changed[2] == {"key": "probe.case-1-product.check_every_days", "before": None,
                          "after": 180.0, "who": ""}  # fmt: skip
    assert str(receiver.port) not in json.dumps(changed), "addresses of contacts are secret"


def test_alarm_of_a_unit_that_the_configuration_lost_ends_at_the_hangup(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """A case that was sold rings no more, and the record says why."""
    config = write_shop(tmp_path, mosquitto.port, phone=receiver.port)

    with (
        ServiceProcess(config, tmp_path / "rimewatch.db") as service,
        Probes(mosquitto.port) as probes,
    ):
        started(service)
        probes.publish(AIR, series(20, 9.0, every_s=60))
        receiver.wait_for(lambda r: bool(r.got), "the alarm", 60.0)
        config.write_text(config.read_text().replace("case-1", "case-2"))
        service.send(signal.SIGHUP)
        service.wait_for("was read again and is in use")
        until(
            lambda: service.look(lambda j: not j.alarms_between(10**14, 10**14)),
            "the end of the alarm",
        )
        assert service.stop() == 0
        events = service.look(lambda j: j.events_between(0, 10**14)) or []

    ended = "alarm holding of case-1 ended: the configuration watches it no more"
    assert ended in [event.detail for event in events]


@pytest.mark.parametrize("by", ["hangup", "restart"])
def test_topic_that_the_configuration_no_longer_names_is_not_delivered_any_more(
    tmp_path: Path, mosquitto: Mosquitto, by: str
) -> None:
    """A probe sold with its fridge does not fill the quarantine for a fortnight."""
    config = write_shop(tmp_path, mosquitto.port, more=PRODUCT_PROBE)
    journal = tmp_path / "rimewatch.db"

    with Probes(mosquitto.port) as probes:
        service = ServiceProcess(config, journal)
        with service:
            started(service)
            probes.publish("shop/case-1/product", ["3.2"])
            service.wait_for_readings("case-1-product", 1)
            write_shop(tmp_path, mosquitto.port)
            if by == "hangup":
                service.send(signal.SIGHUP)
                service.wait_for("Listening", times=2)
                heard_only_the_air(service, probes)
            assert service.stop() == 0
        if by == "restart":
            with ServiceProcess(config, journal) as again:
                started(again)
                heard_only_the_air(again, probes)
                assert again.stop() == 0


def heard_only_the_air(service: ServiceProcess, probes: Probes) -> None:
    """See that the air's topic is delivered, and the product's before it was not."""
    until(
        lambda: "product" not in "".join(service.look(filters_kept) or ("product",)),
        "the broker's word that the old topic is given up",
    )
    probes.publish("shop/case-1/product", ["3.3"])
    probes.publish(AIR, series(1, 2.0))
    service.wait_for_readings("case-1-air", 1)
    assert service.look(lambda j: j.quarantine_counts(0, 10**14).total) == 0


def filters_kept(journal: JournalReader) -> tuple[str, ...]:
    broker = load_shop((journal.path.parent / "shop.toml").read_text()).broker
    return (journal.load_state(state_name(broker)) or "product",)


def test_broker_that_starts_late_and_restarts_is_waited_for(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """The service says that the broker is away, and goes on by itself when it is back."""
    broker = start_mosquitto()
    broker.stop()
    config = write_shop(tmp_path, broker.port)

    with ServiceProcess(config, tmp_path / "rimewatch.db") as service:
        service.wait_for(f"The broker at {broker.url} does not listen there")
        broker.start()
        started(service)
        with Probes(broker.port) as probes:
            probes.publish(AIR, series(5, 2.0, until_s=100))
            service.wait_for_readings("case-1-air", 5)
        broker.stop()
        service.wait_for("does not listen there", times=2)
        broker.start()
        with Probes(broker.port) as probes:
            # Before the service is back: the broker knows it and keeps them.
            probes.publish(AIR, series(5, 2.0))
        service.wait_for_readings("case-1-air", 10)
        assert service.stop() == 0


def test_broker_of_the_older_protocol_is_served(tmp_path: Path) -> None:
    """A broker that knows only MQTT 3.1.1 is told of, and used."""
    with (
        EmbeddedBroker() as broker,
        ServiceProcess(write_shop(tmp_path, broker.port), tmp_path / "rimewatch.db") as service,
        Probes(broker.port) as probes,
    ):
        started(service)
        assert "trying 3.1.1" in service.said
        probes.publish(AIR, series(5, 2.0))
        service.wait_for_readings("case-1-air", 5)
        assert service.stop() == 0


def test_second_instance_with_the_same_journal_is_refused(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Two would throw each other off the broker; the second says so and ends.

    That the journal is free again for the next is seen where it stops, is killed and restarts.
    """
    config, journal = write_shop(tmp_path, mosquitto.port), tmp_path / "rimewatch.db"

    with ServiceProcess(config, journal) as service:
        started(service)
        second = run_command("run", "--config", config, "--journal", journal)
        assert service.stop() == 0

    assert_one_sentence(second.returncode, second.stderr, "another service is running")


@pytest.mark.parametrize(
    ("journal", "expected"),
    [
        ("/proc/rimewatch.db", "choose a journal in a folder that the service may write to"),
        ("missing/rimewatch.db", "choose a journal in a folder that the service may write to"),
        ("shop.toml", "not a sound journal"),
        ("folder", "cannot be opened or written"),
    ],
)
def test_start_with_an_unusable_journal_is_refused(
    tmp_path: Path, journal: str, expected: str
) -> None:
    """A watch that could not write anything down must not seem to run."""
    config = write_shop(tmp_path, 1)
    before = config.read_bytes()
    (tmp_path / "folder").mkdir()

    done = run_command("run", "--config", config, "--journal", tmp_path / journal)

    assert_one_sentence(done.returncode, done.stderr, expected)
    assert config.read_bytes() == before


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('kind = "display-case"', 'kind = "display-cas"', "display-case"),
        ("on_delay_s = 300", "on_delay_s = 300\non_dely_s = 1", "on_dely_s"),
        ('urls = ["json:', 'urls = ["jason:', "urls"),
        ("[shop]", "[shop", "line 2"),
    ],
)
def test_start_with_a_wrong_configuration_is_refused(
    tmp_path: Path, old: str, new: str, expected: str
) -> None:
    """Each mistake is named with its place; nothing is begun."""
    config = write_shop(tmp_path, 1)
    text = config.read_text()
    assert old in text
    config.write_text(text.replace(old, new, 1))
    journal = tmp_path / "rimewatch.db"

    done = run_command("run", "--config", config, "--journal", journal)

    assert done.returncode == 2
    assert expected in done.stderr.decode()
    assert "Traceback" not in done.stderr.decode()
    assert not journal.exists()


def test_devices_that_misbehave_cost_no_valid_reading(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """What a device gone mad sends is counted in quarantine; its neighbours' readings are all kept.

    A payload of ten megabytes as well: set aside with its topic, reason and start, and what
    follows it arrives.
    """
    broker = start_mosquitto(LARGE_QUEUE)
    config = write_shop(tmp_path, broker.port)
    good = series(200, 2.0, until_s=10)
    mad: Sequence[str | bytes] = [
        "starting up",
        b"\xff\xfe\x00",
        "",
        '{"t": NaN}',
        '{"t": 1e999}',
        '{"t": -127}',
        '{"t": "warm"}',
        '{"temperature": 2.0}',
        "[" * 5000,
        b"x" * 100_000,
    ]

    with (
        ServiceProcess(config, tmp_path / "rimewatch.db") as service,
        Probes(broker.port) as probes,
    ):
        started(service)
        for start in range(0, 200, 10):
            probes.publish(AIR, [*good[start : start + 10], *mad])
        probes.publish("shop/case-1/nobody", ["2.0"])  # no filter of ours: not even sent
        probes.publish(AIR, [b"1" * 10_000_000])
        extra = series(1, 2.0)[0].replace("}", ', "rssi": -71, "fw": {"a": [1]}}')
        probes.publish(AIR, [extra])
        service.wait_for_readings("case-1-air", 201)
        counts = service.look(lambda j: j.quarantine_counts(0, 10**14).total)
        newest = service.look(lambda j: j.quarantine_latest(1)) or []
        assert readings(service, "case-1-air") == 201
        assert service.stop() == 0
        assert "ended" not in service.said

    assert counts == 20 * len(mad) + 1
    assert [(row.topic, row.reason) for row in newest] == [(AIR, Reason.TOO_LARGE)]
    assert newest[0].payload_start == b"1" * 256


def assert_one_sentence(code: int, stderr: bytes, expected: str) -> None:
    said = stderr.decode()
    assert code == 2, said
    assert expected in said
    assert said.startswith("rimewatch: ")
    assert said.count("\n") == 1
    assert "Traceback" not in said


def test_settings_are_changed_without_a_signal_and_put_back(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """By a command, by an edit of the file, and back; each with who and when on the record."""
    config, journal = write_shop(tmp_path, mosquitto.port), tmp_path / "rimewatch.db"
    where = ("--config", config, "--journal", journal)

    def changed(*words: str) -> str:
        done = run_command("settings", *words, "--who", "Ines", *where)
        assert done.returncode == 0, done.stderr
        return done.stdout.decode()

    with ServiceProcess(config, journal) as service:
        started(service)
        assert "case-1 limit_c 5.0 → 4.4" in changed("set", "unit.case-1.limit_c", "4.4")
        service.wait_for("was read again and is in use")
        assert "limit_c = 4.4" in config.read_text()

        config.write_text(config.read_text().replace("on_delay_s = 300", "on_delay_s = 600"))
        service.wait_for("was read again and is in use", times=2)
        assert "Changed: case-1 on_delay_s 300.0 → 600.0." in service.said

        wrong = run_command("settings", "set", "unit.case-1.limit_c", "warm", *where)
        assert wrong.returncode == 2
        assert b'limit_c is "warm"' in wrong.stderr

        first = run_command("settings", "history", *where).stdout.decode().splitlines()
        by_hand, by_command = (line for line in first if not line.startswith(" "))
        assert "nobody said who (file)" in by_hand
        assert "Ines (command)" in by_command
        assert "limit_c 4.4 → 5.0" in changed("undo", by_command.split()[0])
        service.wait_for("was read again and is in use", times=3)
        text = config.read_text()
        assert "limit_c = 5.0" in text, "put back"
        assert "on_delay_s = 600" in text, "what was changed since stays"
        assert service.stop() == 0
    with JournalReader.open(journal) as reader:
        assert [entry.way for entry in reader.settings_changes()] == [
            "start", "command", "file", "command",
        ]  # fmt: skip
