"""How things stand, read from the journal beside the running service."""

import difflib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from rimewatch.clock import SystemClock
from rimewatch.entries import AnyEntry, ReceiveLot
from rimewatch.errors import UserError
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.lot_book import book
from rimewatch.journal.entry_codec import EntryCodecError, entry_to_dict
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.resume import MOST_ENTRIES, resume
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The journal, and what follows from it right now."""

    journal: JournalReader
    evaluator: Evaluator
    now_ms: int
    waiting: tuple[AnyEntry, ...] = ()
    """Entries that the service has not taken in yet."""


@contextmanager
def standing(shop: Shop, journal: Path) -> Iterator[Standing]:
    """Open a journal for reading and evaluate it up to now.

    Raises:
        UserError: If there is no such journal, or it cannot be read.
    """
    existing(journal)
    now_ms = SystemClock().now_ms()
    try:
        with JournalReader.open(journal) as reader:
            resumed = resume(shop, reader, now_ms)
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


def known_lot(journal: Path, lot: str) -> LotId:
    """Return a lot's id.

    Raises:
        UserError: If nobody has received such a lot.
    """
    existing(journal)
    try:
        with JournalReader.open(journal) as reader:
            if reader.entries_of_lot(LotId(lot)):
                return LotId(lot)
            lots = book([entry for _, entry in reader.entries_after(0, MOST_ENTRIES)])
    except JournalError as error:
        raise UserError(str(error)) from None
    present = [known for known, told in lots.items() if told.withdrawn is None]
    close = difflib.get_close_matches(lot, present, n=1)
    if close:
        cure = f"did you mean {close[0]}?"
    elif present:
        cure = f"the newest are {', '.join(present[-5:])}"
    else:
        cure = "enter it first with rimewatch lot receive"
    raise UserError(f'there is no lot "{lot}" on the books; {cure}')


def _refuse_known(journal: Path, lot: LotId) -> None:
    """Refuse a lot's number that is on the books: other fish would inherit its proof.

    Raises:
        UserError: If such a lot was received, and its receipt was not cancelled.
    """
    try:
        with JournalReader.open(journal) as reader:
            told = book([entry for _, entry in reader.entries_after(0, MOST_ENTRIES)])
    except JournalError as error:
        raise UserError(str(error)) from None
    known = told.get(lot)
    if known is not None and known.received is not None:
        raise UserError(
            f'lot "{lot}" is on the books already; give other fish a number of its own, or mend '
            "what was said of this lot with rimewatch lot correct"
        )


def enter(journal: Path, entry: AnyEntry) -> None:
    """Add an operator's entry; a running service takes it in within a second.

    Raises:
        UserError: If it is no sound entry, receives a lot that is on the books already, there is
            no such journal, or it cannot be written.
    """
    from rimewatch.intake.entries import EntryError, parse_entry

    existing(journal)
    try:
        checked = parse_entry(entry_to_dict(entry), entry.at_ms)
        if isinstance(checked, ReceiveLot):
            _refuse_known(journal, checked.lot)
        # Looked over first, which is quick: an entry in a damaged file would go with it.
        with Journal.open(journal) as opened:
            opened.add_entry(checked, "cli")
    except (EntryError, EntryCodecError, JournalError) as error:
        raise UserError(str(error)) from None
