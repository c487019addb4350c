"""What a summary asks somebody to do today, the gravest first. Pure.

Each line is one task that one person can finish. Nothing here decides about fish:
it says to measure, to keep apart, to write down, and leaves the decision to people.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.ledger import ProbeAccount
from rimewatch.evaluation.quarantine_tally import QuarantineKind
from rimewatch.report import wording
from rimewatch.report.facts import LotFacts, Period, State, Todo, ToldAlarm, UnitFacts
from rimewatch.report.habit_words import icing_words, lag_words
from rimewatch.report.lot_standing import KEEP_OFF
from rimewatch.report.sections import RULES, clock_words
from rimewatch.rules.provisions_hazards import ROP_CHILLED_LIMIT_C
from rimewatch.vocabulary import Cause, Priority, Rule, Scale, Standing, UnitId, Unread

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
    probes: Sequence[ProbeAccount]
    quarantine: Sequence[QuarantineKind]
    alarms: Sequence[ToldAlarm]


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
        *_learned(found),
        *_alarms(found),
    )
    return tuple(dict.fromkeys(every))


def _excursions(found: Findings) -> Iterator[Todo]:
    fish = [item for item in found.excursions if item.concerns_fish and item.in_service]
    still = [item for item in fish if item.end_ms is None]
    for item in still:
        limit = "its limit"
        if item.limit_c is not None:
            limit = wording.temperature(item.limit_c, found.scale)
        do = "keep fish out of it" if item.actions else "move the fish"
        text = f"{wording.unit_name(item.unit)} is still above {limit}: {do} and see to the unit."
        yield Todo(text=text, unit=item.unit.id)
    warm_now = {other.unit.id for other in still}
    over = [item for item in fish if item.unit.id not in warm_now]
    broken = (Cause.COOLING_FAILURE, Cause.POWER_LOSS)
    tasks = (
        (
            "Measure the fish of {} with a thermometer before any is sold.",
            [item for item in over if not item.unit.kind.is_freezer],
        ),
        (
            "Look in {} for fish that thawed and froze again.",
            [item for item in over if item.unit.kind.is_freezer],
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
        names = list(dict.fromkeys(wording.unit_name(item.unit) for item in items))
        if names:
            unit = items[0].unit.id if len(names) == 1 else None
            yield Todo(text=text.format(wording.joined(names, most=5)), unit=unit)


def _awaiting(found: Findings) -> Iterator[Todo]:
    """Ask again for what was done about excursions of the days before."""
    for item in found.units:
        awaiting = item.account.awaiting_action
        if not awaiting:
            continue
        days = dict.fromkeys(
            wording.local_moment(round(one.start_ms), found.zone).rsplit(" ", 2)[0]
            for one in awaiting
        )
        noun = "the excursion" if len(awaiting) == 1 else "the excursions"
        text = (
            f"Still to be written down: what was done about {noun} of {item.name} on "
            f"{wording.joined(list(days), most=4)}."
        )
        yield Todo(text=text, unit=item.unit.id)


def _out_of_service(found: Findings) -> Iterator[Todo]:
    """Ask about what is still out of service: it raises nothing until somebody says otherwise."""
    for item in found.units:
        out = item.account.out_of_service
        if out and out[-1][1] is None:
            since = wording.local_moment(out[-1][0], found.zone)
            text = (
                f"{item.name} is still out of service, since {since}, and wakes nobody: "
                "is that so? If not, put it back in service."
            )
            yield Todo(text=text, unit=item.unit.id)


def _learned(found: Findings) -> Iterator[Todo]:
    """Name what a unit's own readings show that it was not set up for."""
    for item in found.units:
        icing, lag, lag_s = item.account.icing, item.account.lag, item.unit.lag_s
        if icing is not None:
            text = f"{item.name}: {icing_words(icing)}; see whether its coil ices up."
            yield Todo(text=text, unit=item.unit.id)
        if lag is not None and lag_s and lag.contradicts(lag_s):
            text = (
                f"{item.name}: {lag_words(lag)}; lag_s is {lag_s:.0f}. "
                "See which is right; nothing was changed."
            )
            yield Todo(text=text, unit=item.unit.id)


