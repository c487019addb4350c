"""One life of the daemon: from its start to its stop, or to the moment at which it is killed.

The played parts call in here at the points where a kill matters.
"""

import random
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from rimewatch.intake.arrivals import Arrived, Item
from rimewatch.journal.errors import JournalError
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.service.charts import Charts
from rimewatch.service.pen import Pen
from rimewatch.service.service import Service
from rimewatch.service.surroundings import Surroundings
from simulation.broker import LONGEST_IDLE_MS, SHORTEST_IDLE_MS, session_type
from simulation.disk import Image, journal_opener
from simulation.plan import Kind, Message
from simulation.world import Crashed, S

if TYPE_CHECKING:
    from simulation.run import Run

ARMED = (
    Kind.KILL_AT_STATEMENT,
    Kind.KILL_BEFORE_COMMIT,
    Kind.POWER_CUT_IN_COMMIT,
    Kind.KILL_BEFORE_ACK,
    Kind.KILL_AMID_ACKS,
    Kind.KILL_AFTER_SEND,
)
"""Kills that wait for their moment."""


class AtOnce(Pen):
    """Draws in the daemon's own thread: a simulated night has one."""

    def __init__(self) -> None:
        super().__init__()
        self._left: deque[Callable[[], None]] = deque()
        self._busy = False

    def do(self, work: Callable[[], None], *, urgent: bool) -> threading.Event:
        """Do it, and what it asks for in turn."""
        (self._left.appendleft if urgent else self._left.append)(work)
        if not self._busy:
            self._busy = True
            while self._left:
                self._left.popleft()()
            self._busy = False
        done = threading.Event()
        done.set()
        return done


class Undrawn(Charts):
    """Alarms' pictures are left out, a morning's are blank: what draws has tests of its own."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder, AtOnce())

    def warm_up(self, shop: object) -> None:
        """Draw nothing."""

    def order(self, *_: object) -> None:
        """Note nothing."""

    def finish(self, *_: object, **__: object) -> None:
        """Draw nothing."""


@dataclass(frozen=True, slots=True)
class Committed:
    """A batch of the writer's that is on the disk."""

    items: tuple[Item, ...]
    told: dict[str, Any]
    """What it remembered of the evaluator."""
    t_ms: int
    """When."""


@dataclass(slots=True)
class Remains:
    """What a death leaves."""

    image: Image
    told: dict[str, Any] | None = None
    """What the commit that was torn would have remembered."""
    text: str = ""
    batch: tuple[Item, ...] = ()


class Life:
    """One process of the daemon."""

    together_ms = 0
    """How long what arrives is waited for that comes with it."""

    def __init__(self, run: "Run", number: int) -> None:
        self.run = run
        self.number = number
        self.world, self.broker = run.world, run.broker
        self.disk, self.phones = run.disk, run.phones
        self.dead = False
        self.remains: Remains | None = None
        self.said: list[str] = []
        self._chance = random.Random(f"life {run.plan.seed} {number}")
        self._most = self._chance.choice([1, 4, 2000])
        self._batch: tuple[Item, ...] = ()
        self.service = Service(
            run.shop,
            run.disk.path,
            run.world,
            say=self._say,
            reread=lambda: run.shop,
            surroundings=Surroundings(
                open_journal=journal_opener(self),
                session=session_type(self),
                dispatcher=partial(Dispatcher, worker=run.worker_type(self)),
                charts=Undrawn,
                wait=self._wait,
            ),
        )

    def live(self) -> None:
        """Run until stopped or killed; a journal that cannot be opened ends it as well."""
        try:
            self.service.run()
        except Crashed:
            assert self.remains is not None
        except JournalError as error:
            self.world.note(f"daemon {self.number} ends: {error}")
        self.dead = True

    def _say(self, text: str) -> None:
        self.said.append(text)
        self.world.note(f"daemon {self.number} says: {text}")

    def _wait(self, stop: threading.Event, seconds: float) -> bool:
        self.world.move(round(seconds * S), until=stop.is_set)
        return stop.is_set()

    # --- moments ------------------------------------------------------------------------------

    def idle_ms(self) -> int:
        """Return how long to wait for arrivals: rounds come less often than in life."""
        if self.world.t_ms >= self.run.plan.heals_ms:
            return SHORTEST_IDLE_MS  # what waits is to be through by the end
        return self._chance.choice([250, LONGEST_IDLE_MS, LONGEST_IDLE_MS, LONGEST_IDLE_MS])

    def most(self, most: int) -> int:
        """Return how many arrivals make a batch at most."""
        return min(most, self._most)

    def round(self) -> None:
        """A round of the loop begins."""
        self.before_statement()

    def drained(self, items: list[Item]) -> None:
        """A batch was taken out of the queue."""
        self._batch = tuple(items)

    def arrived(self, message: Message) -> None:
        """A message came over the wire."""
        self.run.arrivals_ms.setdefault(message.number, []).append(self.world.now_ms())

    def about_to_send(self, row: OutboxRow) -> None:
        """A message is handed to a push service."""
        if row.id > 0 and not self.run.is_committed(row):
            self.run.fault_found(f"{row.idempotency_key} is sent before it is on the disk")

    def after_send(self, row: OutboxRow) -> None:
        """A push service has the message; nobody has written that down."""
        if self.dead:  # what was on its way has come after the end
            self.run.unrecorded.add(row.idempotency_key)
        elif self._strikes(Kind.KILL_AFTER_SEND):
            self.die()

    def before_statement(self) -> None:
        """Whatever is asked of the disk, a dead process asks nothing."""
        if self.dead:
            raise Crashed

    def before_write(self) -> None:
        """A statement inside a transaction."""
        if self._strikes(Kind.KILL_AT_STATEMENT):
            self.die()

    def before_commit(self) -> None:
        """Everything is written but for the word."""
        if self._strikes(Kind.KILL_BEFORE_COMMIT):
            self.die()

    def tears_commit(self) -> bool:
        """Return whether the power is cut in this commit."""
        return self._strikes(Kind.POWER_CUT_IN_COMMIT)

    def committed(self, told: dict[str, Any]) -> None:
        """A batch of the writer's is on the disk."""
        self.run.commits.append(Committed(self._batch, told, self.world.t_ms))

    def after_commit(self, *, has_batch: bool) -> None:
        """It is on the disk, and nobody has been told."""
        held = any(isinstance(item, Arrived) for item in self._batch)
        if has_batch and held and self._strikes(Kind.KILL_BEFORE_ACK):
            self.die()
        if has_batch:
            self._batch = ()

    def before_ack(self) -> None:
        """An acknowledgement is about to be sent."""
        if self.dead:
            raise Crashed
        if self._strikes(Kind.KILL_AMID_ACKS):
            self.die()

    def _strikes(self, kind: Kind) -> bool:
        left = self.run.armed.get(kind)
        if left is None:
            return False
        if left > 0:
            self.run.armed[kind] = left - 1
            return False
        del self.run.armed[kind]
        self.world.touched[kind] += 1
        self.world.note(f"{kind} (daemon {self.number})")
        return True

    def die(
        self, image: Image | None = None, *, told: dict[str, Any] | None = None, text: str = ""
    ) -> NoReturn:
        """End here and now; the disk keeps what it has, or what it is said to have."""
        self.dead = True
        self.remains = Remains(image or self.disk.files(), told, text, self._batch)
        raise Crashed
