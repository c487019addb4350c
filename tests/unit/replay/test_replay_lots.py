"""Freezing holds through a replay: the Food Code's options at their exact limits.

[1] FDA Food Code 2022, 3-402.11(A)(1)-(3); [2] Regulation (EC) 853/2004, Annex III,
Section VIII, Chapter III, D(2), as replaced by Regulation (EU) 1276/2011.
"""

from typing import Any

import pytest
from frozen_lots import EVERY_S, START, H, freezers, lot, steady

from handmade import ONE_CONTACT, Paper, iso, ms, probe, shop, unit
from rimewatch.shop import Shop


def test_lot_of_a_replay_is_the_lot_of_the_figures_alone() -> None:
    """The tests below leave the summaries out; nothing of a lot depends on them."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-24h"), -25.0, 0, 30)

    assert paper.ledger(freezers())["lots"] == paper.figures(freezers())["lots"]
    assert lot(paper, freezers())["state"] == "complete"


# --- 20C-168h -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("celsius", "hours", "state"),
    # [1] (A)(1): −20 °C or below for 168 h.
    [
        (-20.0, 168.0, "complete"),
        (-20.0, 168.0 - 1 / H, "freezing"),
        (-20.0, 167.0 + 59.0 / 60.0, "freezing"),
        (-19.9, 200.0, "freezing"),
        (-20.1, 168.0, "complete"),
    ],
)
def test_hold_of_seven_days_is_complete_to_the_second_and_the_tenth(
    celsius: float, hours: float, state: str
) -> None:
    """A probe without uncertainty at the very line."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), celsius, 0, hours)

    found = lot(paper, freezers())

    assert found["state"] == state
    assert found["required_h"] == 168.0
    if state == "complete":
        assert (found["credited_h"], found["completed"]) == (168.0, paper.iso(168 * H))
        assert found["started"] == paper.iso(0)
    else:
        assert found["completed"] is None
        assert found["credited_h"] == pytest.approx(hours if celsius <= -20.0 else 0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "state"),
    [(-20.0, "freezing"), (-20.29, "freezing"), (-20.3, "complete"), (-20.4, "complete")],
)
def test_hold_is_credited_only_with_the_probes_uncertainty_on_top(
    celsius: float, state: str
) -> None:
    """Reading + 0.3 °C ≤ −20 °C (guard band, JCGM 106:2012, 8.3): doubt counts against it."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), celsius, 0, 170)

    found = lot(paper, freezers(uncertainty_c=0.3))

    assert found["state"] == state
    assert found["completed"] == (paper.iso(168 * H) if state == "complete" else None)


def test_hold_at_nineteen_point_nine_is_never_credited() -> None:
    """Weeks of −19.9 °C prove nothing."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), -19.9, 0, 500)

    found = lot(paper, freezers(uncertainty_c=0.3))

    assert (found["credited_h"], found["started"], found["interruptions"]) == (0.0, None, [])


def test_hold_broken_at_hour_160_starts_again_from_zero() -> None:
    """Ten minutes up from −25 to −15 °C and ten down: above −20 °C for half of each.

    Cold again at 160 h 15 min: complete 168 h later, not 8 h later.
    """
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), -25.0, 0, 160)
    paper.say(160 * H + 600, "-15.0", "one")
    steady(paper, -25.0, 160 + 20 / 60, 168 + 161)

    found = lot(paper, freezers())

    back_s = 160 * H + 900
    assert found["interruptions"] == [
        {
            "start": paper.iso(160 * H + 300),
            "end": paper.iso(back_s),
            "peak_c": -15.0,
            "reason": "warm",
        }
    ]
    assert (found["started"], found["completed"]) == (
        paper.iso(back_s),
        paper.iso(back_s + 168 * H),
    )
    assert found["credited_h"] == 168.0


