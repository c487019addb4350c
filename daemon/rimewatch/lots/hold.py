"""The freezing hold: was this fish cold enough, for long enough, without a break.

Works on *breaks*: the times at which a unit's cold was not proven, because it was
warm or because nobody was looking. Whatever is not a break is proven cold. A lot's
breaks are those of the units it stood in, while it stood there.

Pure: no clock, no I/O. Instants are milliseconds UTC; hours are elapsed hours.

References:
    [1] FDA Food Code 2022, 3-402.11(A)(1)-(3).
    [2] Regulation (EC) 853/2004, Annex III, Section VIII, Chapter III, D(2), as
        replaced by Regulation (EU) 1276/2011.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from rimewatch.rules.provisions_elsewhere import (
    EU_FREEZE_20C_C,
    EU_FREEZE_20C_H,
    MAXIMUM_CRYSTALLISATION_C,
)
from rimewatch.rules.provisions_food_code import (
    FREEZE_SOLID_C,
    FREEZE_SOLID_H,
    FREEZE_SOLID_THEN_STORAGE_C,
    FREEZE_SOLID_THEN_STORAGE_H,
    FREEZE_STORAGE_C,
    FREEZE_STORAGE_H,
)
from rimewatch.rules.watch import BreakReason
from rimewatch.vocabulary import MS_PER_H, Option, UnitId

COLD_20_C: Final = FREEZE_STORAGE_C
COLD_35_C: Final = FREEZE_SOLID_C
"""The two temperatures at which a freezer's cold is recorded."""

REQUIRED_H: Final[dict[Option, float]] = {
    Option.F20C_168H: FREEZE_STORAGE_H,
    Option.F35C_15H: FREEZE_SOLID_H,
    Option.F35C_THEN_20C_24H: FREEZE_SOLID_THEN_STORAGE_H,
    Option.F20C_24H: EU_FREEZE_20C_H,
}

STORED_AT_C: Final[dict[Option, float]] = {
    Option.F20C_168H: FREEZE_STORAGE_C,
    Option.F35C_15H: FREEZE_SOLID_C,
    Option.F35C_THEN_20C_24H: FREEZE_SOLID_THEN_STORAGE_C,
    Option.F20C_24H: EU_FREEZE_20C_C,
}
"""The line a hold must not warm past while it is counted."""

FROZEN_UNTIL_SOLID: Final = frozenset({Option.F35C_15H, Option.F35C_THEN_20C_24H})
"""The options whose count starts only when the fish is solid at −35 °C [1]."""

THAWING_ABOVE_C: Final = MAXIMUM_CRYSTALLISATION_C
"""A break warmer than this loses "solid" as well: food thaws from there on, and about 70 % of a
fish's water is frozen there (FAO Fisheries Technical Paper 340, chapter 19). Our reading, on the
careful side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """A time in which the cold was not proven. ``end_ms`` None: it lasts."""

    start_ms: float
    end_ms: float | None
    peak_c: float | None
    reason: BreakReason
    lost_h: float = field(default=0.0, compare=False)
    """For the interruption of a hold: the hours that stood on its count, and are lost."""
    seen_warm: bool = field(default=False, compare=False)
    """Whether it was seen too warm within it, though it may have begun with silence."""
    was_silent: bool = field(default=False, compare=False)
    """Whether nobody was looking for some of it, though it may have begun with warmth."""

    @property
    def is_warm(self) -> bool:
        """Whether it was seen too warm; else nobody was looking, and the peak is of before."""
        return self.seen_warm or self.reason is BreakReason.WARM

    @property
    def has_silence(self) -> bool:
        """Whether nobody was looking for some or all of it."""
        return self.was_silent or self.reason is BreakReason.GAP


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdRecord:
    """What is known of a unit's cold at one level: the breaks, and up to when it is known."""

    breaks: tuple[Break, ...]
    known_until_ms: float


NOTHING_PROVEN: Final = ColdRecord(
    breaks=(Break(start_ms=float("-inf"), end_ms=None, peak_c=None, reason=BreakReason.GAP),),
    known_until_ms=float("-inf"),
)
"""The cold record of a unit that nobody measures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """A lot stood in a unit. ``to_ms`` None: it still does."""

    unit: UnitId
    from_ms: float
    to_ms: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """How far a lot's hold has come."""

    option: Option
    required_h: float
    credited_h: float
    started_ms: float | None
    """The latest zero of the count; None: the cold has not begun."""
    completed_ms: float | None
    interruptions: tuple[Break, ...]

    @property
    def expected_ms(self) -> float | None:
        """When it will be complete if the cold lasts; None while the cold has not begun."""
        if self.started_ms is None:
            return None
        return self.started_ms + self.required_h * MS_PER_H

    @property
    def at_stake_h(self) -> float:
        """The hours that are gone with the interruption that lasts, or would be with one now."""
        last = self.interruptions[-1] if self.interruptions else None
        if self.completed_ms is None and last is not None and last.end_ms is None:
            return last.lost_h
        return self.credited_h


