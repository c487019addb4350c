"""How much of its time a compressor cools, from nothing but the swings of the air.

A thermostat switches a compressor on when the air has become a little too warm and off when it
is a little too cold. So the air falls while the compressor runs and rises while it rests, and
the turns between tell when it was switched. Readings wander as well; a turn only counts where
the air has come back by more than noise does, and by a fair part of its usual swing.

Whole cycles alone are counted, from one warm turn to the next. What disturbs the air (a door,
a defrost, warm goods) is left out: by the times that are named, and by a rise that is far
beyond the usual one. The share is therefore that of undisturbed hours, which is what shows a
compressor that tires; it is below what the meter would say of busy ones.

How good it is, on the simulated plant (readings of 0.05 °C noise through a probe with a lag of
a minute): the number of cycles is right to some per cent; a true share from 0.4 to 0.9 is met to
0.07, one of 0.25 told up to 0.15 too high. It rises when the truth does, by less than the truth.

What it cannot see: cycles shorter than some readings; compressors that are regulated and not
switched; several compressors on one air; and one that never rests, whose air does not swing.
For all of these it says nothing, and not a share of 100 %. Air that is slow to turn after the
compressor was switched shifts both turns alike; where the two delays differ, so does the share.

Pure: no clock, no I/O. The thresholds are our choice, tried against a simulated plant whose
switching is known (tests/unit/science/test_duty_cycle.py).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.vocabulary import MS_PER_H

LEAST_READINGS_A_CYCLE: Final = 8
"""Fewer readings in a usual cycle cannot tell when it turned."""

FEWEST_CYCLES: Final = 12
"""Fewer whole cycles are an anecdote."""

SWING_SHARE: Final = 0.4
"""A turn has come back by so much of the usual swing."""

NOISE_TIMES: Final = 4.0
"""And by so many standard deviations of one reading's noise."""

WANDER_TIMES: Final = 2.0
"""Readings so many standard deviations of noise from an extreme are as good as it."""

UNUSUAL_TIMES: Final = 1.8
"""A rise so many times the usual one is no rest of the compressor: a door that nobody reports,
warm goods."""

