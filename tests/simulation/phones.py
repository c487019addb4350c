"""Played push services, and a contact's worker without its thread."""

import heapq
import random
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from rimewatch.clock import Clock
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.contact_worker import ContactWorker
from rimewatch.notify.letter import Extras, letter
from rimewatch.notify.results import ContactHealth, Delivered, Failed, Limits, Result
from rimewatch.shop import Contact
from rimewatch.vocabulary import ContactId
from simulation.plan import Kind
from simulation.world import S, World

HANG_MS: Final = round(Limits().channel_s * S)
DELIVERS: Final = (None, Kind.PUSH_SLOW, Kind.PUSH_LOSES)


@dataclass(frozen=True, slots=True)
class Shown:
    """A message that a phone showed."""

    at_ms: int
    life: int
    row: OutboxRow
    reply_lost: bool


class Phones:
    """All contacts' push services, and what their phones showed."""

    def __init__(self, world: World, chance: random.Random) -> None:
        self.world = world
        self.chance = chance
        self.moods: dict[str, list[Kind]] = defaultdict(list)
        self.shown: list[Shown] = []

    def mood(self, contact: ContactId) -> Kind | None:
        """Return what is wrong with a contact's service now; None: nothing."""
        wrong = self.moods[contact] or self.moods["all"]
        return wrong[-1] if wrong else None


class PlayedWorker(ContactWorker):
    """Sends when played time passes."""

    life: Any

    def __init__(
        self,
        contact: Contact,
        clock: Clock,
        *,
        report: Callable[[Result], None],
        limits: Limits,
        extras: Callable[[OutboxRow, int], Extras],
    ) -> None:
        del limits
        self._contact = contact.id
        self._clock = clock
        self._report = report
        self._extras = extras
        self._heap: list[tuple[int, int, OutboxRow]] = []
        self._busy = False
        self._stopping = False

    def put(self, row: OutboxRow) -> None:
        heapq.heappush(self._heap, (not row.urgent, row.id, row))
        self._begin()

    def stop(self) -> None:
        self._stopping = True

    def join(self, end_s: float) -> bool:
        del end_s
        if not self.life.dead:
            self.life.world.move(5 * S, until=lambda: not self._busy)
        return not self._busy

    def health(self) -> ContactHealth:
        return ContactHealth(
            contact=self._contact,
            alive=True,
            waiting=len(self._heap),
            last_delivered_ms=None,
            last_failed_ms=None,
            channels=(),
        )

    def _begin(self) -> None:
        if self._busy or self._stopping or not self._heap:
            return
        row = heapq.heappop(self._heap)[2]
        self._busy = True
        written = letter(row, self._extras(row, self._clock.now_ms()))
        assert written is not None, f"message {row.id} has no words"
        self.life.about_to_send(row)
        mood = self.life.phones.mood(self._contact)
        if mood is not None:
            self.life.world.touched[mood] += 1
        takes_ms = {
            None: 300,
            Kind.PUSH_SLOW: self.life.phones.chance.randrange(1, 19) * S,
            Kind.PUSH_DOWN: 10,
            Kind.PUSH_500: S,
            Kind.PUSH_HANGS: HANG_MS,
            Kind.PUSH_LOSES: 500,
        }[mood]
        self.life.world.after(takes_ms, lambda: self._end(row, mood))

    def _end(self, row: OutboxRow, mood: Kind | None) -> None:
        # What was on its way when the daemon died may still arrive.
        if mood in DELIVERS:
            self.life.phones.shown.append(
                Shown(
                    self.life.world.t_ms, self.life.number, row, reply_lost=mood is Kind.PUSH_LOSES
                )
            )
            self.life.world.note(f"{self._contact}'s phone shows {row.idempotency_key} #{row.id}")
            self.life.after_send(row)
        if self.life.dead:
            return
        self._busy = False
        now_ms = self._clock.now_ms()
        if mood in (None, Kind.PUSH_SLOW):
            self._report(Delivered(id=row.id, at_ms=now_ms, channel=0))
        else:
            self._report(Failed(id=row.id, at_ms=now_ms, error=str(mood), permanent=False))
        self._begin()


def worker_type(life: Any) -> type[ContactWorker]:
    """Return a worker for one life."""
    return type("ItsWorker", (PlayedWorker,), {"life": life})
