"""The ledger as the JSON of the contract. Layout only: nothing is decided here.

Times are ISO 8601 in UTC, temperatures °C, durations seconds, figures rounded.
"""

import json
from typing import Any

from rimewatch.alarms.alarm import Alarm
from rimewatch.entries import AttachStatement, CalibrationCheck, CorrectiveAction
from rimewatch.evaluation.awaiting import Awaiting
from rimewatch.evaluation.batches import CoolingRecord, TimerRecord
from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.exposures import LotExposure
from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.ledger import Ledger, MessageRecord, ProbeAccount, UnitAccount
from rimewatch.evaluation.lot_account import LotAccount
from rimewatch.evaluation.quarantine_tally import QuarantineKind
from rimewatch.evaluation.settings import Change
from rimewatch.instants import iso, iso_or_none
from rimewatch.lots.foretell import Foretold
from rimewatch.lots.hold import Break
from rimewatch.lots.record import Place, UseBy
from rimewatch.report.lot_document import standing_document
from rimewatch.science.exposure import Exposure


def ledger_text(ledger: Ledger) -> str:
    """Return a ledger as ``ledger.json`` holds it. The same ledger gives the same bytes."""
    return json.dumps(ledger_document(ledger), indent=2, ensure_ascii=False) + "\n"


def ledger_document(ledger: Ledger) -> dict[str, Any]:
    """Return a ledger as plain data, in the keys and the order of the contract."""
    return {
        "from": iso(ledger.from_ms),
        "to": iso(ledger.to_ms),
        "quarantined": ledger.quarantined,
        "units": {unit: _unit(account) for unit, account in ledger.units.items()},
        "alarms": [_alarm(alarm) for alarm in ledger.alarms],
        "messages": [_message(message) for message in ledger.messages],
        "refused": [
            {"at": iso(item.at_ms), "do": item.do, "why": item.why} for item in ledger.refused
        ],
        "lots": [_lot(lot) for lot in ledger.lots],
        "cooling": [_cooling(item) for item in ledger.cooling],
        "time_control": [_timer(item) for item in ledger.time_control],
        "probes": {probe: _probe(account) for probe, account in ledger.probes.items()},
        "calibration_checks": [_check(check) for check in ledger.calibration_checks],
        "quarantine": [_quarantine(kind) for kind in ledger.quarantine],
        "setting_changes": [change_document(change) for change in ledger.setting_changes],
        "corrective_actions": [_action(action) for action in ledger.corrective_actions],
    }


def _unit(account: UnitAccount) -> dict[str, Any]:
    unit = account.unit
    doors: dict[str, Any] = {}
    if account.doors is not None:
        doors["doors"] = {
            "openings": account.doors.openings,
            "open_s": account.doors.open_s,
            "longest_s": account.doors.longest_s,
        }
    return {
        "name": unit.name,
        "kind": unit.kind.value,
        "limit_c": unit.limit_c,
        "laxer_because": unit.laxer_because or None,
        "readings": account.readings,
        "missing_s": account.missing_s,
        "min_c": account.min_c,
        "max_c": account.max_c,
        "mean_c": account.mean_c,
        "kinetic_c": account.kinetic_c,
        "above_limit_s": account.above_limit_s,
        "governing_above_limit_s": account.governing_above_limit_s,
        "gaps": [_stretch(*gap) for gap in account.gaps],
        "excursions": [_excursion(item) for item in account.excursions],
        **doors,
        "defrosts": account.defrosts,
        "awaiting_action": [_awaiting(item) for item in account.awaiting_action],
        "out_of_service": [_stretch(*time) for time in account.out_of_service],
    }


def _stretch(start_ms: float, end_ms: float | None) -> dict[str, Any]:
    return {"start": iso(start_ms), "end": iso_or_none(end_ms)}


def _excursion(item: Excursion) -> dict[str, Any]:
    return {
        "rule": item.rule.value,
        "probe": item.probe,
        **_stretch(item.start_ms, item.end_ms),
        "peak_c": item.peak_c,
        "above_s": item.above_s,
        "cause": item.cause.value,
        "explanation": item.explanation,
        "alarmed": item.alarmed,
        "found_late": item.found_late,
        "exposure": [_exposure(used) for used in item.exposure],
    }


def _exposure(used: Exposure) -> dict[str, Any]:
    return {
        "hazard": used.hazard,
        "counted_s": figure(used.counted_s, 3),
        "band_s": [figure(seconds, 3) for seconds in used.band_s],
        "share": figure(used.share, 4),
        "share_with_gaps": figure(used.share_with_gaps, 4),
        "basis": used.basis.value,
    }


def _awaiting(item: Awaiting) -> dict[str, Any]:
    return {
        "probe": item.probe,
        **_stretch(item.start_ms, item.end_ms),
        "peak_c": figure(item.peak_c, 3),
    }


