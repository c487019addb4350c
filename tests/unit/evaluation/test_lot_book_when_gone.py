"""What is entered of a lot that is gone, whatever time it speaks of."""

from rimewatch.entries import CorrectLot, ReceiveLot, WithdrawLot
from rimewatch.evaluation.lot_book import LotEntries, book
from rimewatch.vocabulary import LotId, Origin

HOUR_MS = 3_600_000
LOT = LotId("L1")


def told(correction_number: int, withdrawal_number: int) -> LotEntries:
    """Return a lot that was corrected, as it is told, an hour before it was sold."""
    entries = [
        ReceiveLot(
            at_ms=0,
            lot=LOT,
            species="Salmo salar",
            origin=Origin.FARMED_OTHER,
            serve_raw=True,
            entry_number=1,
        ),
        CorrectLot(
            at_ms=8 * HOUR_MS,
            lot=LOT,
            reason="looked it up",
            origin=Origin.FARMED_PELLET,
            statement="S",
            entry_number=correction_number,
        ),
        WithdrawLot(at_ms=9 * HOUR_MS, lot=LOT, reason="sold", entry_number=withdrawal_number),
    ]
    return book(sorted(entries, key=lambda entry: entry.entry_number))[LOT]


def test_word_that_came_after_it_was_gone_is_kept_apart_though_it_says_it_is_older() -> None:
    lot = told(correction_number=3, withdrawal_number=2)

    assert lot.as_left is not None
    assert lot.as_left.received is not None
    assert lot.as_left.received.origin is Origin.FARMED_OTHER


def test_word_that_came_before_it_was_gone_is_the_lots_own() -> None:
    assert told(correction_number=2, withdrawal_number=3).as_left is None