def _unmonitored(found: Findings) -> Iterator[Todo]:
    for item in found.units:
        why = "; ".join(
            f"probe {_named(probe)}: {cure(probe, probe.unread)}"
            for probe in _unread_in(item, found)
            if probe.unread is not None
        )
        if item.state is State.UNWATCHED and why:
            text = f"{item.name}: not one reading; measure by hand. {why[0].upper()}{why[1:]}"
        elif why:
            lasted = wording.duration(item.account.missing_s)
            text = f"{item.name}: unmonitored for {lasted}{_when(item, found)}: {why}"
        elif item.state is State.UNWATCHED:
            text = f"{item.name}: not one reading; measure by hand and find out why."
        elif item.account.missing_s > 0 and item.state is not State.OUT_OF_SERVICE:
            text = (
                f"{item.name}: find out why it was unmonitored for "
                f"{wording.duration(item.account.missing_s)}{_when(item, found)}."
            )
        else:
            continue
        yield Todo(text=text, unit=item.unit.id)


def _when(item: UnitFacts, found: Findings) -> str:
    if len(item.account.gaps) != 1:
        return ""
    start, end = item.account.gaps[0]
    span = wording.local_span(start, end, found.zone, day_of_ms=found.period.to_ms)
    return f" ({span})"


def _lots(found: Findings) -> Iterator[Todo]:
    named = {item.unit.id: item.name for item in found.units}
    here = [lot for lot in found.lots if lot.story.state != "withdrawn"]
    for lot in here:
        story, need, words = lot.story, lot.story.need, lot.words
        if words.lacks_on_display:
            unit = story.entries.unit
            where = named.get(unit, str(unit)) if unit is not None else ""
            text = f"Lot {lot.name}: in {where} {words.lacks_on_display}; {words.act_on_display}."
            yield Todo(text=text, unit=unit)
        elif words.standing is Standing.AGAINST:
            verdict = f"{words.verdict[0].lower()}{words.verdict[1:]}"
            yield Todo(text=f"Lot {lot.name}: {verdict}; {KEEP_OFF}.")
        if need is not None and need.statement_missing:
            yield Todo(text=f"Lot {lot.name}: record the supplier’s written statement.")
        if packed := _packed(found, lot):
            yield packed
        if words.standing is Standing.UNPROVEN and lot.account.needs_destruction:
            yield from _unproven(found, lot)
    doubted = [
        lot.name
        for lot in here
        if lot.words.standing is Standing.DOUBT and not lot.words.lacks_on_display
    ]
    if doubted:
        noun, they = ("Lot", "it is") if len(doubted) == 1 else ("Lots", "they are")
        names = wording.joined(doubted, most=4)
        yield Todo(text=f"{noun} {names}: in doubt; see why before {they} served raw.")


def _packed(found: Findings, lot: LotFacts) -> Todo | None:
    """Ask for the cold of a vacuum pack that lies chilled, or for its end."""
    unit = next((u.unit for u in found.units if u.unit.id == lot.story.entries.unit), None)
    if unit is None or unit.kind.is_freezer or lot.story.entries.packed_until_ms < inf:
        return None
    line = wording.published_limit(ROP_CHILLED_LIMIT_C)
    text = (
        f"Lot {lot.name}: vacuum-packed in {wording.unit_name(unit)}: keep it at {line} or below, "
        "or take it out of its pack; out of it before it thaws."
    )
    return Todo(text=text, unit=unit.id)


def _unproven(found: Findings, lot: LotFacts) -> Iterator[Todo]:
    """Ask for the freezing that a lot's proof lacks."""
    story = lot.story
    if story.state == "complete":
        yield Todo(text=f"Lot {lot.name}: its freezing is no proof here; {KEEP_OFF}.")
        return
    yield from _late(found, lot)
    if lot.set_back:
        yield Todo(text=f"Lot {lot.name}: its hold was set back; {KEEP_OFF}.")
    elif story.state == "received":
        yield Todo(text=f"Lot {lot.name}: needs a freezing hold before it is served raw.")
    elif story.hold is not None and story.hold.started_ms is None:
        yield Todo(text=f"Lot {lot.name}: its hold is not counting yet; check its freezer.")


