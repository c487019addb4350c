"""A unit's temperature over six hours or a year, in as many steps as a screen can show. Pure.

Each step keeps its lowest and its highest value: however long the time, no peak is smoothed
away. Temperatures °C, times in milliseconds UTC.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.channels import settings_for, stale_ms
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.governing import governing_readings
from rimewatch.evaluation.hourly import HourRanges, HourStore, MeasuredHours, felt_hours
from rimewatch.evaluation.over_time import there_from_ms
from rimewatch.evaluation.store import Span
from rimewatch.evaluation.unit_air import air_probe
from rimewatch.evaluation.unit_now import Bucket
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, Measures, ProbeId

STEPS: Final = 360
BY_HOURS_FROM_MS: Final = 15 * MS_PER_DAY
"""So long a time is drawn from hours: at 360 steps, each is one hour or more."""

LEAST_MS: Final = MS_PER_DAY
"""Of all that is kept, at least so much time is shown."""

SPANS: Final[dict[str, tuple[str, int | None]]] = {
    "6h": ("6 hours", 6 * MS_PER_H),
    "day": ("day", MS_PER_DAY),
    "week": ("week", 7 * MS_PER_DAY),
    "month": ("month", 30 * MS_PER_DAY),
    "year": ("year", 365 * MS_PER_DAY),
    "all": ("all", None),
}
"""What may be looked at: by its name in an address, its word and its length in ms; None: from
the first reading on."""

TimeSpan = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What a chart draws, and the tables beside it tell."""

    from_ms: int
    to_ms: int
    step_ms: int
    fish: tuple[Bucket, ...]
    air: tuple[Bucket, ...]
    gaps: tuple[TimeSpan, ...]
    """Where nothing was measured for longer than the stale time."""
    air_gaps: tuple[TimeSpan, ...] = ()
    """The same of the air, where another probe measures it."""
    doors: tuple[TimeSpan, ...]
    defrosts: tuple[TimeSpan, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    """One temperature's buckets, and where it was not measured."""

    buckets: tuple[Bucket, ...]
    gaps: tuple[TimeSpan, ...]


def course_of(shop: Shop, store: HourStore, probe: Probe, from_ms: int, to_ms: int) -> Course:
    """Return the course of a governing probe's unit over a period.

    A long one is drawn from hours, and begins with a whole one.
    """
    unit = shop.unit[probe.unit]
    air = air_probe(shop, unit.id)
    if air is not None and air.measures is not Measures.AIR:
        air = None
    if to_ms - from_ms > BY_HOURS_FROM_MS:
        from_ms -= from_ms % MS_PER_H
        step_ms = (to_ms - from_ms) // STEPS // MS_PER_H * MS_PER_H
        fish, air_line = _from_hours(shop, store, probe, air, (from_ms, to_ms, step_ms))
    else:
        step_ms = max(1, (to_ms - from_ms) // STEPS)
        fish, air_line = _from_readings(shop, store, probe, air, (from_ms, to_ms, step_ms))
    return Course(
        from_ms=from_ms,
        to_ms=to_ms,
        step_ms=step_ms,
        fish=fish.buckets,
        air=air_line.buckets,
        gaps=fish.gaps,
        air_gaps=air_line.gaps,
        doors=tuple(door_times(shop, _Changes(store), unit.id, from_ms, to_ms)),
        defrosts=tuple(scheduled(unit, shop.timezone, from_ms, to_ms)),
    )


def _from_readings(
    shop: Shop, store: HourStore, probe: Probe, air: Probe | None, period: tuple[int, int, int]
) -> tuple[_Line, _Line]:
    from_ms, to_ms, _ = period
    felt = governing_readings(shop, store, probe, from_ms, to_ms)
    inside = (felt.times_ms >= from_ms) & (felt.times_ms <= to_ms)
    found = []
    for line_probe, span in (
        (probe, Span(felt.times_ms[inside], felt.values[inside])),
        (
            air,
            None
            if air is None
            else store.span(air.id, there_from_ms(shop, air.id, from_ms), to_ms),
        ),
    ):
        if line_probe is None or span is None:
            found.append(_Line((), ()))
            continue
        line = steps(span.times_ms, span.values, *period)
        found.append(_Line(line, gaps(span.times_ms, from_ms, to_ms, stale_ms(line_probe))))
    return found[0], found[1]


def _from_hours(
    shop: Shop, store: HourStore, probe: Probe, air: Probe | None, period: tuple[int, int, int]
) -> tuple[_Line, _Line]:
    from_ms, to_ms, step_ms = period
    measured = store.hours(probe.id, from_ms, to_ms, stale_ms(probe))
    fish: HourRanges = measured
    if settings_for(shop.unit[probe.unit], probe).lag_s:
        fish = felt_hours(shop, store, probe, from_ms, to_ms)
    fish_line = _Line(_hour_steps(fish, from_ms, step_ms), _hour_gaps(measured, period, probe))
    if air is None:
        return fish_line, _Line((), ())
    if air.id != probe.id:
        measured = store.hours(air.id, from_ms, to_ms, stale_ms(air))
    return fish_line, _Line(
        _hour_steps(measured, from_ms, step_ms), _hour_gaps(measured, period, air)
    )


def _hour_gaps(
    measured: MeasuredHours, period: tuple[int, int, int], probe: Probe
) -> tuple[TimeSpan, ...]:
    """Return the gaps, the edges included."""
    from_ms, to_ms, _ = period
    if not len(measured):
        return gaps(np.empty(0, np.int64), from_ms, to_ms, stale_ms(probe))
    first_ms, last_ms = float(measured.first_ms[0]), float(measured.last_ms[-1])
    edges = ((float(from_ms), first_ms), (last_ms, float(to_ms)))
    at_edge = [edge[1] - edge[0] > stale_ms(probe) for edge in edges]
    return (*edges[: at_edge[0]], *measured.gaps, *edges[1 : 1 + at_edge[1]])


@dataclass(frozen=True, slots=True)
class _Changes:
    """A store of contacts, of which only the changes are looked at."""

    store: HourStore

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        assert from_ms is not None, "a contact is looked at from an instant"
        assert to_ms is not None, "and until one"
        return self.store.changes(probe, from_ms, to_ms)

    def last_before(self, probe: ProbeId, before_ms: int) -> tuple[int, float] | None:
        return self.store.last_before(probe, before_ms)


def steps(
    times_ms: NDArray[np.int64],
    values: NDArray[np.float64],
    from_ms: int,
    to_ms: int,
    step_ms: int,
) -> tuple[Bucket, ...]:
    """Return the lowest and highest value of each step that has a reading.

    >>> steps(np.array([0, 5, 12]), np.array([1.0, 9.0, 2.0]), 0, 20, 10)
    (Bucket(at_ms=0, low_c=1.0, high_c=9.0), Bucket(at_ms=10, low_c=2.0, high_c=2.0))
    """
    inside = (times_ms >= from_ms) & (times_ms <= to_ms)
    times_ms, values = times_ms[inside], values[inside]
    if not len(times_ms):
        return ()
    return _buckets((times_ms - from_ms) // step_ms, values, values, from_ms, step_ms)


def _hour_steps(ranges: HourRanges, from_ms: int, step_ms: int) -> tuple[Bucket, ...]:
    if not len(ranges):
        return ()
    numbers = (ranges.hours * MS_PER_H - from_ms) // step_ms
    return _buckets(numbers, ranges.lowest, ranges.highest, from_ms, step_ms)


def _buckets(
    numbers: NDArray[np.int64],
    lowest: NDArray[np.float64],
    highest: NDArray[np.float64],
    from_ms: int,
    step_ms: int,
) -> tuple[Bucket, ...]:
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 1))
    lows = np.minimum.reduceat(lowest, starts)
    highs = np.maximum.reduceat(highest, starts)
    return tuple(
        Bucket(from_ms + number * step_ms, low, high)
        for number, low, high in zip(
            numbers[starts].tolist(), lows.tolist(), highs.tolist(), strict=True
        )
    )


def gaps(
    times_ms: NDArray[np.int64], from_ms: int, to_ms: int, stale_ms: float
) -> tuple[TimeSpan, ...]:
    """Return where no reading came for longer than the stale time, the edges included."""
    edges = np.concatenate(([from_ms], times_ms, [to_ms]))
    found = np.flatnonzero(np.diff(edges) > stale_ms)
    return tuple((float(edges[i]), float(edges[i + 1])) for i in found)
