"""What a summary tells below the units: excursions, lots, alarms, probes, what was odd.

Sentences only; ``page`` puts them in their place. Pure.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from rimewatch.alarms.alarm import Alarm
from rimewatch.entries import CorrectiveAction
from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.ledger import ProbeAccount
from rimewatch.evaluation.quarantine_tally import QuarantineKind
from rimewatch.evaluation.settings import Change, Value
from rimewatch.lots.foretell import Foretold
from rimewatch.lots.record import Proof
from rimewatch.report import wording
from rimewatch.report.batch_words import cooling_words, timed_words
from rimewatch.report.facts import LotFacts, Summary, ToldAlarm
from rimewatch.rules.watch import BreakReason
from rimewatch.vocabulary import MS_PER_S, Cause, Disposition, Rule, Standing, UnitId

MOST_ALIKE: Final = 3
"""An alarm that came more often than this is chattering (IEC 62682), and told as one.
The standard counts within a minute; over a night, common practice, no source."""

LOTS: Final = "Lots"
"""The title of the section on lots."""

COOLING: Final = "Cooling"
"""The title of the section on batches that cool."""

LIMITS_CHANGED: Final = "Limits changed"
"""The title of the section on limits of the watch that were moved."""

TIMERS: Final = "Held by the clock"
"""The title of the section on food under a timer."""

CAUSES: Final = {
    Cause.DOOR: "a door left open",
    Cause.DEFROST: "a defrost",
    Cause.LOADING: "warm goods put in",
    Cause.COOLING_FAILURE: "the cooling failed",
    Cause.POWER_LOSS: "the power was out",
    Cause.PROBE_FAULT: "a faulty probe",
    Cause.UNKNOWN: "not known",
}
DISPOSITIONS: Final = {
    Disposition.KEPT: "kept",
    Disposition.USED_COOKED: "used cooked",
    Disposition.DISCARDED: "discarded",
    Disposition.OTHER: "disposed of otherwise",
}
_LIMIT_WORDS: Final = {
    "limit_c": "critical limit",
    "operating_limit_c": "operating limit",
    "deadband_c": "deadband",
    "on_delay_s": "alarm delay",
    "lag_s": "lag of fish behind air",
}
_REASONS: Final = {
    "undecodable": "could not be read",
    "not-finite": "not a number",
    "fault-code": "the probe’s fault code",
    "out-of-range": "outside what is plausible",
    "unknown-topic": "unknown topic",
    "too-large": "too large",
    "time-uncertain": "time uncertain",
}
RULES: Final = {
    Rule.HOLDING: "fish too warm",
    Rule.OPERATING_LIMIT: "over the operating limit",
    Rule.FREEZER: "freezer too warm",
    Rule.HOLD_AT_RISK: "freezing hold broken",
    Rule.DOOR: "door open",
    Rule.STALE: "no readings",
    Rule.BATTERY: "battery low",
    Rule.STUCK: "probe stuck",
    Rule.IMPLAUSIBLE: "probe not believed",
    Rule.WATER: "water on the floor",
    Rule.COOLING: "cooling too slowly",
    Rule.PROJECTION: "fish warming",
    Rule.POWER_LOSS: "power lost",
    Rule.HUMIDITY: "air too damp",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A headed paragraph of a section."""

    head: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A title and its items."""

    title: str
    items: tuple[Item, ...]


def sections(summary: Summary) -> Iterator[Section]:
    """Return the sections that have anything to say, in the order in which they are read."""
    yield from (section for section in _sections(summary) if section.items)


def _sections(summary: Summary) -> Iterator[Section]:
    yield Section(
        title="Excursions",
        items=tuple(
            _excursion(summary, item)
            for item in summary.excursions
            if not _is_told(item, summary.excursions)
        ),
    )
    yield Section(
        title=LOTS,
        items=tuple(
            _lot(summary, lot)
            for lot in sorted(summary.lots, key=_lot_order)
            if lot.story.state != "withdrawn"
        ),
    )
    yield Section(title=COOLING, items=tuple(_batches(summary)))
    yield Section(title=TIMERS, items=tuple(_timers(summary)))
    yield Section(title="Alarms", items=tuple(_alarms(summary)))
    told = {action for item in summary.excursions for action in item.actions}
    yield Section(
        title="Written down",
        items=tuple(
            Item(head=_name(summary, action.unit), lines=(_action(summary, action),))
            for action in summary.actions
            if action not in told
        ),
    )
    yield Section(title=LIMITS_CHANGED, items=tuple(_changes(summary)))
    yield Section(title="Probes", items=tuple(_probes(summary)))
    yield Section(title="Entries not taken", items=tuple(_refused(summary)))
    yield Section(title="Messages not believed", items=tuple(_quarantine(summary)))


def _is_told(item: Excursion, every: Sequence[Excursion]) -> bool:
    """Return whether a spell over the operating limit is part of one that went over the limit."""
    return item.rule is Rule.OPERATING_LIMIT and any(
        other.concerns_fish
        and other.unit == item.unit
        and other.start_ms >= item.start_ms
        and (item.end_ms is None or other.start_ms <= item.end_ms)
        for other in every
    )


def _excursion(summary: Summary, item: Excursion) -> Item:
    scale, day = summary.scale, summary.period.to_ms
    if item.end_ms is None:
        begins = wording.local_time(item.start_ms, summary.zone, day_of_ms=day)
        when = f"since {begins}, still on"
    else:
        when = wording.local_span(item.start_ms, item.end_ms, summary.zone, day_of_ms=day)
    line = "its limit"
    if item.limit_c is not None:
        line = wording.temperature(item.limit_c, scale)
    if item.rule is Rule.OPERATING_LIMIT:
        line = f"its operating limit {line}"
    peak = wording.temperature(item.peak_c, scale)
    lines = [
        f"Peak {peak}; above {line} for {wording.duration(item.above_s)}.",
        f"Likely cause: {CAUSES[item.cause]}. {item.explanation}".rstrip(),
    ]
    lines.extend(_excursion_notes(summary, item))
    name = wording.unit_name(item.unit)
    if item.of_several:
        name = f"{name} (probe {wording.printable(item.probe)})"
    return Item(head=f"{name}, {when}", lines=tuple(lines))


def _excursion_notes(summary: Summary, item: Excursion) -> Iterator[str]:
    worst = item.worst
    if worst is not None and not item.unit.kind.is_freezer:
        yield (
            f"It used {_percent(worst.share_with_gaps)} of the time that guidance allows for "
            f"{worst.hazard}, the most of any hazard (FDA Hazards Guidance, Table A-2)."
        )
    if item.found_late:
        yield "Found late, in readings that came in afterwards."
    if not item.alarmed:
        yield "It raised no alarm."
    if item.actions:
        yield from (f"Done: {_action(summary, action)}" for action in item.actions)
    elif not item.in_service:
        yield "The unit was out of service."
    elif item.needs_action:
        yield "Nothing written down yet about what was done."


def _action(summary: Summary, action: CorrectiveAction) -> str:
    at = wording.local_time(action.at_ms, summary.zone, day_of_ms=summary.period.to_ms)
    facts = [action.who, at]
    if action.disposition is not None:
        facts.insert(0, f"fish {DISPOSITIONS[action.disposition]}")
    if action.lots:
        facts.insert(0, f"{_lots(action.lots)} {wording.joined(action.lots, most=4)}")
    return f"{action.text} ({', '.join(part for part in facts if part)})"


def _percent(share: float) -> str:
    return "under 1 %" if share < 0.01 else f"{share * 100:.0f} %"


def _batches(summary: Summary) -> Iterator[Item]:
    for item in summary.cooling:
        name = _name(summary, item.batch.start.unit)
        head, lines = cooling_words(item, name, summary.zone, summary.scale)
        yield Item(head=head, lines=lines)


def _timers(summary: Summary) -> Iterator[Item]:
    for item in summary.timed:
        unit = item.timed.start.unit
        name = "" if unit is None else _name(summary, unit)
        head, lines = timed_words(item, name, summary.zone, summary.scale)
        yield Item(head=head, lines=lines)


def _lots(lots: Sequence[str]) -> str:
    return "lot" if len(lots) == 1 else "lots"


def _lot_order(lot: LotFacts) -> int:
    """News first: what was set back, what was completed, then the rest as it stands."""
    return 0 if lot.set_back else 1 if lot.completed_now else 2


def _lot(summary: Summary, lot: LotFacts) -> Item:
    story, hold = lot.story, lot.story.hold
    standing, note = _standing(summary, lot)
    verdict = lot.words.verdict
    lines = [f"{verdict}.", note]
    if _verdict_leads(lot):
        # What is read alone, on a phone, is no sign of safety that the lot has not.
        lines[0] = f"{standing[0].upper()}{standing[1:]}."
        standing = f"{verdict[0].lower()}{verdict[1:]}"
    if lot.account.needs_destruction and hold is not None:
        credited = wording.credited_hours(hold.credited_h, hold.required_h)
        lines.insert(1, f"{credited}, {wording.option_words(hold.option, summary.scale)}.")
    lines.extend(lot.words.caveats)
    if lot.completed_now and story.proof is not None:
        lines.append("New since the summary before.")
    lines.extend(_set_back(summary, lot))
    why_not = lot.words.why_not
    counting = story.state == "freezing" and hold is not None and hold.credited_h > 0.0
    if why_not and not counting:
        lines.append(f"Not ready: {why_not[0].lower()}{why_not[1:]}")
    foretold = lot.account.foretold
    if foretold is not None and foretold.is_late and foretold.needed_by_ms is not None:
        lines.append(_late(summary, foretold, foretold.needed_by_ms))
    if not lot.account.needs_destruction or story.state == "complete":
        lines.extend(map(wording.printable, lot.account.remaining_hazards))
    if story.ice_days >= 0.05:
        lines.append(f"Estimated age: as after {story.ice_days:.1f} days on ice.")
    species = f" ({wording.clipped(lot.species, 40)})" if lot.species else ""
    return Item(
        head=f"Lot {lot.name}{species}: {standing}",
        lines=tuple(_stopped(line) for line in lines if line),
    )


def _verdict_leads(lot: LotFacts) -> bool:
    """Whether what became of its freezing would sound better than what may be said of it."""
    if lot.words.standing is Standing.PROVEN:
        return False
    waits = lot.account.needs_destruction and lot.story.state != "complete"
    return lot.words.standing is not Standing.UNPROVEN or not waits


def _standing(summary: Summary, lot: LotFacts) -> tuple[str, str]:
    """Return where a lot stands, and a further line on it."""
    story, hold, why = lot.story, lot.story.hold, wording.printable(lot.account.why)
    if story.proof is Proof.SUPPLIER_FREEZING:
        return "frozen by its supplier, by their statement", "Not frozen for this here."
    if not lot.account.needs_destruction:
        return "no freezing called for", why
    if hold is None or story.state not in ("complete", "freezing"):
        return "not frozen yet, not for serving raw", why
    if hold.completed_ms is not None:
        done = wording.local_moment(round(hold.completed_ms), summary.zone)
        return f"freezing hold complete, {done}", ""
    if hold.expected_ms is None:
        return "in the freezer, hold not counting yet", ""
    standing = "hold set back" if lot.set_back else "in its freezing hold"
    at_earliest = wording.local_moment(round(hold.expected_ms), summary.zone)
    return (
        f"{standing}, complete {at_earliest} at the earliest",
        "The time is right only if the cold holds.",
    )


def _late(summary: Summary, foretold: Foretold, needed_by_ms: int) -> str:
    late = f"Wanted by {wording.local_moment(needed_by_ms, summary.zone)}, and not ready by then"
    better, start_by_ms = foretold.instead, foretold.start_by_ms
    if better is None or start_by_ms is None:
        return f"{late}; no freezer here would have it so."
    before = wording.local_moment(round(start_by_ms), summary.zone)
    return (
        f"{late} unless moved to {_name(summary, better.unit)} before {before}: "
        f"{wording.option_words(better.option, summary.scale)}."
    )


def _set_back(summary: Summary, lot: LotFacts) -> Iterator[str]:
    day = summary.period.to_ms
    for item in lot.set_back:
        if item.end_ms is None:
            start = wording.local_time(round(item.start_ms), summary.zone, day_of_ms=day)
            when = f"since {start}"
        else:
            when = wording.local_span(
                round(item.start_ms), round(item.end_ms), summary.zone, day_of_ms=day
            )
        is_gap = item.reason is BreakReason.GAP
        peak = "" if item.peak_c is None else wording.temperature(item.peak_c, summary.scale)
        why = wording.broken_by(is_gap=is_gap, is_warm=item.is_warm, peak=peak)
        count = "began" if item.end_ms is not None else "begins, once the cold is back,"
        yield f"Set back {when} ({why}): the count {count} again from zero."


def _alarms(summary: Summary) -> Iterator[Item]:
    """Tell each alarm; one that kept coming and going, once, with how often."""
    kinds: dict[tuple[UnitId | None, tuple[UnitId, ...], Rule], list[ToldAlarm]] = {}
    for item in summary.alarms:
        key = item.alarm.key
        kinds.setdefault((key.unit, item.alarm.units, key.rule), []).append(item)
    told: list[tuple[int, Item]] = []
    for alike in kinds.values():
        if len(alike) > MOST_ALIKE:
            told.append((alike[0].alarm.raised_ms, _chattering(summary, alike)))
        else:
            told.extend((item.alarm.raised_ms, _alarm(summary, item)) for item in alike)
    yield from (item for _, item in sorted(told, key=lambda pair: pair[0]))


def _chattering(summary: Summary, alike: Sequence[ToldAlarm]) -> Item:
    zone, day = summary.zone, summary.period.to_ms
    first, last = alike[0].alarm, alike[-1].alarm
    span = wording.local_span(first.raised_ms, last.raised_ms, zone, day_of_ms=day)
    told = sum(item.told for item in alike)
    answered = sum(item.alarm.answered_ms is not None for item in alike)
    woke = sum(item.alarm.woke for item in alike)
    lines = [
        f"It came {len(alike)} times.",
        f"{wording.counted(told, 'message')} sent." if told else "Nobody was told before this.",
        f"Woke somebody {_count_of(woke)}." if woke else "",
        f"Answered {_count_of(answered)}." if told else "",
        "Still on." if last.returned_ms is None else "",
        "An alarm that keeps coming and going needs its cause removed or its delay looked at.",
    ]
    head = f"{span} {_where(summary, first)}: {RULES[first.key.rule]} ({first.priority.value})"
    return Item(head=head, lines=(" ".join(line for line in lines if line),))


def _count_of(count: int) -> str:
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")


def _where(summary: Summary, alarm: Alarm) -> str:
    units = (alarm.key.unit,) if alarm.key.unit is not None else alarm.units
    return wording.joined([_name(summary, unit) for unit in units], most=3) or "The shop"


def _alarm(summary: Summary, item: ToldAlarm) -> Item:
    alarm, zone, day = item.alarm, summary.zone, summary.period.to_ms
    lines = []
    if item.told_first:
        told = [
            f"{who} {wording.local_time(at_ms, zone, day_of_ms=day)}"
            for at_ms, who in item.told_first
        ]
        verb = "Woken" if alarm.woke else "Told"
        count = f"; {wording.counted(item.told, 'message')} in all" if item.told > 1 else ""
        lines.append(f"{verb}: {wording.joined(told, most=3)}{count}.")
    else:
        lines.append("Nobody was told before this summary.")
    if item.answered_after_ms is not None:
        lines.append(f"Answered after {wording.duration(item.answered_after_ms / MS_PER_S)}.")
    elif item.told_first:
        lines.append("Nobody answered.")
    if alarm.returned_ms is None:
        lines.append("Still on.")
    else:
        at = wording.local_time(alarm.returned_ms, zone, day_of_ms=day)
        lines.append(f"Back to normal {at}.")
    raised = wording.local_time(alarm.raised_ms, zone, day_of_ms=day)
    head = f"{raised} {_where(summary, alarm)}: {RULES[alarm.key.rule]} ({alarm.priority.value})"
    return Item(head=head, lines=(" ".join(lines),))


def _probes(summary: Summary) -> Iterator[Item]:
    troubled = [probe for probe in summary.probes if _probe_lines(summary, probe)]
    for probe in troubled:
        yield Item(
            head=wording.printable(probe.probe.id), lines=(" ".join(_probe_lines(summary, probe)),)
        )
    fine = len(summary.probes) - len(troubled)
    if fine:
        who = wording.counted(fine, "other probe" if troubled else "probe")
        yield Item(head=f"{who}: nothing to report")


def _probe_lines(summary: Summary, probe: ProbeAccount) -> list[str]:
    lines = []
    if probe.stale:
        silence = "Never heard"
        if probe.last_ms is not None:
            day = summary.period.to_ms
            silence = (
                f"Silent since {wording.local_time(probe.last_ms, summary.zone, day_of_ms=day)}"
            )
        lines.append(f"{silence}.")
    if probe.missing_s:
        lines.append(f"Missing {wording.duration(probe.missing_s)}.")
    if probe.battery_is_low:
        lines.append(f"Battery {probe.battery:g}, low from {probe.probe.battery_low:g}.")
    two_sources_ms = probe.clock.two_sources_ms
    if two_sources_ms is not None and two_sources_ms >= summary.period.from_ms:
        seen = wording.local_time(two_sources_ms, summary.zone, day_of_ms=summary.period.to_ms)
        lines.append(f"Two devices publish on its topic, seen {seen}: one is not this probe.")
    if round(abs(probe.clock.offset_s or 0.0)) >= 60:
        lines.append(f"Clock {clock_words(probe)}.")
    return lines


def clock_words(probe: ProbeAccount) -> str:
    """Return how far a probe's clock is off, and to which side: "7 min behind"."""
    off_s = probe.clock.offset_s or 0.0  # by how much its messages come after their own time
    return f"{wording.duration(abs(off_s))} {'behind' if off_s > 0 else 'ahead'}"


