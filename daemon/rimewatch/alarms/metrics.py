"""How well the alarms serve: their number, response, repeats, chattering, floods.

An alarm system that cries wolf is not listened to, so it is measured like everything
else. The figures are of one time, from the record of alarms alone.

The benchmarks are written for a plant's control room, with one operator always present.
A shop with a phone by the bed needs far fewer; they are upper bounds that nobody should
come near, not aims.

Choices, where the sources differ:

* A flood begins at the alarm that makes *more than* 10 in the last 10 minutes (the
  standard's text is also quoted as "10 or more"), and ends as soon as *fewer than* 5 lie
  in the last 10 minutes. The 10 minutes include their end and not their beginning.
* An alarm chatters if it occurs 3 times or more within 1 minute, both ends included;
  occurrences that were joined to one alarm count as well, since they returned in between.

Pure: figures from values; ``now`` is an argument.

References:
    [1] IEC 62682 / ANSI/ISA-18.2, performance metrics (values from memory where so marked).
"""

from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.timetable import key_order
from rimewatch.rules.condition import AlarmKey
from rimewatch.rules.provisions_instruments import (
    ALARMS_PER_DAY_MANAGEABLE,
    ALARMS_PER_DAY_TOO_MANY,
    CHATTERING_TIMES_PER_MIN,
    FLOOD_ALARMS_PER_10_MIN,
    FLOOD_OVER_ALARMS_PER_10_MIN,
    STALE_ALARM_H,
)
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, MS_PER_S, Priority

FLOOD_WINDOW_MS: Final = 600_000
"""10 minutes. Source: [1]."""

FLOOD_SHARE_BELOW: Final = 0.01
"""The share of time in flood should stay below this. Source: [1], from memory."""

CHATTER_WINDOW_MS: Final = 60_000
"""1 minute. Source: [1], a starting criterion."""

STALE_BELOW: Final = 5
"""Fewer stale alarms than this on any day. Source: [1], from memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flood:
    """More alarms in a short time than anybody can answer."""

    begins_ms: int
    ends_ms: int | None
    """None: it had not ended at the end of the time looked at."""
    alarms: int
    """Alarms in it, with those of the 10 minutes before it began."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """How the alarms of some time have served."""

    from_ms: int
    to_ms: int
    alarms: int
    """Raised in this time."""
    alarms_per_day: float
    by_priority: dict[Priority, int]
    woke: int
    """Alarms of this time that sounded in the night."""
    repeats_sent: int
    to_acknowledge_median_s: float | None
    """None: none of this time has been acknowledged."""
    to_acknowledge_longest_s: float | None
    never_acknowledged: int
    chattering: tuple[AlarmKey, ...]
    standing: int
    """Active at the end of the time, acknowledged or not, silent ones not counted."""
    stale: int
    """Standing ones that had been active for more than 24 h."""
    floods: tuple[Flood, ...]
    flood_share: float
    """The share of the time that was in flood, 0…1."""

    def beyond_benchmarks(self) -> tuple[str, ...]:
        """Return what a plant's control room would not accept, each in a few words."""
        found = []
        if self.alarms_per_day >= ALARMS_PER_DAY_TOO_MANY:
            found.append(
                f"{self.alarms_per_day:.0f} alarms a day; {ALARMS_PER_DAY_TOO_MANY} need cutting"
            )
        elif self.alarms_per_day > ALARMS_PER_DAY_MANAGEABLE:
            found.append(
                f"{self.alarms_per_day:.0f} alarms a day; "
                f"at most {ALARMS_PER_DAY_MANAGEABLE} are manageable"
            )
        if self.chattering:
            found.append(f"{len(self.chattering)} alarms chatter; none should")
        if self.stale >= STALE_BELOW:
            found.append(f"{self.stale} stale alarms; fewer than {STALE_BELOW} on any day")
        if self.flood_share >= FLOOD_SHARE_BELOW:
            found.append(
                f"{self.flood_share:.1%} of the time in flood; below {FLOOD_SHARE_BELOW:.0%}"
            )
        return tuple(found)


