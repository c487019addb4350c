"""A lot as the pages show it: where it is, how far its hold has come, what its proof lacks."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.lot_story import LotStory
from rimewatch.lots.record import Proof
from rimewatch.report import wording
from rimewatch.report.freezing_words import NO_FOOD_CODE_OPTION
from rimewatch.report.lot_caveats import NOT_SURE, PARASITES_ALONE, caveats, unproven_on_display
from rimewatch.rules.provisions import THAWING_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import Option

PROVEN: Final = {
    Proof.OWN_FREEZING: "Parasite proof complete: own freezing",
    Proof.SUPPLIER_FREEZING: "Parasite proof complete: the supplier’s statement on freezing",
    Proof.EXEMPTION: "Parasite proof complete: exempt from freezing",
}


def lot_view(shop: Shop, story: LotStory) -> dict[str, Any]:
    """Return what a template shows of a lot."""
    received, hold, zone = story.entries.received, story.hold, ZoneInfo(shop.timezone)
    unit = story.entries.unit
    where = "nowhere yet"
    if unit is not None:
        known = shop.unit.get(unit)
        where = wording.printable(str(unit) if known is None else known.name)
    lines: list[str] = [] if story.proof is None else [PARASITES_ALONE]
    if on_display := unproven_on_display(shop, story):
        lines.append(on_display)
    against = caveats(story, zone)
    lines.extend(against)
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
    if hold is not None and hold.option is Option.F20C_24H:
        lines.append(NO_FOOD_CODE_OPTION)
    if story.need is not None:
        lines.append(wording.printable(story.need.why))
    return {
        "lot": str(story.lot),
        "species": "not said" if received is None else wording.printable(received.species),
        "where": where,
        "ready": story.raw_ready and not against,
        "verdict": _verdict(story),
        "why_not": story.why_not,
        "lines": lines,
        "progress": progress,
    }


def _verdict(story: LotStory) -> str:
    if story.proof is None:
        return "Not for raw service"
    if story.is_proof_unsure:
        return NOT_SURE.capitalize()
    return PROVEN[story.proof]
