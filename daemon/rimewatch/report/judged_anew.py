"""What a release that judges lots more strictly says of the lots it finds on the books. Pure.

Nothing that was entered is lost; but a lot that bore a sign of proof by the rules of before may not
bear it any more, and whoever serves it is told so once.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from rimewatch.evaluation.lot_story import LotStory
from rimewatch.report import wording
from rimewatch.report.lot_standing import lot_words
from rimewatch.rules.provisions import RECEIVING_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, LotId

LOT_JUDGED_ANEW: Final = "lot judged anew"
"""The event that keeps what was said of such a lot."""


def still_to_be_known(told: Iterable[str], here: Iterable[LotId]) -> list[str]:
    """Return what was said of lots judged anew that are here still, the latest of each.

    Args:
        told: The sentences, as they were kept, the earliest first.
        here: The lots that are not gone.
    """
    latest: dict[str, str] = {}
    beginnings = [_beginning(lot) for lot in here]
    for said in told:
        for beginning in beginnings:
            if said.startswith(beginning):
                latest[beginning] = said
    return list(latest.values())


def _beginning(lot: LotId) -> str:
    return f"Lot {wording.printable(lot)} is judged anew: "


def judged_anew(shop: Shop, stories: Sequence[LotStory], to_ms: int) -> Iterator[str]:
    """Say of each lot that is here, and was shown as proven before this release, why it is not.

    Args:
        shop: Names and zone.
        stories: The lots, judged now.
        to_ms: Up to when they are judged.
    """
    for story in stories:
        if story.entries.withdrawn is not None or not was_shown_as_proven(story, to_ms):
            continue
        words = lot_words(shop, story)
        if not words.is_proven:
            why = " ".join(said for said in (words.why_not, *words.caveats) if said)
            yield f"{_beginning(story.lot)}{words.verdict}. {why}"


def was_shown_as_proven(story: LotStory, to_ms: int) -> bool:
    """Whether the first release showed a lot as proven: by any option, or any statement."""
    need, received = story.need, story.entries.received
    if need is None or received is None or not received.serve_raw:
        return False
    if received.celsius is not None and received.celsius > RECEIVING_LIMIT_C:
        return False
    if not need.needs_destruction and not need.statement_missing:
        return story.entries.received_again is None
    if story.hold is not None and story.hold.completed_ms is not None:
        return story.is_sure
    return story.entries.frozen_by_supplier is not None or _was_frozen_before_it_came(story, to_ms)


def _was_frozen_before_it_came(story: LotStory, to_ms: int) -> bool:
    """Whether its hold may have been counted as complete from before its receipt on.

    How cold it had been is not looked up again: that a lot is judged anew is said too often
    rather than not at all.
    """
    hold, freezing, received = story.hold, story.entries.freezing, story.entries.received
    return (
        hold is not None
        and freezing is not None
        and received is not None
        and freezing.at_ms < received.at_ms
        and to_ms - freezing.at_ms >= hold.required_h * MS_PER_H
    )
