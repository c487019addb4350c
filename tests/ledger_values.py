"""A ledger written down by hand, as the contract's JSON has it, made into the ledger's values.

The service never reads its own JSON: this serves tests alone, which say a night more easily so.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.lifecycle import State
from rimewatch.entries import (
    AttachStatement,
    CalibrationCheck,
    CorrectiveAction,
    ReceiveLot,
    StartCooling,
    StartFreezing,
    StartTimeControl,
    WithdrawLot,
)
from rimewatch.evaluation.awaiting import Awaiting
from rimewatch.evaluation.batches import Batch, CoolingRecord, Timed, TimerRecord
from rimewatch.evaluation.clock_note import ENOUGH, ClockNote
from rimewatch.evaluation.door import Refusal
from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.ledger import (
    Doors,
    Ledger,
    MessageRecord,
    OpenStretch,
    ProbeAccount,
    UnitAccount,
    noted,
)
from rimewatch.evaluation.lot_account import LotAccount
from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.evaluation.lot_standing import lacks_of
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.evaluation.quarantine_tally import QuarantineKind
from rimewatch.evaluation.settings import Change
from rimewatch.lots.codes import US_FOOD_CODE
from rimewatch.lots.foretell import Foretold
from rimewatch.lots.hold import Break, Hold, Placement
from rimewatch.lots.needs import Need
from rimewatch.lots.record import Doubt
from rimewatch.lots.standing import Judgement, ReceivedTooWarm, SilenceBeforeCount
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.cooling import Cooling, CoolingState, Stage
from rimewatch.rules.watch import BreakReason
from rimewatch.science.time_control import TimeControl, TimeControlState
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import (
    About,
    Cause,
    ContactId,
    CoolingFood,
    Disposition,
    LotId,
    Option,
    Origin,
    Priority,
    ProbeId,
    Rule,
    States,
    UnitId,
    Unread,
)

Document = Mapping[str, Any]


def ms(text: str) -> int:
    """Return an ISO 8601 time in milliseconds since the epoch."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def _ms_or_none(text: str | None) -> int | None:
    return None if text is None else ms(text)


def ledger_of(document: Document, shop: Shop) -> Ledger:
    """Return a ledger's values; keys beyond those of the contract may be absent."""
    from_ms, to_ms = ms(document["from"]), ms(document["to"])
    actions = tuple(_action(record) for record in document.get("corrective_actions", ()))
    alarms = tuple(_alarm(record) for record in document["alarms"])
    return Ledger(
        from_ms=from_ms,
        to_ms=to_ms,
        quarantined=document["quarantined"],
        units={
            unit.id: _unit(shop, unit, document["units"][unit.id], actions) for unit in shop.units
        },
        alarms=alarms,
        messages=tuple(_message(record) for record in document["messages"]),
        refused=tuple(
            Refusal(at_ms=ms(record["at"]), do=record["do"], why=record["why"])
            for record in document.get("refused", ())
        ),
        lots=tuple(_lot(record, from_ms, to_ms) for record in document["lots"]),
        cooling=tuple(_cooling(record, to_ms) for record in document.get("cooling", ())),
        time_control=tuple(_timer(record) for record in document.get("time_control", ())),
        probes={
            ProbeId(probe): _probe(shop, ProbeId(probe), record, alarms)
            for probe, record in document.get("probes", {}).items()
        },
        calibration_checks=tuple(
            CalibrationCheck(
                at_ms=ms(record["at"]),
                probe=ProbeId(record["probe"]),
                found_c=record.get("found_c", 0.0),
                reference=record.get("reference", ""),
            )
            for record in document.get("calibration_checks", ())
        ),
        quarantine=tuple(
            QuarantineKind(**record | {"probe": record["probe"] or ""})
            for record in document.get("quarantine", ())
        ),
        setting_changes=tuple(
            Change(**{k: v for k, v in record.items() if k != "at"}, at_ms=ms(record["at"]))
            for record in document.get("setting_changes", ())
        ),
        corrective_actions=actions,
    )


def _stretches(record: Document, key: str) -> tuple[OpenStretch, ...]:
    return tuple((ms(one["start"]), _ms_or_none(one["end"])) for one in record.get(key, ()))


def _unit(
    shop: Shop, unit: Unit, record: Document, actions: tuple[CorrectiveAction, ...]
) -> UnitAccount:
    out = _stretches(record, "out_of_service")
    return UnitAccount(
        unit=unit,
        readings=record["readings"],
        missing_s=record["missing_s"],
        min_c=record["min_c"],
        max_c=record["max_c"],
        mean_c=record["mean_c"],
        kinetic_c=record["kinetic_c"],
        above_limit_s=record["above_limit_s"],
        governing_above_limit_s=record["governing_above_limit_s"],
        gaps=tuple((ms(gap["start"]), ms(gap["end"])) for gap in record.get("gaps", ())),
        excursions=noted(
            [_excursion(shop, unit, item) for item in record["excursions"]], actions, out
        ),
        doors=Doors(**record["doors"]) if "doors" in record else None,
        defrosts=record.get("defrosts", 0),
        awaiting_action=tuple(
            Awaiting(
                probe=ProbeId(item.get("probe", "")),
                start_ms=ms(item["start"]),
                end_ms=_ms_or_none(item["end"]),
                peak_c=item["peak_c"],
            )
            for item in record.get("awaiting_action", ())
        ),
        out_of_service=out,
    )


