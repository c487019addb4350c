"""The contract of a replay, on traces written by hand with results worked out by hand."""

from math import exp, log
from typing import Any

import pytest

from handmade import ONE_CONTACT, Paper, probe, shop, timed_probe, unit
from rimewatch.replay import EmptyTraceError

CASE = shop(unit(), probe())


def case(ledger: dict[str, Any], unit_id: str = "case-1") -> dict[str, Any]:
    """Return a unit's part of a ledger."""
    found: dict[str, Any] = ledger["units"][unit_id]
    return found


def excursions(ledger: dict[str, Any], unit_id: str = "case-1") -> list[tuple[Any, ...]]:
    """Return rule, start, end, peak and seconds above of each excursion."""
    return [
        (e["rule"], e["start"], e["end"], e["peak_c"], e["above_s"])
        for e in case(ledger, unit_id)["excursions"]
    ]


# --- the limit ------------------------------------------------------------------------------


@pytest.mark.parametrize(("held_c", "above_s"), [(4.99, 0.0), (5.0, 0.0), (5.01, 600.0)])
def test_holding_limit_is_five_degrees_to_the_hundredth(held_c: float, above_s: float) -> None:
    """FDA Food Code 2022, 3-501.16(A)(2): 5 °C (41 °F) or less."""
    ledger = Paper().curve([(0, held_c), (600, held_c)], every_s=60).ledger(CASE)

    assert case(ledger)["above_limit_s"] == above_s
    assert case(ledger)["governing_above_limit_s"] == above_s
    assert len(excursions(ledger)) == (1 if above_s else 0)


@pytest.mark.parametrize(("held_f", "above_s"), [(40.98, 0.0), (41.0, 0.0), (41.02, 600.0)])
def test_holding_limit_is_forty_one_fahrenheit(held_f: float, above_s: float) -> None:
    """41 °F is 5 °C exactly; 41.02 °F is 5.011 °C."""
    fahrenheit = shop(unit(), probe(scale="F"))

    ledger = Paper().curve([(0, held_f), (600, held_f)], every_s=60).ledger(fahrenheit)

    assert case(ledger)["above_limit_s"] == above_s


@pytest.mark.parametrize(("held_c", "count"), [(-18.01, 0), (-18.0, 0), (-17.99, 1)])
def test_freezer_excursion_is_against_the_freezers_own_limit(held_c: float, count: int) -> None:
    """The rule of a freezer is ``freezer``, its limit −18 °C."""
    freezer = shop(unit("freezer-1", "freezer"), probe("air", "freezer-1"))

    ledger = Paper().curve([(0, held_c), (600, held_c)], every_s=60).ledger(freezer)

    assert [e[0] for e in excursions(ledger, "freezer-1")] == ["freezer"] * count


def test_operating_limit_has_excursions_of_its_own() -> None:
    """3.3 °C is passed after 13 s, 5 °C after 30 s: 2 → 8 °C in a minute."""
    early = shop(unit(operating_limit_c=3.3), probe())
    paper = Paper().curve([(0, 2.0), (60, 8.0), (120, 2.0)])

    found = excursions(paper.ledger(early))

    # Closing: 8 → 2 °C passes 4.5 °C after 35 s, 2.8 °C after 52 s.
    assert found == [
        ("operating-limit", paper.iso(13), paper.iso(112), 8.0, 94.0),
        ("holding", paper.iso(30), paper.iso(95), 8.0, 60.0),
    ]


# --- excursions -----------------------------------------------------------------------------


def test_excursion_runs_from_crossing_to_crossing() -> None:
    """2, 4, 6, 4 °C a minute apart: up through 5 at 90 s, down through 4.5 at 165 s."""
    paper = Paper().curve([(0, 2.0), (60, 4.0), (120, 6.0), (180, 4.0)])

    found = excursions(paper.ledger(CASE))

    assert found == [("holding", paper.iso(90), paper.iso(165), 6.0, 60.0)]


def test_excursion_that_lasts_has_no_end() -> None:
    """An end nobody has seen is null; the time above runs to the last reading."""
    paper = Paper().curve([(0, 2.0), (60, 8.0), (120, 8.0)])

    assert excursions(paper.ledger(CASE)) == [("holding", paper.iso(30), None, 8.0, 90.0)]