def _alarm(alarm: Alarm) -> dict[str, Any]:
    record: dict[str, Any] = {
        "unit": alarm.key.unit,
        "rule": alarm.key.rule.value,
        "priority": alarm.priority.value,
        "raised": iso(alarm.raised_ms),
        "acknowledged": iso_or_none(alarm.answered_ms),
        "returned": iso_or_none(alarm.returned_ms),
        "woke": alarm.woke,
        "since": iso(alarm.since_ms),
        "detail": alarm.condition.detail,
    }
    if alarm.key.unit is None:
        record["units"] = list(alarm.units)
    if alarm.condition.unread:
        record["unread"] = {probe: why.value for probe, why in alarm.condition.unread}
    return record


def _message(message: MessageRecord) -> dict[str, Any]:
    return {
        "at": iso(message.at_ms),
        "contact": message.contact,
        "unit": message.unit,
        "rule": None if message.rule is None else message.rule.value,
        "about": message.about.value,
    }


def _lot(account: LotAccount) -> dict[str, Any]:
    story, entries = account.story, account.story.entries
    hold, need, again = story.hold, story.need, entries.received_again
    in_units = [place for place in account.path if place.unit is not None]
    breaks = () if hold is None else hold.interruptions
    return {
        "lot": story.lot,
        "species": None if entries.received is None else entries.received.species,
        "unit": entries.unit,
        "needs_destruction": account.needs_destruction,
        "why": account.why,
        "remaining_hazards": list(account.remaining_hazards),
        "statement_missing": need is not None and need.statement_missing,
        "received_again": None if again is None else iso(again.at_ms),
        "received_too_warm": None if need is None else need.receipt_too_warm,
        "option": None if hold is None else hold.option.value,
        "required_h": None if hold is None else hold.required_h,
        "credited_h": 0.0 if hold is None else figure(hold.credited_h, 6),
        "sure_h": 0.0 if story.sure is None else figure(story.sure.credited_h, 6),
        "sure_by": iso_or_none(story.sure_by_ms),
        "hold_doubts": [] if story.is_sure else [doubt.value for doubt in story.doubts],
        **standing_document(story.judgement),
        "state": story.state,
        "started": None if hold is None else iso_or_none(hold.started_ms),
        "completed": None if hold is None else iso_or_none(hold.completed_ms),
        "expected": None if hold is None else iso_or_none(hold.expected_ms),
        "interruptions": [_break(item) for item in breaks],
        "ice_days": figure(story.ice_days, 4),
        "raw_ready": story.raw_ready,
        "proof": None if story.proof is None else story.proof.value,
        "why_not": story.why_not,
        "lost_h": 0.0 if hold is None else figure(sum(item.lost_h for item in breaks), 6),
        "thawing": None if entries.thawing is None else iso(entries.thawing.at_ms),
        "rop": entries.received is not None and entries.received.rop,
        "statements": [_statement(item) for item in entries.statements],
        "above_limit_s": figure(sum(place.above_limit_s for place in in_units), 3),
        "unmonitored_s": figure(sum(place.unmonitored_s for place in in_units), 3),
        "path": [_place(place) for place in account.path],
        "use_by": use_by_document(account.use_by),
        "keep_until": None if account.keep_until is None else account.keep_until.isoformat(),
        **_expectation(account.foretold),
        "exposure": _lot_exposure(story.exposure),
    }


def _break(item: Break) -> dict[str, Any]:
    return {
        **_stretch(item.start_ms, item.end_ms),
        "peak_c": figure(item.peak_c, 3),
        "reason": item.reason.value,
    }


def _statement(item: AttachStatement) -> dict[str, Any]:
    return {
        "at": iso(item.at_ms),
        "reference": item.reference,
        "states": item.states.value,
        "option": None if item.option is None else item.option.value,
        "file": item.file,
        "sha256": item.sha256,
    }


def _place(place: Place) -> dict[str, Any]:
    document = place_document(place)
    del document["mean_c"]  # of a lot's own record alone
    return document


def place_document(place: Place) -> dict[str, Any]:
    """Return a stretch of a lot's life as plain data."""
    return {
        "unit": place.unit,
        "from": iso(place.from_ms),
        "to": None if place.lasts else iso(place.to_ms),
        "min_c": figure(place.min_c, 3),
        "max_c": figure(place.max_c, 3),
        "mean_c": figure(place.mean_c, 3),
        "limit_c": place.limit_c,
        "above_limit_s": figure(place.above_limit_s, 3),
        "unmonitored_s": figure(place.unmonitored_s, 3),
        "ice_days": figure(place.ice_days, 4),
    }


def use_by_document(found: UseBy | None) -> dict[str, Any] | None:
    """Return the shop's own use-by as plain data: a matter of quality, not of safety."""
    if found is None:
        return None
    return {
        "limit_ice_days": found.limit_ice_days,
        "at_c": figure(found.at_c, 3),
        "at": iso_or_none(found.use_by_ms),
    }