def _late(found: Findings, lot: LotFacts) -> Iterator[Todo]:
    foretold = lot.account.foretold
    if foretold is None or not foretold.is_late or foretold.needed_by_ms is None:
        return
    by = wording.local_moment(foretold.needed_by_ms, found.zone)
    better, start_by_ms = foretold.instead, foretold.start_by_ms
    if better is None or start_by_ms is None:
        yield Todo(text=f"Lot {lot.name}: will not be ready by {by}; plan without it.")
        return
    named = {item.unit.id: item.name for item in found.units}
    before = wording.local_moment(round(start_by_ms), found.zone)
    yield Todo(
        text=f"Lot {lot.name}: will not be ready by {by}; "
        f"move it to {named.get(better.unit, str(better.unit))} before {before}.",
        unit=better.unit,
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
            yield Todo(text=f"Probe {_named(probe)}: {do}", unit=probe.probe.unit)
        yield from _about_its_settings(probe, found)
        if probe.battery_is_low:
            yield Todo(text=f"Probe {_named(probe)}: change the battery.", unit=probe.probe.unit)
        two_sources_ms = probe.clock.two_sources_ms
        if two_sources_ms is not None and two_sources_ms >= found.period.from_ms:
            yield Todo(
                text=f"Probe {_named(probe)}: two devices publish on its topic; give each its own.",
                unit=probe.probe.unit,
            )
        qos_0_ms = probe.clock.qos_0_ms
        if qos_0_ms is not None and qos_0_ms >= found.period.from_ms:
            yield Todo(
                text=f"Probe {_named(probe)}: set it to QoS 1; at QoS 0 nobody keeps what it sends "
                "while the service is away.",
                unit=probe.probe.unit,
            )
        if abs(probe.clock.offset_s or 0.0) > CLOCK_OFFSET_S:
            yield Todo(
                text=f"Probe {_named(probe)}: set its clock, {clock_words(probe)}.",
                unit=probe.probe.unit,
            )


def _about_its_settings(probe: ProbeAccount, found: Findings) -> Iterator[Todo]:
    """Yield what its readings say of its interval, its scale and its place."""
    name, unit = _named(probe), probe.probe.unit
    if probe.sends_every_s is not None:
        often = wording.duration(probe.sends_every_s)
        yield Todo(
            text=f"Probe {name}: sends every {often}, and counts as silent before; "
            f"set every_s = {probe.sends_every_s:.0f}.",
            unit=unit,
        )
    if probe.scale_jump_ms is not None:
        at = wording.local_time(probe.scale_jump_ms, found.zone, day_of_ms=found.period.to_ms)
        yield Todo(
            text=f"Probe {name}: jumped at {at} exactly as from °C to °F or back; "
            "see what the device is set to, and measure by hand.",
            unit=unit,
        )
    if probe.apart_from is not None and probe.apart_c is not None:
        far = wording.temperature_difference(probe.apart_c, found.scale)
        yield Todo(
            text=f"Probes {name} and {wording.printable(probe.apart_from)}: {far} apart "
            "in one unit; see whether they hang in two.",
            unit=unit,
        )


def _named(probe: ProbeAccount) -> str:
    return wording.printable(probe.probe.id)


def cure(probe: ProbeAccount, why: Unread) -> str:
    """Return what to do about a silent probe on whose topic messages arrive."""
    shown = "`rimewatch quarantine list` shows what was sent"
    match why:
        case Unread.FORMAT:
            return f"its messages cannot be read as format “{probe.probe.format}”; {shown}."
        case Unread.ABSENT:
            return "messages arrive without its value; look at its plug and at its fields."
        case Unread.BIRTH:
            return "its node has sent no birth; restart the node, or let rimewatch write its NCMD."
        case Unread.DISBELIEVED:
            return f"its values are not believed; look at plug, cable and scale; {shown}."


def _is_missed(probe: ProbeAccount, found: Findings) -> bool:
    """Whether its unit's task of unmonitored time names the probe already."""
    return any(
        item.unit.id == probe.probe.unit and probe in _unread_in(item, found)
        for item in found.units
    )


def _unread_in(item: UnitFacts, found: Findings) -> list[ProbeAccount]:
    """Return the probes for whose want a unit is unmonitored, though messages arrive."""
    if item.account.missing_s <= 0 and item.state is not State.UNWATCHED:
        return []
    if item.state is State.OUT_OF_SERVICE:
        return []
    return [
        probe
        for probe in found.probes
        if probe.probe.unit == item.unit.id and probe.unread is not None and probe.stale
    ]


def _quarantine(found: Findings) -> Iterator[Todo]:
    named = [item for item in found.quarantine if item.reason != "unknown-topic"]
    said = {_named(probe) for probe in found.probes if probe.stale and probe.unread is not None}
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
    told: set[UnitId | None] = {item.unit.id for item in found.excursions if item.concerns_fish}
    spoken = (Rule.STALE, Rule.BATTERY, Rule.IMPLAUSIBLE)
    named = {item.unit.id: item.name for item in found.units}
    for item in found.alarms:
        alarm, key = item.alarm, item.alarm.key
        if alarm.returned_ms is not None or key.rule in spoken:
            continue
        if key.rule in _WARMTH and key.unit in told:
            continue
        units = (key.unit,) if key.unit is not None else alarm.units
        where = wording.joined([named.get(unit, str(unit)) for unit in units]) or "The shop"
        weight = " (high)" if alarm.priority is Priority.HIGH else ""
        yield Todo(
            text=f"{where}: alarm “{RULES[key.rule]}”{weight} is still on; see to it.",
            unit=key.unit,
        )