def test_excursion_within_the_deadband_is_one() -> None:
    """6 → 4.6 → 6 → 4 °C: never below 4.5 °C in between.

    Above: 6→4.6 passes 5 after 42.857 s; 4.6→6 is above for the last 42.857 s; 6→4
    passes 5 after 30 s and 4.5 after 45 s.
    """
    paper = Paper().curve([(0, 6.0), (60, 4.6), (120, 6.0), (180, 4.0)])

    ((_, start, end, peak_c, above_s),) = excursions(paper.ledger(CASE))

    assert (start, end, peak_c) == (paper.iso(0), paper.iso(165), 6.0)
    assert above_s == pytest.approx(42.857 * 2 + 30.0, abs=0.002)


def test_excursion_of_fish_behind_air_follows_the_closed_form() -> None:
    """Fish at 2 °C, air stepping (over 60 s) to 10 °C and staying: τ = 1200 s.

    Ramp: s = 8/60, sτ = 160: y(60) = 10 − 160 + (2 − 2 + 160)·e^−0.05 = 2.196708 °C.
    Then y = 10 − 7.803292·e^(−t/1200) = 5 at t = 1200·ln(7.803292/5) = 534.17 s.
    """
    slow = shop(unit(lag_s=1200), probe())
    paper = Paper().curve([(0, 2.0), (60, 10.0)]).curve([(120, 10.0), (1260, 10.0)], every_s=60)

    ledger = paper.ledger(slow)

    at_60_c = 10.0 - 160.0 + 160.0 * exp(-0.05)
    crossing_s = 60.0 + 1200.0 * log((10.0 - at_60_c) / 5.0)
    end_c = 10.0 - (10.0 - at_60_c) * exp(-1.0)
    ((_, start, end, peak_c, above_s),) = excursions(ledger)
    assert (start[:-5], end) == (paper.iso(crossing_s)[:-5], None)
    assert peak_c == pytest.approx(end_c, abs=0.0006)
    assert above_s == pytest.approx(1260.0 - crossing_s, abs=0.002)
    assert case(ledger)["governing_above_limit_s"] == above_s
    # The air itself passes 5 °C after 22.5 s.
    assert case(ledger)["above_limit_s"] == pytest.approx(1260.0 - 22.5)
    assert case(ledger)["max_c"] == 10.0


def test_defrost_of_the_air_alone_is_no_excursion_of_the_fish() -> None:
    """Ten minutes of air at 8 °C lift fish of 2 °C by 6·(1 − e^−0.5) at most: 4.36 °C."""
    slow = shop(unit(lag_s=1200), probe())
    paper = Paper().curve([(0, 2.0), (60, 8.0)]).curve([(120, 8.0), (600, 8.0)], every_s=60)
    paper.curve([(660, 2.0), (1200, 2.0)], every_s=60)

    ledger = paper.ledger(slow)

    assert excursions(ledger) == []
    assert case(ledger)["governing_above_limit_s"] == 0.0
    # Up through 5 °C at 30 s, down through it at 630 s.
    assert case(ledger)["above_limit_s"] == 600.0


# --- gaps -----------------------------------------------------------------------------------


def test_gap_in_an_excursion_with_a_warm_return_leaves_it_open_and_counts_nothing() -> None:
    """6 °C for 120 s, ten silent minutes, 6 °C for 60 s, then 4 °C: above 120 + 60 + 30 s."""
    paper = Paper().curve([(0, 6.0), (60, 6.0), (120, 6.0)])
    paper.curve([(720, 6.0), (780, 6.0), (840, 4.0)])

    ledger = paper.ledger(CASE)

    assert excursions(ledger) == [("holding", paper.iso(0), paper.iso(825), 6.0, 210.0)]
    assert case(ledger)["missing_s"] == 600.0


def test_gap_in_an_excursion_with_a_cold_return_ends_it_at_the_last_reading_before() -> None:
    """The fish is cold on return: it was over at the last reading before the gap."""
    paper = Paper().curve([(0, 6.0), (60, 7.0), (660, 4.4), (720, 4.4)])

    assert excursions(paper.ledger(CASE)) == [("holding", paper.iso(0), paper.iso(60), 7.0, 60.0)]


