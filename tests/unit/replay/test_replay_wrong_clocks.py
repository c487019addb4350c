"""A probe whose clock fails in the night: who is told, and what the record says of it."""

from collections.abc import Callable
from typing import Any

import pytest

from handmade import NIGHT, ONE_CONTACT, Paper, shop, timed_probe, unit
from rimewatch.replay import Replayed
from rimewatch.report.ledger_json import ledger_document

H = 3600
EVENING = "2026-02-03T03:00:00Z"
"""21:00 in Chicago."""
Clock = Callable[[float], float]

SHOP = shop(
    unit(on_delay_s=900, lag_s=1200),
    timed_probe(every_s=60),
    unit("freezer-1", "freezer"),
    timed_probe("cold", "freezer-1", "product", every_s=60, uncertainty_c=0.3),
    ONE_CONTACT,
    NIGHT,
)


def stands_from(stop_s: float) -> Clock:
    """A clock that stops."""
    return lambda at_s: min(at_s, stop_s)


def slow_from(start_s: float, by_s: float) -> Clock:
    """A clock that jumps back."""
    return lambda at_s: at_s if at_s < start_s else at_s - by_s


CLOCKS = [
    pytest.param(stands_from(12 * H), id="stands still"),
    pytest.param(slow_from(12 * H, 12 * H), id="12 h slow"),
    pytest.param(slow_from(12 * H, 20 * 24 * H), id="20 days slow"),
]


def warm_after_12_h(clock: Clock) -> Replayed:
    """A case that is cold for twelve hours, and warms as its probe's clock fails."""
    paper = Paper("2026-02-02T15:00:00Z")
    for minute in range(21 * 60):
        at_s = minute * 60.0
        warm_c = min(10.0, max(0.0, (at_s - 12 * H) / 300.0))
        paper.dated(at_s, clock(at_s), round(2.0 + warm_c + 0.1 * (minute % 3), 2))
    return paper.replay(SHOP)


@pytest.mark.parametrize("clock", CLOCKS)
def test_fish_that_warms_under_a_clock_that_fails_wakes_somebody(clock: Clock) -> None:
    """As soon as it would under a right clock, but for the messages that show the clock."""
    right = warm_after_12_h(lambda at_s: at_s)
    wrong = warm_after_12_h(clock)

    def raised(replayed: Replayed) -> dict[str, Any]:
        (alarm,) = (a for a in ledger_document(replayed.ledger)["alarms"] if a["rule"] == "holding")
        return dict(alarm)

    assert raised(wrong)["woke"] is True
    assert raised(wrong)["raised"][:15] == raised(right)["raised"][:15]  # to ten minutes
    (excursion,) = (
        e
        for e in ledger_document(wrong.ledger)["units"]["case-1"]["excursions"]
        if e["rule"] == "holding"
    )
    assert excursion["start"] > "2026-02-03T03:00:00Z"
    assert ledger_document(wrong.ledger)["probes"]["air"]["dated_by_arrival"] is True


@pytest.mark.parametrize("clock", CLOCKS)
def test_hold_begins_anew_where_the_clock_failed(clock: Clock) -> None:
    """What passed before the first arrival that dates is not known to be cold."""
    paper = Paper("2026-02-02T15:00:00Z").receive(0).freeze(1, "20C-168h")
    for minute in range(30 * 60):
        at_s = minute * 60.0
        paper.dated(at_s, clock(at_s), round(-24.0 + 0.1 * (minute % 3), 2), "cold")
    (lot,) = ledger_document(paper.replay(SHOP).ledger)["lots"]

    assert lot["credited_h"] < 18.0
    assert [one["reason"] for one in lot["interruptions"]] == ["gap"]


def test_hold_breaks_over_the_silence_of_a_hub_whose_clock_resumed_where_it_stopped() -> None:
    """By its own times nothing was missed in the three hours: the readings follow each other."""
    paper = Paper("2026-02-02T15:00:00Z").receive(0, thickness_mm=20).freeze(1, "20C-168h")
    off_s, lost_s = 80.0 * H, 3.0 * H
    for n in range(175 * 6):
        at_s = n * 600.0
        if not off_s <= at_s < off_s + lost_s:
            shown_s = at_s if at_s < off_s else at_s - lost_s
            paper.dated(at_s, shown_s, round(-24.0 + 0.1 * (n % 3), 2), "cold")
    slow = shop(
        unit("freezer-1", "freezer"),
        timed_probe("cold", "freezer-1", "product", every_s=600, uncertainty_c=0.3),
    )
    (lot,) = ledger_document(paper.replay(slow).ledger)["lots"]

    # The first messages after it may still be dated by the clock: they are three hours too early.
    (broken,) = lot["interruptions"]
    assert broken["reason"] == "gap"
    assert paper.iso(off_s - 600) <= broken["start"] <= paper.iso(off_s + 1800)
    assert paper.iso(off_s + lost_s) <= broken["end"] <= paper.iso(off_s + lost_s + 3600)
    assert lot["started"] == broken["end"]
    assert (lot["state"], lot["standing"]) == ("freezing", "unproven")
    assert "unmonitored" in lot["doubts"]
