"""A unit's temperature over six hours or a year, in as many steps as a screen can show. Pure.

Each step keeps its lowest and its highest value: however long the time, no peak is smoothed
away. Temperatures °C, times in milliseconds UTC.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.governing import governing_readings
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.unit_air import air_probe
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, Measures
from rimewatch.web.live import Bucket

STEPS: Final = 360
SPANS: Final = {
    "6h": ("6 hours", 6 * MS_PER_H),
    "day": ("day", MS_PER_DAY),
    "week": ("week", 7 * MS_PER_DAY),
    "month": ("month", 30 * MS_PER_DAY),
    "year": ("year", 365 * MS_PER_DAY),
}
"""What may be looked at: by its name in an address, its word and its length in ms."""

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
    doors: tuple[TimeSpan, ...]
    defrosts: tuple[TimeSpan, ...]


def course_of(shop: Shop, store: ReadingStore, probe: Probe, from_ms: int, to_ms: int) -> Course:
    """Return the course of a governing probe's unit over a period."""
    unit = shop.unit[probe.unit]
    stale_ms = settings_for(unit, probe).stale_ms
    step_ms = max(1, (to_ms - from_ms) // STEPS)
    fish = governing_readings(shop, store, probe, from_ms, to_ms)
    air = air_probe(shop, unit.id)
    air_steps: tuple[Bucket, ...] = ()
    if air is not None and air.measures is Measures.AIR:
        span = store.span(air.id, from_ms, to_ms)
        air_steps = steps(span.times_ms, span.values, from_ms, to_ms, step_ms)
    inside = (fish.times_ms >= from_ms) & (fish.times_ms <= to_ms)
    return Course(
        from_ms=from_ms,
        to_ms=to_ms,
        step_ms=step_ms,
        fish=steps(fish.times_ms[inside], fish.values[inside], from_ms, to_ms, step_ms),
        air=air_steps,
        gaps=gaps(fish.times_ms[inside], from_ms, to_ms, stale_ms),
        doors=tuple(door_times(shop, store, unit.id, from_ms, to_ms)),
        defrosts=tuple(scheduled(unit, shop.timezone, from_ms, to_ms)),
    )


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
    numbers = (times_ms - from_ms) // step_ms
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 1))
    lows = np.minimum.reduceat(values, starts)
    highs = np.maximum.reduceat(values, starts)
    return tuple(
        Bucket(from_ms + int(number) * step_ms, float(low), float(high))
        for number, low, high in zip(numbers[starts], lows, highs, strict=True)
    )


def gaps(
    times_ms: NDArray[np.int64], from_ms: int, to_ms: int, stale_ms: float
) -> tuple[TimeSpan, ...]:
    """Return where no reading came for longer than the stale time, the edges included."""
    edges = np.concatenate(([from_ms], times_ms, [to_ms]))
    found = np.flatnonzero(np.diff(edges) > stale_ms)
    return tuple((float(edges[i]), float(edges[i + 1])) for i in found)
