"""Rule ``power-loss``: several units warm from the same moment, and none comes back.

Compressors do not die together; what they share is the power. The air of each unit
tells when its cooling may have stopped: after it was last at its usual temperature and
before it was seen above its band. Where there is one instant at which that fits most
units, it is the power. A unit whose own door or defrost explains it does not count.

Pure: no clock, no I/O. It knows temperatures only: no meter, no mains contact.
The thresholds are common practice without a published source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rimewatch.rules.usual import TURNED_C, Departure
from rimewatch.vocabulary import MS_PER_MINUTE, UnitId

TOGETHER_MS: Final = 4 * MS_PER_MINUTE
"""How much the air of a unit may lag behind the moment, beyond what its own curve says."""

OUT_FOR_MS: Final = 8 * MS_PER_MINUTE
"""Two units at least must have been out of their band for this long; a door is shut and
the air falling again by then."""

BACK_BY_ITSELF_MS: Final = 30 * MS_PER_MINUTE
"""A unit that was out of its band for a reason of its own is back within this time."""

PATIENT_FOR_MS: Final = 45 * MS_PER_MINUTE
ALL_UNITS: Final = 3
"""Two of a shop's units defrost together by chance on many a day, three of three seldom. Units
that are not all of them, or are fewer than so many, are looked at for so long before anybody is
told; sooner where the alarm of one of them would be raised."""

FEWEST_UNITS: Final = 2
SHARE: Final = 0.5
"""At least this share of the units that are measured must have warmed."""

BACK_SHARE: Final = 0.5
"""Power is back when at least this share of the units without it are cooling again."""

TURNS_WITHIN_MS: Final = 15 * MS_PER_MINUTE
"""Where its neighbours have power again, a sound unit's air has turned within this time."""
RELAPSED_C: Final = 1.0
RELAPSED_SHARE: Final = 0.25
"""Air that has risen again by this much, and by this share of what it had fallen, is not
coming back any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Warming:
    """A unit that is out of its usual band, and whether its own doings explain that."""

    unit: UnitId
    departure: Departure
    explained: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """A moment that fits several units."""

    since_ms: int
    units: tuple[UnitId, ...]
    """In the order given."""


def find(
    warming: Sequence[Warming], measured: int, at_ms: int, *, out_for_ms: int = OUT_FOR_MS
) -> Outage | None:
    """Return the power loss that units out of their bands tell of, if they do.

    Args:
        warming: The units out of their usual bands, in the order of the configuration.
        measured: How many units have air that is being measured, these included.
        at_ms: The present instant.
        out_for_ms: How long two of them must have been out.
    """
    candidates = [one for one in warming if not one.explained]
    needed = max(FEWEST_UNITS, SHARE * measured)
    if len(candidates) < needed:
        return None
    best: list[Warming] = []
    # The latest start of an interval is an instant that all the intervals around it share.
    for instant_ms in sorted({one.departure.begun_ms for one in candidates}):
        around = [one for one in candidates if _may_begin(one.departure, instant_ms)]
        if len(around) > len(best):
            best = around
    # One reading alone is out for no time, however long nothing came after it.
    lasting = [
        one
        for one in best
        if at_ms - one.departure.rising_since_ms >= out_for_ms
        and one.departure.last_ms > one.departure.rising_since_ms
    ]
    if len(best) < needed or len(lasting) < FEWEST_UNITS:
        return None
    if any(one.departure.recovering for one in best):
        return None
    return Outage(since_ms=_moment_ms(best), units=tuple(one.unit for one in best))


def may_tell(outage: Outage, warming: Sequence[Warming], measured: int, at_ms: int) -> bool:
    """Whether a power loss that was found is no chance any more, and is to be told.

    Args:
        outage: What was found.
        warming: The units out of their usual bands.
        measured: How many units have air that is being measured.
        at_ms: The present instant.
    """
    if len(outage.units) >= max(ALL_UNITS, measured):
        return True
    left_ms = sorted(one.departure.left_ms for one in warming if one.unit in outage.units)
    return at_ms - left_ms[FEWEST_UNITS - 1] >= PATIENT_FOR_MS


def joins(outage: Outage, one: Warming) -> bool:
    """Whether a unit that left its band, maybe much later, fits a known power loss."""
    departure = one.departure
    if departure.recovering:
        return False
    if _may_begin(departure, outage.since_ms):
        return not one.explained
    # It was out already, in a defrost perhaps, when power went; it would be back by now.
    was_out = departure.left_ms <= outage.since_ms
    return was_out and departure.peak_ms - outage.since_ms >= BACK_BY_ITSELF_MS


def is_back(outage: Outage, departures: Sequence[Departure | None]) -> bool:
    """Whether power is back, by the outage's units; None for one within its band again."""
    cooling = sum(1 for one in departures if one is None or one.recovering)
    return cooling >= BACK_SHARE * len(outage.units)


def is_coming_back(
    departure: Departure | None, lowest_c: float, at_ms: int, back_ms: int, every_ms: float
) -> bool:
    """Whether a unit is on its way back once power is: whether nobody need hear of it yet.

    Args:
        departure: How its air is out of its band; None: it is within.
        lowest_c: The lowest that its air has been since its peak.
        at_ms: The present instant.
        back_ms: When its neighbours were found to be on their way back.
        every_ms: How often its air is read.
    """
    if departure is None:
        return True
    fallen_c = departure.peak_c - lowest_c
    if departure.last_c - lowest_c >= max(RELAPSED_C, RELAPSED_SHARE * fallen_c):
        return False
    if fallen_c >= TURNED_C:
        return True
    climbs = departure.last_ms - departure.peak_ms <= 1.5 * every_ms
    return not climbs and at_ms - back_ms < TURNS_WITHIN_MS


def _may_begin(departure: Departure, instant_ms: int) -> bool:
    """Whether the rise that is under way may have begun at an instant.

    One that was on its way back from a door rises anew for another reason.
    """
    earliest_ms = departure.begun_ms - TOGETHER_MS
    return earliest_ms <= instant_ms <= departure.rising_since_ms + TOGETHER_MS


def _moment_ms(together: Sequence[Warming]) -> int:
    """Return the latest instant by which cooling may have stopped, no later than seen."""
    latest_calm_ms = max(one.departure.begun_ms for one in together)
    first_left_ms = min(one.departure.rising_since_ms for one in together)
    return min(latest_calm_ms, first_left_ms)
