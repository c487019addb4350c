"""What people enter is kept word for word, in order, and for ever."""

import json
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from any_entry import any_entry
from rimewatch.entries import (
    Acknowledge,
    AnyEntry,
    AttachStatement,
    CalibrationCheck,
    CancelEntry,
    ChangeSettings,
    ConfirmPlace,
    CorrectiveAction,
    CorrectLot,
    CorrectPlace,
    EndCooling,
    EndTimeControl,
    InService,
    MoveLot,
    OutOfService,
    ReceiveLot,
    RetryQuarantine,
    Shelve,
    StartCooling,
    StartFreezing,
    StartThawing,
    StartTimeControl,
    Unshelve,
    WithdrawLot,
)
from rimewatch.instants import iso, iso_ms
from rimewatch.journal import EntryCodecError, Journal
from rimewatch.journal.entry_codec import (
    entry_from_dict,
    entry_from_json,
    entry_to_dict,
    entry_to_json,
)
from rimewatch.vocabulary import (
    CoolingFood,
    LotId,
    Option,
    Origin,
    ProbeId,
    Rule,
    States,
    UnitId,
)

AT_MS = 1_772_438_400_000  # 2026-03-02T08:00:00Z
LOT, CASE, FREEZER = LotId("L1"), UnitId("case-1"), UnitId("freezer-1")

RECEIVED = ReceiveLot(
    at_ms=AT_MS,
    who="Ines",
    lot=LOT,
    species="Salmo salar",
    origin=Origin.WILD,
    serve_raw=True,
    thickness_mm=60.0,
    celsius=1.5,
)

ENTRIES: list[AnyEntry] = [
    RECEIVED,
    StartFreezing(at_ms=AT_MS, lot=LOT, unit=FREEZER, option=Option.F20C_168H),
    MoveLot(at_ms=AT_MS, lot=LOT, unit=CASE),
    WithdrawLot(at_ms=AT_MS, lot=LOT, reason="sold out"),
    Acknowledge(at_ms=AT_MS, unit=None, rule=Rule.POWER_LOSS),
    Acknowledge(at_ms=AT_MS, unit=CASE, rule=Rule.HOLDING),
    Shelve(at_ms=AT_MS, unit=CASE, rule=Rule.DOOR, minutes=45.0),
    Unshelve(at_ms=AT_MS, unit=CASE, rule=Rule.DOOR, who="Ines"),
    OutOfService(at_ms=AT_MS, unit=CASE),
    InService(at_ms=AT_MS, unit=CASE),
    CorrectiveAction(at_ms=AT_MS, unit=CASE, text="Moved the trays to the walk-in."),
    CorrectLot(at_ms=AT_MS, lot=LOT, reason="weighed again", kilograms=4.2, rop=False),
    AttachStatement(
        at_ms=AT_MS,
        entered_ms=AT_MS + 7,
        lot=LOT,
        reference="F-77",
        states=States.FREEZING,
        file="statement.pdf",
        sha256="ab" * 32,
        option=Option.F35C_15H,
    ),
    StartThawing(at_ms=AT_MS, lot=LOT, unit=CASE),
    CancelEntry(at_ms=AT_MS, number=3, reason="the wrong lot"),
    StartCooling(at_ms=AT_MS, unit=CASE, food=CoolingFood.AMBIENT, lot=LOT),
    EndCooling(at_ms=AT_MS, unit=CASE),
    StartTimeControl(at_ms=AT_MS, lot=LOT, hours=6, celsius=4.0),
    EndTimeControl(at_ms=AT_MS, unit=CASE),
    CalibrationCheck(at_ms=AT_MS, probe=ProbeId("case-1-air"), found_c=0.4, offset_c=-0.4),
    RetryQuarantine(at_ms=AT_MS, who="Ines"),
    CorrectPlace(
        at_ms=AT_MS,
        who="Ines",
        probe=ProbeId("case-1-air"),
        was=CASE,
        unit=FREEZER,
        from_ms=AT_MS - 7_200_000,
        to_ms=AT_MS - 3_600_000,
        reason="it lay in the freezer",
    ),
    ConfirmPlace(at_ms=AT_MS, who="Ana", number=7),
    ChangeSettings(
        at_ms=AT_MS, settings='{"shop":{"name":"Saltmarsh Row Fish"}}', way="page", who="Ines"
    ),
]

times = st.integers(min_value=0, max_value=253_402_300_799_999)


