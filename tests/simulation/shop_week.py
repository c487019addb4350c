"""A week of the whole service: restarts, reloads, people, and letters posted over real HTTP.

The service is that of :mod:`simulation.run`: its loop, writer, journal on an SQLite file, broker
session, outbox and dispatcher, on played time. Its letters go by its own channels to a real server.
"""

import json
import random
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Final

from http_receiver import Answer, Receiver
from rimewatch.alarms import codec
from rimewatch.alarms.alarm import Alarm
from rimewatch.clock import Clock
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.entering import EntryRefusedError, enter
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.outbox import OutboxRow
from rimewatch.journal.reader import JournalReader
from rimewatch.notify.channel import MACHINE, Channel
from rimewatch.notify.contact_worker import ContactWorker, _Handed
from rimewatch.notify.letter import Extras
from rimewatch.notify.redaction import secrets_of
from rimewatch.notify.results import Delivered, Limits, Result
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import ALARM_STATE, account_of, resume
from rimewatch.shop import Contact
from simulation.life import Life
from simulation.phones import PlayedWorker, Shown
from simulation.plan import Kind
from simulation.plant import FREEZER, Setup
from simulation.run import Run
from simulation.week import Week
from simulation.world import MINUTE, S

IDLE_MS: Final = 59 * S
"""An idle round of the service's loop comes so often: seldom for a service, at no cost to it."""
TOGETHER_MS: Final = 250
"""What arrives within so long is one batch: the service's own tick."""
SHELF_MS: Final = 40 * MINUTE
PROMISE_MS: Final = 30 * MINUTE


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A letter that a person's phone has shown."""

    at_ms: int
    path: str
    """Where it was posted to."""
    row: OutboxRow
    body: str


class Post(Receiver):
    """The server behind everybody's phone; knows where each letter was posted to."""

    def __post_init__(self) -> None:
        self.taken: list[str] = []
        super().__post_init__()

    def take(self, body: bytes) -> Answer:
        """Note its words, if it takes it."""
        answer = super().take(body)
        if answer in (Answer.TAKE, Answer.LOSE):
            self.taken.append(str(json.loads(body)["message"]))
        return answer


class PostingWorker(PlayedWorker):
    """Sends over HTTP, by the service's own channels, when played time comes to it."""

    def __init__(
        self,
        contact: Contact,
        clock: Clock,
        *,
        report: Callable[[Result], None],
        limits: Limits,
        extras: Callable[[OutboxRow, int], Extras],
    ) -> None:
        super().__init__(contact, clock, report=report, limits=limits, extras=extras)
        self._limits = limits
        self._abandoned = threading.Event()
        self._path = contact.urls[0].rpartition("/")[2]
        secrets = secrets_of(contact.urls)
        self._channels = tuple(
            Channel(url, secrets=secrets, limits=limits, clock=clock) for url in contact.urls
        )

    def stop(self) -> None:
        super().stop()
        for channel in self._channels:
            channel.stop()

    def _end(self, row: OutboxRow, mood: Kind | None) -> None:
        if self.life.dead:
            return
        run: WeekRun = self.life.run
        run.post.answer = {
            Kind.PUSH_500: Answer.REFUSE,
            Kind.PUSH_LOSES: Answer.LOSE,
            None: Answer.TAKE,
        }[mood]
        before = len(run.post.taken)
        now_ms = self._clock.now_ms()
        result = ContactWorker._carried(self, _Handed(row, now_ms, MACHINE.monotonic_s()))
        if len(run.post.taken) > before:
            run.heard.append(
                Heard(at_ms=run.world.true_ms(), path=self._path, row=row, body=run.post.taken[-1])
            )
            is_lost = not isinstance(result, Delivered)
            self.life.phones.shown.append(
                Shown(run.world.t_ms, self.life.number, row, reply_lost=is_lost)
            )
            run.world.note(f"{self._path}'s phone shows {row.idempotency_key}: {row.title}")
            self.life.after_send(row)
        self._busy = False
        self._report(result)
        self._begin()


def posting_worker_type(life: Any) -> type[ContactWorker]:
    """Return a worker for one life."""
    return type("ItsWorker", (PostingWorker,), {"life": life})


class WeekLife(Life):
    """One process of the service, with a batch for what arrives together."""

    together_ms = TOGETHER_MS

    def idle_ms(self) -> int:
        """Return how long to wait for arrivals."""
        return IDLE_MS

    def most(self, most: int) -> int:
        """Return how many arrivals make a batch at most."""
        return most


