"""When the disk, the journal, the phone or a message fails: what is kept, and who is told."""

import resource
import sqlite3
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest

from case_and_phone import AIR, SHOP, half_an_hour, write_shop
from http_receiver import Answer, Receiver
from mosquitto_broker import Mosquitto
from rimewatch.config import load_shop
from rimewatch.intake.receiver import Receiver as Intake
from rimewatch.intake.trace import read_trace
from rimewatch.journal.reader import JournalReader
from running_service import RunningService
from service_process import Probes, ServiceProcess, readings, until

pytestmark = pytest.mark.integration


def test_full_disk_is_told_by_the_way_that_is_left_and_nothing_is_lost(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """Files may grow no further, as on a full disk: the phone rings, and all is kept and judged."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)

    with (
        ServiceProcess(config, tmp_path / "rimewatch.db") as service,
        Probes(mosquitto.port) as probes,
    ):
        service.wait_for("Listening")
        unlimited = resource.prlimit(service.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(service.pid, resource.RLIMIT_FSIZE, (1024, unlimited[1]))
        probes.publish(AIR, half_an_hour(9.0))
        service.wait_for("Not recording")
        receiver.wait_for(lambda r: bool(r.got), "the message that nothing is recorded", 60.0)
        assert readings(service, "case-1-air") == 0

        resource.prlimit(service.pid, resource.RLIMIT_FSIZE, unlimited)
        service.wait_for("Recording again.")
        service.wait_for_readings("case-1-air", 30)
        receiver.wait_for(lambda r: len(r.got) == 3, "the all-clear and the alarm", 60.0)
        assert service.stop() == 0
        assert "Traceback" not in service.said
        findings = service.look(lambda j: j.verify())

    titles = receiver.titles()
    assert titles[0] == "Saltmarsh Row Fish: nothing is recorded"
    assert "Saltmarsh Row Fish: recording again" in titles[1:]
    assert any("too warm" in title for title in titles[1:])
    assert "Look at every unit" in receiver.got[0]["message"]
    assert findings == []


def test_journal_held_by_another_program_is_waited_for(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """Somebody's tool holds the file: the service says so, and goes on when it is let go."""
    config = write_shop(tmp_path, mosquitto.port, receiver.port)

    with (
        ServiceProcess(config, tmp_path / "rimewatch.db") as service,
        Probes(mosquitto.port) as probes,
    ):
        service.wait_for("Listening")
        other = sqlite3.connect(service.journal, isolation_level=None, timeout=60)
        other.execute("BEGIN IMMEDIATE")
        probes.publish(AIR, half_an_hour(9.0))
        service.wait_for("another process holds the journal")
        other.execute("ROLLBACK")
        other.close()
        service.wait_for("Recording again.")
        service.wait_for_readings("case-1-air", 30)
        assert service.stop() == 0


def test_message_waits_for_a_phone_that_cannot_be_reached(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The alarm stays in the outbox, over a restart too, and goes out when the phone is back."""
    config, journal = write_shop(tmp_path, mosquitto.port, receiver.port), tmp_path / "rimewatch.db"
    receiver.answer = Answer.REFUSE

    with ServiceProcess(config, journal) as service, Probes(mosquitto.port) as probes:
        service.wait_for("Listening")
        probes.publish(AIR, half_an_hour(9.0))
        receiver.wait_for(lambda r: r.requests > 0, "a try", 60.0)
        until(lambda: failing(service) == 1, "the outbox to note the failure")
        assert service.stop() == 0
    assert receiver.got == []

    receiver.answer = Answer.TAKE
    with ServiceProcess(config, journal) as service:
        receiver.wait_for(lambda r: bool(r.got), "the alarm", 60.0)
        until(lambda: failing(service) == 0, "the outbox to note that it was sent")
        assert service.stop() == 0

    assert len(receiver.got) == 1
    assert "too warm" in receiver.titles()[0]


def failing(service: ServiceProcess) -> int | None:
    return service.look(lambda j: j.outbox_backlog().failing)


def test_message_that_cannot_be_judged_is_set_aside_and_the_rest_is_kept(
    tmp_path: Path,
    mosquitto: Mosquitto,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A fault of ours that one message brings to light must not end every restart."""
    judge: Callable[..., object] = Intake.receive

    def faulty(self: Intake, topic: str, payload: bytes, *rest: object, **more: object) -> object:
        assert b"6.66" not in payload, "the fault"
        return judge(self, topic, payload, *rest, **more)

    monkeypatch.setattr(Intake, "receive", faulty)
    shop = load_shop(SHOP.format(port=mosquitto.port, phone=1))
    values = [2.0, 2.1, 6.66, 2.2]
    lines = [
        f'{{"at": "2026-03-02T10:0{n}:00Z", "topic": "{AIR}", "payload": "{{\\"t\\": {value}}}"}}'
        for n, value in enumerate(values)
    ]
    trace = list(read_trace(BytesIO("\n".join(lines).encode())))

    with RunningService(shop, tmp_path / "rimewatch.db", trace[0].at_ms) as running:
        running.play(mosquitto.port, trace)
        said = "\n".join(running.said)

    with JournalReader.open(tmp_path / "rimewatch.db") as journal:
        kept = journal.span(shop.probes[0].id).values.tolist()
        (quarantined,) = journal.quarantine_latest()
    assert kept == [2.0, 2.1, 2.2]
    assert "judging it failed: AssertionError" in quarantined.detail
    assert b"6.66" in quarantined.payload_start
    assert "Please report this fault of the service." in said


def test_restart_after_the_morning_catches_the_missed_summary_up_once(
    tmp_path: Path, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The machine was off at half past six: the summary comes when it is on, and once."""
    shop = load_shop(SHOP.format(port=mosquitto.port, phone=receiver.port))
    journal_path = tmp_path / "rimewatch.db"
    # 03:00 in Chicago, then 08:00 and 09:00: over 06:30.
    hours = ["2026-03-03T09:00:00Z", "2026-03-03T14:00:00Z", "2026-03-03T15:00:00Z"]

    for hour in hours:
        line = f'{{"at": "{hour}", "topic": "{AIR}", "payload": "{{\\"t\\": 2.0}}"}}'
        (message,) = read_trace(BytesIO(line.encode()))
        with RunningService(shop, journal_path, message.at_ms) as running:
            running.play(mosquitto.port, [message])
            if hour != hours[0]:
                receiver.wait_for(lambda r: bool(r.got), "the summary", 60.0)
                until(lambda: nothing_waits(journal_path), "the outbox to be empty")

    with JournalReader.open(journal_path) as journal:
        latest = journal.latest_summary()
    assert latest is not None
    assert latest.date.isoformat() == "2026-03-03"
    assert [title[:11] for title in receiver.titles()] == ["Tue 3 March"]


def nothing_waits(journal_path: Path) -> bool:
    with JournalReader.open(journal_path) as journal:
        return journal.outbox_backlog().waiting == 0