class TestCodec:
    """The contract's keys, and nothing lost on the way."""

    def test_an_entry_is_written_by_the_keys_of_a_trace(self) -> None:
        """What is not said is left out."""
        assert entry_to_dict(RECEIVED) == {
            "at": "2026-03-02T08:00:00Z",
            "do": "receive-lot",
            "who": "Ines",
            "lot": "L1",
            "species": "Salmo salar",
            "origin": "wild",
            "serve_raw": True,
            "thickness_mm": 60.0,
            "celsius": 1.5,
        }
        assert entry_to_dict(ENTRIES[4]) == {
            "at": "2026-03-02T08:00:00Z",
            "do": "acknowledge",
            "rule": "power-loss",
        }

    @given(any_entry())
    def test_any_entry_comes_back_as_it_was(self, entry: AnyEntry) -> None:
        """Every word and digit survives."""
        assert entry_from_json(entry_to_json(entry)) == entry

    def test_one_entry_has_one_text(self) -> None:
        """Canonical: sorted keys, no spaces, letters as they are."""
        entry = CorrectiveAction(at_ms=AT_MS + 7, unit=CASE, text="Tür geschlossen")

        assert entry_to_json(entry) == (
            '{"at":"2026-03-02T08:00:00.007Z","do":"corrective-action",'
            '"text":"Tür geschlossen","unit":"case-1"}'
        )

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"do": "sell-lot"}, "expected one of receive-lot, start-freezing"),
            ({"do": None}, "do is None"),
            ({"at": "yesterday"}, "expected an instant with its offset"),
            ({"at": "2026-03-02T08:00:00"}, "expected an instant with its offset"),
            ({"at": 5}, "at is 5; expected text"),
            ({"lot": None}, "receive-lot: lot is missing"),
            ({"lot": 7}, "lot is 7; expected text"),
            ({"origin": "sea"}, "expected one of wild, farmed-pellet, farmed-other"),
            ({"serve_raw": 1}, "serve_raw is 1; expected true or false"),
            ({"celsius": True}, "celsius is True; expected a finite number"),
            ({"celsius": float("nan")}, "expected a finite number"),
            ({"celsius": 10**400}, "expected a finite number"),
            ({"weight": 3}, "unknown key 'weight'; expected at, do, who, lot"),
        ],
    )
    def test_what_is_no_entry_is_refused_by_its_key(
        self, change: dict[str, object], said: str
    ) -> None:
        """The message names the key, the value and what would be right."""
        document = entry_to_dict(RECEIVED) | change

        with pytest.raises(EntryCodecError, match=said):
            entry_from_dict(document)

    def test_an_alarm_over_several_units_needs_no_unit_but_a_move_does(self) -> None:
        """Only where the contract says so may a unit be missing."""
        move = {"at": "2026-03-02T08:00:00Z", "do": "move-lot", "lot": "L1"}
        seen = {"at": "2026-03-02T08:00:00Z", "do": "acknowledge", "rule": "power-loss"}

        assert entry_from_dict(seen) == ENTRIES[4]
        with pytest.raises(EntryCodecError, match="unit is missing"):
            entry_from_dict(move)

    @pytest.mark.parametrize("text", ["{", "[]", '"in-service"', "[" * 5000, '{"a":' * 5000])
    def test_text_that_is_no_json_object_is_refused(self, text: str) -> None:
        """A damaged row raises the codec's own error."""
        with pytest.raises(EntryCodecError, match="not"):
            entry_from_json(text)

    @pytest.mark.parametrize(
        "entry",
        [
            Shelve(at_ms=AT_MS, unit=CASE, rule=Rule.DOOR, minutes=float("inf")),
            CorrectiveAction(at_ms=AT_MS, unit=CASE, text="\ud800"),
        ],
    )
    def test_what_json_cannot_hold_is_refused(self, journal: Journal, entry: AnyEntry) -> None:
        """Neither infinity nor half a letter gets into the record."""
        with pytest.raises(EntryCodecError, match="cannot be written down"):
            journal.add_entry(entry, "page")
        assert journal.entries_after(0) == []

    @given(times)
    def test_an_instant_comes_back_to_the_millisecond(self, at_ms: int) -> None:
        """To the end of the calendar."""
        assert iso_ms(iso(at_ms)) == at_ms

    def test_an_instant_with_another_offset_is_the_same_instant(self) -> None:
        """A trace may be written in local time, if it says which."""
        assert iso_ms("2026-03-02T02:00:00-06:00") == AT_MS


class TestTable:
    """Append-only, shared by several processes."""

    def test_entries_come_back_in_the_order_they_came(self, journal: Journal) -> None:
        """The service asks for what is new since the last it saw."""
        numbers = [journal.add_entry(entry, "cli") for entry in ENTRIES]

        assert journal.entries_after(0) == list(zip(numbers, ENTRIES, strict=True))
        assert journal.entries_after(numbers[6]) == list(zip(numbers[7:], ENTRIES[7:], strict=True))
        assert journal.entries_after(numbers[-1]) == []
        assert [n for n, _ in journal.entries_after(0, limit=2)] == numbers[:2]

    def test_an_entry_from_another_connection_is_found_by_asking_again(
        self, journal: Journal, journal_path: Path
    ) -> None:
        """A command beside the service adds; the running service sees it."""
        with Journal.open(journal_path, check=False) as command:
            number = command.add_entry(ENTRIES[2], "cli")

        assert journal.entries_after(0) == [(number, ENTRIES[2])]

    def test_columns_serve_to_find_an_entry(self, journal: Journal) -> None:
        """The inspector's questions need no JSON."""
        journal.add_entry(RECEIVED, "page")

        row = journal._connection.execute(
            "SELECT at_ms, do, who, unit, lot, source, text FROM entry"
        ).fetchone()

        assert row[:6] == (AT_MS, "receive-lot", "Ines", None, "L1", "page")
        assert json.loads(row[6])["species"] == "Salmo salar"

    @pytest.mark.parametrize("statement", ["UPDATE entry SET who = ''", "DELETE FROM entry"])
    def test_an_entry_is_never_changed_or_removed(self, journal: Journal, statement: str) -> None:
        """A correction is a further entry."""
        journal.add_entry(RECEIVED, "page")

        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            journal._connection.execute(statement)
