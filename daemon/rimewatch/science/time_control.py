"""Time as a public health control: food out of temperature control against a timer.

The food leaves control cold, a time is written on it, and at that time it is gone:
served, cooked or discarded. One variant watches the food's warmest portion as well.

Pure: no clock (the caller says what time it is), no I/O. Holds no limit of its own.
Never extends a timer and never restarts one: food put back into the cold does not
become new.

References:
    [1] FDA Food Code 2022, 3-501.19(B) and (C); discarding above the ceiling or at the
        end of 6 h, (C)(4), from memory.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from rimewatch.science.segments import linear_segments
from rimewatch.vocabulary import MS_PER_S


class TimeControlState(StrEnum):
    """Where a timer stands."""

    NOT_ELIGIBLE = "not eligible"
    """The food was too warm when it left control; the timer does not apply to it."""
    RUNNING = "running"
    DISCARD = "discard"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeControlLimits:
    """A variant of the timer. ``ceiling_c`` None: the temperature is not watched."""

    start_c: float
    allowed_s: float
    ceiling_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeControl:
    """The verdict on a timer at one moment."""

    state: TimeControlState
    started_ms: int
    ends_ms: int
    """When the timer runs out, to be written on the food."""
    discard_ms: int | None
    """Since when it is to be discarded; None: not yet, or not eligible."""
    warmest_c: float
    unmonitored_s: float
    """With a ceiling: seconds in which nobody can say that it held."""
    reason: str


def time_control(
    *,
    start_ms: int,
    start_c: float,
    times_ms: ArrayLike,
    celsius: ArrayLike,
    at_ms: int,
    limits: TimeControlLimits,
    max_gap_ms: int,
) -> TimeControl:
    """Return how a timer stands at ``at_ms``.

    At the end of the allowed time the state is already ``DISCARD``. Exactly at the
    start temperature the food is eligible, exactly at the ceiling it may stay.

    Args:
        start_ms: When the food left temperature control, ms since the epoch.
        start_c: The food's temperature then, °C, its warmest portion.
        times_ms: Times of later readings of the warmest portion, strictly increasing;
            those before ``start_ms`` or after ``at_ms`` are left out. May be empty.
        celsius: Their temperatures.
        at_ms: The moment asked about, not before ``start_ms``.
        limits: The variant.
        max_gap_ms: The longest interval between readings that counts as monitored.

    Raises:
        ValueError: If ``at_ms`` is before ``start_ms`` or a temperature is not finite.

    >>> six_hours = TimeControlLimits(start_c=5.0, allowed_s=6 * 3600, ceiling_c=21.0)
    >>> verdict = time_control(
    ...     start_ms=0, start_c=4.0, times_ms=[3_600_000], celsius=[12.0],
    ...     at_ms=3_600_000, limits=six_hours, max_gap_ms=3_600_000,
    ... )
    >>> verdict.state.value, verdict.ends_ms
    ('running', 21600000)
    """
    if at_ms < start_ms:
        raise ValueError(f"at_ms {at_ms} is before start_ms {start_ms}; ask about a later moment")
    if not math.isfinite(start_c):
        raise ValueError(f"start_c is {start_c}; expected the food's temperature in °C")
    ends_ms = start_ms + round(limits.allowed_s * MS_PER_S)
    times = np.asarray(times_ms, dtype=np.float64)
    values = np.asarray(celsius, dtype=np.float64)
    # The timer's own start is the first point of the curve.
    inside = (times > start_ms) & (times <= min(at_ms, ends_ms))
    times = np.concatenate(([float(start_ms)], times[inside]))
    values = np.concatenate(([start_c], values[inside]))
    segments = linear_segments(times, values, max_gap_ms=max_gap_ms)
    warmest_c = float(values.max())
    unmonitored_s = 0.0
    if limits.ceiling_c is not None:
        last_s = (min(at_ms, ends_ms) - float(times[-1])) / MS_PER_S
        unmonitored_s = segments.missing_s
        unmonitored_s += last_s if last_s * MS_PER_S > max_gap_ms else 0.0

    def verdict(state: TimeControlState, reason: str, discard_ms: int | None) -> TimeControl:
        return TimeControl(
            state=state,
            started_ms=start_ms,
            ends_ms=ends_ms,
            discard_ms=discard_ms,
            warmest_c=warmest_c,
            unmonitored_s=unmonitored_s,
            reason=reason,
        )

    if start_c > limits.start_c:
        return verdict(
            TimeControlState.NOT_ELIGIBLE,
            f"started at {start_c:.1f} °C, above {limits.start_c:.1f} °C",
            None,
        )
    crossed_ms = _first_above_ms(times, values, limits.ceiling_c, max_gap_ms)
    if crossed_ms is not None:
        return verdict(
            TimeControlState.DISCARD,
            f"warmest portion rose above {limits.ceiling_c:.1f} °C",
            crossed_ms,
        )
    if at_ms >= ends_ms:
        return verdict(
            TimeControlState.DISCARD,
            f"the {limits.allowed_s / 3600.0:g} h are over",
            ends_ms,
        )
    return verdict(TimeControlState.RUNNING, "within its time", None)


def _first_above_ms(
    times_ms: np.ndarray[tuple[int], np.dtype[np.float64]],
    celsius: np.ndarray[tuple[int], np.dtype[np.float64]],
    ceiling_c: float | None,
    max_gap_ms: int,
) -> int | None:
    """Return the first crossing of the ceiling, rounded down to the millisecond.

    After a gap nobody knows when it was crossed: the last cool reading is taken.
    """
    if ceiling_c is None:
        return None
    above = np.flatnonzero(celsius > ceiling_c)
    if len(above) == 0:
        return None
    position = int(above[0])
    if position == 0:
        return int(times_ms[0])
    before_ms, after_ms = float(times_ms[position - 1]), float(times_ms[position])
    if after_ms - before_ms > max_gap_ms:
        return int(before_ms)
    before_c, after_c = float(celsius[position - 1]), float(celsius[position])
    share = (ceiling_c - before_c) / (after_c - before_c)
    return math.floor(before_ms + share * (after_ms - before_ms))
