"""An entry's fields are declared once: models and codec are made from the declaration."""

import json
from dataclasses import dataclass
from typing import get_args

import pytest
from hypothesis import given

from any_entry import any_entry
from rimewatch.entries import (
    ENTRY_CLASSES,
    AnyEntry,
    CancelEntry,
    CorrectLot,
    Entry,
    Judged,
    LotEntry,
    ReceiveLot,
    StartFreezing,
)
from rimewatch.entry_keys import Key, Text, keys_of
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.entry_codec import entry_from_dict, entry_to_dict, entry_to_json
from rimewatch.vocabulary import Option


def test_every_kind_of_entry_has_a_name_of_its_own() -> None:
    """Two under one name would be read as one another."""
    assert set(ENTRY_CLASSES.values()) == set(get_args(AnyEntry))


def test_keys_are_taken_from_the_declaration() -> None:
    """An instant loses its unit outside; what may be left out says so."""
    _who, _entered, _lot, unit, option, needed_by, _probe = keys_of(StartFreezing)

    assert unit == Key(field="unit", name="unit", kind=str, bounds=Text(least=1, longest=200))
    assert (option.words, option.is_required) == (Option, True)
    assert (needed_by.name, needed_by.is_instant, needed_by.may_be_none) == (
        "needed_by",
        True,
        True,
    )


def test_field_of_a_kind_that_no_entry_can_have_is_refused() -> None:
    """Who declares one learns it at the first look."""

    @dataclass(frozen=True, slots=True, kw_only=True)
    class Strange(Entry):
        where: dict[str, int]

    with pytest.raises(TypeError, match="where is"):
        keys_of(Strange)


def test_whatever_is_said_at_receipt_can_be_corrected_within_the_same_bounds() -> None:
    """A key that only one of the two knew could never be put right."""
    said = {key.name: key for key in keys_of(ReceiveLot)}
    corrected = {key.name: key for key in keys_of(CorrectLot)}

    assert set(said) | {"reason", "confirms_start"} == set(corrected)
    assert all(
        (said[name].kind, said[name].bounds) == (corrected[name].kind, corrected[name].bounds)
        for name in said
    )


@given(any_entry())
def test_what_the_books_hold_is_read_alike_by_model_and_codec(entry: AnyEntry) -> None:
    """An entry that was written down once can be entered anew: the bounds are the same."""
    document = json.loads(entry_to_json(entry))
    # Blanks at the ends are cut where people write; a choice of two is made at the edge.
    if any(isinstance(value, str) and value != value.strip() for value in document.values()):
        return
    if entry.one_of and sum(name in document for name in entry.one_of) != 1:
        return
    if any(item != item.strip() for item in document.get("lots", ())):
        return
    if "rule" in document:
        return  # whether an alarm may have no unit depends on its rule

    assert parse_entry(document, entry.at_ms) == entry == entry_from_dict(document)
    assert entry_to_dict(entry)["do"] == entry.do


def test_every_entry_about_a_lot_has_the_lots_judged_anew() -> None:
    """One that did not would show on the pages only after the next."""
    for kind in (*get_args(LotEntry), CancelEntry):
        assert kind.judged_anew is Judged.LOTS, kind
