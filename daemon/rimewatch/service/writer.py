"""The writer: the one thread that judges what arrived and writes it down.

A batch of arrivals becomes one transaction: readings, quarantine, alarms, messages
and the memory to go on from. When it is on the disk, and only then, the caller
acknowledges the batch to the broker. If it cannot be written, nothing of it has
happened: the evaluator is made anew from the journal, and the batch is tried again.
"""

import json
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Final

from rimewatch.alarms import codec
from rimewatch.alarms.alarm import Alarm, AlarmState
from rimewatch.alarms.effects import Send
from rimewatch.clock import Clock
from rimewatch.entries import Acknowledge, AnyEntry, CorrectPlace, RetryQuarantine
from rimewatch.evaluation import track_codec
from rimewatch.evaluation.acknowledging import missed
from rimewatch.evaluation.door import check, is_known
from rimewatch.evaluation.outcome import AlarmKept, Noted, Outcome, SummaryDue
from rimewatch.evaluation.track import Track
from rimewatch.intake.arrivals import Arrived, Item, SessionEvent
from rimewatch.intake.entry_messages import Became, answer
from rimewatch.intake.receiver import Received, Receiver, refused
from rimewatch.intake.sparkplug.host import Request
from rimewatch.journal.checkpoints import ALARM_STATE, EVALUATOR_STATE
from rimewatch.journal.conclusions import TRACK
from rimewatch.journal.entering import JournalBooks, keep_refusal
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.backoff import next_try_ms
from rimewatch.notify.results import Delivered, Result
from rimewatch.readings import Reading, Reason
from rimewatch.report.message import alarm_message
from rimewatch.service.charts import Charts
from rimewatch.service.missed import without_missed_repeats
from rimewatch.service.mornings import AHEAD_STATE, Mornings
from rimewatch.service.resume import (
    CLOCK_STATE,
    account_of,
    address_marks,
    clock_notes,
    resume,
)
from rimewatch.service.retry import retry_quarantine
from rimewatch.service.settings_log import hold_from_now
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, MS_PER_S, About, Priority, ProbeId

CLOCKS_EVERY_MS: Final = 10 * 60_000
"""How much of what is known of the probes' clocks a power cut may cost: they are reported
only, no reading is changed by them."""

SET_BACK_MS: Final = 330_000
"""How far the clock must lie behind what was followed to have been set back: an entry may have
been made by a clock that is 300 s ahead."""

CHECKPOINT_EVERY_MS: Final = MS_PER_H
"""How much is folded again after a restart, at most, of a channel with few spells."""
MANY_SPELLS: Final = 500
MANY_EVERY_MS: Final = 6 * MS_PER_H
"""A checkpoint holds every spell of its channel since the first reading: a freezer's of ten years
are a megabyte. It is written more seldom where they are many, and six hours are folded again in
milliseconds (our choices). Each day has one all the same, for its seal."""


