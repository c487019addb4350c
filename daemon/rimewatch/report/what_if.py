"""What another configuration would have made of the same past: two ledgers side by side.

Pure: what is compared of both is given. Tells what changed and what would have been missed; it does
not say which configuration is right, and past weeks do not promise the next.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from rimewatch.alarms.alarm import Alarm
from rimewatch.evaluation.excursions import Excursion
from rimewatch.evaluation.ledger import Ledger
from rimewatch.report import wording
from rimewatch.report.page import CAUTIONS
from rimewatch.report.sections import RULES
from rimewatch.rules.provisions import COLD_HOLDING_LIMIT_C, EU_FROZEN_STORAGE_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S, Kind, LotId, Rule, UnitId

CRITICAL: Final = (Rule.HOLDING, Rule.FREEZER)
"""The rules of critical limits."""

NOT_REPLAYED: Final = (
    "Both ran over the readings that were believed, corrected as they were then; messages not "
    "believed were left out. People are taken to have answered when they did."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmFigures:
    """One rule's alarms under one configuration."""

    raised: int = 0
    woke: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellFigures:
    """One unit's excursions of one rule under one configuration."""

    count: int = 0
    longest_s: float = 0.0
    """From beginning to end of the longest; one that is still on, to the end of the time."""
    above_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one configuration made of the time."""

    alarms: Mapping[Rule, AlarmFigures]
    messages: int
    excursions: Mapping[tuple[UnitId, Rule], SpellFigures]
    holds: tuple[LotId, ...]
    """Lots whose freezing hold was completed in the time."""

    @property
    def raised(self) -> int:
        """All alarms."""
        return sum(item.raised for item in self.alarms.values())

    @property
    def woke(self) -> int:
        """All alarms that woke somebody."""
        return sum(item.woke for item in self.alarms.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What of a ledger is compared: small, and fit to go from one process to another."""

    alarms: tuple[Alarm, ...]
    messages_ms: tuple[int, ...]
    """When each message was handed to the outbox."""
    excursions: tuple[Excursion, ...]
    """Unit by unit, in order."""
    completed_ms: Mapping[LotId, float]
    """When each lot's hold was completed."""