_NORMAL_QUARTILE: Final = 0.6745
"""The third quartile of the standard normal distribution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyCycle:
    """How a compressor worked in the undisturbed hours of some time."""

    cooling_share: float
    """Part of the time in which the air fell, 0…1."""
    cycles_an_hour: float
    counted_h: float
    """Hours of the whole, undisturbed cycles."""


@dataclass(frozen=True, slots=True)
class _Turn:
    at_ms: float
    celsius: float
    is_warm: bool


def duty_cycle(
    times_ms: NDArray[np.int64],
    air_c: NDArray[np.float64],
    *,
    stale_ms: float,
    disturbed: Sequence[tuple[float, float]] = (),
) -> DutyCycle | None:
    """Return how a unit's compressor worked; None where the air does not tell.

    Args:
        times_ms: Reading times of an air probe, strictly increasing. # (n_readings,)
        air_c: The air, °C, finite. # (n_readings,)
        stale_ms: No cycle is counted through an interval longer than this.
        disturbed: Starts and ends of times in which something else moved the air, its way back
            included; cycles that touch one are left out.
    """
    if len(times_ms) < LEAST_READINGS_A_CYCLE * FEWEST_CYCLES:
        return None
    calm = _calm(times_ms, disturbed)
    noise_c = _noise_c(times_ms, air_c, stale_ms)
    swing_c = _usual_swing_c(times_ms[calm], air_c[calm])
    least_c = max(SWING_SHARE * swing_c, NOISE_TIMES * noise_c)
    if not least_c > 0.0 or swing_c < 2.0 * NOISE_TIMES * noise_c:
        return None  # an hour of noise alone spans some five of its standard deviations
    found = [
        cycle
        for first, after in _unbroken(times_ms, stale_ms)
        for cycle in _cycles(
            _turns(times_ms[first:after], air_c[first:after], least_c, WANDER_TIMES * noise_c)
        )
        if not _touches(cycle[0].at_ms, cycle[2].at_ms, disturbed)
    ]
    if len(found) < FEWEST_CYCLES:
        return None
    rises = np.array([warm.celsius - cold.celsius for _, cold, warm in found])
    usual = rises <= UNUSUAL_TIMES * float(np.median(rises))
    whole_ms = np.array([after.at_ms - before.at_ms for before, _, after in found])[usual]
    cooling_ms = np.array([cold.at_ms - before.at_ms for before, cold, _ in found])[usual]
    every_ms = float(np.median(np.diff(times_ms)))
    if len(whole_ms) < FEWEST_CYCLES or np.median(whole_ms) < LEAST_READINGS_A_CYCLE * every_ms:
        return None
    counted_h = float(whole_ms.sum()) / MS_PER_H
    return DutyCycle(
        cooling_share=float(cooling_ms.sum() / whole_ms.sum()),
        cycles_an_hour=len(whole_ms) / counted_h,
        counted_h=counted_h,
    )


def _calm(
    times_ms: NDArray[np.int64], disturbed: Sequence[tuple[float, float]]
) -> NDArray[np.bool_]:
    calm = np.ones(len(times_ms), dtype=np.bool_)
    for start_ms, end_ms in disturbed:
        first, after = np.searchsorted(times_ms, [start_ms, end_ms])
        calm[first:after] = False
    return calm


def _noise_c(times_ms: NDArray[np.int64], air_c: NDArray[np.float64], stale_ms: float) -> float:
    """Return the standard deviation of a reading's noise, °C, from bends between neighbours.

    The bend of a straight curve is nothing but noise, and the air is straight but for its turns:
    the middle of all bends is not moved by those.
    """
    steps_ms = np.diff(times_ms)
    close = (steps_ms[1:] <= stale_ms) & (steps_ms[:-1] <= stale_ms)
    bends = np.abs(air_c[2:] - 2.0 * air_c[1:-1] + air_c[:-2])[close]
    if not len(bends):
        return 0.0
    return float(np.median(bends)) / _NORMAL_QUARTILE / sqrt(6.0)


def _usual_swing_c(times_ms: NDArray[np.int64], air_c: NDArray[np.float64]) -> float:
    """Return the median over hours of the air's span, °C."""
    if not len(times_ms):
        return 0.0
    starts = np.flatnonzero(np.diff(times_ms // MS_PER_H, prepend=-1))
    spans = np.maximum.reduceat(air_c, starts) - np.minimum.reduceat(air_c, starts)
    return float(np.median(spans))


def _unbroken(times_ms: NDArray[np.int64], stale_ms: float) -> Iterator[tuple[int, int]]:
    gaps = np.flatnonzero(np.diff(times_ms) > stale_ms) + 1
    yield from pairwise([0, *gaps.tolist(), len(times_ms)])


def _turns(
    times_ms: NDArray[np.int64], air_c: NDArray[np.float64], least_c: float, wander_c: float
) -> Iterator[_Turn]:
    """Yield the turns that the air came back from by at least so much, warm and cold by turns.

    Before it is switched the air creeps towards its turn, after it leaves it at once: the last
    reading that is as good as the extreme is when it was switched, and not the extreme itself,
    which noise puts anywhere on the way.
    """
    rising: bool | None = None
    low_ms = high_ms = float(times_ms[0])
    low_c = high_c = float(air_c[0])
    for at_ms, celsius in zip(times_ms.tolist(), air_c.tolist(), strict=True):
        if celsius > high_c - wander_c:
            high_ms, high_c = at_ms, max(celsius, high_c)
        if celsius < low_c + wander_c:
            low_ms, low_c = at_ms, min(celsius, low_c)
        if rising is not False and high_c - celsius >= least_c:
            if rising:
                yield _Turn(high_ms, high_c, is_warm=True)
            rising = False
            low_ms, low_c = at_ms, celsius
        elif rising is not True and celsius - low_c >= least_c:
            if rising is False:
                yield _Turn(low_ms, low_c, is_warm=False)
            rising = True
            high_ms, high_c = at_ms, celsius


def _cycles(turns: Iterator[_Turn]) -> Iterator[tuple[_Turn, _Turn, _Turn]]:
    """Yield each whole cycle: the warm turn, the cold one, and the warm one after it."""
    found = list(turns)
    first = next((place for place, turn in enumerate(found) if turn.is_warm), len(found))
    for place in range(first, len(found) - 2, 2):
        yield found[place], found[place + 1], found[place + 2]


def _touches(from_ms: float, to_ms: float, disturbed: Sequence[tuple[float, float]]) -> bool:
    return any(start_ms < to_ms and end_ms > from_ms for start_ms, end_ms in disturbed)
