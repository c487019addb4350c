"""The lag carried over readings: one by one, or many at once, to the same last bit.

Written with the deviation ``w`` of the fish from the measured air, w = y − u, the exact
answer to linear air (``science.lag``) is a linear recurrence,

    w₁ = w₀·d − s·τ·(1 − d),    d = exp(−h/τ)

so that constant air leaves a fish that has its temperature exactly there. Since an
*anchor* it is summed up in two running numbers, the decay P = Π d and the gain
S = Σ v/P: w = P·(w_anchor + S). Both are plain running products and sums, which numpy
takes in the same order as a loop does: hence the same bits. The anchor moves on before
P could become too small; where it does is given by the clock, not by how readings are
cut into calls.

Pure: no clock, no I/O. Temperatures °C, instants milliseconds UTC.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import exp, inf
from typing import Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from rimewatch.science import lag
from rimewatch.vocabulary import MS_PER_S

Floats = NDArray[np.float64]

ANCHOR_EVERY_LAGS: Final = 300.0
"""exp(−300) = 5e-131: far from the smallest number there is."""

LARGEST_TABLE: Final = 10_000_000
"""Intervals up to so many milliseconds look their decay up in a table."""


class Lagging(NamedTuple):
    """Where the lag stands at a reading: survives a JSON round trip exactly."""

    last_ms: int
    measured_c: float
    deviation_c: float
    """Of the fish from the measured temperature."""
    block: int
    """Which stretch of time the anchor is for."""
    anchor_c: float
    """The deviation at the anchor."""
    decay: float
    gained_c: float

    @property
    def governing_c(self) -> float:
        """The fish's temperature."""
        return self.measured_c + self.deviation_c


Some = TypeVar("Some", float, Floats)
"""One interval's, or those of many."""


def change_c(from_c: Some, to_c: Some, h_s: Some, lag_s: float, decay: Some) -> Some:
    """Return what linear air adds to the deviation over an interval: −s·τ·(1 − d)."""
    return -((to_c - from_c) / h_s * lag_s) * (1.0 - decay)


def reach_beyond_c(at_start_c: Some, at_end_c: Some, h_s: Some, lag_s: float) -> Some:
    """Return how far the curve may go beyond both its ends, °C.

    Where air and fish changed sides, it turned in between; its slope is nowhere steeper than
    (air − fish)/τ.

    Args:
        at_start_c: Air less fish at the interval's start.
        at_end_c: The same at its end.
        h_s: The interval's length, seconds.
        lag_s: Time constant, seconds, above 0.
    """
    return abs(at_start_c - at_end_c) * h_s / lag_s * (at_start_c * at_end_c < 0.0)


def begin(lag_s: float, at_ms: int, measured_c: float, governing_c: float) -> Lagging:
    """Return a lag that starts at a reading, or starts again after a gap.

    >>> begin(600.0, 0, 2.0, 3.5).governing_c
    3.5
    """
    deviation_c = governing_c - measured_c
    return Lagging(at_ms, measured_c, deviation_c, _block(lag_s, at_ms), deviation_c, 1.0, 0.0)


def step(lagging: Lagging, lag_s: float, at_ms: int, measured_c: float) -> Lagging:
    """Return the lag at the next reading.

    >>> air = begin(600.0, 0, 0.0, 0.0)
    >>> for minute in range(1, 11):  # a ramp of 0.2 °C a minute, τ 10 min: behind by 2 °C in time
    ...     air = step(air, 600.0, minute * 60_000, 0.2 * minute)
    >>> round(air.governing_c, 4), round(2.0 * exp(-1.0), 4)
    (0.7358, 0.7358)
    """
    h_s = (at_ms - lagging.last_ms) / MS_PER_S
    decay = _decay(h_s, lag_s)
    change = change_c(lagging.measured_c, measured_c, h_s, lag_s, decay)
    block = _block(lag_s, at_ms)
    if block == lagging.block:
        anchor_c, total, gained_c = lagging.anchor_c, lagging.decay * decay, lagging.gained_c
    else:
        anchor_c, total, gained_c = lagging.deviation_c, decay, 0.0
    gained_c += change / total
    return Lagging(
        at_ms, measured_c, total * (anchor_c + gained_c), block, anchor_c, total, gained_c
    )


def resume(
    lagging: Lagging, lag_s: float, at_ms: int, measured_c: float, unseen_c: float = -inf
) -> Lagging:
    """Return the lag at the first reading after a gap: at the warmer of its last value and that.

    Args:
        lagging: Where it stood before the gap.
        lag_s: Time constant, seconds; 0 means no lag.
        at_ms: The reading's time.
        measured_c: What it says.
        unseen_c: How warm the air may have been in the gap; then it starts again at no less
            than what that would have made of it. Without it nothing is supposed.

    >>> before = begin(600.0, 0, -25.0, -25.0)
    >>> resume(before, 600.0, 600_000, -25.0).governing_c
    -25.0
    >>> round(resume(before, 600.0, 600_000, -25.0, unseen_c=25.0).governing_c, 4)
    6.606
    """
    warmest_c = max(lagging.governing_c, measured_c) if lag_s else measured_c
    if lag_s and unseen_c > lagging.governing_c:
        h_s = (at_ms - lagging.last_ms) / MS_PER_S
        unseen = lag.value_at(lagging.governing_c, unseen_c, unseen_c, h_s, lag_s, h_s)
        warmest_c = max(warmest_c, unseen)
    return begin(lag_s, at_ms, measured_c, warmest_c)


