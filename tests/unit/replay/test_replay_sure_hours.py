"""A freezing hold that begins after a silence: what of it stands whatever the silence hid."""

from math import exp, log
from typing import Any

import pytest

from core_run import run_core
from handmade import Paper, probe, shop, unit
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_record import record_of
from rimewatch.evaluation.lot_story import tell
from rimewatch.report.document_text import document_text
from rimewatch.report.lot_page import lot_page
from rimewatch.shop import Shop

H = 3600
LAG_S = 3600
SILENT_FROM_H, SILENT_TO_H = 6, 8
WARMEST_C = 60.0
"""The most that an air probe can believe, unless a shop says otherwise."""

_HIDDEN_C = WARMEST_C + (-25.0 - WARMEST_C) * exp(-(SILENT_TO_H - SILENT_FROM_H) * H / LAG_S)
FORGETS_H = log((_HIDDEN_C + 25.0) / 5.0)
"""Hours of air at −25 °C until such fish is at −20 °C: by hand, with τ an hour."""


def freezer(measures: str = "air") -> Shop:
    """Return a freezer that takes an hour to follow its air."""
    keys: dict[str, Any] = {"every_s": 600, "stale_s": 1800, "uncertainty_c": 0.0}
    return shop(
        unit("freezer-1", "freezer", lag_s=LAG_S), probe("cold", "freezer-1", measures, **keys)
    )


def silent_for_two_hours(until_h: float) -> Paper:
    """Return −25 °C whenever anybody looked; nobody did for two hours."""
    paper = Paper("2026-02-02T12:00:00Z").receive(0).freeze(0, "20C-24h")
    paper.curve([(0, -25.0), (SILENT_FROM_H * H, -25.0)], "cold", every_s=600)
    return paper.curve([(SILENT_TO_H * H, -25.0), (until_h * H, -25.0)], "cold", every_s=600)


def test_hold_after_a_silence_tells_what_is_sure_and_from_when_all_is() -> None:
    """Credited as the readings have it; sure only once the lag has forgotten the silence."""
    paper = silent_for_two_hours(until_h=33)

    (lot,) = paper.figures(freezer())["lots"]

    assert (lot["state"], lot["credited_h"]) == ("complete", 24.0)
    assert lot["started"] == paper.iso(SILENT_TO_H * H)
    assert lot["sure_h"] == pytest.approx(33 - SILENT_TO_H - FORGETS_H, abs=1e-4)
    assert lot["sure_by"][:16] == paper.iso((SILENT_TO_H + FORGETS_H + 24) * H)[:16]


def test_hold_is_sure_once_it_was_kept_for_longer() -> None:
    """Then nobody speaks of it any more."""
    paper = silent_for_two_hours(until_h=36)

    (lot,) = paper.figures(freezer())["lots"]

    assert (lot["credited_h"], lot["sure_h"], lot["sure_by"]) == (24.0, 24.0, None)


@pytest.mark.parametrize("until_h", [20, 33])
def test_hold_that_a_probe_in_the_lot_saw_is_as_sure_as_it_is_credited(until_h: int) -> None:
    """The fish itself was cold on its return: no lag, nothing hidden.

    That the probe lies in it shows in its coming in warm.
    """
    paper = silent_for_two_hours(until_h).say(60, 1.0, "cold")
    (freeze,) = (line for line in paper.lines if line.get("do") == "start-freezing")
    freeze["probe"] = "cold"

    (lot,) = paper.figures(freezer("product"))["lots"]

    assert (lot["sure_h"], lot["sure_by"]) == (lot["credited_h"], None)
    assert lot["credited_h"] == min(24.0, until_h - SILENT_TO_H)


def test_hold_without_a_silence_near_its_beginning_is_sure() -> None:
    """The silence may lie in the past of the freezer, if it is long enough ago."""
    paper = silent_for_two_hours(until_h=60)
    paper.receive(30 * H, "L2").freeze(30 * H, "20C-24h", lot="L2")

    lots = paper.figures(freezer())["lots"]

    assert [(lot["credited_h"], lot["sure_h"], lot["sure_by"]) for lot in lots] == [
        (24.0, 24.0, None),
        (24.0, 24.0, None),
    ]


def test_summary_and_record_say_what_is_not_sure_of_a_hold_that_is_complete() -> None:
    """Whoever is about to serve it reads until when to wait."""
    paper, place = silent_for_two_hours(until_h=33), freezer()
    run = run_core(place, paper.read())
    histories, entries = run.evaluator.histories(), run.evaluator.entries
    story = tell(place, run.store, histories, book(entries)["L1"], run.to_ms)
    record = record_of(place, run.store, histories, story, entries, run.to_ms)
    *_, morning = paper.replay(place).mornings.values()  # at 06:30, eight hours earlier

    said = "Sure whatever the air was like while nobody saw it: {} of 24 h; all from "
    assert said.format("22.3") in " ".join(document_text(lot_page(place, record)).split())
    assert said.format("13.8") in " ".join(morning.text.split())


def test_silence_makes_no_probe_lie_in_a_lot_that_it_never_saw_warm() -> None:
    """It was cold from the entry on, so in other fish; a silence adds nothing to that."""
    paper = silent_for_two_hours(until_h=33)
    (freeze,) = (line for line in paper.lines if line.get("do") == "start-freezing")
    freeze["probe"] = "cold"

    (lot,) = paper.figures(freezer("product"))["lots"]

    assert lot["sure_h"] == 0.0
    assert lot["standing"] != "proven"
