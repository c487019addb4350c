"""Saying from a terminal that somebody is on it, and where the fish went."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from mosquitto_broker import Mosquitto
from rimewatch.alarms.codec import alarm_from_json
from rimewatch.cli import rimewatch
from rimewatch.clock import SystemClock
from rimewatch.entries import Acknowledge, MoveLot, OutOfService
from rimewatch.intake.trace import TraceEntry, TraceMessage
from rimewatch.journal.reader import JournalReader
from running_service import PATIENCE_S, RunningService

pytestmark = pytest.mark.integration

TABLES = (
    unit(),
    unit("walk-in", kind="walk-in"),
    probe("fish", measures="product"),
    probe("air", "walk-in"),
    ONE_CONTACT,
)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Write the shop's file, for the commands."""
    path = tmp_path / "shop.toml"
    head = '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    path.write_text(head + "\n".join(TABLES), encoding="utf-8")
    return path


@pytest.fixture
def running(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[RunningService]:
    """Run the service: a lot lies in a case whose fish is warm."""
    plain = shop(*TABLES)
    own = replace(plain, broker=replace(plain.broker, url=mosquitto.url))
    start_ms = SystemClock().now_ms() - 300_000
    paper = Paper().curve([(0, 2.0), (60, 8.0), (120, 8.5), (180, 8.2)], "fish")
    paper.receive(5, kilograms=12.5).do(10, "move-lot", lot="L1", unit="case-1")
    shift_ms = start_ms - paper.start_ms
    with RunningService(own, tmp_path / "rimewatch.db", start_ms) as service:
        service.play(mosquitto.port, [_moved(line, shift_ms) for line in paper.read()])
        service.clock.move_to(SystemClock().now_ms() + 3_600_000)
        yield service


def _moved(line: TraceMessage | TraceEntry, shift_ms: int) -> TraceMessage | TraceEntry:
    at_ms = line.at_ms + shift_ms
    if isinstance(line, TraceEntry):
        return line._replace(at_ms=at_ms, entry=replace(line.entry, at_ms=at_ms))
    return line._replace(at_ms=at_ms)


def say(running: RunningService, config: Path, *words: str) -> Result:
    """Run a command beside the service."""
    place = ["--config", str(config), "--journal", str(running.journal_path)]
    answer = CliRunner().invoke(rimewatch, [*words, *place])
    assert answer.exit_code == 0, (answer.output, answer.exception)
    return answer


def entries(running: RunningService) -> list[object]:
    """Return what was entered, in order."""
    with JournalReader.open(running.journal_path) as journal:
        return [entry for _, entry in journal.entries_after(0)]


def test_acknowledge_with_a_promise_names_the_very_alarm(
    running: RunningService, config: Path
) -> None:
    """Back within 30 minutes, of the alarm that is on and of no later one."""
    say(running, config, "alarm", "acknowledge", "case-1", "holding", "--back-within", "30")

    last = entries(running)[-1]
    assert isinstance(last, Acknowledge)
    assert last.back_within_min == 30.0
    assert last.alarm.startswith("case-1:holding:")
    assert running.service.wait_for(entries=3, timeout_s=PATIENCE_S)
    with JournalReader.open(running.journal_path) as journal:
        alarm = journal.alarm(last.alarm)
    assert alarm is not None
    assert alarm.returned_ms is None
    kept = alarm_from_json(alarm.text)
    assert kept.first_acknowledged_ms is not None
    # This test's clock is an hour ahead: the half hour has passed, and it rings again.
    assert kept.opened_ms == kept.first_acknowledged_ms + 30 * 60_000


def test_unit_out_of_service_takes_its_lots_where_its_fish_went(
    running: RunningService, config: Path
) -> None:
    """The lots are entered in the other unit, so what happens there happens to them."""
    answer = say(running, config, "unit", "out-of-service", "case-1", "--fish-to", "walk-in")

    assert "Now in walk-in: L1." in answer.output
    *_, moved, out = entries(running)
    assert isinstance(moved, MoveLot)
    assert (moved.lot, moved.unit) == ("L1", "walk-in")
    assert isinstance(out, OutOfService)
    assert out.unit == "case-1"


def test_unit_out_of_service_with_its_fish_into_itself_is_refused(
    running: RunningService, config: Path
) -> None:
    """A slip that would leave the fish on the books of a dead case."""
    place = ["--config", str(config), "--journal", str(running.journal_path)]
    words = ["unit", "out-of-service", "case-1", "--fish-to", "case-1"]
    answer = CliRunner().invoke(rimewatch, [*words, *place])

    assert "is the unit itself" in str(answer.exception)
    assert not any(isinstance(entry, OutOfService) for entry in entries(running))


def test_figures_are_of_the_time_that_was_asked_for(running: RunningService, config: Path) -> None:
    """One alarm, not yet acknowledged."""
    answer = say(running, config, "alarm", "figures", "--from", "2026-01-01")

    assert "raised                            1" in answer.output
    assert "never acknowledged                1" in answer.output
