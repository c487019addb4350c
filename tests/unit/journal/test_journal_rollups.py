"""What is rolled up says what the readings say: no peak is lost, no gap is closed."""

import sqlite3
import tempfile
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from handmade import probe, shop, unit
from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.contacts import open_times
from rimewatch.evaluation.hourly import felt_hours
from rimewatch.evaluation.store import Span
from rimewatch.journal import Journal
from rimewatch.readings import Reading
from rimewatch.rules import channel
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

START_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
AIR, DOOR = ProbeId("case-1-air"), ProbeId("case-1-door")
SHOP = shop(unit(lag_s=1200), probe(str(AIR)), probe(str(DOOR), measures="door"))
LAGS = [(AIR, 1200.0, 180_000.0)]
DAYS = 4
SILENT_MS = 180_000


def reading(at_ms: int, value: float, probe_id: ProbeId = AIR) -> Reading:
    """Return a reading that came at once."""
    return Reading(probe=probe_id, observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value)


@dataclass(frozen=True)
class Add:
    """Readings arrive, in any order, late or twice."""

    batch: tuple[Reading, ...]


@dataclass(frozen=True)
class Tidy:
    """The days before one are packed and rolled up, some of them."""

    day: int
    blocks: int


minutes = st.one_of(
    st.integers(0, DAYS * 1440 - 1), st.sampled_from([0, 59, 60, 1439, 1440, 2879, 2880])
)
temperatures = st.integers(-3000, 9000).map(lambda milli: milli / 1000)
runs = st.builds(
    lambda first, values: tuple(
        reading(START_MS + min(first + n, DAYS * 1440 - 1) * 60_000, value)
        for n, value in enumerate(values)
    ),
    minutes,
    st.lists(temperatures, min_size=1, max_size=12),
)
doors = st.builds(
    lambda minute, is_open: (reading(START_MS + minute * 60_000, float(is_open), DOOR),),
    minutes,
    st.booleans(),
)
steps: st.SearchStrategy[list[Add | Tidy]] = st.lists(
    st.one_of(
        st.builds(Add, runs),
        st.builds(Add, doors),
        st.builds(Tidy, st.integers(0, DAYS), st.integers(1, 4)),
    ),
    max_size=10,
)
CALM = Add(tuple(reading(START_MS + n * 60_000, 1.0) for n in range(1, 60)))
PEAK = Add((reading(START_MS + 90_000, 1.0), reading(START_MS + 3_500_000, 9.0)))
LATE = Add((reading(START_MS + 60_000, 8.0), reading(START_MS + MS_PER_DAY, 0.0)))