ColdAt = Callable[[UnitId, float], ColdRecord]
"""Gives a unit's cold record at an option's temperature (−20 or −35 °C)."""

SolidAfter = Callable[[UnitId, float], float | None]
"""How many milliseconds of unbroken −35 °C in a unit, from an instant on, make the fish solid
to its centre; 0 where a product probe shows the centre itself; None: it never does."""


def merge_records(records: Sequence[ColdRecord]) -> ColdRecord:
    """Return the cold that all of a unit's probes agree on: any probe's break is a break.

    Raises:
        ValueError: If there is no record.
    """
    if not records:
        raise ValueError("records is empty: a unit without a probe proves nothing")
    ordered = sorted((b for r in records for b in r.breaks), key=lambda b: b.start_ms)
    merged: list[Break] = []
    for item in ordered:
        last = merged[-1] if merged else None
        if last is None or (last.end_ms is not None and item.start_ms > last.end_ms):
            merged.append(item)
            continue
        ends = (last.end_ms, item.end_ms)
        peaks = [peak for peak in (last.peak_c, item.peak_c) if peak is not None]
        merged[-1] = Break(
            start_ms=last.start_ms,
            end_ms=None if None in ends else max(end for end in ends if end is not None),
            peak_c=max(peaks) if peaks else None,
            reason=BreakReason.WARM
            if BreakReason.WARM in (last.reason, item.reason)
            else BreakReason.GAP,
            seen_warm=last.is_warm or item.is_warm,
            was_silent=last.has_silence or item.has_silence,
        )
    return ColdRecord(
        breaks=tuple(merged), known_until_ms=min(record.known_until_ms for record in records)
    )


def evaluate_hold(
    option: Option,
    placements: Sequence[Placement],
    cold_at: ColdAt,
    solid_after: SolidAfter,
    cold_through_after: SolidAfter | None = None,
    *,
    silence_thaws: bool = False,
) -> Hold:
    """Return how far a hold has come.

    Args:
        option: The freezing option chosen for the lot.
        placements: Where it stood from the start of freezing on, in order, without overlap.
        cold_at: The units' cold records.
        solid_after: How long −35 °C must last until the fish is solid.
        cold_through_after: How long −20 °C must last until all parts of the fish are that
            cold, which ``20C-24h`` asks for [2]; the Food Code's options name the
            temperature of the freezer [1]. None: the governing temperature is the fish's.
        silence_thaws: Whether fish that was solid counts as solid no more after a silence, as
            long as nobody saw it frozen solid anew.
    """
    stored = _along(placements, STORED_AT_C[option], cold_at)
    if option is Option.F20C_24H and cold_through_after is not None:
        return _count(option, stored, placements[0].from_ms, _lead(placements, cold_through_after))
    if option not in FROZEN_UNTIL_SOLID:
        return _count(option, stored, placements[0].from_ms)
    frozen = _along(placements, COLD_35_C, cold_at)
    if option is Option.F35C_15H:
        return _count(option, frozen, placements[0].from_ms, _lead(placements, solid_after))
    return _count_after_solid(
        option, frozen, stored, placements, solid_after, silence_thaws=silence_thaws
    )


def _along(placements: Sequence[Placement], level_c: float, cold_at: ColdAt) -> ColdRecord:
    """Return the cold record of a lot on its way through the units."""
    breaks: list[Break] = []
    known_until_ms = placements[0].from_ms
    for place in placements:
        record = cold_at(place.unit, level_c)
        for item in record.breaks:
            starts = max(item.start_ms, place.from_ms)
            ends = item.end_ms
            if place.to_ms is not None:
                ends = place.to_ms if ends is None else min(ends, place.to_ms)
            if ends is not None and ends <= starts:
                continue  # over before the lot came, or begun after it left
            breaks.append(replace(item, start_ms=starts, end_ms=ends))
        if place is not placements[0] and record.known_until_ms < place.from_ms:
            continue  # the lot has only just come: what was known where it stood still holds
        known_until_ms = record.known_until_ms
        if place.to_ms is not None:
            known_until_ms = min(known_until_ms, place.to_ms)
    return merge_records([ColdRecord(breaks=tuple(breaks), known_until_ms=known_until_ms)])


