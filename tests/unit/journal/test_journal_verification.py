"""The whole record can be looked over, and each kind of damage has its words."""

import pytest

from rimewatch.entries import InService
from rimewatch.journal import Journal
from rimewatch.journal.blocks import pack_integers
from rimewatch.journal.verification import FINDINGS_TOLD
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId, UnitId

DAY_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z


@pytest.fixture
def kept(journal: Journal) -> Journal:
    """A journal with packed days, a tail, and an entry."""
    for probe in ("case-1-air", "freezer-1-air"):
        journal.add_readings(
            [
                Reading(
                    probe=ProbeId(probe),
                    observed_ms=DAY_MS + n * 3_600_000,
                    arrived_ms=DAY_MS + n * 3_600_000 + 1,
                    raw=n / 7,
                    value=2.0 + n / 100,
                )
                for n in range(60)
            ]
        )
    journal.compact(DAY_MS + 2 * MS_PER_DAY)
    journal.add_entry(InService(at_ms=DAY_MS, unit=UnitId("case-1")), "cli")
    return journal


def test_a_sound_journal_has_no_findings(kept: Journal) -> None:
    """Nothing is found where nothing is wrong."""
    assert kept.verify() == []


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (
            "UPDATE reading_block SET times = x'0102' WHERE rowid = 1",
            "the packed day 2026-03-02 of case-1-air: a packed block of 2 bytes fails",
        ),
        ("UPDATE reading_block SET raws = x'00' WHERE rowid = 1", "fails its checksum"),
        ("UPDATE reading_block SET readings = 3 WHERE rowid = 1", "says 3 readings"),
        ("UPDATE reading_block SET first_ms = first_ms - 1", "first or last time"),
        ("UPDATE reading_block SET day = day + 40", "times of another day"),
        ("UPDATE reading_block SET times = millis, millis = times", "first or last time"),
        ("INSERT INTO event (at_ms, what, detail) VALUES (-1, 'x', '')", "integrity_check: CHECK"),
        ("DELETE FROM probe WHERE no = 2", "points at a row of probe"),
        (
            "INSERT INTO entry (at_ms, do, who, source, text) VALUES (0, 'x', '', 'y', '{}')",
            "entry 2: do is None",
        ),
    ],
)
def test_each_kind_of_damage_is_told_in_words(kept: Journal, damage: str, said: str) -> None:
    """Who looks after the journal learns what is wrong, and where."""
    kept._connection.execute("PRAGMA foreign_keys = OFF")
    kept._connection.execute("PRAGMA ignore_check_constraints = ON")
    kept._connection.execute(damage)
    kept._connection.execute("PRAGMA ignore_check_constraints = OFF")

    assert said in "\n".join(kept.verify())


def test_a_packed_day_with_a_time_twice_is_found(kept: Journal) -> None:
    """Times that do not increase would count a reading twice."""
    times = kept.span(ProbeId("case-1-air"), DAY_MS, DAY_MS + MS_PER_DAY - 1).times_ms.copy()
    times[5] = times[4]
    kept._connection.execute(
        "UPDATE reading_block SET times = ? WHERE rowid = 1", (pack_integers(times),)
    )

    assert any("times do not increase" in finding for finding in kept.verify())


def test_endless_damage_is_cut_short(kept: Journal) -> None:
    """Twenty findings say what ten thousand would."""
    for n in range(50):
        kept._connection.execute(
            "INSERT INTO entry (at_ms, do, who, source, text) VALUES (?, 'x', '', 'y', '')", (n,)
        )

    assert len(kept.verify()) == FINDINGS_TOLD
