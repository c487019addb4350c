"""When a reading was taken, and how far a probe's own clock is off.

One message cannot tell a slow clock from a backlog; many can: a backlog comes in a burst and
is late by all sorts of amounts, a slow clock by the same amount each time. The offset is only
reported. It corrects nothing. But times that cannot be (they stand still, or have come to lag
by another constant, while messages arrive as ever) are not believed: the arrival dates those
messages (the contract's "Times that cannot be"). Pure: takes the arrival, reads no clock.
"""

from collections import deque
from collections.abc import Iterable
from statistics import median_low
from typing import Final

from rimewatch.evaluation.clock_note import Dating, offset_s_of
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S

AHEAD_MS: Final = 300 * MS_PER_S
"""A payload's time may be at most this much after its arrival (the contract's 300 s)."""

BEHIND_MS: Final = 30 * MS_PER_DAY
"""A payload's time may be at most this much before its arrival (the contract's 30 days)."""

WINDOW: Final = 64
"""Messages over which a clock's offset is judged."""


LAGS_NEWLY_MS: Final = 600 * MS_PER_S
"""A lag that is so much longer than before is another clock's (the contract's 10 min)."""

DOUBTED: Final = 3
"""Messages in a row whose times cannot be, before the arrival dates them (our choice)."""

REMEMBERED: Final = 9
"""Messages by which a probe's usual lag and cadence are known (our choice)."""

CADENCE: Final = (0.5, 3.0)
"""Between these shares of its usual interval a probe's messages arrive at their usual cadence: a
burst is quicker, and after a silence nothing is known (our choice)."""

ALIKE_MS: Final = 2 * MS_PER_S
ALIKE_SHARE: Final = 0.25
MOST_ALIKE_MS: Final = 30 * MS_PER_S
"""Lags that differ by no more than this share of the interval, at least and at most so much, are
the same: a network delays by seconds (our choice)."""

STANDS_SHARE: Final = 0.1
"""A clock that has gone on by less than this share of what passed stands still (our choice)."""


def is_plausible(observed_ms: int, arrived_ms: int) -> bool:
    """Tell whether a payload's time may be used beside its arrival, both ends included."""
    return -AHEAD_MS <= arrived_ms - observed_ms <= BEHIND_MS


class ClockOffset:
    """How far a probe's clock lies behind the arrivals, over its last 64 messages.

    The way here only adds delay, so the least difference is nearest the truth. The
    lowest tenth is taken in place of the very least, so that one odd message among
    ten does not set it, nor a backlog longer than it.
    """

    def __init__(self, late_ms: Iterable[int] = ()) -> None:
        self._late_ms: deque[int] = deque(late_ms, maxlen=WINDOW)
        self.add = self._late_ms.append
        """Take ``arrived_ms - observed_ms`` of a message with a time of its own."""

    def late_ms(self) -> tuple[int, ...]:
        """Return what it is judged by, to go on from after a restart."""
        return tuple(self._late_ms)

    def offset_s(self) -> float | None:
        """Return seconds, positive for a slow clock; None before the eighth message."""
        return offset_s_of(self._late_ms)


def dated(
    before: Dating, own_ms: int, arrived_ms: int, *, every_ms: float, stale_ms: float
) -> Dating:
    """Return what is known of a probe's times after a message with a plausible one.

    Args:
        before: What was known before it.
        own_ms: The time that it bears.
        arrived_ms: When it arrived.
        every_ms: How often the probe is expected to speak; used until its cadence is known.
        stale_ms: How long silence may last. Only beyond it the arrival dates: then a gap lies
            between the last time that was believed and the first arrival, and no cold is
            credited over it.

    Returns:
        What is known now; its ``by_arrival`` says whether the arrival dates this message,
        unless it is one of a burst (:func:`is_of_a_burst`).
    """
    now = before._replace(arrived_ms=arrived_ms, own_ms=own_ms)
    if before.arrived_ms is None or before.own_ms is None:
        return _believed(now, before, own_ms, arrived_ms)
    interval_ms = _interval_ms(before, every_ms)
    passed_ms = arrived_ms - before.arrived_ms
    if passed_ms < CADENCE[0] * interval_ms:
        return now if before.by_arrival else _believed(now, before, own_ms, arrived_ms)
    is_usual = passed_ms <= CADENCE[1] * interval_ms
    lag_ms = arrived_ms - own_ms
    stands = abs(own_ms - before.own_ms) <= STANDS_SHARE * passed_ms
    usual_ms = median_low(before.lags_ms) if len(before.lags_ms) >= DOUBTED else None
    lags = usual_ms is not None and lag_ms - usual_ms > LAGS_NEWLY_MS
    if before.by_arrival:
        is_right = not stands and lag_ms - (usual_ms or 0) <= LAGS_NEWLY_MS
        return _believed(now, before, own_ms, arrived_ms) if is_right else now
    if not is_usual or not (stands or lags):
        return _believed(now, before, own_ms, arrived_ms)
    alike_ms = max(ALIKE_MS, min(MOST_ALIKE_MS, ALIKE_SHARE * interval_ms))
    goes_on = before.doubted > 0 and (stands or abs(lag_ms - before.lag_ms) <= alike_ms)
    doubted = before.doubted + 1 if goes_on else 1
    waited_ms = arrived_ms - (before.believed_ms or arrived_ms)
    return now._replace(
        lag_ms=before.lag_ms if goes_on and not stands else lag_ms,
        doubted=doubted,
        by_arrival=doubted >= DOUBTED and waited_ms > stale_ms,
    )


def is_of_a_burst(before: Dating, arrived_ms: int, *, every_ms: float) -> bool:
    """Whether a message comes so soon after the one before that it is of a backlog."""
    if before.arrived_ms is None:
        return False
    return arrived_ms - before.arrived_ms < CADENCE[0] * _interval_ms(before, every_ms)


def _interval_ms(known: Dating, every_ms: float) -> float:
    return median_low(known.gaps_ms) if len(known.gaps_ms) >= DOUBTED else every_ms


def _believed(now: Dating, before: Dating, own_ms: int, arrived_ms: int) -> Dating:
    """Return what is known once a message's own time is believed."""
    gap_ms = 0 if before.own_ms is None else own_ms - before.own_ms
    gaps_ms = (*before.gaps_ms, gap_ms)[-REMEMBERED:] if gap_ms > 0 else before.gaps_ms
    latest_ms = own_ms if before.believed_ms is None else max(own_ms, before.believed_ms)
    return now._replace(
        lags_ms=(*before.lags_ms, arrived_ms - own_ms)[-REMEMBERED:],
        gaps_ms=gaps_ms,
        believed_ms=latest_ms,
        doubted=0,
        by_arrival=False,
    )
