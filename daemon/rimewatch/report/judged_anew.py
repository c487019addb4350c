"""What a release that judges lots more strictly says of the lots it finds on the books. Pure.

Nothing that was entered is lost; but a lot that bore a sign of proof by the rules of before may not
bear it any more, and whoever serves it is told so once.
"""

from collections.abc import Iterator, Sequence

from rimewatch.evaluation.lot_story import LotStory
from rimewatch.report import wording
from rimewatch.report.lot_standing import lot_words
from rimewatch.rules.provisions import RECEIVING_LIMIT_C
from rimewatch.shop import Shop


def judged_anew(shop: Shop, stories: Sequence[LotStory]) -> Iterator[str]:
    """Say of each lot that is here, and was shown as proven before this release, why it is not.

    Args:
        shop: Names and zone.
        stories: The lots, judged now.
    """
    for story in stories:
        if story.entries.withdrawn is not None or not was_shown_as_proven(story):
            continue
        words = lot_words(shop, story)
        if not words.is_proven:
            why = " ".join(said for said in (words.why_not, *words.caveats) if said)
            yield f"Lot {wording.printable(story.lot)} is judged anew: {words.verdict}. {why}"


def was_shown_as_proven(story: LotStory) -> bool:
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
    return story.entries.frozen_by_supplier is not None
