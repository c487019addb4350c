"""The freezing hold on breaks alone: counts, restarts, moves, and the way to solid."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest

from rimewatch.lots.hold import (
    NOTHING_PROVEN,
    REQUIRED_H,
    Break,
    ColdRecord,
    Hold,
    Placement,
    evaluate_hold,
    merge_records,
)
from rimewatch.rules.watch import BreakReason
from rimewatch.vocabulary import Option, UnitId

H = 3_600_000.0
ONE, TWO = UnitId("freezer-1"), UnitId("freezer-2")
WARM, GAP = BreakReason.WARM, BreakReason.GAP


def broken(
    start_h: float, end_h: float | None, peak_c: float | None = -15.0, reason: BreakReason = WARM
) -> Break:
    """Return a break, in hours."""
    end_ms = None if end_h is None else end_h * H
    return Break(start_ms=start_h * H, end_ms=end_ms, peak_c=peak_c, reason=reason)


def record(known_h: float, *breaks: Break) -> ColdRecord:
    """Return a unit's cold, known up to an hour."""
    return ColdRecord(breaks=breaks, known_until_ms=known_h * H)


def held(
    option: Option,
    known: ColdRecord,
    *,
    at_35: ColdRecord | None = None,
    from_h: float = 0.0,
    solid_h: float | None = 0.0,
) -> Hold:
    """Evaluate a hold in one freezer."""
    return evaluate_hold(
        option,
        [Placement(unit=ONE, from_ms=from_h * H, to_ms=None)],
        lambda _, level_c: known if level_c == -20.0 or at_35 is None else at_35,
        lambda _, __: None if solid_h is None else solid_h * H,
    )


def test_break_is_warm_by_what_was_seen_and_not_by_a_peak_from_before() -> None:
    """Two probes: one silent since its cold −24 °C, the other silent still. Nobody saw warmth."""
    merged = merge_records(
        [record(12, broken(8, 10, -24.1, GAP)), record(12, broken(9, None, None, GAP))]
    )

    assert [(one.peak_c, one.is_warm) for one in merged.breaks] == [(-24.1, False)]


def test_break_that_began_with_silence_is_warm_once_warmth_was_seen() -> None:
    """And keeps that through merging and through the units a lot passes."""
    warm = replace(broken(8, None, -15.0, GAP), seen_warm=True)
    hold = held(Option.F20C_168H, merge_records([record(12, warm), record(12)]))

    assert [(one.reason, one.is_warm) for one in hold.interruptions] == [(GAP, True)]


def hours(hold: Hold) -> tuple[float | None, float | None, float]:
    """Return start, completion and credit in hours."""
    start = None if hold.started_ms is None else hold.started_ms / H
    completed = None if hold.completed_ms is None else hold.completed_ms / H
    return start, completed, hold.credited_h


@pytest.mark.parametrize(
    ("option", "required_h"),
    # FDA Food Code 2022, 3-402.11(A)(1)-(3); Regulation (EC) 853/2004 as amended by 1276/2011.
    [
        (Option.F20C_168H, 168.0),
        (Option.F35C_15H, 15.0),
        (Option.F35C_THEN_20C_24H, 24.0),
        (Option.F20C_24H, 24.0),
    ],
)
def test_hold_needs_the_published_hours_to_the_millisecond(
    option: Option, required_h: float
) -> None:
    """One millisecond less is not enough."""
    millisecond = 1.0 / H

    enough = held(option, record(required_h))
    short = held(option, record(required_h - millisecond))

    assert REQUIRED_H[option] == required_h
    assert hours(enough) == (0.0, required_h, required_h)
    assert short.completed_ms is None
    assert short.credited_h == pytest.approx(required_h - millisecond, abs=1e-9)


def test_hold_that_ends_at_the_very_instant_of_a_break_is_complete() -> None:
    """168 h were given, and only then was it warm."""
    assert hours(held(Option.F20C_168H, record(200, broken(168, 169)))) == (0.0, 168.0, 168.0)


def test_hold_broken_a_millisecond_before_its_end_starts_again() -> None:
    """Almost is not enough."""
    found = held(Option.F20C_168H, record(400, broken(168 - 1 / H, 169)))

    assert hours(found) == (169.0, 337.0, 168.0)


def test_hold_stops_counting_at_what_it_needs() -> None:
    """Credit is never above the requirement, nor does completion move on."""
    assert hours(held(Option.F20C_24H, record(1000))) == (0.0, 24.0, 24.0)


def test_hold_once_complete_is_not_undone_by_later_breaks() -> None:
    """Parasites that are dead stay dead."""
    found = held(Option.F20C_24H, record(100, broken(30, 40, 5.0)))

    assert hours(found) == (0.0, 24.0, 24.0)
    assert found.interruptions == ()