class Writer:
    """Judges and writes, batch by batch.

    Args:
        shop: The shop.
        journal: The journal, opened for writing by this thread.
        clock: Tells the time.
        charts: Draws for alarms and mornings; None: alarms are words alone, a morning's
            charts are drawn with its batch.
    """

    def __init__(
        self, shop: Shop, journal: Journal, clock: Clock, charts: Charts | None = None
    ) -> None:
        self._charts = charts
        self.journal = journal
        self._clock = clock
        self._entry_number = 0
        self._handed_out: dict[int, OutboxRow] = {}
        self._stood_still_s = 0.0
        self._checkpoint_due_ms = 0
        self._checkpoint_of: dict[ProbeId, int] = {}
        """Up to which reading each channel's last checkpoint goes that still holds."""
        self._clocks_due_ms = 0
        self._saved_alarms = ""
        self._saved_state: AlarmState | None = None
        """What that text says; the state is never changed, only replaced."""
        self._progress = 0
        self.link_trouble: Callable[[], str] = str
        """Tells what is wrong with the connection to the broker now, with its cure. It is the
        reason of a silence, where there is one."""
        self.disk_s = 0.0
        """How long the last batch's commit took."""
        self._is_torn = True
        self._settings_moved = False
        """Whether a clock that was set back has moved the instant of a change."""
        self._kept_seats: set[str] = set()
        """Channels that are over and whose end is kept already."""
        self._wrote_it = False
        """Whether what is remembered in the file is this writer's own."""
        self._unproven_ms: Mapping[str, int] = {}
        self._requests: list[Request] = []
        self._to_answer: dict[int, int] = {}
        """When the message of an entry arrived whose sender has not been answered yet."""
        self.mornings = Mornings(journal, clock, None if charts is None else charts.mornings)
        self.use(shop)

    def use(self, shop: Shop) -> None:
        """Begin, or begin again with a changed configuration, where the journal ends.

        What was handed out and not reported back is handed out again: with the
        configuration, whoever sends is changed as well.

        Raises:
            UnusableProbe: If a probe cannot be read by this version; all is as before then.
            JournalError: If the journal cannot be read; the next batch tries again.
        """
        self.receiver = Receiver(shop)
        self.shop = shop
        self._address_marks = address_marks(shop)
        self._handed_out.clear()
        self._is_torn = True
        self.rebuild()

    def wake(self, stood_still_s: float) -> None:
        """Begin anew before the next batch: nobody watched for a while."""
        self._is_torn = True
        self._stood_still_s = stood_still_s

    def take_requests(self) -> list[Request]:
        """Return what is to be published in answer to what was taken in, once."""
        requests, self._requests = self._requests, []
        return requests

    @property
    def progress(self) -> int:
        """Counts what was done; a watchdog looks whether it moves."""
        return self._progress

    def has_work(self) -> bool:
        """Whether something is due or waits to be kept, or somebody has entered something."""
        evaluator = self.evaluator
        return (
            evaluator.has_outcomes
            or evaluator.next_due_ms() <= self._clock.now_ms()
            or self.mornings.has_drawn()
            or self.mornings.has_owed()
            or bool(self.journal.entries_after(self._entry_number, 1))
        )

    def rebuild(self) -> None:
        """Make the evaluator anew from what is on the disk."""
        self._is_torn = True
        now_ms = self._clock.now_ms()
        # The first time the file may come from anywhere; later it is this writer's own.
        resumed = resume(self.shop, self.journal, now_ms, only_proven=not self._wrote_it)
        if not self._wrote_it:
            self._unproven_ms = resumed.unproven_ms
        self.evaluator, self._entry_number = resumed.evaluator, resumed.entry_number
        if self.evaluator.shop.earlier != self.shop.earlier:
            self.shop = self.evaluator.shop
            self.receiver = Receiver(self.shop)
        self.mornings.resume()
        self.receiver.begin_anew(self.evaluator.entries)
        for known, note in clock_notes(self.shop, self.journal).items():
            self.receiver.remember_clock(known, note)
        self._saved_alarms, self._saved_state = "", None
        self._checkpoint_of.clear()
        self._checkpoint_due_ms = 0 if self._unproven_ms else now_ms + CHECKPOINT_EVERY_MS
        for probe in self.shop.probes:
            last = self.journal.last_before(probe.id, now_ms + 1)
            if last is not None:
                at_ms, value = last
                self.receiver.remember(
                    Reading(
                        probe=probe.id, observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value
                    )
                )
        self._is_torn = False

    # --- what arrives ---------------------------------------------------------------------

    def take(
        self, items: Sequence[Item], results: Sequence[Result] = (), *, last: bool = False
    ) -> list[AnyEntry]:
        """Judge and write a batch, in one transaction.

        Args:
            items: What arrived, in order.
            results: What became of messages that were sent.
            last: Whether this writer ends with it, or begins anew: then all that it
                remembers is written, and not only what is due.

        Returns:
            The operators' entries that were taken in with it.

        Raises:
            JournalError: If it could not be written; nothing of it has happened then.
        """
        if self._is_torn:
            self.rebuild()
        if last:
            self._clocks_due_ms = self._checkpoint_due_ms = 0
            self._checkpoint_of.clear()
        try:
            with self.journal.batch():
                self._follow_clock()
                self._note_standstill()
                entries = self.journal.entries_after(self._entry_number)
                for _, entry in entries:
                    self.receiver.enter(entry)
                waiting = deque(entries)
                entries += self._take_arrivals(items, waiting)
                if waiting:
                    self._enter_until(waiting, None)
                self.evaluator.advance(self._clock.now_ms())
                owed = self.mornings.take_owed()
                if owed is not None:
                    self._keep_summary(owed)
                if self.evaluator.has_outcomes:
                    self._keep(self.evaluator.take_outcomes())
                self.mornings.keep_drawn()
                self._note_results(results)
                self._remember()
                judged_s = self._clock.monotonic_s()
            self.disk_s = self._clock.monotonic_s() - judged_s
        except BaseException:
            # The evaluator has seen what is not on the disk. If it cannot be made anew now,
            # it is before the next batch.
            self._is_torn = True
            self._requests.clear()
            self._to_answer.clear()
            with suppress(JournalError):
                self.rebuild()
            raise
        for result in results:
            self._handed_out.pop(result.id, None)
        self.mornings.committed()
        self._wrote_it, self._unproven_ms = True, {}
        self._stood_still_s = 0.0
        self._progress += 1
        if self._settings_moved or any(isinstance(e, CorrectPlace) for _, e in entries):
            self._is_torn = True  # what was concluded of that time is made anew
        self._settings_moved = False
        return [entry for _, entry in entries]

    def _follow_clock(self) -> None:
        """Go back with a clock that was set back: nothing waits until it has come so far again."""
        now_ms = self._clock.now_ms()
        ahead_ms = self.evaluator.now_ms - now_ms
        if ahead_ms <= SET_BACK_MS:
            return
        for seat in (*self.evaluator.past_tracks, *self.evaluator.tracks):
            self.journal.drop_checkpoints(f"{TRACK}{seat}", now_ms)
        self.evaluator.set_back(now_ms)
        self.journal.outbox_bring_forward(now_ms)
        self._clocks_due_ms = self._checkpoint_due_ms = 0
        self._checkpoint_of.clear()
        self.journal.add_event(now_ms, "clock set back", f"by {ahead_ms / MS_PER_S:.0f} s")
        if ahead_ms >= MS_PER_DAY:
            self.journal.save_state(AHEAD_STATE, str(now_ms + ahead_ms))
        self._settings_moved = hold_from_now(self.journal, now_ms)

    def _note_standstill(self) -> None:
        if self._stood_still_s:
            detail = f"for {self._stood_still_s:.0f} s, or the clock was set forward"
            self.journal.add_event(self._clock.now_ms(), "stood still", detail)

    def set_aside(self, item: Arrived, error: Exception) -> None:
        """Put a message into quarantine that this version cannot judge.

        Raises:
            JournalError: If it could not be written.
        """
        detail = f"judging it failed: {type(error).__name__}; a fault of the service"
        of_it = refused(item.topic, item.payload, item.arrived_ms, Reason.UNDECODABLE, detail)
        self.journal.add_quarantined(of_it.quarantined)

    def _take_arrivals(
        self, items: Sequence[Item], entries: deque[tuple[int, AnyEntry]]
    ) -> list[tuple[int, AnyEntry]]:
        """Judge what arrived; return the entries among it, with their numbers."""
        received: list[tuple[int, Received]] = []
        entered: list[tuple[int, AnyEntry]] = []
        for item in items:
            if isinstance(item, Arrived):
                found = self.receiver.receive(
                    item.topic, item.payload, item.arrived_ms, retained=item.retained, qos=item.qos
                )
                received.append((item.arrived_ms, found))
                if found.entry is not None:
                    entered.extend(self._add_entry(found.entry, item.arrived_ms, entries))
            else:
                self._note_session(item)
        news = self._keep_received(received)
        evaluator = self.evaluator
        for arrived_ms, found in received:
            if entries:
                self._enter_until(entries, arrived_ms)
            evaluator.advance(arrived_ms)
            if found.is_more:
                self._note_more(arrived_ms, found)
            for reading in found.readings:
                if next(news):
                    evaluator.observe(reading)
            if evaluator.has_outcomes:
                self._keep(evaluator.take_outcomes())
        return entered

    def _keep_received(self, received: Sequence[tuple[int, Received]]) -> Iterator[bool]:
        """Write readings, and what was not believed; tell of each reading whether it is news."""
        if doubted := [q for _, found in received for q in found.quarantined]:
            self.journal.add_quarantined(doubted)
        readings = [reading for _, found in received for reading in found.readings]
        return iter(self.journal.add_readings(readings)) if readings else iter(())

    def _note_more(self, arrived_ms: int, found: Received) -> None:
        """Take what a message brought beside readings."""
        self.evaluator.leave_unread(found.unread)
        for probe in found.gone:
            self.evaluator.lose(probe)
        for note in found.notes:
            self.journal.add_event(arrived_ms, note.what, note.text)
            self._clocks_due_ms = 0  # whoever lists the probes after the event sees it there
        self._requests.extend(found.requests)

    def _add_entry(
        self, entry: AnyEntry, arrived_ms: int, waiting: deque[tuple[int, AnyEntry]]
    ) -> list[tuple[int, AnyEntry]]:
        """Put an entry that came over the broker on the books, unless it is there already.

        Its sender may not wait for the answer, so what the door refuses is kept with its reason.
        """
        if is_known(entry, (*self.evaluator.entries, *(other for _, other in waiting))):
            self._answer(Became.KNOWN, entry, arrived_ms)
            return []
        refusal = check(entry, self.shop, JournalBooks(self.journal), arrived_ms)
        if refusal is not None:
            keep_refusal(self.journal, refusal, entry)
            self._answer(Became.REFUSED, entry, arrived_ms, refusal.why)
            return []
        number = self.journal.add_entry(entry, "mqtt")
        self._to_answer[number] = arrived_ms
        self.receiver.enter(entry)
        numbered = (number, replace(entry, entry_number=number))
        waiting.append(numbered)
        return [numbered]

    def _enter_until(self, entries: deque[tuple[int, AnyEntry]], until_ms: int | None) -> None:
        """Take in the entries made up to an instant; None: all of them."""
        while entries and (until_ms is None or entries[0][1].at_ms <= until_ms):
            number, entry = entries.popleft()
            self.evaluator.advance(entry.at_ms)
            arrived_ms = self._to_answer.pop(number, None)
            if arrived_ms is not None:
                alarms = self.evaluator.alarms
                why = missed(entry, alarms) if isinstance(entry, Acknowledge) else ""
                self._answer(Became.WITHOUT_EFFECT if why else Became.TAKEN, entry, arrived_ms, why)
            self.evaluator.enter(entry)
            self._entry_number = number
            if isinstance(entry, RetryQuarantine):
                retry_quarantine(self.journal, self.receiver, self.evaluator)

    def _answer(self, became: Became, entry: AnyEntry, arrived_ms: int, why: str = "") -> None:
        """Say to whoever sent an entry what became of it, once the batch is on the disk."""
        said = answer(became, entry, arrived_ms, why)
        self._requests.append(Request(self.shop.broker.answer_topic, said))

    def _note_session(self, event: SessionEvent) -> None:
        since = "" if event.since_ms is None else f" (last heard at {event.since_ms} ms)"
        self.journal.add_event(event.at_ms, f"broker {event.what.value}", event.text + since)

    def due_messages(self) -> list[OutboxRow]:
        """Return what is due to be sent and was not handed out since the start, or failed since."""
        rows = self.journal.outbox_due(self._clock.now_ms())
        fresh = [row for row in rows if row.id not in self._handed_out]
        self._handed_out.update((row.id, row) for row in fresh)
        return fresh

    def _note_results(self, results: Iterable[Result]) -> None:
        for result in results:
            if isinstance(result, Delivered):
                self.journal.outbox_sent(result.id, result.at_ms)
                continue
            row = self._handed_out.get(result.id)
            if row is None:
                continue  # of a message handed out under an earlier configuration
            next_ms = (
                None
                if result.permanent
                else next_try_ms(
                    tries=row.attempts + 1,
                    made_ms=row.at_ms,
                    # By a clock that was ahead and has been set back, it was not tried yet.
                    tried_ms=min(result.at_ms, self._clock.now_ms()),
                    key=row.idempotency_key,
                    urgent=row.urgent,
                )
            )
            self.journal.outbox_failed(result.id, result.at_ms, next_ms, result.error)
            if next_ms is None:
                detail = f"{row.about.value} to {row.contact}: {result.error}"
                self.journal.add_event(result.at_ms, "message given up", detail)

    # --- what follows ---------------------------------------------------------------------

    def _keep(self, outcomes: Sequence[Outcome]) -> None:
        missed = [outcome for outcome in outcomes if isinstance(outcome, SummaryDue)][:-1]
        if missed:
            self.mornings.owe([due for due in missed if self.mornings.is_due(due)])
        for outcome in without_missed_repeats(outcomes, self._clock.now_ms()):
            match outcome:
                case AlarmKept(alarm=alarm):
                    self._keep_alarm(alarm)
                case Send():
                    self._keep_message(outcome)
                case SummaryDue() if outcome not in missed:
                    self._keep_summary(outcome)
                case SummaryDue():
                    pass
                case Noted():
                    self.journal.add_event(outcome.at_ms, "note", outcome.text)

    def _keep_alarm(self, alarm: Alarm) -> None:
        self.journal.put_alarm(
            alarm.id,
            unit=alarm.key.unit,
            rule=alarm.key.rule,
            raised_ms=alarm.raised_ms,
            returned_ms=alarm.returned_ms,
            text=codec.alarm_to_json(alarm),
        )
        if alarm.returned_ms is not None and not self.shop.unit.keys() >= set(alarm.units):
            # What still waits of an alarm whose unit is gone would send somebody to it.
            for contact in self.shop.contacts:
                self.journal.outbox_supersede(contact.id, alarm.id, "", self._clock.now_ms())

    def _keep_message(self, send: Send) -> None:
        message = alarm_message(
            self.shop,
            send.condition,
            send.about,
            raised_ms=send.raised_ms,
            now_ms=send.at_ms,
            above_s=send.above_s,
            link=self.link_trouble() if send.about is not About.RETURNED else "",
        )
        self.journal.add_message(
            send.at_ms, send.contact, send.key.unit, send.key.rule, send.about, send.alarm_id
        )
        # Of one alarm a contact waits for the newest word alone.
        self.journal.outbox_supersede(send.contact, send.alarm_id, send.token, send.at_ms)
        number = self.journal.outbox_add(
            at_ms=send.at_ms,
            contact=send.contact,
            alarm_id=send.alarm_id,
            about=send.about,
            title=message.title,
            body=message.body,
            idempotency_key=send.token,
            not_before_ms=min(send.at_ms, self._clock.now_ms()),
            urgent=send.priority is Priority.HIGH and send.about is not About.RETURNED,
        )
        if number is not None and self._charts is not None:
            self._charts.order(self.shop, self.journal.path, send)

    def _keep_summary(self, due: SummaryDue) -> None:
        if not self.mornings.is_due(due):
            return
        self._remember_clocks()
        self.mornings.make(
            self.shop,
            due,
            account_of(self.journal, self.evaluator, due.from_ms, due.to_ms),
            self.evaluator.histories(),
        )

    def _remember_clocks(self) -> None:
        """Write what is known of the probes' clocks: now and then, not for every reading."""
        self._clocks_due_ms = self.evaluator.now_ms + CLOCKS_EVERY_MS
        for probe, note in self.receiver.clock_notes().items():
            self.journal.save_state(f"{CLOCK_STATE}{probe}", note.to_text())

    def _remember(self) -> None:
        """Write what a restart goes on from."""
        evaluator = self.evaluator
        if evaluator.alarms is not self._saved_state:
            alarms = codec.to_json(evaluator.alarms)
            if alarms != self._saved_alarms:
                self.journal.save_state(ALARM_STATE, alarms)
            self._saved_alarms, self._saved_state = alarms, evaluator.alarms
        self.journal.save_state(
            EVALUATOR_STATE,
            json.dumps(
                {
                    "watching_since_ms": evaluator.watching_since_ms,
                    "seen_until_ms": evaluator.now_ms,
                    "entry_number": self._entry_number,
                    "batteries": evaluator.batteries,
                    "addresses": self._address_marks,
                }
            ),
        )
        if evaluator.now_ms >= self._clocks_due_ms:
            self._remember_clocks()
        for name, from_ms in self._unproven_ms.items():
            self.journal.drop_checkpoints(name, from_ms)
        for seat, track in (evaluator.past_tracks | evaluator.tracks).items():
            if track.disturbed_from_ms is not None:
                self.journal.drop_checkpoints(f"{TRACK}{seat}", track.disturbed_from_ms)
                track.disturbed_from_ms = None
                self._kept_seats.discard(seat)
                self._checkpoint_of.pop(seat, None)
        if evaluator.now_ms >= self._checkpoint_due_ms:
            self._checkpoint_due_ms = evaluator.now_ms + CHECKPOINT_EVERY_MS
            over = {
                seat: track
                for seat, track in evaluator.past_tracks.items()
                if seat not in self._kept_seats
            }
            self._kept_seats.update(over)
            for seat, track in (over | evaluator.tracks).items():
                self._checkpoint(seat, track)

    def _checkpoint(self, probe: ProbeId, track: Track) -> None:
        last_ms = track.state.last_ms
        if last_ms is None or track.late_from_ms is not None:
            return
        since_ms = last_ms - self._checkpoint_of.get(probe, last_ms - MANY_EVERY_MS)
        if len(track.ended) >= MANY_SPELLS and since_ms < MANY_EVERY_MS:
            return
        self.journal.save_checkpoint(f"{TRACK}{probe}", last_ms, track_codec.to_text(track))
        self._checkpoint_of[probe] = last_ms
