"""A unit's excursions over a period: how far, how long, why, and whether anybody was told. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.night import NightPolicy
from rimewatch.alarms.priority import priority_of
from rimewatch.evaluation.channels import ChannelHistory, limit_rule
from rimewatch.evaluation.evidence import evidence_for
from rimewatch.evaluation.learned_air import LearnedAir
from rimewatch.evaluation.power import RECOVERY_S, lost_with
from rimewatch.evaluation.store import ReadingStore
from rimewatch.rules import cause
from rimewatch.rules.watch import Spell
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_S, ProbeId, Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursion:
    """An excursion with its verdict."""

    rule: Rule
    probe: ProbeId
    spell: Spell
    verdict: cause.Verdict
    alarmed: bool
    found_late: bool


def excursions_of(
    shop: Shop,
    store: ReadingStore,
    unit: Unit,
    histories: Sequence[ChannelHistory],
    alarms: Sequence[Alarm],
    *,
    from_ms: int,
    to_ms: int,
    air: LearnedAir | None = None,
) -> list[Excursion]:
    """Return the excursions of a unit's governing probes that touch a period, in order.

    Args:
        shop: The shop.
        store: Its readings.
        unit: The unit.
        histories: Its governing probes' channels.
        alarms: What was raised.
        from_ms: Start of the period.
        to_ms: End of the period.
        air: What was learned of the units' air, where it serves for several units.
    """
    air = LearnedAir(shop, store) if air is None else air
    rules = [limit_rule(unit)]
    if unit.operating_limit_c is not None:
        rules.append(Rule.OPERATING_LIMIT)
    found = [
        _excursion(shop, store, history, rule, spell, alarms, to_ms, air)
        for history in histories
        for rule in rules
        for spell in history.spells(rule.value)
        if spell.start_ms <= to_ms and (spell.end_ms is None or spell.end_ms >= from_ms)
    ]
    return sorted(found, key=lambda e: (e.spell.start_ms, e.rule.value, e.probe))


def _excursion(
    shop: Shop,
    store: ReadingStore,
    history: ChannelHistory,
    rule: Rule,
    spell: Spell,
    alarms: Sequence[Alarm],
    to_ms: int,
    air: LearnedAir,
) -> Excursion:
    unit = shop.unit[history.probe.unit]
    raised = [alarm for alarm in alarms if _is_of(alarm, shop, unit, rule, spell)]
    known_ms = to_ms if history.state.last_ms is None else min(to_ms, history.state.last_ms)
    others = lost_with(shop, store, unit.id, spell, known_ms, air)
    verdict = cause.explain(evidence_for(shop, store, unit.id, spell, known_ms, others))
    return Excursion(
        rule=rule,
        probe=history.probe.id,
        spell=spell,
        verdict=verdict,
        alarmed=bool(raised),
        found_late=bool(raised)
        and spell.end_ms is not None
        and all(alarm.raised_ms > spell.end_ms for alarm in raised),
    )


def _is_of(alarm: Alarm, shop: Shop, unit: Unit, rule: Rule, spell: Spell) -> bool:
    """Whether an alarm was about an excursion: the same line, at the same (event) time."""
    if alarm.key.rule is Rule.POWER_LOSS:
        if unit.id not in alarm.units or not _spoke_for(alarm, shop, rule, spell):
            return False
    elif alarm.key.unit != unit.id or alarm.key.rule is not rule:
        return False
    over_ms = float("inf") if alarm.returned_ms is None else alarm.returned_ms
    if alarm.key.rule is Rule.POWER_LOSS:
        # For so long after power is back its alarm has spoken for what is not yet cold.
        over_ms += RECOVERY_S * MS_PER_S
    ends_ms = float("inf") if spell.end_ms is None else spell.end_ms
    return alarm.since_ms <= ends_ms and over_ms >= spell.start_ms


def _spoke_for(alarm: Alarm, shop: Shop, rule: Rule, spell: Spell) -> bool:
    """Whether the alarm of a cause was heard itself, in place of its units' own."""
    if alarm.silent and spell.end_ms is None:
        return False
    night = NightPolicy(shop.night, shop.timezone)
    own = priority_of(rule, shop.priorities)
    return night.may_wake(alarm.priority) or not night.may_wake(own)
