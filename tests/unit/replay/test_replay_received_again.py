"""A lot's number used twice on the books of an old journal: what ledger and morning say of it.

The door lets no second receipt in any more; what it let in before is judged.
"""

from frozen_lots import START, H, freezers, lot, steady

from handmade import Paper


def frozen_for(hours: float, *, again_h: float, **keys: str) -> Paper:
    """Return a lot frozen by 20C-24h at once, and a receipt under its number some hours later."""
    paper = Paper(START).receive(0).freeze(0, "20C-24h").receive(again_h * H, **keys)
    return steady(paper, -25.0, 0, hours)


def test_second_receipt_costs_a_complete_hold_its_proof() -> None:
    """The fish that came 30 h later was never frozen."""
    found = lot(frozen_for(40, again_h=30), freezers())

    assert (found["raw_ready"], found["proof"], found["state"]) == (False, None, "received")
    assert found["credited_h"] == 0.0
    assert found["received_again"] == Paper(START).iso(30 * H)
    assert "Entry 3 received fish under this number" in found["why_not"]


def test_second_receipt_of_exempt_fish_exempts_no_fish_that_came_before() -> None:
    """Nor is the exemption of the first any of the second's."""
    keys = {"species": "Thunnus albacares"}
    after = lot(frozen_for(40, again_h=30, **keys), freezers())
    paper = Paper(START).receive(0, **keys).freeze(0, "20C-24h").receive(30 * H)
    before = lot(steady(paper, -25.0, 0, 40), freezers())

    assert [(one["needs_destruction"], one["proof"]) for one in (after, before)] == [
        (True, None),
        (True, None),
    ]


def test_lot_frozen_again_after_a_second_receipt_is_proven_by_that_hold() -> None:
    """All that bears the number was in the freezer for it."""
    paper = frozen_for(60, again_h=30).freeze(31 * H, "20C-24h")

    found = lot(paper, freezers(code="eu-853-2004"))

    assert (found["proof"], found["started"]) == ("own-freezing", paper.iso(31 * H))


def test_receipt_that_was_sent_twice_changes_nothing() -> None:
    """The same entry with the same time."""
    once = steady(Paper(START).receive(0).freeze(0, "20C-24h"), -25.0, 0, 30)

    twice = frozen_for(30, again_h=0)

    assert lot(twice, freezers()) == lot(once, freezers())


def test_morning_names_the_entry_to_look_at() -> None:
    """Whoever reads it can cancel the slip, or freeze again."""
    *_, morning = frozen_for(48, again_h=30).replay(freezers(), is_kept=True).mornings.values()

    said = " ".join(morning.text.split())
    assert "Not ready: entry 3 received fish under this number after a proof had been begun" in said
