"""What stands beside a lot's proof wherever it is shown: a proof speaks of parasites alone."""

import json
from typing import Any

import pytest

from core_run import CoreRun, run_core
from document_parts import small_print
from handmade import Paper, probe, shop, unit
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_record import LotRecord, record_of
from rimewatch.evaluation.lot_story import LotStory, tell
from rimewatch.report.document import Tone
from rimewatch.report.lot_page import lot_page
from rimewatch.report.lot_record_json import lot_record_json
from rimewatch.report.lot_standing import PARASITES_ALONE, lot_words
from rimewatch.vocabulary import LotId
from rimewatch.web.lot_view import lot_view

H = 3600.0
SHOP = shop(unit(), probe("fish", measures="product", every_s=600, stale_s=1800))
LOT = LotId("L1")
BEYOND = "% of it for scombrotoxin, fish not previously frozen"
CAME_WARM = "It came in above 5 °C (41 °F), to be refused"


def tuna(at_c: float, hours: float, **keys: Any) -> Paper:
    """Return exempt tuna that stood in the case at a temperature for some hours."""
    paper = Paper("2026-02-02T12:00:00Z").receive(0, species="Thunnus albacares", **keys)
    paper.do(0, "move-lot", lot="L1", unit="case-1")
    return paper.curve([(0, at_c), (hours * H, at_c)], "fish", every_s=600)


def told(paper: Paper) -> tuple[CoreRun, LotStory, LotRecord]:
    """Return the lot judged at the end, and its record."""
    run = run_core(SHOP, paper.read())
    histories, entries = run.evaluator.histories(), run.evaluator.entries
    story = tell(SHOP, run.store, histories, book(entries)[LOT], run.to_ms)
    return run, story, record_of(SHOP, run.store, histories, story, entries, run.to_ms)


def test_exempt_tuna_that_stood_in_the_warm_has_no_green_sign_anywhere() -> None:
    """20 h at 18 °C: 8 h above 40 °F are allowed (Hazards Guidance, chapter 7; from memory)."""
    run, story, record = told(tuna(18.0, 20, celsius=2.0))
    page, view = lot_page(SHOP, record), lot_view(SHOP, story)
    (lot,) = run.ledger["lots"]

    assert (lot["raw_ready"], lot["proof"], lot["standing"]) == (False, "exemption", "against")
    assert (view["ready"], (page.tone is Tone.GOOD)) == (False, False)
    for said in (" ".join(view["lines"]), " ".join(page.verdict)):
        assert f"250 {BEYOND}" in said
    assert json.loads(lot_record_json(record))["overruns"][0]["share"] == pytest.approx(2.5)


def test_exempt_tuna_that_came_in_warm_has_no_green_sign() -> None:
    """Cold since, and yet to be refused at the door (3-202.11(A))."""
    _, story, record = told(tuna(1.0, 2, celsius=18.0))
    page, view = lot_page(SHOP, record), lot_view(SHOP, story)

    assert (view["ready"], (page.tone is Tone.GOOD)) == (False, False)
    assert any(line.startswith(CAME_WARM) for line in view["lines"])
    assert any(line.startswith(CAME_WARM) for line in page.verdict)


def test_exempt_tuna_that_stayed_cold_is_shown_as_proven_of_parasites_alone() -> None:
    """The sign is green, and the note stands beside it."""
    _, story, record = told(tuna(1.0, 20, celsius=1.0))
    page, view = lot_page(SHOP, record), lot_view(SHOP, story)

    assert (view["ready"], (page.tone is Tone.GOOD)) == (True, True)
    assert view["lines"][0] == PARASITES_ALONE
    assert PARASITES_ALONE in small_print(page)


def test_allowance_that_is_just_used_up_is_not_beyond() -> None:
    """All of it is still within; a minute more is not."""

    def is_beyond(hours: float) -> bool:
        _, story, _ = told(tuna(18.0, hours))
        return any(reason.name.startswith("scombrotoxin") for reason in story.judgement.against)

    assert [is_beyond(8.0), is_beyond(8.0 + 1 / 60)] == [False, True]


def test_morning_says_that_a_lot_went_beyond_what_guidance_allows() -> None:
    """Also of fish that called for no freezing."""
    *_, morning = tuna(18.0, 30, celsius=2.0).replay(SHOP).mornings.values()

    assert BEYOND in " ".join(morning.text.split())


def test_raw_fish_on_display_without_its_proof_is_warned_of_wherever_it_was_entered() -> None:
    """An entry over the broker has nobody before it who would read an answer."""
    paper = Paper("2026-02-02T12:00:00Z").receive(0).do(60, "move-lot", lot="L1", unit="case-1")
    paper.curve([(0, 1.0), (30 * H, 1.0)], "fish", every_s=600)
    _, story, _ = told(paper)
    *_, morning = paper.replay(SHOP).mornings.values()

    said = "without its proof"
    assert any(said in line for line in lot_view(SHOP, story)["lines"])
    assert said in lot_words(SHOP, story).on_display
    assert f"Lot L1: in case-1 {said}; keep it off the raw counter." in " ".join(
        morning.text.split()
    )


@pytest.mark.parametrize("keys", [{"serve_raw": False}, {"species": "Thunnus albacares"}])
def test_fish_on_display_that_lacks_no_proof_is_not_warned_of(keys: dict[str, Any]) -> None:
    """To be cooked, or exempt."""
    paper = Paper("2026-02-02T12:00:00Z").receive(0, **keys)
    paper.do(60, "move-lot", lot="L1", unit="case-1")
    paper.curve([(0, 1.0), (H, 1.0)], "fish", every_s=600)

    assert lot_words(SHOP, told(paper)[1]).on_display == ""


def test_fish_on_display_whose_hold_is_not_sure_for_it_is_warned_of() -> None:
    """Counted by a probe in other fish, and in the case before its own inside can be believed."""
    keys: dict[str, Any] = {"every_s": 600, "stale_s": 1800}
    place = shop(
        unit("freezer-1", "ultra-low-freezer"), unit(),
        probe("product", "freezer-1", "product", **keys), probe("air", "freezer-1", **keys),
        probe("fish", measures="product", **keys),
    )  # fmt: skip
    paper = Paper("2026-02-02T12:00:00Z").receive(0, celsius=4.0, thickness_mm=120.0)
    paper.freeze(0, "35C-15h").do(16 * H, "move-lot", lot="L1", unit="case-1")
    for topic, at_c in (("product", -68.0), ("air", -68.0), ("fish", 1.0)):
        paper.curve([(0, at_c), (30 * H, at_c)], topic, every_s=600)
    run = run_core(place, paper.read())
    lot = book(run.evaluator.entries)[LOT]
    story = tell(place, run.store, run.evaluator.histories(), lot, run.to_ms)
    *_, morning = paper.replay(place).mornings.values()

    said = "with a hold that is not sure for it"
    assert (story.proof, story.standing) == ("own-freezing", "doubt")
    assert said in lot_words(place, story).on_display
    assert lot_view(place, story)["ready"] is False
    assert said in " ".join(morning.text.split())
