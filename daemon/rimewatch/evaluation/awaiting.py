"""Which excursions a corrective action is about, and which are still without one. Pure.

A person notes what was done for a unit, not for an excursion by its number. A note is about
the latest excursion that had begun by then, and about all that began in the day before it:
one visit to a case that warmed twice in a night is written down once.

References:
    [1] 21 CFR 123.8(a)(3)(ii): corrective action records are reviewed within one week
        (from memory).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rimewatch.entries import AnyEntry, CorrectiveAction
from rimewatch.evaluation.cancellations import standing
from rimewatch.evaluation.channels import ChannelHistory, limit_rule
from rimewatch.evaluation.service_times import out_of_service_times
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

SAME_VISIT_MS: Final = MS_PER_DAY
"""Excursions that began so long before a note are meant by it (our choice)."""

ASKED_FOR_MS: Final = 7 * MS_PER_DAY
"""So long it is asked for what was done; after that the record shows it as open. By [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Awaiting:
    """An excursion beyond a critical limit about which nobody has noted what was done."""

    probe: ProbeId
    start_ms: float
    end_ms: float | None
    peak_c: float


def meant_by(at_ms: float, starts_ms: Sequence[float]) -> set[int]:
    """Return the places of the excursions that a note made at an instant is about.

    Args:
        at_ms: When the note was made.
        starts_ms: When each of the unit's excursions began, in any order.

    >>> meant_by(100_000_000, [0, 90_000_000, 99_000_000, 200_000_000])
    {1, 2}
    >>> meant_by(1_000_000_000, [0, 90_000_000])
    {1}
    """
    begun = [place for place, start in enumerate(starts_ms) if start <= at_ms]
    if not begun:
        return set()
    latest_ms = max(starts_ms[place] for place in begun)
    return {
        place
        for place in begun
        if starts_ms[place] == latest_ms or at_ms - starts_ms[place] <= SAME_VISIT_MS
    }


def awaiting_action(
    unit: Unit, histories: Sequence[ChannelHistory], entries: Iterable[AnyEntry], from_ms: int
) -> list[Awaiting]:
    """Return a unit's excursions that ended in the week before an instant and wait for a note.

    Args:
        unit: The unit.
        histories: Its governing probes' channels.
        entries: What people entered up to the present.
        from_ms: The start of a period; what touches the period is told with it.
    """
    known = standing(list(entries))
    spells = [
        Awaiting(
            probe=history.probe.id,
            start_ms=spell.start_ms,
            end_ms=spell.end_ms,
            peak_c=spell.peak_c,
        )
        for history in histories
        for spell in history.spells(limit_rule(unit).value)
    ]
    starts_ms = [spell.start_ms for spell in spells]
    noted: set[int] = set()
    for entry in known:
        if isinstance(entry, CorrectiveAction) and entry.unit == unit.id:
            noted |= meant_by(entry.at_ms, starts_ms)
    out = out_of_service_times(known, unit.id, 0, from_ms)
    return [
        spell
        for place, spell in enumerate(spells)
        if place not in noted
        and spell.end_ms is not None
        and from_ms - ASKED_FOR_MS <= spell.end_ms < from_ms
        and not any(
            start <= spell.start_ms and (end is None or end >= spell.start_ms) for start, end in out
        )
    ]


def histories_of(
    shop: Shop, unit: Unit, histories: Mapping[ProbeId, ChannelHistory]
) -> list[ChannelHistory]:
    """Return the channels of a unit's governing probes, those that are over as well."""
    return [histories[seat.key] for seat in shop.seats_in(unit.id) if seat.key in histories]