def test_hold_broken_and_not_yet_complete_counts_from_the_return() -> None:
    """The hours before are on the record as an interruption, not in the count."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), -25.0, 0, 160)
    paper.say(160 * H + 600, "-15.0", "one")
    steady(paper, -25.0, 160 + 20 / 60, 200)

    found = lot(paper, freezers())

    assert (found["state"], found["completed"]) == ("freezing", None)
    assert found["credited_h"] == pytest.approx(39.75, abs=1e-6)


def test_hold_broken_right_now_has_no_credit_and_raises_an_alarm_at_once() -> None:
    """While a lot is being held, −19 °C is no freezer excursion, and yet the hold is at risk."""
    keys: dict[str, Any] = {"every_s": EVERY_S, "stale_s": 1800, "uncertainty_c": 0.0}
    one = shop(
        unit("freezer-1", "freezer", on_delay_s=3600),
        probe("one", "freezer-1", **keys),
        ONE_CONTACT,
    )
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), -25.0, 0, 10)
    steady(paper, -19.0, 10 + 1 / 6, 11)

    ledger = paper.ledger(one)

    # −25 → −19 °C in 600 s passes −20 °C after 500 s; the reading that shows it comes at 600 s.
    assert [(a["rule"], a["priority"], a["raised"], a["since"]) for a in ledger["alarms"]] == [
        ("hold-at-risk", "high", paper.iso(10 * H + 600), paper.iso(10 * H + 500))
    ]
    (found,) = ledger["lots"]
    assert (found["credited_h"], found["state"]) == (0.0, "freezing")
    assert found["interruptions"][-1]["end"] is None
    assert ledger["units"]["freezer-1"]["excursions"] == []


@pytest.mark.parametrize(("gap_s", "broken"), [(1800, False), (1800.001, True), (1860, True)])
def test_hold_survives_silence_of_the_stale_time_and_no_longer(gap_s: float, broken: bool) -> None:
    """Stale after 30 min: 30 min are monitored, 31 min are an interruption."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), -25.0, 0, 100)
    back_s = 100 * H + gap_s
    steady(paper, -25.0, back_s / H, 169)

    found = lot(paper, freezers())

    if broken:
        assert found["interruptions"] == [
            {
                "start": paper.iso(100 * H),
                "end": iso(ms(START) + back_s * 1000).replace(".000Z", "Z"),
                "peak_c": -25.0,
                "reason": "gap",
            }
        ]
        assert found["state"] == "freezing"
        assert found["credited_h"] == pytest.approx(169 - back_s / H, abs=1e-6)
    else:
        assert (found["state"], found["interruptions"]) == ("complete", [])


def test_hold_is_not_credited_beyond_the_last_reading() -> None:
    """The probe dies at hour 167; the shop goes on. Nothing after it is proven."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), -25.0, 0, 167)
    steady(paper, 2.0, 0, 200, "case")

    found = lot(paper, freezers())

    assert (found["state"], found["completed"]) == ("freezing", None)
    assert found["interruptions"] == [
        {"start": paper.iso(167 * H), "end": None, "peak_c": None, "reason": "gap"}
    ]


def test_hold_over_the_spring_clock_change_needs_168_hours_not_seven_days() -> None:
    """Seven local days from 5 March 2026, 09:00 in Chicago, are 167 h."""
    paper = steady(Paper("2026-03-05T15:00:00Z").receive(0).freeze(0, "20C-168h"), -25.0, 0, 167)
    assert paper.lines[-1]["at"] == "2026-03-12T14:00:00.000Z", "09:00 by the clock on the wall"

    week = lot(paper, freezers())
    longer = lot(steady(paper, -25.0, 167 + 1 / 6, 168), freezers())

    assert (week["state"], week["credited_h"]) == ("freezing", 167.0)
    assert longer["completed"] == "2026-03-12T15:00:00Z"


def test_hold_begins_at_the_first_cold_instant_after_the_entry() -> None:
    """Warmth before the first cold is no interruption: the fish is only going in.

    −15 °C at 0 h, −25 °C ten minutes later: −20 °C is passed after five.
    """
    paper = Paper(START).receive(0).freeze(0, "20C-168h").say(0, "-15.0", "one")
    steady(paper, -25.0, 1 / 6, 169)

    found = lot(paper, freezers())

    assert (found["started"], found["interruptions"]) == (paper.iso(300), [])
    assert found["completed"] == paper.iso(300 + 168 * H)


def test_hold_does_not_count_cold_from_before_the_entry() -> None:
    """The freezer was cold for a week; the fish came in today."""
    paper = steady(Paper(START), -25.0, 0, 336)
    paper.receive(160 * H).freeze(170 * H, "20C-168h")

    found = lot(paper, freezers())

    assert (found["started"], found["state"]) == (paper.iso(170 * H), "freezing")
    assert found["credited_h"] == 166.0


# --- moves ----------------------------------------------------------------------------------


def test_hold_goes_on_in_another_freezer() -> None:
    """Both are cold: moved at hour 100, complete at hour 168."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    steady(paper, -25.0, 0, 170)
    steady(paper, -22.0, 0, 170, "two")
    paper.do(100 * H, "move-lot", lot="L1", unit="freezer-2")

    found = lot(paper, freezers())

    assert (found["completed"], found["interruptions"]) == (paper.iso(168 * H), [])


