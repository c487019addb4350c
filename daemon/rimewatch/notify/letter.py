"""A message of the outbox as a push service takes it: never empty, of the right kind.

Pure: no I/O, no clock.
"""

from dataclasses import dataclass
from typing import Final

from rimewatch.journal.outbox import OutboxRow
from rimewatch.vocabulary import About

INFO: Final = "info"
SUCCESS: Final = "success"
WARNING: Final = "warning"
FAILURE: Final = "failure"
"""The words of Apprise's ``NotifyType``: they choose icon and colour, never the sound."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Extras:
    """What is known only when a message goes out."""

    late: str = ""
    """Says that it goes out late, and how late; empty: it does not."""
    link: str = ""
    """Where it can be acknowledged; empty: nowhere."""
    attachment: str = ""
    """A picture's path; empty: none. One that is missing by then is left out."""


NOTHING: Final = Extras()


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """What is sent."""

    id: int
    title: str
    body: str
    kind: str
    urgent: bool
    is_summary: bool
    attachment: str = ""


def letter(row: OutboxRow, extras: Extras = NOTHING) -> Letter | None:
    """Return a row as it is sent, or None if it has no words at all.

    Services refuse an empty body, so a title alone becomes the body. What is added stands
    at its end: the first hundred characters stay what they are.
    """
    title, body = row.title.strip(), row.body.strip()
    if not body:
        title, body = "", title
    if not body:
        return None
    return Letter(
        id=row.id,
        title=title,
        body="\n".join(part for part in (body, extras.late, extras.link) if part),
        kind=kind(row.about, urgent=row.urgent),
        urgent=row.urgent,
        is_summary=row.about is About.SUMMARY,
        attachment=extras.attachment,
    )


def kind(about: About, *, urgent: bool) -> str:
    """Return the kind of notification for what a message is about."""
    match about:
        case About.RAISED | About.REPEAT | About.ESCALATED:
            return FAILURE if urgent else WARNING
        case About.RETURNED:
            return SUCCESS
        case About.SUMMARY:
            return INFO
