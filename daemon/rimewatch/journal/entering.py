"""Entries come into the journal by the one door: looked at and written in one transaction.

So of two people who enter at once the second is asked by what the first has written. What the
broker's topic brings cannot be answered; why it was refused is kept as an event.
"""

import json
from collections.abc import Sequence
from typing import Final

from rimewatch.entries import AnyEntry, CorrectPlace
from rimewatch.evaluation.door import Refusal, check, lots_here
from rimewatch.journal.entry_codec import entry_to_dict
from rimewatch.journal.events import EventRow
from rimewatch.journal.held_settings import with_history
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReads
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId

ENTRY_REFUSED: Final = "entry refused"
"""The event that keeps a refusal."""

_ALL: Final = 10_000_000


class EntryRefusedError(ValueError):
    """A rule refuses the entry; nothing was written. The text is the rule's sentence."""

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.why)
        self.refusal = refusal


class JournalBooks:
    """What the door asks of the books, answered by a journal."""

    def __init__(self, journal: JournalReads) -> None:
        self._journal = journal

    def entries_about_lot(self, lot: LotId) -> list[AnyEntry]:
        """Return a lot's entries, every cancellation and what was done, as they came."""
        return self._journal.entries_about_lot(lot)

    def entry_numbered(self, number: int) -> AnyEntry | None:
        """Return an entry by its number; None: there is none."""
        found = self._journal.entries_after(number - 1, 1)
        return found[0][1] if found and found[0][0] == number else None

    def lots_here(self) -> Sequence[LotId]:
        """Return the lots that are not gone, in the order of their first entries."""
        return lots_here([entry for _, entry in self._journal.entries_after(0, _ALL)])


def require(journal: JournalReads, shop: Shop, entry: AnyEntry, now_ms: int) -> None:
    """See that an entry could be written now.

    Raises:
        EntryRefusedError: If a rule refuses it.
        JournalError: If the journal cannot be read.
    """
    if isinstance(entry, CorrectPlace):
        shop = with_history(shop, journal, now_ms)  # where the settings had it then
    refusal = check(entry, shop, JournalBooks(journal), now_ms)
    if refusal is not None:
        raise EntryRefusedError(refusal)


def enter(journal: Journal, shop: Shop, entry: AnyEntry, source: str, now_ms: int) -> int:
    """Look at an entry and write it down; inside a batch.

    Args:
        journal: The journal, inside a batch.
        shop: The shop as it is configured now.
        entry: A well-formed entry.
        source: By what way it came, such as ``cli`` or ``page``.
        now_ms: The present instant.

    Returns:
        Its number.

    Raises:
        EntryRefusedError: If a rule refuses it; the batch is to end with it.
        JournalError: If it could not be written.
    """
    require(journal, shop, entry, now_ms)
    return journal.add_entry(entry, source)


def keep_refusal(journal: Journal, refusal: Refusal, entry: AnyEntry) -> None:
    """Keep what was refused and why, where nobody waits for an answer; inside a batch."""
    kept = {"why": refusal.why, "entry": entry_to_dict(entry)}
    detail = json.dumps(kept, sort_keys=True, ensure_ascii=False)
    journal.add_event(refusal.at_ms, ENTRY_REFUSED, detail)


def refusals_between(journal: JournalReads, from_ms: int, to_ms: int) -> list[Refusal]:
    """Return what was refused of entries made in some time, in order."""
    return [
        _refusal(row) for row in journal.events_between(from_ms, to_ms) if row.what == ENTRY_REFUSED
    ]


def in_words(event: EventRow) -> str:
    """Return what an event tells in its detail, in words."""
    if event.what != ENTRY_REFUSED:
        return event.detail
    refusal = _refusal(event)
    return f"{refusal.do}: {refusal.why}"


def _refusal(event: EventRow) -> Refusal:
    kept = json.loads(event.detail)
    return Refusal(at_ms=event.at_ms, do=kept["entry"]["do"], why=kept["why"])
