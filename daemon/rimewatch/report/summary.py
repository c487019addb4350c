"""The morning summary as data, from a ledger. It comes every morning, good night or bad.

Pure: the ledger, the shop and the curves are given; nothing is read, measured or
decided here. ``page`` says it in sentences, ``summary_document`` and ``push_text`` lay those out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.rota import first_told
from rimewatch.entries import CorrectiveAction
from rimewatch.evaluation.door import Refusal
from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.ledger import Ledger, MessageRecord, OpenStretch, UnitAccount
from rimewatch.evaluation.lot_account import LotAccount
from rimewatch.evaluation.quarantine_tally import QuarantineKind
from rimewatch.evaluation.settings import Change
from rimewatch.report import wording
from rimewatch.report.curve import Curve
from rimewatch.report.facts import LotFacts, Period, Summary, ToldAlarm, UnitFacts
from rimewatch.report.lot_standing import lot_words
from rimewatch.report.todo import Findings, todos
from rimewatch.report.verdict import overall_state, unit_state, verdict
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import About, ContactId, LotId, Measures, UnitId

_TOLD: Final = frozenset({About.RAISED, About.REPEAT, About.ESCALATED})
_LONGEST_PAYLOAD: Final = 48
_LONGEST_TOPIC: Final = 80


def build_summary(
    shop: Shop, ledger: Ledger, curves: Mapping[UnitId, Curve], *, by_fate: bool = False
) -> Summary:
    """Return what a summary of a ledger's time says.

    Args:
        shop: Names, limits, zone and scale.
        ledger: The ledger; its statistics are taken as they are. Alarms that were over before
            it begins are left out.
        curves: A unit without one gets no chart.
        by_fate: Whether only those count as told whom a message has reached, as far as that is
            known; else everybody to whom one was due, as a replay has it.

    Raises:
        ValueError: If the ledger's time is none.
        ZoneInfoNotFoundError: If the shop's time zone does not exist.
    """
    from_ms, to_ms = ledger.from_ms, ledger.to_ms
    if to_ms <= from_ms:
        raise ValueError(f"a summary from {from_ms} to {to_ms}: expected the end after the start")
    zone = ZoneInfo(shop.timezone)
    period = Period(
        from_ms=from_ms,
        to_ms=to_ms,
        clock_change_ms=wording.clock_change_ms(from_ms, to_ms, zone),
    )
    excursions = tuple(
        replace(
            item,
            explanation=wording.printable(item.explanation),
            actions=tuple(map(_action, item.actions)),
        )
        for item in ledger.excursions
    )
    units = tuple(
        _unit(shop, account, ledger, curves.get(account.unit.id), period)
        for account in ledger.units.values()
    )
    lots = tuple(_lot(shop, account, period) for account in ledger.lots)
    quarantine = tuple(map(_quarantine, ledger.quarantine))
    alarms = sorted(
        (
            _alarm(shop, alarm, ledger.messages, period, by_fate=by_fate)
            for alarm in ledger.alarms
            if wording.overlaps(alarm.raised_ms, alarm.returned_ms, from_ms, to_ms)
        ),
        key=lambda item: (item.alarm.raised_ms, item.alarm.key.unit or "", item.alarm.key.rule),
    )
    probes = tuple(ledger.probes.values())
    tasks = todos(
        Findings(
            period=period,
            zone=zone,
            scale=shop.display,
            units=units,
            excursions=excursions,
            lots=lots,
            probes=probes,
            quarantine=quarantine,
            alarms=alarms,
        )
    )
    return Summary(
        shop_name=wording.printable(shop.name),
        scale=shop.display,
        zone=zone,
        period=period,
        state=overall_state(units),
        verdict=verdict(units, excursions, lots, len(tasks), shop.display),
        todos=tasks,
        units=units,
        excursions=excursions,
        lots=lots,
        probes=probes,
        quarantined=ledger.quarantined,
        quarantine=quarantine,
        alarms=tuple(alarms),
        actions=tuple(
            _action(entry) for entry in ledger.corrective_actions if period.holds(entry.at_ms)
        ),
        cooling=ledger.cooling,
        timed=ledger.time_control,
        on_call=tuple(_contact(shop, contact) for contact in first_told(shop, period.to_ms)),
        changes=tuple(map(_change, ledger.setting_changes)),
        refused=tuple(map(_refusal, ledger.refused)),
    )


def _unit(
    shop: Shop, account: UnitAccount, ledger: Ledger, curve: Curve | None, period: Period
) -> UnitFacts:
    governing = shop.governing_probes(account.unit.id)
    spells = [item for item in account.excursions if item.concerns_fish]
    return UnitFacts(
        account=account,
        state=unit_state(
            readings=account.readings,
            missing_s=account.missing_s,
            fish_above_s=account.governing_above_limit_s,
            warm_excursion=bool(spells),
            out_of_service=_is_out(account.out_of_service, spells, period),
        ),
        has_product_probe=bool(shop.probes_of(account.unit.id, Measures.PRODUCT)),
        curve=curve,
        stale_s=next((probe.stale_s for probe in governing), None),
        probe=wording.printable(governing[0].id) if len(governing) > 1 else "",
        checked=_checked(ledger, governing, period),
    )


def _checked(
    ledger: Ledger, governing: Sequence[Probe], period: Period
) -> tuple[tuple[int, str], ...]:
    """Return the checks of the probe that a unit's figures are of, within the time told of."""
    return tuple(
        (check.at_ms, wording.printable(check.reference))
        for check in ledger.calibration_checks
        if governing and check.probe == governing[0].id and period.holds(check.at_ms)
    )


