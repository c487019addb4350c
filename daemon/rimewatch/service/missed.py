"""What fell due while the service was away: of every repeat that was missed, only the latest.

The engine asks for each repeat at its own time, also when it is told the time days later.
Whoever was asleep wants to hear once how things are, not ninety times how they were. Steps
of the escalation are kept: each tells somebody else. Pure.
"""

from collections.abc import Sequence
from typing import Final

from rimewatch.alarms.effects import Send
from rimewatch.evaluation.outcome import Outcome
from rimewatch.vocabulary import About

MISSED_AFTER_MS: Final = 10 * 60_000
"""A repeat so long overdue was missed (our choice): no running service is ever so late."""


def without_missed_repeats(outcomes: Sequence[Outcome], now_ms: int) -> list[Outcome]:
    """Return outcomes without the repeats that a later message to the same contact replaces.

    Args:
        outcomes: What came of one step of time, in order.
        now_ms: The present.
    """
    told_later: set[tuple[str, str]] = set()
    kept: list[Outcome] = []
    for outcome in reversed(outcomes):
        if isinstance(outcome, Send):
            about = (outcome.alarm_id, outcome.contact)
            is_late = now_ms - outcome.at_ms > MISSED_AFTER_MS
            is_missed = outcome.about is About.REPEAT and is_late
            if is_missed and about in told_later:
                continue
            told_later.add(about)
        kept.append(outcome)
    kept.reverse()
    return kept
