"""The review of a week or a month from a journal, for the command and for the page alike.

Reads only; tells no time.
"""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from rimewatch.alarms import codec
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.journal.reader import JournalReader, JournalReads
from rimewatch.report.probe_checks import last_checks_ms
from rimewatch.report.review import Review, build_review
from rimewatch.service.resume import resume
from rimewatch.shop import Shop


def review_of(
    shop: Shop, journal: JournalReads, evaluator: Evaluator, edges: Sequence[date], now_ms: int
) -> Review:
    """Return the review of a period.

    Args:
        shop: The shop.
        journal: Its journal.
        evaluator: What follows from the journal by now.
        edges: The days at which what is laid side by side begins and ends.
        now_ms: The present instant.

    Raises:
        ValueError: If the last of them is not over yet.
        JournalError: If the journal cannot be read.
    """
    return build_review(
        shop,
        journal,
        evaluator.histories(),
        [codec.alarm_from_json(row.text) for row in journal.alarms_between(0, now_ms)],
        edges=edges,
        now_ms=now_ms,
        checked_ms=last_checks_ms(evaluator.entries, now_ms),
    )


def review_from_file(shop: Shop, path: Path, edges: Sequence[date], now_ms: int) -> Review:
    """Return a review, read through a connection of its own; for any thread. Raises as above."""
    with JournalReader.open(path) as journal:
        evaluator = resume(shop, journal, now_ms).evaluator
        return review_of(evaluator.shop, journal, evaluator, edges, now_ms)  # with what held before
