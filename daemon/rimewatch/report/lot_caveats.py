"""What people must read beside a lot's proof, wherever it is shown. Pure."""

from datetime import tzinfo

from rimewatch.evaluation.lot_story import LotStory
from rimewatch.report import wording


def caveats(story: LotStory, zone: tzinfo) -> tuple[str, ...]:
    """Return what speaks against serving a lot whatever its proof says, a sentence each."""
    found: list[str] = []
    hold, sure = story.hold, story.sure
    if hold is not None and sure is not None and not story.is_sure:
        at_ms = story.sure_by_ms
        at = "" if at_ms is None else wording.local_moment(round(at_ms), zone)
        found.append(wording.sure_hours(sure.credited_h, hold.required_h, at, story.doubts))
    return tuple(found)
