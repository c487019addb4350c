"""The record of a period as a document: for a person who stands in the shop and asks. Pure.

First what went wrong and what was done about it, then unit by unit its chart and
its log, then lots, alarms and the rest.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.settings import Change
from rimewatch.journal.canonical import grouped
from rimewatch.lots.record import PROVISION_OF
from rimewatch.report import chart, wording
from rimewatch.report.document import (
    Block,
    Column,
    Document,
    Heading,
    Item,
    Paragraph,
    Picture,
    SmallPrint,
    Table,
    Tone,
)
from rimewatch.report.facts import LotFacts, ToldAlarm
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
from rimewatch.report.temperature_log import LOG_HOURS, LogDay, UnitLog
from rimewatch.vocabulary import MS_PER_S, Option, Rule, UnitId

_RATIO: Final = chart.FULL.height / chart.FULL.width
_NOTHING: Final = "–"
_LOG: Final = (
    Column(title="Day", share=1.35),
    *(Column(title=f"{hour:02}:00", share=1.0, align="R") for hour in LOG_HOURS),
    Column(title="Min", share=1.0, align="R"),
    Column(title="Max", share=1.0, align="R"),
    Column(title="Unmonitored", share=1.5, align="R"),
)


def records_document(records: Records, charts: Mapping[UnitId, bytes]) -> Document:
    """Return the record of a period as a document.

    Args:
        records: The record.
        charts: A chart for each unit that has one.
    """
    facts = records.facts
    begins, ends = (
        f"{wording.local_day(at_ms, facts.zone)}, {wording.local_time(at_ms, facts.zone)}"
        for at_ms in (records.from_ms, records.to_ms)
    )
    days = f"{records.first.isoformat()} to {records.last.isoformat()}"
    return Document(
        shop=facts.shop_name,
        title=f"Temperature and freezing record, {days}",
        when=(
            f"{begins} to {ends}.",
            f"Times are those of {facts.zone.key}; temperatures are °{facts.scale.value}.",
        ),
        blocks=(
            *_head(records),
            *_excursions(records),
            *_further_notes(records),
            SmallPrint(texts=CAUTIONS),
            *(
                block
                for log in records.logs
                for block in _unit(records, log, charts.get(log.unit.id))
            ),
            *_lots(records),
            *_batches(records),
            *_alarms(records),
            *_rest(records),
        ),
        made=wording.local(records.to_ms, facts.zone),
    )


def _head(records: Records) -> Iterator[Block]:
    facts = records.facts
    for unit in facts.units:
        if reason := limit_reason(unit.unit, facts.scale):
            yield Paragraph(text=f"{unit.name}: {reason}")
    if records.seals:
        last = records.seals[-1]
        seal = f"Seal of {last.day.isoformat()}: {grouped(last.seal)}"
        yield Paragraph(text=seal, tone=Tone.QUIET)
    if open_ones := records.open_excursions:
        noun = wording.counted(len(open_ones), "excursion")
        said = f"{noun} without a corrective action on record."
        yield Paragraph(text=said, tone=Tone.BAD, strong=True)


def _excursions(records: Records) -> Iterator[Block]:
    facts = records.facts
    yield Heading(text="Excursions and corrective actions")
    told = [item for item in facts.excursions if item.concerns_fish]
    yield from (_excursion(records, item) for item in told)
    if not told:
        yield Paragraph(text="None went beyond a critical limit in this time.")
    if early := len(facts.excursions) - len(told):
        yield Paragraph(
            text=f"{wording.counted(early, 'excursion')} over an operating limit, "
            "within the critical limit; they are in the tables that go with this record.",
            tone=Tone.QUIET,
        )


def _further_notes(records: Records) -> Iterator[Block]:
    facts = records.facts
    told = [action for item in facts.excursions for action in item.actions]
    about_none = [action for action in facts.actions if action not in told]
    if about_none:
        yield Heading(text="Further notes")
    for action in about_none:
        name = unit_name(records, action.unit)
        at = moment(records, action.at_ms)
        yield Paragraph(text=f"{at}  {name}: {action.text} {action.who}")


def _excursion(records: Records, item: Excursion) -> Item:
    ends = "still on" if item.end_ms is None else moment(records, item.end_ms)
    state = action_state(item)
    return Item(
        head=f"{wording.unit_name(item.unit)}, {moment(records, item.start_ms)} to {ends}",
        state="corrective action open" if state == "open" else "",
        tone=Tone.BAD,
        lines=tuple(_excursion_lines(records, item, state)),
    )


def _excursion_lines(records: Records, item: Excursion, state: str) -> Iterator[str]:
    scale = records.facts.scale
    limit = "" if item.limit_c is None else f" {wording.temperature(item.limit_c, scale)}"
    yield (
        f"Peak {wording.temperature(item.peak_c, scale)}, above{limit or ' its line'} for "
        f"{wording.duration(item.above_s)}. Likely cause: {CAUSES[item.cause]}."
    )
    for action in item.actions:
        parts = [moment(records, action.at_ms), action.who]
        if action.lots:
            parts.append(f"lots {wording.joined(action.lots)}")
        if action.disposition is not None:
            parts.append(f"fish {DISPOSITIONS[action.disposition]}")
        yield f"Done: {action.text} ({', '.join(part for part in parts if part)})"
    if state == "out of service":
        yield "The unit was out of service."


def _unit(records: Records, log: UnitLog, png: bytes | None) -> Iterator[Block]:
    facts = records.facts
    found = next(item for item in facts.units if item.unit.id == log.unit.id)
    scale = facts.scale
    yield Heading(text=found.name, starts_page=True)
    measures = "no probe" if log.probe is None else f"{log.probe.measures.value}, {log.probe.id}"
    limit = wording.temperature(log.unit.limit_c, scale)
    yield Paragraph(
        text=f"{KINDS[log.unit.kind]}; critical limit {limit}; measured: {measures}.",
        tone=Tone.QUIET,
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
        yield Paragraph(text=f"{span}; {above} as the fish felt it; {unseen}.")
    if checked := check_words(found, facts.zone):
        yield Paragraph(text=checked)
    if reason := limit_reason(log.unit, scale):
        yield Paragraph(text=f"{reason[0].upper()}{reason[1:]}")
    if png is not None:
        says = f"{found.name}: its temperature over the period."
        yield Picture(png=png, ratio=_RATIO, says=says)
    yield Table(columns=_LOG, rows=tuple(_log_row(records, day) for day in log.days))


def _log_row(records: Records, day: LogDay) -> tuple[str, ...]:
    scale = records.facts.scale

    def shown(value: float | None) -> str:
        if value is None:
            return _NOTHING
        return f"{wording.in_scale(value, scale):.1f}".replace("-", "−")

    gap = _NOTHING if day.unmonitored_s == 0 else wording.duration(day.unmonitored_s)
    return (
        day.day.isoformat(),
        *(shown(value) for value in day.at_c),
        shown(day.min_c),
        shown(day.max_c),
        "ranges only" if day.ranges_only else gap,
    )


def _lots(records: Records) -> Iterator[Block]:
    facts = records.facts
    if not facts.lots:
        return
    yield Heading(text="Freezing by lot", starts_page=True)
    yield Paragraph(text=PARASITES_ALONE, tone=Tone.QUIET)
    yield Table(
        columns=(
            Column(title="Lot", share=1.2),
            Column(title="Species", share=2.0),
            Column(title="State", share=1.0),
            Column(title="Standing", share=1.0),
            Column(title="Started", share=1.4),
            Column(title="Completed", share=1.4),
            Column(title="Credited", share=1.5, align="R"),
            Column(title="Set back", share=0.9, align="R"),
        ),
        rows=tuple(_lot_row(records, lot) for lot in facts.lots),
    )
    holds = [lot.story.hold for lot in facts.lots]
    options = dict.fromkeys(hold.option for hold in holds if hold is not None)
    for option in options:
        words = wording.option_words(option, facts.scale)
        said = f"{option.value}: {words} ({PROVISION_OF[option]})."
        yield Paragraph(text=said, tone=Tone.QUIET)
        if option is Option.F20C_24H:
            yield Paragraph(text=f"{option.value}: {NO_FOOD_CODE_OPTION}", tone=Tone.QUIET)
    for lot in facts.lots:
        told = (f"{lot.words.verdict}.", lot.words.why_not, *lot.words.caveats)
        yield Paragraph(text=f"Lot {lot.name}: {' '.join(filter(None, told))}")


def _lot_row(records: Records, lot: LotFacts) -> tuple[str, ...]:
    def when(at_ms: float | None) -> str:
        return _NOTHING if at_ms is None else moment(records, round(at_ms))

    hold = lot.story.hold
    return (
        lot.name,
        lot.species,
        lot.story.state if lot.account.needs_destruction else "not called for",
        lot.words.standing.value,
        when(None if hold is None else hold.started_ms),
        when(None if hold is None else hold.completed_ms),
        _NOTHING if hold is None else wording.credited_hours(hold.credited_h, hold.required_h),
        str(interruptions(lot)),
    )


def _batches(records: Records) -> Iterator[Block]:
    """Tell of batches that cooled and of timers, in the words of the summary."""
    for section in sections(records.facts):
        if section.title in (COOLING, TIMERS):
            yield Heading(text=section.title)
            yield from (Item(head=item.head, lines=item.lines) for item in section.items)


def _alarms(records: Records) -> Iterator[Block]:
    yield from _table(
        "Alarms: who was told, who answered",
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
            (
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
            )
            for item in records.facts.alarms
        ),
    )


def _told(item: ToldAlarm) -> str:
    """Return who was reached, and who was not."""
    told = wording.joined([who for _, who in item.told_first], most=2) or "nobody"
    missed = wording.joined([who for who, _ in item.not_reached], most=2)
    return f"{told}; not reached: {missed}" if missed else told


def _rest(records: Records) -> Iterator[Block]:
    yield from _table(
        "Acknowledged, shelved, out of service",
        _columns("When", "Unit", "What", "Who"),
        (
            (
                moment(records, item.at_ms),
                unit_name(records, item.unit),
                f"{RULES[Rule(item.rule)]}: {item.what}" if item.rule else item.what,
                item.who,
            )
            for item in records.handled
        ),
    )
    yield from _table(
        "Probe checks",
        _columns("When", "Probe", "What", "Who"),
        ((moment(records, item.at_ms), item.probe, item.what, item.who) for item in records.checks),
    )
    yield from _table(
        "Settings changed",
        _columns("When", "Where", "What", "Who"),
        (
            (moment(records, item.at_ms), *_setting(item), item.who or _NOTHING)
            for item in records.changes
        ),
    )
    yield from _table(
        "The service itself",
        (
            Column(title="When", share=1.3),
            Column(title="What", share=1.7),
            Column(title="Detail", share=4.5),
        ),
        ((moment(records, item.at_ms), item.what, item.detail) for item in records.happenings),
    )


def _setting(change: Change) -> tuple[str, str]:
    """Return where a setting stands, and what it was and is."""
    where = change.key.rpartition(".")[0]
    what = change.words.partition(f"{change.name} ")[2]
    return where, f"{change.name} {what}"


def _columns(*titles: str) -> tuple[Column, ...]:
    """Return the columns of what somebody did somewhere."""
    shares = (1.3, 1.6, 3.2, 1.4)
    return tuple(
        Column(title=title, share=share) for title, share in zip(titles, shares, strict=True)
    )


def _table(
    title: str, columns: Sequence[Column], rows: Iterable[tuple[str, ...]]
) -> Iterator[Block]:
    """Return a table below its title; nothing where it has no row."""
    if found := tuple(rows):
        yield Heading(text=title)
        yield Table(columns=tuple(columns), rows=found)
