"""From what the folds know to what calls for a response. Pure."""

from collections.abc import Mapping, Sequence
from typing import Final

from rimewatch.alarms.consequence import lines_passed
from rimewatch.evaluation.channels import ChannelHistory, limit_rule
from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.evaluation.lot_story import hold_of
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.track import Track
from rimewatch.lots.foretell import hours_lost
from rimewatch.lots.hold import STORED_AT_C, Hold
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.probe_rule import Finding
from rimewatch.rules.watch import Spell
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_H, LotId, ProbeId, Rule, UnitId

AGAIN_AFTER: Final = 2
AGAIN_WITHIN_MS: Final = 4 * MS_PER_H
"""After so many excursions in so long another is no single slip: our choice, no source."""


def channel_conditions(
    unit: Unit, tracks: Sequence[Track], lots: tuple[LotId, ...]
) -> dict[AlarmKey, Condition | None]:
    """Return a unit's limits as conditions: so, once an excursion has lasted the on-delay."""
    conditions: dict[AlarmKey, Condition | None] = {}
    for rule in _limits_c(unit):
        lasting = [
            spell
            for track in tracks
            if (spell := track.open_spell(rule.value)) is not None
            and spell.sustained_ms is not None
        ]
        key = AlarmKey(unit=unit.id, rule=rule)
        conditions[key] = _limit_condition(unit, rule, lasting, lots) if lasting else None
    return conditions


def over_condition(unit: Unit, spell: Spell, lots: tuple[LotId, ...]) -> Condition | None:
    """Return what an excursion that is over was; None: it had not lasted its on-delay."""
    if spell.sustained_ms is None:
        return None
    found = (rule for rule in _limits_c(unit) if rule.value == spell.watch)
    rule = next(found, None)
    return None if rule is None else _limit_condition(unit, rule, [spell], lots)


def comes_again(ended: Sequence[Spell], spell: Spell) -> bool:
    """Whether two others beyond the same level lasted their on-delay in the hours before."""
    before = [
        other
        for other in ended
        if other.watch == spell.watch
        and other.sustained_ms is not None
        and other.end_ms is not None
        and spell.start_ms - AGAIN_WITHIN_MS <= other.end_ms <= spell.start_ms
    ]
    return len(before) >= AGAIN_AFTER


def found_late(ended: Sequence[Spell], known: Sequence[Spell], from_ms: int) -> list[Spell]:
    """Return the excursions that late readings have shown, of which nothing was known.

    Args:
        ended: What is over, late readings included.
        known: What was over or open without them.
        from_ms: The earliest late reading.
    """
    told = [spell for spell in known if spell.sustained_ms is not None]
    return [
        spell
        for spell in ended
        if spell.sustained_ms is not None
        and spell.end_ms is not None
        and spell.end_ms >= from_ms
        and not any(_overlap(spell, other) for other in told)
    ]


def _overlap(spell: Spell, other: Spell) -> bool:
    if spell.watch != other.watch or spell.end_ms is None:
        return False
    return other.start_ms <= spell.end_ms and (
        other.end_ms is None or other.end_ms >= spell.start_ms
    )


def _limits_c(unit: Unit) -> dict[Rule, float]:
    limits_c = {limit_rule(unit): unit.limit_c}
    if unit.operating_limit_c is not None:
        limits_c[Rule.OPERATING_LIMIT] = unit.operating_limit_c
    return limits_c


def _limit_condition(
    unit: Unit, rule: Rule, spells: Sequence[Spell], lots: tuple[LotId, ...]
) -> Condition:
    limit_c = _limits_c(unit)[rule]
    peak_c = max(spell.peak_c for spell in spells)
    return Condition(
        key=AlarmKey(unit=unit.id, rule=rule),
        since_ms=round(min(spell.start_ms for spell in spells)),
        units=(unit.id,),
        limit_c=limit_c,
        lots=lots,
        severity=0 if rule is Rule.OPERATING_LIMIT else lines_passed(unit.kind, limit_c, peak_c),
    )


def hold_condition(
    shop: Shop,
    store: ReadingStore,
    histories: Mapping[ProbeId, ChannelHistory],
    unit: UnitId,
    lots: Sequence[LotEntries],
    now_ms: int,
) -> Condition | None:
    """Return that holds are at risk: their cold had begun, and is lost right now."""
    since_ms: list[float] = []
    at_risk: dict[LotId, Hold] = {}
    for lot in lots:
        if lot.thawing is not None:
            continue  # taken out to thaw: nothing is held any more
        hold = hold_of(shop, histories, store, lot, now_ms)
        if hold is None or hold.completed_ms is not None or not hold.interruptions:
            continue
        last = hold.interruptions[-1]
        if last.end_ms is None and last.is_warm:
            since_ms.append(last.start_ms)
            at_risk[lot.lot] = hold
    if not at_risk:
        return None
    furthest = max(at_risk.values(), key=lambda hold: hold.at_stake_h)
    return Condition(
        key=AlarmKey(unit=unit, rule=Rule.HOLD_AT_RISK),
        since_ms=round(min(since_ms)),
        units=(unit,),
        limit_c=min(STORED_AT_C[hold.option] for hold in at_risk.values()),
        lots=tuple(at_risk),
        detail=hours_lost(at_risk),
        held_h=furthest.at_stake_h,
        needed_h=furthest.required_h,
    )


def finding_condition(key: AlarmKey, findings: Sequence[Finding]) -> Condition | None:
    """Return what a rule found on a unit's probes as one condition."""
    if not findings or key.unit is None:
        return None
    priorities = [finding.priority for finding in findings if finding.priority is not None]
    return Condition(
        key=key,
        since_ms=min(finding.since_ms for finding in findings),
        units=(key.unit,),
        priority=priorities[0] if priorities else None,
        detail="; ".join(finding.detail for finding in findings),
        unread=tuple(finding.unread for finding in findings if finding.unread is not None),
    )