def test_hold_moved_into_a_warm_freezer_is_broken_there() -> None:
    """The first stays cold, and it is of no use: the fish is not in it."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    steady(paper, -25.0, 0, 170)
    steady(paper, -19.0, 0, 101, "two")
    steady(paper, -25.0, 101 + 1 / 6, 170, "two")
    paper.do(100 * H, "move-lot", lot="L1", unit="freezer-2")

    found = lot(paper, freezers())

    # −19 → −25 °C in 600 s passes −20 °C after 100 s.
    assert [(i["start"], i["end"]) for i in found["interruptions"]] == [
        (paper.iso(100 * H), paper.iso(101 * H + 100))
    ]
    assert found["started"] == paper.iso(101 * H + 100)


def test_hold_does_not_mind_a_freezer_that_warms_after_the_lot_has_left_it() -> None:
    """What becomes of the first freezer is no longer the lot's business."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    steady(paper, -25.0, 0, 101)
    steady(paper, 5.0, 101 + 1 / 6, 170)
    steady(paper, -25.0, 0, 170, "two")
    paper.do(100 * H, "move-lot", lot="L1", unit="freezer-2")

    found = lot(paper, freezers())

    assert (found["state"], found["interruptions"]) == ("complete", [])


def test_hold_stays_complete_when_the_lot_moves_on_before_the_next_reading_there() -> None:
    """Complete at hour 168, moved to another freezer 10 s later, whose last reading is older."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    steady(paper, -25.0, 0, 168)
    steady(paper, -25.0, 0, 168 - 1 / 6, "two")
    paper.do(168 * H + 10, "move-lot", lot="L1", unit="freezer-2")

    found = lot(paper, freezers())

    assert (found["state"], found["completed"]) == ("complete", paper.iso(168 * H))


def test_hold_keeps_its_credit_when_the_lot_has_just_been_moved() -> None:
    """100 h in the first are known, whatever the second has yet to say."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    steady(paper, -25.0, 0, 100)
    steady(paper, -25.0, 0, 100 - 1 / 6, "two")
    paper.do(100 * H + 1, "move-lot", lot="L1", unit="freezer-2")

    assert lot(paper, freezers())["credited_h"] == 100.0


def test_hold_that_was_completed_stays_so_in_the_display_case() -> None:
    """Thawed for sale after its week: complete, without an interruption."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    steady(paper, -25.0, 0, 170)
    steady(paper, 2.0, 0, 180, "case")
    paper.do(169 * H, "move-lot", lot="L1", unit="case-1")

    found = lot(paper, freezers())

    assert (found["state"], found["completed"], found["interruptions"]) == (
        "complete",
        paper.iso(168 * H),
        [],
    )


def test_withdrawn_lot_is_withdrawn() -> None:
    """Sold out: its record stays."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-168h"), -25.0, 0, 170)
    paper.do(169 * H, "withdraw-lot", lot="L1", reason="sold out")

    found = lot(paper, freezers())

    assert (found["state"], found["completed"]) == ("withdrawn", paper.iso(168 * H))