def _expectation(foretold: Foretold | None) -> dict[str, Any]:
    if foretold is None or foretold.needed_by_ms is None:
        return {"needed_by": None, "late": False, "instead": None}
    better = foretold.instead
    return {
        "needed_by": iso(foretold.needed_by_ms),
        "late": foretold.is_late,
        "instead": None
        if better is None
        else {
            "option": better.option.value,
            "unit": better.unit,
            "start_by": iso_or_none(foretold.start_by_ms),
        },
    }


def _lot_exposure(used: LotExposure) -> dict[str, Any]:
    return {
        "table_a2": [_exposure(one) for one in used.table_a2],
        "scombrotoxin": None if used.scombrotoxin is None else _exposure(used.scombrotoxin),
        "limits": {limit.value: _exposure(one) for limit, one in used.used.items()},
        "packed": None
        if used.packed is None
        else {"above_s": figure(used.packed.above_s, 3), "share": figure(used.packed.share, 6)},
    }


def _cooling(item: CoolingRecord) -> dict[str, Any]:
    start, standing = item.batch.start, item.standing
    return {
        "unit": start.unit,
        "lot": start.lot,
        "food": start.food.value,
        "put_in": iso(start.at_ms),
        "taken_out": iso_or_none(item.batch.ended_ms),
        "started": iso_or_none(standing.started_ms),
        "state": standing.state.value,
        "measured": item.measured,
        "stages": [
            {
                "to_c": stage.to_c,
                "within_h": stage.within_h,
                "deadline": iso(stage.deadline_ms),
                "reached": iso_or_none(stage.reached_ms),
                "missed": stage.missed_by(item.judged_ms),
            }
            for stage in standing.stages
        ],
    }


def _timer(item: TimerRecord) -> dict[str, Any]:
    start, verdict = item.timed.start, item.verdict
    return {
        "unit": start.unit,
        "lot": start.lot,
        "hours": start.hours,
        "started": iso(start.at_ms),
        "ended": iso_or_none(item.timed.ended_ms),
        "ends": None if verdict is None else iso(verdict.ends_ms),
        "state": item.state.value,
        "discard": None if verdict is None else iso_or_none(verdict.discard_ms),
        "warmest_c": None if verdict is None else figure(verdict.warmest_c, 3),
        "unmonitored_s": None if verdict is None else figure(verdict.unmonitored_s, 3),
        "reason": "nobody measured the food as it left temperature control"
        if verdict is None
        else verdict.reason,
    }


def _probe(account: ProbeAccount) -> dict[str, Any]:
    record: dict[str, Any] = {"last": iso_or_none(account.last_ms), "stale": account.stale}
    if account.missing_s is not None:
        record["missing_s"] = account.missing_s
    if account.battery is not None:
        record["battery"] = account.battery
    if account.sends_every_s is not None:
        record["sends_every_s"] = account.sends_every_s
    if account.scale_jump_ms is not None:
        record["scale_jump"] = iso(account.scale_jump_ms)
    if account.clock.qos_0_ms is not None:
        record["sent_at_qos_0"] = iso(account.clock.qos_0_ms)
    if account.apart_from is not None:
        record["apart"] = {"from": account.apart_from, "by_c": account.apart_c}
    return record | {
        "clock_offset_s": account.clock.offset_s,
        "times_not_used": account.clock.times_not_used,
        "dated_by_arrival": account.clock.dating.by_arrival,
        "two_sources": iso_or_none(account.clock.two_sources_ms),
    }


def _check(check: CalibrationCheck) -> dict[str, Any]:
    return {
        "at": iso(check.at_ms),
        "probe": check.probe,
        "who": check.who,
        "reference": check.reference,
        "found_c": check.found_c,
        "offset_c": check.offset_c,
        "offset_from": None if check.offset_c is None else iso(check.from_ms),
    }


def _quarantine(kind: QuarantineKind) -> dict[str, Any]:
    return {
        "topic": kind.topic,
        "probe": kind.probe or None,
        "reason": kind.reason,
        "count": kind.count,
        "payload_start": kind.payload_start,
    }


def change_document(change: Change) -> dict[str, Any]:
    """Return a setting that was changed: when, which, what it was and is, and by whom."""
    return {
        "at": iso(change.at_ms),
        "key": change.key,
        "before": change.before,
        "after": change.after,
        "who": change.who,
    }


def _action(action: CorrectiveAction) -> dict[str, Any]:
    return {
        "at": iso(action.at_ms),
        "unit": action.unit,
        "text": action.text,
        "who": action.who,
        "disposition": None if action.disposition is None else action.disposition.value,
        "lots": list(action.lots),
    }
