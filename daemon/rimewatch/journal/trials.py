"""Test alarms: made on purpose, to see that the way to a phone works. On the record as events.

They are no alarms: no ledger, no summary and no figure counts them.
"""

from collections.abc import Sequence
from typing import Final

from rimewatch.journal.events import EventRow
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReads
from rimewatch.vocabulary import About, ContactId

PREFIX: Final = "test:"
"""What a test alarm's id begins with; no rule's alarm does."""
MADE: Final = "test alarm made"
SEEN: Final = "test alarm acknowledged"

_FOREVER_MS: Final = 253_402_300_799_999


def trial_id(at_ms: int) -> str:
    """Return the id of the test alarm of an instant."""
    return f"{PREFIX}{at_ms}"


def is_trial(alarm_id: str) -> bool:
    """Return whether an id is a test alarm's."""
    return alarm_id.startswith(PREFIX)


def made_ms(alarm_id: str) -> int | None:
    """Return when a test alarm was made; None: the id is none."""
    digits = alarm_id.removeprefix(PREFIX)
    return int(digits) if is_trial(alarm_id) and digits.isascii() and digits.isdigit() else None


def last_made_ms(journal: JournalReads, since_ms: int, now_ms: int) -> int | None:
    """Return when a test alarm was last made since an instant; None: none was."""
    made = [event.at_ms for event in journal.events_between(since_ms, now_ms) if event.what == MADE]
    return max(made, default=None)


def who_saw(seen: EventRow) -> str:
    """Return who acknowledged a test alarm, from :func:`seen`."""
    return seen.detail.partition(" by ")[2] or "somebody"


def make(
    journal: Journal,
    alarm_id: str,
    told: Sequence[ContactId],
    *,
    title: str,
    body: str,
    at_ms: int,
) -> None:
    """Put a test alarm into the outbox, as urgent as a high alarm, and note it.

    Args:
        journal: A journal of the caller's own; the running service sends what is in it.
        alarm_id: From :func:`trial_id`.
        told: The contacts to tell.
        title: The message's title.
        body: The message's body.
        at_ms: The present.
    """
    with journal.batch():
        journal.add_event(at_ms, MADE, f"{alarm_id} to {', '.join(told)}")
        for contact in told:
            journal.outbox_add(
                at_ms=at_ms,
                contact=contact,
                alarm_id=alarm_id,
                about=About.RAISED,
                title=title,
                body=body,
                idempotency_key=f"{alarm_id}/{contact}",
                not_before_ms=at_ms,
                urgent=True,
            )


def progress(journal: JournalReads, alarm_id: str) -> list[str]:
    """Return what became of a test alarm's messages so far, a sentence each."""
    lines = []
    for row in journal.outbox_of(alarm_id):
        if row.sent_ms is not None:
            lines.append(f"{row.contact}: a service took it. That is not yet a phone that rang.")
        elif row.error:
            lines.append(f"{row.contact}: not sent yet. {row.error}")
    return lines


def note_seen(journal: Journal, alarm_id: str, who: str, at_ms: int) -> None:
    """Note that somebody has acknowledged a test alarm; the first time is what counts."""
    if seen(journal, alarm_id) is None:
        journal.add_event(at_ms, SEEN, f"{alarm_id} by {who}" if who else alarm_id)


def seen(journal: JournalReads, alarm_id: str) -> EventRow | None:
    """Return the acknowledgement of a test alarm; None: nobody has yet."""
    since_ms = made_ms(alarm_id)
    if since_ms is None:
        return None
    for event in journal.events_between(since_ms, _FOREVER_MS):
        if event.what == SEEN and event.detail.partition(" by ")[0] == alarm_id:
            return event
    return None