def _excursion(shop: Shop, unit: Unit, record: Document) -> Excursion:
    several = len(shop.governing_probes(unit.id)) > 1
    return Excursion(
        unit=unit,
        rule=Rule(record["rule"]),
        probe=ProbeId(record.get("probe", "")),
        start_ms=ms(record["start"]),
        end_ms=_ms_or_none(record["end"]),
        peak_c=record["peak_c"],
        above_s=record["above_s"],
        cause=Cause(record["cause"]),
        explanation=record.get("explanation", ""),
        alarmed=record["alarmed"],
        found_late=record.get("found_late", False),
        of_several=several,
    )


def _action(record: Document) -> CorrectiveAction:
    disposition = record.get("disposition")
    return CorrectiveAction(
        at_ms=ms(record["at"]),
        unit=UnitId(record["unit"]),
        text=record["text"],
        who=record["who"],
        disposition=None if disposition is None else Disposition(disposition),
        lots=tuple(LotId(lot) for lot in record.get("lots", ())),
    )


def _alarm(record: Document) -> Alarm:
    unit = None if record["unit"] is None else UnitId(record["unit"])
    key = AlarmKey(unit=unit, rule=Rule(record["rule"]))
    raised_ms = ms(record["raised"])
    return Alarm(
        id="written down",
        key=key,
        units=tuple(UnitId(one) for one in record.get("units", ())) or ((unit,) if unit else ()),
        priority=Priority(record["priority"]),
        state=State.UNACKNOWLEDGED,
        since_ms=raised_ms,
        raised_ms=raised_ms,
        opened_ms=raised_ms,
        condition=Condition(
            key=key,
            since_ms=raised_ms,
            unread=tuple(
                (ProbeId(probe), Unread(why)) for probe, why in record.get("unread", {}).items()
            ),
        ),
        acknowledged_ms=_ms_or_none(record["acknowledged"]),
        returned_ms=_ms_or_none(record["returned"]),
        woke=record["woke"],
    )


def _message(record: Document) -> MessageRecord:
    return MessageRecord(
        at_ms=ms(record["at"]),
        contact=ContactId(record["contact"]),
        unit=None if record["unit"] is None else UnitId(record["unit"]),
        rule=None if record["rule"] is None else Rule(record["rule"]),
        about=About(record["about"]),
    )


def _lot(record: Document, from_ms: int, to_ms: int) -> LotAccount:
    lot = LotId(record["lot"])
    needed_by_ms, instead = _ms_or_none(record.get("needed_by")), record.get("instead")
    hold = _hold(record)
    foretold = None
    if hold is not None and needed_by_ms is not None:
        assert instead is None, "what would be better is told by replays alone"
        foretold = Foretold(
            lot=lot,
            unit=None,
            option=hold.option,
            expected_ms=hold.expected_ms,
            needed_by_ms=needed_by_ms,
        )
    return LotAccount(
        story=_story(record, hold, from_ms, to_ms),
        path=(),
        use_by=None,
        keep_until=None,
        foretold=foretold,
    )


def _hold(record: Document) -> Hold | None:
    if record["option"] is None or record["state"] == "received":
        return None
    return Hold(
        option=Option(record["option"]),
        required_h=record["required_h"],
        credited_h=record["credited_h"],
        started_ms=_ms_or_none(record["started"]),
        completed_ms=_ms_or_none(record["completed"]),
        interruptions=tuple(
            Break(
                start_ms=ms(item["start"]),
                end_ms=_ms_or_none(item["end"]),
                peak_c=item["peak_c"],
                reason=BreakReason(item["reason"]),
            )
            for item in record["interruptions"]
        ),
    )


