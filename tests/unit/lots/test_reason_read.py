"""What a withdrawal's reason says became of the fish (the words: common practice, no source)."""

import pytest

from rimewatch.lots.reason_read import dispositions_in
from rimewatch.vocabulary import Disposition


@pytest.mark.parametrize(
    "reason",
    [
        "",
        "sold",
        "sold out, 3 trays",
        "sold raw; parasites destroyed by freezing",
        "sold, freezing destroyed all parasites",
        "sold to Cook Street Cafe",
        "sold to Mrs Cook",
        "sold to the Chowder House",
        "sold, nothing discarded",
        "sold, nothing was thrown away",
        "sold, not spoiled",
        "sold raw, not for cooking",
        "sold raw and uncooked",
        "didn't get cooked",
        "sold before it spoiled",
        "all sold, zero waste",
        "sold raw instead of being cooked",
        "tossed in ponzu, sold raw",
        "wasabi plates, sold",
    ],
)
def test_reason_that_says_no_such_thing_slanders_no_lot(reason: str) -> None:
    assert dispositions_in(reason) == ()


@pytest.mark.parametrize(
    "reason",
    [
        "discarded",
        "Discarded.",
        "not sold, discarded",
        "not sold but discarded",
        "could not be sold so discarded",
        "no good - thrown out",
        "did not sell and was tossed",
        "dumped",
        "went in the bin",
        "put it into the bin",
        "waste",
        "trash",
        "smelled off",
        "gone bad",
        "threw it away",
        "throw it out",
        "spoilt",
        "destroyed because of parasites",
        "parasites found, destroyed",
        "written off",
    ],
)
def test_words_that_say_it_was_thrown_away_are_read(reason: str) -> None:
    assert dispositions_in(reason) == (Disposition.DISCARDED,)


@pytest.mark.parametrize(
    "reason",
    [
        "used cooked in the soup",
        "Cooked",
        "not raw, to cook",
        "gave it to the cook",
        "not fit for raw to be cooked",
        "grilled for the staff",
        "COOKED FOR STAFF",
        "made into fish stew",
    ],
)
def test_words_that_say_it_was_cooked_are_read(reason: str) -> None:
    assert dispositions_in(reason) == (Disposition.USED_COOKED,)


def test_both_are_read() -> None:
    assert dispositions_in("half cooked; half thrown away") == (
        Disposition.DISCARDED,
        Disposition.USED_COOKED,
    )
