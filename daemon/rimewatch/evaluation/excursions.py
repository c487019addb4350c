"""A unit's excursions over a period: how far, how long, why, and whether anybody was told. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.night import NightPolicy
from rimewatch.alarms.priority import priority_of
from rimewatch.entries import CorrectiveAction
from rimewatch.evaluation.channels import ChannelHistory
from rimewatch.evaluation.evidence import evidence_for
from rimewatch.evaluation.exposures import curve_of, table_a2
from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.learned_air import LearnedAir
from rimewatch.evaluation.over_time import shop_at
from rimewatch.evaluation.power import RECOVERY_S, lost_with
from rimewatch.evaluation.store import ReadingStore
from rimewatch.instants import whole_ms, whole_ms_or_none
from rimewatch.rules import cause
from rimewatch.rules.watch import Spell
from rimewatch.science.exposure import Exposure
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_S, Cause, ProbeId, Rule

OF_LIMITS: Final = (Rule.HOLDING, Rule.FREEZER, Rule.OPERATING_LIMIT)
"""The rules that excursions are of; a unit has those that its kind and settings had at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursion:
    """An unbroken time beyond a limit: the one value that every surface tells of."""

    unit: Unit
    """As it was when it began."""
    rule: Rule
    probe: ProbeId
    """The probe that saw it."""
    start_ms: int
    end_ms: int | None
    """None: still open."""
    peak_c: float
    above_s: float
    cause: Cause
    explanation: str
    alarmed: bool
    found_late: bool
    exposure: tuple[Exposure, ...] = ()
    """What it alone used of the allowances of Table A-2, the worst first."""
    of_several: bool = False
    """Whether several probes speak for its unit's fish."""
    in_service: bool = True
    """Whether the unit was in service when it began."""
    actions: tuple[CorrectiveAction, ...] = ()
    """What was written down about it."""

    @property
    def limit_c(self) -> float | None:
        """The limit that it went beyond; None where there is no such limit any more."""
        if self.rule is Rule.OPERATING_LIMIT:
            return self.unit.operating_limit_c
        return self.unit.limit_c

    @property
    def concerns_fish(self) -> bool:
        """Whether it is the critical limit, and not an operating limit."""
        return self.rule is not Rule.OPERATING_LIMIT

    @property
    def needs_action(self) -> bool:
        """Whether somebody has still to write down what was done (HACCP: corrective action)."""
        return self.concerns_fish and self.in_service and not self.actions

    @property
    def worst(self) -> Exposure | None:
        """The hazard whose allowance it used most of, gaps counted; None: none was touched."""
        return next(iter(self.exposure), None)

    def touches(self, from_ms: int, to_ms: int) -> bool:
        """Whether some of it lies in a time."""
        return self.start_ms <= to_ms and (self.end_ms is None or self.end_ms >= from_ms)


def excursions_of(
    shop: Shop,
    store: ReadingStore,
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
        histories: The unit's governing probes' channels, those that are over as well.
        alarms: What was raised.
        from_ms: Start of the period.
        to_ms: End of the period.
        air: What was learned of the units' air, where it serves for several units.
    """
    air = LearnedAir(shop, store) if air is None else air
    found = [
        _excursion(shop, store, history, rule, spell, alarms, to_ms, air)
        for history in histories
        for rule in OF_LIMITS
        for spell in history.spells(rule.value)
        if spell.start_ms <= to_ms and (spell.end_ms is None or spell.end_ms >= from_ms)
    ]
    return sorted(found, key=lambda e: (e.start_ms, e.rule.value, e.probe))


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
    then, end_ms = shop, to_ms if spell.end_ms is None else spell.end_ms
    late = shop
    if shop.earlier:
        then = shop_at(shop, spell.start_ms)
        late = shop_at(shop, min(end_ms, history.seat.to_ms - 1.0))
    unit = then.unit[history.unit.id]
    raised = [alarm for alarm in alarms if _is_of(alarm, then, unit, rule, spell)]
    known_ms = to_ms if history.state.last_ms is None else min(to_ms, history.state.last_ms)
    others = lost_with(then, store, unit.id, spell, known_ms, air if then is shop else None)
    verdict = cause.explain(evidence_for(then, store, unit.id, spell, known_ms, others))
    exposed = rule is not Rule.OPERATING_LIMIT
    return Excursion(
        unit=unit,
        rule=rule,
        probe=history.probe.id,
        start_ms=whole_ms(spell.start_ms),
        end_ms=whole_ms_or_none(spell.end_ms),
        peak_c=figure(spell.peak_c, 3),
        above_s=figure(spell.above_ms / MS_PER_S, 3),
        cause=verdict.cause,
        explanation=verdict.explanation,
        exposure=table_a2(curve_of(late, store, history.probe, spell.start_ms, end_ms))
        if exposed
        else (),
        of_several=len(then.governing_probes(unit.id)) > 1,
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
