"""A lot's life through a replay: statements, corrections, cancellations, moves, thawing, dates.

[1] FDA Food Code 2022, 3-402.11, 3-402.12, 3-501.13.
"""

from typing import Any

import pytest

from handmade import Paper, probe, shop, unit
from rimewatch.config import load_shop
from rimewatch.shop import Shop

H = 3600.0
EVERY_S = 600.0
START = "2026-02-02T15:00:00Z"
FARMED = {"species": "Salmo salar", "origin": "farmed-pellet"}


def units(*more: str, code: str = "us-food-code-2022") -> Shop:
    """Return a shop with two freezers, a walk-in and a case, without lag."""
    keys: dict[str, Any] = {"every_s": EVERY_S, "stale_s": 1800, "uncertainty_c": 0.0}
    return shop(
        unit("freezer-1", "freezer"),
        unit("freezer-2", "freezer"),
        unit("walk-in", "walk-in"),
        unit("case-1"),
        probe("one", "freezer-1", **keys),
        probe("two", "freezer-2", **keys),
        probe("walk", "walk-in", **keys),
        probe("case", "case-1", **keys),
        *more,
        code=code,
    )


def steady(paper: Paper, celsius: float, from_h: float, to_h: float, topic: str = "one") -> Paper:
    """Have a unit stay at a temperature."""
    count = round((to_h - from_h) * H / EVERY_S)
    for n in range(count + 1):
        paper.say(from_h * H + n * EVERY_S, str(celsius), topic)
    return paper


def lot(paper: Paper, in_shop: Shop | None = None, name: str = "L1") -> dict[str, Any]:
    """Return a lot of the ledger."""
    lots = paper.figures(units() if in_shop is None else in_shop)["lots"]
    (found,) = [item for item in lots if item["lot"] == name]
    assert isinstance(found, dict)
    return found


# --- statements -----------------------------------------------------------------------------


def test_statement_on_freezing_stands_in_place_of_own_freezing() -> None:
    """[1] 3-402.12(B); the state stays what happened here."""
    paper = steady(Paper(START).receive(0), 1.0, 0, 2, "case")
    paper.do(0, "move-lot", lot="L1", unit="case-1")
    assert lot(paper)["raw_ready"] is False
    paper.do(H, "attach-statement", lot="L1", reference="S-1", states="freezing", option="35C-15h")

    found = lot(paper)

    assert (found["raw_ready"], found["proof"], found["state"]) == (
        True,
        "supplier-freezing",
        "received",
    )
    assert found["statements"][0]["option"] == "35C-15h"


def test_own_hold_that_is_complete_is_named_before_a_statement() -> None:
    """The shop's own proof is the stronger."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-24h"), -25.0, 0, 25)
    paper.do(H, "attach-statement", lot="L1", reference="S-1", states="freezing")

    assert lot(paper, units(code="eu-853-2004"))["proof"] == "own-freezing"


def test_farmed_on_pellets_is_exempt_and_its_statement_is_asked_for() -> None:
    """[1] 3-402.11(B)(4), 3-402.12(C): the origin asserts that the statement is on file."""
    paper = steady(Paper(START).receive(0, **FARMED), 1.0, 0, 2, "case")
    paper.do(0, "move-lot", lot="L1", unit="case-1")
    before = lot(paper)
    paper.do(H, "attach-statement", lot="L1", reference="F-1", states="feed")

    found = lot(paper)

    assert (before["standing"], before["proof"], before["statement_missing"]) == (
        "proven",
        "exemption",
        True,
    )
    assert (found["raw_ready"], found["proof"], found["statement_missing"]) == (
        True,
        "exemption",
        False,
    )


def test_statement_on_feed_does_not_freeze_wild_fish() -> None:
    """It says nothing of it."""
    paper = steady(Paper(START).receive(0), 1.0, 0, 2, "case")
    paper.do(H, "attach-statement", lot="L1", reference="F-1", states="feed")

    assert lot(paper)["proof"] is None


# --- corrections and cancellations ----------------------------------------------------------


def test_corrected_species_changes_the_verdict_and_nothing_else() -> None:
    """It was yellowfin, not sockeye."""
    paper = steady(Paper(START).receive(0, celsius=1.0), 1.0, 0, 2, "case")
    paper.do(H, "correct-lot", lot="L1", reason="misread", species="Thunnus albacares")

    found = lot(paper)

    assert (found["species"], found["proof"]) == ("Thunnus albacares", "exemption")


def test_cancelled_freezing_never_began() -> None:
    """The entry was about another lot: its 25 h of cold prove nothing of this one."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-24h"), -25.0, 0, 25)
    assert lot(paper)["state"] == "complete"
    paper.do(25 * H, "cancel-entry", number=2, reason="another lot")

    found = lot(paper)

    assert (found["state"], found["standing"], found["option"]) == ("received", "unproven", None)


