"""The process was held, or the machine slept: nobody listened, which is no probe's silence."""

from pathlib import Path

import pytest

from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Arrived, Item
from rimewatch.intake.broker import BrokerSession
from rimewatch.journal.reader import JournalReader
from rimewatch.service.service import Service
from rimewatch.service.surroundings import Surroundings
from rimewatch.vocabulary import Rule

SHOP = load_shop("""
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:1883"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "number"
every_s = 120
""")

STANDSTILL_S = 7200.0


class HeldClock(SystemClock):
    """The machine's clock, after standstills: both its times are then ahead by as much."""

    def __init__(self) -> None:
        self.held_s = 0.0

    def now_ms(self) -> int:
        return super().now_ms() + round(1000 * self.held_s)

    def monotonic_s(self) -> float:
        return super().monotonic_s() + self.held_s


def watch(journal_path: Path, turns_s: list[float]) -> list[str]:
    """Run the service for so many turns of its loop after one reading; return what it said.

    Args:
        journal_path: Where it keeps its journal.
        turns_s: How long each turn is held.
    """
    clock = HeldClock()
    said: list[str] = []
    turns = iter([0.0, *turns_s])

    class Session(BrokerSession):
        """A session whose broker is played: it brings one reading, then nothing more."""

        def start(self) -> None:
            self.brings = [Arrived("shop/case-1/air", b"1.5", clock.now_ms(), False, 1, 1, 1)]

        def drain(self, max_items: int, timeout_s: float) -> list[Item]:  # noqa: ARG002
            held_s = next(turns, None)
            if held_s is None:
                service.stop()
            else:
                clock.held_s += held_s
            items, self.brings = list[Item](self.brings), []
            return items

    service = Service(
        SHOP, journal_path, clock, say=said.append, surroundings=Surroundings(session=Session)
    )
    service.run()
    return said


def rules(journal_path: Path) -> list[Rule]:
    """Return the rule of each alarm on the record."""
    with JournalReader.open(journal_path) as journal:
        return [alarm.rule for alarm in journal.alarms_between(0, 10**14)]


def standstills(journal_path: Path) -> list[str]:
    """Return what is on the record of each standstill."""
    with JournalReader.open(journal_path) as journal:
        return [e.detail for e in journal.events_between(0, 10**14) if e.what == "stood still"]


def test_standstill_accuses_no_probe_of_silence_and_is_on_the_record(tmp_path: Path) -> None:
    """Two hours without the service: it says so, and silence begins with its return."""
    said = watch(tmp_path / "rimewatch.db", [1.0, STANDSTILL_S, 1.0, 1.0])

    assert rules(tmp_path / "rimewatch.db") == []
    (noted,) = standstills(tmp_path / "rimewatch.db")
    assert noted == "for 7200 s, or the clock was set forward"
    (told,) = [line for line in said if "stood still" in line]
    assert told.startswith("The service stood still for 7200 s, or the clock was set forward.")


@pytest.mark.parametrize("before_s", [[], [STANDSTILL_S]])
def test_probe_that_is_silent_while_the_service_watches_is_told_of(
    tmp_path: Path, before_s: list[float]
) -> None:
    """Two hours in short turns are silence, after a standstill as well."""
    watch(tmp_path / "rimewatch.db", [*before_s, *[50.0] * 144])

    assert rules(tmp_path / "rimewatch.db") == [Rule.STALE]
    assert len(standstills(tmp_path / "rimewatch.db")) == len(before_s)
