"""Each lot from its entries: where it stood, and what a correction changes."""

from dataclasses import replace
from itertools import permutations

import pytest

from rimewatch.entries import (
    AnyEntry,
    AttachStatement,
    CancelEntry,
    CorrectiveAction,
    MoveLot,
    ReceiveLot,
    StartFreezing,
    WithdrawLot,
)
from rimewatch.evaluation.lot_book import LotEntries, book, ice_days
from rimewatch.lots.hold import Placement
from rimewatch.vocabulary import LotId, Option, Origin, States, UnitId

L1 = LotId("L1")
CASE, FREEZER, WALK_IN = UnitId("case-1"), UnitId("freezer-1"), UnitId("walk-in")


def received(at_ms: int, **keys: object) -> ReceiveLot:
    """Return a lot's receipt."""
    plain: dict[str, object] = {
        "lot": L1,
        "species": "Oncorhynchus nerka",
        "origin": Origin.WILD,
        "serve_raw": True,
    }
    return ReceiveLot(at_ms=at_ms, **{**plain, **keys})  # type: ignore[arg-type]


def moved(at_ms: int, unit: UnitId) -> MoveLot:
    """Return a lot's move."""
    return MoveLot(at_ms=at_ms, lot=L1, unit=unit)


def frozen(at_ms: int, unit: UnitId = FREEZER) -> StartFreezing:
    """Return the start of a lot's freezing."""
    return StartFreezing(at_ms=at_ms, lot=L1, unit=unit, option=Option.F20C_168H)


def placements(lot: LotEntries) -> list[tuple[str, float, float | None]]:
    """Return where a lot stood."""
    return [(p.unit, p.from_ms, p.to_ms) for p in lot.placements]


NIGHT: list[AnyEntry] = [
    received(0),
    moved(10, WALK_IN),
    frozen(20),
    moved(30, CASE),
    WithdrawLot(at_ms=40, lot=L1, reason="sold out"),
]


def test_lot_is_followed_from_unit_to_unit() -> None:
    """Received, into the walk-in, frozen, into the case, sold."""
    lot = book(NIGHT)[L1]

    assert placements(lot) == [
        ("walk-in", 10, 20),
        ("freezer-1", 20, 30),
        ("case-1", 30, 40),
    ]
    assert (lot.unit, lot.option) == (None, Option.F20C_168H)


@pytest.mark.parametrize("order", list(permutations(range(5)))[::7])
def test_lot_does_not_depend_on_the_order_its_entries_are_kept_in(order: tuple[int, ...]) -> None:
    """They are read in order of their time."""
    assert book([NIGHT[n] for n in order]) == book(NIGHT)


def test_lot_moved_to_where_it_stands_stays() -> None:
    """No second placement, and none of no length."""
    assert placements(book([received(0), moved(10, CASE), moved(20, CASE)])[L1]) == [
        ("case-1", 10, None)
    ]


def test_lot_frozen_where_it_stands_is_counted_from_the_entry() -> None:
    """It had stood in the freezer since 10; the hold was begun at 20."""
    lot = book([received(0), moved(10, FREEZER), frozen(20)])[L1]

    assert placements(lot) == [("freezer-1", 10, None)]
    assert lot.placements_from(20) == [Placement(unit=FREEZER, from_ms=20, to_ms=None)]


def test_lot_received_twice_is_corrected_and_keeps_its_first_time() -> None:
    """A slip of the pen in the species does not make the fish fresher."""
    lot = book([received(0, species="salmon"), received(50, celsius=3.0)])[L1]

    assert lot.received == received(0, celsius=3.0)


def test_receipt_after_freezing_began_never_gives_new_fish_an_old_hold() -> None:
    """It may be other fish under the number; what was said of the first stays."""
    lot = book([received(0), frozen(20), received(50, species="cod"), received(60)])[L1]

    assert (lot.freezing, lot.hold_placements()) == (None, [])
    assert lot.received == received(0)
    assert lot.received_again == received(60)


