"""What is kept of entries as they come is what the whole books say of the lots that are here."""

from dataclasses import replace

from hypothesis import example, given, settings
from hypothesis import strategies as st

from rimewatch.entries import (
    AnyEntry,
    AttachStatement,
    CalibrationCheck,
    CancelEntry,
    CorrectiveAction,
    CorrectLot,
    MoveLot,
    ReceiveLot,
    StartFreezing,
    StartThawing,
    WithdrawLot,
)
from rimewatch.evaluation.entries_at_hand import EntriesAtHand
from rimewatch.evaluation.lot_book import LotEntries, book
from rimewatch.vocabulary import Disposition, LotId, Option, ProbeId, States, UnitId

LOTS = st.sampled_from([LotId("A"), LotId("B")])
UNITS = st.sampled_from([UnitId("case-1"), UnitId("freezer-1")])
TIMES = st.integers(min_value=0, max_value=40)
WHO = st.sampled_from(["", "Ana"])

about_lots = st.one_of(
    st.builds(ReceiveLot, at_ms=TIMES, lot=LOTS, species=st.just("Salmo salar"), who=WHO),
    st.builds(CorrectLot, at_ms=TIMES, lot=LOTS, species=st.just("Gadus morhua"), who=WHO),
    st.builds(StartFreezing, at_ms=TIMES, lot=LOTS, unit=UNITS, option=st.just(Option.F20C_168H)),
    st.builds(StartThawing, at_ms=TIMES, lot=LOTS, unit=UNITS),
    st.builds(MoveLot, at_ms=TIMES, lot=LOTS, unit=UNITS),
    st.builds(WithdrawLot, at_ms=TIMES, lot=LOTS, reason=st.just("sold")),
    st.builds(AttachStatement, at_ms=TIMES, lot=LOTS, states=st.just(States.FREEZING)),
)
besides = st.one_of(
    st.builds(
        CancelEntry,
        at_ms=TIMES,
        reason=st.just("no"),
        number=st.integers(min_value=1, max_value=8),
        who=WHO,
    ),
    st.builds(CalibrationCheck, at_ms=TIMES, probe=st.just(ProbeId("p")), found_c=st.just(0.1)),
    st.builds(
        CorrectiveAction,
        at_ms=TIMES,
        unit=UNITS,
        text=st.just("done"),
        disposition=st.sampled_from([None, Disposition.DISCARDED]),
        lots=st.lists(LOTS, max_size=2).map(tuple),
    ),
)
histories = st.lists(st.one_of(about_lots, besides), min_size=3, max_size=12)


def here(entries: list[AnyEntry]) -> dict[LotId, LotEntries]:
    """Return what the books say of the lots that are not gone."""
    return {name: lot for name, lot in book(entries).items() if lot.withdrawn is None}


@settings(max_examples=300, deadline=None)
@given(histories, st.integers(min_value=0, max_value=4))
@example(
    [
        MoveLot(at_ms=1, lot=LotId("A"), unit=UnitId("case-1")),
        MoveLot(at_ms=1, lot=LotId("B"), unit=UnitId("case-1")),
        WithdrawLot(at_ms=5, lot=LotId("A")),
        CancelEntry(at_ms=6, number=3, reason="not that one"),
        CancelEntry(at_ms=7, number=4, reason="it was right"),
    ],
    0,
)
def test_lots_here_are_what_the_whole_books_say_at_each_entry(
    history: list[AnyEntry], known: int
) -> None:
    """Also of lots that come back, and whether some of it was there at the start."""
    numbered = [replace(entry, entry_number=n) for n, entry in enumerate(history, start=1)]
    kept = EntriesAtHand(numbered[:known])
    for end in range(min(known, len(numbered)), len(numbered) + 1):
        if end > known:
            kept.add(numbered[end - 1])
        so_far = numbered[:end]
        assert book(kept.entries()) == here(so_far)
        assert list(book(kept.entries())) == list(here(so_far)), "in the same order"


def test_lots_that_are_gone_take_no_part() -> None:
    """Else a year's entries would be read at each."""
    kept = EntriesAtHand()
    for number in range(1, 2001, 2):
        lot = LotId(f"L{number}")
        kept.add(replace(MoveLot(at_ms=number, lot=lot, unit=UnitId("u")), entry_number=number))
        kept.add(replace(WithdrawLot(at_ms=number + 1, lot=lot), entry_number=number + 1))

    assert kept.entries() == []
