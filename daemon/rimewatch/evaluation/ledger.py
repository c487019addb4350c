"""The ledger: what the readings and entries of a period amount to, as plain data.

Every figure is a pure function of stored readings, configuration and entries; only
what was alarmed and sent depends on when the readings arrived. The same input gives
the same ledger, to the digit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from rimewatch.alarms.alarm import Alarm
from rimewatch.entries import AnyEntry, CorrectiveAction
from rimewatch.evaluation import exposures
from rimewatch.evaluation.awaiting import ASKED_FOR_MS, awaiting_action, histories_of
from rimewatch.evaluation.batches import cooling_records, time_control_records
from rimewatch.evaluation.calibrations import calibration_checks
from rimewatch.evaluation.channels import (
    ChannelHistory,
    history_of,
    limit_rule,
    stale_ms,
)
from rimewatch.evaluation.clock_note import ClockNote
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.door import Refusal
from rimewatch.evaluation.excursions import Excursion, excursions_of
from rimewatch.evaluation.instants import figure, iso
from rimewatch.evaluation.learned_air import LearnedAir
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_details import lot_details
from rimewatch.evaluation.lot_story import LotStory, tell
from rimewatch.evaluation.service_times import out_of_service_times
from rimewatch.evaluation.settings import Change, within
from rimewatch.evaluation.standing_record import standing_record
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.hold import Break
from rimewatch.science.scale_jump import scale_jump_ms
from rimewatch.science.statistics import gaps_ms, statistics
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import About, ContactId, Measures, ProbeId, Rule, UnitId

LEAST_READINGS: Final = 4
"""Fewer tell nothing of how often a probe sends, or how cold its place is."""
FAR_APART_C: Final = 10.0
"""Air in one unit is not that far from other air in it (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MessageRecord:
    """A message that was handed to the outbox."""

    at_ms: int
    contact: ContactId
    unit: UnitId | None
    rule: Rule | None
    about: About
    sent_ms: int | None = None
    """When a service took it; None: none has, or it is not known."""
    refused: str | None = None
    """What the last try said of one that no service has taken; None: it is not known."""

    @property
    def reached_ms(self) -> int | None:
        """When it was told, as far as is known; None: nobody has taken it."""
        if self.sent_ms is not None:
            return self.sent_ms
        return self.at_ms if self.refused is None else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What a ledger is made of, besides the readings."""

    entries: Sequence[AnyEntry] = ()
    alarms: Sequence[Alarm] = ()
    messages: Sequence[MessageRecord] = ()
    refused: Sequence[Refusal] = ()
    """Entries that were not taken."""
    quarantined: int = 0
    quarantine: Sequence[Mapping[str, Any]] = ()
    batteries: Mapping[ProbeId, float] | None = None
    clocks: Mapping[ProbeId, ClockNote] = field(default_factory=dict)
    changes: Sequence[Change] = ()
    """Settings that were changed."""


def build_ledger(
    shop: Shop,
    store: ReadingStore,
    account: Account,
    *,
    from_ms: int,
    to_ms: int,
    histories: Mapping[ProbeId, ChannelHistory] | None = None,
) -> dict[str, Any]:
    """Return the ledger of a period.

    Args:
        shop: The shop.
        store: Its accepted readings.
        account: Entries, alarms, messages and quarantine of the period.
        from_ms: Start of the period.
        to_ms: End of the period; readings after it are not looked at.
        histories: The channels folded up to ``to_ms``, where somebody has them already;
            None: they are folded here.
    """
    if histories is None:
        histories = {
            probe.id: history_of(shop, probe, store, to_ms)
            for unit in shop.units
            for probe in shop.governing_probes(unit.id)
        }
    air = LearnedAir(shop, store)
    units = {
        unit.id: _unit(shop, store, unit, histories, account, from_ms, to_ms, air)
        for unit in shop.units
    }
    stories = [
        tell(shop, store, histories, lot, to_ms)
        for lot in book([e for e in account.entries if e.at_ms <= to_ms]).values()
        if lot.withdrawn is None or lot.withdrawn.at_ms >= from_ms
    ]
    return {
        "from": iso(from_ms),
        "to": iso(to_ms),
        "quarantined": account.quarantined,
        "units": units,
        "alarms": [_alarm(alarm) for alarm in account.alarms],
        "messages": [_message(message) for message in account.messages],
        "refused": [
            {"at": iso(item.at_ms), "do": item.do, "why": item.why}
            for item in sorted(account.refused, key=lambda item: item.at_ms)
            if from_ms <= item.at_ms <= to_ms
        ],
        "lots": [
            _lot(story) | further | {"exposure": exposures.exposure_record(story.exposure)}
            for story, further in zip(
                stories, lot_details(shop, store, histories, stories, to_ms), strict=True
            )
        ],
        "cooling": cooling_records(shop, store, account.entries, from_ms, to_ms),
        "time_control": time_control_records(shop, store, account.entries, from_ms, to_ms),
        "probes": _probes(shop, store, account, from_ms, to_ms),
        "calibration_checks": calibration_checks(account.entries, to_ms),
        "quarantine": list(account.quarantine),
        "setting_changes": [
            {
                "at": iso(change.at_ms),
                "key": change.key,
                "before": change.before,
                "after": change.after,
                "who": change.who,
            }
            for change in within(account.changes, from_ms, to_ms)
        ],
        "corrective_actions": corrective_actions(account.entries, from_ms - ASKED_FOR_MS, to_ms),
    }


def corrective_actions(
    entries: Sequence[AnyEntry], from_ms: int, to_ms: int
) -> list[dict[str, Any]]:
    """Return the corrective actions of some time, in order."""
    return [
        {
            "at": iso(e.at_ms),
            "unit": e.unit,
            "text": e.text,
            "who": e.who,
            "disposition": None if e.disposition is None else e.disposition.value,
            "lots": list(e.lots),
        }
        for e in sorted(entries, key=lambda e: e.at_ms)
        if isinstance(e, CorrectiveAction) and from_ms <= e.at_ms <= to_ms
    ]


def _awaiting(
    unit: Unit, own: Sequence[ChannelHistory], account: Account, from_ms: int, to_ms: int
) -> list[dict[str, Any]]:
    known = [entry for entry in account.entries if entry.at_ms <= to_ms]
    return [
        {
            "probe": item.probe,
            "start": iso(item.start_ms),
            "end": iso(item.end_ms),
            "peak_c": figure(item.peak_c, 3),
        }
        for item in awaiting_action(unit, own, known, from_ms)
    ]


def _unit(
    shop: Shop,
    store: ReadingStore,
    unit: Unit,
    histories: Mapping[ProbeId, ChannelHistory],
    account: Account,
    from_ms: int,
    to_ms: int,
    air: LearnedAir,
) -> dict[str, Any]:
    governing = shop.governing_probes(unit.id)
    doors = door_times(shop, store, unit.id, from_ms, to_ms)
    record: dict[str, Any] = {
        "name": unit.name,
        "kind": unit.kind.value,
        "limit_c": unit.limit_c,
        "laxer_because": unit.laxer_because or None,
    }
    if governing:
        probe = governing[0]
        silence_ms = stale_ms(probe)
        # A stale time more on either side, so that gaps and stretches at the edges are known.
        margin_ms = round(silence_ms)
        span = store.span(probe.id, from_ms - margin_ms, to_ms)
        figures = statistics(
            span.times_ms,
            span.values,
            stale_ms=silence_ms,
            from_ms=from_ms,
            to_ms=to_ms,
            limit_c=unit.limit_c,
        )
        gaps = gaps_ms(span.times_ms, stale_ms=silence_ms, from_ms=from_ms, to_ms=to_ms)
        own = [histories[p.id] for p in governing]
        record |= {
            "readings": figures.readings,
            "missing_s": figure(figures.missing_s, 3),
            "min_c": figure(figures.min_c, 3),
            "max_c": figure(figures.max_c, 3),
            "mean_c": figure(figures.mean_c, 4),
            "kinetic_c": figure(figures.kinetic_c, 4),
            "above_limit_s": figure(figures.above_limit_s, 3),
            "governing_above_limit_s": figure(_above_s(own[0], unit, from_ms, to_ms), 3),
            "gaps": [{"start": iso(start), "end": iso(end)} for start, end in gaps],
            "excursions": [
                _excursion(e) | {"exposure": _exposure(shop, store, e, to_ms)}
                for e in excursions_of(
                    shop, store, unit, own, account.alarms, from_ms=from_ms, to_ms=to_ms, air=air
                )
            ],
        }
    else:
        record |= {
            "readings": 0,
            "missing_s": figure((to_ms - from_ms) / 1000.0, 3),
            "min_c": None,
            "max_c": None,
            "mean_c": None,
            "kinetic_c": None,
            "above_limit_s": 0.0,
            "governing_above_limit_s": 0.0,
            "gaps": [{"start": iso(from_ms), "end": iso(to_ms)}],
            "excursions": [],
        }
    if shop.probes_of(unit.id, Measures.DOOR):
        lengths_s = [(end - start) / 1000.0 for start, end in doors]
        record["doors"] = {
            "openings": len(doors),
            "open_s": figure(sum(lengths_s), 3),
            "longest_s": figure(max(lengths_s, default=0.0), 3),
        }
    record["defrosts"] = len(scheduled(unit, shop.timezone, from_ms, to_ms))
    record["awaiting_action"] = _awaiting(
        unit, histories_of(shop, unit, histories), account, from_ms, to_ms
    )
    record["out_of_service"] = [
        {"start": iso(start), "end": iso(end)}
        for start, end in out_of_service_times(account.entries, unit.id, from_ms, to_ms)
    ]
    return record


def _above_s(history: ChannelHistory, unit: Unit, from_ms: int, to_ms: int) -> float:
    """Return the seconds of a period with the governing temperature above the critical limit."""
    name = limit_rule(unit).value
    total_ms = 0.0
    for spell in history.spells(name):
        for start_ms, end_ms in spell.above:
            total_ms += max(0.0, min(end_ms, to_ms) - max(start_ms, from_ms))
    return total_ms / 1000.0


def _excursion(excursion: Excursion) -> dict[str, Any]:
    spell = excursion.spell
    return {
        "rule": excursion.rule.value,
        "probe": excursion.probe,
        "start": iso(spell.start_ms),
        "end": iso(spell.end_ms),
        "peak_c": figure(spell.peak_c, 3),
        "above_s": figure(spell.above_ms / 1000.0, 3),
        "cause": excursion.verdict.cause.value,
        "explanation": excursion.verdict.explanation,
        "alarmed": excursion.alarmed,
        "found_late": excursion.found_late,
    }


def _exposure(
    shop: Shop, store: ReadingStore, excursion: Excursion, to_ms: int
) -> list[dict[str, Any]]:
    """Return what an excursion alone used of the allowances; nothing for an operating limit."""
    if excursion.rule is Rule.OPERATING_LIMIT:
        return []
    spell, probe = excursion.spell, shop.probe[excursion.probe]
    end_ms = to_ms if spell.end_ms is None else spell.end_ms
    return exposures.table_a2(exposures.curve_of(shop, store, probe, spell.start_ms, end_ms))


def _alarm(alarm: Alarm) -> dict[str, Any]:
    record: dict[str, Any] = {
        "unit": alarm.key.unit,
        "rule": alarm.key.rule.value,
        "priority": alarm.priority.value,
        "raised": iso(alarm.raised_ms),
        # Opened again, it waits for somebody once more; that it was seen before stays true.
        "acknowledged": iso(alarm.first_acknowledged_ms or alarm.acknowledged_ms),
        "returned": iso(alarm.returned_ms),
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


def _break(item: Break) -> dict[str, Any]:
    return {
        "start": iso(item.start_ms),
        "end": iso(item.end_ms),
        "peak_c": figure(item.peak_c, 3),
        "reason": item.reason.value,
    }


def _lot(story: LotStory) -> dict[str, Any]:
    hold, need = story.hold, story.need
    return {
        "lot": story.lot,
        "species": None if story.entries.received is None else story.entries.received.species,
        "unit": story.entries.unit,
        "needs_destruction": True if need is None else need.needs_destruction,
        "why": "Nobody has entered what this lot is: treated as needing destruction."
        if need is None
        else need.why,
        "remaining_hazards": [] if need is None else list(need.remaining_hazards),
        "statement_missing": need is not None and need.statement_missing,
        "received_again": iso(
            None if story.entries.received_again is None else story.entries.received_again.at_ms
        ),
        "received_too_warm": None if need is None else need.receipt_too_warm,
        "option": None if hold is None else hold.option.value,
        "required_h": None if hold is None else hold.required_h,
        "credited_h": 0.0 if hold is None else figure(hold.credited_h, 6),
        "sure_h": 0.0 if story.sure is None else figure(story.sure.credited_h, 6),
        "sure_by": iso(story.sure_by_ms),
        "hold_doubts": [] if story.is_sure else [doubt.value for doubt in story.doubts],
        **standing_record(story.judgement),
        "state": story.state,
        "started": None if hold is None else iso(hold.started_ms),
        "completed": None if hold is None else iso(hold.completed_ms),
        "expected": None if hold is None else iso(hold.expected_ms),
        "interruptions": [] if hold is None else [_break(item) for item in hold.interruptions],
        "ice_days": figure(story.ice_days, 4),
    }


def _probes(
    shop: Shop, store: ReadingStore, account: Account, from_ms: int, to_ms: int
) -> dict[ProbeId, dict[str, Any]]:
    records = {
        probe.id: _probe(store, probe.id, stale_ms(probe), account, from_ms, to_ms)
        for probe in shop.probes
    }
    for probe in shop.probes:
        if probe.measures.is_temperature:
            span = store.span(probe.id, from_ms, to_ms)
            at_ms = scale_jump_ms(span.times_ms, span.values)
            if at_ms is not None:
                records[probe.id]["scale_jump"] = iso(at_ms)
    for unit in shop.units:
        air = [probe.id for probe in shop.probes_of(unit.id, Measures.AIR)]
        spans = {probe: store.span(probe, from_ms, to_ms).values for probe in air if len(air) > 1}
        middles = {
            probe: float(np.median(values))
            for probe, values in spans.items()
            if len(values) >= LEAST_READINGS
        }
        if len(middles) > 1:
            coldest = min(middles, key=middles.__getitem__)
            warmest = max(middles, key=middles.__getitem__)
            by_c = middles[warmest] - middles[coldest]
            if by_c >= FAR_APART_C:
                records[coldest]["apart"] = {"from": warmest, "by_c": figure(by_c, 1)}
    return records


def _probe(
    store: ReadingStore,
    probe: ProbeId,
    silence_ms: float,
    account: Account,
    from_ms: int,
    to_ms: int,
) -> dict[str, Any]:
    last = store.last_before(probe, to_ms + 1)
    never_stale = silence_ms == float("inf")
    record: dict[str, Any] = {
        "last": iso(None if last is None else last[0]),
        "stale": not never_stale and (last is None or to_ms - last[0] > silence_ms),
    }
    if not never_stale:
        span = store.span(probe, from_ms - round(silence_ms), to_ms)
        gaps = gaps_ms(span.times_ms, stale_ms=silence_ms, from_ms=from_ms, to_ms=to_ms)
        record["missing_s"] = figure(sum(end - start for start, end in gaps) / 1000.0, 3)
        if len(span.times_ms) > LEAST_READINGS:
            usual_ms = float(np.median(np.diff(span.times_ms)))
            if usual_ms > silence_ms:
                record["sends_every_s"] = figure(usual_ms / 1000.0, 0)
    if account.batteries and probe in account.batteries:
        record["battery"] = account.batteries[probe]
    record |= account.clocks.get(probe, ClockNote()).record()
    return record