def test_hold_keeps_every_interruption_on_record() -> None:
    """Twice warm, once silent: three restarts, each with its peak and reason."""
    breaks = (broken(10, 11), broken(20, 21, -12.0), broken(30, 32, -25.0, GAP))

    found = held(Option.F20C_24H, record(50, *breaks))

    assert found.interruptions == breaks
    assert hours(found) == (32.0, None, 18.0)


def test_hold_does_not_call_warmth_before_the_first_cold_an_interruption() -> None:
    """The fish is going in."""
    found = held(Option.F20C_24H, record(50, broken(-5, 2, 4.0)))

    assert found.interruptions == ()
    assert hours(found) == (2.0, 26.0, 24.0)


def test_hold_that_never_was_cold_has_not_begun() -> None:
    """No zero, no credit, no interruption."""
    found = held(Option.F20C_24H, record(50, broken(-5, None, 4.0)))

    assert (hours(found), found.interruptions) == ((None, None, 0.0), ())


def test_hold_in_a_unit_nobody_measures_is_never_credited() -> None:
    """Nothing is proven there."""
    assert hours(held(Option.F20C_24H, NOTHING_PROVEN)) == (None, None, 0.0)


def test_hold_ignores_breaks_from_before_the_lot_came() -> None:
    """What the freezer did last week is not the lot's business."""
    found = held(Option.F20C_24H, record(50, broken(-50, -40), broken(-5, 0)), from_h=1.0)

    assert hours(found) == (1.0, 25.0, 24.0)


def test_hold_expects_its_completion_if_the_cold_lasts() -> None:
    """What to write on the door."""
    assert held(Option.F20C_168H, record(100)).expected_ms == 168 * H
    assert held(Option.F20C_168H, record(100, broken(0, None))).expected_ms is None


# --- moves ----------------------------------------------------------------------------------


def moved(first: ColdRecord, second: ColdRecord, at_h: float, option: Option) -> Hold:
    """Evaluate a hold that went on in another freezer."""
    return evaluate_hold(
        option,
        [
            Placement(unit=ONE, from_ms=0.0, to_ms=at_h * H),
            Placement(unit=TWO, from_ms=at_h * H, to_ms=None),
        ],
        lambda unit, _: first if unit == ONE else second,
        lambda _, __: 0.0,
    )


def test_hold_moved_within_the_cold_goes_on() -> None:
    """From one cold freezer into another."""
    assert hours(moved(record(30), record(30), 10, Option.F20C_24H)) == (0.0, 24.0, 24.0)


def test_hold_sees_of_each_freezer_only_its_own_time_there() -> None:
    """The first warms after the move, the second had been warm before it."""
    first, second = record(40, broken(10, 12)), record(40, broken(5, 10))

    found = moved(first, second, 10, Option.F20C_24H)

    assert (hours(found), found.interruptions) == ((0.0, 24.0, 24.0), ())


def test_hold_moved_into_the_warmth_is_interrupted_from_the_move_on() -> None:
    """The break is the lot's only since it stands there."""
    found = moved(record(40), record(40, broken(5, 13)), 10, Option.F20C_24H)

    assert [(b.start_ms / H, (b.end_ms or 0) / H) for b in found.interruptions] == [(10.0, 13.0)]
    assert hours(found) == (13.0, 37.0, 24.0)


def test_hold_credit_is_that_of_the_first_unit_until_the_second_speaks() -> None:
    """Moved at hour 10; the second unit was last heard at 9:50, or never was asked."""
    found = moved(record(10), record(9 + 5 / 6), 10, Option.F20C_24H)

    assert hours(found) == (0.0, None, 10.0)


def test_hold_is_not_credited_between_the_first_units_silence_and_the_seconds_old_news() -> None:
    """The first was last heard at hour 9, the second at 9:30, and the move was at 10."""
    found = moved(record(9), record(9.5), 10, Option.F20C_24H)

    assert hours(found) == (0.0, None, 9.0)


def test_hold_carried_through_a_freezer_goes_on_in_the_one_after_it() -> None:
    """For three minutes it stood where the last reading was from just before it came."""
    third = UnitId("freezer-3")
    known = {ONE: record(10), TWO: record(9.99), third: record(40)}

    found = evaluate_hold(
        Option.F20C_24H,
        [
            Placement(unit=ONE, from_ms=0.0, to_ms=10.0 * H),
            Placement(unit=TWO, from_ms=10.0 * H, to_ms=10.05 * H),
            Placement(unit=third, from_ms=10.05 * H, to_ms=None),
        ],
        lambda unit, _: known[unit],
        lambda _, __: 0.0,
    )

    assert hours(found) == (0.0, 24.0, 24.0)


# --- solid ----------------------------------------------------------------------------------


