"""Readings: each once, the warmest stands, nothing changes by being packed."""

import sqlite3
from pathlib import Path

import numpy as np
import pytest

from conflicts_kept import conflict_counts, conflicts
from rimewatch.evaluation.store import ReadingStore
from rimewatch.journal import Journal, JournalDamaged, JournalReader
from rimewatch.journal.reading_writer import CONFLICTS_KEPT
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

AIR = ProbeId("case-1-air")
DOOR = ProbeId("case-1-door")
DAY_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
MINUTE_MS = 60_000


def reading(
    at_ms: int,
    value: float,
    *,
    probe: ProbeId = AIR,
    raw: float | None = None,
    lag_ms: int = 250,
    battery: float | None = None,
) -> Reading:
    """Build a reading that arrived shortly after it was made."""
    return Reading(
        probe=probe,
        observed_ms=at_ms,
        arrived_ms=at_ms + lag_ms,
        raw=value if raw is None else raw,
        value=value,
        battery=battery,
    )


def pairs(store: ReadingStore, probe: ProbeId = AIR) -> list[tuple[int, float]]:
    """Return all readings of a probe as plain pairs."""
    span = store.span(probe)
    return list(zip(span.times_ms.tolist(), span.values.tolist(), strict=True))


class TestOnce:
    """A message that comes again adds nothing."""

    def test_a_new_reading_is_added_and_told_so(self, journal: Journal) -> None:
        """What was added is said for each reading in its place."""
        first, second = reading(DAY_MS, 2.1), reading(DAY_MS + MINUTE_MS, 2.2)

        assert journal.add_readings([first]) == [True]
        assert journal.add_readings([first, second, second]) == [False, True, False]
        assert pairs(journal) == [(DAY_MS, 2.1), (DAY_MS + MINUTE_MS, 2.2)]

    def test_a_list_with_news_and_repetitions_adds_each_once(self, journal: Journal) -> None:
        """Of one time the warmest stands, whatever else came between."""
        journal.add_readings([reading(DAY_MS, 2.0)])
        batch = [
            reading(DAY_MS + 2 * MINUTE_MS, 2.2),
            reading(DAY_MS + 3 * MINUTE_MS, 2.3),
            reading(DAY_MS + 2 * MINUTE_MS, 2.7),
            reading(DAY_MS + 3 * MINUTE_MS, 2.1),
            reading(DAY_MS + MINUTE_MS, 2.1),
            reading(DAY_MS, 2.0),
            reading(DAY_MS + 4 * MINUTE_MS, 2.4),
        ]

        assert journal.add_readings(batch) == [True, True, True, False, True, False, True]
        assert pairs(journal) == [
            (DAY_MS, 2.0),
            (DAY_MS + MINUTE_MS, 2.1),
            (DAY_MS + 2 * MINUTE_MS, 2.7),
            (DAY_MS + 3 * MINUTE_MS, 2.3),
            (DAY_MS + 4 * MINUTE_MS, 2.4),
        ]

    def test_a_redelivered_reading_after_compaction_adds_nothing(self, journal: Journal) -> None:
        """A broker may send a backlog again after its days were packed."""
        night = [reading(DAY_MS + n * MINUTE_MS, 2.0 + n / 1000) for n in range(100)]
        journal.add_readings(night)
        assert journal.compact(DAY_MS + MS_PER_DAY) == 1

        assert journal.add_readings(night) == [False] * 100
        assert journal.compact(DAY_MS + MS_PER_DAY) == 0

    def test_a_redelivered_reading_after_a_restart_adds_nothing(self, journal_path: Path) -> None:
        """What was on disk before the restart is known after it."""
        night = [reading(DAY_MS + n * MINUTE_MS, 2.0) for n in range(10)]
        with Journal.open(journal_path) as before:
            before.add_readings(night)
            before.compact(DAY_MS + MS_PER_DAY)

        with Journal.open(journal_path) as after:
            assert after.add_readings(night) == [False] * 10

    def test_a_day_packed_by_another_process_is_noticed(
        self, journal: Journal, journal_path: Path
    ) -> None:
        """Two writers do not mislead each other about what is packed."""
        journal.add_readings([reading(DAY_MS, 2.0)])
        with Journal.open(journal_path) as other:
            assert other.compact(DAY_MS + MS_PER_DAY) == 1

        assert journal.add_readings([reading(DAY_MS, 2.0)]) == [False]

    def test_a_batch_undone_leaves_no_memory_of_its_probes(self, journal: Journal) -> None:
        """A probe first seen in a batch that failed is made anew in the next."""

        def fail() -> None:
            with journal.batch():
                journal.add_readings([reading(DAY_MS, 2.0)])
                raise RuntimeError("the batch fails")

        with pytest.raises(RuntimeError, match="the batch fails"):
            fail()

        assert journal.known_probes() == []
        assert journal.add_readings([reading(DAY_MS, 2.0, probe=DOOR)]) == [True]
        assert journal.add_readings([reading(DAY_MS, 2.0)]) == [True]
        assert pairs(journal) == [(DAY_MS, 2.0)]


