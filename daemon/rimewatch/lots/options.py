"""What a shop's freezers can do for a lot: which freezing options, where, and by when.

Judged by what the units did in the last days, guard band included, and by the same
breaks that a hold is judged by. A prospect is no proof: warm fish warms the freezer it
is put into, and only the readings to come will tell.

Pure: no clock, no I/O. Instants are milliseconds UTC.

References:
    [1] FDA Food Code 2022, 3-402.11(A)(1)-(3).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rimewatch.lots.hold import (
    COLD_20_C,
    COLD_35_C,
    FROZEN_UNTIL_SOLID,
    REQUIRED_H,
    ColdRecord,
)
from rimewatch.vocabulary import MS_PER_H, Option, UnitId

STEADY_H: Final = 72.0
"""A unit that was cold enough for three days without a break is taken as steadily so
(common practice, no source)."""


class Outlook(StrEnum):
    """What a unit's last days say about an option."""

    STEADY = "steady"
    """Cold enough, without a break, for three days or for as long as the option takes."""
    BROKEN = "broken"
    """Cold enough now, and not for long enough without a break."""
    TOO_WARM = "too-warm"
    """Not cold enough now, or nobody measures it."""
    TOO_THICK = "too-thick"
    """Cold enough, and yet no time can be named after which this fish is cold inside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCold:
    """What a freezer did lately."""

    unit: UnitId
    records: Mapping[float, ColdRecord]
    """Its cold records at −20 and −35 °C, guard band included."""
    warmest_c: float | None
    """The warmest governing temperature of the last days plus the probe's uncertainty: what it
    steadily reached. None: no readings."""
    centre_after_ms: Mapping[float, float | None]
    """How long the lot's centre takes to −20 and −35 °C in it; None: it cannot be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prospect:
    """An option in a unit, begun now."""

    option: Option
    unit: UnitId
    outlook: Outlook
    unbroken_h: float
    """How long the unit has been cold enough without a break until now."""
    lead_h: float | None
    """Hours until the count begins; None: it cannot be told."""
    complete_ms: float | None
    """When it would be complete if the cold holds; None: it cannot be told."""
    warmest_c: float | None

    @property
    def is_possible(self) -> bool:
        """Whether there is reason to expect it to succeed."""
        return self.outlook is Outlook.STEADY


def prospects(
    units: Sequence[UnitCold],
    now_ms: float,
    *,
    options: Sequence[Option] = tuple(Option),
    thickness_known: bool = True,
) -> tuple[Prospect, ...]:
    """Return what each unit can do by each option, the earliest completion first.

    Args:
        units: The freezers.
        now_ms: When the hold would begin.
        options: Those asked for.
        thickness_known: Whether somebody measured the fish; ``20C-24h`` waits for all parts
            of it only then, as the hold itself does.
    """
    found = [
        _prospect(unit, option, now_ms, thickness_known=thickness_known)
        for option in options
        for unit in units
    ]
    late = float("inf")
    return tuple(
        sorted(
            found,
            key=lambda p: (not p.is_possible, late if p.complete_ms is None else p.complete_ms),
        )
    )


def _prospect(unit: UnitCold, option: Option, now_ms: float, *, thickness_known: bool) -> Prospect:
    begins_c = COLD_35_C if option in FROZEN_UNTIL_SOLID else COLD_20_C
    unbroken_h = unbroken_until_now_h(unit.records[begins_c], now_ms)
    lead_ms: float | None = 0.0
    if option in FROZEN_UNTIL_SOLID:
        lead_ms = unit.centre_after_ms[COLD_35_C]
    elif option is Option.F20C_24H and thickness_known:
        lead_ms = unit.centre_after_ms[COLD_20_C]
    if unbroken_h <= 0.0:
        outlook = Outlook.TOO_WARM
    elif lead_ms is None:
        outlook = Outlook.TOO_THICK
    else:
        takes_h = lead_ms / MS_PER_H + REQUIRED_H[option]
        enough = unbroken_h >= min(STEADY_H, takes_h)
        outlook = Outlook.STEADY if enough else Outlook.BROKEN
    can_be_told = lead_ms is not None and outlook is not Outlook.TOO_WARM
    return Prospect(
        option=option,
        unit=unit.unit,
        outlook=outlook,
        unbroken_h=unbroken_h,
        lead_h=None if lead_ms is None else lead_ms / MS_PER_H,
        complete_ms=now_ms + lead_ms + REQUIRED_H[option] * MS_PER_H
        if can_be_told and lead_ms is not None
        else None,
        warmest_c=unit.warmest_c,
    )


def unbroken_until_now_h(record: ColdRecord, now_ms: float) -> float:
    """Return for how many hours a unit has been cold without a break; 0: it is not now."""
    if not record.breaks:
        return 0.0  # a record without a beginning proves nothing
    last = record.breaks[-1]
    if last.end_ms is None:
        return 0.0
    return max(0.0, min(record.known_until_ms, now_ms) - last.end_ms) / MS_PER_H
