"""A recorded curve as straight pieces: monitored ones, and the gaps between them.

Between two readings no further apart than ``max_gap_ms`` the temperature is taken as
linear. A longer interval is a gap: nothing is interpolated through it. For those who
want a bound rather than a record, a gap is given the warmer of its two ends.

Pure: no clock, no I/O. Judges no temperature.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rimewatch.vocabulary import MS_PER_S

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segments:
    """Straight pieces in order of time. Arrays of one length, not to be changed."""

    start_s: Floats  # (n_segments,) seconds after the first reading
    length_s: Floats  # (n_segments,)
    from_c: Floats  # (n_segments,)
    to_c: Floats  # (n_segments,)
    is_gap: NDArray[np.bool_]  # (n_segments,)

    @property
    def missing_s(self) -> float:
        """Seconds without monitoring between the first and the last reading."""
        return float(self.length_s[self.is_gap].sum())


def linear_segments(times_ms: ArrayLike, celsius: ArrayLike, *, max_gap_ms: float) -> Segments:
    """Cut a recorded curve into straight pieces.

    Args:
        times_ms: Times of the readings, ms since the epoch, strictly increasing.
        celsius: Their temperatures in °C, finite.
        max_gap_ms: The longest interval, in ms, that is still taken as linear.

    Returns:
        One piece fewer than there are readings; none for one reading or for none.

    Raises:
        ValueError: If the two differ in length, times do not increase, a temperature
            is not finite, or ``max_gap_ms`` is not positive.

    >>> pieces = linear_segments([0, 60_000, 600_000], [4.0, 6.0, 5.0], max_gap_ms=180_000)
    >>> pieces.missing_s, pieces.from_c[pieces.is_gap].tolist()
    (540.0, [6.0])
    """
    times = np.asarray(times_ms, dtype=np.float64)
    values = np.asarray(celsius, dtype=np.float64)
    if times.ndim != 1 or times.shape != values.shape:
        raise ValueError(
            f"times_ms has shape {times.shape}, celsius {values.shape}; "
            "expected two lists of one length"
        )
    if not max_gap_ms > 0:
        raise ValueError(f"max_gap_ms is {max_gap_ms}; expected a positive number of ms")
    if not (np.isfinite(times).all() and np.isfinite(values).all()):
        raise ValueError("a time or a temperature is not finite; leave such readings out")
    lengths = np.diff(times)
    if not (lengths > 0.0).all():
        raise ValueError("times_ms does not increase throughout; sort it and drop duplicates")
    is_gap = lengths > max_gap_ms
    left, right = values[:-1], values[1:]
    warmer = np.maximum(left, right)
    return Segments(
        start_s=(times[:-1] - times[:1]) / MS_PER_S,
        length_s=lengths / MS_PER_S,
        from_c=np.where(is_gap, warmer, left),
        to_c=np.where(is_gap, warmer, right),
        is_gap=is_gap,
    )


def warmest(curves: Sequence[tuple[float, Segments]]) -> Segments:
    """Return the warmest of several curves at each moment, as pieces of its own.

    It is a gap wherever one of them is, or has not begun, or is over: nobody knows then how
    warm that one was. Where two cross within a piece the straight line between the warmer ends
    is taken, which errs on the warm side by less than a piece. The order does not matter.

    Args:
        curves: Each curve with when it begins, in seconds on a clock common to all. At least
            one, and each with a piece.

    >>> minute = 60_000
    >>> one = linear_segments([0, minute], [2.0, 2.0], max_gap_ms=minute)
    >>> other = linear_segments([0, minute], [1.0, 3.0], max_gap_ms=minute)
    >>> both = warmest([(0.0, one), (0.0, other)])
    >>> both.from_c.tolist(), both.to_c.tolist()
    ([2.0], [3.0])
    """
    if len(curves) == 1:
        return curves[0][1]
    begins = [origin_s + curve.start_s for origin_s, curve in curves]
    ends = [start + curve.length_s for start, (_, curve) in zip(begins, curves, strict=True)]
    edges = np.unique(np.concatenate([*begins, *ends]))
    left, right = edges[:-1], edges[1:]
    middle = (left + right) / 2.0
    from_c = np.full(len(middle), -np.inf)
    to_c = np.full(len(middle), -np.inf)
    is_gap = np.zeros(len(middle), dtype=np.bool_)
    for start, end, (_, curve) in zip(begins, ends, curves, strict=True):
        piece = np.clip(np.searchsorted(start, middle, side="right") - 1, 0, len(start) - 1)
        inside = (middle >= start[piece]) & (middle <= end[piece])
        slope = (curve.to_c - curve.from_c)[piece] / curve.length_s[piece]
        at_left = curve.from_c[piece] + slope * (left - start[piece])
        at_right = curve.from_c[piece] + slope * (right - start[piece])
        from_c = np.where(inside, np.maximum(from_c, at_left), from_c)
        to_c = np.where(inside, np.maximum(to_c, at_right), to_c)
        is_gap |= ~inside | curve.is_gap[piece]
    known = np.isfinite(from_c)  # between the curves' ends there may be nothing at all
    return Segments(
        start_s=(left - edges[0])[known],
        length_s=(right - left)[known],
        from_c=from_c[known],
        to_c=to_c[known],
        is_gap=is_gap[known],
    )


def seconds_within(segments: Segments, low_c: float, high_c: float) -> Floats:
    """Return, for each piece, the seconds it spends above ``low_c`` up to ``high_c``.

    ``high_c`` itself belongs to the range, ``low_c`` does not: "5 °C or below" is
    met at 5 °C. Crossings are exact for straight pieces.

    >>> pieces = linear_segments([0, 3_600_000], [0.0, 10.0], max_gap_ms=3_600_000)
    >>> seconds_within(pieces, 5.0, 7.5).tolist()
    [900.0]
    """
    low = np.minimum(segments.from_c, segments.to_c)
    high = np.maximum(segments.from_c, segments.to_c)
    rise = high - low
    inside = np.clip(high, low_c, high_c) - np.clip(low, low_c, high_c)
    level = rise == 0.0
    share = np.where(level, (low > low_c) & (low <= high_c), inside / np.where(level, 1.0, rise))
    return share * segments.length_s
