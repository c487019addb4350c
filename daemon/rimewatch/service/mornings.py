"""The mornings' summaries on their way: words with their batch, charts after it, then the post.

A morning is made in two turns of the writer. The first, which is the batch that the morning
falls into, makes all that depends on how things stood then (words, figures, curves) and writes
it down as a draft. The charts cost far more than all of that, so they are drawn elsewhere
(:mod:`.morning_charts`) while readings are taken in and alarms go out; a later turn keeps the
finished summary and puts its message into the outbox, as one. A draft is dropped with the
summary that it became: whatever ends the service between, the next start goes on from it, and
each morning has one summary, made of what was known at its hour.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any, Final

from rimewatch.clock import Clock
from rimewatch.evaluation.channels import ChannelHistory
from rimewatch.evaluation.ledger import Account
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_story import tell
from rimewatch.evaluation.outcome import SummaryDue
from rimewatch.journal.canonical import GROUPS_SHOWN, grouped
from rimewatch.journal.errors import reading_back
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReads
from rimewatch.report.judged_anew import LOT_JUDGED_ANEW, judged_anew
from rimewatch.report.message import Message
from rimewatch.report.morning import MorningDraft, draft_morning
from rimewatch.report.seal_line import seal_line
from rimewatch.service.morning_charts import UNDRAWN, MorningCharts
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, About, ContactId, ProbeId

AHEAD_STATE: Final = "mornings ahead"
"""Until when a clock that was days ahead has made summaries of nights that had not come."""

OWED_STATE: Final = "mornings owed"
"""Mornings that were missed and are made one after the other, behind the latest."""

IN_HAND_STATE: Final = "mornings in hand"
"""The mornings whose charts are being drawn, in order."""

JUDGED_STATE: Final = "lots judged by"
"""By which rules the lots on the books were last judged."""

JUDGED_BY: Final = "standing"
"""The rules that came after those of the first release, which left no word of theirs."""

WORDS_STATE: Final = "morning words "
DRAFT_STATE: Final = "morning draft "
"""With the day: what is kept of a morning in hand. The draft is read by the pen alone."""

PATIENCE_S: Final = 300.0
"""How long to wait for a morning's charts once those before it are done (our choice): a hundred
units on a busy machine take 22 s. After that its words are kept alone."""


def is_in_hand(journal: JournalReads, day: date) -> bool:
    """Whether the words of a morning are kept, and its charts are being drawn."""
    return day.isoformat() in _days_in_hand(journal)


def _days_in_hand(journal: JournalReads) -> list[str]:
    with reading_back(journal.path, "which mornings are in hand"):
        found: list[str] = json.loads(journal.load_state(IN_HAND_STATE) or "[]")
    return found


class Mornings:
    """Keeps one journal's summaries; all of it in the writer's thread.

    Args:
        journal: Where they are kept.
        clock: Tells the time.
        charts: Draws; None: charts are drawn at once, in the batch.
    """

    def __init__(self, journal: Journal, clock: Clock, charts: MorningCharts | None) -> None:
        self._journal = journal
        self._clock = clock
        self._charts = charts
        self._in_hand: list[str] = []
        self._owed: list[SummaryDue] = []
        self._kept: list[str] = []
        """What the batch in hand has kept."""
        self._moved_s = 0.0
        self.watch_lines: Callable[[], list[str]] = list
        """Gives what is wrong with the watch itself, a sentence each."""

    # --- between batches ------------------------------------------------------------------

    def resume(self) -> None:
        """Go on from what is on the disk: at the start, and after a batch that failed."""
        self._in_hand = _days_in_hand(self._journal)
        with reading_back(self._journal.path, "which mornings are owed"):
            self._owed = [
                SummaryDue(
                    day=date.fromisoformat(plain["day"]),
                    from_ms=plain["from_ms"],
                    to_ms=plain["to_ms"],
                    contacts=tuple(ContactId(contact) for contact in plain["contacts"]),
                )
                for plain in json.loads(self._journal.load_state(OWED_STATE) or "[]")
            ]
        self._kept.clear()
        self._moved_s = self._clock.monotonic_s()
        self._go_on()

    def committed(self) -> None:
        """Take note that the batch is on the disk."""
        if self._charts is not None:
            for day in self._kept:
                self._charts.forget(DRAFT_STATE + day)
        self._kept.clear()
        if self._in_hand:
            self._go_on()

    def has_drawn(self) -> bool:
        """Whether a summary is to be kept."""
        return bool(self._finished())

    def _go_on(self) -> None:
        if self._charts is not None:
            for day in self._in_hand:
                self._charts.begin(self._journal.path, DRAFT_STATE + day)

    # --- within a batch -------------------------------------------------------------------

    def is_due(self, due: SummaryDue) -> bool:
        """Whether a morning is to be made: not yet, or by a clock that was ahead."""
        return not self._is_made(due.day) or due.to_ms <= self._ahead_ms()

    def owe(self, missed: Sequence[SummaryDue]) -> None:
        """Put missed mornings off, each to a batch of its own; within a batch.

        A service that was away for a month would otherwise judge a month of nights before it
        hears the first probe, and be taken for one that hangs.
        """
        self._owed.extend(missed)
        self._keep_owed()

    def has_owed(self) -> bool:
        """Whether a missed morning is to be made."""
        return bool(self._owed)

    def take_owed(self) -> SummaryDue | None:
        """Return the first missed morning, which is to be made now; within a batch."""
        if not self._owed:
            return None
        due = self._owed.pop(0)
        self._keep_owed()
        return due

    def _keep_owed(self) -> None:
        plain = [
            {**asdict(due), "day": due.day.isoformat(), "contacts": list(due.contacts)}
            for due in self._owed
        ]
        self._journal.save_state(OWED_STATE, json.dumps(plain))

    def make(
        self,
        shop: Shop,
        due: SummaryDue,
        account: Account,
        histories: Mapping[ProbeId, ChannelHistory],
    ) -> None:
        """Make a morning's words, and have its charts drawn; within a batch.

        Args:
            shop: The shop.
            due: Which morning.
            account: What its ledger is made of.
            histories: The channels folded up to it.
        """
        draft = draft_morning(
            shop, self._journal, account, histories, from_ms=due.from_ms, to_ms=due.to_ms
        )
        message = self._with_watch(self._with_seal(draft.message))
        message = self._with_lots_judged_anew(message, shop, due, account, histories)
        for contact in due.contacts:
            self._journal.add_message(due.to_ms, contact, None, None, About.SUMMARY)
        if self._is_made(due.day):
            # A clock that was days ahead has made it, of a night that had not come.
            self._post(due.day, due.to_ms, due.contacts, message, f"/after {self._ahead_ms()}")
        elif self._charts is None:
            morning = draft.drawn()
            self._journal.put_summary(due.day, morning.text, morning.html, morning.page)
            self._post(due.day, due.to_ms, due.contacts, message)
        else:
            self._take_in_hand(due, draft, message)

    def keep_drawn(self) -> None:
        """Keep the summaries whose charts are drawn, and post their messages; within a batch."""
        if not self._in_hand:
            return  # nearly always
        for day, html in self._finished().items():
            text = self._journal.load_state(WORDS_STATE + day)
            assert text is not None, "words and list are written in one batch"
            with reading_back(self._journal.path, "a morning in hand"):
                words = json.loads(text)
            self._journal.put_summary(
                date.fromisoformat(day), words["text"], html or words["html"], words["page"]
            )
            self._post(
                date.fromisoformat(day),
                words["to_ms"],
                tuple(ContactId(contact) for contact in words["contacts"]),
                Message(title=words["title"], body=words["body"]),
            )
            self._journal.drop_state(WORDS_STATE + day)
            self._journal.drop_state(DRAFT_STATE + day)
            self._kept.append(day)
        if self._kept:
            self._hold([day for day in self._in_hand if day not in self._kept])

    def _take_in_hand(self, due: SummaryDue, draft: MorningDraft, message: Message) -> None:
        day = due.day.isoformat()
        words: dict[str, Any] = {
            "to_ms": due.to_ms,
            "contacts": due.contacts,
            "text": draft.text,
            "html": draft.html_without_charts,
            "page": draft.page,
            "title": message.title,
            "body": message.body,
        }
        self._journal.save_state(WORDS_STATE + day, json.dumps(words, ensure_ascii=False))
        self._journal.save_state(DRAFT_STATE + day, draft.html.to_text())
        self._hold([*self._in_hand, day])

    def _hold(self, days: list[str]) -> None:
        self._in_hand = days
        self._journal.save_state(IN_HAND_STATE, json.dumps(days))
        self._moved_s = self._clock.monotonic_s()

    def _finished(self) -> dict[str, str]:
        """Return the pages that can be kept now, by day, no morning before the one before it."""
        if self._charts is None or not self._in_hand:
            return {}
        drawn = self._charts.drawn()
        found: dict[str, str] = {}
        for day in self._in_hand:
            if DRAFT_STATE + day not in drawn:
                break
            found[day] = drawn[DRAFT_STATE + day]
        if not found and self._clock.monotonic_s() - self._moved_s > PATIENCE_S:
            return {self._in_hand[0]: UNDRAWN}
        return found

    def _is_made(self, day: date) -> bool:
        return day.isoformat() in self._in_hand or self._journal.summary_done(day)

    def _ahead_ms(self) -> int:
        return int(self._journal.load_state(AHEAD_STATE) or 0)

    # --- the message ----------------------------------------------------------------------

    def _with_watch(self, message: Message) -> Message:
        """Return a summary's message with what is wrong with the watch itself.

        It is no part of the summary: that is made of the readings alone.
        """
        lines = self.watch_lines()
        if not lines:
            return message
        told = "\n".join(f"– {line}" for line in lines)
        return Message(title=message.title, body=f"{message.body}\nThe watch itself:\n{told}")

    def _with_lots_judged_anew(
        self,
        message: Message,
        shop: Shop,
        due: SummaryDue,
        account: Account,
        histories: Mapping[ProbeId, ChannelHistory],
    ) -> Message:
        """Return a message with the lots that were shown as proven until this release, once."""
        if self._journal.load_state(JUDGED_STATE) == JUDGED_BY:
            return message
        self._journal.save_state(JUDGED_STATE, JUDGED_BY)
        if self._journal.latest_summary() is None:
            return message  # no release before this one has told anybody anything
        lots = book([entry for entry in account.entries if entry.at_ms <= due.to_ms]).values()
        stories = [tell(shop, self._journal, histories, lot, due.to_ms) for lot in lots]
        lines = list(judged_anew(shop, stories, due.to_ms))
        for line in lines:
            self._journal.add_event(due.to_ms, LOT_JUDGED_ANEW, line)
        if not lines:
            return message
        told = "\n".join(f"– {line}" for line in lines)
        return Message(title=message.title, body=f"{message.body}\n{told}")

    def _with_seal(self, message: Message) -> Message:
        """Return a summary's message with the seal of the last day that has one.

        What has left the house cannot be changed with the journal.
        """
        seal = self._journal.latest_seal()
        if seal is None:
            return message
        line = seal_line(seal.day, grouped(seal.seal, GROUPS_SHOWN))
        return Message(title=message.title, body=f"{message.body}\n{line}")

    def _post(
        self,
        day: date,
        to_ms: int,
        contacts: tuple[ContactId, ...],
        message: Message,
        again: str = "",
    ) -> None:
        if self._clock.now_ms() - to_ms >= MS_PER_DAY:
            return  # a further morning has come since: its summary goes out, this one is kept
        for contact in contacts:
            self._journal.outbox_add(
                at_ms=to_ms,
                contact=contact,
                alarm_id=None,
                about=About.SUMMARY,
                title=message.title,
                body=message.body,
                idempotency_key=f"summary/{day.isoformat()}/{contact}{again}",
                not_before_ms=min(to_ms, self._clock.now_ms()),
                urgent=False,
            )