def _story(record: Document, hold: Hold | None, from_ms: int, to_ms: int) -> LotStory:
    lot, unit = LotId(record["lot"]), record.get("unit")
    entries = LotEntries(
        lot=lot,
        received=ReceiveLot(
            at_ms=from_ms,
            lot=lot,
            species=record.get("species", ""),
            origin=Origin.WILD,
            serve_raw=True,
        ),
    )
    if hold is not None:
        entries.freezing = StartFreezing(
            at_ms=from_ms, lot=lot, unit=UnitId("freezer-1"), option=hold.option
        )
    if unit is not None:
        entries.placements = [Placement(unit=UnitId(unit), from_ms=from_ms, to_ms=None)]
    if record.get("proof") == "supplier-freezing":
        entries.statements = [
            AttachStatement(at_ms=from_ms, lot=lot, reference="S-1", states=States.FREEZING)
        ]
    if record["state"] == "withdrawn":
        entries.withdrawn = WithdrawLot(at_ms=to_ms, lot=lot)
    sure_h = record.get("sure_h")
    return LotStory(
        entries=entries,
        need=Need(
            needs_destruction=record["needs_destruction"],
            why=record["why"],
            provision="",
            remaining_hazards=tuple(record.get("remaining_hazards", ())),
            statement_missing=record.get("statement_missing", False),
            receipt_too_warm=record.get("received_too_warm"),
        ),
        hold=hold,
        sure=hold
        if hold is None or sure_h is None
        else Hold(
            option=hold.option,
            required_h=hold.required_h,
            credited_h=sure_h,
            started_ms=None,
            completed_ms=None,
            interruptions=(),
        ),
        sure_from_ms=_ms_or_none(record.get("sure_by")),
        doubts=tuple(map(Doubt, record.get("doubts", ("silence",)))),
        ice_days=record["ice_days"],
        judgement=_judgement(record, entries, hold),
    )


def _judgement(record: Document, entries: LotEntries, hold: Hold | None) -> Judgement:
    """What follows of a record's own figures, by the service's own law."""
    need = Need(needs_destruction=record["needs_destruction"], why="", provision="")
    too_warm = (
        (ReceivedTooWarm(celsius=9.0, limit_c=5.0),) if record.get("received_too_warm") else ()
    )
    doubts: tuple[SilenceBeforeCount, ...] = ()
    if hold is not None and record.get("sure_h", hold.credited_h) < hold.credited_h:
        doubts = (SilenceBeforeCount(sure_h=record["sure_h"], required_h=hold.required_h),)
    return Judgement(
        against=too_warm,
        lacks=lacks_of(entries, US_FOOD_CODE, need, hold),
        doubts=doubts,
    )


def _cooling(record: Document, to_ms: int) -> CoolingRecord:
    lot = record["lot"]
    start = StartCooling(
        at_ms=ms(record["put_in"]),
        unit=UnitId(record["unit"]),
        lot=None if lot is None else LotId(lot),
        food=CoolingFood(record["food"]),
    )
    found = CoolingRecord(
        batch=Batch(start=start, ended_ms=_ms_or_none(record["taken_out"])),
        standing=Cooling(
            state=CoolingState(record["state"]),
            started_ms=_ms_or_none(record["started"]),
            stages=tuple(
                Stage(
                    to_c=stage["to_c"],
                    within_h=stage["within_h"],
                    deadline_ms=ms(stage["deadline"]),
                    reached_ms=_ms_or_none(stage["reached"]),
                )
                for stage in record["stages"]
            ),
            started_c=None,
            last_c=None,
            last_ms=to_ms if record["measured"] else None,
        ),
        judged_ms=to_ms,
    )
    missed = [stage.missed_by(to_ms) for stage in found.standing.stages]
    assert missed == [stage["missed"] for stage in record["stages"]], "the record is at odds"
    return found


def _timer(record: Document) -> TimerRecord:
    lot, unit = record["lot"], record["unit"]
    start = StartTimeControl(
        at_ms=ms(record["started"]),
        unit=None if unit is None else UnitId(unit),
        lot=None if lot is None else LotId(lot),
        hours=record["hours"],
    )
    return TimerRecord(
        timed=Timed(start=start, ended_ms=_ms_or_none(record["ended"])),
        verdict=None
        if record["ends"] is None
        else TimeControl(
            state=TimeControlState(record["state"]),
            started_ms=start.at_ms,
            ends_ms=ms(record["ends"]),
            discard_ms=_ms_or_none(record["discard"]),
            warmest_c=record["warmest_c"],
            unmonitored_s=record["unmonitored_s"],
            reason=record["reason"],
        ),
    )


def _probe(shop: Shop, probe: ProbeId, record: Document, alarms: tuple[Alarm, ...]) -> ProbeAccount:
    unread = {
        which: why
        for alarm in alarms
        if alarm.returned_ms is None
        for which, why in alarm.condition.unread
    }
    return ProbeAccount(
        probe=shop.probe[probe],
        last_ms=_ms_or_none(record["last"]),
        stale=record["stale"],
        missing_s=record["missing_s"],
        battery=record["battery"],
        clock=ClockNote(
            late_ms=(round(record["clock_offset_s"] * 1000),) * ENOUGH,
            two_sources_ms=_ms_or_none(record.get("two_sources")),
            qos_0_ms=_ms_or_none(record.get("sent_at_qos_0")),
        ),
        unread=unread.get(probe),
    )
