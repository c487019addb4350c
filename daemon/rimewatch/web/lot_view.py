"""A lot as the pages show it: where it is, how far its hold has come, what its proof lacks."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.lot_story import LotStory
from rimewatch.lots.standing import Backdated
from rimewatch.report import wording
from rimewatch.report.lot_standing import lot_words
from rimewatch.rules.provisions import THAWING_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import Standing

_SIGNS: Final = {
    Standing.PROVEN: "out",
    Standing.DOUBT: "early",
    Standing.UNPROVEN: "early",
    Standing.AGAINST: "warm",
}
"""The signs of lots that may not bear a check mark; a proven one that is gone bears none."""


def lot_view(shop: Shop, story: LotStory) -> dict[str, Any]:
    """Return what a template shows of a lot."""
    received, hold, zone = story.entries.received, story.hold, ZoneInfo(shop.timezone)
    words = lot_words(shop, story)
    unit = story.entries.unit
    where = "nowhere yet"
    if unit is not None:
        known = shop.unit.get(unit)
        where = wording.printable(str(unit) if known is None else known.name)
    lines = [line for line in (*words.notes, words.on_display, *words.caveats) if line]
    progress: tuple[float, float] | None = None
    if hold is not None and hold.completed_ms is not None:
        done = wording.local_moment(round(hold.completed_ms), zone)
        lines.append(f"Hold {hold.option.value} complete {done}.")
    elif hold is not None and story.state == "freezing":
        counted = wording.credited_hours(hold.credited_h, hold.required_h)
        lines.append(f"Hold {hold.option.value}: {counted}.")
        progress = (hold.credited_h, hold.required_h)
        last = hold.interruptions[-1] if hold.interruptions else None
        stands = last is not None and last.end_ms is None
        if hold.expected_ms is not None and not stands:
            ready = wording.local_moment(round(hold.expected_ms), zone)
            lines.append(f"Ready {ready}, if the cold holds.")
    if story.entries.thawing is not None:
        since = wording.local_moment(story.entries.thawing.at_ms, zone)
        limit = wording.published_limit(THAWING_LIMIT_C)
        lines.append(f"Thawing since {since}, at {limit} or below.")
    if story.need is not None:
        lines.append(wording.printable(story.need.why))
        lines.extend(map(wording.printable, story.need.remaining_hazards))
    return {
        "lot": str(story.lot),
        "species": "not said" if received is None else wording.printable(received.species),
        "where": where,
        "ready": words.is_ready,
        "standing": words.standing.value,
        "sign": "held" if words.is_ready else _SIGNS[words.standing],
        "verdict": words.verdict,
        "why_not": words.why_not,
        "lines": lines,
        "asks_start": any(isinstance(doubt, Backdated) for doubt in story.judgement.doubts),
        "progress": progress,
    }
