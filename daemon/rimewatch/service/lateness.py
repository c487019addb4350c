"""How far recording lies behind: a disk that is slow, and does not fail.

Nothing is lost by it: what is not on the disk is not acknowledged, and the broker keeps the
rest. But what is judged late is told late, so somebody has to know. One slow moment is
nobody's business.

What waits at the broker cannot be asked for. It shows by the broker's window: once as many
messages are held here as it ever lets ahead, batch after batch, it holds back more. How old
those are is unknown, so the delay that is told is the least. With a broker that lets more ahead
than was asked for, more waits here and counts in the delay, until no more is read.

:func:`step` is pure; :class:`Lateness` measures for it and says what it finds.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rimewatch.clock import Clock
from rimewatch.intake.arrivals import Arrived, Happening, Item, SessionEvent, SessionHealth
from rimewatch.report.wording import counted, duration
from rimewatch.vocabulary import MS_PER_S

SLOW_S: Final = 1.0
"""A batch that takes so long is slow; tens of milliseconds are usual (our choice)."""

LATE_AFTER_S: Final = 60.0
"""Recording is late once every batch has been slow for so long (our choice)."""

CALM_AFTER_S: Final = 60.0
"""And no longer, once none has been for so long (our choice)."""

GRAVE_S: Final = 300.0
"""So late, somebody has to hear of it at once: alarms are late by as much (our choice)."""

FEWEST_HELD: Final = 10
"""Brokers' windows are larger; fewer messages say nothing of them (our choice)."""

FULL_AFTER: Final = 3
"""Batches in a row that fill the window, before the broker is taken to hold back more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What was measured of one batch that is on the disk now."""

    ended_s: float
    """When, on a clock that never runs backwards."""
    took_s: float
    disk_s: float
    """The part of it that the disk took."""
    delay_s: float
    """How long its oldest arrival has waited to be on the disk; without any, as it took."""
    waiting: int
    """What has arrived meanwhile."""
    held: int
    """Messages not acknowledged: the batch's, and those that wait."""
    is_full: bool = False
    """Whether so much waits here that no more is read."""
    is_anew: bool = False
    """Whether the connection was made anew: what was held before counts no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """How far recording lies behind."""

    delay_s: float = 0.0
    """From arrival here to the disk, of the last batch's oldest."""
    batch_s: float = 0.0
    disk_s: float = 0.0
    waiting: int = 0
    is_late: bool = False
    """Whether it has been slow for a while, and not quick again for a while."""
    held_back_s: float = 0.0
    """For how long the broker has held back more; 0 where it is not known to."""
    slow_from_s: float | None = None
    quick_from_s: float | None = None
    most_held: int = 0
    full: int = 0
    full_from_s: float = 0.0

    @property
    def is_grave(self) -> bool:
        """Whether alarms are late by minutes, or may be."""
        return self.is_late and max(self.delay_s, self.held_back_s) >= GRAVE_S

    def words(self) -> str:
        """Return how late, and why: "6 s behind: a batch takes 3.1 s, 3.0 s of it the disk, …"."""
        more = ""
        if self.held_back_s:
            more = f", and the broker has held back more for {duration(self.held_back_s)}"
        return (
            f"{duration(self.delay_s)} behind: a batch takes {self.batch_s:.1f} s, "
            f"{self.disk_s:.1f} s of it the disk; {counted(self.waiting, 'message')} "
            f"{'waits' if self.waiting == 1 else 'wait'} here{more}"
        )


def step(lag: Lag, batch: Batch) -> Lag:
    """Return how far recording lies behind after one more batch."""
    is_slow = batch.took_s >= SLOW_S
    began_s = batch.ended_s - batch.took_s
    slow_from_s, quick_from_s = lag.slow_from_s, lag.quick_from_s
    if is_slow:
        slow_from_s = began_s if slow_from_s is None else slow_from_s
        quick_from_s = None
    else:
        quick_from_s = began_s if quick_from_s is None else quick_from_s
        if not lag.is_late:
            slow_from_s = None
    is_late = lag.is_late
    if slow_from_s is not None and batch.ended_s - slow_from_s >= LATE_AFTER_S:
        is_late = True
    if quick_from_s is not None and batch.ended_s - quick_from_s >= CALM_AFTER_S:
        is_late, slow_from_s = False, None
    now = replace(
        lag,
        delay_s=batch.delay_s,
        batch_s=batch.took_s,
        disk_s=batch.disk_s,
        waiting=batch.waiting,
        is_late=is_late,
        slow_from_s=slow_from_s,
        quick_from_s=quick_from_s,
    )
    return _window(now, batch, is_slow=is_slow)


def _window(lag: Lag, batch: Batch, *, is_slow: bool) -> Lag:
    """Follow how full the broker's window is."""
    most = 0 if batch.is_anew else lag.most_held
    # With a quick disk a full window is only a backlog, which is soon through.
    is_full = is_slow and (batch.is_full or batch.held == most >= FEWEST_HELD)
    full = lag.full + 1 if is_full else 0
    full_from_s = lag.full_from_s if lag.full and is_full else batch.ended_s - batch.took_s
    held_back_s = batch.ended_s - full_from_s if full >= FULL_AFTER else 0.0
    return replace(
        lag,
        most_held=max(most, batch.held),
        full=full,
        full_from_s=full_from_s,
        held_back_s=held_back_s,
    )


class Lateness:
    """Measures each batch, and says when recording falls behind and when it keeps up again.

    Args:
        clock: Measures how long things take.
        say: Told a line where something changes.
    """

    def __init__(self, clock: Clock, say: Callable[[str], None]) -> None:
        self._clock = clock
        self._say = say
        self._told_s: float | None = None
        self.lag = Lag()

    def wrote(
        self, items: Sequence[Item], *, began_s: float, disk_s: float, broker: SessionHealth
    ) -> None:
        """Take a batch that is on the disk and not acknowledged yet.

        Args:
            items: What was in it.
            began_s: When it was begun, by the clock's monotonic seconds.
            disk_s: How long the disk took of it.
            broker: How much has arrived meanwhile, and whether more is read.
        """
        ended_s = self._clock.monotonic_s()
        arrived = [item for item in items if isinstance(item, Arrived)]
        delay_s = took_s = max(0.0, ended_s - began_s)
        if arrived:
            delay_s = (self._clock.now_ms() - min(a.arrived_ms for a in arrived)) / MS_PER_S
        self.lag = step(
            self.lag,
            Batch(
                ended_s=ended_s,
                took_s=took_s,
                disk_s=min(disk_s, took_s),
                delay_s=max(0.0, delay_s),  # the clock may have been set back meanwhile
                waiting=broker.waiting,
                held=sum(1 for a in arrived if a.qos) + broker.waiting,
                is_full=broker.is_full,
                is_anew=any(
                    isinstance(item, SessionEvent) and item.what is Happening.CONNECTED
                    for item in items
                ),
            ),
        )
        self._tell()

    def _tell(self) -> None:
        """Say that it has begun, that it has become twice as much, and that it is over."""
        lag = self.lag
        if not lag.is_late:
            if self._told_s is not None:
                self._told_s = None
                self._say("Recording keeps up again.")
            return
        late_s = max(lag.delay_s, lag.held_back_s)
        if self._told_s is None or late_s >= 2.0 * self._told_s:
            self._told_s = max(late_s, SLOW_S)
            self._say(f"Recording is {lag.words()}. See to the disk: alarms are late by as much.")
