"""Fish behind an air probe: a first-order lag, exact for piecewise linear air.

A fillet follows the air as ``τ dy/dt = u − y``. For air that runs linearly from
``a`` to ``b`` over ``h`` seconds, with slope ``s = (b − a)/h``:

    y(t) = a + s·t − s·τ + (y0 − a + s·τ)·exp(−t/τ)

The second derivative keeps its sign, so the curve has at most one turning point
and crosses a level at most twice in a segment. With τ = 0 the fish is the air.
Pure: no clock, no I/O. Temperatures °C, times seconds from the segment's start.

References:
    [1] Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed.,
        section 5.1 (lumped capacitance): the first-order equation. From memory.
"""

from math import exp, log
from typing import Final

PRECISE_S: Final = 1e-5
MOST_STEPS: Final = 60
"""Bisection alone would be there by then."""


def value_at(y0: float, a: float, b: float, h_s: float, lag_s: float, t_s: float) -> float:
    """Return the lagged temperature ``t_s`` seconds into a linear segment.

    Args:
        y0: Lagged temperature at the segment's start, °C. Ignored with ``lag_s`` 0.
        a: Measured temperature at the segment's start, °C.
        b: Measured temperature at the segment's end, °C.
        h_s: Length of the segment, seconds, above 0.
        lag_s: Time constant τ, seconds; 0 means no lag.
        t_s: Seconds since the segment's start, from 0 to ``h_s``.

    >>> round(value_at(0.0, 10.0, 10.0, 600.0, 600.0, 600.0), 4)  # 63.21 % of a step
    6.3212
    """
    slope = (b - a) / h_s
    if lag_s == 0.0:
        return a + slope * t_s
    behind = slope * lag_s
    return a + slope * t_s - behind + (y0 - a + behind) * exp(-t_s / lag_s)


def turning_point(
    y0: float, a: float, b: float, h_s: float, lag_s: float
) -> tuple[float, float] | None:
    """Return time and value of the curve's turning point inside a segment, if it has one.

    >>> turning_point(2.0, 2.0, 8.0, 60.0, 600.0) is None
    True
    >>> t_s, y = turning_point(4.0, 6.0, 2.0, 60.0, 600.0)
    >>> 0 < t_s < 60 and y > 4.0
    True
    """
    if lag_s == 0.0:
        return None
    slope = (b - a) / h_s
    behind = slope * lag_s
    ratio = (y0 - a + behind) / behind if behind else 0.0
    if ratio <= 0.0:
        return None
    t_s = lag_s * log(ratio)
    if not 0.0 < t_s < h_s:
        return None
    return t_s, value_at(y0, a, b, h_s, lag_s, t_s)


def time_of(
    level: float,
    y0: float,
    a: float,
    b: float,
    h_s: float,
    lag_s: float,
    from_s: float,
    to_s: float,
) -> float:
    """Return when the curve passes ``level`` within a stretch in which it is monotone.

    To a hundredth of a millisecond.

    Args:
        level: Temperature to pass, °C, between the curve's values at both ends.
        y0: As in :func:`value_at`.
        a: As in :func:`value_at`.
        b: As in :func:`value_at`.
        h_s: As in :func:`value_at`.
        lag_s: As in :func:`value_at`.
        from_s: Start of the stretch, seconds into the segment.
        to_s: End of the stretch, seconds into the segment.

    >>> time_of(5.0, 0.0, 0.0, 10.0, 60.0, 0.0, 0.0, 60.0)
    30.0
    >>> round(time_of(6.3212055882, 0.0, 10.0, 10.0, 900.0, 600.0, 0.0, 900.0), 3)
    600.0
    """
    if lag_s == 0.0:
        if a == b:
            return from_s  # it stands at the level already
        return min(max((level - a) * h_s / (b - a), from_s), to_s)
    # Newton's method from the chord, kept between the ends by bisection where it would leave.
    slope = (b - a) / h_s
    behind = slope * lag_s
    from_c = value_at(y0, a, b, h_s, lag_s, from_s)
    to_c = value_at(y0, a, b, h_s, lag_s, to_s)
    low, high = (from_s, to_s) if from_c < to_c else (to_s, from_s)
    t_s = from_s + (level - from_c) * (to_s - from_s) / (to_c - from_c)
    for _ in range(MOST_STEPS):
        decaying = (y0 - a + behind) * exp(-t_s / lag_s)
        beyond_c = a + slope * t_s - behind + decaying - level
        if beyond_c < 0.0:
            low = t_s
        else:
            high = t_s
        rate = slope - decaying / lag_s
        following = t_s - beyond_c / rate if rate else (low + high) / 2.0
        if not min(low, high) < following < max(low, high):
            following = (low + high) / 2.0
        if abs(following - t_s) < PRECISE_S:
            return following
        t_s = following
    return t_s
