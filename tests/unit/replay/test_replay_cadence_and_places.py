"""A probe that sends more seldom than it is expected to, and probes that hang in two units."""

import pytest

from handmade import Paper, probe, shop, unit
from rimewatch.report.ledger_json import ledger_document

TEN_MINUTES_S = 600


def test_probe_that_sends_seldom_is_told_with_the_interval_to_set() -> None:
    """A reading each ten minutes and a minute expected: unmonitored all day."""
    paper = Paper()
    for n in range(160):
        paper.say(n * TEN_MINUTES_S, 2.0)
    found = paper.replay(shop(unit(), probe()))

    assert ledger_document(found.ledger)["probes"]["air"]["sends_every_s"] == TEN_MINUTES_S
    morning = list(found.mornings.values())[-1].text
    assert "sends every 10 min, and counts as silent before; set every_s = 600" in " ".join(
        morning.split()
    )


def test_probe_that_keeps_its_interval_is_not_told_of() -> None:
    """Nor is one with a hole in its day."""
    paper = Paper()
    for n in range(200):
        paper.say(n * 60 + (0 if n < 100 else 7200), 2.0)

    assert "sends_every_s" not in paper.ledger(shop(unit(), probe()))["probes"]["air"]


def test_air_probes_of_one_unit_that_cannot_hang_in_it_are_asked_about() -> None:
    """A case and a freezer that were put into one unit: the warmer hides what the colder does."""
    paper = Paper()
    for n in range(144):
        paper.say(n * TEN_MINUTES_S, 2.0, "air").say(n * TEN_MINUTES_S, -21.0, "other")
    seldom = {"every_s": TEN_MINUTES_S}
    found = paper.replay(shop(unit(), probe(**seldom), probe("other", **seldom)))

    assert ledger_document(found.ledger)["probes"]["other"]["apart"] == {
        "from": "air",
        "by_c": 23.0,
    }
    morning = " ".join(next(iter(found.mornings.values())).text.split())
    assert (
        "Probes other and air: 41.4 °F apart in one unit; see whether they hang in two" in morning
    )


def test_corners_of_one_unit_are_no_question() -> None:
    """Air by the door is some degrees warmer, and a defrost passes."""
    paper = Paper()
    for n in range(144):
        paper.say(n * TEN_MINUTES_S, 2.0 if n % 40 else 14.0, "air")
        paper.say(n * TEN_MINUTES_S, 6.5, "other")
    seldom = {"every_s": TEN_MINUTES_S}
    probes = paper.ledger(shop(unit(), probe(**seldom), probe("other", **seldom)))["probes"]

    assert all("apart" not in record for record in probes.values())


@pytest.mark.parametrize(
    ("before", "after", "is_told"),
    [(2.0, 35.6, True), (35.6, 2.0, True), (-20.0, -4.0, True), (2.0, 14.0, False)],
)
def test_jump_that_is_the_scale_s_is_named_as_such(
    before: float, after: float, *, is_told: bool
) -> None:
    """Somebody pressed a key on the device: 2.0 becomes 35.6, and the fish is as cold as ever."""
    paper = Paper()
    for n in range(40):
        paper.say(n * 60, before if n < 15 else after)
    found = paper.replay(shop(unit(), probe()))

    told = ledger_document(found.ledger)["probes"]["air"].get("scale_jump")
    assert told == (paper.iso(15 * 60) if is_told else None)
    morning = " ".join(next(iter(found.mornings.values())).text.split())
    assert ("exactly as from \u00b0C to \u00b0F or back" in morning) is is_told


def test_single_value_out_of_line_is_no_change_of_scale() -> None:
    """One reading is a fault of another kind."""
    paper = Paper()
    for n in range(40):
        paper.say(n * 60, 35.6 if n == 15 else 2.0)

    assert "scale_jump" not in paper.ledger(shop(unit(), probe()))["probes"]["air"]