def test_hold_of_15_hours_counts_from_solid_not_from_cold() -> None:
    """The centre is solid six hours after −35 °C began."""
    found = held(Option.F35C_15H, record(30), solid_h=6.0)

    assert hours(found) == (6.0, 21.0, 15.0)


def test_hold_of_15_hours_broken_before_solid_freezes_anew() -> None:
    """Five cold hours, a break, and six more to be solid: no hour of the count is lost."""
    found = held(Option.F35C_15H, record(40, broken(5, 6)), solid_h=6.0)

    assert hours(found) == (12.0, 27.0, 15.0)
    assert [one.lost_h for one in found.interruptions] == [0.0]


def test_hold_of_a_fish_that_is_never_solid_is_never_credited() -> None:
    """Too thick, or the air too warm, for any estimate."""
    for option in (Option.F35C_15H, Option.F35C_THEN_20C_24H):
        assert hours(held(option, record(500), solid_h=None)) == (None, None, 0.0)


def test_hold_not_yet_solid_has_no_zero() -> None:
    """Four of six hours: nothing is counted yet."""
    assert hours(held(Option.F35C_15H, record(4), solid_h=6.0)) == (None, None, 0.0)


def test_hold_after_solid_is_stored_at_minus_20() -> None:
    """Solid at hour 6; the −35 °C ends at hour 7, and −20 °C is enough from then on."""
    at_35 = record(40, broken(7, None, -25.0))

    found = held(Option.F35C_THEN_20C_24H, record(40), at_35=at_35, solid_h=6.0)

    assert hours(found) == (6.0, 30.0, 24.0)


def test_hold_after_solid_broken_without_thawing_starts_again_from_the_return() -> None:
    """Up to −15 °C: the 24 h begin anew, the fish is still solid."""
    at_35 = record(60, broken(7, None, -15.0))

    found = held(
        Option.F35C_THEN_20C_24H, record(60, broken(10, 12, -15.0)), at_35=at_35, solid_h=6.0
    )

    assert hours(found) == (12.0, 36.0, 24.0)
    assert len(found.interruptions) == 1


def test_hold_after_solid_that_thawed_must_be_solid_again() -> None:
    """Up to +2 °C: 40 h at −25 °C after it prove nothing."""
    at_35 = record(60, broken(7, None, 2.0))

    found = held(
        Option.F35C_THEN_20C_24H, record(60, broken(10, 12, 2.0)), at_35=at_35, solid_h=6.0
    )

    assert hours(found) == (None, None, 0.0)
    assert [b.peak_c for b in found.interruptions] == [2.0]


def test_hold_after_solid_that_thawed_and_froze_again_counts_from_the_second_solid() -> None:
    """Thawed at hour 10, back at −35 °C from hour 20, solid at 26, complete at 50."""
    at_35 = record(60, broken(7, 20, 2.0))

    found = held(
        Option.F35C_THEN_20C_24H, record(60, broken(10, 12, 2.0)), at_35=at_35, solid_h=6.0
    )

    assert hours(found) == (26.0, 50.0, 24.0)


def test_hold_after_solid_that_warmed_to_minus_5_and_no_further_has_not_thawed() -> None:
    """What loses "solid" is a break warmer than −5 °C, and at it the fish is still frozen."""
    at_35 = record(60, broken(7, None, -5.0))

    at_line = held(
        Option.F35C_THEN_20C_24H, record(60, broken(10, 12, -5.0)), at_35=at_35, solid_h=6.0
    )
    beyond = held(
        Option.F35C_THEN_20C_24H, record(60, broken(10, 12, -4.9)), at_35=at_35, solid_h=6.0
    )

    assert hours(at_line) == (12.0, 36.0, 24.0)
    assert hours(beyond) == (None, None, 0.0)


def test_hold_of_24_hours_counts_from_when_all_parts_of_the_fish_are_cold() -> None:
    """Regulation (EC) 853/2004: "all parts"; the centre of this one is there after three hours."""
    found = evaluate_hold(
        Option.F20C_24H,
        [Placement(unit=ONE, from_ms=0.0, to_ms=None)],
        lambda _, __: record(40),
        lambda _, __: 9.0 * H,
        lambda _, __: 3.0 * H,
    )

    assert hours(found) == (3.0, 27.0, 24.0)


# --- several probes -------------------------------------------------------------------------


def test_merged_records_are_broken_where_any_is() -> None:
    """The warmest corner counts; overlapping breaks are one."""
    merged = merge_records(
        [record(50, broken(5, 8, -18.0)), record(40, broken(7, 9, -10.0), broken(20, 21))]
    )

    assert [(b.start_ms / H, (b.end_ms or 0) / H, b.peak_c) for b in merged.breaks] == [
        (5.0, 9.0, -10.0),
        (20.0, 21.0, -15.0),
    ]
    assert merged.known_until_ms == 40 * H


