"""What a summary asks somebody to do today, the gravest first. Pure.

Each line is one task that one person can finish. Nothing here decides about fish:
it says to measure, to keep apart, to write down, and leaves the decision to people.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.report import wording
from rimewatch.report.facts import (
    AlarmRecord,
    Excursion,
    LotFacts,
    Period,
    ProbeFacts,
    QuarantineFacts,
    State,
    Todo,
    UnitFacts,
)
from rimewatch.report.lot_standing import lacks_there
from rimewatch.report.sections import RULES
from rimewatch.vocabulary import Kind, Priority, Rule, Scale, UnitId, Unread

CLOCK_OFFSET_S: Final = 300.0
"""A probe's clock further off than this is to be set: its times stop being believed
there (the contract's 300 s of plausible time ahead of arrival)."""


MANY_DISBELIEVED: Final = 5
"""From so many messages of one probe on, somebody is to look at it; fewer are listed only.
Common practice, no source: any radio garbles one now and then."""


_WARMTH: Final = (
    Rule.HOLDING,
    Rule.FREEZER,
    Rule.HOLD_AT_RISK,
    Rule.OPERATING_LIMIT,
    Rule.PROJECTION,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What the tasks are made from."""

    period: Period
    zone: ZoneInfo
    scale: Scale
    units: Sequence[UnitFacts]
    excursions: Sequence[Excursion]
    lots: Sequence[LotFacts]
    probes: Sequence[ProbeFacts]
    quarantine: Sequence[QuarantineFacts]
    alarms: Sequence[AlarmRecord]


def todos(found: Findings) -> tuple[Todo, ...]:
    """Return today's tasks, the gravest first, each said once."""
    every = (
        *_excursions(found),
        *_awaiting(found),
        *_unmonitored(found),
        *_out_of_service(found),
        *_lots(found),
        *_probes(found),
        *_quarantine(found),
        *_alarms(found),
    )
    return tuple(dict.fromkeys(every))


def _excursions(found: Findings) -> Iterator[Todo]:
    fish = [item for item in found.excursions if item.concerns_fish and item.in_service]
    still = [item for item in fish if item.end_ms is None and item.rule is not Rule.HOLD_AT_RISK]
    for item in still:
        limit = "its limit"
        if item.limit_c is not None:
            limit = wording.temperature(item.limit_c, found.scale)
        do = "keep fish out of it" if item.actions else "move the fish"
        text = f"{item.name} is still above {limit}: {do} and see to the unit."
        yield Todo(text=text, unit=item.unit)
    over = [
        item
        for item in fish
        if item.rule is not Rule.HOLD_AT_RISK  # said with the lots
        and item.unit not in {other.unit for other in still}
    ]
    broken = ("cooling-failure", "power-loss")
    tasks = (
        (
            "Measure the fish of {} with a thermometer before any is sold.",
            [item for item in over if not item.is_freezer],
        ),
        (
            "Look in {} for fish that thawed and froze again.",
            [item for item in over if item.is_freezer],
        ),
        (
            "Write down what was done about the excursion of {}.",
            [item for item in fish if item.needs_action],
        ),
        (
            "Have the cooling of {} looked at.",
            [item for item in fish if item.cause in broken],
        ),
    )
    for text, items in tasks:
        names = list(dict.fromkeys(item.name for item in items))
        if names:
            unit = items[0].unit if len(names) == 1 else None
            yield Todo(text=text.format(wording.joined(names, most=5)), unit=unit)


def _awaiting(found: Findings) -> Iterator[Todo]:
    """Ask again for what was done about excursions of the days before."""
    for item in found.units:
        if not item.awaiting:
            continue
        days = dict.fromkeys(
            wording.local_moment(at_ms, found.zone).rsplit(" ", 2)[0] for at_ms in item.awaiting
        )
        noun = "the excursion" if len(item.awaiting) == 1 else "the excursions"
        text = (
            f"Still to be written down: what was done about {noun} of {item.name} on "
            f"{wording.joined(list(days), most=4)}."
        )
        yield Todo(text=text, unit=item.unit.id)


def _out_of_service(found: Findings) -> Iterator[Todo]:
    """Ask about what is still out of service: it raises nothing until somebody says otherwise."""
    for item in found.units:
        if item.out_of_service and item.out_of_service[-1][1] is None:
            since = wording.local_moment(item.out_of_service[-1][0], found.zone)
            text = (
                f"{item.name} is still out of service, since {since}, and wakes nobody: "
                "is that so? If not, put it back in service."
            )
            yield Todo(text=text, unit=item.unit.id)


def _unmonitored(found: Findings) -> Iterator[Todo]:
    for item in found.units:
        why = "; ".join(
            f"probe {probe.probe}: {cure(probe, probe.unread)}"
            for probe in _unread_in(item, found)
            if probe.unread is not None
        )
        if item.state is State.UNWATCHED and why:
            text = f"{item.name}: not one reading; measure by hand. {why[0].upper()}{why[1:]}"
        elif why:
            lasted = wording.duration(item.missing_s)
            text = f"{item.name}: unmonitored for {lasted}{_when(item, found)}: {why}"
        elif item.state is State.UNWATCHED:
            text = f"{item.name}: not one reading; measure by hand and find out why."
        elif item.missing_s > 0 and item.state is not State.OUT_OF_SERVICE:
            text = (
                f"{item.name}: find out why it was unmonitored for "
                f"{wording.duration(item.missing_s)}{_when(item, found)}."
            )
        else:
            continue
        yield Todo(text=text, unit=item.unit.id)


def _when(item: UnitFacts, found: Findings) -> str:
    if len(item.gaps) != 1:
        return ""
    start, end = item.gaps[0]
    span = wording.local_span(start, end, found.zone, day_of_ms=found.period.to_ms)
    return f" ({span})"


def _lots(found: Findings) -> Iterator[Todo]:
    cases = {u.unit.id: u.name for u in found.units if u.unit.kind is Kind.DISPLAY_CASE}
    for lot in found.lots:
        unsure = lot.proof == "own-freezing" and not lot.is_sure
        if lot.unit in cases and (lot.why_not or unsure) and lot.state != "withdrawn":
            lacks = lacks_there(is_unsure=unsure)
            where = cases[lot.unit]
            text = f"Lot {lot.lot}: in {where} {lacks}; keep it off the raw counter."
            yield Todo(text=text, unit=lot.unit)
        if lot.statement_missing and lot.state != "withdrawn":
            yield Todo(text=f"Lot {lot.lot}: record the supplier’s written statement.")
        if not lot.needs_destruction or lot.state in ("complete", "withdrawn"):
            continue
        if lot.proof == "supplier-freezing":
            continue
        yield from _late(found, lot)
        if lot.set_back:
            yield Todo(text=f"Lot {lot.lot}: its hold was set back; keep it off the raw counter.")
        elif lot.state == "received":
            yield Todo(text=f"Lot {lot.lot}: needs a freezing hold before it is served raw.")
        elif lot.state == "freezing" and lot.started_ms is None:
            yield Todo(text=f"Lot {lot.lot}: its hold is not counting yet; check its freezer.")


def _late(found: Findings, lot: LotFacts) -> Iterator[Todo]:
    if not lot.is_late or lot.needed_by_ms is None:
        return
    by = wording.local_moment(lot.needed_by_ms, found.zone)
    if lot.instead is None:
        yield Todo(text=f"Lot {lot.lot}: will not be ready by {by}; plan without it.")
        return
    _, unit, start_by_ms = lot.instead
    named = {item.unit.id: item.name for item in found.units}
    before = wording.local_moment(start_by_ms, found.zone)
    yield Todo(
        text=f"Lot {lot.lot}: will not be ready by {by}; "
        f"move it to {named.get(unit, str(unit))} before {before}.",
        unit=unit,
    )


def _probes(found: Findings) -> Iterator[Todo]:
    for probe in found.probes:
        if probe.stale and (probe.unread is None or not _is_missed(probe, found)):
            since = ""
            if probe.last_ms is not None:
                at = wording.local_time(probe.last_ms, found.zone, day_of_ms=found.period.to_ms)
                since = f" since {at}"
            do = f"silent{since}; check battery and range."
            if probe.unread is not None:
                do = cure(probe, probe.unread)
            yield Todo(text=f"Probe {probe.probe}: {do}", unit=probe.unit)
        yield from _about_its_settings(probe, found)
        if probe.battery_is_low:
            yield Todo(text=f"Probe {probe.probe}: change the battery.", unit=probe.unit)
        if probe.two_sources_ms is not None:
            yield Todo(
                text=f"Probe {probe.probe}: two devices publish on its topic; give each its own.",
                unit=probe.unit,
            )
        if probe.clock_offset_s is not None and abs(probe.clock_offset_s) > CLOCK_OFFSET_S:
            off = wording.duration(abs(probe.clock_offset_s))
            side = "behind" if probe.clock_offset_s > 0 else "ahead"
            yield Todo(text=f"Probe {probe.probe}: set its clock, {off} {side}.", unit=probe.unit)


def _about_its_settings(probe: ProbeFacts, found: Findings) -> Iterator[Todo]:
    """Yield what its readings say of its interval, its scale and its place."""
    if probe.sends_every_s is not None:
        often = wording.duration(probe.sends_every_s)
        yield Todo(
            text=f"Probe {probe.probe}: sends every {often}, and counts as silent before; "
            f"set every_s = {probe.sends_every_s:.0f}.",
            unit=probe.unit,
        )
    if probe.scale_jump_ms is not None:
        at = wording.local_time(probe.scale_jump_ms, found.zone, day_of_ms=found.period.to_ms)
        yield Todo(
            text=f"Probe {probe.probe}: jumped at {at} exactly as from °C to °F or back; "
            "see what the device is set to, and measure by hand.",
            unit=probe.unit,
        )
    if probe.apart_c is not None:
        far = wording.temperature_difference(probe.apart_c, found.scale)
        yield Todo(
            text=f"Probes {probe.probe} and {probe.apart_from}: {far} apart "
            "in one unit; see whether they hang in two.",
            unit=probe.unit,
        )


def cure(probe: ProbeFacts, why: Unread) -> str:
    """Return what to do about a silent probe on whose topic messages arrive."""
    shown = "`rimewatch quarantine list` shows what was sent"
    match why:
        case Unread.FORMAT:
            return f"its messages cannot be read as format “{probe.format}”; {shown}."
        case Unread.ABSENT:
            return "messages arrive without its value; look at its plug and at its fields."
        case Unread.BIRTH:
            return "its node has sent no birth; restart the node, or let rimewatch write its NCMD."
        case Unread.DISBELIEVED:
            return f"its values are not believed; look at plug, cable and scale; {shown}."


def _is_missed(probe: ProbeFacts, found: Findings) -> bool:
    """Whether its unit's task of unmonitored time names the probe already."""
    return any(
        item.unit.id == probe.unit and probe in _unread_in(item, found) for item in found.units
    )


def _unread_in(item: UnitFacts, found: Findings) -> list[ProbeFacts]:
    """Return the probes for whose want a unit is unmonitored, though messages arrive."""
    if item.missing_s <= 0 and item.state is not State.UNWATCHED:
        return []
    if item.state is State.OUT_OF_SERVICE:
        return []
    return [
        probe
        for probe in found.probes
        if probe.unit == item.unit.id and probe.unread is not None and probe.stale
    ]


def _quarantine(found: Findings) -> Iterator[Todo]:
    named = [item for item in found.quarantine if item.reason != "unknown-topic"]
    said = {probe.probe for probe in found.probes if probe.stale and probe.unread is not None}
    for source in dict.fromkeys(item.probe or item.topic for item in named):
        if source in said:
            continue
        count = sum(item.count for item in named if (item.probe or item.topic) == source)
        if count < MANY_DISBELIEVED:
            continue
        yield Todo(
            text=f"{source}: {wording.counted(count, 'message')} not believed; look at the probe."
        )
    unknown = [item.topic for item in found.quarantine if item.reason == "unknown-topic"]
    if unknown:
        topics = wording.joined(sorted(set(unknown)), most=3)
        yield Todo(text=f"Unknown to the configuration: {topics}; add it or silence it.")


def _alarms(found: Findings) -> Iterator[Todo]:
    told: set[UnitId | None] = {item.unit for item in found.excursions if item.concerns_fish}
    spoken = (Rule.STALE, Rule.BATTERY, Rule.IMPLAUSIBLE)
    named = {item.unit.id: item.name for item in found.units}
    for alarm in found.alarms:
        if alarm.returned_ms is not None or alarm.rule in spoken:
            continue
        if alarm.rule in _WARMTH and alarm.unit in told:
            continue
        units = (alarm.unit,) if alarm.unit is not None else alarm.units
        where = wording.joined([named.get(unit, str(unit)) for unit in units]) or "The shop"
        weight = " (high)" if alarm.priority is Priority.HIGH else ""
        yield Todo(
            text=f"{where}: alarm “{RULES[alarm.rule]}”{weight} is still on; see to it.",
            unit=alarm.unit,
        )
