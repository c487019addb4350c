"""Replay: a trace of what arrived, through the same code as the live service.

Needs no broker and no network, sends nothing, and runs on the trace's own time. The
same input gives the same ledger and the same summaries, to the byte.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.effects import Send
from rimewatch.entries import AnyEntry
from rimewatch.evaluation.clock_note import ClockNote
from rimewatch.evaluation.door import BooksInMemory, Refusal, check, is_known
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.ledger import Account, Ledger, MessageRecord, build_ledger
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.outcome import AlarmKept, Noted, SummaryDue
from rimewatch.evaluation.quarantine_tally import QuarantineTally
from rimewatch.evaluation.settings import offsets_set
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceEntry, TraceMessage, TraceReading
from rimewatch.report.morning import Morning, render_morning
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, ProbeId


class EmptyTraceError(ValueError):
    """A trace without a single line: there is nothing to say of it."""


@dataclass(slots=True)
class _Books:
    """What the outcomes of a replay amount to so far."""

    alarms: dict[str, Alarm] = field(default_factory=dict)
    messages: list[MessageRecord] = field(default_factory=list)
    mornings: dict[date, Morning] = field(default_factory=dict)
    clocks: dict[ProbeId, ClockNote] = field(default_factory=dict)
    entered: BooksInMemory = field(default_factory=BooksInMemory)
    refused: list[Refusal] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """What a replay gives."""

    ledger: Ledger
    mornings: dict[date, Morning]
    """The summary of every morning inside the trace."""


def replay(
    shop: Shop,
    trace: Iterable[TraceMessage | TraceEntry | TraceReading],
    *,
    on_line: Callable[[int], None] | None = None,
    summaries: bool = True,
) -> Replayed:
    """Evaluate a trace.

    Args:
        shop: The shop.
        trace: Its lines, in order of arrival.
        on_line: Told the instant of each line, for a progress display.
        summaries: Whether to write the mornings' summaries; the ledger is the same without.

    Raises:
        EmptyTraceError: If there is no line.
        TraceError: At the first line that can't be read.
    """
    receiver = Receiver(shop)
    store = MemoryStore()
    tally = QuarantineTally()
    books = _Books()
    evaluator: Evaluator | None = None
    first_ms, last_ms, now_ms = None, None, 0
    for line in trace:
        now_ms = max(now_ms, line.at_ms)
        if evaluator is None:
            # Nobody reads the messages: the ledger says when each was sent, and to whom.
            evaluator = Evaluator(shop, store, now_ms, describes=False)
        evaluator.advance(now_ms)
        event_ms = _take(line, receiver, store, tally, evaluator, books)
        first_ms = min(event_ms if first_ms is None else [first_ms, *event_ms])
        last_ms = max(event_ms if last_ms is None else [last_ms, *event_ms])
        books.clocks.update(receiver.clock_notes())
        _keep(shop, store, evaluator, tally, books, summaries=summaries)
        if on_line is not None:
            on_line(line.at_ms)
    if evaluator is None or first_ms is None or last_ms is None:
        raise EmptyTraceError(
            "the trace has no line; expected JSON lines, one message or entry each"
        )
    evaluator.finish(max(now_ms, last_ms))
    _keep(shop, store, evaluator, tally, books, summaries=summaries)
    return Replayed(
        ledger=build_ledger(
            shop, store, _account(evaluator, tally, books), from_ms=first_ms, to_ms=last_ms
        ),
        mornings=books.mornings,
    )


def _take(
    line: TraceMessage | TraceEntry | TraceReading,
    receiver: Receiver,
    store: MemoryStore,
    tally: QuarantineTally,
    evaluator: Evaluator,
    books: _Books,
) -> list[int]:
    """Take one line in; return the instants of what it says."""
    if isinstance(line, TraceEntry):
        _enter(line.entry, receiver, evaluator, books, None if line.is_kept else line.at_ms)
        return [line.at_ms]
    if isinstance(line, TraceReading):
        if store.add(line.reading):
            evaluator.observe(line.reading)
        return [line.reading.observed_ms]
    received = receiver.receive(line.topic, line.payload, line.at_ms, retained=line.retained)
    if received.entry is not None and not is_known(received.entry, evaluator.entries):
        _enter(received.entry, receiver, evaluator, books, line.at_ms)
    tally.add(received.quarantined)
    evaluator.leave_unread(received.unread)
    for probe in received.gone:
        evaluator.lose(probe)
    for reading in received.readings:
        if store.add(reading):
            evaluator.observe(reading)
    return [reading.observed_ms for reading in received.readings] or [line.at_ms]


def _enter(
    entry: AnyEntry,
    receiver: Receiver,
    evaluator: Evaluator,
    books: _Books,
    asked_ms: int | None,
) -> None:
    """Take an entry in, or list why not; one that is on the books already is not asked for."""
    if asked_ms is not None:
        refusal = check(entry, evaluator.shop, books.entered, asked_ms)
        if refusal is not None:
            books.refused.append(refusal)
            return
    receiver.enter(entry)
    evaluator.enter(entry)
    books.entered.add(evaluator.entries[-1])


def _account(evaluator: Evaluator, tally: QuarantineTally, books: _Books) -> Account:
    return Account(
        entries=evaluator.entries,
        alarms=list(books.alarms.values()),
        messages=books.messages,
        refused=books.refused,
        quarantined=tally.count,
        quarantine=tally.rows(),
        batteries=evaluator.batteries,
        clocks=books.clocks,
        changes=offsets_set(evaluator.shop, evaluator.entries),
    )


def _keep(
    shop: Shop,
    store: MemoryStore,
    evaluator: Evaluator,
    tally: QuarantineTally,
    books: _Books,
    *,
    summaries: bool,
) -> None:
    for outcome in evaluator.take_outcomes():
        match outcome:
            case AlarmKept(alarm=alarm):
                books.alarms[alarm.id] = alarm
            case Send() as send:
                books.messages.append(
                    MessageRecord(
                        at_ms=send.at_ms,
                        contact=send.contact,
                        unit=send.key.unit,
                        rule=send.key.rule,
                        about=send.about,
                    )
                )
            case SummaryDue():
                if summaries:
                    books.mornings[outcome.day] = render_morning(
                        shop,
                        store,
                        _account(evaluator, tally, books),
                        evaluator.histories(),
                        from_ms=outcome.from_ms,
                        to_ms=outcome.to_ms,
                    )
                books.messages.extend(
                    MessageRecord(
                        at_ms=outcome.to_ms,
                        contact=contact,
                        unit=None,
                        rule=None,
                        about=About.SUMMARY,
                    )
                    for contact in outcome.contacts
                )
            case Noted():
                pass
