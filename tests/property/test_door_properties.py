"""Whatever is entered in whatever order: what the door refuses leaves the books as they were."""

from collections import Counter
from dataclasses import replace
from typing import Any

from hypothesis import example, given, settings
from hypothesis import strategies as st

from handmade import Paper, probe, shop, unit
from rimewatch.entries import AnyEntry, ReceiveLot
from rimewatch.evaluation.cancellations import standing
from rimewatch.evaluation.door import BooksInMemory, Refusal, check
from rimewatch.evaluation.lot_book import book
from rimewatch.intake.entries import parse_entry
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document

SHOP = shop(
    unit("freezer-1", "freezer"),
    probe("core", "freezer-1", measures="product"),
    unit("case-1"),
    probe("air"),
)
lots = st.sampled_from(["L-1", "L-2"])
units = st.sampled_from(["freezer-1", "case-1", "nowhere"])
said: st.SearchStrategy[dict[str, Any]] = st.one_of(
    st.fixed_dictionaries(
        {
            "do": st.just("receive-lot"),
            "lot": lots,
            "species": st.sampled_from(["Oncorhynchus nerka", "Thunnus albacares"]),
            "origin": st.just("wild"),
            "serve_raw": st.just(True),
        }
    ),
    st.fixed_dictionaries(
        {
            "do": st.just("start-freezing"),
            "lot": lots,
            "unit": units,
            "option": st.sampled_from(["20C-24h", "20C-168h"]),
        },
        optional={"probe": st.sampled_from(["core", "air"])},
    ),
    st.fixed_dictionaries(
        {"do": st.sampled_from(["move-lot", "start-thawing"]), "lot": lots, "unit": units}
    ),
    st.fixed_dictionaries({"do": st.just("withdraw-lot"), "lot": lots}),
    st.fixed_dictionaries(
        {"do": st.just("correct-lot"), "lot": lots, "reason": st.just("a slip")},
        optional={"kilograms": st.sampled_from([3.0, 4.0])},
    ),
    st.fixed_dictionaries(
        {
            "do": st.just("attach-statement"),
            "lot": lots,
            "reference": st.just("S-1"),
            "states": st.sampled_from(["freezing", "feed"]),
        }
    ),
    st.fixed_dictionaries(
        {
            "do": st.just("cancel-entry"),
            "number": st.integers(min_value=1, max_value=12),
            "reason": st.just("a slip"),
        }
    ),
    st.fixed_dictionaries({"do": st.sampled_from(["out-of-service", "in-service"]), "unit": units}),
)
sequences = st.lists(said, min_size=1, max_size=14)


WILD = {
    "do": "receive-lot",
    "lot": "L-1",
    "species": "Oncorhynchus nerka",
    "origin": "wild",
    "serve_raw": True,
}
RESTORED: list[dict[str, Any]] = [
    WILD,
    {"do": "start-freezing", "lot": "L-1", "unit": "freezer-1", "option": "20C-24h"},
    {"do": "cancel-entry", "number": 2, "reason": "a slip"},
    {"do": "cancel-entry", "number": 1, "reason": "other fish"},
    WILD,
    {"do": "cancel-entry", "number": 3, "reason": "a slip"},
]
"""A hold of fish that was taken from the books, brought back for the fish that came later."""


def entered(sequence: list[dict[str, Any]]) -> tuple[list[AnyEntry], list[tuple[int, Refusal]]]:
    """Enter a sequence, ten minutes apart; return what is on the books, and what is not."""
    books, taken, refused = BooksInMemory(), list[AnyEntry](), list[tuple[int, Refusal]]()
    for place, keys in enumerate(sequence):
        at_ms = Paper().at_ms(place * 600)
        entry = parse_entry(keys, at_ms)
        refusal = check(entry, SHOP, books, at_ms)
        if refusal is not None:
            refused.append((place, refusal))
            continue
        taken.append(replace(entry, entry_number=len(taken) + 1))
        books.add(taken[-1])
    return taken, refused


@example(RESTORED)
@given(sequences)
def test_no_lot_ever_has_two_receipts_or_a_hold_older_than_its_fish(
    sequence: list[dict[str, Any]],
) -> None:
    """Nothing that is proven of one fish is said of another."""
    taken, _ = entered(sequence)
    receipts = Counter(e.lot for e in standing(taken) if isinstance(e, ReceiveLot))

    assert all(count == 1 for count in receipts.values())
    for told in book(taken).values():
        assert told.received_again is None
        if told.received is not None:
            known_ms = told.received.at_ms
            assert told.first_freezing is None or told.first_freezing.at_ms >= known_ms
            assert all(place.from_ms >= known_ms for place in told.placements)
            assert all(item.at_ms >= known_ms for item in told.statements)


@settings(max_examples=40)
@given(sequences)
def test_what_is_refused_might_as_well_never_have_been_said(
    sequence: list[dict[str, Any]],
) -> None:
    """The ledger of a trace is that of the same trace without it, but for the list of refusals."""
    taken, refused = entered(sequence)
    left_out = {place for place, _ in refused}
    every, sound = Paper(), Paper()
    for paper, places in ((every, set()), (sound, left_out)):
        paper.say(0, 1.0).say(14 * 600, 1.0)
        for place, keys in enumerate(sequence):
            if place not in places:
                more = {key: value for key, value in keys.items() if key != "do"}
                paper.do(place * 600, keys["do"], **more)
    told = ledger_document(replay(SHOP, every.read(), summaries=False).ledger)
    plain = ledger_document(replay(SHOP, sound.read(), summaries=False).ledger)

    assert [(item["do"], item["why"]) for item in told.pop("refused")] == [
        (refusal.do, refusal.why) for _, refusal in refused
    ]
    assert plain.pop("refused") == []
    assert told == plain
    assert len(taken) + len(refused) == len(sequence)
