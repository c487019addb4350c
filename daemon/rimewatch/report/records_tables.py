"""The record of a period as tables: a CSV file each, or one JSON document. Pure: texts only.

Figures stand as they are, in °C and in the shop's scale; nothing is rounded away. A text that
a spreadsheet would take for a formula is written with an apostrophe before it.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.exposures import LIMITS
from rimewatch.evaluation.figures import figure
from rimewatch.lots.standing import ReceivedTooWarm, TooLongWarm
from rimewatch.report import wording
from rimewatch.report.facts import LotFacts
from rimewatch.report.ledger_json import ledger_document
from rimewatch.report.lot_document import reason_names
from rimewatch.report.page import CAUTIONS
from rimewatch.report.records import Records
from rimewatch.report.temperature_log import LOG_HOURS, LogDay, UnitLog
from rimewatch.rules.provisions import COLD_HOLDING_LIMIT_C
from rimewatch.vocabulary import MS_PER_S, UnitId

Cell = str | int | float | bool | None
Row = Sequence[Cell]

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
"""First characters by which spreadsheets take a text for a formula (OWASP, CSV Injection)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table with a name, which is its file's, and named columns."""

    name: str
    columns: tuple[str, ...]
    rows: Callable[[Records], Iterable[Row]]


def csv_files(records: Records) -> dict[str, str]:
    """Return the tables by their files' names; a table without rows has its head alone."""
    found = {}
    for table in TABLES:
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\r\n")  # RFC 4180, section 2
        writer.writerow(table.columns)
        writer.writerows([safe_cell(cell) for cell in row] for row in table.rows(records))
        found[f"{table.name}.csv"] = text.getvalue()
    return found


def json_text(records: Records) -> str:
    """Return the whole record as one JSON document, with the ledger it rests on."""
    document = {
        "shop": records.facts.shop_name,
        "timezone": records.facts.zone.key,
        "first_day": records.first.isoformat(),
        "last_day": records.last.isoformat(),
        "from": _when(records, records.from_ms),
        "to": _when(records, records.to_ms),
        "cautions": list(CAUTIONS),
        **{
            table.name.replace("-", "_"): [
                dict(zip(table.columns, row, strict=True)) for row in table.rows(records)
            ]
            for table in TABLES
        },
        "ledger": ledger_document(records.ledger),
    }
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def safe_cell(cell: Cell) -> Cell:
    """Return a cell that no spreadsheet takes for a formula."""
    if isinstance(cell, str) and cell.startswith(_FORMULA):
        return f"'{cell}"
    return cell


def _when(records: Records, at_ms: float | None) -> str | None:
    """Return an instant in the shop's time with its offset (ISO 8601)."""
    if at_ms is None:
        return None
    return wording.local(round(at_ms), records.facts.zone).isoformat(timespec="seconds")


def _log(records: Records) -> Iterator[Row]:
    scale = records.facts.scale
    for log in records.logs:
        for day in log.days:
            shown = [
                None if value is None else round(wording.in_scale(value, scale), 2)
                for value in (*day.at_c, day.min_c, day.max_c)
            ]
            yield (
                log.unit.id,
                log.unit.name,
                log.probe.id if log.probe else None,
                log.probe.measures.value if log.probe else None,
                day.day.isoformat(),
                scale.value,
                *shown,
                round(day.unmonitored_s / 60, 1),
                _note(records, log, day),
            )


def _note(records: Records, log: UnitLog, day: LogDay) -> str:
    """Say what is to be known of a day's figures."""
    notes = ["ranges only"] if day.ranges_only else []
    zone = records.facts.zone
    notes.extend(
        f"probe checked {at:%H:%M}"
        for item in records.checks
        if log.probe is not None
        and item.probe == log.probe.id
        and (at := wording.local(item.at_ms, zone)).date() == day.day
    )
    return "; ".join(notes)


def _excursions(records: Records) -> Iterator[Row]:
    for item in records.facts.excursions:
        yield (
            item.unit.id,
            wording.unit_name(item.unit),
            wording.printable(item.probe) if item.of_several else "",
            item.rule.value,
            item.limit_c,
            _when(records, item.start_ms),
            _when(records, item.end_ms),
            item.peak_c,
            round(item.above_s / 60, 2),
            item.cause.value,
            item.explanation,
            item.alarmed,
            item.found_late,
            action_state(item),
            "; ".join(action.text for action in item.actions),
        )


