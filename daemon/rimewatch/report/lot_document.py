"""A lot and what may be said of it as plain data, the same in every file and answer. Pure."""

from dataclasses import fields
from enum import Enum
from typing import Any

from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.instants import iso_or_none
from rimewatch.lots.standing import Against, Doubt, Judgement
from rimewatch.report.lot_standing import lot_words
from rimewatch.shop import Shop


def lot_document(shop: Shop, story: LotStory) -> dict[str, Any]:
    """Return how a lot stands, for programs that ask."""
    hold, words = story.hold, lot_words(shop, story)
    return {
        "lot": story.lot,
        "unit": story.entries.unit,
        "state": story.state,
        "needs_destruction": None if story.need is None else story.need.needs_destruction,
        "proof": None if story.proof is None else story.proof.value,
        **standing_document(story.judgement),
        "verdict": words.verdict,
        "ready": words.is_ready,
        "why_not": words.why_not,
        "caveats": list(words.caveats),
        "option": None if hold is None else hold.option.value,
        "required_h": None if hold is None else hold.required_h,
        "credited_h": None if hold is None else hold.credited_h,
        "sure_h": None if story.sure is None else story.sure.credited_h,
        "completed": None if hold is None else iso_or_none(hold.completed_ms),
        "ice_days": round(story.ice_days, 2),
    }


def standing_document(judgement: Judgement) -> dict[str, Any]:
    """Return a standing with its reasons: their stable names, and each with its figures."""
    return {
        "standing": judgement.standing.value,
        "against": reason_names(judgement.against),
        "lacks": [lack.value for lack in judgement.lacks],
        "doubts": reason_names(judgement.doubts),
        "reasons": [_reason(reason) for reason in (*judgement.against, *judgement.doubts)],
    }


def reason_names(reasons: tuple[Against | Doubt, ...]) -> list[str]:
    """Return the stable names of reasons, each once."""
    return list(dict.fromkeys(reason.name for reason in reasons))


def _reason(reason: Against | Doubt) -> dict[str, Any]:
    """Return a reason with its figures; instants as ISO 8601."""
    told: dict[str, Any] = {"reason": reason.name}
    for field in fields(reason):
        value = getattr(reason, field.name)
        if field.name.endswith("_ms"):
            told[field.name.removesuffix("_ms")] = iso_or_none(value)
        elif isinstance(value, Enum):
            told[field.name] = value.value
        elif isinstance(value, float):
            told[field.name] = figure(value, 6)
        else:
            told[field.name] = value
    return told
