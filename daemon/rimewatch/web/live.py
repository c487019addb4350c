"""What the writer knows right now, as the pages see it: one frozen value, exchanged whole.

The writer's thread publishes a :class:`Snapshot` after its batches; the pages read the
latest without a lock on the journal and without SQLite. Nothing here is ever changed in
place. Temperatures °C, times in milliseconds UTC.
"""

import asyncio
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final

from rimewatch.alarms.alarm import Alarm
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.evaluation.unit_now import UnitNow
from rimewatch.rules.condition import AlarmKey
from rimewatch.vocabulary import ProbeId, UnitId

MOST_LISTENERS: Final = 64
"""Open streams at once (our choice): a shop has a few phones and one screen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """How the watch itself is doing."""

    is_recording: bool = True
    """False: the journal cannot be used, and nothing is followed here."""
    listening: bool = False
    broker_problem: str = ""
    arrivals: int = 0
    waiting_arrivals: int = 0
    delay_s: float = 0.0
    """How long the oldest message of the last batch waited here to be on the disk."""
    batch_s: float = 0.0
    """How long that batch took."""
    disk_s: float = 0.0
    """The part of it that the disk took."""
    is_late: bool = False
    """Whether recording lies behind, and not for a moment only."""
    outbox_waiting: int = 0
    outbox_failing: int = 0
    outbox_given_up: int = 0
    senders_alive: bool = True
    trouble: tuple[str, ...] = ()
    """What is wrong with the watch itself, a sentence each."""
    mirror: str = ""
    """How the mirror stands, in words; empty: there is none."""
    journal_bytes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """Everything the pages show without asking the journal."""

    number: int = 0
    entry_number: int = 0
    """The last entry that the service has taken in."""
    at_ms: int = 0
    """The instant up to which the writer has followed time."""
    units: tuple[UnitNow, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    """Those that are on, or returned and not yet acknowledged, with the facts of the moment."""
    above_s: tuple[tuple[str, float], ...] = ()
    """By an alarm's id, where it has a limit: for how long it was beyond it."""
    shelves: tuple[tuple[AlarmKey, int], ...] = ()
    """What is put aside, whether it is on or not, and until when; the first to end first."""
    lots: tuple[LotStory, ...] = ()
    """Every lot that is on the books, judged within the last half minute."""
    todos: tuple[str, ...] = ()
    """What the latest morning's summary asks for."""
    probes_ms: tuple[tuple[ProbeId, int], ...] = ()
    """When each probe was last heard, by the reading's own time."""
    batteries: tuple[tuple[ProbeId, float], ...] = ()
    health: Health = field(default_factory=Health)

    def unit(self, unit: UnitId) -> UnitNow:
        """Return a unit as it is; one that nobody has heard of has no reading."""
        return next((u for u in self.units if u.unit == unit), UnitNow(unit=unit))


class Board:
    """Holds the latest snapshot and wakes whoever waits for the next one. For any thread."""

    def __init__(self) -> None:
        self._latest = Snapshot()
        self._lock = threading.Lock()
        self._wakers: dict[int, Callable[[], None]] = {}
        self._next = 0
        self._ended = False
        self._era = 0

    @property
    def latest(self) -> Snapshot:
        """The latest snapshot."""
        return self._latest

    @property
    def ended(self) -> bool:
        """Whether the streams are to end."""
        return self._ended

    @property
    def era(self) -> int:
        """Counts the sets of pages there were: a stream belongs to the one it began in."""
        return self._era

    def goes_on(self, era: int) -> bool:
        """Whether the streams of an era go on."""
        return not self._ended and era == self._era

    def publish(self, snapshot: Snapshot) -> None:
        """Put a snapshot in place of the one before."""
        self._latest = snapshot
        self._wake()

    def end_streams(self) -> None:
        """Let every open stream end, so that the server can."""
        self._ended = True
        self._wake()

    def begin_streams(self) -> None:
        """Allow streams again, for the pages that follow; those of before end."""
        self._ended = False
        self._era += 1
        self._wake()

    def listen(self, waker: asyncio.Event, loop: asyncio.AbstractEventLoop) -> int | None:
        """Have an event of a loop set at each publication; None: too many listen already.

        An event is the bounded queue: however much is published meanwhile, a slow reader
        finds it set once, and then the latest snapshot.
        """

        def wake() -> None:
            with suppress(RuntimeError):  # the loop has ended; its streams with it
                loop.call_soon_threadsafe(waker.set)

        with self._lock:
            if len(self._wakers) >= MOST_LISTENERS:
                return None
            self._next += 1
            self._wakers[self._next] = wake
            return self._next

    def leave(self, number: int) -> None:
        """Stop listening."""
        with self._lock:
            self._wakers.pop(number, None)

    def _wake(self) -> None:
        with self._lock:
            wakers = list(self._wakers.values())
        for wake in wakers:
            wake()
