"""The morning summary as data, from a ledger. It comes every morning, good night or bad.

Pure: the ledger, the shop and the curves are given; nothing is read, measured or
decided here. The two renderings (``render_text``, ``render_html``) lay the result out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from rimewatch.alarms.rota import first_told
from rimewatch.evaluation.awaiting import meant_by
from rimewatch.evaluation.door import Refusal
from rimewatch.evaluation.exposures import overruns_in
from rimewatch.evaluation.settings import Change
from rimewatch.lots.record import Doubt
from rimewatch.report import wording
from rimewatch.report.batch_facts import cooling_facts, timed_facts
from rimewatch.report.curve import Curve
from rimewatch.report.facts import (
    Action,
    AlarmRecord,
    Doors,
    Excursion,
    Interruption,
    LotFacts,
    OpenSpan,
    Period,
    ProbeFacts,
    QuarantineFacts,
    Summary,
    UnitFacts,
)
from rimewatch.report.ledger import (
    Ledger,
    figure,
    overlaps,
    records,
    sure_figure,
    sure_time_ms,
    time_ms,
)
from rimewatch.report.todo import Findings, todos
from rimewatch.report.verdict import overall_state, unit_state, verdict
from rimewatch.shop import Probe, Shop, Unit
from rimewatch.vocabulary import (
    MS_PER_H,
    ContactId,
    Disposition,
    LotId,
    Measures,
    Option,
    Priority,
    ProbeId,
    Rule,
    UnitId,
    Unread,
)

__all__ = ["Summary", "build_summary"]

_FISH_RULES = (Rule.HOLDING, Rule.FREEZER)
_TOLD = ("raised", "repeat", "escalated")
_LONGEST_PAYLOAD = 48


def build_summary(
    shop: Shop,
    ledger: Ledger,
    curves: Mapping[UnitId, Curve],
    from_ms: int,
    to_ms: int,
    alarms: Sequence[Ledger] | None = None,
    messages: Sequence[Ledger] | None = None,
) -> Summary:
    """Return what a summary of ``from_ms`` to ``to_ms`` says.

    Args:
        shop: Names, limits, zone and scale.
        ledger: The ledger of exactly this time; its statistics are taken as they are.
        curves: A unit without one gets no chart.
        from_ms: Beginning of the time, UTC.
        to_ms: Its end; "now" for everything said.
        alarms: Alarms as in the ledger; None: the ledger's own. Those that were over
            before ``from_ms`` are left out.
        messages: Messages as in the ledger; None: the ledger's own.

    Raises:
        ValueError: If ``to_ms`` is not after ``from_ms``, or the ledger lacks a figure.
        ZoneInfoNotFoundError: If the shop's time zone does not exist.
    """
    if to_ms <= from_ms:
        raise ValueError(f"a summary from {from_ms} to {to_ms}: expected the end after the start")
    zone = ZoneInfo(shop.timezone)
    period = Period(
        from_ms=from_ms,
        to_ms=to_ms,
        clock_change_ms=wording.clock_change_ms(from_ms, to_ms, zone),
    )
    noted = _actions(ledger)
    excursions = _excursions(shop, ledger, period, noted)
    units = tuple(
        _unit(shop, unit, ledger, curves.get(unit.id), excursions, period) for unit in shop.units
    )
    lots = tuple(_lot(record, period) for record in records(ledger, "lots"))
    probes = _probes(shop, ledger, period)
    quarantine = tuple(_quarantine(record) for record in records(ledger, "quarantine"))
    told = ledger.get("messages", ()) if messages is None else messages
    alarm_records = sorted(
        (
            _alarm(shop, record, told, period)
            for record in (ledger.get("alarms", ()) if alarms is None else alarms)
            if overlaps(sure_time_ms(record, "raised"), time_ms(record, "returned"), from_ms, to_ms)
        ),
        key=lambda alarm: (alarm.raised_ms, alarm.unit or "", alarm.rule),
    )
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
            alarms=alarm_records,
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
        quarantined=int(ledger.get("quarantined", 0)),
        quarantine=quarantine,
        alarms=tuple(alarm_records),
        actions=tuple(action for action in noted if period.from_ms <= action.at_ms <= period.to_ms),
        cooling=cooling_facts(ledger),
        timed=timed_facts(ledger),
        on_call=tuple(_contact(shop, contact) for contact in first_told(shop, period.to_ms)),
        changes=tuple(_change(record) for record in records(ledger, "setting_changes")),
        refused=tuple(_refusal(record) for record in records(ledger, "refused")),
    )


def _unit(
    shop: Shop,
    unit: Unit,
    ledger: Ledger,
    curve: Curve | None,
    excursions: Sequence[Excursion],
    period: Period,
) -> UnitFacts:
    record = ledger["units"].get(unit.id)
    if record is None:  # a unit the ledger does not know was not watched
        record = {"readings": 0, "missing_s": 0.0}
    readings = int(sure_figure(record, "readings"))
    missing_s = sure_figure(record, "missing_s")
    fish_above_s = figure(record, "governing_above_limit_s") or 0.0
    governing = shop.governing_probes(unit.id)
    spells = [item for item in excursions if item.unit == unit.id and item.rule in _FISH_RULES]
    out = _out_of_service(record)
    doors = record.get("doors")
    defrosts = figure(record, "defrosts")
    return UnitFacts(
        unit=unit,
        state=unit_state(
            readings=readings,
            missing_s=missing_s,
            fish_above_s=fish_above_s,
            warm_excursion=bool(spells),
            out_of_service=_is_out(out, spells, period),
        ),
        readings=readings,
        min_c=figure(record, "min_c"),
        max_c=figure(record, "max_c"),
        mean_c=figure(record, "mean_c"),
        above_limit_s=figure(record, "above_limit_s") or 0.0,
        fish_above_limit_s=fish_above_s,
        missing_s=missing_s,
        has_product_probe=bool(shop.probes_of(unit.id, Measures.PRODUCT)),
        doors=None
        if doors is None
        else Doors(
            openings=int(sure_figure(doors, "openings")),
            open_s=sure_figure(doors, "open_s"),
            longest_s=figure(doors, "longest_s"),
        ),
        defrosts=None if defrosts is None else int(defrosts),
        gaps=tuple(
            (sure_time_ms(gap, "start"), sure_time_ms(gap, "end"))
            for gap in records(record, "gaps")
        ),
        curve=curve,
        stale_s=next((probe.stale_s for probe in governing), None),
        out_of_service=out,
        probe=wording.printable(governing[0].id) if len(governing) > 1 else "",
        awaiting=tuple(sure_time_ms(item, "start") for item in records(record, "awaiting_action")),
        checked=_checked(ledger, governing, period),
    )


def _checked(
    ledger: Ledger, governing: Sequence[Probe], period: Period
) -> tuple[tuple[int, str], ...]:
    """Return the checks of the probe that a unit's figures are of, within the time told of."""
    return tuple(
        (at_ms, wording.printable(str(record.get("reference") or "")))
        for record in records(ledger, "calibration_checks")
        if governing
        and record["probe"] == governing[0].id
        and period.from_ms <= (at_ms := sure_time_ms(record, "at")) <= period.to_ms
    )