def _changes(summary: Summary) -> Iterator[Item]:
    """Tell in one line which limits of the watch were moved; other settings are in the record."""
    moved = [change for change in summary.changes if change.moves_the_watch]
    if moved:
        yield Item(head="; ".join(change_words(summary, change) for change in moved))


def change_words(summary: Summary, change: Change) -> str:
    """Return a limit that was moved, as people say it, in the shop's scale."""
    what = _LIMIT_WORDS.get(change.name, change.name)
    values = [_setting(summary, change.name, value) for value in (change.before, change.after)]
    at = wording.local_time(change.at_ms, summary.zone, day_of_ms=summary.period.to_ms)
    by = f" by {change.who}" if change.who else ""
    name = _name(summary, UnitId(change.unit))
    return f"{name}: {what} {values[0]} → {values[1]} ({at}{by})"


def _setting(summary: Summary, name: str, value: Value) -> str:
    if not isinstance(value, int | float):
        return "none" if value is None else str(value)
    if name == "deadband_c":
        return wording.temperature_difference(value, summary.scale)
    if name.endswith("_c"):
        return wording.temperature(value, summary.scale)
    return wording.duration(value)


def _refused(summary: Summary) -> Iterator[Item]:
    for item in summary.refused:
        at = wording.local_time(item.at_ms, summary.zone, day_of_ms=summary.period.to_ms)
        yield Item(head=f"{item.do}, {at}", lines=(_stopped(item.why),))


def _quarantine(summary: Summary) -> Iterator[Item]:
    for item in summary.quarantine:
        source = item.topic or item.probe or "no topic"
        reason = _REASONS.get(item.reason, item.reason)
        yield Item(head=f"{source}: {reason}", lines=(_quarantine_line(item),))
    if summary.quarantined and not summary.quarantine:
        yield Item(head=f"{wording.counted(summary.quarantined, 'message')} set aside")


def _quarantine_line(item: QuarantineKind) -> str:
    text = wording.counted(item.count, "message")
    if item.payload_start:
        text += f", such as “{item.payload_start}”"
    return text


def _name(summary: Summary, unit: UnitId) -> str:
    for facts in summary.units:
        if facts.unit.id == unit:
            return facts.name
    return wording.printable(str(unit))


def _stopped(text: str) -> str:
    return text if text[-1] in ".!?…" else f"{text}."
