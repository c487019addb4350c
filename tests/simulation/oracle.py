"""What should have been concluded: the evaluator alone, in memory, with nothing that fails.

Twice: over what the probes published, at once and in order, which the ledger's figures must
equal; and over the batches as they came onto the disk, which the alarms and messages must.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.effects import Send
from rimewatch.entries import AnyEntry
from rimewatch.evaluation.door import is_known
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.outcome import AlarmKept, SummaryDue
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceMessage
from rimewatch.readings import Reading
from rimewatch.shop import Shop
from simulation.life import Committed


@dataclass(slots=True)
class Concluded:
    """What an evaluator has concluded."""

    evaluator: Evaluator
    store: MemoryStore
    alarms: dict[str, Alarm] = field(default_factory=dict)
    sent: list[Send] = field(default_factory=list)
    mornings: list[date] = field(default_factory=list)

    def keep(self) -> None:
        """Take what there is to write and to send."""
        for outcome in self.evaluator.take_outcomes():
            match outcome:
                case AlarmKept(alarm=alarm):
                    self.alarms[alarm.id] = alarm
                case Send():
                    self.sent.append(outcome)
                case SummaryDue(day=day):
                    self.mornings.append(day)


def published(shop: Shop, trace: Sequence[TraceMessage]) -> list[Reading]:
    """Return the readings in messages that arrive at once."""
    receiver = Receiver(shop)
    return [
        reading
        for line in trace
        for reading in receiver.receive(line.topic, line.payload, line.at_ms).readings
    ]


def store_of(readings: Sequence[Reading]) -> MemoryStore:
    """Return a store of readings."""
    store = MemoryStore()
    for reading in readings:
        store.add(reading)
    return store


def conclude(shop: Shop, commits: Sequence[Committed], entries: Sequence[AnyEntry]) -> Concluded:
    """Evaluate the batches that came onto the disk, in their order, in one life.

    Args:
        shop: The shop.
        commits: The writer's batches.
        entries: All entries by their numbers, beginning with 1.
    """
    store, receiver = MemoryStore(), Receiver(shop)
    evaluator = Evaluator(shop, store, commits[0].told["watching_since_ms"])
    found = Concluded(evaluator, store)
    taken = 0
    for commit in commits:
        last = commit.told["entry_number"]
        fresh = entries[taken:last]
        by_broker = _entries_in(shop, commit)
        waiting = deque(e for e in fresh if not is_known(e, by_broker))
        for entry in waiting:
            receiver.enter(entry)
        _take(commit, fresh, waiting, receiver, found)
        taken = last
        evaluator.advance(commit.told["seen_until_ms"])
        found.keep()
    return found


def _entries_in(shop: Shop, commit: Committed) -> list[AnyEntry]:
    receiver = Receiver(shop)
    found = []
    for item in commit.items:
        if isinstance(item, Arrived) and item.topic == shop.broker.entry_topic:
            entry = receiver.receive(item.topic, item.payload, item.arrived_ms).entry
            if entry is not None:
                found.append(entry)
    return found


def _take(
    commit: Committed,
    fresh: Sequence[AnyEntry],
    waiting: deque[AnyEntry],
    receiver: Receiver,
    found: Concluded,
) -> None:
    evaluator, store = found.evaluator, found.store
    received = []
    for item in commit.items:
        if not isinstance(item, Arrived):
            continue
        told = receiver.receive(item.topic, item.payload, item.arrived_ms)
        received.append((item.arrived_ms, told))
        if told.entry is not None and not is_known(told.entry, (*evaluator.entries, *waiting)):
            entry = next(e for e in fresh if is_known(told.entry, [e]))
            receiver.enter(entry)
            waiting.append(entry)
    for arrived_ms, told in received:
        while waiting and waiting[0].at_ms <= arrived_ms:
            _enter(waiting.popleft(), evaluator)
        evaluator.advance(arrived_ms)
        evaluator.leave_unread(told.unread)
        for reading in told.readings:
            if store.add(reading):
                evaluator.observe(reading)
        found.keep()
    while waiting:
        _enter(waiting.popleft(), evaluator)


def _enter(entry: AnyEntry, evaluator: Evaluator) -> None:
    evaluator.advance(entry.at_ms)
    evaluator.enter(entry)