def test_cancelled_cancellation_lets_the_entry_count_again() -> None:
    """Two slips."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-24h"), -25.0, 0, 25)
    paper.do(24 * H, "cancel-entry", number=2, reason="another lot")
    paper.do(25 * H, "cancel-entry", number=3, reason="it was this one")

    assert lot(paper)["state"] == "complete"


@pytest.mark.parametrize("number", [3, 4, 99])
def test_cancellation_reaches_no_entry_but_an_earlier_one_about_a_lot(number: int) -> None:
    """Neither itself, nor one to come, nor what was done about an alarm."""
    paper = steady(Paper(START).receive(0).freeze(0, "20C-24h"), -25.0, 0, 25)
    paper.do(H, "corrective-action", unit="freezer-1", text="Shut the lid.")
    paper.do(2 * H, "cancel-entry", number=number, reason="a slip")

    ledger = paper.figures(units())

    assert ledger["lots"][0]["state"] == "complete"
    assert [a["text"] for a in ledger["corrective_actions"]] == ["Shut the lid."]


def test_lot_of_which_every_entry_is_cancelled_is_on_no_list() -> None:
    """A name that was mistyped."""
    paper = steady(Paper(START).receive(0, "L-l"), 1.0, 0, 2, "case")
    paper.do(H, "cancel-entry", number=1, reason="mistyped")

    assert paper.figures(units())["lots"] == []


# --- moves, thawing, dates ------------------------------------------------------------------


def test_way_of_a_lot_is_told_place_by_place() -> None:
    """An hour on the counter, frozen, thawed, two hours in a case of which one was warm."""
    paper = Paper(START).receive(0, celsius=0.0).freeze(H, "20C-24h")
    steady(paper, -25.0, 0, 30)
    steady(paper, 0.0, 0, 40, "walk")
    paper.curve([(0, 0.0), (39 * H, 0.0), (39 * H + 600, 7.0), (40 * H, 7.0)], "case", EVERY_S)
    paper.do(27 * H, "start-thawing", lot="L1", unit="walk-in")
    paper.do(38 * H, "move-lot", lot="L1", unit="case-1")

    found = lot(paper)

    assert [(p["unit"], p["from"], p["to"]) for p in found["path"]] == [
        (None, paper.iso(0), paper.iso(H)),
        ("freezer-1", paper.iso(H), paper.iso(27 * H)),
        ("walk-in", paper.iso(27 * H), paper.iso(38 * H)),
        ("case-1", paper.iso(38 * H), None),
    ]
    assert (found["path"][1]["min_c"], found["path"][1]["max_c"]) == (-25.0, -25.0)
    # 0 → 7 °C in 600 s passes 5 °C after 428.571 s; then 3000 s at 7 °C.
    assert found["above_limit_s"] == pytest.approx(600 * 2 / 7 + 3000, abs=0.01)
    assert found["unmonitored_s"] == 0.0
    assert found["thawing"] == paper.iso(27 * H)
    assert sum(p["ice_days"] for p in found["path"]) == pytest.approx(found["ice_days"], abs=2e-4)


def test_time_nobody_measured_is_told_and_not_guessed() -> None:
    """The case's probe was silent for five hours."""
    paper = steady(Paper(START).receive(0), 1.0, 0, 2, "case")
    steady(paper, 1.0, 7, 9, "case").do(0, "move-lot", lot="L1", unit="case-1")

    assert lot(paper)["unmonitored_s"] == 5 * H


def test_hold_given_up_for_thawing_is_no_hold_and_raises_no_alarm() -> None:
    """Ten of 24 h: it must not be served raw, and nobody is woken about it."""
    paper = Paper(START).receive(0).freeze(0, "20C-24h")
    steady(paper, -25.0, 0, 20)
    steady(paper, 1.0, 0, 20, "walk")
    paper.do(10 * H, "start-thawing", lot="L1", unit="walk-in")

    ledger = paper.ledger(units())
    (found,) = ledger["lots"]

    assert (found["state"], found["raw_ready"], found["credited_h"]) == ("received", False, 10.0)
    assert "put to thaw when 10 of 24 h" in found["why_not"]
    assert [a for a in ledger["alarms"] if a["rule"] == "hold-at-risk"] == []


