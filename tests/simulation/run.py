"""One run: the world, the lives of the daemon in it, and the faults as they begin and end."""

import json
import random
import sqlite3
from collections import Counter, deque
from collections.abc import Callable
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

from rimewatch.entries import AnyEntry
from rimewatch.intake.entries import parse_entry
from rimewatch.journal.checkpoints import load_state
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.outbox import OutboxRow
from rimewatch.report import chart
from rimewatch.service.mornings import IN_HAND_STATE
from simulation.broker import Broker
from simulation.disk import FAILS, FULL, Disk
from simulation.life import ARMED, Committed, Life, Remains
from simulation.phones import Phones, worker_type
from simulation.plan import PUSH, Fault, Kind, Message, Plan
from simulation.world import HOUR, MINUTE, S, World

RESTART_MS = 5 * S
"""After so long a service manager starts again what has ended."""
PATIENCE_MS = 40 * MINUTE
"""How long after the end everything may take to be drained."""
KEEPALIVE_MS = 45 * S
"""A connection that has gone silent is found out after a keepalive and a half."""

AT_BROKER = (
    Kind.LINK_DROP,
    Kind.LINK_SILENT,
    Kind.BROKER_RESTART,
    Kind.BROKER_FORGETS_ACKS,
    Kind.SESSION_LOST,
)
AT_PROBES = (Kind.PROBE_BACKLOG, Kind.PROBE_DISORDER, Kind.PROBE_TWICE, Kind.GARBAGE)
AT_DISK = (Kind.DISK_FULL, Kind.DISK_FAILS, Kind.DISK_SLOW)


