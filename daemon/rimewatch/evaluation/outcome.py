"""What the evaluator hands to the shell: to be written in one transaction with its cause. Pure."""

from dataclasses import dataclass
from datetime import date

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.effects import Send
from rimewatch.vocabulary import ContactId


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmKept:
    """An alarm is now so; the record keeps the latest under its id."""

    alarm: Alarm


@dataclass(frozen=True, slots=True, kw_only=True)
class SummaryDue:
    """A morning has come: the summary of the time since the one before it."""

    day: date
    from_ms: int
    to_ms: int
    contacts: tuple[ContactId, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """Something for the log of the service: a shelf, a late find."""

    at_ms: int
    text: str


Outcome = AlarmKept | Send | SummaryDue | Noted
