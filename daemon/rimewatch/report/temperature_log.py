"""A unit's temperature log: what the probe showed every four hours, and each day's range. Pure.

A log that people keep by hand has a few readings a day; an inspector reads this one the same
way. Between two readings no further apart than the stale time the temperature is linear; in a
gap there is none, and the log says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.mornings import instant_ms
from rimewatch.evaluation.store import Span
from rimewatch.science.statistics import gaps_ms
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_S

LOG_HOURS: Final = (0, 4, 8, 12, 16, 20)
"""Local hours of the log: every four hours (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogDay:
    """One local day of a unit."""

    day: date
    at_c: tuple[float | None, ...]
    """At each of :data:`LOG_HOURS`; None: nothing was measured then."""
    min_c: float | None
    max_c: float | None
    unmonitored_s: float
    ranges_only: bool = False
    """Whether only the range of each hour is left of its readings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitLog:
    """A unit's log, of the probe whose statistics the ledger shows."""

    unit: Unit
    probe: Probe | None
    """None: nothing measures it."""
    days: tuple[LogDay, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """The lowest and highest of some time whose readings were thinned out."""

    from_ms: int
    low_c: float
    high_c: float


def days_of(first: date, last: date) -> list[date]:
    """Return the calendar days from the first to the last, both included."""
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def unit_log(
    unit: Unit,
    probe: Probe | None,
    span: Span,
    days: Sequence[date],
    *,
    timezone: str,
    to_ms: int,
    ranges: Sequence[Range] = (),
) -> UnitLog:
    """Return a unit's log.

    Args:
        unit: The unit.
        probe: Its probe; None: the log is empty.
        span: The probe's readings, with a stale time on either side of the days.
        days: Local days, in order, without a gap.
        timezone: Whose midnights and hours divide them.
        to_ms: Until when; what lies after it is not unmonitored, but yet to come.
        ranges: What is left of readings that were thinned out.
    """
    if probe is None:
        return UnitLog(unit=unit, probe=None, days=())
    silence_ms = stale_ms(probe)
    edges = np.array(
        [instant_ms(day, time(0), timezone) for day in [*days, days[-1] + timedelta(days=1)]],
        dtype=np.int64,
    )
    hours = [instant_ms(day, time(hour), timezone) for day in days for hour in LOG_HOURS]
    values = _at(span, np.array(hours, dtype=np.int64), silence_ms, to_ms)
    places = np.searchsorted(span.times_ms, np.minimum(edges, to_ms + 1))
    found = []
    for number, (day, (start, end)) in enumerate(zip(days, pairwise(edges.tolist()), strict=True)):
        if start > to_ms:
            break
        inside = span.values[places[number] : places[number + 1]]
        left = [item for item in ranges if start <= item.from_ms < end]
        low = [float(inside.min())] if inside.size else []
        high = [float(inside.max())] if inside.size else []
        near = slice(max(0, int(places[number]) - 1), int(places[number + 1]) + 1)
        gaps = gaps_ms(
            span.times_ms[near], stale_ms=silence_ms, from_ms=start, to_ms=min(end, to_ms)
        )
        found.append(
            LogDay(
                day=day,
                at_c=values[number * len(LOG_HOURS) : (number + 1) * len(LOG_HOURS)],
                min_c=min(low + [item.low_c for item in left], default=None),
                max_c=max(high + [item.high_c for item in left], default=None),
                unmonitored_s=0.0
                if left
                else sum(until - since for since, until in gaps) / MS_PER_S,
                ranges_only=bool(left),
            )
        )
    return UnitLog(unit=unit, probe=probe, days=tuple(found))


def _at(
    span: Span, instants: NDArray[np.int64], silence_ms: float, to_ms: int
) -> tuple[float | None, ...]:
    """Return the temperature at some instants, interpolated; None in a gap."""
    if not len(span):
        return (None,) * len(instants)
    after = np.searchsorted(span.times_ms, instants, side="left")
    before = np.maximum(np.searchsorted(span.times_ms, instants, side="right") - 1, 0)
    after = np.minimum(after, len(span) - 1)
    near = span.times_ms[after] - span.times_ms[before] <= silence_ms
    between = (span.times_ms[before] <= instants) & (instants <= span.times_ms[after])
    values = np.interp(instants, span.times_ms, span.values)
    known = near & between & (instants <= to_ms)
    return tuple(
        float(value) if is_known else None
        for value, is_known in zip(values.tolist(), known.tolist(), strict=True)
    )
