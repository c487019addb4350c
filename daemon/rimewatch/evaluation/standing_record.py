"""What may be said of a lot, as the ledger tells it. Pure."""

from dataclasses import fields
from enum import Enum
from typing import Any

from rimewatch.evaluation.instants import figure, iso
from rimewatch.lots.standing import Against, Doubt, Judgement


def standing_record(judgement: Judgement) -> dict[str, Any]:
    """Return a standing with its reasons: their stable names, and each with its figures."""
    return {
        "standing": judgement.standing.value,
        "against": _names(judgement.against),
        "lacks": [lack.value for lack in judgement.lacks],
        "doubts": _names(judgement.doubts),
        "reasons": [reason_record(reason) for reason in (*judgement.against, *judgement.doubts)],
    }


def reason_record(reason: Against | Doubt) -> dict[str, Any]:
    """Return a reason with its figures; instants as ISO 8601."""
    told: dict[str, Any] = {"reason": reason.name}
    for field in fields(reason):
        value = getattr(reason, field.name)
        if field.name.endswith("_ms"):
            told[field.name.removesuffix("_ms")] = iso(value)
        elif isinstance(value, Enum):
            told[field.name] = value.value
        elif isinstance(value, float):
            told[field.name] = figure(value, 6)
        else:
            told[field.name] = value
    return told


def _names(reasons: tuple[Against | Doubt, ...]) -> list[str]:
    return list(dict.fromkeys(reason.name for reason in reasons))
