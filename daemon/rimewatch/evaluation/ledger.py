"""The ledger: what the readings and entries of a period amount to, as values.

Every figure is a pure function of stored readings, configuration and entries; only
what was alarmed and sent depends on when the readings arrived. The same input gives
the same ledger, to the digit. ``report.ledger_json`` writes it as the contract's JSON.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from rimewatch.alarms.alarm import Alarm
from rimewatch.entries import AnyEntry, CalibrationCheck, CorrectiveAction
from rimewatch.evaluation.awaiting import (
    ASKED_FOR_MS,
    Awaiting,
    awaiting_action,
    histories_of,
    meant_by,
)
from rimewatch.evaluation.batches import (
    CoolingRecord,
    TimerRecord,
    cooling_records,
    timer_records,
)
from rimewatch.evaluation.cancellations import standing
from rimewatch.evaluation.channels import (
    ChannelHistory,
    histories_of_shop,
    limit_rule,
    stale_ms,
)
from rimewatch.evaluation.clock_note import ClockNote
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.door import Refusal
from rimewatch.evaluation.excursions import Excursion, excursions_of
from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.learned import icing_of, lag_of
from rimewatch.evaluation.learned_air import LearnedAir
from rimewatch.evaluation.lot_account import LotAccount, lot_accounts
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_story import tell
from rimewatch.evaluation.over_time import Period, stretches, there_from_ms
from rimewatch.evaluation.quarantine_tally import QuarantineKind
from rimewatch.evaluation.service_times import out_of_service_times
from rimewatch.evaluation.settings import Change, within
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.unit_air import air_probe
from rimewatch.rules.icing import Icing
from rimewatch.science.lag_measured import LagMeasured
from rimewatch.science.scale_jump import scale_jump_ms
from rimewatch.science.statistics import Statistics, gaps_ms, joined, statistics
from rimewatch.shop import Probe, Shop, Unit
from rimewatch.vocabulary import (
    MS_PER_S,
    About,
    ContactId,
    Measures,
    ProbeId,
    Rule,
    UnitId,
    Unread,
)

Stretch = tuple[int, int]
"""Start and end, milliseconds UTC."""

OpenStretch = tuple[int, int | None]
"""The same; None: it lasts."""

LEAST_READINGS: Final = 4
"""Fewer tell nothing of how often a probe sends, or how cold its place is."""
FAR_APART_C: Final = 10.0
"""Air in one unit is not that far from other air in it (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MessageRecord:
    """A message that was handed to the outbox; the summary has neither unit nor rule."""

    at_ms: int
    contact: ContactId
    unit: UnitId | None
    rule: Rule | None
    about: About
    alarm_id: str | None = None
    """The alarm that it tells of."""
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
    quarantine: Sequence[QuarantineKind] = ()
    batteries: Mapping[ProbeId, float] | None = None
    clocks: Mapping[ProbeId, ClockNote] = field(default_factory=dict)
    changes: Sequence[Change] = ()
    """Settings that were changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doors:
    """How often and how long a unit's door stood open."""

    openings: int
    open_s: float
    longest_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitAccount:
    """One unit over a period. Figures are rounded as the contract's JSON has them."""

    unit: Unit
    readings: int
    missing_s: float
    min_c: float | None
    max_c: float | None
    mean_c: float | None
    kinetic_c: float | None
    above_limit_s: float
    governing_above_limit_s: float
    gaps: tuple[Stretch, ...]
    excursions: tuple[Excursion, ...]
    doors: Doors | None
    """None: nothing tells of its door."""
    defrosts: int
    """Those that are configured."""
    awaiting_action: tuple[Awaiting, ...]
    """Excursions of the days before about which nothing is written down yet."""
    out_of_service: tuple[OpenStretch, ...]
    """When somebody had taken it out of service."""
    lag: LagMeasured | None = None
    """How far its fish was seen to be behind its air; None: not both measured, or nothing shown."""
    icing: Icing | None = None
    """How its defrosts have changed, where that first shows in the period."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeAccount:
    """A probe's health at the end of a period."""

    probe: Probe
    last_ms: int | None
    stale: bool
    missing_s: float | None
    """None: it is of a kind that sends when it has something to say."""
    battery: float | None
    clock: ClockNote
    unread: Unread | None
    """Of a silent one: why the messages that arrive on its topic give no reading."""
    sends_every_s: float | None = None
    """How often it really sends, where that is more seldom than it may be silent."""
    apart_from: ProbeId | None = None
    """Another air probe of its unit that is too far from it for the same air; None: none is."""
    apart_c: float | None = None
    scale_jump_ms: int | None = None
    """When its readings last jumped as from °C to °F or back; None: they did not."""

    @property
    def battery_is_low(self) -> bool:
        """Whether its battery is at or below the level the configuration names."""
        return (
            self.battery is not None
            and self.probe.battery_low is not None
            and self.battery <= self.probe.battery_low
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """What a period amounts to."""

    from_ms: int
    to_ms: int
    quarantined: int
    units: Mapping[UnitId, UnitAccount]
    alarms: tuple[Alarm, ...]
    messages: tuple[MessageRecord, ...]
    refused: tuple[Refusal, ...]
    """Entries that a rule refused, in order."""
    lots: tuple[LotAccount, ...]
    cooling: tuple[CoolingRecord, ...]
    time_control: tuple[TimerRecord, ...]
    probes: Mapping[ProbeId, ProbeAccount]
    calibration_checks: tuple[CalibrationCheck, ...]
    """Every check up to its end, the earliest first."""
    quarantine: tuple[QuarantineKind, ...]
    setting_changes: tuple[Change, ...]
    corrective_actions: tuple[CorrectiveAction, ...]
    """Those of the week before as well: they may be about an excursion that goes on."""

    @property
    def excursions(self) -> tuple[Excursion, ...]:
        """Every unit's, in order of their beginning."""
        found = (item for unit in self.units.values() for item in unit.excursions)
        return tuple(sorted(found, key=lambda item: (item.start_ms, item.unit.id, item.rule)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What every unit's account is made of, besides its readings."""

    account: Account
    actions: Sequence[CorrectiveAction]
    air: LearnedAir


def build_ledger(
    shop: Shop,
    store: ReadingStore,
    account: Account,
    *,
    from_ms: int,
    to_ms: int,
    histories: Mapping[ProbeId, ChannelHistory] | None = None,
    noted_until_ms: int | None = None,
) -> Ledger:
    """Return the ledger of a period.

    Args:
        shop: The shop.
        store: Its accepted readings.
        account: Entries, alarms, messages and quarantine of the period.
        from_ms: Start of the period.
        to_ms: End of the period; readings after it are not looked at.
        histories: The channels folded up to ``to_ms``, where somebody has them already;
            None: they are folded here.
        noted_until_ms: Up to when corrective actions are told; None: up to its end.
    """
    if histories is None:
        histories = histories_of_shop(shop, store, to_ms)
    until_ms = to_ms if noted_until_ms is None else noted_until_ms
    actions = corrective_actions(account.entries, from_ms - ASKED_FOR_MS, until_ms)
    told = _Told(account=account, actions=actions, air=LearnedAir(shop, store))
    stories = [
        tell(shop, store, histories, lot, to_ms)
        for lot in book([e for e in account.entries if e.at_ms <= to_ms]).values()
        if lot.withdrawn is None or lot.withdrawn.at_ms >= from_ms
    ]
    return Ledger(
        from_ms=from_ms,
        to_ms=to_ms,
        quarantined=account.quarantined,
        units={
            unit.id: _unit(shop, store, unit, histories, told, from_ms, to_ms)
            for unit in shop.units
        },
        alarms=tuple(account.alarms),
        messages=tuple(account.messages),
        refused=tuple(
            item
            for item in sorted(account.refused, key=lambda item: item.at_ms)
            if from_ms <= item.at_ms <= to_ms
        ),
        lots=lot_accounts(shop, store, histories, stories, to_ms),
        cooling=cooling_records(shop, store, account.entries, from_ms, to_ms),
        time_control=timer_records(shop, store, account.entries, from_ms, to_ms),
        probes=_probes(shop, store, account, from_ms, to_ms),
        calibration_checks=calibration_checks(account.entries, to_ms),
        quarantine=tuple(account.quarantine),
        setting_changes=within(account.changes, from_ms, to_ms),
        corrective_actions=actions,
    )


def corrective_actions(
    entries: Sequence[AnyEntry], from_ms: int, to_ms: int
) -> tuple[CorrectiveAction, ...]:
    """Return the corrective actions of some time that count, in order."""
    return tuple(
        e
        for e in sorted(standing(entries), key=lambda e: e.at_ms)
        if isinstance(e, CorrectiveAction) and from_ms <= e.at_ms <= to_ms
    )


def calibration_checks(entries: Sequence[AnyEntry], to_ms: int) -> tuple[CalibrationCheck, ...]:
    """Return every check entered for a time up to an instant, the earliest first."""
    checks = (e for e in entries if isinstance(e, CalibrationCheck) and e.at_ms <= to_ms)
    return tuple(sorted(checks, key=lambda check: (check.at_ms, check.probe)))


def _unit(
    shop: Shop,
    store: ReadingStore,
    unit: Unit,
    histories: Mapping[ProbeId, ChannelHistory],
    told: _Told,
    from_ms: int,
    to_ms: int,
) -> UnitAccount:
    account = told.account
    seats = shop.seats_in(unit.id, to_ms=to_ms)
    own = [histories[seat.key] for seat in seats if seat.key in histories]
    out = tuple(out_of_service_times(account.entries, unit.id, from_ms, to_ms))
    over_time = stretches(shop, store, unit.id, from_ms, to_ms)
    figures, gaps = _figures(over_time, unit.id)
    found = excursions_of(
        shop, store, own, account.alarms, from_ms=from_ms, to_ms=to_ms, air=told.air
    )
    known = [entry for entry in account.entries if entry.at_ms <= to_ms]
    return UnitAccount(
        unit=unit,
        readings=0 if figures is None else figures.readings,
        missing_s=figure((to_ms - from_ms) / MS_PER_S if figures is None else figures.missing_s, 3),
        min_c=None if figures is None else figure(figures.min_c, 3),
        max_c=None if figures is None else figure(figures.max_c, 3),
        mean_c=None if figures is None else figure(figures.mean_c, 4),
        kinetic_c=None if figures is None else figure(figures.kinetic_c, 4),
        above_limit_s=0.0 if figures is None else figure(figures.above_limit_s, 3),
        governing_above_limit_s=figure(_above_s(over_time, own, unit.id), 3),
        gaps=gaps,
        excursions=noted(found, told.actions, out),
        doors=_doors(shop, store, unit, from_ms, to_ms),
        defrosts=_scheduled_in(over_time, unit.id),
        awaiting_action=tuple(
            awaiting_action(unit, histories_of(shop, unit, histories), known, from_ms)
        ),
        out_of_service=out,
        lag=lag_of(shop, store, unit, to_ms),
        icing=icing_of(shop, store, air_probe(shop, unit.id), from_ms, to_ms),
    )


def _figures(
    over_time: Sequence[Period], unit: UnitId
) -> tuple[Statistics | None, tuple[Stretch, ...]]:
    """Return what a unit measured and where it did not; None: it had no probe."""
    found: list[Statistics] = []
    gaps: list[tuple[float, float]] = []
    for number, then in enumerate(over_time):
        probe = next(iter(then.shop.governing_probes(unit)), None)
        if probe is None:
            gaps.append((then.from_ms, then.to_ms))
            continue
        silence_ms = stale_ms(probe)
        # A stale time more on either side, so that gaps and stretches at the edges are known.
        is_last = number == len(over_time) - 1
        until_ms = round(then.to_ms) if is_last else round(then.to_ms + silence_ms)
        span = then.store.span(probe.id, round(then.from_ms - silence_ms), until_ms)
        figures = statistics(
            span.times_ms,
            span.values,
            stale_ms=silence_ms,
            from_ms=then.from_ms,
            to_ms=then.to_ms,
            limit_c=then.shop.unit[unit].limit_c,
        )
        if not is_last and then.to_ms in span.times_ms:
            # A reading at the very instant of a change is one.
            figures = replace(figures, readings=figures.readings - 1)
        found.append(figures)
        gaps.extend(
            gaps_ms(span.times_ms, stale_ms=silence_ms, from_ms=then.from_ms, to_ms=then.to_ms)
        )
    return joined(found) if found else None, _side_by_side(
        gaps, {round(then.from_ms) for then in over_time[1:]}
    )


def _side_by_side(
    gaps: Sequence[tuple[float, float]], changes_ms: Collection[int]
) -> tuple[Stretch, ...]:
    """Return gaps in whole milliseconds, one where one goes on after a change."""
    found: list[Stretch] = []
    for start_ms, end_ms in gaps:
        if found and found[-1][1] == round(start_ms) and found[-1][1] in changes_ms:
            found[-1] = (found[-1][0], round(end_ms))
        else:
            found.append((round(start_ms), round(end_ms)))
    return tuple(found)


def _scheduled_in(over_time: Sequence[Period], unit: UnitId) -> int:
    """Return how many defrosts were configured for a time."""
    found = set[tuple[float, float]]()
    for then in over_time:
        known = then.shop.unit.get(unit)
        if known is not None:
            zone, from_ms, to_ms = then.shop.timezone, round(then.from_ms), round(then.to_ms)
            found.update((w[0], w[1]) for w in scheduled(known, zone, from_ms, to_ms))
    return len(found)


def _doors(shop: Shop, store: ReadingStore, unit: Unit, from_ms: int, to_ms: int) -> Doors | None:
    if not shop.probes_of(unit.id, Measures.DOOR):
        return None
    doors = door_times(shop, store, unit.id, from_ms, to_ms)
    lengths_s = [(end - start) / MS_PER_S for start, end in doors]
    return Doors(
        openings=len(doors),
        open_s=figure(sum(lengths_s), 3),
        longest_s=figure(max(lengths_s, default=0.0), 3),
    )


def noted(
    found: Sequence[Excursion],
    actions: Sequence[CorrectiveAction],
    out: Sequence[OpenStretch],
) -> tuple[Excursion, ...]:
    """Return a unit's excursions with what was written down about each, and whether it served."""
    told = []
    for item in found:
        alike = [other for other in found if other.concerns_fish == item.concerns_fish]
        starts_ms = [other.start_ms for other in alike]
        place = alike.index(item)
        told.append(
            replace(
                item,
                in_service=not any(
                    start <= item.start_ms and (end is None or end >= item.start_ms)
                    for start, end in out
                ),
                actions=tuple(
                    action
                    for action in actions
                    if action.unit == item.unit.id and place in meant_by(action.at_ms, starts_ms)
                ),
            )
        )
    return tuple(told)


def _above_s(over_time: Sequence[Period], own: Sequence[ChannelHistory], unit: UnitId) -> float:
    """Return the seconds with the governing temperature above the critical limit of the time."""
    total_ms = 0.0
    for then in over_time:
        for probe in then.shop.governing_probes(unit)[:1]:
            name = limit_rule(then.shop.unit[unit]).value
            for history in own:
                if history.probe.id != probe.id or not history.seat.covers(then.from_ms):
                    continue
                for spell in history.spells(name):
                    for start_ms, end_ms in spell.above:
                        ends_ms, begins_ms = min(end_ms, then.to_ms), max(start_ms, then.from_ms)
                        total_ms += max(0.0, ends_ms - begins_ms)
    return total_ms / MS_PER_S


def _probes(
    shop: Shop, store: ReadingStore, account: Account, from_ms: int, to_ms: int
) -> dict[ProbeId, ProbeAccount]:
    found = {probe.id: _probe(store, probe, account, from_ms, to_ms) for probe in shop.probes}
    for unit in shop.units:
        air = [probe.id for probe in shop.probes_of(unit.id, Measures.AIR)]
        spans = {
            probe: store.span(probe, there_from_ms(shop, probe, from_ms), to_ms).values
            for probe in air
            if len(air) > 1
        }
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
                found[coldest] = replace(
                    found[coldest], apart_from=warmest, apart_c=figure(by_c, 1)
                )
    return found


def _probe(
    store: ReadingStore, probe: Probe, account: Account, from_ms: int, to_ms: int
) -> ProbeAccount:
    silence_ms = stale_ms(probe)
    never_stale = silence_ms == float("inf")
    last = store.last_before(probe.id, to_ms + 1)
    missing_s = sends_every_s = None
    if not never_stale:
        span = store.span(probe.id, from_ms - round(silence_ms), to_ms)
        gaps = gaps_ms(span.times_ms, stale_ms=silence_ms, from_ms=from_ms, to_ms=to_ms)
        missing_s = figure(sum(end - start for start, end in gaps) / MS_PER_S, 3)
        if len(span.times_ms) > LEAST_READINGS:
            usual_ms = float(np.median(np.diff(span.times_ms)))
            if usual_ms > silence_ms:
                sends_every_s = figure(usual_ms / MS_PER_S, 0)
    jump_ms = None
    if probe.measures.is_temperature:
        seen = store.span(probe.id, from_ms, to_ms)
        jump_ms = scale_jump_ms(seen.times_ms, seen.values)
    unread = {
        which: why
        for alarm in account.alarms
        if alarm.returned_ms is None
        for which, why in alarm.condition.unread
    }
    return ProbeAccount(
        probe=probe,
        last_ms=None if last is None else last[0],
        stale=not never_stale and (last is None or to_ms - last[0] > silence_ms),
        missing_s=missing_s,
        battery=(account.batteries or {}).get(probe.id),
        clock=account.clocks.get(probe.id, ClockNote()),
        unread=unread.get(probe.id),
        sends_every_s=sends_every_s,
        scale_jump_ms=jump_ms,
    )