@cache
def empty_journal() -> bytes:
    """Return a journal with its tables and nothing in them."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "empty.db"
        Journal.open(path).close()
        return path.read_bytes()


class Run:
    """Everything of one run.

    Args:
        plan: What happens in it.
        folder: Where its journal may lie; on a memory disk it is quickest.
    """

    life_type = Life
    worker_type = staticmethod(worker_type)

    def __init__(self, plan: Plan, folder: Path) -> None:
        self.plan = plan
        self.shop = plan.shop
        self.world = World(plan.start_ms)
        self.broker = Broker(self.world, random.Random(f"broker {plan.seed}"))
        self.phones = Phones(self.world, random.Random(f"phones {plan.seed}"))
        path = folder / "rimewatch.db"
        path.write_bytes(empty_journal())
        self.disk = Disk(self.world, random.Random(f"disk {plan.seed}"), path)
        self.commits: list[Committed] = []
        self.arrivals_ms: dict[int, list[int]] = {}
        """When each message arrived, by the machine's clock."""
        self.found: list[str] = []
        """What was seen to be wrong on the way."""
        self.armed: dict[Kind, int] = {}
        self.entered: list[tuple[int, AnyEntry]] = []
        self.unrecorded: set[str] = set()
        """Keys of messages that went out and whose daemon died before it wrote that down."""
        self.messages = {message.number: message for message in plan.messages}
        self._away_ms: dict[Kind, int] = {}
        self._held: dict[str, deque[Message]] = {}
        self._off: Counter[str] = Counter()
        self._disorder: set[str] = set()
        self._twice: Counter[str] = Counter()
        self._chance = random.Random(f"run {plan.seed}")
        self._life: Life | None = None
        self._restart_ms = RESTART_MS
        self.lives = 0

    def fault_found(self, what: str) -> None:
        """Note that a promise was broken."""
        self.found.append(what)
        self.world.note(f"WRONG: {what}")

    # --- from start to end --------------------------------------------------------------------

    def play(self) -> None:
        """Play it to the end, when everything is drained and the daemon has stopped."""
        world, plan = self.world, self.plan
        for message in plan.messages:
            world.at(message.made_ms, partial(self._send, message))
        for at_ms, body in plan.by_hand:
            world.at(at_ms, partial(self._enter, body))
        for fault in plan.faults:
            world.at(fault.at_ms, partial(self._begin, fault))
        world.at(plan.heals_ms, self._heal)
        world.at(plan.ends_ms, self._end)
        self._over = False
        with patch.object(chart, "unit_chart_png", lambda *_, **__: b""):
            self._live_on()

    def _live_on(self) -> None:
        world, plan = self.world, self.plan
        while not self._over:
            self._life = self.life_type(self, self.lives)
            self.lives += 1
            world.note(f"daemon {self._life.number} starts")
            self._restart_ms = RESTART_MS
            self._life.live()
            life, self._life = self._life, None
            self._bury(life)
            if not self._over:
                world.move(min(self._restart_ms, max(plan.heals_ms - world.t_ms, RESTART_MS)))

    def _bury(self, life: Life) -> None:
        """Disconnect a daemon that has ended; what the disk has kept is what the next one finds."""
        if self.broker.client is not None:
            self.broker.client = None
        if life.remains is not None:
            self.disk.put_back(life.remains.image)
            self._look_at(life.remains)
            self.world.note(f"daemon {life.number} is dead")
        self._look_for_unrecorded()

    def _look_at(self, remains: Remains) -> None:
        """Find out whether a torn commit has held."""
        connection = sqlite3.connect(self.disk.path, isolation_level=None)
        try:
            if remains.told is not None:
                sql = "SELECT text FROM state WHERE name = 'evaluator'"
                row = connection.execute(sql).fetchone()
                if row is not None and row[0] == remains.text:
                    self.commits.append(Committed(remains.batch, remains.told, self.world.t_ms))
                    self.disk.last_text = remains.text
                    self.world.note("the torn commit has held")
                else:
                    self.world.note("the torn commit is undone")
        finally:
            connection.close()

    def _look_for_unrecorded(self) -> None:
        """Find out what was sent and not written down; an orderly end may find the file locked."""
        connection = sqlite3.connect(self.disk.path, isolation_level=None)
        try:
            sent = dict(connection.execute("SELECT idempotency_key, sent_ms FROM outbox"))
        finally:
            connection.close()
        shown = {shown.row.idempotency_key for shown in self.phones.shown}
        self.unrecorded |= {key for key in shown if sent.get(key) is None}

    def is_committed(self, row: OutboxRow) -> bool:
        """Return whether another program finds a message in the outbox."""
        connection = sqlite3.connect(self.disk.path, isolation_level=None)
        try:
            sql = "SELECT 1 FROM outbox WHERE id = ? AND idempotency_key = ?"
            found = connection.execute(sql, (row.id, row.idempotency_key)).fetchone()
        finally:
            connection.close()
        return found is not None

    def _end(self) -> None:
        if self._is_drained():
            self._over = True
            assert self._life is not None
            self._life.die()
        elif self.world.t_ms > self.plan.ends_ms + PATIENCE_MS:
            self.fault_found("after everything has healed, it is not drained")
            self._over = True
            if self._life is not None:
                self._life.die()
        else:
            self.world.after(20 * S, self._end)

    def _is_drained(self) -> bool:
        if self._life is None or not self.broker.is_empty or any(self._held.values()):
            return False
        connection = sqlite3.connect(self.disk.path, isolation_level=None)
        try:
            sql = "SELECT count(*) FROM outbox WHERE sent_ms IS NULL AND given_up_ms IS NULL"
            (waiting,) = connection.execute(sql).fetchone()
            (entry,) = connection.execute("SELECT coalesce(max(id), 0) FROM entry").fetchone()
            in_hand = load_state(connection, IN_HAND_STATE) or "[]"
        finally:
            connection.close()
        if not self.commits or self.commits[-1].told["entry_number"] < entry:
            return False
        return not waiting and not json.loads(in_hand)  # a morning's charts may be under way

    # --- probes and people ----------------------------------------------------------------------

    def _send(self, message: Message) -> None:
        topic = message.topic
        if self._off[topic] or self._held.get(topic):
            self._held.setdefault(topic, deque()).append(message)
            self.world.touched[Kind.PROBE_BACKLOG] += bool(self._off[topic])
            return
        self._publish(message)
        if self._twice[topic]:
            self.world.touched[Kind.PROBE_TWICE] += 1
            again_ms = self._chance.randrange(1, 20 * MINUTE)
            self.world.after(again_ms, lambda: self._publish(message))

    def _publish(self, message: Message) -> None:
        if not self.broker.publish(message):
            self._held.setdefault(message.topic, deque()).append(message)
            self.world.after(self._chance.randrange(1, 20) * S, partial(self._flush, message.topic))

    def _flush(self, topic: str) -> None:
        held = self._held.get(topic)
        if not held or self._off[topic]:
            return
        if topic in self._disorder:
            self._disorder.discard(topic)
            self.world.touched[Kind.PROBE_DISORDER] += 1
            self._chance.shuffle(held)
        while held:
            if not self.broker.publish(held[0]):
                self.world.after(self._chance.randrange(1, 20) * S, partial(self._flush, topic))
                return
            held.popleft()

    def _enter(self, body: dict[str, object]) -> None:
        """Somebody enters something at the machine; tries again while the file is held."""
        if self._life is None and self.disk.full:
            self.world.after(MINUTE, partial(self._enter, body))
            return
        entry = parse_entry({**body, "who": "Ben"}, self.world.now_ms())
        try:
            with Journal.open(self.disk.path, check=False, busy_s=0) as journal:
                number = journal.add_entry(entry, "cli")
        except JournalError:
            self.world.after(20 * S, partial(self._enter, body))
            return
        self.entered.append((number, entry))
        self.world.note(f"entry {number}: {body['do']}")

    # --- faults -----------------------------------------------------------------------------

    def _begin(self, fault: Fault) -> None:
        self.world.note(f"FAULT {fault}")
        ends_ms = min(fault.at_ms + fault.for_ms, self.plan.heals_ms)

        def until(ends: Callable[[], None]) -> None:
            self.world.at(ends_ms, ends)

        kind = fault.kind
        if kind in PUSH:
            moods = self.phones.moods[fault.place]
            moods.append(kind)
            until(lambda: moods.remove(kind) if kind in moods else None)
        elif kind in ARMED:
            self._arm(fault)
        elif kind in AT_BROKER:
            self._disturb_broker(fault, until)
        elif kind in AT_PROBES:
            self._disturb_probe(fault, until)
        elif kind in AT_DISK:
            self._disturb_disk(fault, until)
        elif kind in (Kind.LOCKED, Kind.READER):
            self._open_beside(fault, ends_ms)
        elif kind in (Kind.CLOCK_STEP, Kind.CLOCK_JUMP):
            self.world.touched[kind] += 1
            step_ms = (1 + fault.number % 140) * S
            if kind is Kind.CLOCK_JUMP:
                step_ms = (1 + fault.number % 5) * HOUR
            self._turn_clock(step_ms if fault.number % 3 else -step_ms)
            until(lambda: self._turn_clock(0))
        else:
            self._disturb_daemon(fault)

    def _disturb_broker(self, fault: Fault, until: Callable[[Callable[[], None]], None]) -> None:
        broker, kind = self.broker, fault.kind
        if kind in (Kind.LINK_DROP, Kind.LINK_SILENT):
            self.world.touched[kind] += broker.client is not None
            broker.silent = kind is Kind.LINK_SILENT
            self.world.after(KEEPALIVE_MS if broker.silent else 0, broker.drop)
        else:
            self.world.touched[kind] += 1
            self._stop_broker(fault, until)

    def _disturb_probe(self, fault: Fault, until: Callable[[Callable[[], None]], None]) -> None:
        kind, place = fault.kind, fault.place
        if kind is Kind.GARBAGE:
            self.world.touched[kind] += 1
            self._send_garbage(fault)
        elif kind is Kind.PROBE_TWICE:
            self._twice[place] += 1
            until(lambda: self._twice.subtract({place: 1}))
        else:
            self._off[place] += 1
            if kind is Kind.PROBE_DISORDER:
                self._disorder.add(place)
            until(lambda: self._back(place))

    def _disturb_disk(self, fault: Fault, until: Callable[[Callable[[], None]], None]) -> None:
        disk, kind = self.disk, fault.kind
        if kind is Kind.DISK_FULL:
            disk.full = True
            until(lambda: setattr(disk, "full", False))
        elif kind is Kind.DISK_FAILS:
            disk.fails = FULL if fault.number % 2 else FAILS
            until(lambda: setattr(disk, "fails", None))
        else:
            disk.slow_ms = 100 + fault.number % 4000
            until(lambda: setattr(disk, "slow_ms", 0))

    def _disturb_daemon(self, fault: Fault) -> None:
        life, kind = self._life, fault.kind
        if kind is Kind.KILL_WAITING:
            self._kill(fault)
        elif kind is Kind.RELOAD_ZONE:
            self.world.touched[kind] += 1
            self.shop = replace(self.shop, timezone=fault.place)
            if life is not None:
                life.service.reload()
        elif life is not None:
            assert kind is Kind.RESTART, kind
            self.world.touched[kind] += 1
            self._restart_ms = fault.for_ms
            life.service.stop()

    def _turn_clock(self, to_ms: int) -> None:
        self.world.wall_offset_ms = to_ms
        self.world.note(f"the machine's clock is wrong by {to_ms / S:.0f} s")

    def _arm(self, fault: Fault) -> None:
        often = {Kind.KILL_AT_STATEMENT: 60, Kind.KILL_AMID_ACKS: 8}.get(fault.kind, 3)
        self.armed[fault.kind] = fault.number % often
        self._restart_ms = fault.for_ms

    def _kill(self, fault: Fault) -> None:
        life = self._life
        if life is None:
            return
        self.world.touched[fault.kind] += 1
        self._restart_ms = fault.for_ms
        image = self.disk.files()
        if fault.number % 2:  # a power cut: what lay behind the last commit may be anything
            image["-wal"] = image.get("-wal", b"") + self._chance.randbytes(fault.number % 9000)
        life.die(image)

    def _stop_broker(self, fault: Fault, until: Callable[[Callable[[], None]], None]) -> None:
        broker = self.broker
        broker.up = False
        broker.drop()
        if fault.kind is Kind.BROKER_FORGETS_ACKS:
            again = broker.forget_acks(self.messages)
            self.world.note(f"{again} acknowledgements are forgotten")
        elif fault.kind is Kind.SESSION_LOST:
            broker.lose_session()

        def back() -> None:
            broker.up = True

        until(back)

    def _back(self, topic: str) -> None:
        self._off[topic] = max(0, self._off[topic] - 1)
        self._flush(topic)

    def _send_garbage(self, fault: Fault) -> None:
        number = 1_000_000 + fault.number
        payload = self._chance.choice([b"", b"{", b'{"t": "warm"}', b'{"t": 999}', b"\xff\xfe"])
        topic = self._chance.choice(["shop/case-1/air", "shop/case-2/product"])
        message = Message(number=number, made_ms=self.world.t_ms, topic=topic, payload=payload)
        self.messages[number] = message
        self._publish(message)

    def _open_beside(self, fault: Fault, ends_ms: int) -> None:
        """Another program opens the file: holds it against writers, or reads for a long time."""
        if self.world.t_ms >= ends_ms:
            return
        other = sqlite3.connect(self.disk.path, isolation_level=None, timeout=0)
        try:
            other.execute("BEGIN IMMEDIATE" if fault.kind is Kind.LOCKED else "BEGIN")
            other.execute("SELECT count(*) FROM reading").fetchone()
        except sqlite3.OperationalError:
            other.close()
            self.world.after(S, lambda: self._open_beside(fault, ends_ms))
            return
        if fault.kind is Kind.READER:
            self.world.touched[fault.kind] += 1
        self.disk.others.append(other)
        self.world.at(ends_ms, other.close)

    def _heal(self) -> None:
        self.world.note("everything heals")
        self.armed.clear()
        self.phones.moods.clear()
        self.disk.fails, self.disk.full, self.disk.slow_ms = None, False, 0
        self.broker.up = True
        self._turn_clock(0)
        for topic in list(self._held):
            self._off[topic] = 0
            self._flush(topic)
        self._off.clear()
        self._twice.clear()