class TestTheWarmestStands:
    """Two values for one time: doubt counts against the fish."""

    @pytest.mark.parametrize("order", [(2.0, 6.0, 4.0), (6.0, 2.0, 4.0), (4.0, 2.0, 6.0)])
    @pytest.mark.parametrize("packed", [False, True])
    def test_the_larger_value_stands_in_any_order(
        self, journal: Journal, order: tuple[float, ...], packed: bool
    ) -> None:
        """The result does not depend on which message came first, or on compaction."""
        for value in order:
            journal.add_readings([reading(DAY_MS, value)])
            if packed:
                journal.compact(DAY_MS + MS_PER_DAY)

        assert pairs(journal) == [(DAY_MS, 6.0)]
        assert journal.last_before(AIR, DAY_MS + 1) == (DAY_MS, 6.0)
        assert conflict_counts(journal.path) == {AIR: 1}
        assert conflicts(journal.path, AIR) == [(DAY_MS, 2.0)]

    def test_raw_value_and_arrival_follow_the_value_that_stands(self, journal: Journal) -> None:
        """The record shows what the probe sent for the value that counts."""
        journal.add_readings([reading(DAY_MS, 2.0, raw=35.6, lag_ms=10)])
        journal.add_readings([reading(DAY_MS, 5.0, raw=41.0, lag_ms=99)])

        full = journal.full_span(AIR)

        assert full.raws.tolist() == [41.0]
        assert full.arrived_ms.tolist() == [DAY_MS + 99]

    def test_a_conflict_that_comes_again_is_counted_once(self, journal: Journal) -> None:
        """Redelivery makes no new conflict."""
        both = [reading(DAY_MS, 2.0), reading(DAY_MS, 3.0)]
        for _ in range(3):
            journal.add_readings(both)

        assert conflict_counts(journal.path) == {AIR: 1}

    def test_conflicts_without_end_keep_the_newest_and_the_count(self, journal: Journal) -> None:
        """Two probes on one topic do not fill the disk with conflicts."""
        count = CONFLICTS_KEPT + 50
        for value in (1.0, 2.0):
            journal.add_readings([reading(DAY_MS + n, value) for n in range(count)])

        kept = conflicts(journal.path, AIR)

        assert conflict_counts(journal.path) == {AIR: count}
        assert [kept[0][0], kept[-1][0]] == [DAY_MS + 50, DAY_MS + count - 1]

    def test_an_open_door_stands_over_a_shut_one(self, journal: Journal) -> None:
        """For a contact the larger value is open, or wet."""
        journal.add_readings([reading(DAY_MS, v, probe=DOOR) for v in (1.0, 0.0)])

        assert pairs(journal, DOOR) == [(DAY_MS, 1.0)]


