"""How things stand, read from the journal beside the running service."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimewatch.clock import SystemClock
from rimewatch.entries import AnyEntry
from rimewatch.entry_keys import keys_of
from rimewatch.errors import UserError
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.journal.entering import EntryRefusedError, require
from rimewatch.journal.entering import enter as enter_by_the_door
from rimewatch.journal.entry_codec import EntryCodecError, entry_to_dict
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.resume import MOST_ENTRIES, resume
from rimewatch.shop import Shop


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The journal, and what follows from it right now."""

    journal: JournalReader
    evaluator: Evaluator
    now_ms: int
    waiting: tuple[AnyEntry, ...] = ()
    """Entries that the service has not taken in yet."""


@contextmanager
def standing(shop: Shop, journal: Path, *, at_hand: bool = False) -> Iterator[Standing]:
    """Open a journal for reading and evaluate it up to now.

    Args:
        shop: The shop.
        journal: The journal.
        at_hand: Leave out the entries of lots that are gone: whoever asks only for those that
            are here need not wait until years of them are read.

    Raises:
        UserError: If there is no such journal, or it cannot be read.
    """
    existing(journal)
    now_ms = SystemClock().now_ms()
    try:
        with JournalReader.open(journal) as reader:
            resumed = resume(shop, reader, now_ms, at_hand=at_hand)
            later = reader.entries_after(resumed.entry_number, MOST_ENTRIES)
            yield Standing(
                journal=reader,
                evaluator=resumed.evaluator,
                now_ms=now_ms,
                waiting=tuple(entry for _, entry in later),
            )
    except JournalError as error:
        raise UserError(str(error)) from None


def existing(journal: Path) -> Path:
    """Return a journal's path if there is such a file.

    An entry in a journal that the service does not have would be seen by nobody.

    Raises:
        UserError: If there is none.
    """
    if journal.is_dir():
        raise UserError(f"{journal} is a folder; name the journal's file with --journal")
    if not journal.exists():
        raise UserError(
            f"there is no journal {journal} yet; start the service with rimewatch run, or name "
            "its file with --journal"
        )
    return journal


def look_at(shop: Shop, journal: Path, entry: AnyEntry) -> None:
    """See that an entry could be added now, before anything else is done for it.

    Raises:
        UserError: If it could not.
    """
    from rimewatch.intake.entries import EntryError, parse_entry

    existing(journal)
    try:
        checked = parse_entry(_said(entry), entry.at_ms)
        with JournalReader.open(journal) as reader:
            require(reader, shop, checked, SystemClock().now_ms())
    except (EntryError, EntryRefusedError, EntryCodecError, JournalError) as error:
        raise UserError(str(error)) from None


def _said(entry: AnyEntry) -> dict[str, Any]:
    """Return an entry by its keys, one that must be there and may be nothing included."""
    keys = keys_of(type(entry))
    nothing = {key.name: None for key in keys if key.is_required and key.may_be_none}
    return {**nothing, **entry_to_dict(entry)}


def enter(shop: Shop, journal: Path, *entries: AnyEntry) -> int:
    """Add operators' entries, all or none; a running service takes them in within a second.

    Returns:
        The number of the last.

    Raises:
        UserError: If one is no sound entry, a rule refuses it, there is no such journal, or it
            cannot be written.
    """
    from rimewatch.intake.entries import EntryError, parse_entry

    existing(journal)
    number = 0
    try:
        checked = [parse_entry(_said(entry), entry.at_ms) for entry in entries]
        # Looked over first, which is quick: an entry in a damaged file would go with it.
        with Journal.open(journal) as opened, opened.batch():
            for entry in checked:
                number = enter_by_the_door(opened, shop, entry, "cli", SystemClock().now_ms())
    except (EntryError, EntryRefusedError, EntryCodecError, JournalError) as error:
        raise UserError(str(error)) from None
    return number
