"""What somebody entered at the machine while the service was not running."""

from pathlib import Path

from test_clock_set_back import SHOP, TRUE_MS, told, warm

from rimewatch.clock import SteppedClock
from rimewatch.entries import Shelve
from rimewatch.journal.journal import Journal
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import Rule, UnitId

MINUTE_MS = 60_000


def test_shelf_that_has_ended_while_the_service_was_away_silences_nothing(tmp_path: Path) -> None:
    """Put aside for 45 minutes; the service is back after 90, and the case is still warm."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        unit, rule = UnitId("case-1"), Rule.HOLDING
        journal.add_entry(Shelve(at_ms=TRUE_MS, unit=unit, rule=rule, minutes=45.0), "test")
        clock = SteppedClock(TRUE_MS + 90 * MINUTE_MS)
        writer = Writer(SHOP, journal, clock)

        now_ms = clock.now_ms()
        writer.take([warm(now_ms - n * MINUTE_MS, now_ms) for n in range(9, -1, -1)])

    with Journal.open(tmp_path / "rimewatch.db") as journal:
        assert [contact for contact, _ in told(journal)] == ["first"]
