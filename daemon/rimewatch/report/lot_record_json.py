"""A lot's record as JSON, for other programs. Layout only.

Temperatures are °C whatever the shop reads, times UTC; keys as in the ledger.
"""

import json
from typing import Any

from rimewatch.evaluation.exposures import LIMITS
from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.lot_record import LotRecord
from rimewatch.instants import iso, iso_or_none
from rimewatch.journal.entry_codec import entry_to_dict
from rimewatch.lots.record import PROVISION_OF, EntryLine, HoldRecord
from rimewatch.lots.standing import TooLongWarm
from rimewatch.report.ledger_json import change_document, place_document, use_by_document
from rimewatch.report.lot_document import standing_document
from rimewatch.report.lot_page import CAUTIONS


def lot_record_json(record: LotRecord) -> str:
    """Return the record as indented JSON."""
    story, entries = record.story, record.story.entries
    need = story.need
    species = None if need is None else need.species
    document = {
        "lot": story.lot,
        "as_of": iso(record.made_ms),
        "state": story.state,
        **standing_document(story.judgement),
        "proof": None if story.proof is None else story.proof.value,
        "why_not": story.why_not,
        "received": None if entries.received is None else entry_to_dict(entries.received),
        "scientific": None if species is None else species.scientific,
        "needs_destruction": True if need is None else need.needs_destruction,
        "why": "" if need is None else need.why,
        "provision": "" if need is None else need.provision,
        "remaining_hazards": [] if need is None else list(need.remaining_hazards),
        "hold": None if record.hold is None else _hold(record.hold),
        "statements": [entry_to_dict(item) for item in entries.statements],
        "thawing": None if entries.thawing is None else iso(entries.thawing.at_ms),
        "path": [place_document(place) for place in record.account.path],
        "ice_days": figure(story.ice_days, 4),
        "received_too_warm": None if need is None else need.receipt_too_warm,
        "overruns": [
            {"hazard": LIMITS[reason.limit].hazard, "share": figure(reason.share, 4)}
            for reason in story.judgement.against
            if isinstance(reason, TooLongWarm)
        ],
        "use_by": use_by_document(record.account.use_by),
        "withdrawn": None if entries.withdrawn is None else iso(entries.withdrawn.at_ms),
        "keep_until": None
        if record.account.keep_until is None
        else record.account.keep_until.isoformat(),
        "setting_changes": [change_document(change) for change in record.changes],
        "entries": [_line(line) for line in record.lines],
        "cautions": list(CAUTIONS),
    }
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def _hold(hold: HoldRecord) -> dict[str, Any]:
    return {
        "option": hold.option.value,
        "provision": PROVISION_OF[hold.option],
        "line_c": hold.line_c,
        "required_h": hold.required_h,
        "credited_h": figure(hold.credited_h, 6),
        "sure_h": figure(hold.sure_h, 6),
        "sure_by": iso_or_none(hold.sure_by_ms),
        "doubts": [] if hold.is_sure else [doubt.value for doubt in hold.doubts],
        "begun": iso(hold.begun_ms),
        "started": iso_or_none(hold.started_ms),
        "completed": iso_or_none(hold.completed_ms),
        "expected": iso_or_none(hold.expected_ms),
        "needed_by": iso_or_none(hold.needed_by_ms),
        "warmest_c": figure(hold.warmest_c, 3),
        "warmest_with_uncertainty_c": figure(hold.warmest_guarded_c, 3),
        "cold_before_count_h": figure(hold.lead_h, 3),
        "thickness_mm": hold.thickness_mm,
        "probes": [
            {
                "probe": used.probe,
                "unit": used.unit,
                "measures": used.measures.value,
                "evidence": used.evidence.value,
                "in_lot": used.in_lot,
                "lag_s": used.lag_s,
                "uncertainty_c": used.uncertainty_c,
                "offset_c": used.offset_c,
                "calibration": None if used.check is None else entry_to_dict(used.check),
            }
            for used in hold.probes
        ],
        "interruptions": [
            {
                "start": iso(item.start_ms),
                "end": iso_or_none(item.end_ms),
                "peak_c": figure(item.peak_c, 3),
                "reason": item.reason.value,
                "seen_warm": item.is_warm,
                "lost_h": figure(item.lost_h, 3),
            }
            for item in hold.interruptions
        ],
    }


def _line(line: EntryLine) -> dict[str, Any]:
    return {
        "entry_number": line.entry.entry_number,
        **entry_to_dict(line.entry),
        "cancelled_by": None if line.cancelled_by is None else line.cancelled_by.entry_number,
    }