def _is_out(out: Sequence[OpenStretch], spells: Sequence[Excursion], period: Period) -> bool:
    """Return whether a unit was out of service all the time, or from before it warmed on."""
    if not out or (out[-1][1] is not None and out[-1][1] < period.to_ms):
        return False
    if out[-1][0] <= period.from_ms:
        return True
    return bool(spells) and not any(item.in_service for item in spells)


def _lot(shop: Shop, account: LotAccount, period: Period) -> LotFacts:
    hold = account.story.hold
    completed_ms = None if hold is None else hold.completed_ms
    return LotFacts(
        account=account,
        words=lot_words(shop, account.story),
        completed_now=completed_ms is not None and period.holds(round(completed_ms)),
        set_back=tuple(
            item
            for item in (() if hold is None else hold.interruptions)
            if wording.overlaps(item.start_ms, item.end_ms, period.from_ms, period.to_ms)
        ),
    )


def _action(entry: CorrectiveAction) -> CorrectiveAction:
    return replace(
        entry,
        text=wording.printable(entry.text),
        who=wording.printable(entry.who),
        lots=tuple(LotId(wording.printable(lot)) for lot in entry.lots),
    )


def _change(change: Change) -> Change:
    return replace(change, key=wording.printable(change.key), who=wording.printable(change.who))


def _refusal(refusal: Refusal) -> Refusal:
    return replace(refusal, why=wording.printable(refusal.why))


def _quarantine(kind: QuarantineKind) -> QuarantineKind:
    return replace(
        kind,
        topic=wording.clipped(wording.printable(kind.topic), _LONGEST_TOPIC),
        probe=wording.printable(kind.probe),
        payload_start=wording.clipped(wording.printable(kind.payload_start), _LONGEST_PAYLOAD),
    )


def _alarm(
    shop: Shop,
    alarm: Alarm,
    messages: Sequence[MessageRecord],
    period: Period,
    *,
    by_fate: bool,
) -> ToldAlarm:
    over_ms = min(
        period.to_ms if alarm.answered_ms is None else alarm.answered_ms,
        period.to_ms if alarm.returned_ms is None else alarm.returned_ms,
    )
    made = [
        message
        for message in messages
        if (message.unit, message.rule) == (alarm.key.unit, alarm.key.rule)
        and message.about in _TOLD
        and alarm.raised_ms <= message.at_ms <= over_ms
    ]
    reached = [(message.reached_ms if by_fate else message.at_ms, message) for message in made]
    told = sorted((at_ms, message.contact) for at_ms, message in reached if at_ms is not None)
    first: dict[ContactId, int] = {}
    for at_ms, contact in told:
        first.setdefault(contact, at_ms)
    refused = {m.contact: m.refused or "" for at_ms, m in reached if at_ms is None}
    return ToldAlarm(
        alarm=alarm,
        told_first=tuple((at_ms, _contact(shop, contact)) for contact, at_ms in first.items()),
        told=len(told),
        not_reached=tuple(
            (_contact(shop, contact), wording.printable(why))
            for contact, why in refused.items()
            if contact not in first
        ),
    )


def _contact(shop: Shop, contact_id: ContactId) -> str:
    contact = shop.contact.get(contact_id)
    return wording.printable(contact_id if contact is None else contact.name)