def lowest_and_highest(span: Span) -> dict[int, tuple[float, float]]:
    """Return each hour's range, by the simplest means."""
    found: dict[int, tuple[float, float]] = {}
    for at_ms, value in zip(span.times_ms.tolist(), span.values.tolist(), strict=True):
        low, high = found.get(at_ms // MS_PER_H, (value, value))
        found[at_ms // MS_PER_H] = (min(low, value), max(high, value))
    return found


def check(journal: Journal, from_ms: int, to_ms: int) -> None:
    """Hold every answer about hours to the readings themselves."""
    first_ms = from_ms - from_ms % MS_PER_H
    span = journal.span(AIR, first_ms, to_ms)
    hours = journal.hours(AIR, from_ms, to_ms, SILENT_MS)
    told = zip(hours.lowest.tolist(), hours.highest.tolist(), strict=True)
    assert dict(zip(hours.hours.tolist(), told, strict=True)) == lowest_and_highest(span)
    assert int(hours.readings.sum()) == len(span)
    assert set(hours.first_ms.tolist()) | set(hours.last_ms.tolist()) <= set(span.times_ms.tolist())
    times = span.times_ms.tolist()
    assert hours.gaps == tuple((a, b) for a, b in pairwise(times) if b - a > SILENT_MS)

    felt = felt_hours(SHOP, journal, SHOP.probe[AIR], from_ms, to_ms)
    every = journal.span(AIR)
    folding = settings_for(SHOP.unit[SHOP.probe[AIR].unit], SHOP.probe[AIR])
    curve = channel.governing_curve(folding, every.times_ms, every.values)
    inside = (every.times_ms >= first_ms) & (every.times_ms <= to_ms)
    want = lowest_and_highest(Span(every.times_ms[inside], curve[inside]))
    assert felt.hours.tolist() == list(want)
    assert felt.lowest.tolist() == pytest.approx([low for low, _ in want.values()], abs=1e-7)
    assert felt.highest.tolist() == pytest.approx([high for _, high in want.values()], abs=1e-7)

    class Changed:
        """Gives the changes alone."""

        last_before = staticmethod(journal.last_before)

        def span(
            self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None
        ) -> Span:
            assert from_ms is not None
            assert to_ms is not None
            return journal.changes(probe, from_ms, to_ms)

    assert open_times(Changed(), DOOR, from_ms, to_ms) == open_times(journal, DOOR, from_ms, to_ms)


@settings(max_examples=25, deadline=None)
@given(steps, minutes, st.integers(0, DAYS * 1440))
@example([CALM, Tidy(DAYS, 4), LATE], 0, 4000)
@example([CALM, PEAK, Tidy(DAYS, 4)], 0, 30)
@example([PEAK, Tidy(DAYS, 4), LATE], 0, 4000)
@example([PEAK, Tidy(DAYS, 4), LATE, Tidy(DAYS, 4)], 30, 100)
@example([PEAK, LATE, Tidy(DAYS, 4), PEAK, Tidy(1, 4)], 0, 2 * 1440 - 1)
def test_hours_say_what_the_readings_say(
    plan: list[Add | Tidy], first_minute: int, length_min: int
) -> None:
    """Late, twice, with gaps, packed and rolled up at any time: the range of each hour."""
    with (
        tempfile.TemporaryDirectory() as folder,
        Journal.open(Path(folder, "journal.db"), check=False) as journal,
    ):
        for step in plan:
            match step:
                case Add(batch):
                    journal.add_readings(batch)
                case Tidy(day, blocks):
                    journal.compact(START_MS + day * MS_PER_DAY, blocks)
                    journal.roll_up(LAGS, blocks)
        from_ms = START_MS + first_minute * 60_000
        check(journal, from_ms, from_ms + length_min * 60_000)
        check(journal, START_MS, START_MS + DAYS * MS_PER_DAY - 1)
        assert journal.verify() == []


@pytest.fixture
def fortnight(journal: Journal) -> Journal:
    """Give 14 days at a reading every ten minutes, packed and rolled up, with one peak."""
    values = np.round(2.0 + np.sin(np.arange(14 * 144) / 7.0), 3)
    values[1500] = 14.2
    journal.add_readings(
        [reading(START_MS + n * 600_000, value) for n, value in enumerate(values.tolist())]
    )
    journal.compact(START_MS + 14 * MS_PER_DAY, 99)
    while journal.roll_up([(AIR, 1200.0, 1_800_000.0)], 8):
        pass
    return journal


def test_a_fortnight_is_answered_without_its_readings(fortnight: Journal) -> None:
    """One peak of one reading stands in its hour; nothing is unpacked for it."""
    fortnight._connection.execute("UPDATE reading_block SET times = x'00', millis = x'00'")
    to_ms = START_MS + 14 * MS_PER_DAY - 1

    hours = fortnight.hours(AIR, START_MS, to_ms, 1_800_000)
    felt = fortnight.governing_hours(AIR, 1200.0, 1_800_000.0, START_MS, to_ms)

    assert len(hours) == len(felt) == 336
    assert hours.hours[hours.highest == 14.2].tolist() == [(START_MS + 1500 * 600_000) // MS_PER_H]
    assert hours.gaps == ()
    assert 3.0 < felt.highest.max() < 8.0


def test_other_settings_make_the_fish_anew(fortnight: Journal) -> None:
    """A fish of double the lag warms by less; what was carried by the old lag is not shown."""
    to_ms = START_MS + 14 * MS_PER_DAY - 1
    assert len(fortnight.governing_hours(AIR, 2400.0, 1_800_000.0, START_MS, to_ms)) == 0

    while fortnight.roll_up([(AIR, 2400.0, 1_800_000.0)], 8):
        pass

    assert len(fortnight.governing_hours(AIR, 1200.0, 1_800_000.0, START_MS, to_ms)) == 0
    span = fortnight.span(AIR)
    own = shop(unit(lag_s=2400), probe(str(AIR), every_s=600))
    folding = settings_for(own.units[0], own.probes[0])
    want = channel.governing_curve(folding, span.times_ms, span.values).max()
    felt = fortnight.governing_hours(AIR, 2400.0, 1_800_000.0, START_MS, to_ms)
    assert felt.highest.max() == want


def test_thinned_days_keep_their_hours_their_gaps_and_their_fish(journal: Journal) -> None:
    """After years the readings go; the curve stays as it was drawn."""
    kept = [n for n in range(3 * 1440) if not 500 <= n < 520]
    journal.add_readings([reading(START_MS + n * 60_000, 2.0 + n % 7) for n in kept])
    journal.compact(START_MS + 2 * MS_PER_DAY, 9)
    journal.roll_up(LAGS, 9)
    journal.seal_days("UTC", START_MS + 4 * MS_PER_DAY, 9)
    asked = (START_MS, START_MS + 3 * MS_PER_DAY - 1)
    hours = journal.hours(AIR, *asked, SILENT_MS)
    felt = felt_hours(SHOP, journal, SHOP.probe[AIR], *asked)

    assert journal.thin_readings(AIR, START_MS + 2 * MS_PER_DAY, 9) == 2

    after = journal.hours(AIR, *asked, SILENT_MS)
    assert len(journal.span(AIR)) == 1440
    for name in ("hours", "lowest", "highest", "readings", "first_ms", "last_ms"):
        assert getattr(after, name).tolist() == getattr(hours, name).tolist()
    gap = (float(START_MS + 499 * 60_000), float(START_MS + 520 * 60_000))
    assert after.gaps == hours.gaps == (gap,)
    felt_after = felt_hours(SHOP, journal, SHOP.probe[AIR], *asked)
    assert felt_after.highest.tolist() == felt.highest.tolist()


def test_hours_thinned_by_an_older_version_are_whole_hours(
    journal: Journal, journal_path: Path
) -> None:
    """It left nothing but their range: that is drawn, and no fish is made up."""
    journal.add_readings([reading(START_MS + 3 * MS_PER_DAY, 3.0)])
    with sqlite3.connect(journal_path) as older:
        older.execute(
            "INSERT INTO reading_hour (probe_no, hour, lowest_milli, highest_milli, readings)"
            " VALUES (1, ?, 1500, 7250, 60)",
            (START_MS // MS_PER_H + 5,),
        )
    older.close()

    found = journal.hours(AIR, START_MS, START_MS + MS_PER_DAY, SILENT_MS)

    assert (found.lowest.tolist(), found.highest.tolist()) == ([1.5], [7.25])
    assert found.readings.tolist() == [60]
    assert len(felt_hours(SHOP, journal, SHOP.probe[AIR], START_MS, START_MS + MS_PER_DAY)) == 0


def test_days_that_an_older_version_packed_are_rolled_up_later(
    fortnight: Journal, journal_path: Path
) -> None:
    """A few at a time, beside the watch; until then the readings are asked."""
    asked = (AIR, START_MS, START_MS + 14 * MS_PER_DAY - 1, 1_800_000.0)
    want = fortnight.hours(*asked)
    fortnight._connection.execute("DELETE FROM reading_rollup")

    with Journal.open(journal_path) as newer:
        assert newer.hours(*asked).highest.tolist() == want.highest.tolist()
        # 14 days, and one look that finds no more.
        assert [newer.roll_up([], 8), newer.roll_up([], 8), newer.roll_up([], 8)] == [8, 7, 0]
        newer._connection.execute("UPDATE reading_block SET times = x'00', millis = x'00'")
        assert newer.hours(*asked).highest.tolist() == want.highest.tolist()


@pytest.mark.parametrize("damage", ["x''", "x'0123'", "zeroblob(500)", "x'789c03000001'"])
def test_a_damaged_rollup_is_found_and_not_used(fortnight: Journal, damage: str) -> None:
    """Whoever verifies learns of it, by the day; whoever looks sees what the readings say."""
    asked = (AIR, START_MS, START_MS + 14 * MS_PER_DAY - 1, 1_800_000.0)
    want = fortnight.hours(*asked)
    fortnight._connection.execute(
        f"UPDATE reading_rollup SET hours = {damage} WHERE day = ?", (START_MS // MS_PER_DAY + 3,)
    )

    (found,) = fortnight.verify()
    assert found.startswith("the day 2026-03-05 of case-1-air: what was rolled up of it")
    assert fortnight.hours(*asked).highest.tolist() == want.highest.tolist()


def test_a_damaged_chain_is_not_used(fortnight: Journal) -> None:
    """The fish is carried through the readings anew."""
    own = shop(unit(lag_s=1200), probe(str(AIR), every_s=600))
    asked = (own, fortnight, own.probes[0], START_MS, START_MS + 14 * MS_PER_DAY - 1)
    want = felt_hours(*asked)
    fortnight._connection.execute("UPDATE governing_rollup SET hours = x'00' WHERE day % 5 = 0")

    assert len(fortnight.governing_hours(AIR, 1200.0, 1_800_000.0, *asked[3:])) == 0
    assert felt_hours(*asked).highest.tolist() == pytest.approx(want.highest.tolist(), abs=1e-7)
