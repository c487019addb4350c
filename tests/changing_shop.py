"""A trace with changes of settings lived through by a writer with a journal, as the service does.

The file is read again at each change; a restart may lie anywhere.
"""

from collections.abc import Collection
from pathlib import Path
from typing import Any

from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.config.changing import shop_of
from rimewatch.entries import ChangeSettings
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.intake.arrivals import Arrived
from rimewatch.intake.trace import TraceEntry, TraceMessage
from rimewatch.journal.journal import Journal
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import account_of
from rimewatch.service.settings_log import note_settings
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop


def lived(
    folder: Path,
    shop: Shop,
    lines: list[TraceMessage | TraceEntry],
    *,
    restarts: Collection[int] = (),
    to_ms: int | None = None,
) -> dict[str, Any]:
    """Return the ledger that a journal gives after it has lived through a trace.

    Args:
        folder: Where the journal lies.
        shop: The shop as it is configured at first.
        lines: What arrived and was entered.
        restarts: Before which lines the service was ended and started again.
        to_ms: The end of the ledger's period; None: the last line.
    """
    path = folder / "rimewatch.db"
    clock = SteppedClock(lines[0].at_ms)
    journal = Journal.open(path)
    note_settings(journal, shop, clock.now_ms())
    writer = Writer(shop, journal, clock)
    for number, line in enumerate(lines):
        clock.move_to(max(clock.now_ms(), line.at_ms))
        if number in restarts:
            writer.take((), last=True)
            journal.close()
            journal = Journal.open(path)
            note_settings(journal, shop, clock.now_ms())
            writer = Writer(shop, journal, clock)
        if isinstance(line, TraceMessage):
            writer.take([Arrived(line.topic, line.payload, line.at_ms, False, 0, number, 1)])
        elif isinstance(line.entry, ChangeSettings):
            writer.take(())
            shop = shop_of(line.entry)
            note_settings(journal, shop, line.at_ms, who=line.entry.who)
            writer.use(shop)
        else:
            journal.add_entry(line.entry, "test")
            writer.take(())
    writer.take((), last=True)
    assert journal.check_conclusions() == []
    found = ledger_of(writer, journal, lines[0].at_ms, to_ms or clock.now_ms())
    journal.close()
    return found


def ledger_of(writer: Writer, journal: Journal, from_ms: int, to_ms: int) -> dict[str, Any]:
    """Return the ledger of what a writer has come to."""
    writer.evaluator.finish(to_ms)
    account = account_of(journal, writer.evaluator, from_ms, to_ms)
    shop = writer.evaluator.shop
    histories = writer.evaluator.histories()
    ledger = build_ledger(shop, journal, account, from_ms=from_ms, to_ms=to_ms, histories=histories)
    return ledger_document(ledger)


def shop_from(text: str) -> Shop:
    """Return a shop of a configuration's text."""
    return load_shop(text, sends=False)