def test_receipt_after_a_supplier_s_statement_on_freezing_does_not_inherit_it() -> None:
    """The statement was of the fish that was here; one put on file later counts again."""
    stated = AttachStatement(at_ms=10, lot=L1, reference="S-1", states=States.FREEZING)
    later = replace(stated, at_ms=60, reference="S-2")

    assert book([received(0), stated, received(50)])[L1].frozen_by_supplier is None
    assert book([received(0), stated, received(50), later])[L1].frozen_by_supplier == later


def test_freezing_started_after_a_second_receipt_counts_for_all_of_it() -> None:
    """Whatever bears the number was in the freezer then."""
    lot = book([received(0), frozen(20), received(50), frozen(70)])[L1]

    assert [(p.unit, p.from_ms) for p in lot.hold_placements()] == [("freezer-1", 70)]


def test_receipt_sent_twice_is_one() -> None:
    """The broker may deliver one again, entered later; and not only right after the first."""
    again = replace(received(0), entered_ms=90)
    other = received(10, celsius=3.0)

    assert book([received(0), again, frozen(20)])[L1].freezing == frozen(20)
    assert book([received(0), other, again])[L1].received == received(0, celsius=3.0)


def test_second_receipt_that_was_cancelled_costs_nothing() -> None:
    """A slip that somebody owned up to."""
    entries: list[AnyEntry] = [
        replace(received(0), entry_number=1),
        replace(frozen(20), entry_number=2),
        replace(received(50), entry_number=3),
        CancelEntry(at_ms=60, entry_number=4, number=3, reason="sent again by mistake"),
    ]
    lot = book(entries)[L1]

    assert (lot.freezing, lot.received_again) == (frozen(20), None)


def test_lots_are_told_in_the_order_they_were_first_named() -> None:
    """And what is not of a lot is left out."""
    entries: list[AnyEntry] = [
        MoveLot(at_ms=5, lot=LotId("L2"), unit=CASE),
        received(9),
        CorrectiveAction(at_ms=1, unit=CASE, text="moved the fish"),
    ]

    assert list(book(entries)) == ["L2", "L1"]


def test_placements_from_an_instant_leave_out_what_was_over_by_then() -> None:
    """A placement that ended at the very instant is over."""
    lot = book(NIGHT)[L1]

    assert [p.unit for p in lot.placements_from(20)] == ["freezer-1", "case-1"]
    assert [p.unit for p in lot.placements_from(29)] == ["freezer-1", "case-1"]


DAY = 86_400_000


def days(entries: list[AnyEntry], to_days: float) -> float:
    """Return a lot's ice days: twice as fast outside, as fast as in ice in every unit."""
    return ice_days(
        book(entries)[L1],
        round(to_days * DAY),
        lambda _, from_ms, to_ms: (to_ms - from_ms) / DAY,
        lambda celsius: celsius,
    )


def test_ice_days_before_the_first_unit_are_at_the_temperature_of_receipt() -> None:
    """Two days at a rate of 3, then one in a unit."""
    entries: list[AnyEntry] = [received(0, celsius=3.0), moved(2 * DAY, CASE)]

    assert days(entries, 3) == pytest.approx(7.0)


def test_ice_days_without_a_temperature_at_receipt_take_the_warmest_that_is_accepted() -> None:
    """5 °C, FDA Food Code 2022, 3-202.11(A): doubt counts against the fish."""
    assert days([received(0)], 1) == pytest.approx(5.0)


def test_ice_days_end_when_the_lot_is_withdrawn() -> None:
    """Sold fish does not age on our account."""
    entries: list[AnyEntry] = [
        received(0, celsius=1.0),
        moved(DAY, CASE),
        WithdrawLot(at_ms=2 * DAY, lot=L1),
    ]

    assert days(entries, 10) == pytest.approx(2.0)


def test_ice_days_of_a_lot_nobody_received_are_none() -> None:
    """It has spent nothing that we know of."""
    assert days([moved(0, CASE)], 5) == 0.0