def action_state(item: Excursion) -> str:
    """Return whether a corrective action is on record, is open, or is not called for."""
    if item.actions:
        return "on record"
    if item.needs_action:
        return "open"
    return "out of service" if item.concerns_fish else "not called for"


def _actions(records: Records) -> Iterator[Row]:
    for action in records.facts.actions:
        yield (
            _when(records, action.at_ms),
            action.unit,
            action.who,
            action.text,
            None if action.disposition is None else action.disposition.value,
            ", ".join(action.lots),
        )


def _lots(records: Records) -> Iterator[Row]:
    for lot in records.facts.lots:
        story, hold = lot.story, lot.story.hold
        yield (
            lot.name,
            lot.species,
            lot.account.needs_destruction,
            wording.printable(lot.account.why),
            None if hold is None else hold.option.value,
            story.state,
            None if hold is None else _when(records, hold.started_ms),
            None if hold is None else _when(records, hold.completed_ms),
            0.0 if hold is None else hold.required_h,
            0.0 if hold is None else figure(hold.credited_h, 6),
            interruptions(lot),
            figure(story.ice_days, 4),
            any(isinstance(reason, ReceivedTooWarm) for reason in story.judgement.against),
            "; ".join(
                LIMITS[reason.limit].hazard
                for reason in story.judgement.against
                if isinstance(reason, TooLongWarm)
            ),
            story.standing.value,
            ",".join(reason_names(story.judgement.against)),
            ",".join(reason_names(story.judgement.doubts)),
            lot.words.verdict,
            lot.words.why_not,
            " ".join(lot.words.caveats),
        )


def _limits(records: Records) -> Iterator[Row]:
    for facts in records.facts.units:
        unit = facts.unit
        if unit.laxer_because:
            published_c = None if unit.kind.is_freezer else COLD_HOLDING_LIMIT_C
            yield (unit.id, facts.name, unit.limit_c, published_c, unit.laxer_because)


def _cooling(records: Records) -> Iterator[Row]:
    for item in records.facts.cooling:
        start, standing = item.batch.start, item.standing
        for number, stage in enumerate(standing.stages or (None,), start=1):
            yield (
                start.unit,
                wording.printable(start.lot or ""),
                start.food.value,
                _when(records, start.at_ms),
                _when(records, item.batch.ended_ms),
                standing.state.value,
                item.measured,
                None if stage is None else number,
                None if stage is None else stage.to_c,
                None if stage is None else stage.within_h,
                None if stage is None else _when(records, stage.deadline_ms),
                None if stage is None else _when(records, stage.reached_ms),
                None if stage is None else stage.missed_by(item.judged_ms),
            )


def _timed(records: Records) -> Iterator[Row]:
    for item in records.facts.timed:
        start, verdict = item.timed.start, item.verdict
        yield (
            start.unit or "",
            wording.printable(start.lot or ""),
            float(start.hours),
            _when(records, start.at_ms),
            None if verdict is None else _when(records, verdict.ends_ms),
            _when(records, item.timed.ended_ms),
            item.state.value,
            None if verdict is None else _when(records, verdict.discard_ms),
            None if verdict is None else figure(verdict.warmest_c, 3),
            round((0.0 if verdict is None else verdict.unmonitored_s) / 60, 2),
        )


def interruptions(lot: LotFacts) -> int:
    """Return how often a lot's hold was set back within the period."""
    return len(lot.set_back)


def _alarms(records: Records) -> Iterator[Row]:
    for item in records.facts.alarms:
        alarm, after_ms = item.alarm, item.answered_after_ms
        yield (
            _when(records, alarm.raised_ms),
            alarm.key.unit or ", ".join(alarm.units),
            alarm.key.rule.value,
            alarm.priority.value,
            alarm.woke,
            ", ".join(who for _, who in item.told_first),
            item.told,
            _when(records, alarm.answered_ms),
            None if after_ms is None else round(after_ms / MS_PER_S),
            _when(records, alarm.returned_ms),
            "; ".join(f"{who}: {why or 'not sent'}" for who, why in item.not_reached),
        )


def _handled(records: Records) -> Iterator[Row]:
    for item in records.handled:
        yield (_when(records, item.at_ms), item.unit, item.rule, item.what, item.who)


