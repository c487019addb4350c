"""A probe's readings hour by hour: each hour's range, and where nothing was measured. Pure.

Of a year there are half a million readings but 8,760 hours. Each hour keeps its lowest and
its highest value exactly, so that no peak is lost however long the time that is drawn; and
the governing temperature is kept likewise, carried over every reading. What an hour says
never differs from what its readings say: the store answers from what it rolled up, or else
from the readings themselves.
"""

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.governing import governing_readings
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.science import lag_run
from rimewatch.science.lag_run import Lagging
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

NEAR_MS: Final = 2 * MS_PER_DAY
"""A lag that was kept this shortly before a period is carried on into it; otherwise it is run
up anew (our choice: two days of readings cost next to nothing)."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HourRanges:
    """The range of each hour that has a reading, in order; hours are counted from the epoch."""

    hours: NDArray[np.int64]  # (n_hours,), strictly increasing
    lowest: NDArray[np.float64]  # (n_hours,)
    highest: NDArray[np.float64]  # (n_hours,)

    def __len__(self) -> int:
        """Return the number of hours."""
        return len(self.hours)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeasuredHours(HourRanges):
    """Hours of readings as they were measured."""

    readings: NDArray[np.int64]  # (n_hours,)
    first_ms: NDArray[np.int64]  # (n_hours,); of a thinned hour its beginning
    last_ms: NDArray[np.int64]  # (n_hours,); of a thinned hour its last millisecond
    gaps: tuple[tuple[float, float], ...]
    """From a reading to the next, where that took longer than asked for; ms, in order."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class GoverningHours(HourRanges):
    """Hours of the governing temperature, as far as they were rolled up."""

    end: Lagging | None
    """The lag at the last reading that is in them, or that comes before; None: none is kept."""


class HourStore(ReadingStore, Protocol):
    """Gives back readings by the hour as well."""

    def hours(self, probe: ProbeId, from_ms: int, to_ms: int, gaps_over_ms: float) -> MeasuredHours:
        """Return the hours that touch ``from_ms … to_ms``, readings at the edges whole.

        Args:
            probe: The probe; one never heard of has no hours.
            from_ms: The hour that holds this instant is the first.
            to_ms: Readings up to here count, inclusive.
            gaps_over_ms: Intervals between readings longer than this are told as gaps.
        """
        ...

    def governing_hours(
        self, probe: ProbeId, lag_s: float, stale_ms: float, from_ms: int, to_ms: int
    ) -> GoverningHours:
        """Return what was rolled up of a governing temperature, under just these settings.

        Whole UTC days from that of ``from_ms`` on, the last of which ended by ``to_ms``.
        """
        ...

    def changes(self, probe: ProbeId, from_ms: int, to_ms: int) -> Span:
        """Return, of a contact's readings, at least those that differ from the one before."""
        ...


def hour_ranges(times_ms: NDArray[np.int64], values: NDArray[np.float64]) -> HourRanges:
    """Return the range of each hour that has a reading.

    >>> found = hour_ranges(np.array([5, 3_600_000, 3_600_001]), np.array([1.0, 9.0, 2.0]))
    >>> found.hours.tolist(), found.lowest.tolist(), found.highest.tolist()
    ([0, 1], [1.0, 2.0], [1.0, 9.0])
    """
    hours = times_ms // MS_PER_H
    starts = hour_starts(hours)
    if not len(starts):
        return HourRanges(hours=hours, lowest=values, highest=values)
    return HourRanges(
        hours=hours[starts],
        lowest=np.minimum.reduceat(values, starts),
        highest=np.maximum.reduceat(values, starts),
    )


def hour_starts(hours: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return where in increasing hours a further one begins."""
    return np.flatnonzero(np.diff(hours, prepend=hours[:1] - 1))


def felt_hours(shop: Shop, store: HourStore, probe: Probe, from_ms: int, to_ms: int) -> HourRanges:
    """Return the governing temperature's range in each hour, air seen through its lag.

    Where an hour was thinned out, it is known for as long as the lag stays configured as it
    was then; else its fish is left out, and the measured range alone remains.

    Args:
        shop: The shop.
        store: Where the readings are.
        probe: A governing probe.
        from_ms: The hour that holds this instant is the first.
        to_ms: Readings up to here count, inclusive.
    """
    from_ms -= from_ms % MS_PER_H
    settings = settings_for(shop.unit[probe.unit], probe)
    if settings.lag_s == 0.0:
        return store.hours(probe.id, from_ms, to_ms, float("inf"))
    kept = store.governing_hours(probe.id, settings.lag_s, settings.stale_ms, from_ms, to_ms)
    end = kept.end
    if end is not None and end.last_ms >= from_ms - NEAR_MS:
        span = store.span(probe.id, end.last_ms + 1, to_ms)
        curve = span.values
        if len(span):
            curve = lag_run.run(
                end, settings.lag_s, settings.stale_ms, span.times_ms, span.values
            ).governing_c
    else:
        span = governing_readings(shop, store, probe, from_ms, to_ms)
        curve = span.values
    inside = (span.times_ms >= from_ms) & (span.times_ms <= to_ms)
    return _joined(kept, hour_ranges(span.times_ms[inside], curve[inside]), from_ms // MS_PER_H)


def _joined(kept: HourRanges, further: HourRanges, first_hour: int) -> HourRanges:
    wanted = kept.hours >= first_hour
    return HourRanges(
        hours=np.concatenate((kept.hours[wanted], further.hours)),
        lowest=np.concatenate((kept.lowest[wanted], further.lowest)),
        highest=np.concatenate((kept.highest[wanted], further.highest)),
    )
