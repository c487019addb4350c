from typing import Any

import pytest

from rimewatch import entries
from rimewatch.intake.entries import EntryError, parse_entry
from rimewatch.vocabulary import LotId, Option, Origin, Rule, UnitId

LOT, CASE = LotId("L1"), UnitId("case-1")

RECEIVED: dict[str, Any] = {
    "do": "receive-lot",
    "lot": "L1",
    "species": "Scomber japonicus",
    "origin": "wild",
    "serve_raw": True,
}


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (
            RECEIVED,
            entries.ReceiveLot(
                at_ms=7,
                lot=LOT,
                species="Scomber japonicus",
                origin=Origin.WILD,
                serve_raw=True,
            ),
        ),
        (
            {
                **RECEIVED,
                "at": "2026-03-02T08:00:00Z",
                "who": " M. Okafor ",
                "origin": "farmed-pellet",
                "thickness_mm": 40,
                "celsius": 1.5,
                "kilograms": 12,
                "supplier": "Gannet Sound Fish",
                "supplier_reference": "4711",
                "statement": "S-12",
            },
            entries.ReceiveLot(
                at_ms=7,
                who="M. Okafor",
                lot=LOT,
                species="Scomber japonicus",
                origin=Origin.FARMED_PELLET,
                serve_raw=True,
                thickness_mm=40.0,
                celsius=1.5,
                kilograms=12.0,
                supplier="Gannet Sound Fish",
                supplier_reference="4711",
                statement="S-12",
            ),
        ),
        (
            {"do": "start-freezing", "lot": "L1", "unit": "case-1", "option": "20C-168h"},
            entries.StartFreezing(at_ms=7, lot=LOT, unit=CASE, option=Option.F20C_168H),
        ),
        (
            {"do": "move-lot", "lot": "L1", "unit": "case-1"},
            entries.MoveLot(at_ms=7, lot=LOT, unit=CASE),
        ),
        (
            {"do": "withdraw-lot", "lot": "L1", "reason": "sold out"},
            entries.WithdrawLot(at_ms=7, lot=LOT, reason="sold out"),
        ),
        (
            {"do": "acknowledge", "unit": "case-1", "rule": "holding"},
            entries.Acknowledge(at_ms=7, unit=CASE, rule=Rule.HOLDING),
        ),
        (
            {"do": "acknowledge", "rule": "power-loss"},
            entries.Acknowledge(at_ms=7, unit=None, rule=Rule.POWER_LOSS),
        ),
        (
            {"do": "shelve", "unit": "case-1", "rule": "door", "minutes": 30},
            entries.Shelve(at_ms=7, unit=CASE, rule=Rule.DOOR, minutes=30.0),
        ),
        (
            {"do": "unshelve", "unit": "case-1", "rule": "door", "who": "Ana"},
            entries.Unshelve(at_ms=7, who="Ana", unit=CASE, rule=Rule.DOOR),
        ),
        (
            {"do": "unshelve", "rule": "power-loss"},
            entries.Unshelve(at_ms=7, unit=None, rule=Rule.POWER_LOSS),
        ),
        ({"do": "out-of-service", "unit": "case-1"}, entries.OutOfService(at_ms=7, unit=CASE)),
        ({"do": "in-service", "unit": "case-1"}, entries.InService(at_ms=7, unit=CASE)),
        (
            {"do": "corrective-action", "unit": "case-1", "text": "moved to the walk-in"},
            entries.CorrectiveAction(at_ms=7, unit=CASE, text="moved to the walk-in"),
        ),
    ],
)
def test_entry_of_each_kind_is_taken(given: dict[str, object], expected: entries.AnyEntry) -> None:
    """Everything a person may enter arrives as what it is."""
    assert parse_entry(given, 7) == expected


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({}, '"do" is missing; expected one of receive-lot, '),
        ({"do": 3}, '"do" is a int; expected one of receive-lot, '),
        ({"do": "recieve-lot"}, 'did you mean "receive-lot"?'),
        (
            {"do": "move-lot", "lot": "L1"},
            'move-lot: "unit" is missing; it needs lot, unit',
        ),
        (
            {"do": "move-lot", "lot": "L1", "unit": "x", "untit": 2},
            'move-lot: unknown key "untit"; it may have who, lot, unit; did you mean "unit"?',
        ),
        (
            {"do": "start-freezing", "lot": "L1", "unit": "f", "option": "20C-186h"},
            '35C-then-20C-24h or 20C-24h; did you mean "20C-168h"?',
        ),
        (
            {"do": "corrective-action", "unit": "f", "text": "x", "disposition": "discared"},
            'discarded or other; did you mean "discarded"?',
        ),
        ({**RECEIVED, "serve_raw": "yes"}, '"serve_raw" is "yes"; expected true or false'),
        ({**RECEIVED, "celsius": "2"}, '"celsius" is "2"; expected a number'),
        ({**RECEIVED, "celsius": float("nan")}, '"celsius" is nan; expected a finite number'),
        ({**RECEIVED, "thickness_mm": 0.0}, '"thickness_mm" is 0.0; expected more than 0'),
        ({**RECEIVED, "species": " "}, '"species" is " "; expected text that is not empty'),
        (
            {"do": "shelve", "unit": "case-1", "rule": "holding", "minutes": 1e9},
            '"minutes" is 1000000000.0; expected at most 10080',
        ),
        (
            {"do": "corrective-action", "unit": "case-1", "text": " "},
            '"text" is " "; expected text that is not empty',
        ),
    ],
)
def test_entry_with_a_flaw_is_refused_in_one_sentence(
    given: dict[str, object], sentence: str
) -> None:
    """Whoever typed it learns what is wrong and what would be right."""
    with pytest.raises(EntryError) as refused:
        parse_entry(given, 7)
    assert sentence in str(refused.value)
    assert "\n" not in str(refused.value)