def test_merged_records_last_where_one_lasts() -> None:
    """A probe that is still warm keeps the unit warm, whatever came between."""
    merged = merge_records([record(50, broken(5, None)), record(50, broken(7, 9), broken(20, 21))])

    assert [(b.start_ms / H, b.end_ms) for b in merged.breaks] == [(5.0, None)]


def test_merged_records_name_warmth_before_silence() -> None:
    """Where one was warm and another silent, it was warm."""
    merged = merge_records([record(50, broken(5, 8, None, GAP)), record(50, broken(6, 7, -10.0))])

    assert [(b.reason, b.peak_c) for b in merged.breaks] == [(WARM, -10.0)]


def test_merging_no_records_is_refused() -> None:
    """A unit without a probe proves nothing; whoever asks must say so."""
    with pytest.raises(ValueError, match="proves nothing"):
        merge_records([])


@pytest.mark.parametrize("order", [[0, 1, 2], [2, 0, 1], [1, 2, 0]])
def test_merged_records_do_not_depend_on_the_probes_order(order: Sequence[int]) -> None:
    """The configuration's order is nobody's verdict."""
    records = [
        record(50, broken(1, 4), broken(30, None)),
        record(45, broken(3, 6, -11.0, GAP)),
        record(60, broken(6, 7), broken(10, 11)),
    ]

    merged = merge_records([records[n] for n in order])

    assert merged == merge_records(records)
    assert all((a.end_ms or 0.0) < b.start_ms for a, b in pairwise(merged.breaks))


def test_fish_that_is_solid_at_the_last_instant_known_has_begun_and_earned_nothing() -> None:
    """The count stands at zero from then on, and not a moment before."""
    assert hours(held(Option.F35C_15H, record(5.0), solid_h=5.0)) == (5.0, None, 0.0)
    assert hours(held(Option.F35C_15H, record(5.0), solid_h=5.0 + 1 / H)) == (None, None, 0.0)


def test_way_to_solid_that_was_broken_off_begins_again() -> None:
    """Ten hours at −35 °C in one piece: five and five are not ten."""
    broken_off = record(100.0, broken(5.0, 6.0, -30.0))
    hold = held(Option.F35C_THEN_20C_24H, record(100.0), at_35=broken_off, solid_h=10.0)

    assert hours(hold) == (16.0, 40.0, 24.0)


def test_way_to_solid_that_ends_as_the_warmth_begins_was_long_enough() -> None:
    """Solid is solid, to the millisecond."""
    just = record(100.0, broken(10.0, 11.0, -30.0))
    short = record(100.0, broken(10.0 - 1 / H, 11.0, -30.0))

    assert hours(held(Option.F35C_THEN_20C_24H, record(100.0), at_35=just, solid_h=10.0)) == (
        10.0,
        34.0,
        24.0,
    )
    assert hours(held(Option.F35C_THEN_20C_24H, record(100.0), at_35=short, solid_h=10.0)) == (
        21.0,
        45.0,
        24.0,
    )


@pytest.mark.parametrize("begins_h", [10.0, 10.5, 50.0])
def test_freezer_that_warms_once_the_lot_has_left_takes_nothing_from_it(begins_h: float) -> None:
    """From the very instant of the move on; what warms before still does."""
    stays = [
        Placement(unit=ONE, from_ms=0.0, to_ms=10 * H),
        Placement(unit=TWO, from_ms=10 * H, to_ms=None),
    ]
    units = {ONE: record(200.0, broken(begins_h, None)), TWO: record(200.0)}
    hold = evaluate_hold(Option.F20C_168H, stays, lambda unit, _: units[unit], lambda _, __: 0.0)

    assert hours(hold) == (0.0, 168.0, 168.0)
    assert hold.interruptions == ()

    units[ONE] = record(200.0, broken(10.0 - 1.0, None))
    hold = evaluate_hold(Option.F20C_168H, stays, lambda unit, _: units[unit], lambda _, __: 0.0)

    assert hours(hold) == (10.0, 178.0, 168.0)


def test_cold_that_begins_at_the_last_instant_known_has_begun_where_nothing_else_is_asked() -> None:
    """A freezer's temperature counts at once; fish that must be solid first has not begun."""
    just = record(5.0, broken(2.0, 5.0))

    assert hours(held(Option.F20C_168H, just)) == (5.0, None, 0.0)
    assert hours(held(Option.F20C_168H, just, from_h=3.0)) == (5.0, None, 0.0)
    assert hours(held(Option.F35C_15H, just, solid_h=1.0)) == (None, None, 0.0)
    assert hours(held(Option.F20C_168H, record(5.0), from_h=6.0)) == (None, None, 0.0)