def test_gap_with_cold_air_on_return_does_not_cool_the_fish() -> None:
    """Behind a lag the fish restarts at the warmer: its last 6 °C, not the air's 1 °C.

    It then cools as 1 + 5·e^(−t/1200): below 5 °C after 1200·ln(5/4) = 267.77 s, below
    4.5 °C after 1200·ln(5/3.5) = 428.01 s.
    """
    slow = shop(unit(lag_s=1200), probe())
    paper = Paper().curve([(0, 6.0), (60, 6.0)]).curve([(660, 1.0), (1260, 1.0)], every_s=60)

    ((_, start, end, peak_c, above_s),) = excursions(paper.ledger(slow))

    assert (start, peak_c) == (paper.iso(0), 6.0)
    assert end[:-5] == paper.iso(660.0 + 1200.0 * log(5.0 / 3.5))[:-5]
    assert above_s == pytest.approx(60.0 + 1200.0 * log(5.0 / 4.0), abs=0.002)


def test_missing_time_is_counted_at_the_start_in_the_middle_and_at_the_end() -> None:
    """A second probe frames the trace; the first is silent 240 s, 300 s and 200 s.

    The stale time is three intervals of 60 s.
    """
    two = shop(unit(), unit("case-2"), probe(), probe("other", "case-2"))
    paper = Paper().say(0, "2.0", "other").curve([(240, 2.0), (300, 2.0), (600, 2.0)])
    paper.say(800, "2.0", "other")

    ledger = paper.ledger(two)

    assert case(ledger)["missing_s"] == 240.0 + 300.0 + 200.0
    assert [(g["start"], g["end"]) for g in case(ledger)["gaps"]] == [
        (paper.iso(0), paper.iso(240)),
        (paper.iso(300), paper.iso(600)),
        (paper.iso(600), paper.iso(800)),
    ]
    assert case(ledger, "case-2")["missing_s"] == 800.0


@pytest.mark.parametrize(("silent_s", "missing_s"), [(180, 0.0), (181, 181.0)])
def test_missing_time_begins_beyond_the_stale_time(silent_s: int, missing_s: float) -> None:
    """At the start, in the middle and at the end alike, 180 s are not missing."""
    two = shop(unit(), unit("case-2"), probe(), probe("other", "case-2", every_s=3600))
    paper = Paper().say(0, "2.0", "other").say(silent_s, "2.0").say(2 * silent_s, "2.0")
    paper.say(3 * silent_s, "2.0", "other")

    assert case(paper.ledger(two))["missing_s"] == 3 * missing_s


# --- statistics -----------------------------------------------------------------------------


def test_statistics_of_unequal_intervals_are_weighted_by_time() -> None:
    """2 °C for 10 s, up to 6 °C in 20 s, 6 °C for 120 s: (20 + 80 + 720)/150 = 5.4667 °C.

    Above 5 °C: the last 5 s of the rise, and 120 s.
    """
    found = case(Paper().curve([(0, 2.0), (10, 2.0), (30, 6.0), (150, 6.0)]).ledger(CASE))

    assert (found["readings"], found["min_c"], found["max_c"]) == (4, 2.0, 6.0)
    assert found["mean_c"] == 5.4667
    assert found["above_limit_s"] == 125.0
    assert found["mean_c"] < found["kinetic_c"] < found["max_c"]


def test_kinetic_mean_of_a_night_is_the_published_formulas() -> None:
    """5 °C for 23 parts and 15 °C for one: 5.764 °C (dH/R = 10 000 K), steps of 1 s."""
    paper = Paper().curve([(0, 5.0), (2300, 5.0)], every_s=100)
    paper.curve([(2301, 15.0), (2401, 15.0)], every_s=100)

    assert case(paper.ledger(CASE))["kinetic_c"] == pytest.approx(5.766, abs=0.006)


def test_readings_are_counted_once_a_time() -> None:
    """A message that comes twice is one reading; of two values at one time the warmer stands."""
    dated = shop(unit(), timed_probe())
    paper = Paper().dated(0, 0, 2.0).dated(60, 60, 3.0).dated(61, 60, 3.0).dated(62, 60, 2.5)
    paper.dated(63, 60, 3.5)

    found = case(paper.ledger(dated))

    assert (found["readings"], found["max_c"]) == (2, 3.5)