def _gaps(records: Records) -> Iterator[Row]:
    for facts in records.facts.units:
        for start, end in facts.account.gaps:
            yield (
                facts.unit.id,
                _when(records, start),
                _when(records, end),
                round((end - start) / 60_000, 2),
            )


def _checks(records: Records) -> Iterator[Row]:
    for item in records.checks:
        yield (_when(records, item.at_ms), item.probe, item.who, item.what)


def _happenings(records: Records) -> Iterator[Row]:
    for item in records.happenings:
        yield (_when(records, item.at_ms), item.what, item.detail)


def _changes(records: Records) -> Iterator[Row]:
    for item in records.changes:
        yield (_when(records, item.at_ms), item.key, item.before, item.after, item.who, item.words)


def _seals(records: Records) -> Iterator[Row]:
    for item in records.seals:
        yield (item.day.isoformat(), item.seal)


def unit_name(records: Records, unit: UnitId | None) -> str:
    """Return what people call a unit; its id where the configuration has it no longer."""
    for facts in records.facts.units:
        if facts.unit.id == unit:
            return facts.name
    return "several units" if unit is None else wording.printable(str(unit))


def moment(records: Records, at_ms: int) -> str:
    """Return an instant as the tables on paper show it: "2026-03-02 14:05"."""
    at: datetime = wording.local(at_ms, records.facts.zone)
    return f"{at:%Y-%m-%d %H:%M}"


TABLES: Final = (
    Table(
        name="temperature-log",
        columns=(
            "unit",
            "name",
            "probe",
            "measures",
            "day",
            "scale",
            *(f"{hour:02}:00" for hour in LOG_HOURS),
            "min",
            "max",
            "unmonitored_min",
            "note",
        ),
        rows=_log,
    ),
    Table(
        name="excursions",
        columns=(
            "unit",
            "name",
            "probe",
            "rule",
            "limit_c",
            "start",
            "end",
            "peak_c",
            "above_min",
            "cause",
            "explanation",
            "alarmed",
            "found_late",
            "corrective_action",
            "what_was_done",
        ),
        rows=_excursions,
    ),
    Table(
        name="corrective-actions",
        columns=("at", "unit", "who", "text", "disposition", "lots"),
        rows=_actions,
    ),
    Table(
        name="lots",
        columns=(
            "lot",
            "species",
            "needs_destruction",
            "why",
            "option",
            "state",
            "started",
            "completed",
            "required_h",
            "credited_h",
            "set_back",
            "ice_days",
            "received_too_warm",
            "warm_beyond_limits_for",
            "standing",
            "against",
            "doubts",
            "verdict",
            "lacks",
            "caveats",
        ),
        rows=_lots,
    ),
    Table(
        name="limits",
        columns=("unit", "name", "limit_c", "published_c", "reason"),
        rows=_limits,
    ),
    Table(
        name="cooling",
        columns=(
            "unit",
            "lot",
            "food",
            "put_in",
            "taken_out",
            "state",
            "measured",
            "stage",
            "to_c",
            "within_h",
            "deadline",
            "reached",
            "missed",
        ),
        rows=_cooling,
    ),
    Table(
        name="time-control",
        columns=(
            "unit",
            "lot",
            "hours",
            "started",
            "ends",
            "ended",
            "state",
            "discard",
            "warmest_c",
            "unmonitored_min",
        ),
        rows=_timed,
    ),
    Table(
        name="alarms",
        columns=(
            "raised",
            "unit",
            "rule",
            "priority",
            "woke",
            "told",
            "messages",
            "acknowledged",
            "answered_after_s",
            "returned",
            "not_reached",
        ),
        rows=_alarms,
    ),
    Table(name="handled", columns=("at", "unit", "rule", "what", "who"), rows=_handled),
    Table(name="unmonitored", columns=("unit", "start", "end", "minutes"), rows=_gaps),
    Table(name="probe-checks", columns=("at", "probe", "who", "what"), rows=_checks),
    Table(
        name="configuration",
        columns=("at", "key", "before", "after", "who", "in_words"),
        rows=_changes,
    ),
    Table(name="service", columns=("at", "what", "detail"), rows=_happenings),
    Table(name="seals", columns=("day", "seal"), rows=_seals),
)
"""Every table of the record, in the order in which they are read."""