def test_lot_frozen_again_after_thawing_counts_from_the_second_freezing() -> None:
    """Its first ten hours are of no use."""
    paper = Paper(START).receive(0).freeze(0, "20C-24h")
    steady(paper, -25.0, 0, 50)
    steady(paper, 1.0, 0, 50, "walk")
    paper.do(10 * H, "start-thawing", lot="L1", unit="walk-in").freeze(20 * H, "20C-24h")

    found = lot(paper)

    assert (found["state"], found["completed"]) == ("complete", paper.iso(44 * H))


def test_move_between_freezers_keeps_the_hold_and_a_stop_on_the_counter_breaks_it() -> None:
    """Ten minutes in the case between two freezers: the count begins again."""
    paper = Paper(START).receive(0).freeze(0, "20C-24h")
    for topic in ("one", "two"):
        steady(paper, -25.0, 0, 40, topic)
    steady(paper, 2.0, 0, 40, "case")
    straight = lot(paper.do(10 * H, "move-lot", lot="L1", unit="freezer-2"))

    paper.do(12 * H, "move-lot", lot="L1", unit="case-1")
    paper.do(12 * H + 600, "move-lot", lot="L1", unit="freezer-1")
    broken = lot(paper)

    assert (straight["completed"], straight["interruptions"]) == (paper.iso(24 * H), [])
    assert broken["completed"] == paper.iso(36 * H + 600)
    assert [i["start"] for i in broken["interruptions"]] == [paper.iso(12 * H)]
    assert broken["lost_h"] == 12.0


def test_lot_wanted_before_it_is_ready_is_late() -> None:
    """One hour in, 23 to go."""
    for hours, late in ((25, False), (23, True)):
        paper = Paper(START).receive(0)
        paper.do(
            0, "start-freezing", lot="L1", unit="freezer-1", option="20C-24h",
            needed_by=paper.iso(hours * H),
        )  # fmt: skip
        found = lot(steady(paper, -25.0, 0, 1))
        assert (found["late"], found["needed_by"]) == (late, paper.iso(hours * H))


def test_record_of_a_sold_lot_is_kept_for_90_days() -> None:
    """Sold on 3 February 2026 in Chicago, which is the 4th already in UTC."""
    paper = steady(Paper(START).receive(0), 1.0, 0, 40, "case")
    paper.do(36 * H, "withdraw-lot", lot="L1", reason="sold out")

    assert lot(paper)["keep_until"] == "2026-05-04"


def test_use_by_is_the_shops_own_and_at_the_present_temperature() -> None:
    """Two days at 0 °C of the shop's ten: eight are left in ice, two at 10 °C."""
    text = '[shop]\nname = "S"\ntimezone = "UTC"\nuse_by_ice_days = 10\n' + unit(lag_s=0)
    ten_days = load_shop(text + probe("case", every_s=EVERY_S, stale_s=1800))
    paper = steady(Paper(START).receive(0, celsius=0.0), 0.0, 0, 48, "case")
    paper.do(0, "move-lot", lot="L1", unit="case-1")

    found = lot(paper, ten_days)

    assert found["use_by"] == {
        "limit_ice_days": 10.0,
        "at_c": 0.0,
        "at": paper.iso((48 + 8 * 24) * H),
    }
    assert lot(paper)["use_by"] is None, "the shop without a limit sets none"


@pytest.mark.parametrize("present_c", [-20.0, -5.0, 18.0])
def test_use_by_of_frozen_or_warm_fish_is_not_foretold(present_c: float) -> None:
    """The model is of fresh, cold fish: beyond its range no day is named."""
    text = '[shop]\nname = "S"\ntimezone = "UTC"\nuse_by_ice_days = 10\n' + unit(lag_s=0)
    ten_days = load_shop(text + probe("case", every_s=EVERY_S, stale_s=1800))
    paper = steady(Paper(START).receive(0, celsius=0.0), present_c, 0, 2, "case")
    paper.do(0, "move-lot", lot="L1", unit="case-1")

    found = lot(paper, ten_days)

    assert (found["use_by"]["at_c"], found["use_by"]["at"]) == (present_c, None)
