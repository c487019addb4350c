"""A product probe lies in a product: what it proves of another lot, and of the one it lies in."""

from typing import Any

import pytest
from frozen_lots import EVERY_S, START, H, lot, steady

from core_run import run_core
from document_parts import facts, texts
from handmade import Paper, probe, shop, unit
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_record import record_of
from rimewatch.evaluation.lot_story import tell
from rimewatch.report.document import Document, Tone
from rimewatch.report.lot_page import lot_page
from rimewatch.shop import Shop

SOONEST_H = 15.0


def freezer(*measures: str) -> Shop:
    """Return an ultra-low freezer with a probe for each thing measured, named for it."""
    keys: dict[str, Any] = {"every_s": EVERY_S, "stale_s": 1800, "uncertainty_c": 0.3}
    return shop(
        unit("freezer-1", "ultra-low-freezer"),
        *(probe(what, "freezer-1", what, **keys) for what in measures),
    )


def warm_lot(hours: float, option: str = "35C-15h", **keys: Any) -> Paper:
    """Return a thick lot at 4 °C put into a freezer that reads −68 °C everywhere."""
    paper = Paper(START).receive(0, celsius=4.0, thickness_mm=120.0)
    paper.do(0, "start-freezing", lot="L1", unit="freezer-1", option=option, **keys)
    for topic in ("air", "product"):
        steady(paper, -68.0, 0, hours, topic)
    return paper


FREEZING = "Freezing for parasite destruction"
ENTRIES = "Entries, every one, in the order they came"


def page_of(paper: Paper, place: Shop) -> Document:
    """Return the record of the lot, in words."""
    run = run_core(place, paper.read())
    histories, entries = run.evaluator.histories(), run.evaluator.entries
    story = tell(place, run.store, histories, book(entries)["L1"], run.to_ms)
    return lot_page(place, record_of(place, run.store, histories, story, entries, run.to_ms))


@pytest.mark.parametrize(("option", "required_h"), [("35C-15h", 15.0), ("20C-24h", 24.0)])
def test_hold_beside_a_product_probe_is_sure_when_the_air_says_so(
    option: str, required_h: float
) -> None:
    """Credited at once: the probe stands for the centre; sure no sooner than by the air."""
    by_air = lot(warm_lot(60, option), freezer("air"))
    paper = warm_lot(required_h + 1, option)

    early = lot(paper, freezer("air", "product"))
    late = lot(warm_lot(60, option), freezer("air", "product"))

    assert by_air["started"] > paper.iso(12 * H)
    assert (early["credited_h"], early["completed"]) == (required_h, paper.iso(required_h * H))
    assert (early["sure_h"] < 5.0, early["hold_doubts"]) == (True, ["inside"])
    assert (late["sure_h"], late["hold_doubts"]) == (required_h, [])
    assert "inside" in late["doubts"], "the probe beside it still lies in other fish"


@pytest.mark.parametrize("hours", [16, 30])
def test_hold_beside_a_product_probe_says_from_when_it_is_sure(hours: int) -> None:
    """The very instant that the estimate from the air gives, also while that still runs."""
    by_air = lot(warm_lot(60), freezer("air"))

    found = lot(warm_lot(hours), freezer("air", "product"))

    assert (found["sure_h"] > 0.0) == (hours == 30)
    assert found["sure_h"] < SOONEST_H
    assert found["sure_by"] == by_air["completed"]


def test_hold_taken_out_before_it_is_sure_names_no_moment_at_which_it_will_be() -> None:
    """Nothing goes on in the case."""
    paper = warm_lot(20).do(18 * H, "move-lot", lot="L1", unit="case-1")

    found = lot(paper, freezer("air", "product"))

    assert (found["credited_h"], found["sure_h"], found["sure_by"]) == (15.0, 0.0, None)


def test_hold_that_was_lost_after_it_was_credited_waits_anew_to_be_sure() -> None:
    """An hour of warmth at 17 h is after the credited end, and before the sure one."""
    paper = Paper(START).receive(0, celsius=4.0, thickness_mm=120.0)
    paper.do(0, "start-freezing", lot="L1", unit="freezer-1", option="35C-15h")
    for topic in ("air", "product"):
        steady(paper, -68.0, 0, 17, topic)
        steady(paper, -20.0, 17.5, 18, topic)
        steady(paper, -68.0, 18.5, 24, topic)
    by_air = lot(warm_lot(60), freezer("air"))

    found = lot(paper, freezer("air", "product"))

    assert (found["credited_h"], found["sure_h"]) == (15.0, 0.0)
    assert found["sure_by"] > by_air["completed"]


def test_hold_behind_a_product_probe_alone_is_never_sure_of_another_lot() -> None:
    """Nobody measured the air around it: there is no estimate."""
    found = lot(warm_lot(60), freezer("product"))

    assert (found["credited_h"], found["sure_h"], found["sure_by"]) == (15.0, 0.0, None)


def test_hold_of_seven_days_needs_no_inside() -> None:
    """3-402.11(A)(1) names the temperature of the freezer."""
    found = lot(warm_lot(170, "20C-168h"), freezer("product"))

    assert (found["sure_h"], found["hold_doubts"]) == (168.0, [])
    assert "inside" not in found["doubts"]


def test_probe_entered_to_lie_in_the_lot_shows_its_inside() -> None:
    """It warmed when it was put into the fish and came down with it."""
    paper = Paper(START).receive(0, celsius=4.0, thickness_mm=120.0)
    paper.do(0, "start-freezing", lot="L1", unit="freezer-1", option="35C-15h", probe="product")
    steady(paper, -68.0, 0, 40, "air")
    paper.curve([(0, -68.0), (600, 4.0), (20 * H, -40.0), (40 * H, -60.0)], "product", every_s=600)

    found = lot(paper, freezer("air", "product"))
    page = page_of(paper, freezer("air", "product"))

    assert found["credited_h"] == found["sure_h"] == 15.0
    assert facts(page, FREEZING)["Cold inside"] == "shown by the probe in this lot, as was entered"
    assert any("probe product put into this lot" in text for text in texts(page, ENTRIES))


@pytest.mark.parametrize("named", ["product", "air", "nowhere"])
def test_probe_that_was_cold_all_along_was_not_in_warm_fish(named: str) -> None:
    """Whatever was entered; nor does an air probe, or one of no unit, lie in fish."""
    found = lot(warm_lot(16, probe=named), freezer("air", "product"))

    assert (found["credited_h"], found["sure_h"]) == (15.0, 0.0)


def test_record_says_that_the_probe_lies_in_a_product_and_claims_no_proof() -> None:
    """Whoever cuts the fish reads it first."""
    page = page_of(warm_lot(16), freezer("air", "product"))
    rows = facts(page, FREEZING)

    assert page.tone is Tone.BAD
    assert page.verdict[0].endswith("not sure for this lot yet.")
    assert "in which no probe is known to lie: 0 of 15 h" in page.verdict[1]
    assert "not known to lie in this lot" in rows["Cold inside"]
    assert "in a product, which need not be this lot" in rows["Measured by"]


def test_morning_says_what_is_not_sure() -> None:
    """The summary is read with the coffee, and the fish is cut after it."""
    *_, morning = warm_lot(22).replay(freezer("air", "product")).mornings.values()

    said = " ".join(morning.text.split())
    assert (
        "Sure for this lot itself, in which no probe is known to lie: 0 of 15 h; all from" in said
    )
