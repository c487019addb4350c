"""The entries of lots that are here, without reading years of those that are gone."""

import pytest

from rimewatch.entries import (
    AnyEntry,
    CancelEntry,
    InService,
    ReceiveLot,
    StartFreezing,
    WithdrawLot,
)
from rimewatch.evaluation.lot_book import book, without_gone
from rimewatch.journal import Journal
from rimewatch.vocabulary import LotId, Option, Origin, UnitId

T0 = 1_772_409_600_000


def received(lot: str) -> list[AnyEntry]:
    """Return the receipt of a lot and the start of its freezing."""
    return [
        ReceiveLot(
            at_ms=T0, lot=LotId(lot), species="sockeye salmon", origin=Origin.WILD, serve_raw=True
        ),
        StartFreezing(
            at_ms=T0 + 1000, lot=LotId(lot), unit=UnitId("freezer-1"), option=Option.F35C_15H
        ),
    ]


def withdrawn(lot: str) -> AnyEntry:
    """Return that a lot is gone."""
    return WithdrawLot(at_ms=T0 + 9000, lot=LotId(lot), reason="sold")


@pytest.fixture
def kept(journal: Journal) -> Journal:
    """A journal with a lot that is here, one that is gone, and one that was not gone after all."""
    entries = [
        InService(at_ms=T0, unit=UnitId("freezer-1")),
        *received("here"),
        *received("gone"),
        withdrawn("gone"),
        *received("back"),
        withdrawn("back"),
    ]
    for entry in entries:
        last = journal.add_entry(entry, "cli")
    journal.add_entry(CancelEntry(at_ms=T0 + 9500, number=last, reason="a slip"), "cli")
    return journal


def test_entries_at_hand_leave_out_lots_that_are_gone(kept: Journal) -> None:
    """A withdrawal that was cancelled leaves its lot here."""
    every = [entry for _, entry in kept.entries_after(0)]
    at_hand = [entry for _, entry in kept.entries_at_hand()]

    assert [entry for entry in every if getattr(entry, "lot", None) != "gone"] == at_hand
    assert list(book(at_hand)) == ["here", "back"]
    assert book(at_hand)["back"].withdrawn is None


@pytest.mark.parametrize(("from_ms", "left"), [(T0 + 9000, True), (T0 + 9001, False)])
def test_morning_leaves_out_what_was_gone_before_its_night(
    kept: Journal, from_ms: int, *, left: bool
) -> None:
    """What goes within the night is told of."""
    entries = without_gone([entry for _, entry in kept.entries_after(0)], from_ms)

    assert ("gone" in book(entries)) == left
    assert {"here", "back"} <= set(book(entries))