# --- the other options ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("celsius", "hours", "state"),
    # [2]; Japan's ministry of health asks the same of Anisakis.
    [
        (-20.0, 24.0, "complete"),
        (-20.0, 24.0 - 1 / H, "freezing"),
        (-19.9, 100.0, "freezing"),
    ],
)
def test_hold_of_24_hours_at_minus_20_is_complete_to_the_second(
    celsius: float, hours: float, state: str
) -> None:
    """``20C-24h``."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-24h"), celsius, 0, hours)

    found = lot(paper, freezers())

    assert (found["state"], found["required_h"]) == (state, 24.0)


@pytest.mark.parametrize(
    ("celsius", "hours", "state"),
    [
        (-35.0, 15.0, "complete"),
        (-35.0, 15.0 - 1 / H, "freezing"),
        (-34.9, 100.0, "freezing"),
        (-20.0, 100.0, "freezing"),
    ],
)
def test_hold_of_15_hours_at_minus_35_counts_from_solid(
    celsius: float, hours: float, state: str
) -> None:
    """[1] (A)(2): a product probe in the centre shows 0 °C at 0 h and −35 °C 600 s later."""
    paper = Paper(START).receive(0).freeze(0, "35C-15h").say(0, "0.0", "one")
    solid_s = 600.0
    steady(paper, celsius, solid_s / H, solid_s / H + hours)

    found = lot(paper, freezers(measures="product"))

    assert found["state"] == state
    if state == "complete":
        assert (found["started"], found["completed"]) == (
            paper.iso(solid_s),
            paper.iso(solid_s + 15 * H),
        )


@pytest.mark.parametrize(
    ("solid_c", "stored_c", "hours", "state"),
    [
        (-35.0, -20.0, 24.0, "complete"),
        (-35.0, -20.0, 24.0 - 1 / H, "freezing"),
        (-35.0, -19.9, 50.0, "freezing"),
        (-34.9, -20.0, 50.0, "freezing"),
        (-35.0, -20.0, 15.0, "freezing"),
    ],
)
def test_hold_of_24_hours_after_solid_at_minus_35_is_exact(
    solid_c: float, stored_c: float, hours: float, state: str
) -> None:
    """[1] (A)(3): the centre is at −35 °C for ten minutes, then stays at −20 °C."""
    paper = Paper(START).receive(0).freeze(0, "35C-then-20C-24h").say(0, "-1.0", "one")
    paper.say(600, str(solid_c), "one").say(1200, str(solid_c), "one")
    steady(paper, stored_c, 1800 / H, 600 / H + hours)

    found = lot(paper, freezers(measures="product"))

    assert found["state"] == state
    if state == "complete":
        assert (found["started"], found["completed"]) == (paper.iso(600), paper.iso(600 + 24 * H))


def test_hold_after_solid_that_is_broken_starts_again_without_minus_35() -> None:
    """Up to −15 °C for a while: still solid, so the 24 h begin again at the return."""
    paper = Paper(START).receive(0).freeze(0, "35C-then-20C-24h").say(0, "-36.0", "one")
    steady(paper, -25.0, 1 / 6, 10)
    paper.say(10 * H + 600, "-15.0", "one")
    steady(paper, -25.0, 10 + 2 / 6, 40)

    found = lot(paper, freezers(measures="product"))

    back_s = 10 * H + 900
    assert (found["started"], found["completed"]) == (paper.iso(back_s), paper.iso(back_s + 24 * H))
    assert [i["reason"] for i in found["interruptions"]] == ["warm"]


def test_hold_after_solid_that_thaws_needs_minus_35_again() -> None:
    """Up to +2 °C: not solid any more, and 30 h at −25 °C prove nothing."""
    paper = Paper(START).receive(0).freeze(0, "35C-then-20C-24h").say(0, "-36.0", "one")
    steady(paper, -25.0, 1 / 6, 10)
    paper.say(10 * H + 600, "2.0", "one")
    steady(paper, -25.0, 10 + 2 / 6, 40)

    assert lot(paper, freezers(measures="product"))["state"] == "freezing"


def test_hold_of_15_hours_behind_air_waits_for_the_estimate_of_a_thick_fish() -> None:
    """Air of −38 °C for 15 h is not enough: the fish is solid hours later."""
    thick = Paper(START).receive(0, thickness_mm=60, celsius=2.0).freeze(0, "35C-15h")
    thin = Paper(START).receive(0, thickness_mm=15, celsius=2.0).freeze(0, "35C-15h")

    thick_lot, thin_lot = (lot(steady(p, -38.0, 0, 60), freezers()) for p in (thick, thin))

    assert thick.at_ms(0) < ms(thin_lot["started"]) < ms(thick_lot["started"])
    assert ms(thin_lot["completed"]) == ms(thin_lot["started"]) + 15 * H * 1000


@pytest.mark.parametrize("order", [("one", "corner"), ("corner", "one")])
def test_hold_behind_several_air_probes_waits_for_the_warmest_corner(
    order: tuple[str, str],
) -> None:
    """−45 °C by the fan and −37 °C in the corner: the fish is solid as the corner has it."""
    keys: dict[str, Any] = {"every_s": EVERY_S, "stale_s": 1800, "uncertainty_c": 0.0}
    freezer = unit("freezer-1", "ultra-low-freezer", limit_c=-18.0)
    both = shop(freezer, *(probe(name, "freezer-1", **keys) for name in order))
    corner_alone = shop(freezer, probe("corner", "freezer-1", **keys))

    def started(in_shop: Shop) -> Any:
        paper = Paper(START).receive(0, thickness_mm=40, celsius=2.0).freeze(0, "35C-15h")
        steady(steady(paper, -45.0, 0, 30), -37.0, 0, 30, "corner")
        return lot(paper, in_shop)["started"]

    assert started(both) == started(corner_alone) is not None


def test_lot_nobody_received_is_treated_as_needing_destruction() -> None:
    """Unknown fish: doubt counts against it."""
    found = lot(steady(Paper(START).freeze(0, "20C-168h"), -25.0, 0, 1), freezers())

    assert found["needs_destruction"] is True
    assert found["state"] == "freezing"


def test_lot_that_was_never_frozen_is_received() -> None:
    """No option, no hours."""
    found = lot(Paper(START).receive(0).say(0, "2.0", "case"), freezers())

    assert (found["state"], found["option"], found["credited_h"]) == ("received", None, 0.0)
