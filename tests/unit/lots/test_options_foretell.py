"""What freezers can do for a lot, which lots will be late, and what would save them."""

import pytest

from rimewatch.lots.foretell import Advice, advice, foretell, hours_lost
from rimewatch.lots.hold import REQUIRED_H, Break, ColdRecord, Hold
from rimewatch.lots.options import (
    Outlook,
    Prospect,
    UnitCold,
    prospects,
    unbroken_until_now_h,
)
from rimewatch.rules.watch import BreakReason
from rimewatch.vocabulary import LotId, Option, UnitId

H = 3_600_000.0
NOW_MS = 1000 * H
ULF, CHEST = UnitId("ulf-1"), UnitId("freezer-1")


def since(hours_ago: float | None, *, known_h_ago: float = 0.0) -> ColdRecord:
    """Return the record of a unit that has been cold for so long; None: it is warm."""
    end_ms = None if hours_ago is None else NOW_MS - hours_ago * H
    warm = Break(start_ms=float("-inf"), end_ms=end_ms, peak_c=None, reason=BreakReason.GAP)
    return ColdRecord(breaks=(warm,), known_until_ms=NOW_MS - known_h_ago * H)


def unit(
    unit_id: UnitId = ULF,
    *,
    at_20: ColdRecord,
    at_35: ColdRecord,
    lead_h: tuple[float | None, float | None] = (4.0, 9.0),
) -> UnitCold:
    """Return a freezer."""
    leads = [None if hours is None else hours * H for hours in lead_h]
    return UnitCold(
        unit=unit_id,
        records={-20.0: at_20, -35.0: at_35},
        warmest_c=-40.0,
        centre_after_ms={-20.0: leads[0], -35.0: leads[1]},
    )


def test_hours_that_a_unit_was_cold_without_a_break_until_now() -> None:
    """A record without a beginning proves nothing, and a unit that is warm has no hours."""
    unknown = ColdRecord(breaks=(), known_until_ms=NOW_MS)

    assert unbroken_until_now_h(unknown, NOW_MS) == 0.0
    assert unbroken_until_now_h(since(None), NOW_MS) == 0.0
    assert unbroken_until_now_h(since(5.0), NOW_MS) == 5.0
    assert unbroken_until_now_h(since(5.0, known_h_ago=2.0), NOW_MS) == 3.0
    assert unbroken_until_now_h(since(5.0, known_h_ago=7.0), NOW_MS) == 0.0


def prospect(found: tuple[Prospect, ...], option: Option) -> Prospect:
    """Return the prospect of an option."""
    (one,) = [item for item in found if item.option is option]
    return one


@pytest.mark.parametrize(
    ("option", "hours"),
    [
        (Option.F20C_168H, 168.0),  # the freezer's temperature is what counts
        (Option.F35C_15H, 9.0 + 15.0),  # solid first
        (Option.F35C_THEN_20C_24H, 9.0 + 24.0),
        (Option.F20C_24H, 4.0 + 24.0),  # all parts of the fish
    ],
)
def test_prospect_is_complete_after_its_lead_and_its_hours(option: Option, hours: float) -> None:
    """Begun now, in a unit that has been cold for weeks."""
    found = prospects([unit(at_20=since(500), at_35=since(500))], NOW_MS)

    one = prospect(found, option)

    assert (one.outlook, one.complete_ms) == (Outlook.STEADY, NOW_MS + hours * H)
    assert one.lead_h == hours - REQUIRED_H[option]


def test_prospects_come_with_the_earliest_first() -> None:
    """Possible ones first, by their completion."""
    found = prospects([unit(at_20=since(500), at_35=since(None))], NOW_MS)

    assert [(p.option, p.is_possible) for p in found] == [
        (Option.F20C_24H, True),
        (Option.F20C_168H, True),
        (Option.F35C_15H, False),
        (Option.F35C_THEN_20C_24H, False),
    ]
    assert found[2].outlook is Outlook.TOO_WARM
    assert found[2].complete_ms is None


@pytest.mark.parametrize(
    ("cold_h", "outlook"),
    [
        (24.0, Outlook.STEADY),
        (23.9, Outlook.BROKEN),
        (0.5, Outlook.BROKEN),
        (0.0, Outlook.TOO_WARM),
    ],
)
def test_prospect_asks_for_cold_as_long_as_it_takes_itself(cold_h: float, outlook: Outlook) -> None:
    """9 h until solid and 15 h: a unit that was broken 23.9 h ago has not shown it can."""
    found = prospects([unit(at_20=since(500), at_35=since(cold_h))], NOW_MS)

    assert prospect(found, Option.F35C_15H).outlook is outlook