class TestPackedDays:
    """Compaction moves rows and changes nothing."""

    def test_a_late_reading_for_a_packed_day_is_found_at_once(self, journal: Journal) -> None:
        """A probe's backlog shows before and after the next compaction alike."""
        journal.add_readings([reading(DAY_MS + n * MINUTE_MS, 2.0) for n in (0, 1, 3)])
        journal.compact(DAY_MS + MS_PER_DAY)

        assert journal.add_readings([reading(DAY_MS + 2 * MINUTE_MS, 9.0)]) == [True]

        merged = [(DAY_MS + n * MINUTE_MS, 9.0 if n == 2 else 2.0) for n in range(4)]
        assert pairs(journal) == merged
        assert journal.compact(DAY_MS + MS_PER_DAY) == 1
        assert pairs(journal) == merged

    def test_only_days_that_are_over_are_packed(self, journal: Journal) -> None:
        """Today stays in rows, to the last millisecond of yesterday."""
        times = [DAY_MS - 1, DAY_MS, DAY_MS + MS_PER_DAY - 1]
        journal.add_readings([reading(at_ms, 2.0) for at_ms in times])

        assert journal.compact(DAY_MS + MS_PER_DAY - 1) == 1

        rows = journal._connection.execute("SELECT observed_ms FROM reading").fetchall()
        assert [row[0] for row in rows] == times[1:]
        assert [at_ms for at_ms, _ in pairs(journal)] == times

    def test_compaction_stops_at_the_number_asked_for(self, journal: Journal) -> None:
        """A long backlog is packed in small steps, the oldest day first."""
        journal.add_readings([reading(DAY_MS + n * MS_PER_DAY, 2.0) for n in range(5)])

        assert journal.compact(DAY_MS + 9 * MS_PER_DAY, max_blocks=2) == 2
        assert journal.compact(DAY_MS + 9 * MS_PER_DAY, max_blocks=8) == 3
        assert len(pairs(journal)) == 5

    def test_everything_kept_of_a_reading_survives_packing(self, journal: Journal) -> None:
        """Raw values in thousandths and with many digits, arrivals before and after."""
        batch = [
            reading(DAY_MS, 2.0, raw=35.6, lag_ms=-200),
            reading(DAY_MS + 1, -20.5, raw=-20.512345678901234, lag_ms=29 * MS_PER_DAY),
            reading(DAY_MS + 2, 3.0, raw=1e20),
            reading(DAY_MS + 3, 5.0),
        ]
        journal.add_readings(batch)
        rows = journal.full_span(AIR)
        journal.compact(DAY_MS + MS_PER_DAY)
        packed = journal.full_span(AIR)

        assert rows.raws.tolist() == [r.raw for r in batch]
        assert rows.arrived_ms.tolist() == [r.arrived_ms for r in batch]
        for name in ("times_ms", "values", "raws", "arrived_ms"):
            assert np.array_equal(getattr(rows, name), getattr(packed, name)), name

    def test_a_long_backlog_over_many_packed_days_is_known_again(self, journal: Journal) -> None:
        """More packed days than are remembered at once, in a bad order."""
        batch = [reading(DAY_MS + n % 100 * MS_PER_DAY + n // 100, 2.0) for n in range(300)]
        journal.add_readings(batch[:200])
        journal.compact(DAY_MS + 100 * MS_PER_DAY, max_blocks=200)

        assert journal.add_readings(batch) == [False] * 200 + [True] * 100

    def test_a_damaged_block_is_told_as_damage(self, journal: Journal) -> None:
        """Readings are never guessed from bytes that do not add up."""
        journal.add_readings([reading(DAY_MS, 2.0)])
        journal.compact(DAY_MS + MS_PER_DAY)
        journal._connection.execute("UPDATE reading_block SET times = x'00'")

        with pytest.raises(JournalDamaged, match="restore the latest backup"):
            journal.span(AIR)


class TestAsking:
    """The store's contract, on the writer's connection and on a reader's."""

    @pytest.mark.parametrize("packed_days", [0, 1, 3])
    def test_bounds_are_inclusive_and_either_may_be_open(
        self, journal: Journal, journal_path: Path, packed_days: int
    ) -> None:
        """From and to hold their own instants, in rows, in blocks and across both."""
        step = 8 * MS_PER_H
        times = [DAY_MS + n * step for n in range(9)]
        journal.add_readings([reading(t, n / 10) for n, t in enumerate(times)])
        journal.compact(DAY_MS + packed_days * MS_PER_DAY)

        with JournalReader.open(journal_path) as reader:
            for store in (journal, reader):
                assert store.span(AIR, times[2], times[5]).times_ms.tolist() == times[2:6]
                assert store.span(AIR, times[2] + 1, times[5] - 1).times_ms.tolist() == times[3:5]
                assert store.span(AIR, None, times[4]).times_ms.tolist() == times[:5]
                assert store.span(AIR, times[4]).times_ms.tolist() == times[4:]
                assert len(store.span(AIR, times[5], times[2])) == 0
                assert store.last_before(AIR, times[4]) == (times[3], 0.3)
                assert store.last_before(AIR, times[4] + 1) == (times[4], 0.4)
                assert store.last_before(AIR, times[0]) is None
                assert store.last_before(AIR, times[8] + 90 * MS_PER_DAY) == (times[8], 0.8)

    def test_a_probe_never_heard_of_has_no_readings(self, journal: Journal) -> None:
        """No reading is an answer, not an error."""
        stranger = ProbeId("case-9-air")

        assert len(journal.span(stranger)) == 0
        assert len(journal.full_span(stranger)) == 0
        assert journal.last_before(stranger, DAY_MS) is None
        assert journal.span(stranger).values.dtype == np.float64

    def test_the_writer_sees_its_open_batch_and_a_reader_does_not(
        self, journal: Journal, journal_path: Path
    ) -> None:
        """Rules judge the batch before it is committed; the page shows only what is."""
        with JournalReader.open(journal_path) as reader:
            with journal.batch():
                journal.add_readings([reading(DAY_MS, 2.0)])
                assert pairs(journal) == [(DAY_MS, 2.0)]
                assert pairs(reader) == []
            assert pairs(reader) == [(DAY_MS, 2.0)]

    def test_values_come_back_to_the_digit(self, journal: Journal) -> None:
        """Thousandths divide back to the very number that was rounded to them."""
        values = [round(-60.0 + n * 0.037, 3) for n in range(3000)]
        journal.add_readings([reading(DAY_MS + n, value) for n, value in enumerate(values)])

        assert journal.span(AIR).values.tolist() == values


class TestRefused:
    """What is not a reading never becomes one."""

    @pytest.mark.parametrize(
        ("value", "raw", "said"),
        [
            (float("nan"), 2.0, "finite"),
            (float("inf"), 2.0, "finite"),
            (2.0, float("nan"), "finite"),
            (-274.0, 2.0, "-273.15"),
            (1000.1, 2.0, "1000.0"),
        ],
    )
    def test_a_value_that_is_no_reading_refuses_the_whole_list(
        self, journal: Journal, value: float, raw: float, said: str
    ) -> None:
        """NaN would be stored as nothing and compare as cold: it does not get in."""
        with pytest.raises(ValueError, match=said):
            journal.add_readings([reading(DAY_MS, 1.0), reading(DAY_MS + 1, value, raw=raw)])

        assert len(journal.span(AIR)) == 0

    def test_a_battery_level_that_is_not_finite_is_refused(self, journal: Journal) -> None:
        """A NaN level would never be found low."""
        with pytest.raises(ValueError, match="battery"):
            journal.add_readings([reading(DAY_MS, 1.0, battery=float("nan"))])

    @pytest.mark.parametrize("at_ms", [-1, 253_402_300_800_000])
    def test_a_time_beyond_the_calendar_is_refused(self, journal: Journal, at_ms: int) -> None:
        """Seconds taken for milliseconds pass for 1970; beyond that there is no time."""
        with pytest.raises(ValueError, match="milliseconds since 1970"):
            journal.add_readings([reading(at_ms, 1.0)])

    @pytest.mark.parametrize(
        "row",
        [
            (1, DAY_MS, "warm", None, 0),
            (1, DAY_MS, None, None, 0),
            (1, DAY_MS, float("nan"), None, 0),
            (1, DAY_MS, 2.5, None, 0),
            (1, DAY_MS, -273_151, None, 0),
            (1, DAY_MS, 2000, "35.6 F", 0),
            (1, None, 2000, None, 0),
            (1, -5, 2000, None, 0),
            (99, DAY_MS, 2000, None, 0),
        ],
    )
    def test_the_table_itself_refuses_what_the_code_should_never_write(
        self, journal: Journal, row: tuple[object, ...]
    ) -> None:
        """STRICT, NOT NULL, CHECK and the foreign key hold even if the code forgets."""
        journal.add_readings([reading(DAY_MS - 1, 2.0)])  # probe number 1

        with pytest.raises(sqlite3.IntegrityError):
            journal._connection.execute("INSERT INTO reading VALUES (?, ?, ?, ?, ?)", row)


class TestBesides:
    """Batteries, and the hours that a follower has to fetch."""

    def test_the_lowest_battery_level_of_each_hour_is_kept(self, journal: Journal) -> None:
        """A wavering level takes one row an hour, in whatever order it comes."""
        levels = [(0, 3.01), (10, 2.98), (20, 3.00), (70, 2.97)]
        batch = [reading(DAY_MS + m * MINUTE_MS, 2.0, battery=level) for m, level in levels]
        expected = [(DAY_MS, 2.98), (DAY_MS + MS_PER_H, 2.97)]

        journal.add_readings(batch[::-1])
        assert journal.battery_levels(AIR) == expected
        for one in batch:
            journal.add_readings([one])
        assert journal.battery_levels(AIR) == expected
        assert journal.battery_levels(AIR, DAY_MS + MS_PER_H + 5) == expected[1:]

    def test_a_follower_gets_each_changed_hour_and_late_ones_again(self, journal: Journal) -> None:
        """One number is enough to follow, however late a reading comes."""
        journal.add_readings([reading(DAY_MS, 2.0), reading(DAY_MS + MS_PER_H, 2.0)])
        first = journal.changed_hours(0)
        assert [(h.from_ms, h.to_ms) for h in first] == [
            (DAY_MS, DAY_MS + MS_PER_H - 1),
            (DAY_MS + MS_PER_H, DAY_MS + 2 * MS_PER_H - 1),
        ]
        cursor = first[-1].seq

        journal.add_readings([reading(DAY_MS, 2.0)])
        assert journal.changed_hours(cursor) == []
        journal.compact(DAY_MS + MS_PER_DAY)
        assert journal.changed_hours(cursor) == []
        journal.add_readings([reading(DAY_MS + 1, 2.0)])
        assert [(h.probe, h.from_ms) for h in journal.changed_hours(cursor)] == [(AIR, DAY_MS)]
        assert len(journal.changed_hours(0, limit=1)) == 1