@dataclass(frozen=True, slots=True)
class Run:
    """The lag over many readings. All arrays have one entry a reading."""

    end: Lagging
    governing_c: Floats  # (n,)
    is_gap: NDArray[np.bool_]  # (n,) whether missing time lies before it
    reach_c: Floats  # (n,) how far the curve may go beyond its ends since the reading before


def run(
    lagging: Lagging,
    lag_s: float,
    stale_ms: float,
    times_ms: NDArray[np.int64],
    measured_c: Floats,
    unseen_c: float = -inf,
) -> Run:
    """Carry the lag over many readings, gaps included.

    Args:
        lagging: Where it stands.
        lag_s: Time constant, seconds; 0 means no lag: the fish is the air.
        stale_ms: Longer intervals are gaps.
        times_ms: Reading times, strictly increasing, after ``lagging.last_ms``. # (n,)
        measured_c: Measured temperatures. # (n,)
        unseen_c: As for :func:`resume`.
    """
    elapsed_ms = np.diff(times_ms, prepend=np.int64(lagging.last_ms))
    is_gap = elapsed_ms > stale_ms
    if lag_s == 0.0:
        end = begin(0.0, int(times_ms[-1]), float(measured_c[-1]), float(measured_c[-1]))
        return Run(end, measured_c, is_gap, np.zeros(len(measured_c)))
    governing = np.empty(len(times_ms))
    reach = np.zeros(len(times_ms))
    blocks = times_ms // _block_ms(lag_s)
    cuts = np.flatnonzero((np.diff(blocks, prepend=np.int64(lagging.block)) != 0) | is_gap)
    edges = np.unique(np.concatenate(([0], cuts, [len(times_ms)]))).tolist()
    for start, stop in pairwise(edges):
        first = start
        if is_gap[start]:
            at_ms, value_c = int(times_ms[start]), float(measured_c[start])
            lagging = resume(lagging, lag_s, at_ms, value_c, unseen_c)
            governing[start] = lagging.governing_c
            first += 1
        if first < stop:
            lagging = _fill(
                lagging,
                lag_s,
                (times_ms[first:stop], elapsed_ms[first:stop], measured_c[first:stop]),
                governing[first:stop],
                reach[first:stop],
            )
    return Run(lagging, governing, is_gap, reach)


def _fill(
    lagging: Lagging,
    lag_s: float,
    readings: tuple[NDArray[np.int64], NDArray[np.int64], Floats],
    governing: Floats,
    reach: Floats,
) -> Lagging:
    """Fill in the lag over readings without a gap, all for one anchor."""
    times_ms, elapsed_ms, measured_c = readings
    h_s = elapsed_ms / MS_PER_S
    decay = _decays(elapsed_ms, lag_s)
    before_c = np.empty_like(measured_c)
    before_c[0], before_c[1:] = lagging.measured_c, measured_c[:-1]
    change = change_c(before_c, measured_c, h_s, lag_s, decay)
    block = _block(lag_s, int(times_ms[0]))
    same = block == lagging.block
    anchor_c = lagging.anchor_c if same else lagging.deviation_c
    factors = decay.copy()
    factors[0] *= lagging.decay if same else 1.0
    total = np.multiply.accumulate(factors)
    gains = change / total
    gains[0] += lagging.gained_c if same else 0.0
    gained_c = np.add.accumulate(gains)
    deviation = total * (anchor_c + gained_c)
    np.add(measured_c, deviation, out=governing)
    came_from = np.empty_like(governing)
    came_from[0], came_from[1:] = lagging.governing_c, governing[:-1]
    reach[:] = reach_beyond_c(before_c - came_from, measured_c - governing, h_s, lag_s)
    return Lagging(
        int(times_ms[-1]),
        float(measured_c[-1]),
        float(deviation[-1]),
        block,
        anchor_c,
        float(total[-1]),
        float(gained_c[-1]),
    )


def _decay(h_s: float, lag_s: float) -> float:
    """Return exp(−h/τ); after more lags than an anchor lasts, what is left of it then: nothing.

    Smaller ones would leave no number to divide by.
    """
    return exp(-min(h_s / lag_s, ANCHOR_EVERY_LAGS))


def _decays(elapsed_ms: NDArray[np.int64], lag_s: float) -> Floats:
    """Return exp(−h/τ) for each interval, by the C library's exp, as :func:`step` takes it.

    numpy's own exp may differ in the last bit; readings come at few different intervals,
    so each is worked out once.
    """
    longest = int(elapsed_ms.max())
    if longest > LARGEST_TABLE:
        distinct, place = np.unique(elapsed_ms, return_inverse=True)
        table = np.array([_decay(ms / MS_PER_S, lag_s) for ms in distinct.tolist()])
        return table[place]
    seen = np.zeros(longest + 1, dtype=np.bool_)
    seen[elapsed_ms] = True
    table = np.zeros(longest + 1)
    distinct = np.flatnonzero(seen)
    table[distinct] = [_decay(ms / MS_PER_S, lag_s) for ms in distinct.tolist()]
    return table[elapsed_ms]


@lru_cache(maxsize=64)  # a shop has a few lags, and this is asked for every reading
def _block_ms(lag_s: float) -> int:
    return max(1, round(ANCHOR_EVERY_LAGS * lag_s * MS_PER_S))


def _block(lag_s: float, at_ms: int) -> int:
    return at_ms // _block_ms(lag_s) if lag_s else 0