def _is_out(out: Sequence[OpenSpan], spells: Sequence[Excursion], period: Period) -> bool:
    """Return whether a unit was out of service all the time, or from before it warmed on."""
    if not out or (out[-1][1] is not None and out[-1][1] < period.to_ms):
        return False
    if out[-1][0] <= period.from_ms:
        return True
    return bool(spells) and not any(item.in_service for item in spells)


def _out_of_service(record: Ledger) -> tuple[OpenSpan, ...]:
    return tuple(
        (sure_time_ms(span, "start"), time_ms(span, "end"))
        for span in records(record, "out_of_service")
    )


def _excursions(
    shop: Shop, ledger: Ledger, period: Period, actions: Sequence[Action]
) -> tuple[Excursion, ...]:
    found = []
    for unit_id, unit_record in ledger["units"].items():
        unit = shop.unit.get(UnitId(unit_id))  # None: it left the configuration since
        name = wording.printable(unit.name if unit else str(unit_record.get("name") or unit_id))
        out = _out_of_service(unit_record)
        several = len(shop.governing_probes(UnitId(unit_id))) > 1
        for record in records(unit_record, "excursions"):
            start_ms, end_ms = sure_time_ms(record, "start"), time_ms(record, "end")
            if not overlaps(start_ms, end_ms, period.from_ms, period.to_ms):
                continue
            found.append(
                Excursion(
                    unit=UnitId(unit_id),
                    name=name,
                    is_freezer=unit is not None and unit.kind.is_freezer,
                    rule=Rule(record["rule"]),
                    limit_c=_limit_c(unit, Rule(record["rule"])),
                    start_ms=start_ms,
                    end_ms=end_ms,
                    peak_c=sure_figure(record, "peak_c"),
                    above_s=sure_figure(record, "above_s"),
                    cause=str(record.get("cause") or "unknown"),
                    explanation=wording.printable(str(record.get("explanation") or "")),
                    fish_c=figure(record, "fish_c"),
                    found_late=bool(record.get("found_late", False)),
                    alarmed=bool(record.get("alarmed", False)),
                    actions=(),
                    probe=wording.printable(str(record.get("probe") or "")) if several else "",
                    exposure=_exposure(record),
                    in_service=not any(
                        start <= start_ms and (end is None or end >= start_ms) for start, end in out
                    ),
                )
            )
    if actions:
        found = [replace(item, actions=_about(item, found, actions)) for item in found]
    return tuple(sorted(found, key=lambda item: (item.start_ms, item.unit, item.rule)))