def test_fahrenheit_probe_and_celsius_probe_give_one_ledger() -> None:
    """35.6, 39.2, 42.8, 39.2 °F are 2, 4, 6, 4 °C."""
    fahrenheit = shop(unit(), probe(scale="F"))

    in_f = Paper().curve([(0, 35.6), (60, 39.2), (120, 42.8), (180, 39.2)]).ledger(fahrenheit)

    assert in_f == Paper().curve([(0, 2.0), (60, 4.0), (120, 6.0), (180, 4.0)]).ledger(CASE)


def test_offset_is_in_celsius_after_conversion() -> None:
    """32 °F with an offset of 0.5 °C is 0.5 °C."""
    offset = shop(unit(), probe(scale="F", offset_c=0.5))

    assert case(Paper().say(0, "32").say(60, "32").ledger(offset))["max_c"] == 0.5


# --- which probe speaks ---------------------------------------------------------------------


def test_product_probe_governs_over_the_air_and_is_not_lagged() -> None:
    """Air at 9 °C and fish at 3 °C: the fish is well. It is measured, so no lag."""
    both = shop(unit(lag_s=1200), probe(), probe("fish", measures="product"))
    paper = Paper().curve([(0, 9.0), (600, 9.0)], every_s=60)
    paper.curve([(0, 3.0), (60, 3.0), (120, 6.0), (180, 3.0)], topic="fish")

    ledger = paper.ledger(both)

    # 3 → 6 °C passes 5 after 40 s, 6 → 3 °C passes 5 after 20 s and 4.5 after 30 s.
    assert excursions(ledger) == [("holding", paper.iso(100), paper.iso(150), 6.0, 40.0)]
    assert (case(ledger)["max_c"], case(ledger)["readings"]) == (6.0, 4)
    assert case(ledger)["above_limit_s"] == 40.0
    # From the last product reading (180 s) to the end (600 s): the air does not fill it.
    assert case(ledger)["missing_s"] == 420.0


def test_every_governing_probe_is_judged_and_the_first_is_shown() -> None:
    """The warmest corner counts."""
    two = shop(unit(), probe("front"), probe("back"), ONE_CONTACT)
    paper = Paper().curve([(0, 2.0), (300, 2.0)], topic="front", every_s=60)
    paper.curve([(0, 8.0), (300, 8.0)], topic="back", every_s=60)

    ledger = paper.ledger(two)

    assert [e["probe"] for e in case(ledger)["excursions"]] == ["back"]
    assert (case(ledger)["max_c"], case(ledger)["governing_above_limit_s"]) == (2.0, 0.0)
    assert [(a["unit"], a["rule"]) for a in ledger["alarms"]] == [("case-1", "holding")]


# --- the trace ------------------------------------------------------------------------------


def test_ledger_spans_the_readings_own_times() -> None:
    """A backlog that arrives later than anything reaches back, not on."""
    dated = shop(unit(), timed_probe())
    paper = Paper().dated(0, 0, 2.0).dated(900, -3600, 2.0)

    ledger = paper.ledger(dated)

    assert (ledger["from"], ledger["to"]) == (paper.iso(-3600), paper.iso(0))


@pytest.mark.parametrize(
    ("taken_s", "used_s"),
    [
        (300, 300),
        (301, 0),
        (-30 * 86_400, -30 * 86_400),
        (-30 * 86_400 - 1, 0),
    ],
)
def test_time_of_a_payload_is_used_while_it_is_plausible(taken_s: int, used_s: int) -> None:
    """At most 300 s after the arrival and at most 30 days before it."""
    dated = shop(unit(), timed_probe())
    paper = Paper().dated(0, taken_s, 2.0)

    assert paper.ledger(dated)["from"] == paper.iso(used_s)


def test_replay_of_the_same_trace_gives_the_same_ledger_and_summaries() -> None:
    """The same input gives the same bytes."""
    paper = Paper().curve([(0, 2.0), (3600, 9.0)], every_s=60)

    first, second = paper.replay(CASE), paper.replay(CASE)

    assert first == second
    assert list(first.mornings), "half past six lies in the trace"


def test_replay_of_nothing_is_refused() -> None:
    """There is nothing to say of an empty trace."""
    with pytest.raises(EmptyTraceError, match="has no line"):
        Paper().replay(CASE)
