"""Replay: a trace of what arrived, through the same code as the live service.

Needs no broker and no network, sends nothing, and runs on the trace's own time. The
same input gives the same ledger and the same summaries, to the byte.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.effects import Send
from rimewatch.config.changing import Way, fault_of, past_shop, shop_of
from rimewatch.entries import AnyEntry, ChangeSettings, CorrectPlace
from rimewatch.evaluation.clock_note import ClockNote
from rimewatch.evaluation.door import BooksInMemory, Refusal, check, is_known
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.ledger import Account, Ledger, MessageRecord, build_ledger
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.outcome import AlarmKept, Noted, SummaryDue
from rimewatch.evaluation.over_time import followed_by, placed_anew
from rimewatch.evaluation.quarantine_tally import QuarantineTally
from rimewatch.evaluation.settings import Change, differences, offsets_set, settings_of
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceEntry, TraceMessage, TraceReading
from rimewatch.readings import Reading
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
    source: str = "shop.toml",
    folder: Path | None = None,
) -> Replayed:
    """Evaluate a trace.

    Args:
        shop: The shop, as it is configured when the trace begins.
        trace: Its lines, in order of arrival.
        on_line: Told the instant of each line, for a progress display.
        summaries: Whether to write the mornings' summaries; the ledger is the same without.
        source: What the configuration is called where settings in the trace are refused.
        folder: Where relative paths in such settings start; None: the working folder.

    Raises:
        EmptyTraceError: If there is no line.
        TraceError: At the first line that can't be read.
    """
    course: _Course | None = None
    first_ms, last_ms, now_ms = None, None, 0
    for line in trace:
        now_ms = max(now_ms, line.at_ms)
        if course is None:
            course = _Course(shop, now_ms, (source, folder), summaries=summaries)
        course.evaluator.advance(now_ms)
        event_ms = course.take(line)
        first_ms = min(event_ms if first_ms is None else [first_ms, *event_ms])
        last_ms = max(event_ms if last_ms is None else [last_ms, *event_ms])
        course.note_clocks()
        course.keep()
        if on_line is not None:
            on_line(line.at_ms)
    if course is None or first_ms is None or last_ms is None:
        raise EmptyTraceError(
            "the trace has no line; expected JSON lines, one message or entry each"
        )
    course.evaluator.finish(max(now_ms, last_ms))
    course.keep()
    return Replayed(
        ledger=build_ledger(
            course.evaluator.shop,
            course.store,
            course.account(),
            from_ms=first_ms,
            to_ms=last_ms,
        ),
        mornings=course.books.mornings,
    )


class _Course:
    """A replay on its way: what has come so far, and what follows from it.

    Args:
        shop: The shop as it is when the trace begins.
        at_ms: When it begins.
        file: What the configuration is called, and the folder it lies in.
        summaries: Whether to write the mornings' summaries.
    """

    def __init__(
        self, shop: Shop, at_ms: int, file: tuple[str, Path | None], *, summaries: bool
    ) -> None:
        self.store = MemoryStore()
        self.books = _Books()
        self._receiver = Receiver(shop)
        self._tally = QuarantineTally()
        # Nobody reads the messages: the ledger says when each was sent, and to whom.
        self.evaluator = Evaluator(shop, self.store, at_ms, describes=False)
        self._source, self._folder = file
        self._changes: list[Change] = []
        self._summaries = summaries

    def take(self, line: TraceMessage | TraceEntry | TraceReading) -> list[int]:
        """Take one line in; return the instants of what it says."""
        if isinstance(line, TraceEntry):
            self._enter(line.entry, None if line.is_kept else line.at_ms)
            return [line.at_ms]
        if isinstance(line, TraceReading):
            self._observe(line.reading)
            return [line.reading.observed_ms]
        received = self._receiver.receive(
            line.topic, line.payload, line.at_ms, retained=line.retained
        )
        if received.entry is not None and not is_known(received.entry, self.evaluator.entries):
            self._enter(received.entry, line.at_ms)
        self._tally.add(received.quarantined)
        self.evaluator.leave_unread(received.unread)
        for probe in received.gone:
            self.evaluator.lose(probe)
        for reading in received.readings:
            self._observe(reading)
        return [reading.observed_ms for reading in received.readings] or [line.at_ms]

    def _observe(self, reading: Reading) -> None:
        if self.store.add(reading):
            self.evaluator.observe(reading)

    def _enter(self, entry: AnyEntry, asked_ms: int | None) -> None:
        """Take an entry in, or list why not; one on the books already is not asked for."""
        if asked_ms is not None:
            refusal = check(
                entry,
                self.evaluator.shop,
                self.books.entered,
                asked_ms,
                settings_fault=self._fault_of,
            )
            if refusal is not None:
                self.books.refused.append(refusal)
                return
        self._receiver.enter(entry)
        self.evaluator.enter(entry)
        self.books.entered.add(self.evaluator.entries[-1])
        if isinstance(entry, ChangeSettings):
            self._use(entry)
        elif isinstance(entry, CorrectPlace):
            self._go_on(placed_anew(self.evaluator.shop, entry))

    def _fault_of(self, entry: ChangeSettings) -> str:
        return fault_of(entry, source=self._source, folder=self._folder)

    def _use(self, entry: ChangeSettings) -> None:
        """Go on under other settings; what came before stays under those of before."""
        before = self.evaluator.shop
        if entry.way == Way.START:
            after = past_shop(entry.settings)
        else:
            given = shop_of(entry, source=self._source, folder=self._folder)
            # Settings never hold for a time before they were made.
            from_ms = max(entry.from_ms, self.evaluator.now_ms)
            after = followed_by(before, given, from_ms)
            changes = differences(settings_of(before), settings_of(given), from_ms)
            self._changes.extend(replace(change, who=entry.who) for change in changes)
        self._go_on(after)

    def _go_on(self, after: Shop) -> None:
        self.note_clocks()
        self._receiver = self._receiver.under(after, self.evaluator.entries)
        self.evaluator = self.evaluator.under(after)

    def note_clocks(self) -> None:
        """Note what is known of the probes' clocks by now."""
        self.books.clocks.update(self._receiver.clock_notes())

    def account(self) -> Account:
        """Return what a ledger is made of by now, besides the readings."""
        evaluator, books = self.evaluator, self.books
        return Account(
            entries=evaluator.entries,
            alarms=list(books.alarms.values()),
            messages=books.messages,
            refused=books.refused,
            quarantined=self._tally.count,
            quarantine=self._tally.rows(),
            batteries=evaluator.batteries,
            clocks=books.clocks,
            changes=[*self._changes, *offsets_set(evaluator.shop, evaluator.entries)],
        )

    def keep(self) -> None:
        """Keep what was concluded since the last call."""
        for outcome in self.evaluator.take_outcomes():
            match outcome:
                case AlarmKept(alarm=alarm):
                    self.books.alarms[alarm.id] = alarm
                case Send() as send:
                    self.books.messages.append(
                        MessageRecord(
                            at_ms=send.at_ms,
                            contact=send.contact,
                            unit=send.key.unit,
                            rule=send.key.rule,
                            about=send.about,
                        )
                    )
                case SummaryDue():
                    self._greet(outcome)
                case Noted():
                    pass

    def _greet(self, due: SummaryDue) -> None:
        if self._summaries:
            self.books.mornings[due.day] = render_morning(
                self.evaluator.shop,
                self.store,
                self.account(),
                self.evaluator.histories(),
                from_ms=due.from_ms,
                to_ms=due.to_ms,
            )
        self.books.messages.extend(
            MessageRecord(
                at_ms=due.to_ms, contact=contact, unit=None, rule=None, about=About.SUMMARY
            )
            for contact in due.contacts
        )