def _about(
    item: Excursion, every: Sequence[Excursion], actions: Sequence[Action]
) -> tuple[Action, ...]:
    """Return the actions that are about an excursion, of those noted for its unit."""
    alike = [
        other
        for other in every
        if other.unit == item.unit and other.concerns_fish == item.concerns_fish
    ]
    starts_ms = [other.start_ms for other in alike]
    place = alike.index(item)
    return tuple(
        action
        for action in actions
        if action.unit == item.unit and place in meant_by(action.at_ms, starts_ms)
    )


def _exposure(record: Ledger) -> tuple[str, float] | None:
    """Return the hazard that an excursion used the largest part of, gaps counted against it."""
    used = [
        (sure_figure(item, "share_with_gaps"), str(item["hazard"]))
        for item in records(record, "exposure")
    ]
    if not used:
        return None
    share, hazard = max(used)
    return wording.printable(hazard), share


def _limit_c(unit: Unit | None, rule: Rule) -> float | None:
    if unit is None or rule is Rule.HOLD_AT_RISK:
        return None
    return unit.operating_limit_c if rule is Rule.OPERATING_LIMIT else unit.limit_c


def _actions(ledger: Ledger) -> tuple[Action, ...]:
    return tuple(
        Action(
            at_ms=sure_time_ms(record, "at"),
            unit=UnitId(record["unit"]),
            text=wording.printable(str(record["text"])),
            who=wording.printable(str(record.get("who") or "")),
            disposition=None
            if record.get("disposition") is None
            else Disposition(record["disposition"]),
            lots=tuple(LotId(wording.printable(str(lot))) for lot in record.get("lots") or ()),
        )
        for record in records(ledger, "corrective_actions")
    )


def _lot(record: Ledger, period: Period) -> LotFacts:
    required_h, credited_h = (
        figure(record, "required_h") or 0.0,
        figure(record, "credited_h") or 0.0,
    )
    started_ms, completed_ms = time_ms(record, "started"), time_ms(record, "completed")
    counting = record["state"] == "freezing" and started_ms is not None
    if "expected" in record:
        expected_ms = time_ms(record, "expected")
    else:  # the hours still missing, if not one of them is lost
        expected_ms = period.to_ms + max(0, round((required_h - credited_h) * MS_PER_H))
    interruptions = (
        Interruption(
            start_ms=sure_time_ms(item, "start"),
            end_ms=time_ms(item, "end"),
            peak_c=figure(item, "peak_c"),
            reason=str(item.get("reason") or ""),
        )
        for item in records(record, "interruptions")
    )
    option = record.get("option")
    return LotFacts(
        lot=LotId(wording.printable(str(record["lot"]))),
        needs_destruction=bool(record["needs_destruction"]),
        why=wording.printable(str(record.get("why") or "")),
        option=None if option is None else Option(option),
        state=str(record["state"]),
        required_h=required_h,
        credited_h=credited_h,
        sure_h=figure(record, "sure_h"),
        sure_by_ms=time_ms(record, "sure_by") if record.get("sure_by") else None,
        doubts=tuple(map(Doubt, record.get("hold_doubts") or (Doubt.SILENCE,))),
        started_ms=started_ms,
        completed_ms=completed_ms,
        expected_ms=expected_ms if counting else None,
        completed_now=completed_ms is not None and period.from_ms <= completed_ms <= period.to_ms,
        set_back=tuple(
            item
            for item in interruptions
            if overlaps(item.start_ms, item.end_ms, period.from_ms, period.to_ms)
        ),
        ice_days=figure(record, "ice_days"),
        species=wording.printable(str(record.get("species") or "")),
        unit=None if record.get("unit") is None else UnitId(record["unit"]),
        remaining_hazards=tuple(
            wording.printable(str(hazard)) for hazard in record.get("remaining_hazards") or ()
        ),
        statement_missing=bool(record.get("statement_missing", False)),
        received_too_warm=bool(record.get("received_too_warm", False)),
        proof=str(record.get("proof") or ""),
        overruns=overruns_in(record.get("exposure") or {}),
        why_not=wording.printable(str(record.get("why_not") or "")),
        needed_by_ms=time_ms(record, "needed_by"),
        is_late=bool(record.get("late", False)),
        instead=None
        if not (better := record.get("instead"))
        else (
            Option(better["option"]),
            UnitId(better["unit"]),
            sure_time_ms(better, "start_by"),
        ),
    )


