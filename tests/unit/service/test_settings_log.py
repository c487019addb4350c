"""Changes of the configuration come onto the record, sealed, whenever they were made."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from handmade import ONE_CONTACT, ms, probe, shop, unit
from rimewatch.journal import Journal
from rimewatch.service.settings_log import (
    IN_USE,
    SETTING_CHANGED,
    changes_between,
    note_settings,
)
from rimewatch.vocabulary import MS_PER_DAY

LAX = shop(unit(), probe(), ONE_CONTACT)
STRICT = shop(unit(limit_c=4.4), probe(), ONE_CONTACT)
MONDAY_MS = ms("2026-03-02T15:00:00Z")


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """A journal whose service once ran under the laxer limit."""
    with Journal.open(tmp_path / "journal.db") as opened:
        assert note_settings(opened, LAX, MONDAY_MS) == []
        yield opened


def test_a_change_made_while_the_service_was_down_is_noted_at_its_start(journal: Journal) -> None:
    """What was last in use is remembered on the disk; the same again is nothing new."""
    changes = note_settings(journal, STRICT, MONDAY_MS + 1000)

    assert [change.words for change in changes] == ["case-1 limit_c 5.0 → 4.4"]
    assert note_settings(journal, STRICT, MONDAY_MS + 2000) == []
    told = [row.what for row in journal.events_between(0, MONDAY_MS + 5000)]
    assert told == [IN_USE, SETTING_CHANGED, IN_USE]
    assert changes_between(STRICT, journal, (), 0, MONDAY_MS + 5000) == tuple(changes)
    assert changes_between(STRICT, journal, (), 0, MONDAY_MS) == ()


def test_a_change_that_was_altered_afterwards_is_found_by_the_seals(journal: Journal) -> None:
    """Nobody makes a limit of last week another one without being found out."""
    note_settings(journal, STRICT, MONDAY_MS + 1000)
    assert journal.seal_days("America/Chicago", MONDAY_MS + 2 * MS_PER_DAY) > 0
    assert journal.check_seals() == []

    # As somebody with the file in hand would.
    with closing(sqlite3.connect(journal.path)) as connection, connection:
        triggers = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'event'"
        ).fetchall()
        for (name,) in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("UPDATE event SET detail = replace(detail, '4.4', '5.6')")

    found = journal.check_seals()

    assert len(found) == 1
    assert "events" in str(found[0])
