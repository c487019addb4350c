"""How things stand, read from the journal beside the running service."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from rimewatch.clock import SystemClock
from rimewatch.entries import AnyEntry
from rimewatch.errors import UserError
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.resume import resume
from rimewatch.shop import Shop


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The journal, and what follows from it right now."""

    journal: JournalReader
    evaluator: Evaluator
    now_ms: int


@contextmanager
def standing(shop: Shop, journal: Path) -> Iterator[Standing]:
    """Open a journal for reading and evaluate it up to now.

    Raises:
        UserError: If there is no such journal, or it cannot be read.
    """
    if not journal.exists():
        raise UserError(
            f"there is no journal {journal} yet; start the service with rimewatch run, or name "
            "its file with --journal"
        )
    now_ms = SystemClock().now_ms()
    try:
        with JournalReader.open(journal) as reader:
            evaluator = resume(shop, reader, now_ms).evaluator
            yield Standing(journal=reader, evaluator=evaluator, now_ms=now_ms)
    except JournalError as error:
        raise UserError(str(error)) from None


def enter(journal: Path, entry: AnyEntry) -> None:
    """Add an operator's entry; a running service takes it in within a second.

    Raises:
        UserError: If it cannot be written.
    """
    try:
        with Journal.open(journal, check=False) as opened:
            opened.add_entry(entry, "cli")
    except JournalError as error:
        raise UserError(str(error)) from None