def _since(at_ms: int | None, from_ms: int) -> int | None:
    """Return an instant unless it was before the time of the summary."""
    return at_ms if at_ms is not None and at_ms >= from_ms else None


def _change(record: Ledger) -> Change:
    return Change(
        at_ms=sure_time_ms(record, "at"),
        key=wording.printable(str(record["key"])),
        before=record["before"],
        after=record["after"],
        who=wording.printable(str(record.get("who") or "")),
    )


def _refusal(record: Ledger) -> Refusal:
    return Refusal(
        at_ms=sure_time_ms(record, "at"),
        do=str(record["do"]),
        why=wording.printable(str(record["why"])),
    )


def _probes(shop: Shop, ledger: Ledger, period: Period) -> tuple[ProbeFacts, ...]:
    found = []
    unread = {
        probe: Unread(why)
        for alarm in ledger.get("alarms", ())
        if alarm.get("returned") is None
        for probe, why in alarm.get("unread", {}).items()
    }
    for probe_id, record in (ledger.get("probes") or {}).items():
        probe = shop.probe.get(ProbeId(probe_id))
        found.append(
            ProbeFacts(
                probe=wording.printable(str(probe_id)),
                unit=None if probe is None else probe.unit,
                last_ms=time_ms(record, "last"),
                battery=figure(record, "battery"),
                battery_low=None if probe is None else probe.battery_low,
                missing_s=figure(record, "missing_s") or 0.0,
                stale=bool(record.get("stale", False)),
                unread=unread.get(probe_id),
                format="" if probe is None else probe.format,
                clock_offset_s=figure(record, "clock_offset_s"),
                sends_every_s=figure(record, "sends_every_s"),
                apart_from=wording.printable(str(record.get("apart", {}).get("from", ""))),
                apart_c=figure(record.get("apart", {}), "by_c"),
                scale_jump_ms=time_ms(record, "scale_jump"),
                two_sources_ms=_since(time_ms(record, "two_sources"), period.from_ms),
            )
        )
    return tuple(found)


def _quarantine(record: Ledger) -> QuarantineFacts:
    probe, payload = record.get("probe"), record.get("payload_start")
    if isinstance(payload, bytes):
        payload = payload.decode("utf-8", "replace")
    elif isinstance(payload, Mapping):
        payload = f"base64 {payload.get('base64', '')}"
    return QuarantineFacts(
        topic=wording.clipped(wording.printable(str(record.get("topic") or "")), 80),
        probe=None if probe is None else wording.printable(str(probe)),
        reason=wording.printable(str(record.get("reason") or "undecodable")),
        count=int(sure_figure(record, "count")),
        payload_start=wording.clipped(
            wording.printable("" if payload is None else str(payload)), _LONGEST_PAYLOAD
        ),
    )


def _alarm(shop: Shop, record: Ledger, messages: Sequence[Ledger], period: Period) -> AlarmRecord:
    raised_ms = sure_time_ms(record, "raised")
    acknowledged_ms, returned_ms = time_ms(record, "acknowledged"), time_ms(record, "returned")
    over_ms = min(
        period.to_ms if acknowledged_ms is None else acknowledged_ms,
        period.to_ms if returned_ms is None else returned_ms,
    )
    made = [
        message
        for message in messages
        if message.get("unit") == record.get("unit")
        and message.get("rule") == record["rule"]
        and message.get("about") in _TOLD
        and raised_ms <= sure_time_ms(message, "at") <= over_ms
    ]
    # Where it is known what became of a message, only those are told who were reached.
    reached = [(time_ms(m, "reached" if "reached" in m else "at"), m) for m in made]
    told = sorted((at_ms, str(m["contact"])) for at_ms, m in reached if at_ms is not None)
    first: dict[str, int] = {}
    for at_ms, contact in told:
        first.setdefault(contact, at_ms)
    refused = {
        str(m["contact"]): str(m.get("refused") or "") for at_ms, m in reached if at_ms is None
    }
    unit = record.get("unit")
    return AlarmRecord(
        unit=None if unit is None else UnitId(unit),
        units=tuple(UnitId(item) for item in record.get("units") or ()),
        rule=Rule(record["rule"]),
        priority=Priority(record["priority"]),
        raised_ms=raised_ms,
        acknowledged_ms=acknowledged_ms,
        returned_ms=returned_ms,
        woke=bool(record.get("woke", False)),
        told_first=tuple((at_ms, _contact(shop, contact)) for contact, at_ms in first.items()),
        told=len(told),
        not_reached=tuple(
            (_contact(shop, contact), wording.printable(why))
            for contact, why in refused.items()
            if contact not in first
        ),
    )


def _contact(shop: Shop, contact_id: str) -> str:
    contact = shop.contact.get(ContactId(contact_id))
    return wording.printable(contact_id if contact is None else contact.name)