def floods(raised_ms: Iterable[int], to_ms: int) -> tuple[Flood, ...]:
    """Return the floods among alarms raised at some instants, up to an end.

    >>> [flood.alarms for flood in floods(range(0, 11_000, 1_000), to_ms=3_600_000)]
    [11]
    """
    found: list[Flood] = []
    window: deque[int] = deque()
    begun: int | None = None
    alarms = 0

    def expire(until_ms: int) -> None:
        """Let alarms leave the window up to an instant; end the flood when few are left."""
        nonlocal begun
        while window and window[0] + FLOOD_WINDOW_MS <= until_ms:
            left_ms = window.popleft() + FLOOD_WINDOW_MS
            if begun is not None and len(window) < FLOOD_OVER_ALARMS_PER_10_MIN:
                found.append(Flood(begins_ms=begun, ends_ms=left_ms, alarms=alarms))
                begun = None

    for at_ms in sorted(at for at in raised_ms if at < to_ms):
        expire(at_ms)
        window.append(at_ms)
        if begun is not None:
            alarms += 1
        elif len(window) > FLOOD_ALARMS_PER_10_MIN:
            begun = at_ms
            alarms = len(window)
    expire(to_ms)
    if begun is not None:
        found.append(Flood(begins_ms=begun, ends_ms=None, alarms=alarms))
    return tuple(found)


def chattering(alarms: Iterable[Alarm]) -> tuple[AlarmKey, ...]:
    """Return what chatters: 3 occurrences or more within 1 minute, or joined as often."""
    occurrences: dict[AlarmKey, list[int]] = {}
    found = set()
    for alarm in alarms:
        occurrences.setdefault(alarm.key, []).append(alarm.raised_ms)
        if alarm.chatter + 1 >= CHATTERING_TIMES_PER_MIN:
            found.add(alarm.key)
    for key, times_ms in occurrences.items():
        times_ms.sort()
        apart = zip(times_ms, times_ms[CHATTERING_TIMES_PER_MIN - 1 :], strict=False)
        if any(last - first <= CHATTER_WINDOW_MS for first, last in apart):
            found.add(key)
    return tuple(sorted(found, key=key_order))


def measure(alarms: Sequence[Alarm], from_ms: int, to_ms: int) -> Figures:
    """Return the figures of the time ``from_ms <= t < to_ms``.

    Args:
        alarms: The record: each alarm once, as it stands at ``to_ms``; older ones that
            are still active belong to it.
        from_ms: Beginning, milliseconds UTC.
        to_ms: End, milliseconds UTC; also the instant at which alarms stand.

    Raises:
        ValueError: If the time has no length.
    """
    if to_ms <= from_ms:
        raise ValueError(f"to_ms is {to_ms}; expected an instant after from_ms, {from_ms}")
    raised = [alarm for alarm in alarms if from_ms <= alarm.raised_ms < to_ms]
    first_seen_ms = [(alarm, alarm.answered_ms) for alarm in raised]
    waits_s = [
        (seen_ms - alarm.raised_ms) / MS_PER_S
        for alarm, seen_ms in first_seen_ms
        if seen_ms is not None
    ]
    standing = [
        alarm for alarm in alarms if alarm.active and not alarm.silent and alarm.raised_ms < to_ms
    ]
    in_flood = floods((alarm.raised_ms for alarm in raised), to_ms)
    flood_ms = sum(
        (to_ms if flood.ends_ms is None else flood.ends_ms) - flood.begins_ms for flood in in_flood
    )
    counts = Counter(alarm.priority for alarm in raised)
    return Figures(
        from_ms=from_ms,
        to_ms=to_ms,
        alarms=len(raised),
        alarms_per_day=len(raised) * MS_PER_DAY / (to_ms - from_ms),
        by_priority={priority: counts[priority] for priority in Priority},
        woke=sum(alarm.woke for alarm in raised),
        repeats_sent=sum(alarm.repeats_sent for alarm in raised),
        to_acknowledge_median_s=median(waits_s) if waits_s else None,
        to_acknowledge_longest_s=max(waits_s, default=None),
        never_acknowledged=len(raised) - len(waits_s),
        chattering=chattering(raised),
        standing=len(standing),
        stale=sum(to_ms - alarm.raised_ms > STALE_ALARM_H * MS_PER_H for alarm in standing),
        floods=in_flood,
        flood_share=flood_ms / (to_ms - from_ms),
    )