def _lead(placements: Sequence[Placement], solid_after: SolidAfter) -> Callable[[float], float]:
    """Return how long the fish takes to be solid when −35 °C begins at an instant."""

    def lead_ms(begins_ms: float) -> float:
        place = placements[0]
        for candidate in placements:
            if candidate.from_ms <= begins_ms:
                place = candidate
        found = solid_after(place.unit, begins_ms)
        return float("inf") if found is None else found

    return lead_ms


def _no_lead(_begins_ms: float) -> float:
    return 0.0


def _count(
    option: Option,
    record: ColdRecord,
    from_ms: float,
    lead_ms: Callable[[float], float] = _no_lead,
) -> Hold:
    """Count unbroken cold from an instant on; each break starts the count again from zero."""
    required_ms = REQUIRED_H[option] * MS_PER_H
    interruptions: list[Break] = []
    cold_since_ms: float | None = from_ms
    has_begun = False
    for item in record.breaks:
        if item.end_ms is not None and item.end_ms <= from_ms:
            continue
        lost_ms = 0.0
        if cold_since_ms is not None and item.start_ms > cold_since_ms:
            zero_ms = cold_since_ms + lead_ms(cold_since_ms)
            if zero_ms + required_ms <= item.start_ms:
                done_ms = zero_ms + required_ms
                return _hold(option, zero_ms, done_ms, interruptions, required_ms)
            lost_ms = max(0.0, item.start_ms - zero_ms)
            has_begun = True
        if has_begun:
            interruptions.append(replace(item, lost_h=lost_ms / MS_PER_H))
        cold_since_ms = item.end_ms
    if cold_since_ms is None:
        return _hold(option, None, None, interruptions, 0.0)
    zero_ms = cold_since_ms + lead_ms(cold_since_ms)
    if zero_ms > record.known_until_ms:
        return _hold(option, None, None, interruptions, 0.0)
    done_ms = zero_ms + required_ms
    if done_ms <= record.known_until_ms:
        return _hold(option, zero_ms, done_ms, interruptions, required_ms)
    return _hold(option, zero_ms, None, interruptions, record.known_until_ms - zero_ms)


def _count_after_solid(
    option: Option,
    frozen: ColdRecord,
    stored: ColdRecord,
    placements: Sequence[Placement],
    solid_after: SolidAfter,
    *,
    silence_thaws: bool,
) -> Hold:
    """Count the 24 h at −20 °C from the instant at which the fish is solid at −35 °C."""
    from_ms = placements[0].from_ms
    lead_ms = _lead(placements, solid_after)
    interruptions: list[Break] = []
    hold = _hold(option, None, None, (), 0.0)
    while True:
        solid_ms = _solid_at(frozen, from_ms, lead_ms)
        if solid_ms is None:
            return _hold(option, None, None, interruptions, 0.0)
        hold = _count(option, stored, solid_ms)
        thaw = next(
            (
                item
                for item in hold.interruptions
                if (item.peak_c is not None and item.peak_c > THAWING_ABOVE_C)
                or (silence_thaws and item.has_silence)
            ),
            None,
        )
        if thaw is None:
            kept = (*interruptions, *hold.interruptions)
            return _hold(
                option, hold.started_ms, hold.completed_ms, kept, hold.credited_h * MS_PER_H
            )
        interruptions.extend(i for i in hold.interruptions if i.start_ms <= thaw.start_ms)
        if thaw.end_ms is None:
            return _hold(option, None, None, interruptions, 0.0)
        from_ms = thaw.end_ms


def _solid_at(
    frozen: ColdRecord, from_ms: float, lead_ms: Callable[[float], float]
) -> float | None:
    """Return the first instant from ``from_ms`` on at which the fish is solid, if known."""
    cold_since_ms: float | None = from_ms
    for item in frozen.breaks:
        if item.end_ms is not None and item.end_ms <= from_ms:
            continue
        if cold_since_ms is not None and item.start_ms > cold_since_ms:
            solid_ms = cold_since_ms + lead_ms(cold_since_ms)
            if solid_ms <= item.start_ms:
                return solid_ms
        cold_since_ms = item.end_ms
    if cold_since_ms is None:
        return None
    solid_ms = cold_since_ms + lead_ms(cold_since_ms)
    return solid_ms if solid_ms <= frozen.known_until_ms else None


def _hold(
    option: Option,
    started_ms: float | None,
    completed_ms: float | None,
    interruptions: Sequence[Break],
    credited_ms: float,
) -> Hold:
    return Hold(
        option=option,
        required_h=REQUIRED_H[option],
        credited_h=credited_ms / MS_PER_H,
        started_ms=started_ms,
        completed_ms=completed_ms,
        interruptions=tuple(interruptions),
    )