class WeekRun(Run):
    """A week, and what became known of it to people.

    Args:
        planned: The week.
        folder: Where its journal may lie.
        post: Where letters are posted to.
    """

    life_type = WeekLife
    worker_type = staticmethod(posting_worker_type)
    plan: Week

    def __init__(self, planned: Week, folder: Path, post: Post) -> None:
        super().__init__(planned, folder)
        self.week = planned
        self.post = post
        self.heard: list[Heard] = []
        self.setups: list[tuple[int, Setup]] = []
        """From when on the shop was configured how."""
        self.reloaded: list[tuple[int, str, str, list[Alarm]]] = []
        """When a reload came and of what, where whoever is on call is reached, and what stood."""
        self.shelved: list[tuple[int, int, str | None, str]] = []
        self.acknowledged: list[tuple[int, int, str]] = []
        """When, how long it may last, and what."""
        self.alarms: dict[str, Alarm] = {}
        self.ledger: dict[str, Any] = {}
        self.noted_sent: list[str] = []
        """Keys of the messages that the record says were delivered."""
        self._people = random.Random(f"people {planned.seed}")
        self._changes = 0
        self._use(replace(planned.setup, address=self._address("first")))

    def _address(self, contact: str) -> str:
        return f"json://127.0.0.1:{self.post.port}/{contact}-{self._changes}"

    def _use(self, setup: Setup) -> None:
        self.setups.append((self.world.true_ms(), setup))
        self.shop = setup.shop()

    def play(self) -> None:
        """Play it to its end, and take from the journal what it holds then."""
        week, world = self.week, self.world
        for at_ms, what in week.reloads:
            world.at(at_ms - week.start_ms, partial(self._reload, what))
        for at_ms, what in week.deeds:
            world.at(at_ms - week.start_ms, partial(self._look_and, what))
        for hold in week.holds:
            goods = {"do": "receive-lot", "species": "salmon", "origin": "wild"}
            goods |= {"serve_raw": True, "thickness_mm": 20, "lot": hold.lot}
            freezing = {"do": "start-freezing", "lot": hold.lot, "unit": FREEZER}
            at_ms = hold.from_ms - week.start_ms
            world.at(at_ms, partial(self._enter, goods))
            world.at(at_ms + S, partial(self._enter, freezing | {"option": hold.option}))
        super().play()
        with JournalReader.open(self.disk.path) as journal:
            self.alarms = {
                alarm.id: alarm
                for row in journal.alarms_between(0, 2**53)
                for alarm in (codec.alarm_from_json(row.text),)
            }
            sql = "SELECT idempotency_key FROM outbox WHERE sent_ms IS NOT NULL ORDER BY id"
            self.noted_sent = [row[0] for row in journal._connection.execute(sql)]
            evaluator = resume(self.shop, journal, week.over_ms).evaluator
            account = account_of(journal, evaluator, week.start_ms, week.over_ms)
            self.ledger = ledger_document(
                build_ledger(self.shop, journal, account, from_ms=week.start_ms, to_ms=week.over_ms)
            )

    # --- people -------------------------------------------------------------------------------

    def _enter(self, body: dict[str, object]) -> None:
        """Somebody enters something by the door; tries again while the file is held."""
        now_ms = self.world.now_ms()
        entry = parse_entry({**body, "who": "Ada"}, now_ms)
        try:
            with Journal.open(self.disk.path, check=False, busy_s=0) as journal, journal.batch():
                enter(journal, self.shop, entry, "cli", now_ms)
        except EntryRefusedError as refused:
            self.world.note(f"refused: {body}: {refused}")
        except JournalError:
            self.world.after(20 * S, partial(self._enter, body))

    def _standing(self) -> list[Alarm]:
        """Return the alarms that stand and that somebody was told of, as the journal has them."""
        with JournalReader.open(self.disk.path) as journal:
            text = journal.load_state(ALARM_STATE)
        state = None if text is None else codec.from_json(text)
        alarms = () if state is None else state.alarms.values()
        return sorted(
            (a for a in alarms if a.active and a.told and not a.silent), key=lambda a: a.id
        )

    def _look_and(self, what: str) -> None:
        """Somebody looks at what stands, and acknowledges or shelves one of it."""
        standing = self._standing()
        if not standing:
            return
        alarm = self._people.choice(standing)
        at_ms = self.world.true_ms()
        body: dict[str, object] = {"unit": alarm.key.unit, "rule": alarm.key.rule.value}
        self.world.note(f"somebody will {what} {alarm.id}")
        if what == "shelve":
            self._enter(body | {"do": "shelve", "minutes": SHELF_MS // MINUTE})
            self.shelved.append((at_ms, at_ms + SHELF_MS, alarm.key.unit, alarm.key.rule.value))
        elif what == "promise":
            self._enter(body | {"do": "acknowledge", "back_within_min": PROMISE_MS // MINUTE})
            self.acknowledged.append((at_ms, PROMISE_MS, alarm.id))
        else:
            self._enter(body | {"do": "acknowledge"})
            lasts_ms = round(self.shop.acknowledged_for_s) * S
            self.acknowledged.append((at_ms, lasts_ms, alarm.id))

    def _reload(self, what: str) -> None:
        """The configuration is changed, and read again by a service that runs."""
        setup = self.setups[-1][1]
        self._changes += 1
        if what == "contact":
            contact = "other" if setup.contact == "first" else "first"
            setup = replace(setup, contact=contact, address=self._address(contact))
        elif what == "address":
            setup = replace(setup, address=self._address(setup.contact))
        elif what == "limit":
            setup = replace(setup, limit_c=4.0 if setup.limit_c == 5.0 else 5.0)
        elif what == "uncertainty":
            setup = replace(setup, uncertainty_c=0.4 if setup.uncertainty_c == 0.3 else 0.3)
        elif what == "probe":
            setup = replace(setup, probe="new" if setup.probe == "one" else "one")
        elif what == "name":
            setup = replace(setup, name="Case at the door")
        elif what == "unit":
            setup = replace(setup, has_third=not setup.has_third)
        standing = self._standing()
        self.world.note(f"reload: {what or 'the same'}")
        self._use(setup)
        path = setup.address.rpartition("/")[2]
        self.reloaded.append((self.world.true_ms(), what, path, standing))
        if self._life is not None:
            self._life.service.reload()