def test_prospect_asks_for_three_days_of_cold_at_most() -> None:
    """Not for a week before each week."""
    found = prospects([unit(at_20=since(72), at_35=since(None))], NOW_MS)

    assert prospect(found, Option.F20C_168H).outlook is Outlook.STEADY


def test_prospect_of_fish_too_thick_names_no_time() -> None:
    """No guess."""
    one = prospect(
        prospects([unit(at_20=since(500), at_35=since(500), lead_h=(None, None))], NOW_MS),
        Option.F35C_15H,
    )

    assert (one.outlook, one.complete_ms, one.lead_h) == (Outlook.TOO_THICK, None, None)


def test_prospect_of_a_silent_unit_counts_no_silence_as_cold() -> None:
    """Cold for 30 h, and not heard for the last 20 of them."""
    record = since(30, known_h_ago=20)
    found = prospects([unit(at_20=record, at_35=record)], NOW_MS)

    assert prospect(found, Option.F35C_15H).unbroken_h == 10.0


def hold(*, started_h_ago: float | None = 20.0, interruptions: tuple[Break, ...] = ()) -> Hold:
    """Return a hold of seven days that began so long ago."""
    return Hold(
        option=Option.F20C_168H,
        required_h=168.0,
        credited_h=started_h_ago or 0.0,
        started_ms=None if started_h_ago is None else NOW_MS - started_h_ago * H,
        completed_ms=None,
        interruptions=interruptions,
    )


OPEN = prospects([unit(at_20=since(500), at_35=since(500))], NOW_MS)


@pytest.mark.parametrize(
    ("needed_in_h", "late"), [(148.0, False), (147.9, True), (24.0, True), (None, False)]
)
def test_lot_is_late_if_it_is_complete_after_it_is_wanted(
    needed_in_h: float | None, late: bool
) -> None:
    """20 of 168 h are done: 148 are to come."""
    needed = None if needed_in_h is None else round(NOW_MS + needed_in_h * H)

    assert foretell(LotId("L1"), CHEST, hold(), needed, OPEN, NOW_MS).is_late is late


@pytest.mark.parametrize(("needed_in_h", "start_in_h"), [(24.0, 0.0), (40.0, 16.0), (23.9, None)])
def test_late_lot_is_told_what_would_have_it_ready_and_by_when_that_must_begin(
    needed_in_h: float, start_in_h: float | None
) -> None:
    """9 + 15 h at −35 °C."""
    needed_ms = round(NOW_MS + needed_in_h * H)

    found = foretell(LotId("L1"), CHEST, hold(), needed_ms, OPEN, NOW_MS)

    if start_in_h is None:
        assert (found.instead, found.start_by_ms) == (None, None)
    else:
        assert found.instead is not None
        assert (found.instead.option, found.instead.unit) == (Option.F35C_15H, ULF)
        assert found.start_by_ms == pytest.approx(NOW_MS + start_in_h * H)


def test_lot_whose_cold_has_not_begun_is_late_for_any_date() -> None:
    """Nothing can be promised of it."""
    found = foretell(
        LotId("L1"), CHEST, hold(started_h_ago=None), round(NOW_MS + 1e4 * H), (), NOW_MS
    )

    assert found.is_late


def test_lots_with_one_cure_are_told_together() -> None:
    """Two to be moved before the earlier of their dates asks for it; one without a cure."""
    wanted = {"L1": 40.0, "L2": 30.0, "L3": 10.0, "L4": 500.0}
    found = [
        foretell(LotId(lot), CHEST, hold(), round(NOW_MS + hours * H), OPEN, NOW_MS)
        for lot, hours in wanted.items()
    ]

    assert advice(found) == (
        Advice(
            lots=(LotId("L1"), LotId("L2")),
            needed_by_ms=round(NOW_MS + 30.0 * H),
            option=Option.F35C_15H,
            unit=ULF,
            start_by_ms=NOW_MS + 6.0 * H,
        ),
        Advice(
            lots=(LotId("L3"),),
            needed_by_ms=round(NOW_MS + 10.0 * H),
            option=None,
            unit=None,
            start_by_ms=None,
        ),
    )


def test_hours_lost_are_those_that_stood_on_the_count() -> None:
    """160.19 h are said as 160.1: never more than there were."""
    broken = Break(start_ms=0.0, end_ms=None, peak_c=-15.0, reason=BreakReason.WARM, lost_h=160.19)
    held = hold(started_h_ago=None, interruptions=(broken,))

    assert hours_lost({LotId("L1"): held}) == "Hours lost: L1 160.1 of 168 h"
