"""Each day is sealed over the one before: what is changed afterwards is named, day and table."""

import json
import sqlite3
from collections.abc import Iterable
from datetime import date
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest

from rimewatch.entries import CorrectiveAction, InService
from rimewatch.journal import Journal, JournalReader
from rimewatch.journal.canonical import FIRST_OF_ALL, grouped, readings_digest
from rimewatch.journal.connection import connect_writer
from rimewatch.journal.schema import MIGRATIONS, migrate
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, About, ContactId, ProbeId, Rule, UnitId

AIR, PRODUCT = ProbeId("case-1-air"), ProbeId("case-1-product")
CHICAGO = "America/Chicago"
MIDNIGHT_MS = 1_772_431_200_000  # 2026-03-02T00:00:00-06:00
DAYS = [date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 4)]
AFTER_MS = MIDNIGHT_MS + 3 * MS_PER_DAY + 2 * MS_PER_H


def reading(at_ms: int, value: float, probe: ProbeId = AIR) -> Reading:
    """Return a reading that arrived at once."""
    return Reading(probe=probe, observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value)


def fill(journal: Journal) -> None:
    """Write three days: readings each ten minutes, and a little of everything each noon."""
    for n, day in enumerate(DAYS):
        start_ms = MIDNIGHT_MS + n * MS_PER_DAY
        noon_ms = start_ms + 12 * MS_PER_H
        journal.add_readings(
            [
                reading(at_ms, 2.0 + (at_ms // 600_000 % 7) / 10, probe)
                for at_ms in range(start_ms, start_ms + MS_PER_DAY, 600_000)
                for probe in (AIR, PRODUCT)
            ]
        )
        journal.add_entry(
            CorrectiveAction(at_ms=noon_ms, unit=UnitId("case-1"), text=f"Looked, day {n}"), "cli"
        )
        for returned_ms in (None, noon_ms + 60_000):
            journal.put_alarm(
                f"case-1/holding/{n}",
                unit=UnitId("case-1"),
                rule=Rule.HOLDING,
                raised_ms=noon_ms,
                returned_ms=returned_ms,
                text=json.dumps({"returned": returned_ms}),
            )
        journal.add_message(noon_ms, ContactId("first"), None, None, About.SUMMARY)
        journal.put_summary(day, f"All cold held, {n}.", "<p></p>", "{}")
        journal.add_event(noon_ms, "start", "")
        assert journal.seal_days(CHICAGO, start_ms + MS_PER_DAY + MS_PER_H, 9) == 1


@pytest.fixture
def sealed(journal: Journal) -> Journal:
    """A journal with three sealed days."""
    fill(journal)
    return journal


def said(journal: Journal) -> list[str]:
    """Return what the check of the seals says."""
    return [str(finding) for finding in journal.check_seals()]


def tamper(journal: Journal, *statements: str) -> list[str]:
    """Change the file by plain SQL, as somebody with access to it could; return what is said."""
    outside = sqlite3.connect(journal.path)
    outside.execute("PRAGMA foreign_keys = OFF")
    triggers = outside.execute(
        "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
    ).fetchall()
    for trigger, _ in triggers:
        outside.execute(f"DROP TRIGGER {trigger}")
    for statement in statements:
        assert outside.execute(statement).rowcount != 0, statement
    for _, text in triggers:  # whoever does it covers their tracks
        outside.execute(text)
    outside.commit()
    outside.close()
    return said(journal)


class TestChain:
    """What a seal is."""

    def test_days_are_sealed_one_over_the_other(self, sealed: Journal) -> None:
        """Each seal names the one before it, and is the SHA-256 of its own text."""
        rows = sealed.seal_rows()

        assert [row.day for row in rows] == DAYS
        previous = FIRST_OF_ALL
        for row in rows:
            assert row.facts["previous"] == previous
            assert sha256(row.text.encode()).hexdigest() == row.seal
            previous = row.seal
        assert said(sealed) == []

    def test_a_day_is_sealed_an_hour_after_its_end_and_once(self, journal: Journal) -> None:
        """Probes out of reach for a while get the time to send what they kept."""
        journal.add_readings([reading(MIDNIGHT_MS, 2.0)])
        end_ms = MIDNIGHT_MS + MS_PER_DAY

        assert journal.seal_days(CHICAGO, end_ms + MS_PER_H - 1) == 0
        assert journal.seal_days(CHICAGO, end_ms + MS_PER_H) == 1
        assert journal.seal_days(CHICAGO, end_ms + MS_PER_H + 1) == 0

    def test_a_digest_can_be_recomputed_by_anybody(self, sealed: Journal) -> None:
        """The canonical form is what the manual says: times, then thousandths, 8 bytes each."""
        span = sealed.span(AIR, MIDNIGHT_MS, MIDNIGHT_MS + MS_PER_DAY - 1)
        times = b"".join(int(t).to_bytes(8, "big", signed=True) for t in span.times_ms)
        values = b"".join(round(v * 1000).to_bytes(8, "big", signed=True) for v in span.values)

        facts = sealed.seal_rows()[0].facts["readings"]["case-1-air"]

        assert facts == {"readings": 144, "sha256": sha256(times + values).hexdigest()}

    def test_packed_days_and_single_rows_have_one_seal(self, sealed: Journal) -> None:
        """Packing changes how readings are kept, not what they say."""
        before = sealed.seal_rows()

        assert sealed.compact(AFTER_MS, 99) > 0

        assert said(sealed) == []
        assert sealed.seal_rows() == before

    def test_a_day_of_23_hours_is_sealed_whole(self, journal: Journal) -> None:
        """In spring a local day is an hour shorter, and its seal covers exactly that."""
        start_ms = 1_772_949_600_000  # 2026-03-08T00:00:00-06:00
        journal.add_readings([reading(start_ms, 2.0), reading(start_ms + 23 * MS_PER_H - 1, 2.0)])

        assert journal.seal_days(CHICAGO, start_ms + 24 * MS_PER_H) == 1

        facts = journal.seal_rows()[0].facts
        assert facts["to_ms"] - facts["from_ms"] == 23 * MS_PER_H
        assert facts["readings"]["case-1-air"]["readings"] == 2

    def test_days_the_service_was_away_are_sealed_too(self, sealed: Journal) -> None:
        """A chain has no hole: an empty day is sealed as empty."""
        sealed.add_readings([reading(AFTER_MS + 3 * MS_PER_DAY, 2.0)])

        assert sealed.seal_days(CHICAGO, AFTER_MS + 4 * MS_PER_DAY, 99) == 4
        assert [row.day for row in sealed.seal_rows()][3:] == [
            date(2026, 3, n) for n in (5, 6, 7, 8)
        ]
        assert said(sealed) == []

    def test_a_seal_is_read_out_in_groups(self, sealed: Journal) -> None:
        """64 digits are compared four at a time."""
        row = sealed.seal_rows()[0]
        assert row.printed.replace(" ", "") == row.seal
        assert len(row.printed.split()) == 16
        assert grouped(row.seal, 4) == row.printed[:19]


class TestTampering:
    """Each change of what is sealed is named."""

    def test_one_value_changed_names_the_day_and_the_probe(self, sealed: Journal) -> None:
        """A thousandth of a degree is enough."""
        at_ms = MIDNIGHT_MS + MS_PER_DAY + 6 * MS_PER_H
        assert tamper(
            sealed,
            f"UPDATE reading SET milli = milli - 1 WHERE observed_ms = {at_ms} AND probe_no = 1",
        ) == [
            "2026-03-03: readings: case-1-air: not as they were sealed, though still 144 in number"
        ]

    def test_a_packed_value_changed_is_named(self, sealed: Journal) -> None:
        """A block forged whole, checksum and all, is found as well."""
        from rimewatch.journal.blocks import pack_integers

        sealed.compact(AFTER_MS, 99)
        day = MIDNIGHT_MS // MS_PER_DAY
        span = sealed.span(AIR, (day + 1) * MS_PER_DAY, (day + 2) * MS_PER_DAY - 1)
        millis = np.rint(span.values * 1000).astype(np.int64)
        millis[50] -= 1
        forged = pack_integers(millis).hex()

        found = tamper(
            sealed,
            f"UPDATE reading_block SET millis = x'{forged}' WHERE probe_no = 1 AND day = {day + 1}",
        )

        assert found == [
            "2026-03-03: readings: case-1-air: not as they were sealed, though still 144 in number"
        ]

    @pytest.mark.parametrize(
        ("statement", "found"),
        [
            ("DELETE FROM entry WHERE id = 2", "2026-03-03: entries: 1 were sealed, 0 are there"),
            (
                "UPDATE entry SET text = replace(text, 'Looked', 'Threw it away') WHERE id = 1",
                "2026-03-02: entries: not as they were sealed, though still 1 in number",
            ),
            (
                "DELETE FROM message WHERE id = 1",
                "2026-03-02: messages: 1 were sealed, 0 are there",
            ),
            (
                "UPDATE summary SET text = 'All well.' WHERE date = '2026-03-04'",
                "2026-03-04: summaries: not as they were sealed, though still 1 in number",
            ),
            ("DELETE FROM event WHERE id = 3", "2026-03-04: events: 1 were sealed, 0 are there"),
            (
                "UPDATE alarm SET text = '{}' WHERE id = 'case-1/holding/1'",
                "2026-03-03: alarms: case-1/holding/1 is not as it was last written",
            ),
            (
                "DELETE FROM alarm WHERE id = 'case-1/holding/0'",
                "2026-03-02: alarms: case-1/holding/0 is not as it was last written",
            ),
            (
                "DELETE FROM alarm_change WHERE id = 3",
                "2026-03-03: alarms: 2 were sealed, 1 are there",
            ),
            ("DELETE FROM seal WHERE number = 2", "2026-03-04: seals: seal 3 does not follow"),
            (
                "UPDATE seal SET text = replace(text, '144', '143') WHERE number = 2",
                "2026-03-03: seals: seal 2 is not the one over its text",
            ),
            (
                "UPDATE seal SET day = '2026-02-02' WHERE number = 1",
                "under another number, kind or day",
            ),
        ],
    )
    def test_each_table_changed_names_its_day(
        self, sealed: Journal, statement: str, found: str
    ) -> None:
        """Who checks learns where to look."""
        assert found in tamper(sealed, statement)[0]

    def test_two_seals_swapped_are_named(self, sealed: Journal) -> None:
        """Order is part of what is sealed."""
        one, two = sealed.seal_rows()[:2]
        found = tamper(
            sealed,
            f"UPDATE seal SET seal = '{two.seal}' WHERE number = 1",
            f"UPDATE seal SET seal = '{one.seal}' WHERE number = 2",
        )
        assert found[0] == "2026-03-02: seals: seal 1 is not the one over its text"

        found = tamper(
            sealed,
            f"UPDATE seal SET seal = '{two.seal}', text = '{two.text}' WHERE number = 1",
            f"UPDATE seal SET seal = '{one.seal}', text = '{one.text}' WHERE number = 2",
        )
        assert found[0] == "2026-03-02: seals: seal 1 does not follow the one before it"

    def test_a_reading_put_in_before_the_first_day_is_named(self, sealed: Journal) -> None:
        """The chain has a beginning, and nothing lies before it."""
        found = tamper(
            sealed,
            f"INSERT INTO reading (probe_no, observed_ms, milli, lag_ms)"
            f" VALUES (1, {MIDNIGHT_MS - MS_PER_DAY}, 2000, 0)",
        )
        assert "from before the first seal" in found[0]

    def test_rows_gone_from_the_end_are_missed(self, sealed: Journal) -> None:
        """What is not sealed yet was counted all the same."""
        sealed.add_entry(InService(at_ms=AFTER_MS, unit=UnitId("case-1")), "cli")

        assert tamper(sealed, "DELETE FROM entry WHERE id = 4") == [
            "since the last seal: entries: the last is number 3, but 4 were made"
        ]


class TestLateReadings:
    """What comes after its day was sealed gets a seal of its own; the day's still holds."""

    LATE: Iterable[tuple[int, float]] = (
        (MIDNIGHT_MS + 30_000, 4.0),  # between two others
        (MIDNIGHT_MS + 6 * MS_PER_H, 9.0),  # warmer than the one of that time
        (MIDNIGHT_MS - 5 * MS_PER_DAY, 3.0),  # from before the first day
    )

    def send(self, journal: Journal) -> None:
        """Let late readings arrive."""
        news = journal.add_readings([reading(at_ms, value) for at_ms, value in self.LATE])
        assert news == [True] * len(news)

    def test_late_readings_are_sealed_with_the_next_day(self, sealed: Journal) -> None:
        """The seal in yesterday's mail can still be recomputed."""
        before = sealed.seal_rows()
        self.send(sealed)
        assert said(sealed) == []

        assert sealed.seal_days(CHICAGO, AFTER_MS + MS_PER_DAY, 9) == 1

        after = sealed.seal_rows()
        assert after[:3] == before
        assert [row.kind for row in after[3:]] == ["late", "day"]
        assert after[3].facts["days"] == ["2026-02-25", "2026-03-02"]
        assert said(sealed) == []

    def test_late_readings_in_packed_days_are_sealed_likewise(self, sealed: Journal) -> None:
        """A backlog of weeks finds its days packed long ago."""
        sealed.compact(AFTER_MS, 99)
        self.send(sealed)
        sealed.add_readings([reading(MIDNIGHT_MS + 6 * MS_PER_H, 9.5)])
        sealed.seal_days(CHICAGO, AFTER_MS + MS_PER_DAY, 9)
        sealed.add_readings([reading(MIDNIGHT_MS + 6 * MS_PER_H, 10.0)])
        sealed.compact(AFTER_MS, 99)
        assert said(sealed) == []

        assert sealed.seal_days(CHICAGO, AFTER_MS + 2 * MS_PER_DAY, 9) == 1
        assert said(sealed) == []

    def test_a_late_reading_changed_afterwards_names_its_day(self, sealed: Journal) -> None:
        """Coming late is no way around the seal."""
        self.send(sealed)
        sealed.seal_days(CHICAGO, AFTER_MS + MS_PER_DAY, 9)

        found = tamper(
            sealed, f"UPDATE reading SET milli = 100 WHERE observed_ms = {MIDNIGHT_MS + 30_000}"
        )

        assert found == ["2026-03-02: readings: case-1-air: a late reading is not as it came"]

    def test_a_forged_note_of_a_late_reading_is_found(self, sealed: Journal) -> None:
        """Whoever adds a reading by hand cannot pass it off as late without a seal."""
        self.send(sealed)
        sealed.seal_days(CHICAGO, AFTER_MS + MS_PER_DAY, 9)

        found = tamper(
            sealed,
            f"UPDATE reading SET milli = 100 WHERE observed_ms = {MIDNIGHT_MS + 30_000}",
            f"UPDATE late_reading SET now_milli = 100 WHERE observed_ms = {MIDNIGHT_MS + 30_000}",
        )

        assert found == [
            "2026-02-25: late readings: not as they were sealed, though still 3 in number"
        ]


class TestThinning:
    """What need not be kept any longer leaves the range of each hour, sealed as well."""

    def test_thinned_days_leave_hours_and_the_chain_holds(self, sealed: Journal) -> None:
        """A check after years has nothing to complain of."""
        sealed.compact(AFTER_MS, 99)
        want = sealed.span(AIR, MIDNIGHT_MS + 6 * MS_PER_H, MIDNIGHT_MS + 7 * MS_PER_H - 1)
        until_ms = MIDNIGHT_MS + 2 * MS_PER_DAY

        assert sealed.thin_readings(AIR, until_ms, 9) == 2

        (left,) = sealed.hour_ranges(AIR, MIDNIGHT_MS + 6 * MS_PER_H, MIDNIGHT_MS + 6 * MS_PER_H)
        assert (left.lowest, left.highest) == (want.values.min(), want.values.max())
        assert left.readings == len(want) == 6
        assert len(sealed.span(AIR, None, until_ms - 7 * MS_PER_H)) == 0
        assert len(sealed.span(PRODUCT, MIDNIGHT_MS, MIDNIGHT_MS + MS_PER_DAY - 1)) == 144
        assert said(sealed) == []
        sealed.seal_days(CHICAGO, AFTER_MS + MS_PER_DAY, 9)
        assert [row.kind for row in sealed.seal_rows()[3:]] == ["thinned", "day"]
        assert said(sealed) == []

    def test_a_thinned_hour_changed_is_named(self, sealed: Journal) -> None:
        """The ranges are a record like any other."""
        sealed.thin_readings(AIR, AFTER_MS, 9)
        sealed.seal_days(CHICAGO, AFTER_MS + MS_PER_DAY, 9)

        found = tamper(sealed, "UPDATE reading_hour SET highest_milli = 9000 WHERE hour % 24 = 7")

        assert "hours: not as they were sealed" in found[0]

    def test_the_other_probes_of_a_thinned_day_are_still_held_to_their_seal(
        self, sealed: Journal
    ) -> None:
        """A case's readings may go while the freezer's must stay."""
        sealed.thin_readings(AIR, AFTER_MS, 9)

        found = tamper(sealed, f"UPDATE reading SET milli = 0 WHERE observed_ms = {MIDNIGHT_MS}")

        assert len(found) == 1
        assert found[0].startswith("2026-03-02: readings: case-1-product: not as they were sealed")

    def test_a_day_without_a_seal_is_not_thinned(self, journal: Journal) -> None:
        """Nothing goes that was never sealed, and nothing that must be kept."""
        journal.add_readings([reading(MIDNIGHT_MS, 2.0)])

        assert journal.thin_readings(AIR, AFTER_MS) == 0
        assert journal.thin_readings(ProbeId("never-heard"), AFTER_MS) == 0
        journal.seal_days(CHICAGO, AFTER_MS, 9)
        assert journal.thin_readings(AIR, MIDNIGHT_MS) == 0
        assert journal.thin_readings(AIR, AFTER_MS) == 1


def test_a_journal_of_the_first_schema_is_brought_forward_and_sealed(journal_path: Path) -> None:
    """An update keeps the record, and seals its days from the first one on."""
    older = connect_writer(journal_path)
    assert migrate(older, journal_path, MIGRATIONS[:1]) == 1
    older.executescript(
        f"""
        INSERT INTO probe (no, id) VALUES (1, 'case-1-air');
        INSERT INTO reading VALUES (1, {MIDNIGHT_MS}, 2000, NULL, 0);
        INSERT INTO alarm VALUES ('a', 'case-1', 'holding', {MIDNIGHT_MS}, NULL, '{{}}');
        INSERT INTO summary VALUES ('2026-03-02', 'All cold held.', '<p></p>');
        """
    )
    older.close()

    with Journal.open(journal_path) as journal:
        kept = journal.summary(DAYS[0])
        assert kept is not None
        assert (kept.text, kept.page) == ("All cold held.", "")
        assert journal.seal_days(CHICAGO, AFTER_MS, 99) == 3
        facts = journal.seal_rows()[0].facts
        assert (facts["alarms"]["rows"], facts["summaries"]["rows"]) == (1, 1)
        assert facts["readings"]["case-1-air"]["readings"] == 1
    with JournalReader.open(journal_path) as reader:
        assert [str(finding) for finding in reader.check_seals()] == []
        latest = reader.latest_seal()
        assert latest is not None
        assert latest.day == DAYS[2]
        assert reader.seal_of_day(DAYS[1]) == reader.seal_rows()[1]
        assert reader.seal_of_day(date(2026, 3, 9)) is None


def test_a_digest_of_nothing_is_that_of_no_bytes() -> None:
    """A probe without readings has the SHA-256 of nothing (FIPS 180-4)."""
    nothing = np.empty(0, dtype=np.int64)
    assert readings_digest(nothing, nothing) == sha256(b"").hexdigest()