def seen_in(ledger: Ledger) -> Seen:
    """Return what of a ledger is compared."""
    holds = ((lot.story.lot, lot.story.hold) for lot in ledger.lots)
    return Seen(
        alarms=ledger.alarms,
        messages_ms=tuple(message.at_ms for message in ledger.messages),
        excursions=tuple(item for unit in ledger.units.values() for item in unit.excursions),
        completed_ms={
            lot: hold.completed_ms
            for lot, hold in holds
            if hold is not None and hold.completed_ms is not None
        },
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """An excursion beyond a published limit that would have raised no alarm any more."""

    unit: UnitId
    name: str
    rule: Rule
    start_ms: int
    end_ms: int | None
    peak_c: float
    above_s: float
    published_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The same time under two configurations."""

    from_ms: int
    to_ms: int
    now: Outcome
    changed: Outcome
    missed: tuple[Missed, ...]
    later_s: float
    """By how much the alarm of a critical limit came later at worst; 0: by nothing."""

    @property
    def is_same(self) -> bool:
        """Whether the two differ in nothing that is compared."""
        return self.now == self.changed and not self.missed and self.later_s == 0.0

    @property
    def sentence(self) -> str:
        """What it comes to."""
        if self.is_same:
            count = wording.counted(self.now.woke, "wake-up")
            return f"The changed configuration makes no difference here: {count} as before."
        woke = wording.counted(self.changed.woke, "wake-up")
        missed = "no excursion of a critical limit was missed"
        if self.missed:
            noun = wording.counted(len(self.missed), "excursion")
            verb = "was" if len(self.missed) == 1 else "were"
            missed = f"{noun} of a critical limit {verb} missed"
        later = ""
        if self.later_s > 0:
            later = f"; an alarm of one came up to {wording.duration(self.later_s)} later"
        return (
            f"With the changed configuration: {woke} in place of {self.now.woke}; {missed}{later}."
        )


def compare(shop: Shop, now: Seen, changed: Seen, from_ms: int, to_ms: int) -> Comparison:
    """Compare what two configurations made of the same readings and entries.

    An excursion counts as missed where it was alarmed, went over the published limit of its
    kind of unit, and the changed configuration has no alarmed excursion of a critical limit of
    that unit at the same time.

    Args:
        shop: The shop as it is configured now: names and kinds of units.
        now: What was seen under the present configuration.
        changed: What was seen under the changed one.
        from_ms: Beginning of the time that counts; the ledgers may begin earlier.
        to_ms: Its end.
    """
    return Comparison(
        from_ms=from_ms,
        to_ms=to_ms,
        now=_outcome(now, from_ms, to_ms),
        changed=_outcome(changed, from_ms, to_ms),
        missed=tuple(_missed(shop, now, changed, from_ms, to_ms)),
        later_s=_later_s(now, changed, from_ms, to_ms),
    )


def published_limit_c(kind: Kind) -> float:
    """Return the limit that is published for a kind of unit.

    Chilled: FDA Food Code 2022, 3-501.16(A)(2). Frozen: Regulation (EC)
    853/2004, Annex III, Section VIII, Chapter VII(2); the Food Code's 3-501.11 has no figure.
    """
    return EU_FROZEN_STORAGE_C if kind.is_freezer else COLD_HOLDING_LIMIT_C


def _outcome(seen: Seen, from_ms: int, to_ms: int) -> Outcome:
    raised: Counter[Rule] = Counter()
    woke: Counter[Rule] = Counter()
    for alarm in seen.alarms:
        if from_ms <= alarm.raised_ms <= to_ms:
            raised[alarm.key.rule] += 1
            woke[alarm.key.rule] += alarm.woke
    spells: dict[tuple[UnitId, Rule], SpellFigures] = {}
    for spell in _spells(seen, from_ms, to_ms):
        key = (spell.unit.id, spell.rule)
        before = spells.get(key, SpellFigures())
        lasted_ms = (to_ms if spell.end_ms is None else spell.end_ms) - spell.start_ms
        spells[key] = SpellFigures(
            count=before.count + 1,
            longest_s=max(before.longest_s, lasted_ms / MS_PER_S),
            above_s=before.above_s + spell.above_s,
        )
    return Outcome(
        alarms={
            rule: AlarmFigures(raised=raised[rule], woke=woke[rule])
            for rule in Rule
            if rule in raised
        },
        messages=sum(from_ms <= at_ms <= to_ms for at_ms in seen.messages_ms),
        excursions=spells,
        holds=tuple(
            lot for lot, done_ms in seen.completed_ms.items() if from_ms <= done_ms <= to_ms
        ),
    )


def _spells(seen: Seen, from_ms: int, to_ms: int) -> Iterator[Excursion]:
    return (item for item in seen.excursions if item.touches(from_ms, to_ms))


def _alarmed(seen: Seen, from_ms: int, to_ms: int) -> Iterator[Excursion]:
    """Return the excursions of critical limits that raised an alarm."""
    return (one for one in _spells(seen, from_ms, to_ms) if one.concerns_fish and one.alarmed)


def _missed(shop: Shop, now: Seen, changed: Seen, from_ms: int, to_ms: int) -> Iterator[Missed]:
    still = list(_alarmed(changed, from_ms, to_ms))
    for spell in _alarmed(now, from_ms, to_ms):
        unit = shop.unit[spell.unit.id]
        published_c = published_limit_c(unit.kind)
        if spell.peak_c <= published_c or any(_meet(spell, one) for one in still):
            continue
        yield Missed(
            unit=unit.id,
            name=wording.unit_name(unit),
            rule=spell.rule,
            start_ms=spell.start_ms,
            end_ms=spell.end_ms,
            peak_c=spell.peak_c,
            above_s=spell.above_s,
            published_c=published_c,
        )


def _meet(one: Excursion, other: Excursion) -> bool:
    """Return whether two excursions of a unit are at the same time."""
    end_ms = _FOR_EVER_MS if one.end_ms is None else one.end_ms
    return one.unit.id == other.unit.id and other.touches(one.start_ms, end_ms)


_FOR_EVER_MS: Final = 1 << 62


def _first_told_ms(seen: Seen, spell: Excursion) -> int | None:
    """Return when the alarm of a spell was raised; None: it was standing before."""
    until_ms = _FOR_EVER_MS if spell.end_ms is None else spell.end_ms
    raised_ms = (
        alarm.raised_ms
        for alarm in seen.alarms
        if alarm.key.unit == spell.unit.id and alarm.key.rule in CRITICAL
    )
    return min((at_ms for at_ms in raised_ms if spell.start_ms <= at_ms <= until_ms), default=None)


def _later_s(now: Seen, changed: Seen, from_ms: int, to_ms: int) -> float:
    """Return by how much an alarm that both raised came later at worst."""
    worst_ms = 0
    after = list(_alarmed(changed, from_ms, to_ms))
    for spell in _alarmed(now, from_ms, to_ms):
        before_ms = _first_told_ms(now, spell)
        told_ms = [
            at_ms
            for one in after
            if _meet(spell, one)
            if (at_ms := _first_told_ms(changed, one)) is not None
        ]
        if before_ms is not None and told_ms:
            worst_ms = max(worst_ms, min(told_ms) - before_ms)
    return worst_ms / MS_PER_S


def what_if_text(
    shop: Shop, comparison: Comparison, notes: Sequence[str] = (), *, changed: Shop
) -> str:
    """Return a comparison for people.

    Args:
        shop: The shop as it is configured now.
        comparison: The comparison.
        notes: What else there is to know, a sentence each.
        changed: The shop under the changed configuration.
    """
    zone = ZoneInfo(shop.timezone)
    begins = wording.local_moment(comparison.from_ms, zone)
    ends = wording.local_moment(comparison.to_ms, zone)
    lines = [
        wording.printable(shop.name),
        f"What if: {begins} to {ends}, twice over",
        "",
        comparison.sentence,
        *(_missed_line(shop, item) for item in comparison.missed),
        "",
        f"{'':<44}{'now':>12}{'changed':>12}",
        *_rows(shop, changed, comparison),
        "",
        NOT_REPLAYED,
        *notes,
        "",
        *CAUTIONS,
    ]
    return "\n".join(lines) + "\n"


def _rows(shop: Shop, changed_shop: Shop, comparison: Comparison) -> Iterator[str]:
    now, changed = comparison.now, comparison.changed
    yield _row("Alarms", now.raised, changed.raised)
    yield _row("  that woke somebody", now.woke, changed.woke)
    nothing = AlarmFigures()
    for rule in Rule:
        before, after = now.alarms.get(rule, nothing), changed.alarms.get(rule, nothing)
        if before.raised or after.raised:
            name = RULES.get(rule, rule.value)
            yield _row(f"  {name}", before.raised, after.raised)
            if before.woke or after.woke:
                yield _row("    woke somebody", before.woke, after.woke)
    yield _row("Messages", now.messages, changed.messages)
    none = SpellFigures()
    for unit, rule in sorted(now.excursions.keys() | changed.excursions.keys()):
        first = now.excursions.get((unit, rule), none)
        second = changed.excursions.get((unit, rule), none)
        known = shop.unit.get(unit) or changed_shop.unit[unit]
        what = RULES.get(rule, rule.value)
        name = wording.clipped(wording.printable(known.name), 40 - len(what))
        yield _row(f"{name}: {what}", first.count, second.count)
        yield _row("  longest", _lasted(first.longest_s), _lasted(second.longest_s))
        yield _row("  above the line, in all", _lasted(first.above_s), _lasted(second.above_s))
    yield _row("Freezing holds completed", len(now.holds), len(changed.holds))
    for lot in sorted(set(now.holds) ^ set(changed.holds)):
        side = "now" if lot in now.holds else "changed"
        yield f"  {wording.printable(lot)}: only under the configuration {side!r}"


def _lasted(seconds: float) -> str:
    return wording.duration(seconds) if seconds > 0 else "–"


def _row(what: str, now: int | str, changed: int | str) -> str:
    return f"{what:<44}{now:>12}{changed:>12}"


def _missed_line(shop: Shop, item: Missed) -> str:
    zone, scale = ZoneInfo(shop.timezone), shop.display
    ends = "still on" if item.end_ms is None else wording.local_moment(item.end_ms, zone)
    return (
        f"  Missed: {item.name}, {wording.local_moment(item.start_ms, zone)} to {ends}, peak "
        f"{wording.temperature(item.peak_c, scale)} (published limit "
        f"{wording.temperature(item.published_c, scale)})."
    )


def what_if_document(comparison: Comparison, notes: Sequence[str] = ()) -> dict[str, Any]:
    """Return a comparison as a value for JSON."""
    return {
        "from_ms": comparison.from_ms,
        "to_ms": comparison.to_ms,
        "sentence": comparison.sentence,
        "same": comparison.is_same,
        "now": _plain(comparison.now),
        "changed": _plain(comparison.changed),
        "missed": [asdict(item) for item in comparison.missed],
        "later_s": comparison.later_s,
        "notes": [NOT_REPLAYED, *notes],
        "cautions": list(CAUTIONS),
    }


def _plain(outcome: Outcome) -> dict[str, Any]:
    return {
        "alarms": {rule.value: asdict(item) for rule, item in outcome.alarms.items()},
        "raised": outcome.raised,
        "woke": outcome.woke,
        "messages": outcome.messages,
        "excursions": [
            {"unit": unit, "rule": rule.value, **asdict(item)}
            for (unit, rule), item in sorted(outcome.excursions.items())
        ],
        "holds_completed": list(outcome.holds),
    }
