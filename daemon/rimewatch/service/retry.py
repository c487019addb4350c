"""Quarantine read once more, after the configuration was mended.

Only what is kept whole: a payload that was cut off could read as another value. The values of
one message that were refused each have a row; the message is read once. What gives
a reading now is taken in late, at its own time or that of its first arrival, like a backlog;
it then leaves quarantine. The counts of what was once not believed stay.
"""

from dataclasses import dataclass, field, replace
from typing import Final

from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.intake.receiver import Received, Receiver
from rimewatch.journal.journal import Journal
from rimewatch.journal.quarantine import ROWS_KEPT
from rimewatch.journal.reader import JournalReads
from rimewatch.readings import Reading, Reason
from rimewatch.shop import Shop

RETRIED: Final = (Reason.UNDECODABLE, Reason.UNKNOWN_TOPIC, Reason.OUT_OF_RANGE)
"""Why a message may have been refused that another configuration takes."""


@dataclass(slots=True)
class Retried:
    """What came of reading quarantine once more."""

    looked_at: int = 0
    cut_off: int = 0
    """Not kept whole, so not read."""
    numbers: list[int] = field(default_factory=list)
    """Rows that gave readings and nothing else."""
    readings: list[Reading] = field(default_factory=list)


def read_again(journal: JournalReads, receiver: Receiver) -> Retried:
    """Read what is kept in quarantine with a receiver, the oldest first; change nothing."""
    found = Retried()
    last: tuple[int, str, bytes] | None = None
    received = Received()
    for number, row in reversed(journal.quarantine_rows(ROWS_KEPT)):
        if row.reason not in RETRIED:
            continue
        found.looked_at += 1
        kept = replace(row, whole=journal.quarantine_payload(number))
        if kept.payload is None:
            found.cut_off += 1
            continue
        message = (kept.arrived_ms, kept.topic, kept.payload)
        is_further = message == last
        if not is_further:
            last, received = message, receiver.receive(kept.topic, kept.payload, kept.arrived_ms)
        if received.readings and not received.quarantined:
            found.numbers.append(number)
            found.readings += () if is_further else received.readings
    return found


def try_out(shop: Shop, journal: JournalReads) -> Retried:
    """Return what a configuration would make of quarantine."""
    return read_again(journal, Receiver(shop))


def retry_quarantine(journal: Journal, receiver: Receiver, evaluator: Evaluator) -> Retried:
    """Take in what quarantine gives now; inside the writer's batch.

    A receiver of its own reads: what it remembers of old messages must not touch what is
    known of the probes now.
    """
    reader = receiver.alike(evaluator.entries)
    found = read_again(journal, reader)
    news = journal.add_readings(found.readings) if found.readings else []
    for reading, is_new in zip(found.readings, news, strict=True):
        if is_new:
            evaluator.observe(reading)
    journal.drop_quarantined(found.numbers)
    journal.add_event(
        evaluator.now_ms,
        "quarantine retried",
        f"{len(found.numbers)} of {found.looked_at} messages gave {len(found.readings)} readings",
    )
    return found
