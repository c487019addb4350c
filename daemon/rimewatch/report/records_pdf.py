"""The record of a period on paper: for a person who stands in the shop and asks.

Layout only. First what went wrong and what was done about it, then unit by unit its chart and
its log, then lots, alarms and the rest.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.settings import Change
from rimewatch.journal.canonical import grouped
from rimewatch.lots.record import PROVISION_OF
from rimewatch.report import chart, wording
from rimewatch.report.facts import ToldAlarm
from rimewatch.report.lot_standing import NO_FOOD_CODE_OPTION, PARASITES_ALONE
from rimewatch.report.page import CAUTIONS, check_words, limit_reason
from rimewatch.report.plain_words import KINDS
from rimewatch.report.records import Records
from rimewatch.report.records_tables import action_state, interruptions, moment, unit_name
from rimewatch.report.sections import (
    CAUSES,
    COOLING,
    DISPOSITIONS,
    RULES,
    TIMERS,
    sections,
)
from rimewatch.report.sheet import QUIET_INK, SMALL_PT, Column, Sheet
from rimewatch.report.temperature_log import LOG_HOURS, LogDay, UnitLog
from rimewatch.vocabulary import MS_PER_S, Option, Paper, Rule, UnitId

_RATIO: Final = chart.FULL.height / chart.FULL.width
_WARM_INK: Final = "#b23f28"
_NOTHING: Final = "–"


def records_pdf(records: Records, charts: Mapping[UnitId, bytes], *, paper: Paper) -> bytes:
    """Return the record of a period as PDF.

    Args:
        records: The record.
        charts: A chart for each unit that has one.
        paper: What it is printed on.
    """
    facts = records.facts
    days = f"{records.first.isoformat()} to {records.last.isoformat()}"
    sheet = Sheet(
        title=f"{facts.shop_name}: record {days}",
        foot=f"{facts.shop_name} · record {days}",
        made=wording.local(records.to_ms, facts.zone),
        paper=paper,
    )
    _first_page(sheet, records)
    for log in records.logs:
        _unit(sheet, records, log, charts.get(log.unit.id))
    _lots(sheet, records)
    _batches(sheet, records)
    _alarms(sheet, records)
    _rest(sheet, records)
    return sheet.finished()


def _first_page(sheet: Sheet, records: Records) -> None:
    facts = records.facts
    sheet.text(facts.shop_name, ink=QUIET_INK)
    sheet.space(2.0)
    sheet.title("Temperature and freezing record")
    begins, ends = (
        f"{wording.local_day(at_ms, facts.zone)}, {wording.local_time(at_ms, facts.zone)}"
        for at_ms in (records.from_ms, records.to_ms)
    )
    sheet.text(f"{begins} to {ends}.")
    sheet.text(
        f"Times are those of {facts.zone.key}; temperatures are °{facts.scale.value}.",
        ink=QUIET_INK,
    )
    for unit in facts.units:
        if reason := limit_reason(unit.unit, facts.scale):
            sheet.text(f"{unit.name}: {reason}")
    if records.seals:
        last = records.seals[-1]
        sheet.text(f"Seal of {last.day.isoformat()}: {grouped(last.seal)}", ink=QUIET_INK)
    open_ones = records.open_excursions
    if open_ones:
        noun = wording.counted(len(open_ones), "excursion")
        sheet.space(2.0)
        sheet.text(f"{noun} without a corrective action on record.", bold=True, ink=_WARM_INK)
    sheet.heading("Excursions and corrective actions")
    told = [item for item in facts.excursions if item.concerns_fish]
    for item in told:
        _excursion(sheet, records, item)
    early = len(facts.excursions) - len(told)
    if not told:
        sheet.text("None went beyond a critical limit in this time.")
    if early:
        sheet.text(
            f"{wording.counted(early, 'excursion')} over an operating limit, "
            "within the critical limit; they are in the tables that go with this record.",
            size_pt=SMALL_PT,
            ink=QUIET_INK,
        )
    about_none = [
        action
        for action in facts.actions
        if not any(action in item.actions for item in facts.excursions)
    ]
    if about_none:
        sheet.heading("Further notes")
        for action in about_none:
            name = unit_name(records, action.unit)
            sheet.text(f"{moment(records, action.at_ms)}  {name}: {action.text} {action.who}")
    sheet.space(4.0)
    sheet.rule()
    sheet.text(" ".join(CAUTIONS), size_pt=SMALL_PT, ink=QUIET_INK)


def _excursion(sheet: Sheet, records: Records, item: Excursion) -> None:
    scale = records.facts.scale
    sheet.keep_together(18.0)
    sheet.rule()
    ends = "still on" if item.end_ms is None else moment(records, item.end_ms)
    state = action_state(item)
    sheet.line(
        f"{wording.unit_name(item.unit)}, {moment(records, item.start_ms)} to {ends}",
        "corrective action open" if state == "open" else "",
        right_ink=_WARM_INK,
    )
    limit = "" if item.limit_c is None else f" {wording.temperature(item.limit_c, scale)}"
    sheet.text(
        f"Peak {wording.temperature(item.peak_c, scale)}, above{limit or ' its line'} for "
        f"{wording.duration(item.above_s)}. Likely cause: {CAUSES[item.cause]}."
    )
    for action in item.actions:
        parts = [moment(records, action.at_ms), action.who]
        if action.lots:
            parts.append(f"lots {wording.joined(action.lots)}")
        if action.disposition is not None:
            parts.append(f"fish {DISPOSITIONS[action.disposition]}")
        sheet.text(f"Done: {action.text} ({', '.join(part for part in parts if part)})")
    if state == "out of service":
        sheet.text("The unit was out of service.")
    sheet.space(1.0)


def _unit(sheet: Sheet, records: Records, log: UnitLog, png: bytes | None) -> None:
    facts = records.facts
    found = next(item for item in facts.units if item.unit.id == log.unit.id)
    scale = facts.scale
    sheet.next_page()
    sheet.title(found.name)
    measures = "no probe" if log.probe is None else f"{log.probe.measures.value}, {log.probe.id}"
    sheet.text(
        f"{KINDS[log.unit.kind]}; critical limit {wording.temperature(log.unit.limit_c, scale)}; "
        f"measured: {measures}.",
        ink=QUIET_INK,
    )
    if found.account.min_c is not None and found.account.max_c is not None:
        span = wording.temperature_range(found.account.min_c, found.account.max_c, scale)
        above_s, missing_s = found.account.governing_above_limit_s, found.account.missing_s
        above = (
            f"above the limit for {wording.duration(above_s)}" if above_s else "not above the limit"
        )
        unseen = (
            f"unmonitored for {wording.duration(missing_s)}"
            if missing_s
            else "monitored throughout"
        )
        sheet.text(f"{span}; {above} as the fish felt it; {unseen}.")
    if checked := check_words(found, facts.zone):
        sheet.text(checked)
    if reason := limit_reason(log.unit, scale):
        sheet.text(f"{reason[0].upper()}{reason[1:]}")
    if png is not None:
        sheet.space(2.0)
        sheet.picture(png, ratio=_RATIO, says=f"{found.name}: its temperature over the period.")
    sheet.table(
        (
            Column(title="Day", share=1.35),
            *(Column(title=f"{hour:02}:00", share=1.0, align="R") for hour in LOG_HOURS),
            Column(title="Min", share=1.0, align="R"),
            Column(title="Max", share=1.0, align="R"),
            Column(title="Unmonitored", share=1.5, align="R"),
        ),
        (_log_row(records, day) for day in log.days),
    )


def _log_row(records: Records, day: LogDay) -> list[str]:
    scale = records.facts.scale

    def shown(value: float | None) -> str:
        if value is None:
            return _NOTHING
        return f"{wording.in_scale(value, scale):.1f}".replace("-", "−")

    gap = _NOTHING if day.unmonitored_s == 0 else wording.duration(day.unmonitored_s)
    return [
        day.day.isoformat(),
        *(shown(value) for value in day.at_c),
        shown(day.min_c),
        shown(day.max_c),
        "ranges only" if day.ranges_only else gap,
    ]


def _lots(sheet: Sheet, records: Records) -> None:
    facts = records.facts
    if not facts.lots:
        return
    sheet.next_page()
    sheet.title("Freezing by lot")
    sheet.text(PARASITES_ALONE, ink=QUIET_INK)
    sheet.space(1.0)

    def when(at_ms: float | None) -> str:
        return _NOTHING if at_ms is None else moment(records, round(at_ms))

    sheet.table(
        (
            Column(title="Lot", share=1.2),
            Column(title="Species", share=2.0),
            Column(title="State", share=1.0),
            Column(title="Standing", share=1.0),
            Column(title="Started", share=1.4),
            Column(title="Completed", share=1.4),
            Column(title="Credited", share=1.5, align="R"),
            Column(title="Set back", share=0.9, align="R"),
        ),
        (
            [
                lot.name,
                lot.species,
                lot.story.state if lot.account.needs_destruction else "not called for",
                lot.words.standing.value,
                when(None if hold is None else hold.started_ms),
                when(None if hold is None else hold.completed_ms),
                _NOTHING
                if hold is None
                else wording.credited_hours(hold.credited_h, hold.required_h),
                str(interruptions(lot)),
            ]
            for lot in facts.lots
            for hold in (lot.story.hold,)
        ),
    )
    holds = [lot.story.hold for lot in facts.lots]
    options = dict.fromkeys(hold.option for hold in holds if hold is not None)
    for option in options:
        sheet.text(
            f"{option.value}: {wording.option_words(option, facts.scale)} "
            f"({PROVISION_OF[option]}).",
            size_pt=SMALL_PT,
            ink=QUIET_INK,
        )
        if option is Option.F20C_24H:
            sheet.text(f"{option.value}: {NO_FOOD_CODE_OPTION}", size_pt=SMALL_PT, ink=QUIET_INK)
    for lot in facts.lots:
        said = (f"{lot.words.verdict}.", lot.words.why_not, *lot.words.caveats)
        sheet.text(f"Lot {lot.name}: {' '.join(filter(None, said))}", size_pt=SMALL_PT)


def _batches(sheet: Sheet, records: Records) -> None:
    """Tell of batches that cooled and of timers, in the words of the summary."""
    for section in sections(records.facts):
        if section.title in (COOLING, TIMERS):
            sheet.heading(section.title)
            for item in section.items:
                sheet.text(item.head, bold=True)
                for line in item.lines:
                    sheet.text(line)


def _alarms(sheet: Sheet, records: Records) -> None:
    alarms = records.facts.alarms
    if not alarms:
        return
    sheet.heading("Alarms: who was told, who answered")
    sheet.table(
        (
            Column(title="Raised", share=1.3),
            Column(title="Unit", share=1.7),
            Column(title="What", share=1.5),
            Column(title="Priority", share=0.7),
            Column(title="Told first", share=1.5),
            Column(title="Answered after", share=1.2, align="R"),
            Column(title="Normal again", share=1.3, align="R"),
        ),
        (
            [
                moment(records, item.alarm.raised_ms),
                unit_name(records, item.alarm.key.unit),
                RULES[item.alarm.key.rule],
                item.alarm.priority.value,
                _told(item),
                _NOTHING
                if item.answered_after_ms is None
                else wording.duration(item.answered_after_ms / MS_PER_S),
                "still on"
                if item.alarm.returned_ms is None
                else moment(records, item.alarm.returned_ms),
            ]
            for item in alarms
        ),
    )


def _told(item: ToldAlarm) -> str:
    """Return who was reached, and who was not."""
    told = wording.joined([who for _, who in item.told_first], most=2) or "nobody"
    missed = wording.joined([who for who, _ in item.not_reached], most=2)
    return f"{told}; not reached: {missed}" if missed else told


def _rest(sheet: Sheet, records: Records) -> None:
    _list(
        sheet,
        "Acknowledged, shelved, out of service",
        ("When", "Unit", "What", "Who"),
        (
            [
                moment(records, item.at_ms),
                unit_name(records, item.unit),
                f"{RULES[Rule(item.rule)]}: {item.what}" if item.rule else item.what,
                item.who,
            ]
            for item in records.handled
        ),
    )
    _list(
        sheet,
        "Probe checks",
        ("When", "Probe", "What", "Who"),
        ([moment(records, item.at_ms), item.probe, item.what, item.who] for item in records.checks),
    )
    _list(
        sheet,
        "Settings changed",
        ("When", "Where", "What", "Who"),
        (
            [moment(records, item.at_ms), *_setting(item), item.who or _NOTHING]
            for item in records.changes
        ),
    )
    _list(
        sheet,
        "The service itself",
        ("When", "What", "Detail"),
        ([moment(records, item.at_ms), item.what, item.detail] for item in records.happenings),
    )


def _setting(change: Change) -> tuple[str, str]:
    """Return where a setting stands, and what it was and is."""
    where = change.key.rpartition(".")[0]
    what = change.words.partition(f"{change.name} ")[2]
    return where, f"{change.name} {what}"


def _list(sheet: Sheet, title: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    found = list(rows)
    if not found:
        return
    sheet.heading(title)
    shares = (1.3, 1.6, 3.2, 1.4) if len(heads) == 4 else (1.3, 1.7, 4.5)
    sheet.table(
        [Column(title=head, share=share) for head, share in zip(heads, shares, strict=True)], found
    )
